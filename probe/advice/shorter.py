"""What a screen has room for where a maker decides: each answer by its way, and no more.

What is to be minded with an answer is told in few words until it is typed, and why ways that wait
for one are not judged by `--details`; a document and a page hold all of it.
"""

from __future__ import annotations

from dataclasses import replace

from probe.advice.branches import first_steps
from probe.advice.choose import LEAST_BAD
from probe.advice.model import Advice, Choice, Settling
from probe.advice.taken import CERTAIN

LATER = (
    "type the answer into the file before anything is bought or plugged in: then all there is to "
    "mind is told (or now, by --details)"
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
    told = {f"{CERTAIN} {other.answer}: {other.says}": other for other in asked.others}
    by_way: dict[str, list[str]] = {}
    for other in asked.others:
        by_way.setdefault(other.short, []).append(other.answer)
    at_length = any(other.short != other.says for other in asked.others)
    at_length |= asked.short not in ("", asked.then)
    lines: list[str] = []
    last = 0
    for reason in why:
        if reason in told:
            short = told[reason].short
            if answers := by_way.pop(short, None):
                lines.append(f"{CERTAIN} {' or '.join(answers)}: {short}")
            last = len(lines)
        elif asked.short and asked.what in reason:
            lines.append(reason.replace(asked.then, asked.short, 1))
            last = len(lines)
        else:
            lines.append(reason)
    if at_length and last:
        lines.insert(last, LATER)
    return tuple(lines)


def already_asked(advice: Advice, one: Settling) -> bool:
    """Tell whether a maker is asked for it above: the kind, where what drives the pins is."""
    typed = {key for s in advice.would_change if s.box for key, _ in s.typed}
    return one.code == SAYS_KIND and "kinds" in typed
