"""The whole verification: every line of a specification on every side, with risks and faults."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from datetime import UTC, datetime
from typing import Any

import probe
from probe.compare.conditions import apart, circumstances
from probe.compare.difference import difference
from probe.compare.looked_for import not_looked_for
from probe.numbers import number
from probe.verify import settle
from probe.verify.conformity import RISK, Decision, Limits, all_of, any_reading, belief, decide
from probe.verify.faults import NOT_SEEN, found_faults, since
from probe.verify.judged import (
    OUTCOMES,
    Before,
    Change,
    Fault,
    JudgedFigure,
    JudgedLine,
    JudgedReading,
    Verification,
)
from probe.verify.quantities import QUANTITIES, Quantity
from probe.verify.reading import Figure, Reading, SideReader
from probe.verify.specification import LineTable, SpecificationFile
from probe.verify.units import in_facts_unit

BOTH_LEGS = ("differential", "electronically-floating", "transformer-coupled")
ONE_LEG = ("ground-sensing", "impedance-balanced", "unbalanced", "pin-3-unconnected")
KINDS_OF = {"both-legs-driven": BOTH_LEGS, "one-leg-driven": ONE_LEG}
"""Kinds that a looser word of a data sheet covers."""


def verify(
    facts: Mapping[str, Any],
    specification: SpecificationFile,
    *,
    before: Mapping[str, Any] | None = None,
    risk: float = RISK,
    sides: Sequence[str] | None = None,
) -> Verification:
    """Return the verification of a facts document.

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
    Verification
        Typed; its ``to_json()`` is the document ``probe-verification/1`` of docs/formats.md.
    """
    chosen = tuple(s for s in facts["sides"] if sides is None or s in sides)
    faults = _faults(facts, chosen)
    lines = _lines(facts, specification, chosen, risk)
    if before is not None:
        earlier = _lines(before, specification, chosen, risk)
        lines = _beside(lines, earlier, facts, before)
    return Verification(
        device=dict(facts["device"]),
        specification={
            "name": specification.name,
            "stated_in": specification.stated_in,
            "device": None if specification.device is None else specification.device.model_dump(),
        },
        by=f"probe {probe.__version__}",
        on=datetime.now(UTC).strftime("%Y-%m-%dT%H:%M:%SZ"),
        risk=risk,
        measured=dict(facts.get("made") or {}),
        sides=chosen,
        conditions={s: dict(facts["sides"][s].get("conditions") or {}) for s in chosen},
        lines=lines,
        faults=faults,
        not_looked_for={side: not_looked_for(facts["sides"][side]) for side in chosen},
        cannot_be_seen=NOT_SEEN,
        remarks=(*_remarks(facts, specification), *_other_before(facts, before)),
        warnings=tuple(facts.get("warnings") or ()),
        measured_before=None if before is None else dict(before.get("made") or {}),
        faults_before=None if before is None else since(_faults(before, chosen), faults, facts),
    )


def _faults(facts: Mapping[str, Any], sides: Sequence[str]) -> tuple[Fault, ...]:
    return tuple(fault for fault in found_faults(facts) if fault.side in sides)


def _lines(
    facts: Mapping[str, Any], specification: SpecificationFile, sides: Sequence[str], risk: float
) -> tuple[JudgedLine, ...]:
    readers = {side: SideReader(facts, side) for side in sides}
    rows = []
    for at, line in enumerate(specification.line, 1):
        between = QUANTITIES[line.quantity].between_sides
        for side in sides[:1] if between else sides:
            row = _judged(readers[side], line, at, risk)
            rows.append(replace(row, side=None) if between else row)
    return tuple(rows)


def _judged(reader: SideReader, line: LineTable, at: int, risk: float) -> JudgedLine:
    quantity = QUANTITIES[line.quantity]
    head = JudgedLine(
        number=at,
        side=reader.side,
        quantity=line.quantity,
        title=quantity.title,
        stated=line.model_dump(exclude_none=True, exclude={"quantity"}),
        outcome="not-measured",
    )
    if quantity.about == "word":
        return _word(head, reader, line, risk)
    limits = _limits(line, quantity)
    told = [_read(reading, line, quantity, limits, risk) for reading in reader.readings(line)]
    joined = _joined(replace(head, limits=limits, unit=quantity.units[0]), told)
    if joined.outcome == "not-measured":
        return replace(joined, next_take=quantity.take)
    if joined.outcome == "cannot-tell":
        settled = settle.of_line(line, quantity, joined.readings, limits, risk, reader.facts)
        return replace(joined, settled_by=settled)
    if joined.outcome == "no-limit":
        return replace(joined, settled_by=settle.meanings(line, quantity))
    return joined


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


def _read(
    reading: Reading, line: LineTable, quantity: Quantity, limits: Limits | None, risk: float
) -> tuple[JudgedReading, Decision | None]:
    """Return one meaning of the line, and the decision where there is one."""
    figures = tuple(_figure(f, line, quantity, limits, risk) for f in reading.figures)
    decisions = [f.decision for f in figures if f.decision is not None]
    problem = next((f.problem for f in figures if f.problem), "")
    whole = all_of(decisions, risk=risk) if decisions else None
    if problem and not (whole is not None and whole.outcome == "fails"):
        return JudgedReading(reading.meaning, problem, figures), None
    if whole is None:
        outcome = "no-limit" if limits is None else "cannot-tell"
        return JudgedReading(reading.meaning, outcome, figures), None
    return JudgedReading(reading.meaning, whole.outcome, figures), whole


def _figure(
    figure: Figure, line: LineTable, quantity: Quantity, limits: Limits | None, risk: float
) -> JudgedFigure:
    readable = figure.entry is not None and not figure.problem
    known = belief(figure.entry) if readable and figure.entry is not None else None
    against = None
    if line.typical is not None and readable:
        unit = quantity.units[0]
        stated = in_facts_unit(line.typical, str(line.unit), unit, line.condition.into_ohm)
        against = difference(figure.fact, {"value": stated, "unit": unit, "u95": 0.0}, figure.entry)
    return JudgedFigure(
        fact=figure.fact,
        measured=figure.entry,
        steps=figure.steps,
        problem=figure.problem,
        reason=figure.reason,
        decision=None if known is None or limits is None else decide(known, limits, risk=risk),
        against_typical=against,
        typical=line.typical is not None and readable,
    )


def _joined(head: JudgedLine, told: Sequence[tuple[JudgedReading, Decision | None]]) -> JudgedLine:
    """Return the line with the outcome of its meanings together."""
    readings = tuple(reading for reading, _ in told)
    decisions = [decision for _, decision in told if decision is not None]
    outcomes = [reading.outcome for reading in readings]
    if len(decisions) == len(told):
        whole = any_reading(decisions)
        return replace(
            head,
            outcome=whole.outcome,
            wrong_acceptance=whole.wrong_acceptance,
            wrong_rejection=whole.wrong_rejection,
            depends_on_meaning=len(set(outcomes)) > 1,
            readings=readings,
        )
    first = next(o for o in (*OUTCOMES[3:5], "cannot-tell", "no-limit", *outcomes) if o in outcomes)
    return replace(head, outcome=first, readings=readings)


def _word(head: JudgedLine, reader: SideReader, line: LineTable, risk: float) -> JudgedLine:
    """Judge polarity or kind: the share of draws that agree is the probability of conformity."""
    stage = reader.body.get("stage") or {}
    found = str(stage.get(line.quantity) or "undetermined")
    wanted = KINDS_OF.get(str(line.says), (str(line.says),))
    reason, inside, outcome = None, None, "cannot-tell"
    if found == "undetermined":
        pass
    elif line.quantity == "polarity":
        outcome = "meets" if found in wanted else "fails"
        against = str(stage.get("polarity_against") or "")
        if "invert" in against:
            outcome, reason = "cannot-tell", f"told against {against}"
    else:
        inside = _share(stage, found, wanted)
        same = _same_at_terminals(stage)
        if same and {found, *same} & set(wanted) and not {found, *same} <= set(wanted):
            inside = None
            reason = f"{', '.join(same)} would be the same at these terminals"
        elif 1.0 - inside <= risk:
            outcome = "meets"
        elif inside <= risk:
            outcome = "fails"
    open_ = outcome == "cannot-tell"
    take = _settled_by(stage, line.quantity) if open_ else None
    return replace(
        head,
        outcome=outcome,
        wrong_acceptance=None if inside is None else 1.0 - inside,
        wrong_rejection=inside,
        found=found,
        reason=reason,
        next_take=take,
        settled_by=settle.of_word(stage, line.quantity, take) if open_ else (),
    )


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


def _same_at_terminals(stage: Mapping[str, Any]) -> tuple[str, ...]:
    """Return the kinds beside a stated one that no take tells from it."""
    if stage.get("kind") == "undetermined":
        return ()
    also = stage.get("also_possible") or ()
    held = [o for o in also if isinstance(o, Mapping)]
    return tuple(str(o.get("kind")) for o in held if number(o, "confidence") is None)


def _beside(
    lines: Sequence[JudgedLine],
    earlier: Sequence[JudgedLine],
    facts: Mapping[str, Any],
    before: Mapping[str, Any],
) -> tuple[JudgedLine, ...]:
    """Return the lines with how each was before, and how each figure changed."""
    known = {(line.number, line.side): line for line in earlier}
    out = []
    for line in lines:
        was = known.get((line.number, line.side))
        if was is None:
            out.append(line)
            continue
        readings = tuple(
            replace(
                now,
                figures=tuple(
                    replace(
                        a,
                        before=b.measured,
                        change=_change(b, a, facts, before, line.side),
                        second_look=True,
                    )
                    for a, b in zip(now.figures, then.figures, strict=True)
                ),
            )
            for now, then in zip(line.readings, was.readings, strict=True)
        )
        out.append(replace(line, readings=readings, before=Before(was.outcome, was.found)))
    return tuple(out)


def _change(
    was: JudgedFigure,
    now: JudgedFigure,
    facts: Mapping[str, Any],
    before: Mapping[str, Any],
    side: str | None,
) -> Change | None:
    if was.measured is None or now.measured is None or was.problem or now.problem:
        return None
    here = (facts["sides"].get(side) or {}) if side else {}
    there = (before["sides"].get(side) or {}) if side else {}
    unit = str(now.measured.get("unit", ""))
    circumstance = (
        circumstances(before, there, was.measured),
        circumstances(facts, here, now.measured),
    )
    differing = tuple(
        c for c in apart(now.fact, unit, *circumstance) if not now.steps or c != "drive"
    )
    if differing:
        return Change(None, unit, differing)
    found = difference(now.fact, was.measured, now.measured)
    return None if found is None else Change(found, unit)


def _remarks(facts: Mapping[str, Any], specification: SpecificationFile) -> list[str]:
    if specification.device is None:
        return []
    device = facts["device"]
    stated = (specification.device.maker, specification.device.model)
    measured = (str(device.get("maker") or ""), str(device.get("model") or ""))
    if [s.casefold() for s in stated] == [m.casefold() for m in measured]:
        return []
    return [
        f"The specification is of another device, {' '.join(stated)}; measured was "
        f"{' '.join(measured).strip() or 'an unnamed device'}: judged is whether this one does "
        "what the other's maker states."
    ]


def _other_before(facts: Mapping[str, Any], before: Mapping[str, Any] | None) -> Iterable[str]:
    """Say where the earlier look was at another device: then nothing changed or is gone."""
    if before is None:
        return
    now, then = (
        [str(d["device"].get(k) or "") for k in ("maker", "model", "serial")]
        for d in (facts, before)
    )
    if [t.casefold() for t in now] != [t.casefold() for t in then]:
        yield (
            f"The earlier look is of {' '.join(filter(None, then)) or 'an unnamed device'}, not of "
            "this one: what stands beside as before is another device."
        )
