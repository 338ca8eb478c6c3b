"""The output stage as identified, drawn with its values; one drawing for every kind.

Symbols are those of IEC 60617 (a resistor is a box); an amplifier is a triangle with its sign.
What was not measured carries no value, and an undetermined stage is a box of question marks.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from markupsafe import Markup

from probe.report.svg import Point, box, circle, label, line, picture, tag

_WIDTH = 440.0
_HOT, _COLD, _ONE = 74.0, 176.0, 262.0
_SINGLE_ENDED = 348.0
_SPLIT, _AMP, _NODE, _EDGE, _PIN = 34.0, 70.0, 126.0, 376.0, 406.0
_PART_FROM, _PART_TO = 200.0, 262.0


@dataclass(frozen=True)
class Values:
    """Values as text; empty where nothing is known."""

    hot: str = ""
    cold: str = ""
    between: str = ""
    together: str = ""
    level: str = ""
    """Between the legs."""
    hot_level: str = ""
    cold_level: str = ""
    single_ended_level: str = ""
    single_ended_impedance: str = ""


@dataclass(frozen=True)
class Stage:
    """What is to be drawn."""

    kind: str
    live: int
    """The driven pin of a stage with one driven leg, or the pin that is not inverted: 2 or 3."""
    tapped: bool
    faults: tuple[str, ...]
    values: Values
    capacitor_hot: str = ""
    capacitor_cold: str = ""
    """Captions of coupling capacitors that show in the impedance; empty where none does."""


def schematic(key: str, name: str, stage: Stage) -> Markup:
    """Return the drawing of a stage as a figure with a description in words."""
    draw, sentence = _DRAWINGS.get(stage.kind, _DRAWINGS["undetermined"])
    parts = [*_connector(), *draw(stage)]
    height = 308.0
    if stage.values.single_ended_level:
        parts += _single_ended(stage.values)
        height = 396.0
    frame = box(6.0, 22.0, _EDGE - 6.0, height - 30.0, "outline", 10.0)
    return picture(
        key, f"Schematic: {name}", _description(sentence, stage), (_WIDTH, height), [frame, *parts]
    )


def _description(sentence: str, stage: Stage) -> str:
    v = stage.values
    told = [
        f"{what} {value}"
        for what, value in (
            ("pin 2 to pin 1:", v.hot),
            ("pin 3 to pin 1:", v.cold),
            ("between pins 2 and 3:", v.between),
            ("both legs together to pin 1:", v.together),
            ("single-ended output:", v.single_ended_level),
        )
        if value
    ]
    other = 5 - stage.live
    return "; ".join([sentence.format(live=stage.live, other=other), *told]) + "."


# Symbols


def _wire(*points: Point) -> Markup:
    return line(points, "wire")


def _dot(x: float, y: float) -> Markup:
    return circle(x, y, 3.4, "dot")


def _ground(x: float, y: float) -> list[Markup]:
    return [
        _wire((x, y - 10.0), (x, y)),
        *(_wire((x - w, y + d), (x + w, y + d)) for w, d in ((13.0, 0.0), (8.5, 5.5), (4.0, 11.0))),
    ]


def _amplifier(y: float, sign: str, x: float = _AMP) -> list[Markup]:
    points = f"{x},{y - 30} {x},{y + 30} {x + 56},{y}"
    return [
        tag("polygon", points=points, class_="part"),
        label(sign, x + 19.0, y + 7.0, "t polarity", "middle"),
    ]


def _level(stage: Stage, pin: int) -> Markup:
    """Return the open-circuit level of a driven leg, under its amplifier."""
    text = stage.values.hot_level if pin == 2 else stage.values.cold_level
    return label(text, _AMP, _row(pin) + 46.0, "t small")


def _resistor(y: float, caption: str, x: float = _PART_FROM) -> list[Markup]:
    middle = x + (_PART_TO - _PART_FROM) / 2.0
    marks = [box(x, y - 11.0, _PART_TO - _PART_FROM, 22.0, "part")]
    if caption:
        marks.append(label(caption, middle, y - 20.0, "t value", "middle"))
    return marks


def _upright(x: float, top: float, bottom: float) -> list[Markup]:
    middle = (top + bottom) / 2.0
    return [
        _wire((x, top), (x, middle - 22.0)),
        box(x - 10.0, middle - 22.0, 20.0, 44.0, "part"),
        _wire((x, middle + 22.0), (x, bottom)),
    ]


def _capacitor(x: float, y: float) -> list[Markup]:
    """Return a series capacitor centred on ``x`` in a horizontal wire."""
    return [
        box(x - 4.0, y - 14.0, 8.0, 28.0, "blank"),
        _wire((x - 4.0, y - 14.0), (x - 4.0, y + 14.0)),
        _wire((x + 4.0, y - 14.0), (x + 4.0, y + 14.0)),
    ]


def _winding(x: float, top: float, turns: int, height: float, side: int) -> Markup:
    r = height / turns / 2.0
    bulge = 1 if side > 0 else 0
    arcs = "".join(f"a{r:.1f} {r:.1f} 0 0 {bulge} 0 {2 * r:.1f}" for _ in range(turns))
    return tag("path", d=f"M{x:.1f} {top:.1f}{arcs}", class_="wire")


def _cross(x: float, y: float) -> list[Markup]:
    return [
        line([(x - 11.0, y - 11.0), (x + 11.0, y + 11.0)], "broken"),
        line([(x - 11.0, y + 11.0), (x + 11.0, y - 11.0)], "broken"),
    ]


def _connector() -> list[Markup]:
    marks = [
        _wire((_EDGE - 60.0, _ONE), (_PIN - 14.0, _ONE)),
        *_ground(_EDGE - 60.0, _ONE + 10.0),
    ]
    for number, y, name in ((2, _HOT, "hot"), (3, _COLD, "cold"), (1, _ONE, "ground")):
        marks += [
            circle(_PIN, y, 14.0, "pin"),
            label(str(number), _PIN, y + 5.5, "t number", "middle"),
            label(name, _PIN, y + 30.0, "t small", "middle"),
        ]
    return marks


def _row(pin: int) -> float:
    return _HOT if pin == 2 else _COLD


def _impedance(stage: Stage, pin: int) -> str:
    return stage.values.hot if pin == 2 else stage.values.cold


def _series(stage: Stage, pin: int, start: float = _NODE) -> list[Markup]:
    """Return a leg from ``start`` to its pin, with a capacitor where one shows."""
    y = _row(pin)
    cap = stage.capacitor_hot if pin == 2 else stage.capacitor_cold
    marks = [_wire((start, y), (_PIN - 14.0, y)), *_resistor(y, _impedance(stage, pin))]
    if cap:
        marks += [*_capacitor(_EDGE - 62.0, y), label(cap, _EDGE - 6.0, y + 30.0, "t small", "end")]
    return marks


# Kinds


def _separate_legs(stage: Stage) -> list[Markup]:
    signs = {stage.live: "+1", 5 - stage.live: "−1"}
    if "legs-in-phase" in stage.faults:
        signs = {2: "+1", 3: "+1"}
    marks = _feed()
    for pin in (2, 3):
        marks += [*_amplifier(_row(pin), signs[pin]), *_series(stage, pin), _level(stage, pin)]
    dead = {"hot-leg-dead": _HOT, "cold-leg-dead": _COLD}
    for fault, y in dead.items():
        if fault in stage.faults:
            marks += _cross(_NODE + 34.0, y)
    return marks


def _feed() -> list[Markup]:
    middle = (_HOT + _COLD) / 2.0
    return [
        _wire((12.0, middle), (_SPLIT, middle)),
        _wire((_AMP, _HOT), (_SPLIT, _HOT), (_SPLIT, _COLD), (_AMP, _COLD)),
        _dot(_SPLIT, middle),
    ]


def _floating_captions(stage: Stage, note: str) -> list[Markup]:
    """Return what holds a floating pair: the impedance between the legs and that to pin 1."""
    v, x = stage.values, 352.0
    marks = [line([(x, _HOT + 10.0), (x, _COLD - 10.0)], "reach")]
    lines = [text for text in (v.between, v.level) if text]
    top = (_HOT + _COLD) / 2.0 + 6.0 - 9.5 * len(lines)
    for index, text in enumerate(lines):
        marks.append(label(text, x - 10.0, top + 19.0 * index, "t value", "end"))
    marks.append(label("between the legs", x - 10.0, top + 19.0 * len(lines), "t small", "end"))
    if v.together:
        marks.append(label(v.together, 18.0, 268.0, "t value"))
    return [*marks, label(note, 18.0, 288.0, "t small")]


def _cross_coupled(stage: Stage) -> list[Markup]:
    signs = {stage.live: "+", 5 - stage.live: "−"}
    marks = _feed()
    for pin in (2, 3):
        y = _row(pin)
        marks += [
            *_amplifier(y, signs[pin]),
            _wire((_NODE, y), (_PIN - 14.0, y)),
            *_resistor(y, "", 142.0),
        ]
    for start, end in ((_HOT, _COLD), (_COLD, _HOT)):
        turn = 20.0 if end > start else -20.0
        lead = [
            (214.0, start),
            (214.0, start + turn),
            (88.0, end - turn),
            (88.0, end - turn * 0.95),
        ]
        marks += [line(lead, "sense"), _dot(214.0, start)]
    return [*marks, *_floating_captions(stage, "both legs together to pin 1")]


def _transformer(stage: Stage) -> list[Markup]:
    middle = (_HOT + _COLD) / 2.0
    top, height = _HOT + 8.0, _COLD - _HOT - 16.0
    marks = [
        *_amplifier(middle, "", 22.0),
        _wire((78.0, middle), (92.0, middle), (92.0, _HOT), (110.0, _HOT), (110.0, top)),
        _winding(110.0, top, 4, height, 1),
        _wire((110.0, top + height), (110.0, _COLD + 26.0)),
        *_ground(110.0, _COLD + 32.0),
        _wire((132.0, _HOT - 4.0), (132.0, _COLD + 4.0)),
        _wire((138.0, _HOT - 4.0), (138.0, _COLD + 4.0)),
        _winding(160.0, top, 4, height, -1),
        _wire((160.0, top), (160.0, _HOT), (_PIN - 14.0, _HOT)),
        _wire((160.0, top + height), (160.0, _COLD), (_PIN - 14.0, _COLD)),
        _dot(176.0, _HOT + 14.0 if stage.live == 2 else _COLD - 14.0),
    ]
    note = "both legs together to pin 1"
    if stage.tapped:
        marks += [
            _wire((160.0, middle), (173.0, middle), (173.0, _ONE), (_EDGE - 60.0, _ONE)),
            _dot(160.0, middle),
        ]
        note = "both legs to pin 1"
    return [*marks, *_floating_captions(stage, note)]


def _ground_sensing(stage: Stage) -> list[Markup]:
    live, other = _row(stage.live), _row(5 - stage.live)
    down = 1.0 if other > live else -1.0
    into = live + down * 14.0
    return [
        _wire((12.0, live - down * 14.0), (_AMP, live - down * 14.0)),
        *_amplifier(live, "Σ"),
        *_series(stage, stage.live),
        _level(stage, stage.live),
        _wire((_PIN - 14.0, other), (_SPLIT, other), (_SPLIT, into), (_AMP, into)),
        *_resistor(other, _impedance(stage, 5 - stage.live)),
        tag("path", d=f"M{_NODE + 20} {other - 8}l-15 8 15 8z", class_="dot"),
        label("listens", _NODE + 6.0, other + 26.0, "t small", "middle"),
    ]


def _one_leg(stage: Stage) -> list[Markup]:
    live = _row(stage.live)
    return [
        _wire((12.0, live), (_AMP, live)),
        *_amplifier(live, "+1"),
        *_series(stage, stage.live),
        _level(stage, stage.live),
    ]


def _impedance_balanced(stage: Stage) -> list[Markup]:
    silent = _row(5 - stage.live)
    return [
        *_one_leg(stage),
        *_series(stage, 5 - stage.live, 150.0),
        _wire((150.0, silent), (150.0, silent + 26.0)),
        *_ground(150.0, silent + 36.0),
        label("silent", 136.0, silent + 5.0, "t small", "end"),
    ]


def _grounded(stage: Stage) -> list[Markup]:
    silent = _row(5 - stage.live)
    x = 330.0
    marks = [*_one_leg(stage), _wire((_PIN - 14.0, silent), (x, silent), (x, _ONE)), _dot(x, _ONE)]
    value = _impedance(stage, 5 - stage.live)
    if value:
        marks.append(label(value, x - 12.0, silent + 5.0, "t value", "end"))
    marks.append(label("joined to pin 1", x - 12.0, silent + 25.0, "t small", "end"))
    return marks


def _open(stage: Stage) -> list[Markup]:
    silent = _row(5 - stage.live)
    value = _impedance(stage, 5 - stage.live)
    marks = [
        *_one_leg(stage),
        _wire((_PIN - 14.0, silent), (346.0, silent)),
        *_cross(334.0, silent),
        label("leads nowhere", 312.0, silent + 25.0, "t small", "end"),
    ]
    if value:
        marks.append(label(value, 312.0, silent + 5.0, "t value", "end"))
    return marks


def _unknown(stage: Stage) -> list[Markup]:
    marks = [
        box(40.0, _HOT - 28.0, 130.0, _COLD - _HOT + 56.0, "part", 8.0),
        label("?", 105.0, (_HOT + _COLD) / 2.0 + 26.0, "t question", "middle"),
    ]
    for pin in (2, 3):
        y = _row(pin)
        value = _impedance(stage, pin)
        marks.append(_wire((170.0, y), (_PIN - 14.0, y)))
        marks.append(label(value or "?", 270.0, y - 12.0, "t value", "middle"))
    if stage.values.between:
        marks.append(label(f"between: {stage.values.between}", 270.0, 130.0, "t value", "middle"))
    return marks


def _single_ended(v: Values) -> list[Markup]:
    y = _SINGLE_ENDED
    return [
        line([(20.0, 306.0), (_EDGE - 14.0, 306.0)], "grid"),
        *_amplifier(y, "", 40.0),
        _wire((96.0, y), (_PIN - 10.0, y)),
        *_resistor(y, v.single_ended_impedance or "not measured"),
        circle(_PIN, y, 10.0, "pin"),
        circle(_PIN, y, 3.0, "dot"),
        label("single-", _PIN, y + 26.0, "t small", "middle"),
        label("ended", _PIN, y + 41.0, "t small", "middle"),
        label(v.single_ended_level, _EDGE - 10.0, y + 26.0, "t small", "end"),
    ]


_DRAWINGS: dict[str, tuple[Callable[[Stage], list[Markup]], str]] = {
    "differential": (
        _separate_legs,
        "Two amplifiers of opposite sign, each through its own resistance to its own pin, 2 and 3",
    ),
    "electronically-floating": (
        _cross_coupled,
        "Two amplifiers, each also listening to the other’s output, to pins 2 and 3",
    ),
    "transformer-coupled": (
        _transformer,
        "A transformer whose secondary winding ends at pins 2 and 3",
    ),
    "ground-sensing": (
        _ground_sensing,
        "One amplifier drives pin {live}; pin {other} leads into its summing input",
    ),
    "impedance-balanced": (
        _impedance_balanced,
        "One amplifier drives pin {live}; pin {other} goes through a like impedance to ground",
    ),
    "unbalanced": (_grounded, "One amplifier drives pin {live}; pin {other} is joined to pin 1"),
    "pin-3-unconnected": (_open, "One amplifier drives pin {live}; pin {other} leads nowhere"),
    "faulty": (
        _separate_legs,
        "A stage that fits no kind, drawn as two legs with its faults marked",
    ),
    "undetermined": (_unknown, "A box of question marks: the takes do not tell what is inside"),
}
