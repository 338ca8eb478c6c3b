"""What an analysis of a simulated session must fulfil, as lists of what it does not."""

from __future__ import annotations

import math
from typing import Any

from .compare import Compared, compare, curve_points, side_of
from .expected import complaints, kind_is_right
from .sessions import Written

# Reachable on clean sessions (24 bit, -115 dB FS of noise, declared figures true), near 1 kHz.
DIFFERENTIAL_LEVEL = 5e-4
LEG_IMPEDANCE = 1e-3
LEG_IMPEDANCE_DRIED = 3e-3  # a dried coupling capacitor and no reference
DIFFERENTIAL_IMPEDANCE = 2e-3
TIED_DB = 0.02
SMALL_OHM = 0.02  # 80 nV of noise on the 8 uA that the injector puts through 30 milliohm, twice

WITHOUT_REFERENCE = ("none", "foreign-clock")
DRIED = ("8f", "driedhot")
# A leg of strays alone: its impedance is megohms at 1 kHz, beyond what a 20 kohm recorder must see.
ONE_LEG_OPEN = ("7", "8b", "8c")

ALWAYS = (
    "hot_level", "cold_level", "differential_level", "common_mode_level", "single_ended_level",
    "hot_impedance", "cold_impedance", "differential_impedance", "common_mode_impedance",
    "single_ended_impedance",
)  # fmt: skip
# Facts a full session supports only where both legs have an impedance that can be measured.
BOTH_LEGS = ("impedance_mismatch", "output_common_mode_rejection", "hot_level_pin_3_tied")


def full_session_failures(document: dict[str, Any], written: Written, situation: str) -> list[str]:
    """A clean session with every take: exact, named rightly, nothing left out."""
    name = written.circuit.name
    stage = side_of(document)["stage"]
    facts = compare(document, written)
    failures = complaints(name, stage)
    if not (stage["confidence"] or 0) >= 0.9:
        failures.append(f"confidence {stage['confidence']}")
    failures += missing_facts(name, facts)
    dried = name in DRIED and situation in WITHOUT_REFERENCE
    failures += _level_failures(facts, written)
    failures += _impedance_failures(facts, LEG_IMPEDANCE_DRIED if dried else LEG_IMPEDANCE)
    failures += outside(facts)
    return failures


def missing_facts(name: str, facts: dict[str, Compared]) -> list[str]:
    """Facts a full session supports and the analysis left out."""
    wanted = [*ALWAYS]
    if name not in (*ONE_LEG_OPEN, "6"):
        wanted += BOTH_LEGS
    if name != "8d":
        # legs in phase: the difference is nothing, and so has no ratio to anything
        wanted.append("gain_difference")
    return [f"{fact} is absent" for fact in wanted if fact not in facts]


def _level_failures(facts: dict[str, Compared], written: Written) -> list[str]:
    failures = []
    # where the legs are in phase the difference vanishes: then against a leg
    leg = max(facts[n].truth for n in ("hot_level", "cold_level") if n in facts)
    level = facts.get("differential_level")
    if level is not None:
        error = abs(level.value - level.truth) / max(level.truth, 0.01 * leg)
        if error > DIFFERENTIAL_LEVEL:
            failures.append(f"differential level off by {100 * error:.4f} %")
    tied = facts.get("hot_level_pin_3_tied")
    if tied is not None and tied.truth > 0.01 * leg and tied.bound is None:
        error_db = abs(20 * math.log10(tied.value / tied.truth))
        if error_db > TIED_DB:
            failures.append(f"level with pin 3 tied off by {error_db:.4f} dB")
    return failures


def _impedance_failures(facts: dict[str, Compared], leg_limit: float) -> list[str]:
    limits = {
        "hot_impedance": leg_limit,
        "cold_impedance": leg_limit,
        "differential_impedance": max(DIFFERENTIAL_IMPEDANCE, leg_limit),
        "single_ended_impedance": leg_limit,
    }
    failures = []
    for name, limit in limits.items():
        fact = facts.get(name)
        if fact is None or fact.bound is not None or fact.limited:
            continue
        if abs(fact.value - fact.truth) > max(limit * fact.truth, SMALL_OHM):
            failures.append(f"{name} {fact.value:.6g}, truth {fact.truth:.6g} ohm")
    return failures


def outside(facts: dict[str, Compared]) -> list[str]:
    """Facts whose interval does not hold the truth."""
    return [
        f"{f.name} {f.value:.6g} ({f.low:.6g} to {f.high:.6g}), truth {f.truth:.6g}"
        for f in facts.values()
        if not f.inside
    ]


def curve_failures(document: dict[str, Any], written: Written) -> list[str]:
    """Points of curves further from the truth than twice their u95 (clean sessions)."""
    return [
        f"{p.name} at {p.hz} Hz {p.value:.6g} +- {p.u95:.3g}, truth {p.truth:.6g}"
        for p in curve_points(document, written)
        if abs(p.value - p.truth) > 2 * p.u95 + 1e-6 * p.truth
    ]


def wrong_kind(document: dict[str, Any], written: Written) -> str | None:
    """A stated kind that is not the circuit's; ``undetermined`` is never wrong."""
    stage = side_of(document)["stage"]
    if stage["kind"] == "undetermined" or kind_is_right(written.circuit.name, stage):
        return None
    return f"{stage['kind']} at {stage['confidence']}"
