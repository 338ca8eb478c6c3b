"""Phasors of clean recordings against the phasors they were written from."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.optimize import least_squares

from probe.phasors import TakePhasors, measure_take

from .recordings import TONES, in_24_bits, phasors, pieces, sound, take

HZ = np.array(TONES)


def phase_errors(found: TakePhasors, v: NDArray[np.complex128]) -> NDArray[np.float64]:
    return np.abs(np.angle(found.volts / v))


@pytest.mark.parametrize("clock", [0.0, 500e-6, -431.7e-6])
@pytest.mark.parametrize(
    ("rate", "seconds"), [(44100, 1.0), (48000, 4.0), (88200, 2.3), (96000, 1.0), (384000, 1.0)]
)
@pytest.mark.long
def test_clean_24_bit_recordings(rate: int, seconds: float, clock: float) -> None:
    rng = np.random.default_rng(1)
    made = take(sample_rate=rate, seconds=seconds)
    v = phasors(rng, len(HZ), (0.3, 0.25))
    found = measure_take(made, 50.0, pieces=pieces(in_24_bits(sound(made, HZ, v, clock), rng)))
    # closed form: the recording is the sum of these cosines; dither and quantisation of 24 bits
    # (1.5e-8 rms per sample of full scale) allow 1e-7 in 1 s
    assert np.abs(np.abs(found.volts / v) - 1.0).max() < 1e-6
    assert phase_errors(found, v).max() < 2e-6
    assert abs(found.clock_error - clock) < 2e-12
    assert found.usable
    assert [r.code for r in found.remarks] == (["clock-foreign"] if clock else [])
    assert np.all(found.played)
    assert not np.any(found.hum_limited)


@pytest.mark.long
def test_a_minute() -> None:
    rng = np.random.default_rng(2)
    made = take(seconds=60.0)
    v = phasors(rng, len(HZ), (0.3, 0.25))
    found = measure_take(made, 50.0, pieces=pieces(in_24_bits(sound(made, HZ, v, 77.7e-6), rng)))
    # closed form, as above; 60 s of 24 bits allow 2e-8
    assert np.abs(found.volts / v - 1.0).max() < 5e-7
    assert found.steady_s == pytest.approx((0.0, 60.0), abs=0.02)


def test_three_channels_and_injected_tones() -> None:
    rng = np.random.default_rng(3)
    injected = (71.0, 883.0, 5003.0)
    made = take(channels=("hot", "cold", "reference"), injected=injected)
    hz = np.sort(np.concatenate([HZ, injected]))
    v = phasors(rng, len(hz), (0.3, 1e-4, 0.2))
    found = measure_take(made, 50.0, pieces=pieces(in_24_bits(sound(made, hz, v, -2e-4), rng)))
    # closed form; 1e-4 V beside 0.3 V in 24 bits of 8 V: 1e-7/1e-4
    assert np.abs(found.volts / v - 1.0)[:, [0, 2]].max() < 1e-6
    assert np.abs(found.volts / v - 1.0)[:, 1].max() < 3e-4
    # the definition: injected tones are not played
    assert np.array_equal(found.hz, hz)
    assert np.array_equal(found.injected[:, 0], np.isin(hz, injected))
    assert np.array_equal(found.played, ~np.isin(hz, injected))


def test_injection_into_a_silent_device() -> None:
    rng = np.random.default_rng(4)
    injected = (71.0, 883.0, 5003.0)
    made = take((), injected=injected, signal="idle", seconds=2.0)
    v = phasors(rng, 3, (0.01, 0.2))
    found = measure_take(
        made, 50.0, pieces=pieces(in_24_bits(sound(made, found_hz(injected), v), rng))
    )
    # closed form, as above
    assert np.abs(found.volts / v - 1.0).max() < 1e-5
    assert found.usable
    assert found.remarks == ()
    assert not np.any(found.played)


def found_hz(tones: tuple[float, ...]) -> NDArray[np.float64]:
    return np.array(tones)


@pytest.mark.parametrize("fade_s", [0.0, 0.02, 0.1, 0.5, 1.5])
@pytest.mark.long
def test_silence_before_and_after_with_fades(fade_s: float) -> None:
    rng = np.random.default_rng(5)
    made = take(seconds=6.0)
    v = phasors(rng, len(HZ), (0.3, 0.25))
    t = np.arange(made.frames) / made.sample_rate
    ramp = np.clip((t - 0.7312) / max(fade_s, 1e-9), 0.0, 1.0)
    ramp *= np.clip((5.8331 - t) / max(fade_s, 1e-9), 0.0, 1.0)
    envelope = 0.5 - 0.5 * np.cos(np.pi * ramp)
    x = sound(made, HZ, v, 3e-4) * envelope[:, None]
    found = measure_take(made, 50.0, pieces=pieces(in_24_bits(x, rng)))
    # closed form: between the fades the recording is the plain sum of cosines
    assert np.abs(found.volts / v - 1.0).max() < 5e-6
    assert abs(found.clock_error - 3e-4) < 2e-11
    first, last = found.steady_s
    # closed form: where the fades end and begin; a tenth of a second each is given away, and a
    # slow fade may be used where it is within 0.1 % of its top
    assert 0.7312 + 0.9 * fade_s < first < 0.7312 + fade_s + 0.2
    assert 5.8331 - fade_s - 0.2 < last < 5.8331 - 0.9 * fade_s
    assert [r.code for r in found.remarks] == ["late-start", "early-stop", "clock-foreign"]
    assert found.usable


@pytest.mark.parametrize("late", [7, 100, 2000, 30001])
def test_a_tone_that_starts_late_by_samples(late: int) -> None:
    rng = np.random.default_rng(6)
    made = take(seconds=3.0)
    v = phasors(rng, len(HZ), (0.3, 0.25))
    x = sound(made, HZ, v)
    x[:late] = 0.0
    found = measure_take(made, 50.0, pieces=pieces(in_24_bits(x, rng)))
    # closed form: 7 missing samples of 144000 change a level by at most 2 * 5e-5, shared by all
    # the lines they leak into; more are found and left out
    assert np.abs(found.volts / v - 1.0).max() < (1e-4 if late == 7 else 3e-5)
    assert found.usable


def test_a_short_record_of_low_tones_off_the_bins() -> None:
    rng = np.random.default_rng(7)
    tones = (20.3, 41.7, 67.1, 111.9)
    made = take(tones, seconds=0.5)
    v = phasors(rng, 4, (0.5, 0.4))
    found = measure_take(
        made, 50.0, pieces=pieces(in_24_bits(sound(made, np.array(tones), v), rng))
    )
    # closed form: ten periods, images and neighbours a few bins away. Clock and phase at the
    # first frame go together, so the phase is judged at the centre
    turn = np.exp(-2j * np.pi * found.hz * found.centre_s * found.clock_error)[:, None]
    assert np.abs(found.volts * turn / v - 1.0).max() < 2e-6


def test_offset_does_not_matter() -> None:
    rng = np.random.default_rng(8)
    made = take(seconds=1.0)
    v = phasors(rng, len(HZ), (0.3, 0.25))
    x = sound(made, HZ, v) + np.array([0.3, -0.2])
    found = measure_take(made, 50.0, pieces=pieces(in_24_bits(x, rng)))
    # closed form: offset is a line of its own
    assert np.abs(found.volts / v - 1.0).max() < 5e-6


def test_phases_count_from_the_first_frame_and_follow_the_clock() -> None:
    rng = np.random.default_rng(9)
    made = take((997.0,), seconds=2.0, channels=("hot",))
    v = np.array([[0.3 + 0.0j]])
    found = measure_take(
        made, 50.0, pieces=pieces(in_24_bits(sound(made, np.array([997.0]), v), rng))
    )
    # the definition: sqrt(2) |v| cos(2 pi f t + angle(v)); a cosine has angle 0
    assert abs(np.angle(found.volts[0, 0])) < 1e-6
    # the definition: middle of the steady part on the player's clock, (N - 1)/2 samples
    assert found.centre_s == pytest.approx((made.frames // 512 * 512 - 1) / 2 / 48000, abs=2e-3)


def four_parameter_fit(x: NDArray[np.float64], w: float) -> tuple[float, float, float]:
    """IEEE Std 1057 four-parameter sine fit by a general least-squares solver.

    Returns amplitude, phase at the middle of the record (cosine), rad/sample.
    """
    n = np.arange(len(x)) - (len(x) - 1) / 2.0

    def left(p: NDArray[np.float64]) -> NDArray[np.float64]:
        return p[0] * np.cos(p[3] * n) + p[1] * np.sin(p[3] * n) + p[2] - x

    def start() -> NDArray[np.float64]:
        basis = np.stack([np.cos(w * n), np.sin(w * n), np.ones(len(n))], axis=1)
        return np.append(np.linalg.lstsq(basis, x, rcond=None)[0], w)

    scale = np.array([1.0, 1.0, 1.0, 1.0 / len(x)])
    p = least_squares(left, start(), x_scale=scale, xtol=1e-15, ftol=1e-15, gtol=1e-15).x
    return float(np.hypot(p[0], p[1])), float(np.arctan2(-p[1], p[0])), float(p[3])


@pytest.mark.parametrize("clock", [0.0, 350e-6])
@pytest.mark.parametrize("hz", [61.3, 997.0, 15013.3])
def test_against_the_four_parameter_fit(hz: float, clock: float) -> None:
    rng = np.random.default_rng(int(hz))
    made = take((hz,), channels=("hot",), seconds=48128 / 48000)
    v = phasors(rng, 1, (0.4,))
    x = sound(made, np.array([hz]), v, clock) + 1e-4 * rng.standard_normal((made.frames, 1))
    found = measure_take(made, 50.0, pieces=pieces(x))
    # general reference library: scipy.optimize.least_squares on the samples. The spread of either
    # (closed form, sqrt(2/N) sigma) is 6.5e-7 of full scale; they see the same noise
    amplitude, phase, w = four_parameter_fit(x[:, 0], 2 * np.pi * hz / 48000 / (1 + clock))
    ours = np.abs(found.volts[0, 0]) * np.sqrt(2.0) / 8.0
    spread = np.sqrt(2.0 / made.frames) * 1e-4
    assert ours == pytest.approx(amplitude, abs=0.15 * spread)
    at_centre = np.angle(found.volts[0, 0]) + 2 * np.pi * hz * found.centre_s
    assert abs(np.exp(1j * at_centre) - np.exp(1j * phase)) < 0.15 * spread / amplitude
    # closed form: sqrt(12) times the phase's spread over N
    turn = 2 * np.pi * hz / 48000 / (1 + found.clock_error)
    assert turn == pytest.approx(w, abs=0.3 * np.sqrt(12) * spread / amplitude / made.frames)
