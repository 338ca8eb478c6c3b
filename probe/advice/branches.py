"""What is said once what is asked first is answered: all of it, with all boxes plugged in.

A question to a maker is told with what its answer opens. That has to be what is said once the
answer is typed, or somebody buys a lead for it that is not used then. So each answer is typed here,
and the whole advice made of it; lead, parts and sum of the answer are taken from there. Of
several questions the answers hoped for are typed together: one maker answers all of them.
"""

from __future__ import annotations

from collections.abc import Callable, Container, Iterator, Mapping, Sequence
from dataclasses import replace
from typing import Any

from probe.advice.answers import Lines, joint
from probe.advice.ask_kind import other_answers, with_other_answers
from probe.advice.ask_maker import OUTPUT
from probe.advice.digital_choice import LEAD_FIRST
from probe.advice.flip_reasons import ASKED
from probe.advice.minded import in_few_words, minded, used_of, without_volume
from probe.advice.model import NOT_SO, SO, Advice, Branch, Choice, Settling
from probe.advice.outputs_apart import CODE as APART
from probe.advice.taken import WHEN
from probe.formats.text import all_of

FIRST = frozenset({"lead-first", "asked-first", "winding", "origin-first", LEAD_FIRST})
"""Codes of what is tried, asked or unplugged before what is chosen is bought."""

USUAL, MOST, USUAL_OHM = "usual", "most", 200.0
"""Answers with an impedance as most line outputs have it (50 to 600 ohm), looked at beside the most
that is asked for: what two outputs share goes by it. [practice]"""

FIGURES = {
    USUAL: f"with about {USUAL_OHM:g} ohm",
    MOST: "with the most that is asked for, with which it is not settled that all go together",
}
"""When is taken what is taken at the other figure."""

Typed = Callable[[str, Lines], Branch]
"""What is said with an answer: in words, and as it is typed."""


def with_branches(advice: Advice, facts: Mapping[str, Any], typed: Typed) -> Advice:
    """Return the advice with what is said of all boxes with each answer to what is asked."""
    asked = {box: s for c in advice.choices for box, s in _question(advice, c)}
    lines, answered = _hoped_for(advice, asked)
    branches = [typed(SO, lines)] if lines else []
    if lines and len(advice.choices) > 1 and (usual := _with_usual(lines)) != lines:
        branches = list(_in_order(branches[0], typed(USUAL, usual)))
    other = joint(s.typed_not for s in asked.values())
    branches += [typed(NOT_SO, other)] if other else []
    others = [typed(words, said) for words, said in other_answers(advice, facts)]
    if others:
        advice = with_other_answers(advice, others)
        asked = {box: s for c in advice.choices for box, s in _question(advice, c)}
    if lines:
        advice = _told(advice, {box: asked[box] for box in answered}, branches)
    return replace(advice, branches=(*branches, *others))


def first_steps(advice: Advice, choice: Choice) -> list[Settling]:
    """Return what comes before what is chosen for a box, the one that is told first before."""
    codes = FIRST if choice.option else FIRST.union(ASKED)
    held = [s for s in advice.would_change if s.box == choice.box and s.code in codes]
    # what is tried needs no answer
    return sorted(held, key=lambda s: (s.code not in WHEN, _place(choice, s)))


def _place(choice: Choice, asked: Settling) -> int:
    """Return at which place of the reasons a thing that comes first is told."""
    places = (k for k, why in enumerate(choice.why) if asked.what in why)
    return next(places, len(choice.why))


def _question(advice: Advice, choice: Choice) -> Iterator[tuple[str, Settling]]:
    """Yield the question that is told first for a box, with the box."""
    for one in first_steps(advice, choice):
        if one.code not in WHEN:
            yield choice.box, one
            return


def _hoped_for(advice: Advice, asked: Mapping[str, Settling]) -> tuple[Lines, list[str]]:
    """Return the answers that are hoped for as one, and the boxes they are about.

    Where no box asks anything, whether the outputs share a resistor, if that is asked.
    """
    lines: Lines = ()
    boxes = []
    for box, one in asked.items():
        both = joint((lines, one.typed)) if one.typed else None
        if both:
            lines = both
            boxes.append(box)
    if not asked:
        lines = next((s.typed for s in advice.would_change if s.code == APART), ())
    return lines, boxes


def _with_usual(lines: Lines) -> Lines:
    """Return an answer with the impedance of most outputs, where up to more is asked for."""
    return tuple((k, min(v, USUAL_OHM) if k in OUTPUT else v) for k, v in lines)


def _in_order(most: Branch, usual: Branch) -> Iterator[Branch]:
    """Yield what is told of an impedance: at the most that is asked for, and at a usual one.

    At a usual one first where with the most it is not settled that all go together.
    """
    if _ways(usual) == _ways(most):
        yield most
    elif _settled(most) or not _settled(usual):
        yield from (most, usual)
    else:
        yield from (replace(usual, answer=SO), replace(most, answer=MOST))


def _settled(branch: Branch) -> bool:
    """Tell whether each box has a way that works with all plugged in."""
    works = all(o.works for one in branch.advice.sets[:1] for o in one.options)
    return works and all(c.option is not None for c in branch.advice.choices)


