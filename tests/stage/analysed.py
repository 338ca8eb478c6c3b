"""What the takes of a stage given as numbers amount to, and the truth beside it in closed form."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cache

import numpy as np

from probe.facts.build import SideFacts
from probe.session.model import Session
from probe.stage.faults import Faults, Polarity, find_faults, polarity
from probe.stage.identify import Identified, identify
from probe.stage.kind import Verdict, decide, gather
from probe.stage.next_take import Next, next_take

from .forward import FULL, Errors, Stage, record
from .stages import STAGES

DRAWS = 300


@dataclass(frozen=True)
class Analysed:
    """One side, from its phasors to its facts."""

    session: Session
    identified: Identified
    verdict: Verdict
    polarity: Polarity
    faults: Faults
    next: Next
    facts: dict[str, dict]

    @property
    def kind(self) -> str:
        return self.verdict.kind

    @property
    def codes(self) -> list[tuple[str, str]]:
        """Code and take of every remark."""
        return [(r.code, r.take) for r in self.identified.remarks]

    @property
    def possible(self) -> set[str]:
        """The kind itself and every other that is still possible."""
        stated = {self.kind} - {"undetermined"}
        return stated | {p.kind for p in self.verdict.also_possible}


def analysed(stage: Stage, plans, *, draws: int = DRAWS, seed: int = 1, **more) -> Analysed:
    """Record the plans, analyse them; ``more`` goes to ``record``."""
    session, phasors = record(stage, plans, **more)
    return from_phasors(session, phasors, draws=draws, seed=seed, side=more.get("side", "left"))


def from_phasors(session, phasors, *, draws=DRAWS, seed=1, side="left") -> Analysed:
    """Analyse one side of a session whose phasors are given."""
    found = identify(session, phasors, side, draws=draws, seed=seed)
    told = polarity(found)
    evidence = gather(found, told.value)
    verdict = decide(evidence)
    return Analysed(
        session,
        found,
        verdict,
        told,
        find_faults(found, verdict, told, session.device),
        next_take(found, evidence, verdict),
        SideFacts(session, found, verdict).build(),
    )


@cache
def with_all_takes(name: str, situation: str = "reference") -> Analysed:
    """A stage of the list with every take, nothing wrong with the bench and hardly any noise."""
    return analysed(STAGES[name], FULL, errors=Errors(noise=1e-6), situation=situation)


def true_facts(stage: Stage, hz: float) -> dict[str, float]:
    """Every fact of a stage at one frequency, from its definition. Infinite ratios are ``inf``."""
    f = np.array([hz])
    voc, z = stage.voc(f)[0], stage.z(f)[0]
    hot, cold, single = voc
    legs = z[:2, :2]
    difference, mean = hot - cold, (hot + cold) / 2
    facts = {
        "hot_level": abs(hot),
        "cold_level": abs(cold),
        "differential_level": abs(difference),
        "common_mode_level": abs(mean),
        "single_ended_level": abs(single),
        "leg_ratio": _db(cold, hot),
        "signal_balance": _db(difference, mean),
        "gain_difference": _db(difference, single),
        "leg_phase": math.degrees(np.angle(cold / hot)) if hot != 0 else math.nan,
        "hot_impedance": abs(legs[0, 0]),
        "cold_impedance": abs(legs[1, 1]),
        "impedance_mismatch": abs(legs[0, 0] - legs[1, 1]),
        "differential_impedance": abs(legs[0, 0] + legs[1, 1] - legs[0, 1] - legs[1, 0]),
        "single_ended_impedance": abs(z[2, 2]),
        "output_common_mode_rejection": _db(1.0, _rejection(legs)),
        "common_mode_impedance": abs(_tied_together(legs)),
    }
    if legs[1, 1] != 0:
        facts["coupling_cold_into_hot"] = (legs[0, 1] / legs[1, 1]).real
        facts["hot_level_pin_3_tied"] = abs(hot - legs[0, 1] / legs[1, 1] * cold)
        if difference != 0:
            facts["pin_3_tie_current"] = abs(cold / legs[1, 1] / difference)
    if legs[0, 0] != 0:
        facts["coupling_hot_into_cold"] = (legs[1, 0] / legs[0, 0]).real
    return facts


def _tied_together(legs) -> complex:
    """Both legs on one node: one ampere shares itself so that the legs have one voltage."""
    # currents (x, 1 - x): z00 x + z01 (1-x) = z10 x + z11 (1-x)
    denominator = legs[0, 0] - legs[0, 1] - legs[1, 0] + legs[1, 1]
    if denominator == 0:
        return legs[0, 0]
    x = (legs[1, 1] - legs[0, 1]) / denominator
    return legs[0, 0] * x + legs[0, 1] * (1 - x)


def _rejection(legs) -> complex:
    """Volts of difference per volt behind 300 ohm into each leg, 600 ohm across, drive muted.

    Kirchhoff at both legs: ``(1 - v)/300 -/+ (v_h - v_c)/600 = i`` into the device.
    """
    g, across = 1 / 300, 1 / 600
    y = np.array([[g + across, -across], [-across, g + across]])
    v = np.linalg.solve(np.eye(2) + legs @ y, legs @ np.array([g, g]))
    return v[0] - v[1]


def _db(top: complex, bottom: complex) -> float:
    if abs(bottom) < 1e-12 * abs(top):
        return math.inf
    return -math.inf if top == 0 else 20.0 * math.log10(abs(top / bottom))


@dataclass(frozen=True)
class Judged:
    """A stated fact beside its truth; ``off`` is the error in half-widths, 0 for true bounds."""

    name: str
    bound: str | None
    stated: dict
    true: float
    off: float

    @property
    def holds(self) -> bool:
        return self.off <= 1.0

    def __str__(self) -> str:
        keep = ("value", "u95", "low", "high", "bound", "limited_by_bench")
        shown = {k: v for k, v in self.stated.items() if k in keep}
        return f"{self.name}: stated {shown}, true {self.true:.6g}, off by {self.off:.3g}"


def judged(facts: dict[str, dict], stage: Stage) -> list[Judged]:
    """Every fact whose truth is known, at its own frequency."""
    out = []
    for name, entry in facts.items():
        if "at_hz" not in entry:
            continue
        true = true_facts(stage, entry["at_hz"]).get(name)
        if true is not None and not math.isnan(true):
            out.append(_judge(name, entry, true))
    return out


def _judge(name: str, entry: dict, true: float) -> Judged:
    value, bound = entry["value"], entry.get("bound")
    if name == "leg_phase":
        true = value + (true - value + 180.0) % 360.0 - 180.0
    if bound is not None:
        right = true >= value if bound == "above" else true <= value
        return Judged(name, bound, entry, true, 0.0 if right else math.inf)
    low, high = entry.get("low", value - entry["u95"]), entry.get("high", value + entry["u95"])
    if true >= value:
        off = (true - value) / (high - value) if high > value else math.inf
    else:
        off = (value - true) / (value - low) if low < value else math.inf
    return Judged(name, None, entry, true, 0.0 if true == value else off)
