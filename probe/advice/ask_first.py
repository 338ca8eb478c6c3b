"""What asking a maker would open where something else is used: told only if it would win.

Of a device that is only described a way may not be judged because an output impedance is not
stated, and be passed by for one that has to be bought, or is quieter. The choice is made again
among the two with what the impedance may be.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from probe.advice.ask_maker import (
    LEAST_OHM,
    MOST_OHM,
    OUTPUT,
    Ask,
    Whole,
    impedance_asked,
    isolates,
    unstated,
)
from probe.advice.model import Advice, Choice, Settling
from probe.advice.source_file import restated

WITHOUT, AS_IT_IS = "does without resistors", "does as it is"
"""Of the way that is used already, with resistors in its plug, or in doubt with the others."""

WITH_OTHERS = "can be judged with all plugged in, and works, with another attenuator in its plug"
"""Of one that is in doubt with the others, and keeps resistors against something else."""


def with_asked_first(
    advice: Advice, facts: Mapping[str, Any], ask: Ask, whole: Whole
) -> Advice:  # fmt: skip
    """Return the advice with what a maker is to be asked before what is used is bought.

    Nothing where a plain lead between two sockets of one kind works as it is, and the answer would
    only move it to one that needs more, nor for an isolator where a lead is used. Of several boxes
    what wins by itself is solved with all of them plugged in: it has to be used there, and no other
    box may need more for it.
    """
    several, answered = len(advice.choices) > 1, dict[tuple[str, float], Advice]()

    def beside(key: str, ohm: float, box: str, option: str) -> bool:
        if (key, ohm) not in answered:
            answered[key, ohm] = whole(*restated(facts, key, ohm))
        again = answered[key, ohm]
        used = any((c.box, c.option) == (box, option) for c in again.choices)
        return used and not loses(advice, again)

    found: dict[str, Settling] = {}
    native = {o.box for o in advice.options if o.verdict == "use" and o.option.native}
    plain = {c.box for c in advice.choices if c.box in native and not c.attenuator}
    doubts = [
        o for o in advice.options
        if o.used.verdict == "cannot-tell" and (o.option.native or o.box not in plain)
    ]  # fmt: skip
    for key in unstated(facts, doubts):
        held = {c.box: c for c in advice.choices if c.option is not None and c.box not in found}
        open_ = {
            (o.box, o.socket, o.option.id)
            for o in doubts
            if o.box in held and o.option.from_ == OUTPUT[key]
        }
        boxes = {box for box, _, _ in open_}
        among = frozenset((socket, option) for _, socket, option in open_) | {
            (c.socket or "", c.option or "") for box, c in held.items() if box in boxes
        }
        wins = winning(ask(*restated(facts, key, LEAST_OHM), among), open_) if open_ else {}
        wins = {box: way for box, way in wins.items()
                if isolates(held[box].option) or not isolates(way)}  # fmt: skip
        for ohm in MOST_OHM:
            left = {box: option for box, option in wins.items() if box not in found}
            if not left:
                break
            again = winning(ask(*restated(facts, key, ohm), among), open_)
            for box, option in left.items():
                ends = (LEAST_OHM, ohm) if several else ()
                wins_alone = again.get(box) == option
                if wins_alone and all(beside(key, end, box, option) for end in ends):
                    what = impedance_asked(advice.device, key, ohm)
                    typed = ((key, ohm),)
                    found[box] = Settling("asked-first", what, (option,), box, typed=typed)
    return told_first(advice, found, "is used instead")


def told_first(
    advice: Advice, found: Mapping[str, Settling], instead: str = "",
    still: frozenset[str] = frozenset(),
) -> Advice:  # fmt: skip
    """Return the advice with what comes before anything is bought, for each box it is found for.

    ``instead``: what is said of the answer, where all boxes were solved together with it;
    ``still``: boxes that have resistors in their plugs with the answer, too.
    """
    one = len(advice.choices) < 2
    instead = instead or ("is used instead" if one else "would by itself be used instead")
    works = "works" if one else "works by itself"
    choices = tuple(
        _told(c, found.get(c.box), instead if c.option else works, c.box in still)
        for c in advice.choices
    )
    return replace(advice, choices=choices, would_change=(*advice.would_change, *found.values()))


def loses(advice: Advice, again: Advice) -> bool:
    """Tell whether a box has to have more with the answer than without it, or has no lead."""
    return any(
        _effort(was) < _effort(now) for was, now in zip(advice.choices, again.choices, strict=True)
    )


def _effort(choice: Choice) -> int:
    """Return how far a box is from a plain lead: with resistors, a transformer, or nothing yet."""
    if choice.option is None:
        return 3
    return 2 if isolates(choice.option) else int(choice.attenuator)


def winning(again: Advice, open_: set[tuple[str, str, str]]) -> dict[str, str]:
    """Return what each box would use, where that cannot be judged now."""
    return {
        c.box: c.option
        for c in again.choices
        if c.option is not None and (c.box, c.socket or "", c.option) in open_
    }


def _told(choice: Choice, found: Settling | None, instead: str, still: bool) -> Choice:
    if found is None:
        return choice
    used = WITHOUT if choice.attenuator else AS_IT_IS
    used = WITH_OTHERS if still else used
    used = used if found.answers[0] == choice.option else instead
    says = f"before anything is bought, {found.what} {found.answers[0]} {used}"
    says += "".join(f", if not {other}" for other in found.answers[1:])
    why = (*choice.why, says) if choice.option else (says, *choice.why)
    return replace(choice, why=why)
