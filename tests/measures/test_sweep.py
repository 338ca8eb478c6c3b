"""Sweeps against a signal library, closed forms, and a device that distorts."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import signal as reference

from probe.measures.response import Response, corners
from probe.measures.sweep import CUT_EDGE, EDGE, arrival, deconvolve, heard_part, signal
from probe.session.model import Sweep

RATE = 48000.0
PLAYED = Sweep(15.0, 22000.0, 6.0)
HZ = np.geomspace(20.0, 17000.0, 60)


def recorded(through: np.ndarray, late: float = 0.5, after: float = 1.0) -> np.ndarray:
    """Put samples into silence; a negative ``late`` cuts their beginning."""
    before = round(late * RATE)
    whole = through if before >= 0 else through[-before:]
    return np.concatenate([np.zeros(max(before, 0)), whole, np.zeros(round(after * RATE))])[:, None]


@pytest.mark.long
def test_the_sweep_is_that_of_the_signal_library() -> None:
    t = np.arange(round(PLAYED.seconds * RATE)) / RATE
    # source: scipy.signal.chirp, logarithmic, started at a sine's zero
    expected = reference.chirp(t, 15.0, 6.0, 22000.0, method="logarithmic", phi=-90)
    # scipy works the phase out as k f0 (r^(t/T) - 1), 1e5 turns: 1e-8 of them are left
    assert signal(PLAYED, RATE) == pytest.approx(expected, abs=1e-6)


def test_farina_constants() -> None:
    # source: harmonic n arrives L ln n early; f1 = 20, f2 = 20000, T = 10 s: L = 1.447648 s (closed
    # form), second harmonic 1.003433 s early. Here: a pure second harmonic deconvolved.
    sweep = Sweep(20.0, 20000.0, 10.0)
    x = signal(sweep, 8000.0 * 6)
    y = 2.0 * x**2 - 1.0
    n = 1 << 20
    h = np.fft.irfft(np.fft.rfft(y, n) * np.conj(np.fft.rfft(x, n)), n)
    early = (n - np.argmax(np.abs(h[n // 2 :])) - n // 2) / 48000.0
    assert early == pytest.approx(1.003433, abs=1e-3)


FILTERS = {
    "low pass": reference.butter(1, 12000.0, "low", fs=RATE),
    "high pass": reference.butter(1, 18.0, "high", fs=RATE),
    "band": reference.butter(2, [25.0, 15000.0], "band", fs=RATE),
}


@pytest.mark.parametrize("name", FILTERS)
@pytest.mark.parametrize("late", [0.5, -0.3])
@pytest.mark.long
def test_response_of_filters(name: str, late: float) -> None:
    b, a = FILTERS[name]
    x = signal(PLAYED, RATE)
    y = recorded(reference.lfilter(b, a, np.concatenate([x, np.zeros(48000)])), late)
    rng = np.random.default_rng(5)
    y = y + 1e-5 * rng.standard_normal(y.shape)
    start = arrival(y, PLAYED, RATE)
    part = heard_part(start, len(y), PLAYED, RATE)
    use = part.from_hz * (CUT_EDGE if start < 0 else EDGE) < HZ
    got = deconvolve(x[max(-start, 0) :], y, RATE, PLAYED, HZ[use], start=start, heard=part)
    # source: scipy.signal.freqz
    truth = reference.freqz(b, a, got.hz, fs=RATE)[1]
    k = int(np.argmin(np.abs(HZ[use] - 1000.0)))
    ours = np.abs(got.volts[:, 0] / got.volts[k, 0])
    error = 20 * np.log10(ours / np.abs(truth / truth[k]))
    # cut by 0.3 s the sweep starts inside the band, and what came before rings on
    assert np.abs(error).max() < (0.002 if late > 0.0 else 0.03)
    turned = np.angle(got.volts[:, 0] / got.volts[k, 0] / (truth / truth[k]))
    slope = np.polyfit(HZ[use], np.unwrap(turned), 1)
    assert np.abs(np.unwrap(turned) - np.polyval(slope, HZ[use])).max() < 0.005


def test_doubt_holds_the_error_that_noise_makes() -> None:
    x = signal(PLAYED, RATE)
    # three channels, each with noise of its own
    y = recorded(x) + 1e-3 * np.random.default_rng(3).standard_normal((360000, 3))
    got = deconvolve(x, y, RATE, PLAYED, HZ)
    off = np.abs(got.volts) - 1.0
    # closed form: a magnitude carries half of a complex variance; 180 of them, 99.9 % limits of the
    # share within 1.96 standard deviations, and of their mean square. The doubt holds a second
    # part, what a gate of half the length says, and is the larger for it.
    inside = np.mean(np.abs(off) < 1.96 * got.sd / np.sqrt(2.0))
    assert inside >= 0.88
    assert 0.4 < np.mean(off**2 / got.sd**2 * 2.0) < 1.45


@pytest.mark.long
def test_distortion_is_left_apart() -> None:
    # fast enough that no harmonic folds back
    x = signal(PLAYED, 4 * RATE)
    y = np.concatenate([np.zeros(9000), x + 0.01 * x**2 + 0.004 * x**3, np.zeros(90000)])[:, None]
    got = deconvolve(x, y, 4 * RATE, PLAYED, HZ)
    # closed form: a cubic polynomial of sin has the linear part 1 + 3/4 of the cube's factor
    assert np.abs(got.volts[:, 0]) == pytest.approx(1.003, rel=7e-4)


def test_a_late_recording_is_noticed() -> None:
    y = recorded(signal(PLAYED, RATE), -0.5)
    # closed form: f = f1 exp(t/T ln(f2/f1)) after half a second
    expected = 15.0 * np.exp(0.5 / 6.0 * np.log(22000.0 / 15.0))
    start = arrival(y, PLAYED, RATE)
    assert heard_part(start, len(y), PLAYED, RATE).from_hz == pytest.approx(expected, rel=1e-3)


@pytest.mark.parametrize("corner", [27.0, 33.0, 60.0])
def test_low_corner_of_one_pole_between_sparse_tones(corner: float) -> None:
    hz = np.array([20.5, 42.4, 81.5, 153.5, 997.0])
    # closed form: |H| = 1/sqrt(1 + (fc/f)²), against 997 Hz
    h = 1.0 / (1.0 - 1j * corner / hz)
    ratio = np.tile(h / h[-1], (3, 1))
    entry = corners(Response(hz, ratio, 997.0, True, False, ()))["low"]
    half = corner / np.sqrt(1.0 + 2.0 * (corner / 997.0) ** 2)
    assert entry["value"] == pytest.approx(half, rel=2e-3)
    # straight in dB over log f is wrong by some percent here, and that counts as doubt
    assert 0.0 < entry["u95"] < 0.1 * corner


def test_corner_that_no_tone_reaches_is_a_bound() -> None:
    hz = np.array([20.5, 997.0, 19490.7])
    entry = corners(Response(hz, np.ones((3, 3), complex), 997.0, True, False, ()))
    # nothing to compute: the outermost tones
    assert (entry["low"]["bound"], entry["low"]["value"]) == ("below", 20.5)
    assert (entry["high"]["bound"], entry["high"]["value"]) == ("above", 19490.7)
