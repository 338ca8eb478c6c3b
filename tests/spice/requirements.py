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
# A leg of strays alone: megohms at 1 kHz, of which a 20 kohm recorder only sees that they are many.
# What its level would be with nothing connected rests on the strays; such facts must say that the
# bench limits them, and then are what was recorded.
ONE_LEG_OPEN = ("7", "8b", "8c")
OPEN_LEG = {"7": "cold_impedance", "8b": "hot_impedance", "8c": "cold_impedance"}
# Nothing loads hot anew while the single-ended output is heard: what hot's current through the
# shared resistor does to it is not in the takes, only in the interval.
SHARED = ("shared",)

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
    failures = complaints(name, stage, situation)
    if not (stage["confidence"] or 0) >= 0.9:
        failures.append(f"confidence {stage['confidence']}")
    failures += missing_facts(name, facts)
    dried = name in DRIED and situation in WITHOUT_REFERENCE
    failures += _level_failures(facts, written)
    failures += _impedance_failures(facts, name, LEG_IMPEDANCE_DRIED if dried else LEG_IMPEDANCE)
    failures += outside(facts, name)
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
    t = written.truth
    leg = written.drive_volts * max(abs(t.at(c, 997.1)) for c in (t.hot, t.cold))
    level = facts.get("differential_level")
    if level is not None and is_exact(level, written.circuit.name):
        error = abs(level.value - level.truth) / max(level.truth, 0.01 * leg)
        if error > DIFFERENTIAL_LEVEL:
            failures.append(f"differential level off by {100 * error:.4f} %")
    tied = facts.get("hot_level_pin_3_tied")
    if tied is not None and tied.truth > 0.01 * leg and is_exact(tied, written.circuit.name):
        error_db = abs(20 * math.log10(tied.value / tied.truth))
        if error_db > TIED_DB:
            failures.append(f"level with pin 3 tied off by {error_db:.4f} dB")
    return failures


def is_exact(fact: Compared, circuit: str) -> bool:
    """A value that claims to be one, not a bound nor the recording of an open leg."""
    return fact.bound is None and not (fact.limited and circuit in ONE_LEG_OPEN)


def _impedance_failures(facts: dict[str, Compared], circuit: str, leg_limit: float) -> list[str]:
    limits = {
        "hot_impedance": leg_limit,
        "cold_impedance": leg_limit,
        "differential_impedance": max(DIFFERENTIAL_IMPEDANCE, leg_limit),
    }
    if circuit not in SHARED:
        limits["single_ended_impedance"] = leg_limit
    failures = []
    for name, limit in limits.items():
        fact = facts.get(name)
        if fact is None:
            continue
        if not is_exact(fact, circuit):
            if not _may_be_a_bound(name, circuit):
                failures.append(f"{name} is only a bound, {fact.value:.6g} ohm")
        elif abs(fact.value - fact.truth) > max(limit * fact.truth, SMALL_OHM):
            failures.append(f"{name} {fact.value:.6g}, truth {fact.truth:.6g} ohm")
    return failures


def _may_be_a_bound(name: str, circuit: str) -> bool:
    """An open leg is known to be many ohms, a wire to be few."""
    if circuit == "6":
        return name == "cold_impedance"
    return circuit in ONE_LEG_OPEN and name in (OPEN_LEG[circuit], "differential_impedance")


def outside(facts: dict[str, Compared], circuit: str) -> list[str]:
    """Facts whose interval does not hold the truth.

    Not asked: what was recorded of an open leg, and said to be no more than that; the level of a
    single-ended output that no take loads, said likewise.
    """
    return [
        f"{f.name} {f.value:.6g} ({f.low:.6g} to {f.high:.6g}), truth {f.truth:.6g}"
        for f in facts.values()
        if not f.inside and not _as_recorded(f, circuit)
    ]


def _as_recorded(fact: Compared, circuit: str) -> bool:
    alone = circuit in ONE_LEG_OPEN or fact.name in ("single_ended_level", "gain_difference")
    return fact.limited and fact.bound is None and alone


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
