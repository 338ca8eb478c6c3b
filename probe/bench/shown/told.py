"""The facts so far in a few lines, and what is still open, for terminal and page."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from probe.numbers import plain, write, write_share
from probe.report import words
from probe.report.names import fault, kind_name, live_pin, split_name
from probe.session.model import Device

SHOWN = (
    ("hot_level", "level, pin 2"),
    ("cold_level", "level, pin 3"),
    ("leg_ratio", "leg ratio"),
    ("gain_difference", "gain difference"),
    ("hot_impedance", "impedance, pin 2"),
    ("cold_impedance", "impedance, pin 3"),
    ("differential_impedance", "impedance, between"),
    ("single_ended_impedance", "impedance, single-ended"),
    ("differential_thd", "distortion (THD)"),
    ("differential_maximum", "maximum, between"),
    ("single_ended_maximum", "maximum, single-ended"),
)


def facts_rows(body: Mapping[str, Any]) -> list[tuple[str, str]]:
    """Return labels and values of what a side's facts say so far; empty where there are none."""
    stage, facts = body.get("stage"), body.get("facts", {})
    if stage is None:
        return []
    rows = [("kind", _kind(stage, facts))]
    for name, label in SHOWN:
        if name in facts:
            text = write(facts[name], positive=words.fact_words(name).positive).whole
            unit = " dB" if facts[name].get("unit") == "dB" and "dB" not in text else ""
            rows.append((label, plain(text + unit)))
    if stage.get("faults"):
        rows.append(("faults", ", ".join(fault(code).name for code in stage["faults"])))
    return rows


def _kind(stage: Mapping[str, Any], facts: Mapping[str, Any]) -> str:
    """Return the kind in the words of the report."""
    live = live_pin(stage, facts)
    if stage["kind"] != "undetermined":
        kind = split_name(kind_name(stage["kind"], live))[0]
        return f"{kind}, confidence {plain(write_share(stage['confidence']))}"
    also = ", ".join(
        split_name(kind_name(p["kind"], live))[0] for p in stage.get("also_possible", ())
    )
    return f"cannot tell yet; still possible: {also or 'anything'}"


def open_rows(body: Mapping[str, Any], device: Device) -> list[tuple[str, str]]:
    """Return what is still open: wanted facts that are not known."""
    from probe.bench.planned.plan import still_open

    if body.get("stage") is None:
        return []
    found = still_open(body, device)
    return [("still open", "; ".join(found))] if found else []
