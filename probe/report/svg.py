"""The few building blocks of the drawings: escaped SVG elements with one accessible frame.

Colours never appear here: every mark carries a class, and the style sheet of the page gives
the class its colour on a light screen, a dark screen and on paper.
"""

from __future__ import annotations

from collections.abc import Iterable

from markupsafe import Markup, escape

Point = tuple[float, float]


def tag(name: str, *children: str, **attributes: object) -> Markup:
    """Return one element; attribute ``class_`` is ``class`` and ``_`` elsewhere is ``-``."""
    written = "".join(
        f' {key.rstrip("_").replace("_", "-")}="{escape(_short(value))}"'
        for key, value in attributes.items()
        if value is not None
    )
    inside = Markup("").join(
        child if isinstance(child, Markup) else escape(child) for child in children
    )
    return Markup(f"<{name}{written}>{inside}</{name}>")


def picture(
    key: str, title: str, description: str, size: tuple[float, float], parts: Iterable[Markup]
) -> Markup:
    """Return a whole figure of ``size`` units with its title and description for screen readers."""
    width, height = size
    return tag(
        "svg",
        tag("title", title, id=f"{key}-title"),
        tag("desc", description, id=f"{key}-desc"),
        *parts,
        xmlns="http://www.w3.org/2000/svg",
        viewBox=f"0 0 {_short(width)} {_short(height)}",
        role="img",
        aria_labelledby=f"{key}-title",
        aria_describedby=f"{key}-desc",
    )


def group(parts: Iterable[Markup], class_: str) -> Markup:
    """Return ``parts`` under one class."""
    return tag("g", *parts, class_=class_)


def line(points: Iterable[Point], class_: str, **attributes: object) -> Markup:
    """Return an open line through ``points``."""
    return tag("polyline", points=_points(points), class_=class_, **attributes)


def area(points: Iterable[Point], class_: str) -> Markup:
    """Return a closed shape."""
    return tag("polygon", points=_points(points), class_=class_)


def label(text: str, x: float, y: float, class_: str = "t", anchor: str = "start") -> Markup:
    """Return a text with its base line at ``y``; ``anchor`` is start, middle or end."""
    return tag("text", text, x=x, y=y, class_=class_, text_anchor=anchor)


def circle(x: float, y: float, r: float, class_: str) -> Markup:
    """Return a circle."""
    return tag("circle", cx=x, cy=y, r=r, class_=class_)


def box(x: float, y: float, width: float, height: float, class_: str, rx: float = 0.0) -> Markup:
    """Return a rectangle by its upper left corner."""
    return tag("rect", x=x, y=y, width=width, height=height, rx=rx or None, class_=class_)


def _points(points: Iterable[Point]) -> str:
    return " ".join(f"{_short(x)},{_short(y)}" for x, y in points)


def _short(value: object) -> object:
    """Hundredths of a unit are finer than any printer; longer numbers only fatten the file."""
    if isinstance(value, float):
        return f"{value:.2f}".rstrip("0").rstrip(".") or "0"
    return value
