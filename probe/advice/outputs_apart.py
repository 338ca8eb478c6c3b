"""Whether the XLR and the RCA output share a resistor: a question to the maker that may decide.

Of a typed device with both outputs in use, what they share lies between nothing and one resistor
before both sockets. Where a box has nothing clean beside the others for it, all is solved once
more with nothing shared, and what would change is told with the question, if the answer spares
something: a box without a way, a doubt, an isolator, resistors or a splitter, all boxes counted
together. An isolator that moves to another box is no gain, and decibels alone change nothing that
anybody does.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Any

from probe.advice.ask_maker import isolates
from probe.advice.model import Advice, OptionAdvice, Settling
from probe.advice.note import Note
from probe.advice.source_file import APART, may_share, restated
from probe.advice.use import parts_of
from probe.advice.words import decibels

Ask = Callable[[Mapping[str, Any], Mapping[str, Any]], Advice]
"""The advice for facts and sources, all boxes together."""

CODE = "outputs-shared"

DOUBTED = ("together", "together-suffers", "together-mind", "together-not-settled",
           "together-not-all", "shared-output")  # fmt: skip
"""Notes of boxes that have not each their own best, with nothing to mind."""


def with_outputs_apart(advice: Advice, facts: Mapping[str, Any], ask: Ask) -> Advice:
    """Return the advice with the question whether the outputs share a resistor, if it decides."""
    doubted = any(c.code in DOUBTED for c in advice.cautions)
    if len(advice.choices) < 2 or not doubted or not may_share(facts):
        return advice
    again = ask(*restated(facts, APART, True))
    then = _then(advice, again) if _needs(again) < _needs(advice) else []
    if not then:
        return advice
    says = (
        "Whether pin 2 and the RCA centre share one resistor inside is not known, and decides "
        f"here: ask the maker of {advice.device}. If each output has its own ({APART} = true in "
        f"the file): {'; '.join(then)}"
    )
    answers = tuple(c.option or "nothing" for c in again.choices)
    return replace(
        advice,
        cautions=(*advice.cautions, Note("outputs-shared", says)),
        would_change=(
            *advice.would_change,
            Settling(CODE, says, answers, typed=((APART, True),)),
        ),
    )


def _needs(advice: Advice) -> tuple[int, ...]:
    """Return what all boxes together lack or need to be bought, the gravest first.

    Boxes without a way, sides that may not be or cannot be judged; isolators, leads with resistors
    in their plugs, parts with splitters.
    """
    ways = list({o.box: o for o in advice.sets[0].options}.values() if advice.sets else ())
    bad = sum(not o.works for one in advice.sets[:1] for o in one.options)
    return (
        sum(c.option is None for c in advice.choices),
        bad,
        sum(isolates(c.option) for c in advice.choices),
        sum(c.attenuator for c in advice.choices),
        parts_of(ways),
    )


def _then(advice: Advice, again: Advice) -> list[str]:
    """Return what each box would use or be rid of then, where that is another or less."""
    now = {c.box: (c.socket, c.option) for c in advice.choices}
    other, minded, left = _quietest(again), _minded(advice), _minded(again)
    told = []
    for choice in again.choices:
        moved = choice.option is not None and now[choice.box] != (choice.socket, choice.option)
        rid = minded.get(choice.box, set()) - left.get(choice.box, set())
        if moved or rid:
            hum = other.get(choice.box)
            below = "" if hum is None else f", hum {decibels(hum)} below full output"
            told.append(f"{choice.box}: {choice.option}{below}")
    return told


def _minded(advice: Advice) -> dict[str, set[str]]:
    """Return what is minded of each box in the best set, and its verdict if it is none to use."""
    found: dict[str, set[str]] = {}
    for o in advice.sets[0].options if advice.sets else ():
        bad = set() if o.works else {o.verdict}
        found.setdefault(o.box, set()).update(bad, (h.code for h in o.hazards))
    return found


def _quietest(advice: Advice) -> dict[str, Any]:
    """Return the hum of each box of the best set, on its worse side."""
    found: dict[str, Any] = {}
    options: tuple[OptionAdvice, ...] = advice.sets[0].options if advice.sets else ()
    for o in options:
        hum = o.figures.hum_below_full_output_db
        if hum is not None and (o.box not in found or hum.low < found[o.box].low):
            found[o.box] = hum
    return found
