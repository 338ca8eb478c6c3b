"""Facts that would be others if a recorder input were not what was declared.

Where nothing tells whether an input or the stage makes what was found (`probe.stage.inputs`), the
takes are solved again with every declaration of the inputs that explains it. A fact that moves by
more than its doubt then holds both answers in its interval, marked as limited by the bench, or,
where no interval can, is not stated. Facts that do not move stay.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import product

from probe.facts.build import Facts, SideFacts
from probe.measures.statement import Entry, reaching
from probe.session.model import Session
from probe.stage.identify import Identified
from probe.stage.inputs import Rival, moved_reason, silent_leg_rivals
from probe.stage.kind import FLOATING, Evidence, Verdict
from probe.stage.observations import inputs_of
from probe.stage.quantities import column
from probe.stage.side import solve_side

DRAWS = 200
"""Draws of each further solve: enough for a bound; the values carry no noise of draws."""

SEED = 1


BEYOND = 1.5
"""An impedance that would be this many times as large is stated as a bound: the inputs end it."""


def rivals_of(identified: Identified, evidence: Evidence, verdict: Verdict) -> tuple[Rival, ...]:
    """Return the declarations of the inputs that explain what was found as well."""
    if verdict.by_inputs:
        one = column(identified, verdict.silent)
        if one is None:
            return ()
        return silent_leg_rivals(identified, verdict.silent, one.own.value)
    possible = {verdict.kind, *(p.kind for p in verdict.also_possible)}
    if evidence.inputs is None or verdict.silent or not possible.intersection(FLOATING):
        return ()
    return evidence.inputs.rivals


def with_other_leads(session: Session, identified: Identified) -> tuple[Identified, ...]:
    """Return one side solved with whatever else its leads may hold."""
    ways = identified.otherwise
    return tuple(solve_side(session, takes, identified.side, DRAWS, SEED) for takes in ways)


def with_other_inputs(
    session: Session, identified: Identified, evidence: Evidence, verdict: Verdict
) -> tuple[Identified, ...]:
    """Return one side solved with every declaration of the inputs that explains it as well.

    Each of their ohms half-way too: what hangs on the inputs need not go one way all the way.
    """
    ways = []
    for rival, share in product(rivals_of(identified, evidence, verdict), (0.5, 1.0)):
        conductance = 1.0 + share * (rival.conductance - 1.0)
        ways.append(tuple(inputs_of(p, conductance, rival.channels) for p in identified.takes))
    return tuple(solve_side(session, takes, identified.side, DRAWS, SEED) for takes in ways)


def held_by_inputs(
    session: Session,
    others: Sequence[Identified],
    evidence: Evidence,
    verdict: Verdict,
    facts: Facts,
) -> tuple[Facts, tuple[str, ...]]:
    """Return facts that hold whichever declaration of the inputs is right, and why they are wider.

    Parameters
    ----------
    session, evidence, verdict
        Of one side.
    others
        The same side with the other declarations (`with_other_inputs`).
    facts
        As built from the inputs as declared.
    """
    kept = facts
    for other in others:
        kept = _holding(kept, SideFacts(session, other, verdict).build())
    if kept == facts or evidence.inputs is None or verdict.kind == "undetermined":
        return kept, ()
    return kept, (moved_reason(evidence.inputs),)


def _holding(facts: Facts, others: Facts) -> Facts:
    """Return facts widened to what they would be otherwise, without those that cannot be."""
    kept: Facts = {}
    for name, entry in facts.items():
        held = _one_holding(entry, others.get(name))
        if held is not None:
            kept[name] = held
    return kept


def _one_holding(entry: Entry, other: Entry | None) -> Entry | None:
    if other is None:
        return None
    if entry["unit"] == "ohm" and other["value"] > BEYOND * entry["value"]:
        low = entry["value"] - entry["u95"]
        least = min(entry.get("low", low), entry["value"])
        kept = {k: v for k, v in entry.items() if k not in ("low", "high")}
        bound = {"value": least, "u95": 0.0, "bound": "above", "limited_by_bench": True}
        return kept | bound if least > 0.0 and entry.get("bound") != "below" else None
    if "bound" in entry or "bound" in other:
        return entry if _bounds_agree(entry, other) else None
    if abs(other["value"] - entry["value"]) <= entry["u95"]:
        return entry
    if "imag" in entry:
        return None
    return {**reaching(entry, other), "limited_by_bench": True}


def _bounds_agree(entry: Entry, other: Entry) -> bool:
    """Whether a bound holds of the other as well; a value beside a bound does not hold."""
    if "bound" not in entry or other.get("bound", entry["bound"]) != entry["bound"]:
        return False
    room = 1.1 if entry["unit"] != "dB" else 1.0
    more = 1.0 if entry["unit"] == "dB" else 0.0
    if entry["bound"] == "below":
        return bool(other["value"] <= room * entry["value"] + more)
    return bool(other["value"] >= entry["value"] / room - more)
