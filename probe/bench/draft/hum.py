"""Hum, told from tones that were played at multiples of the mains.

Hum is a family: its strongest lines are among the first three multiples of the mains, and later
ones are not far above those before them. A line far above all before it is a tone; one as loud as
the tones that are no multiples may be either, and is asked about.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

MAINS_HZ = (50.0, 60.0)

HIGHEST_HZ = 1000.0
"""Above, hum is faint, and a multiple of the mains is as likely a tone as any other line."""

FIRST_ORDERS = 3
"""Magnetic hum is strongest at the first or third multiple, that of a rectifier at the second."""

ABOVE_FAMILY = 10.0
"""A line this many times all before it is no part of their fall (common practice, no source)."""

LEAST_TONE = 1e-3
"""Of full scale: nobody plays a tone fainter than this, and hum and strays seldom are louder."""

AS_LOUD = 0.3
"""A multiple of the mains within 10 dB of the tones is loud for hum."""

LOUD_ALONE = 1e-2
"""Of full scale: loud for hum, where there are no other tones to compare with."""

LEAST_LINES = 2
"""One faint line stands at a multiple of something by chance; a second at a multiple of the same
frequency, within `WANDER`, does so about once in a hundred."""

WANDER = 4e-4
"""Of a frequency: mains wander by some 10 mHz within a recording (common practice, no source)."""

DISTORTED = 0.03
"""Harmonics of an output are below 3 % of its tone; as where unknown tones are found."""


def multiples(hz: Array, mains: float, step: float) -> Mask:
    """Return which lines stand at multiples of the mains below `HIGHEST_HZ`."""
    off = np.abs(hz - np.round(hz / mains) * mains)
    near = (off <= np.maximum(0.003 * hz, step)) & (off < 1.5)
    return np.asarray(near & (np.round(hz / mains) >= 1) & (hz < HIGHEST_HZ))


def hum_lines(hz: Array, peak: Array, mains: float, step: float) -> Mask:
    """Return which lines are hum of this mains: its multiples, but those far above all before.

    Parameters
    ----------
    hz, peak
        Of the lines; full scale 1.
    step
        Resolution, Hz.
    """
    family = multiples(hz, mains, step)
    hum = np.zeros(len(hz), dtype=bool)
    strongest = 0.0
    for j in np.flatnonzero(family)[np.argsort(hz[family])]:
        late = round(float(hz[j]) / mains) > FIRST_ORDERS
        if late and peak[j] > max(ABOVE_FAMILY * strongest, LEAST_TONE):
            continue
        hum[j] = True
        strongest = max(strongest, float(peak[j]))
    return hum


def mains_of(hz: Array, peak: Array, step: float) -> float | None:
    """Return 50 or 60 where a family of hum of one of them is heard and of the other is not.

    A single line, or lines that fit no one frequency, may be anything; so may what fits both.
    What is loud enough to be a tone tells nothing.
    """
    at = [_family(hz, peak, m, step) for m in MAINS_HZ]
    heard = [
        mains
        for mains, own, others in zip(MAINS_HZ, at, at[::-1], strict=True)
        if _is_hum(np.round(hz[own & ~others] / mains))
    ]
    return heard[0] if len(heard) == 1 else None


def _is_hum(orders: Array) -> bool:
    """Tell whether lines at these multiples of the mains are proof of it.

    Multiples of its third or a later one are as well a faint tone with its distortion.
    """
    if len(orders) < LEAST_LINES or orders.min() > FIRST_ORDERS:
        return False
    return int(np.gcd.reduce(orders.astype(np.int64))) < FIRST_ORDERS


def _family(hz: Array, peak: Array, mains: float, step: float) -> Mask:
    """Return the lines of a mains' hum that stand at multiples of one and the same frequency."""
    hum = hum_lines(hz, peak, mains, step) & (peak <= LOUD_ALONE) & ~_distortion(hz, peak, step)
    base = hz / np.maximum(np.round(hz / mains), 1.0)
    best = np.zeros(len(hz), dtype=bool)
    for one in base[hum]:
        off = np.abs(hz - np.round(hz / mains) * one)
        fits = hum & (off <= np.maximum(0.5 * step, WANDER * hz))
        if fits.sum() > best.sum():
            best = np.asarray(fits)
    return best


def _distortion(hz: Array, peak: Array, step: float) -> Mask:
    """Return the lines that may be harmonics of far stronger ones."""
    order = np.round(hz[:, None] / hz[None, :])
    near = np.abs(hz[:, None] - order * hz[None, :]) <= step
    found = near & (order > 1) & (peak[:, None] < DISTORTED * peak[None, :])
    return np.asarray(found.any(axis=1), dtype=bool)


def doubtful(hz: Array, peak: Array, hum: Mask, tones: Array) -> Array:
    """Return the lines taken for hum that may as well be tones, Hz.

    Parameters
    ----------
    tones
        Peaks of the lines that are tones.
    """
    loud = AS_LOUD * float(np.median(tones)) if len(tones) else LOUD_ALONE
    return np.asarray(hz[hum & (peak > loud)])
