"""How far the tones come up: until the loudest leg is loud enough, both sides alike if they can."""

from __future__ import annotations

TARGET = 10.0 ** (-15.0 / 20.0)
"""Peak of the loudest leg in the open take: a floating leg may rise by 6 dB when the other is
loaded, and stays 9 dB below full scale."""

NEAR = 10.0 ** (-2.0 / 20.0)
"""A level this close below the target is left alone."""

STEP_UP = 10.0
"""The level comes up by at most this at a time, listening in between."""

ALIKE_MOST = 10.0 ** (1.0 / 20.0) * TARGET
"""The side measured before gives the drive of this one as well, so that their levels compare: up to
here. A balance that is a little off must not cost that, and takes only 1 dB of what is left."""

ALIKE_LEAST = 10.0 ** (-12.0 / 20.0) * TARGET
"""And down to here: the side before may have been made twice 6 dB lower, because it clipped."""


def next_volts(volts: float, peak: float, most: float, other: float | None) -> float | None:
    """Return the drive to listen at next, or None where it is loud enough already.

    Parameters
    ----------
    volts
        Drive now, V rms a tone.
    peak
        Of the loudest leg at it, over full scale.
    most
        Drive that must not be passed.
    other
        Drive found for the device's other side at this volume; None where there is none yet.
    """
    if other is not None and other <= most:
        if volts < other and peak * other / volts <= ALIKE_MOST:
            return min(other, STEP_UP * volts)
        if volts == other and ALIKE_LEAST <= peak <= ALIKE_MOST:
            return None
    if peak >= NEAR * TARGET or volts >= most:
        return None
    return min(max(volts * min(STEP_UP, TARGET / max(peak, 1e-9)), volts), most)
