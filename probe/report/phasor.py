"""The legs as arrows in the complex plane: length is level, direction is phase."""

from __future__ import annotations

import cmath
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from markupsafe import Markup

from probe.numbers import write
from probe.report.svg import Point, circle, group, label, line, picture, tag

_WIDTH, _RADIUS = 440.0, 122.0
_CENTRE: Point = (220.0, 140.0)
_BESIDE = 11.0
"""How far an arrow is moved sideways, in drawing units, where it would hide the one before."""
_SHORTEST = 0.025
"""Share of the longest arrow below which a leg is a ring at the centre instead of an arrow."""


@dataclass(frozen=True)
class Arrow:
    """One voltage: look, name, complex volts rms and the 95 % doubt of its length in volts.

    ``ends``: both ends of that interval where it is lopsided. ``most``: of a silent leg, the bound.
    """

    style: str
    name: str
    volts: complex
    u95: float | None
    ends: tuple[float, float] | None = None
    most: float | None = None

    def caption(self, longest: float) -> str:
        """Return the name with level and angle; a silent leg has no angle worth telling."""
        entry: dict[str, object] = {"value": abs(self.volts), "unit": "V", "u95": self.u95}
        if self.ends is not None:
            entry["low"], entry["high"] = self.ends
        if self.most is not None:
            entry = {"value": self.most, "unit": "V", "bound": "below"}
        level = write(entry, positive=True)
        if abs(self.volts) < 1e-4 * longest:
            return f"{self.name}: {level.whole}"
        angle = math.degrees(cmath.phase(self.volts))
        return f"{self.name}: {level.whole}, {_angle(angle)}"


def phasors(key: str, title: str, arrows: Sequence[Arrow]) -> Markup | None:
    """Return the figure, or None where there is nothing to draw. The first arrow defines 0°."""
    longest = max((abs(a.volts) for a in arrows), default=0.0)
    if longest == 0.0:
        return None
    turned = _turn(arrows, longest)
    captions = [arrow.caption(longest) for arrow in turned]
    parts = [*_rose(), *_arrows(turned, longest), *_captions(turned, captions)]
    height = _CENTRE[1] + _RADIUS + 38.0 + 24.0 * len(turned)
    return picture(key, title, "; ".join(captions), (_WIDTH, height), parts)


def _turn(arrows: Sequence[Arrow], longest: float) -> list[Arrow]:
    """Turn all arrows together until the first one that is not silent points to 0°."""
    first = next(a.volts for a in arrows if abs(a.volts) > 0.03 * longest)
    back = first.conjugate() / abs(first)
    return [replace(a, volts=a.volts * back) for a in arrows]


def _rose() -> list[Markup]:
    x, y = _CENTRE
    r = _RADIUS
    return [
        circle(x, y, r, "ring"),
        circle(x, y, r / 2.0, "ring"),
        line([(x - r, y), (x + r, y)], "grid"),
        line([(x, y - r), (x, y + r)], "grid"),
        label("0°", x + r + 8.0, y + 5.0, "t small"),
        label("180°", x - r - 8.0, y + 5.0, "t small", "end"),
        label("90°", x, y - r - 6.0, "t small", "middle"),
        label("−90°", x, y + r + 17.0, "t small", "middle"),
    ]


def _arrows(arrows: Sequence[Arrow], longest: float) -> list[Markup]:
    drawn: list[Markup] = []
    before: list[complex] = []
    for arrow in arrows:
        reach = arrow.volts / longest
        near = sum(abs(cmath.phase(reach / other)) < 0.16 for other in before if reach)
        drawn.append(_arrow(arrow.style, reach, near * _BESIDE))
        if abs(reach) >= _SHORTEST:
            before.append(reach)
    return drawn


def _arrow(style: str, reach: complex, aside: float) -> Markup:
    length = abs(reach) * _RADIUS
    if abs(reach) < _SHORTEST:
        return group([circle(*_CENTRE, 7.0, "mark hollow")], style)
    along = reach / abs(reach)
    across = along * 1j

    def place(distance: float, offset: float) -> Point:
        moved = along * distance + across * (offset - aside)
        return _CENTRE[0] + moved.real, _CENTRE[1] - moved.imag

    head = min(16.0, length)
    shaft = line([place(0.0, 0.0), place(length - head * 0.8, 0.0)], "shaft")
    tip = " ".join(
        f"{x:.1f},{y:.1f}"
        for x, y in (place(length, 0), place(length - head, 7), place(length - head, -7))
    )
    return group([shaft, tag("polygon", points=tip, class_="head")], style)


def _captions(arrows: Sequence[Arrow], captions: Sequence[str]) -> list[Markup]:
    rows: list[Markup] = []
    for index, (arrow, caption) in enumerate(zip(arrows, captions, strict=True)):
        y = _CENTRE[1] + _RADIUS + 44.0 + 24.0 * index
        rows.append(group([line([(30.0, y - 5.0), (76.0, y - 5.0)], "shaft")], arrow.style))
        rows.append(label(caption, 88.0, y))
    return rows


def _angle(degrees: float) -> str:
    text = f"{degrees:.1f}"
    return ("0.0" if text == "-0.0" else text.replace("-", "−").replace("−180.0", "180.0")) + "°"
