"""Samples lost without a word are found from the tones, and nothing else is."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from probe.bench.stream.slips import slips, tones_of
from probe.bench.tones.sets import DEVICE, INJECTED

RATE = 48000


def multitone(seconds: float = 3.0, ppm: float = 0.0, noise: float = 1e-4) -> Any:
    time = np.arange(round(seconds * RATE)) / RATE * (1.0 + 1e-6 * ppm)
    wave = sum(
        0.03 * np.cos(2.0 * np.pi * hz * time + np.radians(phase))
        for hz, phase in zip(DEVICE.hz, DEVICE.phases_deg, strict=True)
    )
    random = np.random.default_rng(3)
    return np.stack([wave, 1e-3 * wave], axis=1) + noise * random.standard_normal((time.size, 2))


@pytest.mark.parametrize("lost", [1, 7, 48, 64, 256, 480, 1024, 2048, 4096, 48000 // 3])
@pytest.mark.parametrize("filled", [False, True])
@pytest.mark.long
def test_a_slip_is_found_where_it_is(lost: int, filled: bool) -> None:
    clean = multitone()
    at = 70000
    if filled:
        damaged = np.concatenate([clean[:at], np.zeros((lost, 2)), clean[at:]])
    else:
        damaged = np.delete(clean, slice(at, at + lost), axis=0)
    found = slips(damaged, RATE, DEVICE.hz)
    # Closed form: one sample turns the tone of 3.5 kHz by 0.45 rad.
    assert found
    assert abs(found[0] - at) <= 2 * 0.05 * RATE


def test_a_block_of_silence_in_place_is_found() -> None:
    damaged = multitone()
    damaged[70000:72048] = 0.0
    assert slips(damaged, RATE, DEVICE.hz)


@pytest.mark.parametrize("ppm", [0.0, 80.0, -300.0])
@pytest.mark.parametrize("noise", [0.0, 1e-3, 1e-2, 0.3])
def test_nothing_is_found_where_nothing_is(ppm: float, noise: float) -> None:
    assert slips(multitone(ppm=ppm, noise=noise), RATE, DEVICE.hz) == ()


def test_mutes_steps_hum_and_wrong_tones_are_no_slips() -> None:
    clean = multitone()
    muted = clean.copy()
    muted[60000:] *= 1e-3
    late = clean.copy()
    late[:40000] *= 1e-4
    stepped = clean.copy()
    stepped[60000:] *= 10 ** (-1.0 / 20)
    hum = clean + 0.05 * np.sin(2 * np.pi * 50 * np.arange(clean.shape[0]) / RATE)[:, None]
    for samples in (muted, late, stepped, hum):
        assert slips(samples, RATE, DEVICE.hz) == ()
    assert slips(clean, RATE, INJECTED.hz) == ()
    assert slips(np.zeros((RATE, 2)), RATE, DEVICE.hz) == ()


def test_tones_are_read_off_a_loop() -> None:
    loop = multitone(10.0, noise=0.0)[:, 0]
    assert sorted(tones_of(loop, RATE)) == pytest.approx(list(DEVICE.hz))
    assert tones_of(np.zeros(RATE), RATE) == ()
    assert tones_of(np.random.default_rng(1).standard_normal(RATE), RATE) == ()
