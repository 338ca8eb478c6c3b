"""How an output bends, from the harmonics of one wave, and how it distorts when driven less.

An output without memory makes ``f(A cos t)`` of a tone of amplitude A. Its harmonics are the
coefficients of f in Chebyshev polynomials, ``f(A x) = sum a_n T_n(x)`` as ``T_n(cos t) = cos n t``:
one wave tells f up to A, and so the wave at every smaller amplitude.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]

POINTS = 256
"""Of one period: twelve for each period of the highest harmonic."""

GRID = 80
"""Amplitudes looked at within a step; between them the crossing is interpolated."""

FEWER = 0.7
"""Share of the harmonics that must say the same as all of them: what the highest leave out of a
sharp corner shows in that."""

LEAST_DOUBT = 0.0013
"""Relative standard deviation of the level where they agree: what 20 harmonics leave of hard
corners, in the root mean square over steps of half a decibel and one
(`tests/measures/test_bend.py`)."""


@dataclass(frozen=True)
class Passed:
    """Where a limit is passed.

    Attributes
    ----------
    drive
        Over the drive of the wave.
    volts
        Level of the output there, V rms.
    doubt
        Relative standard uncertainty of the level, of the method alone.
    """

    drive: float
    volts: float
    doubt: float


class Bend:
    """The curve of an output, from the wave of one step.

    Parameters
    ----------
    volts
        Shape (N,), complex, V rms: the tone and its harmonics.
    below
        Drive of the step below over that of this one.
    """

    def __init__(self, volts: Complex, below: float) -> None:
        self.volts = volts
        self.drives = np.exp(np.linspace(np.log(below), 0.0, GRID))

    def passes(self, limit: float, below_percent: float, own_percent: float) -> Passed:
        """Return where distortion passes ``limit``, percent.

        What the curve misses of the distortion of both steps (what an output remembers turns the
        phases of its harmonics) is shared out between them.
        """
        bent, level = self._driven(len(self.volts))
        fewer, fewer_level = self._driven(max(2, round(FEWER * len(self.volts))))
        held = self._held(bent, below_percent, own_percent)
        drive = _crossed(held, self.drives, limit)
        volts = _crossed(held, level, limit)
        top = self._held(bent, float(bent[0]), own_percent)
        remembered = np.log(_crossed(top, level, limit) / volts)
        less = self._held(fewer, float(fewer[0]), own_percent)
        short = 0.5 * np.log(_crossed(less, fewer_level, limit) / volts)
        # both are what the highest harmonics leave out: the larger counts, not their sum
        doubt = float(np.hypot(max(LEAST_DOUBT, abs(short)), remembered))
        return Passed(drive, volts, doubt)

    def _held(self, percent: Array, below_percent: float, own_percent: float) -> Array:
        """Return a distortion held to what is known at both ends, in power."""
        share = np.log(self.drives) / np.log(self.drives[0])
        below = (below_percent**2 - percent[0] ** 2) * share
        own = (own_percent**2 - percent[-1] ** 2) * (1.0 - share)
        return np.asarray(np.sqrt(np.maximum(percent**2 + below + own, 0.0)))

    def _driven(self, count: int) -> tuple[Array, Array]:
        """Return distortion, percent, and level, V rms, at every drive, of ``count`` harmonics."""
        n = np.arange(1, count + 1)
        turned = self.volts[:count] * np.exp(-1j * n * np.angle(self.volts[0]))
        series = np.concatenate([[0.0], np.sqrt(2.0) * turned.real])
        x = self.drives[:, None] * np.cos(2.0 * np.pi * np.arange(POINTS) / POINTS)
        wave = np.polynomial.chebyshev.chebval(x, series)
        lines = np.fft.rfft(wave, axis=1)[:, 1 : len(self.volts) + 1] * np.sqrt(2.0) / POINTS
        power = np.abs(lines) ** 2
        whole = power.sum(axis=1)
        return 100.0 * np.sqrt(power[:, 1:].sum(axis=1) / whole), np.sqrt(whole)


def _crossed(percent: Array, axis: Array, limit: float) -> float:
    """Return where on ``axis`` the limit is passed for the last time, seen from below."""
    under = np.flatnonzero(percent < limit)
    if not len(under):
        return float(axis[0])
    k = int(under[-1])
    if k + 1 == len(percent):
        return float(axis[-1])
    share = (limit - percent[k]) / (percent[k + 1] - percent[k])
    return float(axis[k] + share * (axis[k + 1] - axis[k]))
