"""What is to be minded of a lead that an answer opens, as where it is chosen."""

from __future__ import annotations

import re
from collections.abc import Container

from probe.advice.model import Advice, Choice, OptionAdvice
from probe.advice.plain import against
from probe.advice.try_first import HUM


def used_of(advice: Advice, choice: Choice) -> list[OptionAdvice]:
    """Return what is used for a box on every side, as it is used."""
    way = (choice.box, choice.socket, choice.option)
    return [o.used for o in advice.options if (o.box, o.socket, o.option.id) == way]


def minded(again: Advice, choice: Choice, known: Container[str] = ()) -> str:
    """Return what is to be minded with the lead that is used, but hum and ``known`` codes."""
    minds = dict.fromkeys(
        h.message for o in used_of(again, choice) for h in o.hazards
        if h.code not in HUM and h.code not in known
    )  # fmt: skip
    return "".join(f"; mind: {_ASIDE.sub('', text)}" for text in minds)


def in_few_words(again: Advice, choice: Choice, known: Container[str] = ()) -> str:
    """Return the same in few words."""
    told = dict.fromkeys(
        FIXED if h.code == "overload" and o.never_turned_up else against(h.code, o.figures)
        for o in used_of(again, choice) for h in o.hazards
        if h.code not in HUM and h.code not in known
    )  # fmt: skip
    words = ", ".join(filter(None, told))
    return f"; mind: {words}" if words else ""


FIXED = "more may come than the input accepts, and nothing turns it down: an attenuator before it"
"""Of a device without a volume control."""


def without_volume(again: Advice, choice: Choice) -> str:
    """Return what is used instead where the device turns out to have no volume control."""
    cases = [s.cases for s in again.would_change
             if (s.box, s.code) == (choice.box, "volume-control") and s.cases]  # fmt: skip
    without = [c for held in cases for c in held[0][1].choices if c.box == choice.box]
    other = without[0].option if without else choice.option
    if other == choice.option:
        return ""
    return f"; where the device has no volume control of its own {other or 'nothing'} is used"


_ASIDE = re.compile(r" \([^)]*\)$")
