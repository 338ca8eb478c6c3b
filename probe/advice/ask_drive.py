"""What drives pins 2 and 3: asked before an isolator is bought that one answer spares.

A sheet may name two kinds, of which one works with a lead and the other with none: the isolator
that does for both is chosen, and its maker knows which of them it is.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from functools import cache
from typing import Any

from probe.advice.answers import Lines, known
from probe.advice.ask_first import told_first
from probe.advice.ask_kind import definite_answers
from probe.advice.ask_maker import Whole, drives, isolates
from probe.advice.ask_winding import leads_with
from probe.advice.model import Advice, Settling
from probe.advice.source_file import possible_kinds


def with_drive_asked_first(
    advice: Advice, facts: Mapping[str, Any], sources: Mapping[str, Any], whole: Whole
) -> Advice:  # fmt: skip
    """Return the advice with the question, where an answer spares an isolator.

    With all boxes plugged in, and for nothing that another box would need instead.
    """
    asked = {s.box for s in advice.would_change if s.code == "asked-first"}
    boxes = [c.box for c in advice.choices if isolates(c.option) and c.box not in asked]
    found: dict[str, Settling] = {}

    @cache
    def leads(lines: Lines) -> dict[str, str]:
        return leads_with(advice, whole(*known(facts, sources, lines)))

    for what, answers, opens in _questions(advice.device, facts):
        left = [box for box in boxes if box not in found]
        if not left:
            break
        typed = answers[-1]
        ways = {box: way for box, way in leads(typed).items() if box in left and opens(way)}
        for box in ways:
            if all(leads(lines).get(box) == ways[box] for lines in answers):
                found[box] = Settling("asked-first", what, (ways[box],), box, typed=typed)
    return told_first(advice, found, "is used instead")


def _questions(
    device: str, facts: Mapping[str, Any]
) -> Iterator[tuple[str, tuple[Lines, ...], Callable[[str], bool]]]:
    """Yield what may be asked, the answers it must do with, and which ways it may open.

    Of a source that may be of one kind alone nothing; what several kinds answer goes first.
    """
    for drive, answers in drives(facts):
        yield drive.asked(device), answers, drive.opens
    several = len(possible_kinds(facts)) > 1
    for words, lines in definite_answers(facts) if several else ():
        what = (
            f"ask the maker of {device} what drives pins 2 and 3 of the XLR output: if it is for "
            f"certain {words}"
        )
        yield what, (lines,), lambda way: not isolates(way)
