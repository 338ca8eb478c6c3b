"""Boxes that are alike, such as two amplifiers of one sort, want the same level."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from itertools import combinations

from probe.advice import thresholds as limit
from probe.advice.desk import Desk
from probe.advice.destination import Input
from probe.advice.ground import GroundPath
from probe.advice.model import OptionAdvice
from probe.decibels import ratio_to_db


def unlike(desk: Desk, options: Sequence[OptionAdvice]) -> list[str]:
    """Return which boxes are alike and get levels apart, in words; of two sides once.

    Whoever bi-amplifies, or has two of a sort, sets both alike and hears one over the other.
    """
    return list(dict.fromkeys(_unlike(desk, options)))


def unlike_untold(desk: Desk, options: Sequence[OptionAdvice]) -> list[str]:
    """Return the same of boxes whose full output is not known: else it is told by that."""
    return unlike(desk, [o for o in options if o.figures.full_output_margin_db is None])


def _unlike(desk: Desk, options: Sequence[OptionAdvice]) -> Iterator[str]:
    for one, other in combinations(options, 2):
        if one.side != other.side or not _alike(desk, one.box, other.box):
            continue
        levels = one.used.figures.level, other.used.figures.level
        if levels[0] is None or levels[1] is None:
            continue
        apart = float(ratio_to_db(levels[0].value / levels[1].value))
        if abs(apart) > limit.TIE_BREAK_DB:
            louder, softer = (one, other) if apart > 0.0 else (other, one)
            yield f"{softer.box} gets {abs(apart):.1f} dB less than {louder.box}, which is alike"


def _alike(desk: Desk, one: str, other: str) -> bool:
    """Tell whether two boxes have the same inputs, wherever they stand and however far away."""
    return one != other and _inputs(desk, one) == _inputs(desk, other)


def _inputs(desk: Desk, box: str) -> list[Input]:
    own = [s for s in desk.destination.inputs if s.box == box]
    return [replace(s, name="", box="", ground=GroundPath(None), cable=None) for s in own]
