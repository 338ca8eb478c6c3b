"""Two sides of a device beside each other."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from probe.compare.difference import difference
from probe.numbers import number, write
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
    return Compared(title, meant.about, told[0], told[1], _difference(name, left, right))


def _difference(name: str, left: Mapping[str, Any] | None, right: Mapping[str, Any] | None) -> str:
    """Right against left, with the longer side of its interval."""
    found = difference(name, left, right)
    if found is None or found.value is None or found.low is None or found.high is None:
        return ""
    doubt = max(found.high - found.value, found.value - found.low)
    told = write({"value": found.value, "unit": found.unit, "u95": doubt})
    return f"+{told.whole}" if found.value > 0.0 and float(told.value) > 0.0 else told.whole
