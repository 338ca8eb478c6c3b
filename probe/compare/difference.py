"""One fact against another: the difference in its natural measure, with a combined interval.

Voltages and their like differ in decibels, impedances and frequencies in percent, ratios in
decibels, angles in degrees within ±180. Doubts are added as independent ones, each side of an
interval by itself (JCGM 100:2008, 5.1.2). Figures from one bench share its errors, which cancel in
the difference: the interval stated is the wide end.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from probe.numbers import interval, number, ratio_db

Entry = Mapping[str, Any]

SIGNED_VOLTS = "direct_voltage"
"""Facts in volts whose sign counts and which may be nothing: compared in volts."""

MOST_RELATIVE = 0.999
"""A doubt as large as the value has no lower end in decibels; there the difference has none."""


@dataclass(frozen=True)
class Difference:
    """What ``b`` is against ``a``.

    Attributes
    ----------
    value, low, high
        Difference and the ends of its 95 % interval, in ``unit``; None where only bounds are known.
    unit
        ``dB``, ``percent``, ``deg`` or the unit of the fact itself.
    larger
        True where the difference is larger than its interval, False where it is not, None where
        nobody can tell.
    """

    value: float | None
    low: float | None
    high: float | None
    unit: str
    larger: bool | None

    @property
    def times(self) -> float:
        """How many of its own intervals the difference is; 0 where it is not known."""
        if self.value is None or self.low is None or self.high is None:
            return 0.0
        half = self.value - self.low if self.value > 0.0 else self.high - self.value
        return abs(self.value) / half if half > 0.0 else (math.inf if self.value else 0.0)

    def to_json(self) -> dict[str, Any]:
        """Return the difference as an entry like those of the facts, and ``larger``."""
        out: dict[str, Any] = {"value": self.value, "unit": self.unit, "larger": self.larger}
        if self.value is not None and self.low is not None and self.high is not None:
            out |= {"u95": (self.high - self.low) / 2.0, "low": self.low, "high": self.high}
        return out


def difference(name: str, a: Entry | None, b: Entry | None) -> Difference | None:
    """Return ``b`` against ``a``, or None where one is missing or their units differ.

    Parameters
    ----------
    name
        Of the fact: direct voltages are compared with their sign.
    a, b
        Entries of the facts document: value, unit, u95, low, high, bound.
    """
    first, second = number(a), number(b)
    if a is None or b is None or first is None or second is None:
        return None
    if a.get("unit") != b.get("unit"):
        return None
    measure = _measure(name, str(a.get("unit", "")), first, second)
    if a.get("bound") or b.get("bound"):
        return Difference(None, None, None, measure, _apart(a, b))
    down_a, up_a = doubts(a)
    down_b, up_b = doubts(b)
    if measure == "dB" and a.get("unit") != "dB":
        return _decibels(first, second, (down_a, up_a), (down_b, up_b))
    if measure == "percent" and a.get("unit") != "percent":
        scale = 100.0 / first
        value = scale * second - 100.0
        low = math.hypot(scale * down_b, scale * up_a * second / first)
        high = math.hypot(scale * up_b, scale * down_a * second / first)
        return _made(value, low, high, measure)
    value = second - first
    if measure == "deg":
        value = (value + 180.0) % 360.0 - 180.0
    return _made(value, math.hypot(down_b, up_a), math.hypot(up_b, down_a), measure)


def doubts(entry: Entry) -> tuple[float, float]:
    """Return how far the 95 % interval of an entry reaches below and above its value."""
    value, ends = number(entry), interval(entry)
    if value is None or ends is None:
        return 0.0, 0.0
    return max(value - ends[0], 0.0), max(ends[1] - value, 0.0)


def _measure(name: str, unit: str, a: float, b: float) -> str:
    if unit in ("dB", "deg"):
        return unit
    if unit in ("V", "V/√Hz") and a > 0.0 and b > 0.0 and SIGNED_VOLTS not in name:
        return "dB"
    if unit in ("ohm", "Hz", "A", "A/V") and a > 0.0:
        return "percent"
    return unit


def _decibels(
    a: float, b: float, around_a: tuple[float, float], around_b: tuple[float, float]
) -> Difference:
    up = math.hypot(around_b[1] / b, around_a[0] / a)
    down = math.hypot(around_b[0] / b, around_a[1] / a)
    if max(up, down) >= MOST_RELATIVE:
        return Difference(None, None, None, "dB", False)
    return _made(ratio_db(b / a), -ratio_db(1.0 - down), ratio_db(1.0 + up), "dB")


def _made(value: float, down: float, up: float, unit: str) -> Difference:
    low, high = value - down, value + up
    return Difference(value, low, high, unit, not low <= 0.0 <= high)


def _apart(a: Entry, b: Entry) -> bool | None:
    """Return True where bounds and intervals leave nothing in common, None where they might."""
    (low_a, high_a), (low_b, high_b) = reach(a), reach(b)
    return True if high_a < low_b or high_b < low_a else None


def reach(entry: Entry) -> tuple[float, float]:
    """Return the ends between which the truth lies; a bound has one end at infinity."""
    value = number(entry)
    if value is None:
        return -math.inf, math.inf
    if entry.get("bound") == "above":
        return value, math.inf
    if entry.get("bound") == "below":
        return -math.inf, value
    down, up = doubts(entry)
    return value - down, value + up
