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
    """Return 50 or 60 where hum of one of them stands out and of the other does not.

    What is loud enough to be a tone tells nothing.
    """
    heard = [int((hum_lines(hz, peak, m, step) & (peak <= LOUD_ALONE)).sum()) for m in MAINS_HZ]
    if heard[0] == heard[1]:
        return None
    return MAINS_HZ[int(np.argmax(heard))]


def doubtful(hz: Array, peak: Array, hum: Mask, tones: Array) -> Array:
    """Return the lines taken for hum that may as well be tones, Hz.

    Parameters
    ----------
    tones
        Peaks of the lines that are tones.
    """
    loud = AS_LOUD * float(np.median(tones)) if len(tones) else LOUD_ALONE
    return np.asarray(hz[hum & (peak > loud)])
