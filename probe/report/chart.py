"""Curves against frequency with their 95 % bands, as SVG.

Drawn directly rather than with a plotting library: two sides make four charts, and a library's
import and layout would cost more time than the whole analysis. Lines differ by dash and marker
as well as by colour, so that they survive a photocopier and colour-blind eyes.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from markupsafe import Markup

from probe.report.svg import Point, area, box, circle, group, label, line, picture, tag

WIDTH = 440.0
_LEFT, _RIGHT, _PLOT_HEIGHT = 58.0, 14.0, 236.0
_LEGEND_ROW, _LEGEND_COLUMNS = 22.0, 2
_SHAPES = {
    f"item-{k}": shape
    for k, shape in enumerate(
        ("hot", "cold", "pair", "common", "single", "plus", "ring", "block", "kite", "delta",
         "point", "bar"), 1,
    )
}  # fmt: skip
"""Markers of up to twelve curves of one kind beside each other."""
_MOST_MARKERS = 24
_MOST_TICKS = 7


@dataclass(frozen=True)
class Curve:
    """One line: its look (``style``), its name and its points; None where nothing is known."""

    style: str
    name: str
    hz: Sequence[float]
    value: Sequence[float | None]
    low: Sequence[float | None]
    high: Sequence[float | None]

    def runs(self) -> list[list[int]]:
        """Return the indices of unbroken stretches of known points."""
        found: list[list[int]] = [[]]
        for index, value in enumerate(self.value):
            if value is None:
                found.append([])
            else:
                found[-1].append(index)
        return [run for run in found if run]


@dataclass(frozen=True)
class Axis:
    """A scale from data to drawing units, with its ticks."""

    place: Callable[[float], float]
    low: float
    high: float
    ticks: tuple[tuple[float, str], ...]


def chart(
    key: str,
    title: str,
    description: str,
    curves: Sequence[Curve],
    *,
    unit: str,
    logarithmic: bool,
    along: str = "frequency, Hz",
) -> Markup:
    """Return a figure of ``curves`` over a logarithmic axis (``along``), legend on top."""
    rows = math.ceil(len(curves) / _LEGEND_COLUMNS)
    top = rows * _LEGEND_ROW + 26.0
    bottom = top + _PLOT_HEIGHT
    x = _frequency_axis(curves)
    y = (_log_axis if logarithmic else _linear_axis)(curves, top, bottom)
    parts = [
        *_legend(curves),
        label(unit, 2.0, top - 10.0, "t small"),
        *_grid(x, y, top, bottom, along),
        *(_band(curve, run, x, y) for curve in curves for run in curve.runs()),
        *(mark for curve in curves for mark in _marks(curve, x, y)),
    ]
    return picture(key, title, description, (WIDTH, bottom + 44.0), parts)


def _known(curves: Sequence[Curve]) -> tuple[list[float], list[float]]:
    hz = [c.hz[i] for c in curves for i, v in enumerate(c.value) if v is not None]
    ends = [
        v for c in curves for part in (c.value, c.low, c.high) for v in part if v and v > -300.0
    ]
    return hz, ends


def _frequency_axis(curves: Sequence[Curve]) -> Axis:
    hz, _ = _known(curves)
    low, high = min(hz), max(hz)
    if high < 4.0 * low:  # one tone, or tones close together: show some room around them
        low, high = low / 2.0, high * 2.0
    start, span = math.log10(low), math.log10(high / low)
    width = WIDTH - _LEFT - _RIGHT - 16.0

    def place(value: float) -> float:
        return _LEFT + 8.0 + width * (math.log10(value) - start) / span

    few = span > 1.5
    ticks = tuple(
        (
            f,
            _tick(f) if d == 1 or not few or f in (20, 2e4) else "",
        )
        for decade in range(-1, 7)
        for d in (1, 2, 5)
        if low / 1.03 <= (f := d * 10.0**decade) <= high * 1.03
    )
    return Axis(place, low, high, ticks)


def _log_axis(curves: Sequence[Curve], top: float, bottom: float) -> Axis:
    values = [
        v for c in curves for part in (c.value, c.high) for v in part if v is not None and v > 0.0
    ]
    low, high = math.log10(min(values)), math.log10(max(values))
    margin = max(0.08 * (high - low), 0.12)
    low, high = low - margin, high + margin

    def place(value: float) -> float:
        clipped = min(max(math.log10(max(value, 1e-30)), low), high)
        return bottom - (bottom - top) * (clipped - low) / (high - low)

    steps: tuple[float, ...] = (1.0, 2.0, 5.0) if high - low < 2.0 else (1.0,)
    if high - low < 0.45:
        steps = (1.0, 1.2, 1.5, 2.0, 2.5, 3.0, 4.0, 5.0, 6.0, 7.0, 8.0, 9.0)
    every = max(1, math.ceil((high - low) / _MOST_TICKS))
    ticks = tuple(
        (v, _ohms(v))
        for decade in range(math.floor(low), math.ceil(high) + 1)
        for d in steps
        if low <= math.log10(v := d * 10.0**decade) <= high and decade % every == 0
    )
    return Axis(place, 10.0**low, 10.0**high, ticks)


def _linear_axis(curves: Sequence[Curve], top: float, bottom: float) -> Axis:
    _, values = _known(curves)
    low, high = min(values), max(values)
    room = max(high - low, 2.0)  # a flat curve shall look flat, not like its noise
    middle = (low + high) / 2.0
    step = next(
        s for s in (0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 1e9) if room * 1.16 / s <= _MOST_TICKS
    )
    low, high = middle - 0.58 * room, middle + 0.58 * room

    def place(value: float) -> float:
        return bottom - (bottom - top) * (min(max(value, low), high) - low) / (high - low)

    first = math.ceil(low / step)
    count = math.floor(high / step) - first + 1
    ticks = tuple(((first + i) * step, _plain((first + i) * step)) for i in range(count))
    return Axis(place, low, high, ticks)


def _tick(hz: float) -> str:
    return f"{hz / 1e3:g}k" if hz >= 1e3 else f"{hz:g}"


def _ohms(value: float) -> str:
    for size, prefix in ((1e6, "M"), (1e3, "k")):
        if value >= size * 0.999:
            return f"{value / size:.3g}{prefix}"
    return f"{value:.3g}"


def _plain(value: float) -> str:
    return f"{value:g}".replace("-", "−")


def _grid(x: Axis, y: Axis, top: float, bottom: float, along: str) -> list[Markup]:
    right = WIDTH - _RIGHT
    lines = [line([(x.place(v), top), (x.place(v), bottom)], "grid") for v, _ in x.ticks]
    lines += [line([(_LEFT, y.place(v)), (right, y.place(v))], "grid") for v, _ in y.ticks]
    names = [label(t, x.place(v), bottom + 19.0, "t small", "middle") for v, t in x.ticks if t]
    names += [label(t, _LEFT - 7.0, y.place(v) + 4.5, "t small", "end") for v, t in y.ticks]
    frame = box(_LEFT, top, right - _LEFT, bottom - top, "frame")
    return [*lines, frame, *names, label(along, right, bottom + 38.0, "t small", "end")]


def _band(curve: Curve, run: list[int], x: Axis, y: Axis) -> Markup:
    lower = [(x.place(curve.hz[i]), y.place(v)) for i in run if (v := curve.low[i]) is not None]
    upper = [(x.place(curve.hz[i]), y.place(v)) for i in run if (v := curve.high[i]) is not None]
    if len(run) == 1 and lower and upper:  # a lone tone: a bar instead of a band
        return group([line([lower[0], upper[0]], "line")], curve.style)
    return group([area([*upper, *reversed(lower)], "band")], curve.style)


def _marks(curve: Curve, x: Axis, y: Axis) -> list[Markup]:
    marks = []
    for run in curve.runs():
        points = [
            (x.place(curve.hz[i]), y.place(v)) for i in run if (v := curve.value[i]) is not None
        ]
        every = math.ceil(len(points) / _MOST_MARKERS)
        marks.append(line(points, "line"))
        marks += [marker(curve.style, point) for point in points[::every]]
    return [group(marks, curve.style)]


def marker(style: str, point: Point) -> Markup:
    """Return the marker that belongs to a style, centred on ``point``."""
    x, y = point
    match _SHAPES.get(style, style):
        case "limit":
            return Markup("")
        case bounded if bounded.endswith(" above"):
            return tag("path", d=f"M{x:.1f} {y - 6:.1f}l5.8 10h-11.6z", class_="mark hollow")
        case bounded if bounded.endswith(" below"):
            return tag("path", d=f"M{x:.1f} {y + 6:.1f}l5.8 -10h-11.6z", class_="mark hollow")
        case "hot":
            return circle(x, y, 3.6, "mark full")
        case "cold":
            return box(x - 5.5, y - 5.5, 11.0, 11.0, "mark hollow")
        case "pair":
            return tag("path", d=f"M{x:.1f} {y - 6:.1f}l6 6-6 6-6-6z", class_="mark hollow")
        case "common":
            return tag("path", d=f"M{x:.1f} {y - 6:.1f}l5.8 10h-11.6z", class_="mark full")
        case "ring":
            return circle(x, y, 4.6, "mark hollow")
        case "block":
            return box(x - 4.5, y - 4.5, 9.0, 9.0, "mark full")
        case "kite":
            return tag("path", d=f"M{x:.1f} {y - 6:.1f}l6 6-6 6-6-6z", class_="mark full")
        case "delta":
            return tag("path", d=f"M{x:.1f} {y - 6:.1f}l5.8 10h-11.6z", class_="mark hollow")
        case "plus":
            return tag("path", d=f"M{x:.1f} {y - 6:.1f}v12m-6-6h12", class_="mark hollow")
        case "point":
            return circle(x, y, 1.8, "mark full")
        case "bar":
            return line([(x, y - 6.0), (x, y + 6.0)], "mark hollow")
        case _:
            return tag(
                "path", d=f"M{x - 5:.1f} {y - 5:.1f}l10 10m0-10l-10 10", class_="mark hollow"
            )


def _legend(curves: Sequence[Curve]) -> list[Markup]:
    entries = []
    for index, curve in enumerate(curves):
        row, column = divmod(index, _LEGEND_COLUMNS)
        x, y = 4.0 + column * WIDTH / _LEGEND_COLUMNS, 14.0 + row * _LEGEND_ROW
        sample = [line([(x, y), (x + 44.0, y)], "line"), marker(curve.style, (x + 22.0, y))]
        entries += [group(sample, curve.style), label(curve.name, x + 54.0, y + 5.0)]
    return entries
