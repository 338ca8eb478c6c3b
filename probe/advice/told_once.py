"""Boxes of which everything printed is alike, such as two equal amplifiers: told once, by name.

What is compared is what is printed of each box by itself, letter by letter, its name aside: the
same inputs, leads, grounds and answers. The document keeps a copy for each box.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Container, Mapping, Sequence
from dataclasses import replace

from probe.advice.digital import DigitalAdvice
from probe.advice.model import Advice, Choice, OptionAdvice
from probe.advice.note import Note

Group = tuple[str, ...]

Says = Callable[[str], str]
"""A text with the names of boxes changed."""

JOINTS = (" and ", ", ")
"""What stands between the names of boxes."""

_NUMBERED = re.compile(r" \(no\. \d+\)$")
"""What tells two of one name apart."""


def groups_of(advice: Advice, printed: Callable[[Advice], str]) -> tuple[Group, ...]:
    """Return the boxes in their order, those together of which ``printed`` says the same."""
    boxes = _boxes(advice)
    if len(boxes) < 2:
        return tuple((box,) for box in boxes)
    held: dict[str, list[str]] = {}
    for box in boxes:
        alone = replace(_without(advice, set(boxes) - {box}), cautions=())
        held.setdefault(printed(_renamed(alone, _naming(boxes, {box: "the box"}))), []).append(box)
    return tuple(tuple(group) for group in held.values())


def label_of(group: Sequence[str]) -> str:
    """Return what the boxes of a group are called together."""
    bare = {_NUMBERED.sub("", box) for box in group}
    if len(group) == 1:
        return group[0]
    if len(bare) == 1:
        return f"{len(group)} x {bare.pop()}"
    return f"{', '.join(group[:-1])} and {group[-1]}"


def told_once(advice: Advice, groups: Sequence[Group]) -> Advice:
    """Return the advice with one box for each group, called by all its names."""
    alike = [group for group in groups if len(group) > 1]
    if not alike:
        return advice
    boxes = _boxes(advice)
    labels = {group[0]: label_of(group) for group in alike}
    again = {box for group in alike for box in group[1:]}
    whole = advice.destination
    if whole == " and ".join(boxes):
        whole = " and ".join(labels.get(box, box) for box in boxes if box not in again)
    cautions = _cautions(advice, alike, boxes)
    joint = {j.join(g): label_of(g) for g in alike for j in JOINTS}
    found = _renamed(_without(advice, again), _naming(boxes, labels | joint))
    all_ = _naming(boxes, {box: label_of(group) for group in alike for box in group})
    would_change = tuple(
        replace(w, answers=tuple(_once(all_(answer)) for answer in w.answers))
        for w in found.would_change
    )
    return replace(found, destination=whole, cautions=cautions, would_change=would_change)


def _once(answer: str) -> str:
    """Return what may be chosen for several boxes, that of alike ones once."""
    return " and ".join(dict.fromkeys(answer.split(" and ")))


def _cautions(
    advice: Advice, alike: Sequence[Group], boxes: Sequence[str]
) -> tuple[Note, ...]:  # fmt: skip
    """Return the cautions: what is said of each box of a group is said once of all."""
    said = {c.message for c in advice.cautions}
    shown = {message: message for message in said}
    for group in alike:
        for message in said:
            told = {b: _naming(boxes, dict.fromkeys(group, b))(message) for b in group}
            if message in told.values() and len(set(told.values()) & said) == len(group):
                shown[message] = _naming(boxes, dict.fromkeys(group, label_of(group)))(message)
        joint = {j.join(group): label_of(group) for j in JOINTS}
        shown = {message: _naming(boxes, joint)(text) for message, text in shown.items()}
    return tuple(dict.fromkeys(replace(c, message=shown[c.message]) for c in advice.cautions))


def _naming(boxes: Sequence[str], names: Mapping[str, str]) -> Says:
    """Return what puts ``names`` for boxes, or for several joined, into a text."""
    found = sorted({*boxes, *names}, key=len, reverse=True)
    every = re.compile("|".join(re.escape(name) for name in found))
    return lambda text: every.sub(lambda found: names.get(found[0], found[0]), text)


def _boxes(advice: Advice) -> list[str]:
    return list(dict.fromkeys(c.box for c in advice.choices))


def _without(advice: Advice, boxes: Container[str | None]) -> Advice:
    """Return the advice without anything of some boxes, but for the cautions."""
    return replace(
        advice,
        options=tuple(o for o in advice.options if o.box not in boxes),
        choices=tuple(c for c in advice.choices if c.box not in boxes),
        sets=tuple(
            replace(one, options=tuple(o for o in one.options if o.box not in boxes))
            for one in advice.sets
        ),
        cures=tuple(c for c in advice.cures if c.box not in boxes),
        would_change=tuple(w for w in advice.would_change if w.box not in boxes),
        digital=tuple(a for a in advice.digital if a.box not in boxes),
    )


def _renamed(advice: Advice, says: Says) -> Advice:
    return replace(
        advice,
        options=tuple(_option(o, says) for o in advice.options),
        choices=tuple(_choice(c, says) for c in advice.choices),
        sets=tuple(
            replace(one, options=tuple(_option(o, says) for o in one.options))
            for one in advice.sets
        ),
        cures=tuple(replace(c, box=says(c.box), says=says(c.says)) for c in advice.cures),
        would_change=tuple(
            replace(
                w, box=None if w.box is None else says(w.box), what=says(w.what), then=says(w.then)
            )
            for w in advice.would_change
        ),
        digital=tuple(_link(a, says) for a in advice.digital),
    )


def _choice(choice: Choice, says: Says) -> Choice:
    return replace(
        choice,
        box=says(choice.box),
        socket=None if choice.socket is None else says(choice.socket),
        why=tuple(says(why) for why in choice.why),
    )


def _option(option: OptionAdvice, says: Says) -> OptionAdvice:
    pad = option.attenuator
    return replace(
        option,
        box=says(option.box),
        socket=says(option.socket),
        hazards=tuple(replace(h, message=says(h.message)) for h in option.hazards),
        reasons=tuple(says(reason) for reason in option.reasons),
        because=says(option.because),
        passed_by=says(option.passed_by),
        attenuator=None if pad is None else replace(pad, advice=_option(pad.advice, says)),
    )


def _link(link: DigitalAdvice, says: Says) -> DigitalAdvice:
    return replace(link, box=says(link.box), socket=says(link.socket))
