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


LEAST = {"A": 1e-6, "V": 1e-6}
"""Least of a figure that is told in digits, in its unit: the limits of the advice lie at
thousandths and more, and what a solve leaves of nothing is no figure. [judgement]"""

RISE_DB = 0.05
"""From here a loss below nothing is the rise it is: as decibels are rounded."""


def loss_or_rise(name: str, entry: dict[str, Any]) -> tuple[str, dict[str, Any]]:
    """Return name and figure of a loss; of one below nothing, those of the rise it is."""
    word, _, where = name.partition(" at ")
    value = number(entry)
    if word not in ("Loss", "Lost") or value is None or value > -RISE_DB:
        return name, entry
    ends = {"low": "high", "high": "low"}
    turned = {a: -entry[b] for a, b in ends.items() if b in entry}
    return f"Rise at {where}", {**entry, "value": -value, **turned}


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
    unit = str(entry.get("unit") or "")
    if unit in LEAST and max(abs(low), abs(high)) < LEAST[unit]:
        return f"below {write_number(LEAST[unit], unit, 1)}"
    if unit in LEAST and low < 0.0 < high:  # a size: none is below nothing
        return f"at most {write_number(high, unit)}"
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


APART_DB = 1.0
"""Less between the ends of what a cure does is not told."""


def less_hum(cure: Mapping[str, Any]) -> str:
    """Return how many decibels a cure of hum is better by; nothing of what is not solved."""
    better, least = (
        number({"value": cure.get(key)}) for key in ("better_by_db", "better_by_at_least_db")
    )
    if better is None:
        return ""
    left = number(cure.get("hum_below_full_output_db") or {})
    says = f"more than {int(better)}" if left is not None and left > MOST_DB else f"{better:.0f}"
    apart = least is not None and better - least >= APART_DB
    return f"{least:.0f} to {says}" if apart else says


WIDE_DB = 30.0
"""Width of an interval of hum from which the sheet says what makes it so wide. [judgement]"""


def why_wide(entry: object) -> str:
    """Return what makes a hum known so little, for the end of a phrase; else nothing."""
    ends = interval(entry) if isinstance(entry, Mapping) else None
    if ends is None or min(ends[1], MOST_DB) - ends[0] < WIDE_DB or ends[0] > MOST_DB:
        return ""
    return ", by what is not known of the boxes and their grounds"