def _ways(branch: Branch) -> list[tuple[str | None, str | None, bool]]:
    return [(c.socket, c.option, c.attenuator) for c in branch.advice.choices]


def _told(advice: Advice, asked: Mapping[str, Settling], branches: Sequence[Branch]) -> Advice:
    """Return the advice with each question telling what is used once it is answered."""
    told = {
        c.box: _with_answer(advice, c, asked[c.box], branches)
        for c in advice.choices
        if c.box in asked
    }
    changed = {id(s): told[box] for box, s in asked.items()}
    choices = tuple(
        c if c.box not in asked else _retold(c, asked[c.box], told[c.box]) for c in advice.choices
    )
    would_change = tuple(changed.get(id(s), s) for s in advice.would_change)
    return _moved(replace(advice, choices=choices, would_change=would_change), asked, branches[0])


def _moved(advice: Advice, asked: Container[str], branch: Branch) -> Advice:
    """Return the advice with what an answer changes for boxes of which nothing is asked."""
    boxes = [c.box for c in advice.choices if c.box in asked]
    what = f"if what is asked first for {all_of(boxes)} is so" if boxes else (
        "if the outputs share no resistor, which is asked"
    )  # fmt: skip
    found: dict[str, Settling] = {}
    for choice in (c for c in advice.choices if c.box not in asked and c.option is not None):
        then = branch.choice(choice.box)
        if then.option is not None and then.option != choice.option:
            found[choice.box] = Settling(ELSEWHERE, what, (then.option,), choice.box)
    choices = tuple(
        c if c.box not in found else replace(
            c, why=(f"{BUY_NOTHING}{what}, {found[c.box].answers[0]} is used here instead", *c.why)
        )
        for c in advice.choices
    )  # fmt: skip
    return replace(advice, choices=choices, would_change=(*advice.would_change, *found.values()))


ELSEWHERE = "asked-elsewhere"
"""Code of what an answer changes for a box of which nothing is asked."""

BUY_NOTHING = "before anything is bought, wait for the answer: "
"""Before such a change, among the reasons."""


def _with_answer(
    advice: Advice, now: Choice, asked: Settling, branches: Sequence[Branch]
) -> Settling:
    """Return a question with what is used then: beside other boxes, or more than its way alone."""
    branch = branches[0]
    choice = branch.choice(asked.box)
    if choice.option is None:
        return asked
    minds = {h.code for o in used_of(advice, now) for h in o.hazards}
    tried = {s.answers[0] for s in first_steps(advice, now) if s.code in WHEN and s.answers}
    told_of, few = (f(branch.advice, choice, minds) for f in (minded, in_few_words))
    more = without_volume(branch.advice, choice) + _asked_then(branch.advice, choice, tried)
    if branch.advice.sets and not _settled(branch):
        more += "; with all plugged in that is not settled: type it before anything is bought"
    for one in (b for b in branches if b.answer in (USUAL, MOST)):
        then = one.choice(asked.box)
        other = then.option or "nothing"
        other += ", with resistors in its plug" * then.attenuator
        if (then.option, then.attenuator) != (choice.option, choice.attenuator):
            first, figures = "", f"{USUAL_OHM:g} ohm"
            if one.answer == MOST:
                first, figures = f" with {USUAL_OHM:g} ohm;", "the most of it"
            more += (
                f"{first or ','} with {figures} {other}: type the figure before anything is bought"
            )
    says = next((why.partition(_begins(asked))[2] for why in now.why if _begins(asked) in why), "")
    is_used = says.removesuffix(_else(asked))
    if choice.option != asked.answers[0] or "by itself" in is_used or choice.attenuator:
        is_used = f" is used{', with resistors in its plug' * choice.attenuator}"
    answers = tuple(dict.fromkeys((choice.option, *asked.answers[1:])))
    at_length, short = (f"{choice.option}{is_used}{mind}{more}" for mind in (told_of, few))
    told = replace(asked, answers=answers, then=at_length, short=short)
    same = f"{asked.answers[0]}{says}" == f"{told.then}{_else(told)}"
    return asked if same and len(advice.choices) < 2 else told


def _begins(asked: Settling) -> str:
    return f"{asked.what} {asked.answers[0]}"


def _else(asked: Settling) -> str:
    return "".join(f", if not {other}" for other in asked.answers[1:])


def _asked_then(again: Advice, choice: Choice, tried: Container[str]) -> str:
    """Return what comes before the lead once more, with the answer; not what is ``tried``."""
    steps = [s for s in first_steps(again, choice)
             if s.code not in WHEN or not any(a in tried for a in s.answers)]  # fmt: skip
    if not steps:
        return ""
    one = steps[0]
    if one.code in WHEN:
        return f", and before it {one.answers[0]} is tried" if one.answers else ""
    return f"; or {one.what} {one.answers[0]} is used"


def _retold(choice: Choice, was: Settling, now: Settling) -> Choice:
    """Return the choice with the question as it is told now."""
    if not now.then:
        return choice
    why = tuple(
        f"{head}{now.what} {now.then}{_else(now)}" if found else text
        for text in choice.why
        for head, found, _ in [text.partition(_begins(was))]
    )
    return replace(choice, why=why)
