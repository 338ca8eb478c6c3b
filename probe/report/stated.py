"""A line of a specification in words."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from probe.numbers import number, write_hz, write_number
from probe.report import words
from probe.report.document import mapping
from probe.report.text import clean

UNITS = {"uV": "µV", "ohm": "Ω", "kohm": "kΩ", "percent": "%"}
PER = {"between-legs": "between the legs", "each-leg": "each leg to pin 1"}


def stated_text(stated: Mapping[str, Any]) -> str:
    """Return limits or the typical figure with its conditions: ``at most 220 Ω, into 600 Ω``."""
    return ", ".join(filter(None, (_figures(stated), *_conditions(stated))))


def _figures(stated: Mapping[str, Any]) -> str:
    if stated.get("says"):
        code = str(stated["says"])
        known = words.POLARITIES.get(code) or words.KINDS.get(code)
        return (known or code.replace("-", " ")).replace("{other}", "3").replace("{live}", "2")
    unit = str(stated.get("unit") or "")
    unit = UNITS.get(unit, unit)
    low, high, typical = (number(stated, k) for k in ("at_least", "at_most", "typical"))
    if typical is not None:
        tolerance = number(stated, "tolerance")
        around = "" if tolerance is None else f" ± {tolerance:g}"
        return f"typical {_plain(typical)}{around} {unit}"
    if low is not None and high is not None:
        return f"{_plain(low)} to {_plain(high)} {unit}"
    if high is not None:
        return f"at most {_plain(high)} {unit}"
    return "" if low is None else f"at least {_plain(low)} {unit}"


def _plain(value: float) -> str:
    return f"{value:g}".replace("-", "−")


def _conditions(stated: Mapping[str, Any]) -> Iterable[str]:
    said = mapping(stated, "condition")
    if stated.get("weighting") == "a":
        yield "A-weighted"
    if stated.get("per"):
        yield PER[str(stated["per"])]
    if number(said, "into_ohm") is not None:
        how = f" {PER[str(said['into'])]}" if said.get("into") else ""
        yield f"into {write_number(float(said['into_ohm']), 'ohm')}{how}"
    if number(said, "drive_v") is not None:
        yield f"fed {write_number(float(said['drive_v']), 'V')}"
    if number(said, "drive_dbfs") is not None:
        yield f"fed {_plain(float(said['drive_dbfs']))} dB FS"
    if number(said, "level_v") is not None:
        yield f"at {write_number(float(said['level_v']), 'V')}"
    if number(said, "at_hz") is not None:
        yield f"at {write_hz(float(said['at_hz']))}"
    if said.get("volume") and said["volume"] != "any":
        yield f"volume {clean(said['volume'], 40)}"
    if stated.get("note"):
        yield clean(stated["note"])
