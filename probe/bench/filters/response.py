"""From a circuit's frequency responses to filters that any waveform can be sent through.

The responses are solved on a logarithmic grid, interpolated to every bin by a cubic spline of
log f, given the edges every interface has (a high pass below the band, a smooth end above it),
and turned into an impulse response. The high pass keeps slow time constants of coupling
capacitors within the filter's length; the smooth end keeps it short in front.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline

TAPS = 1 << 15
"""Length at 48 kHz and below: 0.7 s, in which the high pass has died away to 1e-6."""

LEAD = 1024
"""Taps before the main one: the virtual interface's latency."""

HIGH_PASS_HZ = 3.0
"""Of the virtual interface, second order; takes 2e-4 from the lowest tone, on every input alike."""

TOP = (0.93, 1.0)
"""Share of half the sampling rate over which the response falls to nothing."""

GRID_PER_OCTAVE = 24
LOWEST_HZ = 0.2

Complex = NDArray[np.complex128]
Heard = Callable[[NDArray[np.float64]], Complex]


def taps_of(heard: Heard, rate: float) -> NDArray[np.float64]:
    """Return filter taps, shape (N, inputs, outputs), for responses (F, inputs, outputs).

    Parameters
    ----------
    heard
        Called with frequencies, Hz, ascending and above zero.
    rate
        Sampling rate, Hz.
    """
    length = TAPS * max(1, round(rate / 48000.0))
    hz = np.asarray(np.arange(length // 2 + 1) * (rate / length), dtype=np.float64)
    octaves = np.log2(rate / 2.0 / LOWEST_HZ)
    grid = np.geomspace(LOWEST_HZ, rate / 2.0, int(octaves * GRID_PER_OCTAVE) + 1)
    spline = CubicSpline(np.log(grid), heard(grid), axis=0)
    response: Complex = spline(np.log(np.maximum(hz, LOWEST_HZ)))
    shape = _high_pass(hz) * _top(hz / (rate / 2.0)) * np.exp(-2j * np.pi * hz * LEAD / rate)
    taps = np.fft.irfft(response * shape[:, None, None], length, axis=0)
    return np.asarray(taps * _ends(length)[:, None, None])


def _high_pass(hz: NDArray[np.float64]) -> Complex:
    s = 1j * hz / HIGH_PASS_HZ
    return np.asarray(s**2 / (1.0 + np.sqrt(2.0) * s + s**2))


def _top(share: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return 1 below the edge, falling as a raised cosine to 0 at half the sampling rate."""
    x = np.clip((share - TOP[0]) / (TOP[1] - TOP[0]), 0.0, 1.0)
    return 0.5 + 0.5 * np.cos(np.pi * x)


def _ends(length: int) -> NDArray[np.float64]:
    """Return a window that lets both ends of the impulse response go to zero smoothly."""
    window = np.ones(length)
    first, last = LEAD // 2, length // 8
    window[:first] = 0.5 - 0.5 * np.cos(np.pi * np.arange(first) / first)
    window[-last:] = 0.5 + 0.5 * np.cos(np.pi * np.arange(last) / last)
    return window
