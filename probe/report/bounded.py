"""A figure of the advice as people may take it: no digits that nobody knows or hears."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from probe.numbers import fixed, interval, number, write, write_number

MOST_DB = 120.0
"""Figures beyond it are said to be beyond it. [judgement] As in the advice."""

MOST_AMPERES = 1.0
"""No line output gives it. [judgement] As in the advice."""

SURE_DIGITS = 5e-4
"""Half-width over value below which four digits say all. [judgement] As in the advice."""


def figure(entry: Mapping[str, Any]) -> str:
    """Return a figure as text; decibels to the tenth, which is all that anybody hears."""
    value = number(entry)
    if (
        entry.get("unit") == "dB"
        and value is not None
        and value > MOST_DB
        and entry.get("bound") == "above"
    ):
        return f"more than {MOST_DB:.0f} dB"
    if value is None or entry.get("bound"):
        return write(entry).whole
    low, high = interval(entry) or (value, value)
    if entry.get("unit") == "dB":
        return _decibels(entry, value, low, high)
    if entry.get("unit") == "A" and high > MOST_AMPERES:
        return f"{write_number(min(low, MOST_AMPERES), 'A', 2)} or more"
    if high - low < 2.0 * SURE_DIGITS * abs(value):
        return write_number(value, str(entry.get("unit") or ""), 4)
    written = write(entry)
    if "low" in entry and "high" in entry:  # not as far up as down
        return f"{written.interval} {written.unit}"
    return written.whole


def _decibels(entry: Mapping[str, Any], value: float, low: float, high: float) -> str:
    if low > MOST_DB:
        return f"more than {MOST_DB:.0f} dB"
    if high - low < 0.1:
        return f"{fixed(value, 1)} dB"
    if "low" in entry and "high" in entry:
        top = fixed(high, 1) if high <= MOST_DB else f"more than {MOST_DB:.0f}"
        return f"{fixed(low, 1)} to {top} dB"
    return f"{fixed(value, 1)} ± {fixed(number(entry, 'u95') or 0.0, 1)} dB"
