"""Two sides of a device beside each other."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from probe.compare.conditions import drive_of
from probe.compare.difference import difference
from probe.numbers import number, write
from probe.report import words
from probe.report.document import entry_of, mapping
from probe.report.shown import Compared, SideView

MINUS = "−"
SAME_DRIVE_DB = 1e-3
"""Drives that differ by less are one: session files state them to six digits."""

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
    driven = _drives(mapping(left, "conditions"), mapping(right, "conditions"))
    for name in _COMPARED:
        entries = [entry_of(mapping(side, "facts"), name) for side in (left, right)]
        if any(number(entry) is not None for entry in entries):
            rows.append(_compared(name, entries[0], entries[1], driven))
    return tuple(rows)


@dataclass(frozen=True)
class _Drives:
    """How two sides were driven: right over left in decibels, None where nobody can tell."""

    apart_db: float | None
    volume: bool


_DRIVEN_ALIKE = _Drives(0.0, volume=False)


def _drives(left: Mapping[str, Any], right: Mapping[str, Any]) -> _Drives:
    """Return what the drive makes of levels; sides that both state none were driven alike."""
    a, b = drive_of(left), drive_of(right)
    other = left.get("volume") != right.get("volume")
    if a is None and b is None:
        return _Drives(0.0, other)
    if a is None or b is None or a[0] != b[0]:
        return _Drives(None, other)
    return _Drives(b[1] - a[1], other)


def _sure(side: SideView) -> str:
    return "–" if side.undecided else side.confidence


def _compared(
    name: str,
    left: Mapping[str, Any] | None,
    right: Mapping[str, Any] | None,
    driven: _Drives,
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
    return Compared(title, meant.about, told[0], told[1], _difference(name, left, right, driven))


def _difference(
    name: str,
    left: Mapping[str, Any] | None,
    right: Mapping[str, Any] | None,
    driven: _Drives = _DRIVEN_ALIKE,
) -> str:
    """Right against left, with the longer side of its interval.

    Levels go with the drive: what both sides state is taken out, so that the gains are compared.
    """
    found = difference(name, left, right)
    if found is None or found.value is None or found.low is None or found.high is None:
        return ""
    if name.endswith("_level") and driven.volume:
        return "at another volume: no difference of the sides"
    apart = driven.apart_db if name.endswith("_level") else 0.0
    if apart is None:
        return "not driven alike: no difference of the sides"
    doubt = max(found.high - found.value, found.value - found.low)
    value = found.value - apart
    told = write({"value": value, "unit": found.unit, "u95": doubt})
    whole = f"+{told.whole}" if value > 0.0 and float(told.value) > 0.0 else told.whole
    if abs(apart) < SAME_DRIVE_DB:
        return whole
    drive = f"{apart:+.3f} dB".replace("-", MINUS)
    return f"{whole}, the drive’s {drive} taken out"
