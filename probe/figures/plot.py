"""What a figure shows, as data: nothing here knows how it is drawn."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal


@dataclass(frozen=True)
class Trace:
    """One line: points, the band around them (95 %), and the least the bench could have seen.

    ``low`` and ``high`` are as long as ``x``; None where nothing is known there. ``bound``, where
    it is given, is as long too: ``above`` or ``below`` where the point is only a bound. ``limit``
    has points of its own, (x, limit), because it is known where the line is not.
    """

    label: str
    x: tuple[float, ...]
    y: tuple[float, ...]
    low: tuple[float | None, ...] = ()
    high: tuple[float | None, ...] = ()
    limit: tuple[tuple[float, float], ...] = ()
    bound: tuple[str | None, ...] = ()


@dataclass(frozen=True)
class Arrow:
    """One voltage as an arrow: volts rms, degrees, and the half-width of its length."""

    label: str
    volts: float
    degrees: float
    u95: float | None


@dataclass(frozen=True)
class Panel:
    """One pair of axes."""

    kind: Literal["lines", "bars"]
    x_label: str
    y_label: str
    traces: tuple[Trace, ...]
    x_log: bool = True
    y_log: bool = False


@dataclass(frozen=True)
class Plot:
    """One figure: its panels above one another, or arrows; the caption says every condition."""

    name: str
    side: str
    title: str
    caption: str
    panels: tuple[Panel, ...] = ()
    arrows: tuple[Arrow, ...] = ()
    foot: str = ""
