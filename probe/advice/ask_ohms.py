"""An output impedance that hardly can be: asked about, and whether the lead has to wait for it.

The figure is looked up again all the same, for it may be a slip of the pen. But where the same lead
is used with the least and the most that a line output has, nobody has to wait for it.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Any

from probe.advice.ask_volume import alike
from probe.advice.cautions import LOOK_UP, unlikely_ohms
from probe.advice.model import Advice
from probe.advice.note import Note
from probe.advice.source_file import restated

Whole = Callable[[Mapping[str, Any], Mapping[str, Any]], Advice]
"""The advice for facts and sources, with all boxes plugged in."""

LEAST_OHM = 50.0
"""What a line output has at least. [practice]"""


def with_ohms_that_decide_nothing(advice: Advice, facts: Mapping[str, Any], whole: Whole) -> Advice:
    """Return the advice with it said of an unlikely impedance that the lead is the same anyway."""
    found = unlikely_ohms(facts)
    if not found or any(c.option is None for c in advice.choices):
        return advice
    said = {}
    for (key, times, most), says in found.items():
        ends = (LEAST_OHM * times, most * times)
        if all(_same(advice, whole(*restated(facts, key, ohm))) for ohm in ends):
            said[f"{says}. {LOOK_UP}"] = (
                f"{says}. {LOOK_UP} The lead here is right with {ends[0]:g} to {ends[1]:g} ohm as "
                "well: it need not wait for that."
            )
    cautions = tuple(
        Note("unlikely-output-alike", said[c.message]) if c.message in said else c
        for c in advice.cautions
    )
    return replace(advice, cautions=cautions)


def _same(advice: Advice, other: Advice) -> bool:
    pairs = zip(advice.choices, other.choices, strict=True)
    return all(alike((advice, mine), (other, theirs)) for mine, theirs in pairs)
