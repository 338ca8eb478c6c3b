"""Two sides of a device beside each other."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

from probe.numbers import interval, number, ratio_db, write
from probe.report import words
from probe.report.document import entry_of, mapping
from probe.report.shown import Compared, SideView

_COMPARED = (
    "hot_level",
    "cold_level",
    "differential_level",
    "single_ended_level",
    "gain_difference",
    "leg_ratio",
    "hot_impedance",
    "cold_impedance",
    "differential_impedance",
    "output_common_mode_rejection",
)


def comparison(
    left: Mapping[str, Any], right: Mapping[str, Any], sides: Sequence[SideView]
) -> tuple[Compared, ...]:
    """Return the lines of the comparison; none where there are not both a left and a right."""
    views = {side.key: side for side in sides}
    if "left" not in views or "right" not in views:
        return ()
    a, b = views["left"], views["right"]
    rows = [
        Compared("Kind", "", a.headline, b.headline, "" if a.headline == b.headline else "differ"),
        Compared("Confidence", "", _sure(a), _sure(b), ""),
        Compared(
            "Faults", "", a.faults_told or "see the verdict", b.faults_told or "see the verdict", ""
        ),
    ]
    for name in _COMPARED:
        entries = [entry_of(mapping(side, "facts"), name) for side in (left, right)]
        if any(number(entry) is not None for entry in entries):
            rows.append(_compared(name, entries[0], entries[1]))
    return tuple(rows)


def _sure(side: SideView) -> str:
    return "–" if side.undecided else side.confidence


def _compared(
    name: str, left: Mapping[str, Any] | None, right: Mapping[str, Any] | None
) -> Compared:
    meant = words.fact_words(name)
    told = [
        "–"
        if entry is None or number(entry) is None
        else write(entry, positive=meant.positive).whole
        for entry in (left, right)
    ]
    title = meant.name
    if meant.group == "Impedances":
        title = f"Impedance, {meant.name[:1].lower()}{meant.name[1:]}"
    return Compared(title, meant.about, told[0], told[1], _difference(left, right))


def _difference(left: Mapping[str, Any] | None, right: Mapping[str, Any] | None) -> str:
    """Right against left: in dB for voltages, in percent for impedances, else plainly.

    Doubts are added as independent ones (JCGM 100:2008, 5.1.2). The sides share the recorder and
    the resistors, which errs alike on both, so this is the wide end.
    """
    a, b = number(left), number(right)
    if a is None or b is None or (left or {}).get("bound") or (right or {}).get("bound"):
        return ""
    unit = str((left or {}).get("unit", ""))
    doubts = [_doubt(left), _doubt(right)]
    if unit == "dB":
        return _signed(b - a, "dB", math.hypot(*doubts))
    if a <= 0.0 or b <= 0.0:
        return ""
    doubt = math.hypot(doubts[0] / a, doubts[1] / b)
    if unit == "V":
        return _signed(ratio_db(b / a), "dB", ratio_db(1.0 + doubt))
    return _signed(100.0 * (b / a - 1.0), "percent", 100.0 * doubt * b / a)


def _doubt(entry: Mapping[str, Any] | None) -> float:
    """Return the longer side of the interval, 0 where there is none."""
    value, ends = number(entry), interval(entry or {})
    return 0.0 if ends is None or value is None else max(ends[1] - value, value - ends[0])


def _signed(value: float, unit: str, doubt: float) -> str:
    told = write({"value": value, "unit": unit, "u95": doubt})
    return f"+{told.whole}" if value > 0.0 and float(told.value) > 0.0 else told.whole
