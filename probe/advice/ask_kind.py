"""What another definite answer opens, where a maker is asked what drives pins 2 and 3.

Of an output whose pins are each driven against ground a lead takes pin 2 alone. A maker may just as
well answer that they are cross-coupled, or on a transformer: then pin 3 is tied to pin 1, or an
isolating transformer is used. All is solved once more with each kind by name. To tie it on less
than such an answer is a short circuit of a driven leg, so that is said beside.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from typing import Any

from probe.advice.answers import Lines
from probe.advice.ask_maker import isolates
from probe.advice.minded import in_few_words, minded, without_volume
from probe.advice.model import Advice, Branch, Choice, OptionAdvice, Other, Settling
from probe.advice.plain import against
from probe.advice.source_file import FLOATING, possible_kinds
from probe.advice.taken import CERTAIN
from probe.advice.try_first import HUM, MAY_HARM

CODE = "each-driven"

KINDS: tuple[tuple[str, str, bool | None], ...] = (
    ("pins 2 and 3 each driven against ground by an amplifier of its own", "differential", None),
    ('cross-coupled ("floating", "servo-balanced")', "electronically-floating", None),
    ("a transformer whose winding floats (no centre tap, no resistors to ground)",
     "transformer-coupled", True),
    ("a transformer with a centre tap or resistors to ground", "transformer-coupled", False),
    ("ground-sensing (pin 3 senses the ground of what is fed)", "ground-sensing", None),
    ("pin 3 joined to pin 1 inside", "unbalanced", None),
    ("pin 3 connected to nothing", "pin-3-unconnected", None),
)  # fmt: skip
"""What a maker may answer else: in words, the kind, and whether its winding floats."""

ANSWERS: dict[str, Lines] = {
    words: (("kinds", (kind,)), *(() if floats is None else ((FLOATING, floats),)))
    for words, kind, floats in KINDS
}
"""The same as they are typed, by their words."""

NEVER_TIED = (
    "without such an answer pin 3 is not joined to pin 1 anywhere: of pins that are each driven "
    "against ground that short-circuits one of them"
)


def other_answers(advice: Advice, facts: Mapping[str, Any]) -> Iterator[tuple[str, Lines]]:
    """Yield the answers that fit what is stated, in words and as they are typed.

    None where nobody asks; not one that each box hopes for.
    """
    asked = [s for s in advice.would_change if _asks(s)]
    for words, lines in definite_answers(facts) if asked else ():
        if not all(_hoped(s, lines) for s in asked):
            yield words, lines


def definite_answers(facts: Mapping[str, Any]) -> Iterator[tuple[str, Lines]]:
    """Yield what a maker may answer who knows it, of what fits what is stated."""
    possible, stated = possible_kinds(facts), (facts.get("stated") or {}).get(FLOATING)
    for words, lines in ANSWERS.items():
        said = dict(lines)
        if set(said["kinds"]) <= set(possible) and stated in (None, said.get(FLOATING, stated)):
            yield words, lines


def with_other_answers(advice: Advice, branches: Sequence[Branch]) -> Advice:
    """Return the advice with what the other answers open, for each box the question is put for."""
    asked = {s.box: s for s in advice.would_change if _asks(s)}
    told = {box: replace(s, others=tuple(_others(s, branches))) for box, s in asked.items()}
    changed = {id(s): told[box] for box, s in asked.items()}
    return replace(
        advice,
        choices=tuple(_told(c, told.get(c.box)) for c in advice.choices),
        would_change=tuple(changed.get(id(s), s) for s in advice.would_change),
    )


def _asks(asked: Settling) -> bool:
    """Tell whether it is asked what drives the pins, be it before an isolator is bought."""
    return asked.code in (CODE, "asked-first") and "kinds" in dict(asked.typed)


def _others(asked: Settling, branches: Sequence[Branch]) -> Iterator[Other]:
    """Yield what is used with each answer, those together that come to the same.

    Not of one that is among those hoped for.
    """
    found: dict[tuple[str, str, str], list[str]] = {}
    named = {words for words, lines in ANSWERS.items() if _hoped(asked, lines)}
    for one in branches:
        choice = one.choice(asked.box)
        if choice.option is not None and one.answer not in named:
            found.setdefault(_way(one.advice, choice), []).append(one.answer)
    for (way, says, short), answers in found.items():
        yield Other(" or ".join(answers), way, says, tuple(answers), short)


def _hoped(asked: Settling, answer: Lines) -> bool:
    """Tell whether a definite answer is among what is hoped for."""
    hoped, said = dict(asked.typed), dict(answer)
    floats = hoped.get(FLOATING, said.get(FLOATING)) == said.get(FLOATING)
    return set(said["kinds"]) <= set(hoped["kinds"]) and floats


def _way(again: Advice, choice: Choice) -> tuple[str, str, str]:
    """Return the way to name for an answer, and what is said of it, at length and in short.

    Where a transformer is used a lead that works too with nothing to mind, or after one more
    question, is spared nobody: it is named, with what is asked. One with something to mind but hum
    is told beside what is used.
    """
    assert choice.option is not None
    option = choice.option
    if choice.attenuator or not isolates(option):
        says = f"{option} is used{', with resistors in its plug' * choice.attenuator}"
        told, short = (f(again, choice) for f in (minded, in_few_words))
        else_ = without_volume(again, choice)
        return option, f"{says}{told}{else_}", f"{says}{short}{else_}"
    way, says = _beside_isolator(again, choice, option)
    return way, says, says


def _beside_isolator(again: Advice, choice: Choice, option: str) -> tuple[str, str]:
    """Return the way to name where an isolator is used, and what is said of it."""
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


def _works(option: OptionAdvice) -> bool:
    return option.verdict == "works" and not MAY_HARM & {h.code for h in option.hazards}


def _told(choice: Choice, asked: Settling | None) -> Choice:
    """Return the choice with the other answers behind the question."""
    if asked is None or not asked.others:
        return choice
    says = [f"{CERTAIN} {other.answer}: {other.says}" for other in asked.others]
    if any("tied" in other.option for other in asked.others):
        says.append(NEVER_TIED)
    at = next((i for i, w in enumerate(choice.why) if asked.what in w), 0) + 1
    return replace(choice, why=(*choice.why[:at], *says, *choice.why[at:]))
