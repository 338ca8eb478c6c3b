"""Whether the winding of a transformer output floats: asked before another transformer is bought.

One end of a floating winding may be joined to ground, which is how its maker meant it to feed an
RCA input; with a centre tap at ground that is a short circuit of one half.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from probe.advice.ask_first import loses, told_first
from probe.advice.ask_maker import isolates, winding_asked
from probe.advice.model import Advice, Settling
from probe.advice.source_file import FLOATING, may_float, restated

Whole = Callable[[Mapping[str, Any], Mapping[str, Any]], Advice]
"""The advice for facts and sources, with all boxes plugged in."""


def with_winding_asked_first(advice: Advice, facts: Mapping[str, Any], whole: Whole) -> Advice:
    """Return the advice with the question, where a floating winding would spare a transformer.

    With all boxes plugged in, and for nothing that another box would need instead.
    """
    if not may_float(facts) or not any(isolates(c.option) for c in advice.choices):
        return advice
    floating, tapped = (
        leads_with(advice, whole(*restated(facts, FLOATING, so))) for so in (True, False)
    )
    what = winding_asked(advice.device)
    found: dict[str, Settling] = {}
    for box in (c.box for c in advice.choices if isolates(c.option) and c.box in floating):
        answers = dict.fromkeys(leads[box] for leads in (floating, tapped) if box in leads)
        typed, other = ((FLOATING, True),), ((FLOATING, False),)
        found[box] = Settling("asked-first", what, tuple(answers), box, typed=typed,
                              typed_not=other if len(answers) > 1 else ())  # fmt: skip
    return told_first(advice, found, "is used instead")


def leads_with(advice: Advice, again: Advice) -> dict[str, str]:
    """Return what is used for each box that has something else than a transformer.

    Nothing, where a box needs more with the answer than without it.
    """
    if loses(advice, again):
        return {}
    return {
        c.box: c.option for c in again.choices if c.option is not None and not isolates(c.option)
    }
