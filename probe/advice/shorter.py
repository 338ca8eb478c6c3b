"""What a screen has room for where a maker decides: each answer by its way, and no more.

What is to be minded with an answer is told when it is typed, and why ways that wait for one are not
judged by `--details`; a document and a page hold all of it.
"""

from __future__ import annotations

from dataclasses import replace

from probe.advice.branches import first_steps
from probe.advice.choose import LEAST_BAD
from probe.advice.model import Advice, Choice, Settling
from probe.advice.taken import CERTAIN

LATER = (
    "what is to be minded with an answer is told once it is typed into the file, before anything "
    "is bought or plugged in, or now by --details"
)

SAYS_KIND = "kind"
"""Code of what would change the answer that knows the kind: the same question in other words."""


def in_short(advice: Advice, choice: Choice) -> Choice:
    """Return a choice with each of several answers to its question by the way that is used then.

    Answers that come to the same way stand together. Of a box without a way that has something to
    try or to ask first the least bad way is not explained besides.
    """
    steps = first_steps(advice, choice)
    why = choice.why
    if steps and choice.option is None:
        why = tuple(w for w in why if not w.startswith(LEAST_BAD))
    asked = [s for s in advice.would_change if s.box == choice.box and s.others]
    for one in asked:
        why = _shortened(why, one)
    return replace(choice, why=why)


def _shortened(why: tuple[str, ...], asked: Settling) -> tuple[str, ...]:
    """Return reasons with a question and its other answers in short."""
    by_way: dict[str, list[str]] = {}
    told = {f"{CERTAIN} {other.answer}: {other.says}": other for other in asked.others}
    for other in asked.others:
        by_way.setdefault(_without(other.says, other.minds), []).append(other.answer)
    merged = {says: f"{CERTAIN} {' or '.join(held)}: {says}" for says, held in by_way.items()}
    lines: list[str] = []
    left_out = False
    for reason in why:
        if reason in told:
            one = told[reason]
            short = merged.pop(_without(one.says, one.minds), None)
            lines += [short] if short is not None else []
            left_out |= bool(one.minds)
            last = len(lines)
        elif asked.minds and asked.what in reason and asked.minds in reason:
            lines.append(_without(reason, asked.minds))
            left_out, last = True, len(lines)
        else:
            lines.append(reason)
    if left_out:
        lines.insert(last, LATER)
    return tuple(lines)


def _without(text: str, minds: str) -> str:
    return text.replace(minds, "", 1) if minds else text


def already_asked(advice: Advice, one: Settling) -> bool:
    """Tell whether a maker is asked for it above: the kind, where what drives the pins is."""
    typed = {key for s in advice.would_change if s.box for key, _ in s.typed}
    return one.code == SAYS_KIND and "kinds" in typed
