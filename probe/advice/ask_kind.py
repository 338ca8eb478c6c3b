"""What another definite answer opens, where a maker is asked what drives pins 2 and 3.

Of an output whose pins are each driven against ground a lead takes pin 2 alone. A maker may just as
well answer that they are cross-coupled, or on a transformer: then pin 3 is tied to pin 1, or an
isolating transformer is used. All is solved once more with each kind by name. To tie it on less
than such an answer is a short circuit of a driven leg, so that is said beside.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping
from dataclasses import replace
from typing import Any

from probe.advice.ask_maker import isolates
from probe.advice.lead_data import SolveBeside
from probe.advice.model import Advice, Choice, OptionAdvice, Other, Settling
from probe.advice.plain import against
from probe.advice.source_file import FLOATING, possible_kinds, restated
from probe.advice.try_first import HUM, MAY_HARM

Solved = Callable[[Mapping[str, Any], Mapping[str, Any]], tuple[Advice, SolveBeside]]
"""The advice for facts and sources, with all that comes before a choice and that helps; and what
solves its choices with leads of a shelf."""

Answer = tuple[str, Advice, SolveBeside]
"""An answer in words, and what comes of it."""

KINDS: tuple[tuple[str, str, bool | None], ...] = (
    ('cross-coupled ("floating", "servo-balanced")', "electronically-floating", None),
    ("a transformer whose winding floats (no centre tap, no resistors to ground)",
     "transformer-coupled", True),
    ("a transformer with a centre tap or resistors to ground", "transformer-coupled", False),
    ("ground-sensing (pin 3 senses the ground of what is fed)", "ground-sensing", None),
    ("pin 3 joined to pin 1 inside", "unbalanced", None),
    ("pin 3 connected to nothing", "pin-3-unconnected", None),
)  # fmt: skip
"""What a maker may answer else: in words, the kind, and whether its winding floats."""

NEVER_TIED = (
    "without such an answer pin 3 is not joined to pin 1 anywhere: of pins that are each driven "
    "against ground that short-circuits one of them"
)


def with_other_answers(advice: Advice, facts: Mapping[str, Any], solved: Solved) -> Advice:
    """Return the advice with what the other answers open, for each box the question is put for."""
    asked = {s.box: s for s in advice.would_change if s.code == "each-driven"}
    if not asked:
        return advice
    answers = [(words, *solved(*said)) for words, said in _answers(facts)]
    told = {box: replace(s, others=tuple(_others(s, answers))) for box, s in asked.items()}
    changed = {id(s): told[box] for box, s in asked.items()}
    return replace(
        advice,
        choices=tuple(_told(c, told.get(c.box)) for c in advice.choices),
        would_change=tuple(changed.get(id(s), s) for s in advice.would_change),
    )


def _answers(
    facts: Mapping[str, Any],
) -> Iterator[tuple[str, tuple[Mapping[str, Any], Mapping[str, Any]]]]:
    """Yield the answers that fit what is stated, with facts and sources that say them."""
    possible, stated = possible_kinds(facts), (facts.get("stated") or {}).get(FLOATING)
    for words, kind, floats in KINDS:
        if kind not in possible or (floats is not None and stated not in (None, floats)):
            continue
        said = restated(facts, "kinds", (kind,))
        yield words, said if floats is None else restated(said[0], FLOATING, floats)


def _others(asked: Settling, answers: list[Answer]) -> Iterator[Other]:
    """Yield what is used with each answer, those together that come to the same."""
    found: dict[tuple[str, str], list[Answer]] = {}
    for words, again, solve in answers:
        choice = next(c for c in again.choices if c.box == asked.box)
        if choice.option is not None:
            way, says = _way(again, choice)
            found.setdefault((way, says), []).append((words, again, solve))
    for (way, says), held in found.items():
        _, again, solve = held[0]
        yield Other(" or ".join(words for words, *_ in held), way, says, again, solve)


def _way(again: Advice, choice: Choice) -> tuple[str, str]:
    """Return the way to name for an answer, and what is said of it.

    Where a transformer is used a lead that works too with nothing to mind, or after one more
    question, is spared nobody: it is named, with what is asked. One with something to mind but hum
    is told beside what is used.
    """
    assert choice.option is not None
    option = choice.option
    if choice.attenuator:
        return option, f"{option} is used, with resistors in its plug"
    if not isolates(option):
        return option, f"{option} is used{_minded(again, choice)}"
    for one in again.would_change:
        if (one.box, one.code) == (choice.box, "asked-first") and not isolates(one.answers[0]):
            what = one.what.replace(f"ask the maker of {again.device} ", "ask as well ", 1)
            return one.answers[0], f"{what} {one.answers[0]} is used, if not {option}"
    mine = [o for o in again.options if o.box == choice.box and o.socket == choice.socket]
    for way in dict.fromkeys(o.option.id for o in mine if not isolates(o.option.id)):
        sides = [o for o in mine if o.option.id == way]
        if all(_works(o) for o in sides):
            codes = dict.fromkeys(h.code for o in sides for h in o.hazards if h.code not in HUM)
            but = "; ".join(t for code in codes if (t := against(code, sides[0].figures)))
            if but:  # what is used is what is listed: that lead is no way to save it
                return option, f"{option} is used; {way} works, but: {but}"
            return way, f"{way} works, {option} is used as it is"
    return option, f"{option} is used"


def _minded(again: Advice, choice: Choice) -> str:
    """Return what is to be minded with the lead that is used, but hum, as where it is chosen."""
    used = [
        o.used
        for o in again.options
        if (o.box, o.socket, o.option.id) == (choice.box, choice.socket, choice.option)
    ]
    minds = dict.fromkeys(h.message for o in used for h in o.hazards if h.code not in HUM)
    return "".join(f"; mind: {_ASIDE.sub('', text)}" for text in minds)


_ASIDE = re.compile(r" \([^)]*\)$")


def _works(option: OptionAdvice) -> bool:
    return option.verdict == "works" and not MAY_HARM & {h.code for h in option.hazards}


def _told(choice: Choice, asked: Settling | None) -> Choice:
    """Return the choice with the other answers behind the question."""
    if asked is None or not asked.others:
        return choice
    says = [f"if it is for certain {other.answer}: {other.says}" for other in asked.others]
    if any("tied" in other.option for other in asked.others):
        says.append(NEVER_TIED)
    at = next((i for i, w in enumerate(choice.why) if asked.what in w), 0) + 1
    return replace(choice, why=(*choice.why[:at], *says, *choice.why[at:]))
