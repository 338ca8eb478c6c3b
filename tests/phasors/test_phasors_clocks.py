"""Injected tones on another clock than what the device plays."""

from __future__ import annotations

import numpy as np
import pytest

from probe.phasors import measure_take

from .recordings import TONES, phasors, sound, take

HZ = np.array(TONES)
INJECTED = np.array([31.7, 127.9, 523.3, 883.3, 2221.1, 8887.7, 15013.3])


def recorded(player: float, injector: float, noise: float = 1e-7, jump: int = 0):
    """A take, its samples, and the phasors in it; ``jump`` samples are lost half-way."""
    rng = np.random.default_rng(7)
    made = take(injected=tuple(INJECTED), seconds=2.0)
    played = phasors(rng, len(HZ), (0.3, 0.25))
    injected = phasors(rng, len(INJECTED), (0.003, 0.01))
    samples = sound(made, HZ, played, player) + sound(made, INJECTED, injected, injector)
    samples += noise * rng.standard_normal(samples.shape)
    if jump:
        half = len(samples) // 2
        samples = np.concatenate([samples[:half], samples[half + jump :]])
    return made, samples.astype(np.float32), played, injected


@pytest.mark.parametrize("player", [300e-6, -40e-6, 12e-6])
def test_an_injector_on_the_recorders_clock(player: float) -> None:
    made, samples, played, injected = recorded(player, 0.0)
    found = measure_take(made, 50.0, pieces=[samples])
    assert [r.code for r in found.remarks] == ["clock-foreign"]
    # the definition: tones keep their declared frequencies
    assert np.array_equal(found.hz, np.sort(np.concatenate([HZ, INJECTED])))
    mine = found.injected[:, 0]
    # source: the phasors put in; phases of injected tones turn with the injector's clock
    assert np.abs(found.volts[~mine] / played - 1.0).max() < 1e-4
    assert np.abs(np.abs(found.volts[mine]) / np.abs(injected) - 1.0).max() < 1e-3
    ratio = found.volts[mine, 0] / found.volts[mine, 1]
    assert np.abs(ratio / (injected[:, 0] / injected[:, 1]) - 1.0).max() < 1e-3
    # source: the clock put in; one clock for all tones would lie between the two
    assert found.clock_error == pytest.approx(player, abs=1e-8)


def test_lost_samples_are_still_told() -> None:
    made, samples, _, _ = recorded(300e-6, 0.0, jump=5)
    found = measure_take(made, 50.0, pieces=[samples])
    assert "dropout" in {r.code for r in found.remarks}


def test_one_clock_for_both_stays_one() -> None:
    made, samples, played, injected = recorded(300e-6, 300e-6)
    found = measure_take(made, 50.0, pieces=[samples])
    mine = found.injected[:, 0]
    # source: the phasors put in, phases of injected tones among them
    assert np.abs(found.volts[~mine] / played - 1.0).max() < 1e-4
    assert np.abs(found.volts[mine] / injected - 1.0).max() < 1e-3
