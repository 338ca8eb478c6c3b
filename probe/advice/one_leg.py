"""How much one leg has to give by itself, where it swings the whole level: a maker knows.

A stage that floats moves the level of a leg that is tied to the other one. What its pair gives at
full output each leg surely has half of; whether it has more no data sheet says.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from probe.advice.model import OptionAdvice

CODE = "clips-played"
"""Of a way with which a leg may clip below what is played."""

TIED_MOST = "tied_maximum_v"
"""Key by which the answer is typed."""


def leg_needs(
    facts: Mapping[str, Any], options: Iterable[OptionAdvice], played: float | None
) -> float | None:
    """Return what a leg has to give for none of these ways to clip, V rms: the whole level.

    ``played``: the most that is ever played, V rms of the pair, where that is said. None: none of
    them is in doubt for it, or no answer of a maker would be a line of the file.
    """
    stated = facts.get("stated")
    full = (facts.get("device") or {}).get("full_output_volts")
    if not isinstance(stated, Mapping) or full is None or stated.get(TIED_MOST) is not None:
        return None
    return (full if played is None else min(full, played)) if leg_in_doubt(options) else None


def leg_in_doubt(options: Iterable[OptionAdvice]) -> bool:
    """Tell whether what a leg gives by itself decides about one of these ways."""
    return any(o.verdict == "cannot-tell" and CODE in {h.code for h in o.hazards} for o in options)


def leg_asked(device: str, volts: float) -> str:
    """Return the question for what a leg gives alone, and from what on it opens a way."""
    return (
        f"ask the maker of {device} how much pin 2 of its XLR output gives undistorted by itself, "
        f"with pin 3 joined to pin 1: with {volts:g} V or more"
    )
