"""What one leg gives alone, as its maker knows it: asked before a transformer is bought.

A player gives its full level, and a leg that has to swing all of it may clip: if it does not, the
tied lead spares the transformer.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from probe.advice.answers import Lines
from probe.advice.ask_first import loses, told_first
from probe.advice.ask_maker import isolates
from probe.advice.model import Advice, Settling
from probe.advice.one_leg import TIED_MOST, leg_asked, leg_needs
from probe.advice.source_file import restated

Whole = Callable[[Mapping[str, Any], Mapping[str, Any]], Advice]
"""The advice for facts and sources, with all boxes plugged in."""


def with_leg_asked_first(
    advice: Advice, facts: Mapping[str, Any], played: float | None, whole: Whole
) -> Advice:
    """Return the advice with the question, where the answer spares a transformer.

    With all boxes plugged in, and for nothing that another box would need instead. ``played``: the
    most that is ever played, V rms, where that is said.
    """
    dear = {c.box for c in advice.choices if isolates(c.option)}
    needed = leg_needs(facts, (o for o in advice.options if o.box in dear), played)
    if needed is None:
        return advice
    typed: Lines = ((TIED_MOST, needed),)
    again = whole(*restated(facts, *typed[0]))
    if loses(advice, again):
        return advice
    what = leg_asked(advice.device, needed)
    found = {
        c.box: Settling("asked-first", what, (c.option,), c.box, typed=typed)
        for c in again.choices
        if c.box in dear and c.option is not None and not isolates(c.option)
    }
    return told_first(advice, found, "is used instead")
