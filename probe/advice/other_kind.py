"""A measured output as if it were of a kind that its takes exclude.

A take fits one kind of stage: its impedances under another name would be solved to the same answer.
So of another kind a description is made, as from a data sheet, with the levels that were measured,
the impedance between pins 2 and 3 and that of the RCA output; what else the kind has is taken over
its usual range.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from pydantic import ValidationError

from probe.advice import thresholds as limit
from probe.advice.source_file import described
from probe.advice.subject import PAIR_KEY, Facts, device_of, mains_of, mains_volts_of, side_of
from probe.facts.source import Source
from probe.numbers import number

Described = tuple[dict[str, Any], dict[str, dict[str, Source]]]

KEPT = ("maker", "model", "serial", "kind", "output", "connectors", "minimum_load_ohm",
        "volume_control")  # fmt: skip
"""What of the device a description has."""

FIGURES = {
    "differential_impedance": "differential_impedance_ohm",
    "single_ended_impedance": "single_ended_impedance_ohm",
    "differential_maximum": "differential_maximum_v",
    "single_ended_maximum": "single_ended_maximum_v",
}
"""Measured figures that hold whatever the kind, by the keys of a description."""


def fits(facts: Facts, kind: str) -> bool:
    """Tell whether what was measured may be of a kind, on every side."""
    return all(kind in side_of(facts, name).stage.possible for name in facts["sides"])


def of_kind(facts: Facts, kind: str) -> dict[str, Any]:
    """Return the facts of an output that may be of a kind, as if that were known."""
    sides = {
        name: {**side, "stage": {**side.get("stage", {}), "kind": kind, "also_possible": []}}
        for name, side in facts["sides"].items()
    }
    return {**facts, "sides": sides}


def as_described(facts: Facts, kind: str) -> Described | None:
    """Return what a description with the measured figures amounts to, of the first side.

    Where nobody declared what it gives at most, what is assumed of the measured one is its maximum.
    None where no level between pins 2 and 3 is known, or a figure is none that a description takes.
    """
    device, values = device_of(facts), next(iter(facts["sides"].values())).get("facts", {})
    level, single = (_figure(values, f"{name}_level") for name in ("differential", "single_ended"))
    if not level:
        return None
    full = device.full_output_volts or level
    lines: dict[str, Any] = {FIGURES[k]: v for k in FIGURES if (v := _figure(values, k))}
    if device.full_output_volts is None:  # as of the measured kind
        assumed = limit.ASSUMED_MAXIMUM_VOLTS
        lines = {"differential_maximum_v": assumed, "single_ended_maximum_v": assumed, **lines}
    lines |= {"kinds": [kind], PAIR_KEY: full, "mains_hz": mains_of(facts),
              "mains_v": mains_volts_of(facts)}  # fmt: skip
    lines |= {"single_ended_level_v": full * single / level} if single else {}
    told = facts.get("device", {})
    stated = {k: told[k] for k in KEPT if told.get(k) is not None}
    stated["connectors"] = [c for c in device.connectors if c != "rca" or single]
    lines["device"] = stated
    try:
        return described(lines)
    except ValidationError:
        return None


def _figure(values: Mapping[str, Any], name: str) -> float | None:
    """Return a figure that is known, not one of which only a bound is."""
    entry = values.get(name, {})
    found = None if "bound" in entry else number(entry)
    return found if found and found > 0.0 else None
