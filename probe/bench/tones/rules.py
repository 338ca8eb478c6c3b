"""Whether tones keep the rules of a bench's own tones; those of `probe.simulate.tones`."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from probe.simulate.tones import (
    CLEARANCE_HZ,
    LONGEST_SHIFT_S,
    PRODUCT_GAP_HZ,
    clearance,
    product_gap,
    second_worst_turns,
)

FEWEST_TURNS = 0.08
"""Phase error, in turns (29 degrees), that two tones at least show at any wrong delay to 2 s."""

_SHIFT_STEP = 1.0 / 16.0
"""Of a cycle of the top tone: the grid of delays tried."""


def broken(hz: Sequence[float], *, played: bool = True) -> list[str]:
    """Return what is against the rules, one line each; empty where all are kept.

    A tone alone can neither mix with another nor tell delays apart: only the mains counts. Delays
    are told by what the device plays; injected tones (``played`` false) need not tell them.
    """
    found = []
    near = clearance(hz)
    if near < CLEARANCE_HZ - 1e-9:
        found.append(
            f"a tone stands {near:.2g} Hz from a multiple of 50 or 60 Hz; "
            f"{CLEARANCE_HZ:g} Hz keep hum apart"
        )
    if len(hz) < 2:
        return found
    gap = product_gap(hz)
    if gap < PRODUCT_GAP_HZ - 1e-9:
        found.append(
            f"a tone stands {gap:.2g} Hz from a sum, difference or harmonic of others; "
            f"{PRODUCT_GAP_HZ:g} Hz keep distortion apart"
        )
    if played and len(hz) > 2 and worst_realignment(hz) < FEWEST_TURNS:
        found.append(
            "a wrong delay under 2 s brings all tones but one back into step: keep takes on one "
            "phase reference"
        )
    return found


def worst_realignment(hz: Sequence[float]) -> float:
    """Return the least, over all wrong delays to 2 s, of the second largest phase error, turns."""
    top = max(hz)
    shifts = np.arange(1.0 / (4.0 * top), LONGEST_SHIFT_S, _SHIFT_STEP / top)
    parts = np.array_split(shifts, max(1, len(shifts) // 20000))
    return min(float(np.min(second_worst_turns(hz, part))) for part in parts)
