"""The whole verification: every line of a specification on every side, with risks and faults."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import UTC, datetime
from typing import Any

import probe
from probe.compare.conditions import apart, circumstances
from probe.compare.difference import difference
from probe.numbers import number
from probe.verify.conformity import RISK, Decision, Limits, all_of, any_reading, belief, decide
from probe.verify.faults import NOT_SEEN, found_faults
from probe.verify.quantities import QUANTITIES, Quantity
from probe.verify.reading import Figure, Reading, SideReader
from probe.verify.specification import LineTable, SpecificationFile
from probe.verify.units import in_facts_unit

FORMAT = "probe-verification/1"

OUTCOMES = ("meets", "fails", "cannot-tell", "not-measured", "not-comparable", "no-limit")

BOTH_LEGS = ("differential", "electronically-floating", "transformer-coupled")
ONE_LEG = ("ground-sensing", "impedance-balanced", "unbalanced", "pin-3-unconnected")
KINDS_OF = {"both-legs-driven": BOTH_LEGS, "one-leg-driven": ONE_LEG}
"""Kinds that a looser word of a data sheet covers."""

Document = dict[str, Any]


def verify(
    facts: Mapping[str, Any],
    specification: SpecificationFile,
    *,
    before: Mapping[str, Any] | None = None,
    risk: float = RISK,
    sides: Sequence[str] | None = None,
) -> Document:
    """Return the verification of a facts document as a document of its own.

    Parameters
    ----------
    facts
        A facts document (``probe-facts/1``).
    specification
        What the maker states, from `read_specification`.
    before
        Facts of an earlier look, before a repair: each line then says how it was and what changed.
    risk
        Risk agreed on of accepting, and of rejecting, a line wrongly; above 0, below 0.5.
    sides
        Sides to judge; all that were measured where left out.

    Returns
    -------
    dict
        ``probe-verification/1``, plain values only; see docs/formats.md.
    """
    chosen = [s for s in facts["sides"] if sides is None or s in sides]
    lines = _lines(facts, specification, chosen, risk)
    if before is not None:
        earlier = _lines(before, specification, chosen, risk)
        _put_beside(lines, earlier, facts, before)
    return {
        "format": FORMAT,
        "device": dict(facts["device"]),
        "specification": {
            "name": specification.name,
            "stated_in": specification.stated_in,
            "device": None if specification.device is None else specification.device.model_dump(),
        },
        "made": {
            "by": f"probe {probe.__version__}",
            "on": datetime.now(UTC).strftime("%Y-%m-%dT%H:%M:%SZ"),
            "risk": risk,
        },
        "measured": dict(facts.get("made") or {}),
        "measured_before": None if before is None else dict(before.get("made") or {}),
        "sides": chosen,
        "conditions": {s: dict(facts["sides"][s].get("conditions") or {}) for s in chosen},
        "summary": _summary(lines),
        "lines": lines,
        "faults": found_faults(facts),
        "faults_before": None if before is None else found_faults(before),
        "cannot_be_seen": list(NOT_SEEN),
        "remarks": _remarks(facts, specification),
        "warnings": list(facts.get("warnings") or ()),
    }


def _lines(
    facts: Mapping[str, Any], specification: SpecificationFile, sides: Sequence[str], risk: float
) -> list[Document]:
    readers = {side: SideReader(facts, side) for side in sides}
    rows = []
    for number_, line in enumerate(specification.line, 1):
        quantity = QUANTITIES[line.quantity]
        where: Sequence[str] = sides
        if quantity.between_sides:
            where = sides[:1]
        for side in where:
            row = _judged(readers[side], line, quantity, risk)
            rows.append({"line": number_, "side": None if quantity.between_sides else side, **row})
    return rows


def _judged(reader: SideReader, line: LineTable, quantity: Quantity, risk: float) -> Document:
    head = {
        "quantity": line.quantity,
        "title": quantity.title,
        "stated": line.model_dump(exclude_none=True, exclude={"quantity"}),
    }
    if quantity.about == "word":
        return head | _word(reader, line, risk)
    readings = reader.readings(line)
    limits = _limits(line, quantity)
    told = [_read(reading, line, quantity, limits, risk) for reading in readings]
    joined = _joined(told)
    return head | {
        "limits": None if limits is None else _plain_limits(limits, quantity),
        **joined,
        "next_take": quantity.take if joined["outcome"] == "not-measured" else None,
        "readings": [document for document, _ in told],
    }


def _limits(line: LineTable, quantity: Quantity) -> Limits | None:
    """Return the limits in the unit of the facts; None for a typical figure without tolerance."""
    low, high = line.at_least, line.at_most
    if line.typical is not None:
        if line.tolerance is None:
            return None
        low, high = line.typical - line.tolerance, line.typical + line.tolerance
    unit, ohm = quantity.units[0], line.condition.into_ohm
    ends = [None if v is None else in_facts_unit(v, str(line.unit), unit, ohm) for v in (low, high)]
    if quantity.about == "magnitude" and ends[1] is not None:
        return Limits(-ends[1], ends[1])
    plain = Limits()
    return Limits(
        plain.low if ends[0] is None else ends[0], plain.high if ends[1] is None else ends[1]
    )


def _plain_limits(limits: Limits, quantity: Quantity) -> Document:
    ends = {"low": limits.low, "high": limits.high}
    known = {k: None if abs(v) == float("inf") else v for k, v in ends.items()}
    return {**known, "unit": quantity.units[0]}


def _read(
    reading: Reading, line: LineTable, quantity: Quantity, limits: Limits | None, risk: float
) -> tuple[Document, Decision | None]:
    """Return one meaning of the line as a table, and the decision where there is one."""
    rows: list[Document] = []
    decisions: list[Decision] = []
    for figure in reading.figures:
        decision = None
        known = None if figure.entry is None or figure.problem else belief(figure.entry)
        if known is not None and limits is not None:
            decision = decide(known, limits, risk=risk)
            decisions.append(decision)
        rows.append(_figure_row(figure, decision, line, quantity))
    document: Document = {"meaning": reading.meaning, "figures": rows}
    problem = next((f.problem for f in reading.figures if f.problem), "")
    if problem and not any(d.outcome == "fails" for d in decisions):
        return document | {"outcome": problem}, None
    if not decisions:
        return document | {"outcome": "no-limit" if limits is None else "cannot-tell"}, None
    whole = all_of(decisions)
    return document | {"outcome": whole.outcome}, whole


def _figure_row(
    figure: Figure, decision: Decision | None, line: LineTable, quantity: Quantity
) -> Document:
    row: Document = {
        "fact": figure.fact,
        "measured": None if figure.entry is None else dict(figure.entry),
        "steps": list(figure.steps),
        "problem": figure.problem or None,
        "reason": figure.reason or None,
    }
    if decision is not None:
        row["outcome"] = decision.outcome
        row["accept_from"], row["accept_to"] = decision.guard_low, decision.guard_high
    if line.typical is not None and figure.entry is not None and not figure.problem:
        unit = quantity.units[0]
        stated = in_facts_unit(line.typical, str(line.unit), unit, line.condition.into_ohm)
        against = difference(figure.fact, {"value": stated, "unit": unit, "u95": 0.0}, figure.entry)
        row["against_typical"] = None if against is None else against.to_json()
    return row


def _joined(told: list[tuple[Document, Decision | None]]) -> Document:
    """Return the outcome of a line from those of its meanings."""
    decisions = [decision for _, decision in told if decision is not None]
    outcomes = [document["outcome"] for document, _ in told]
    if len(decisions) == len(told):
        whole = any_reading(decisions)
        risk = {
            "risk_of_wrong_acceptance": whole.wrong_acceptance,
            "risk_of_wrong_rejection": whole.wrong_rejection,
        }
        depends = len(set(outcomes)) > 1
        return {"outcome": whole.outcome, **risk, "depends_on_meaning": depends}
    first = next(o for o in (*OUTCOMES[3:5], "cannot-tell", "no-limit", *outcomes) if o in outcomes)
    return {
        "outcome": first,
        "risk_of_wrong_acceptance": None,
        "risk_of_wrong_rejection": None,
        "depends_on_meaning": False,
    }


def _word(reader: SideReader, line: LineTable, risk: float) -> Document:
    """Judge polarity or kind: the share of draws that agree is the probability of conformity."""
    stage = reader.body.get("stage") or {}
    found = str(stage.get(line.quantity) or "undetermined")
    wanted = KINDS_OF.get(str(line.says), (str(line.says),))
    reason, inside = None, None
    if found == "undetermined":
        outcome = "cannot-tell"
    elif line.quantity == "polarity":
        outcome = "meets" if found in wanted else "fails"
        against = str(stage.get("polarity_against") or "")
        if "invert" in against:
            outcome, reason = "cannot-tell", f"told against {against}"
    else:
        inside = _share(stage, found, wanted)
        outcome = "cannot-tell"
        if 1.0 - inside <= risk:
            outcome = "meets"
        elif inside <= risk:
            outcome = "fails"
    return {
        "limits": None,
        "outcome": outcome,
        "risk_of_wrong_acceptance": None if inside is None else 1.0 - inside,
        "risk_of_wrong_rejection": inside,
        "depends_on_meaning": False,
        "found": found,
        "reason": reason,
        "next_take": _settled_by(stage, line.quantity) if outcome == "cannot-tell" else None,
        "readings": [],
    }


def _settled_by(stage: Mapping[str, Any], quantity: str) -> str | None:
    """Return the take that would tell a word nobody can tell yet."""
    following = QUANTITIES[quantity].take if quantity == "polarity" else stage.get("next_take")
    return None if following is None else str(following)


def _share(stage: Mapping[str, Any], found: str, wanted: Sequence[str]) -> float:
    """Return the share of draws in one of the wanted kinds; an unmeasured share counts as none."""
    shares = {found: number(stage, "confidence") or 0.0}
    for other in stage.get("also_possible") or ():
        if isinstance(other, Mapping):
            shares[str(other.get("kind"))] = number(other, "confidence") or 0.0
    return min(1.0, sum(share for kind, share in shares.items() if kind in wanted))


def _summary(lines: list[Document]) -> Document:
    counts = {o: sum(1 for row in lines if row["outcome"] == o) for o in OUTCOMES}
    accepted = [
        row["risk_of_wrong_acceptance"] or 0.0 for row in lines if row["outcome"] == "meets"
    ]
    return {
        "outcomes": counts,
        "any_wrong_acceptance": min(1.0, sum(accepted)),
        "passed": None if not lines else counts["fails"] == 0,
    }


def _put_beside(
    lines: list[Document],
    earlier: list[Document],
    facts: Mapping[str, Any],
    before: Mapping[str, Any],
) -> None:
    """Add to each line how it was before, and how each figure changed."""
    known = {(row["line"], row["side"]): row for row in earlier}
    for row in lines:
        was = known.get((row["line"], row["side"]))
        if was is None:
            continue
        row["before"] = {"outcome": was["outcome"], "found": was.get("found")}
        for now, then in zip(row["readings"], was["readings"], strict=True):
            for a, b in zip(now["figures"], then["figures"], strict=True):
                a["before"] = b["measured"]
                a["change"] = _change(a["fact"], b, a, facts, before, row["side"])


def _change(
    name: str,
    was: Document,
    now: Document,
    facts: Mapping[str, Any],
    before: Mapping[str, Any],
    side: str | None,
) -> Document | None:
    if was["measured"] is None or now["measured"] is None or was["problem"] or now["problem"]:
        return None
    here = (facts["sides"].get(side) or {}) if side else {}
    there = (before["sides"].get(side) or {}) if side else {}
    unit = str(now["measured"].get("unit", ""))
    circumstance = (
        circumstances(before, there, was["measured"]),
        circumstances(facts, here, now["measured"]),
    )
    differing = [c for c in apart(name, unit, *circumstance) if not now["steps"] or c != "drive"]
    if differing:
        return {"value": None, "unit": unit, "larger": None, "apart": differing}
    found = difference(name, was["measured"], now["measured"])
    return None if found is None else found.to_json()


def _remarks(facts: Mapping[str, Any], specification: SpecificationFile) -> list[str]:
    if specification.device is None:
        return []
    device = facts["device"]
    stated = (specification.device.maker, specification.device.model)
    measured = (str(device.get("maker") or ""), str(device.get("model") or ""))
    if [s.casefold() for s in stated] == [m.casefold() for m in measured]:
        return []
    return [
        f"the specification is of {' '.join(stated)}, the facts are of "
        f"{' '.join(measured).strip() or 'an unnamed device'}"
    ]
