"""Bands and weightings of noise."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]

BAND_HZ = (20.0, 20e3)
"""Noise is stated in this band."""

POLES_HZ = (20.598997, 107.65265, 737.86223, 12194.217)
"""Poles of the A-weighting; the first and last are double (IEC 61672-1, annex E; from memory)."""


def a_weighting_db(hz: ArrayLike) -> Array:
    """Return the A-weighting in dB, 0 at 1 kHz (IEC 61672-1, annex E; from memory)."""
    return np.asarray(10.0 * np.log10(a_weight(hz)))


def a_weight(hz: ArrayLike) -> Array:
    """Return the A-weighting as a factor on power, 1 at 1 kHz."""
    return np.asarray(_shape(np.asarray(hz, dtype=np.float64)) / _shape(np.array(1e3)))


def _shape(hz: Array) -> Array:
    f1, f2, f3, f4 = (p**2 for p in POLES_HZ)
    s = hz**2
    return np.asarray(s**4 / ((s + f1) ** 2 * (s + f2) * (s + f3) * (s + f4) ** 2))


def in_band(hz: ArrayLike, band: tuple[float, float] = BAND_HZ) -> NDArray[np.bool_]:
    """Return which bins belong to a band."""
    f = np.asarray(hz)
    return np.asarray((f >= band[0]) & (f <= band[1]))
