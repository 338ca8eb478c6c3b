"""What if, drawn: one row for each option, a bar where it is the choice, a line where it flips."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from string import ascii_uppercase
from typing import Any

from markupsafe import Markup

from probe.numbers import number, write_number
from probe.report import words
from probe.report.document import listing
from probe.report.names import kind_name
from probe.report.svg import box, label, line, picture
from probe.report.text import clean, printed

_WIDTH, _LEFT, _RIGHT, _ROW, _TOP = 680.0, 20.0, 660.0, 44.0, 18.0
_TICKS = 5
_DECADES = 3
"""Of a range that starts at nothing, below its end."""
_LINE, _CHARACTERS = 15.0, 95
"""Distance of lines, and characters that fit into one at the size of a label."""


Chosen = tuple[tuple[Any, bool], ...]
"""The way of each box, and whether there are resistors in its plug."""


@dataclass(frozen=True)
class Varied:
    """A sweep turned into a figure and a table."""

    title: str
    what: str
    rows: tuple[tuple[str, str], ...]
    flips: tuple[str, ...]
    lacking: tuple[str, ...]
    """What was not computed, and what the figure therefore does not tell."""
    drawing: Markup | None
    caption: str
    nothing: str = ""
    """Where the choice stays what it is: all there is to say."""


def varied_of(document: object, places: Mapping[str, str] | None = None) -> Varied | None:
    """Return the view of the ``vary`` part of an advice document, or None where there is none.

    ``places``: what the boxes are called.
    """
    if not isinstance(document, Mapping):
        return None
    what = clean(document.get("what") or "", 40).replace("-", " ")
    unit = clean(document.get("unit") or "", 8)
    points = [p for p in listing(document, "points") if isinstance(p, Mapping)]
    flips = [f for f in listing(document, "flips") if isinstance(f, Mapping)]
    if not points:
        return None
    held = [str(box) for box in listing(document, "destinations")]
    named = [(places or {}).get(box) or clean(box, 60) for box in held]
    boxes = named if len(named) > 1 else []
    if number(points[0]) is None:
        title = f"What if the {what} were different"
        rows = _kind_rows(points, boxes, places or {})
        told = tuple(printed(line, 700) for line in listing(document, "says"))
        return Varied(title, what.capitalize(), rows, (), told, None, "")
    spans = _spans(points, flips)
    letters = _letters(spans, boxes)
    told = tuple(
        f"Flips between {_at(f.get('low'), unit, 4)} and {_at(f.get('high'), unit, 4)}"
        f"{_causes(f, places or {}, several=bool(boxes))}."
        for f in flips
    )
    ranges = [r for r in listing(document, "ranges") if isinstance(r, Mapping)]
    why = [_nothing(r, places or {}, several=bool(boxes)) for r in ranges] + [""] * len(spans)
    lacking = tuple(printed(line) for line in listing(document, "says"))
    changes = bool(flips or lacking)
    title = (
        f"What if the {what} were different"
        if changes
        else (f"The {what} does not change the choice")
    )
    return Varied(
        title=title,
        what=what.capitalize(),
        rows=tuple(
            (_between(a, b, unit), f"{letters[c]}{_named(c, boxes)}{told}")
            for (a, b, c), told in zip(spans, why, strict=False)
        ),
        flips=told,
        lacking=lacking,
        drawing=_drawing(spans, what, unit, boxes, letters, number(document, "now")),
        caption=f"Where each way is the choice, over the {what}.",
        nothing=""
        if changes
        else f"{title}, from {_at(spans[0][0], unit)} to {_at(spans[-1][1], unit)}{why[0]}.",
    )


def _letters(spans: Sequence[Span], boxes: Sequence[str]) -> dict[Chosen, str]:
    """Return a letter for each set of leads, which the figure has and the table; none for one."""
    chosen = dict.fromkeys(c for _, _, c in spans)
    return {c: f"{ascii_uppercase[k % 26]}: " if boxes else "" for k, c in enumerate(chosen)}


def _between(low: float, high: float, unit: str) -> str:
    """Return a range that does not break between a figure and its unit."""
    return f"{_at(low, unit)} to {_at(high, unit)}".replace(" ", "\u00a0")


def _kind_rows(
    points: Sequence[Mapping[str, Any]], boxes: Sequence[str], places: Mapping[str, str]
) -> tuple[tuple[str, str], ...]:
    return tuple(
        (
            f"{kind_name(str(p.get('value')))}{MARK * (p.get('described') is True)}",
            f"{_named(_chosen(p), boxes)}{_nothing(p, places, several=bool(boxes))}",
        )
        for p in points
    )


MARK = " *"
"""Behind a kind that was not measured, which is said below."""

HELP = ("transformer", "better-lead", "line-driver")
"""Of what would settle a range what is bought, rather than asked."""


def _nothing(held: Mapping[str, Any], places: Mapping[str, str], *, several: bool) -> str:
    """Return why nothing is used in a range, and what would settle it; nothing where all have."""
    reasons = [r for r in listing(held, "nothing") if isinstance(r, Mapping)]
    told = [_reason(r, places, several=several) for r in reasons]
    for reason in reasons:
        for one in (a for a in listing(reason, "asks") if isinstance(a, Mapping)):
            ways = " or ".join(_way(a) for a in listing(one, "answers"))
            helps = one.get("code") in HELP
            asked = printed(one.get("what"), 400)
            asked = f"What would help: {asked}" if helps else f"{asked[:1].upper()}{asked[1:]}"
            told.append(f"{asked}{':' * helps} {ways} works" if ways else asked)
    sentences = [f"{t[:1].upper()}{t[1:]}".rstrip(".") for t in dict.fromkeys(told)]
    return f": {'. '.join(sentences)}" if told else ""


def _causes(flip: Mapping[str, Any], places: Mapping[str, str], *, several: bool) -> str:
    """Return what makes a choice flip."""
    reasons = [r for r in listing(flip, "because") if isinstance(r, Mapping)]
    told = [_reason(r, places, several=several).rstrip(".") for r in reasons]
    return f": {'; '.join(dict.fromkeys(told))}" if told else ""


def _reason(reason: Mapping[str, Any], places: Mapping[str, str], *, several: bool) -> str:
    """Return what stands against a way of one box, in plain words."""
    box = str(reason.get("destination") or "")
    whose = f"{places.get(box) or clean(box, 60)}: " if several and box else ""
    where = clean(reason.get("where") or "here", 40).removeprefix("here").strip()
    way = f"{_way(reason['option'])}: " if reason.get("option") else ""
    return f"{whose}{f'{where}, ' if where else ''}{way}{printed(reason.get('because'))}"


def _way(option: object) -> str:
    return words.OPTIONS.get(str(option)) or clean(option, 60)


def _chosen(point: Mapping[str, Any], ways: str = "chosen", fitted: str = "attenuator") -> Chosen:
    """Return the way of each box, and whether there are resistors in its plug."""
    found = listing(point, ways)
    pads = [*listing(point, fitted), *(False for _ in found)]
    return tuple((way, pad is True) for way, pad in zip(found, pads, strict=False))


IN_PLUG = ", resistors in its plug"
"""Behind a way that is used so."""


def _named(chosen: Chosen, boxes: Sequence[str]) -> str:
    """Return what is chosen; of several boxes each with its name."""
    names = [f"{_way(c)}{IN_PLUG * pad}" if c else "nothing yet" for c, pad in chosen]
    if boxes and names:
        return "; ".join(f"{box}: {name}" for box, name in zip(boxes, names, strict=False))
    return " and ".join(names) or "nothing yet"


def _at(value: object, unit: str, digits: int = 3) -> str:
    found = float(value) if isinstance(value, int | float) else 0.0
    if unit in ("ohm", "V"):
        return write_number(found, unit, digits)
    return f"{float(f'{found:.{digits}g}'):g} {unit}".replace("-", "−")


Span = tuple[float, float, Chosen]


def _spans(points: Sequence[Mapping[str, Any]], flips: Sequence[Mapping[str, Any]]) -> list[Span]:
    ends = [number(points[0]) or 0.0, number(points[-1]) or 0.0]
    places = [((number(f, "low") or 0.0) + (number(f, "high") or 0.0)) / 2.0 for f in flips]
    edges = [ends[0], *places, ends[1]]
    chosen = [_chosen(points[0]), *(_chosen(f, "to", "attenuator_to") for f in flips)]
    return [(edges[k], edges[k + 1], c) for k, c in enumerate(chosen)]


def _drawing(
    spans: Sequence[Span],
    what: str,
    unit: str,
    boxes: Sequence[str],
    letters: Mapping[Chosen, str],
    now: float | None = None,
) -> Markup:
    """``now``: what it is in the question as asked, which is marked below the axis."""

    def short(chosen: Chosen) -> str:
        return letters[chosen].rstrip(": ") or _named(chosen, boxes)

    names = list(dict.fromkeys(short(c) for _, _, c in spans))
    low, high = spans[0][0], spans[-1][1]
    rows = [_lines(name) for name in names]
    tops = [_TOP + sum(_ROW + _LINE * (len(r) - 1) for r in rows[:k]) for k in range(len(rows) + 1)]
    height = tops[-1] + 34.0

    def place(value: float) -> float:
        if low >= 0.0:  # an octave takes the same room everywhere; nothing stands at the left edge
            start = low or high / 10.0**_DECADES
            share = math.log(max(value, start) / start) / math.log(high / start)
            return _LEFT + (_RIGHT - _LEFT) * share
        return _LEFT + (_RIGHT - _LEFT) * (value - low) / (high - low)

    bottom = tops[-1]
    parts = [line([(place(a), bottom - 5.0), (place(a), bottom + 4.0)], "flip")
             for a, _, _ in spans[1:]]  # fmt: skip
    for top, said, name in zip(tops[:-1], rows, names, strict=True):
        y = top + _LINE * (len(said) - 1)
        parts += [label(s, _LEFT, top + 12.0 + _LINE * k, "small over") for k, s in enumerate(said)]
        # a flip is marked at the bars alone: through a name it could not be read
        parts += [
            line([(place(a), y + 15.0), (place(a), y + 35.0)], "flip") for a, _, _ in spans[1:]
        ]
        for a, b, chosen in spans:
            if short(chosen) == name:
                parts.append(box(place(a), y + 18.0, max(place(b) - place(a), 2.0), 14.0, "filled"))
    parts.append(line([(_LEFT, bottom), (_RIGHT, bottom)], "axis"))
    for value in _ticks(low, high):
        anchor = "start" if value == low else "end" if value == high else "middle"
        parts.append(label(_at(value, unit), place(value), bottom + 20.0, "small", anchor))
    if now is not None and low <= now <= high:
        parts += _marked(place(now), bottom, f"now {_at(now, unit)}")
        height += _LINE
    described = "; ".join(
        f"{_at(a, unit)} to {_at(b, unit)}: {letters[c]}{_named(c, boxes)}" for a, b, c in spans
    )
    return picture("vary", f"The choice over the {what}", f"{described}.", (_WIDTH, height), parts)


def _marked(x: float, bottom: float, text: str) -> list[Markup]:
    """Return a mark below the axis, with its words below the figures."""
    tip, foot = (x, bottom + 2.0), bottom + 24.0
    anchor = "start" if x < _LEFT + 60.0 else "end" if x > _RIGHT - 60.0 else "middle"
    return [
        line([(x - 5.0, bottom + 9.0), tip, (x + 5.0, bottom + 9.0)], "axis"),
        label(text, x, foot + _LINE, "small", anchor),
    ]


def _lines(name: str) -> list[str]:
    """Return a label in lines that stay on the paper."""
    return textwrap.wrap(name, _CHARACTERS) or [name]


def _ticks(low: float, high: float) -> list[float]:
    if low == 0.0:
        return [low, *(high / 10.0**k for k in reversed(range(_DECADES)))]
    steps = [k / (_TICKS - 1.0) for k in range(_TICKS)]
    if low > 0.0:
        return [low, *(low * (high / low) ** s for s in steps[1:-1]), high]
    return [low, *(low + (high - low) * s for s in steps[1:-1]), high]
