"""What a verification found, typed; the document of it is made here and nowhere else."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from probe.compare.difference import Difference
from probe.verify.conformity import Decision, Limits

FORMAT = "probe-verification/1"

OUTCOMES = ("meets", "fails", "cannot-tell", "not-measured", "not-comparable", "no-limit")

Document = dict[str, Any]


@dataclass(frozen=True)
class Change:
    """What a figure did since an earlier look: a difference, or the conditions that forbid one."""

    difference: Difference | None
    unit: str
    apart: tuple[str, ...] = ()

    def to_json(self) -> Document:
        """Return it as plain values."""
        if self.difference is not None:
            return self.difference.to_json()
        return {"value": None, "unit": self.unit, "larger": None, "apart": list(self.apart)}


@dataclass(frozen=True)
class JudgedFigure:
    """One fact under the conditions of a line.

    Attributes
    ----------
    fact, measured
        Name, and the entry as it was carried to the line's conditions; None where there is none.
    steps
        What was converted, in words.
    problem, reason
        Why it cannot be judged (``not-measured``, ``not-comparable``, ``cannot-tell``); or empty.
    decision
        Outcome and risks; None where there is nothing to decide from.
    against_typical
        What it is against a typical figure.
    before, change
        The same figure of an earlier look, and what became of it; with a second look only.
    """

    fact: str
    measured: Mapping[str, Any] | None
    steps: tuple[str, ...]
    problem: str = ""
    reason: str = ""
    decision: Decision | None = None
    against_typical: Difference | None = None
    typical: bool = False
    before: Mapping[str, Any] | None = None
    change: Change | None = None
    second_look: bool = False

    def to_json(self) -> Document:
        """Return it as plain values."""
        row: Document = {
            "fact": self.fact,
            "measured": None if self.measured is None else dict(self.measured),
            "steps": list(self.steps),
            "problem": self.problem or None,
            "reason": self.reason or None,
        }
        if self.decision is not None:
            row["outcome"] = self.decision.outcome
            row["accept_from"] = self.decision.guard_low
            row["accept_to"] = self.decision.guard_high
        if self.typical:
            row["against_typical"] = _plain(self.against_typical)
        if self.second_look:
            row["before"] = None if self.before is None else dict(self.before)
            row["change"] = _plain(self.change)
        return row


@dataclass(frozen=True)
class JudgedReading:
    """One meaning of a line with its outcome; ``meaning`` is empty where there is only one."""

    meaning: str
    outcome: str
    figures: tuple[JudgedFigure, ...]

    def to_json(self) -> Document:
        """Return it as plain values."""
        return {
            "meaning": self.meaning,
            "figures": [figure.to_json() for figure in self.figures],
            "outcome": self.outcome,
        }


@dataclass(frozen=True)
class Before:
    """How a line was at an earlier look."""

    outcome: str
    found: str | None


@dataclass(frozen=True)
class JudgedLine:
    """One line of the specification on one side.

    Attributes
    ----------
    number, side
        Position in the file, from 1; None between the sides.
    quantity, title, stated
        What it speaks of, and the line as it was written.
    limits, unit
        Tolerance limits in the unit of the facts; None where it has none.
    outcome
        One of `OUTCOMES`.
    wrong_acceptance, wrong_rejection
        Risks, 0 to 1; None where nothing was decided.
    depends_on_meaning
        True where the meanings it may have come out differently.
    next_take
        Code of the take that would measure it.
    settled_by
        What would settle a line that nobody can tell, in words, the best first; never empty there.
    readings
        Each meaning, with its figures.
    found, reason
        Of a word (polarity, kind): what was found, and why that is no answer.
    before
        The same line of an earlier look.
    """

    number: int
    side: str | None
    quantity: str
    title: str
    stated: Mapping[str, Any]
    outcome: str
    limits: Limits | None = None
    unit: str = ""
    wrong_acceptance: float | None = None
    wrong_rejection: float | None = None
    depends_on_meaning: bool = False
    next_take: str | None = None
    settled_by: tuple[str, ...] = ()
    readings: tuple[JudgedReading, ...] = ()
    found: str | None = None
    reason: str | None = None
    before: Before | None = None

    def to_json(self) -> Document:
        """Return it as plain values."""
        row: Document = {
            "line": self.number,
            "side": self.side,
            "quantity": self.quantity,
            "title": self.title,
            "stated": dict(self.stated),
            "limits": None if self.limits is None else _plain_limits(self.limits, self.unit),
            "outcome": self.outcome,
            "risk_of_wrong_acceptance": self.wrong_acceptance,
            "risk_of_wrong_rejection": self.wrong_rejection,
            "depends_on_meaning": self.depends_on_meaning,
            "next_take": self.next_take,
            "settled_by": list(self.settled_by),
            "readings": [reading.to_json() for reading in self.readings],
        }
        if self.found is not None:
            row |= {"found": self.found, "reason": self.reason}
        if self.before is not None:
            row["before"] = {"outcome": self.before.outcome, "found": self.before.found}
        return row


@dataclass(frozen=True)
class Fault:
    """A fault, what usually causes it and where to look.

    ``title`` is None where the report has a name for the code; ``certainty`` is ``found`` (in at
    least 95 of 100 equally likely readings of the takes) or ``possible``; ``now`` says of a fault
    of an earlier look what became of it: ``found``, ``possible``, ``gone``, or ``not-shown`` where
    the later takes could not have shown it.
    """

    code: str
    title: str | None
    side: str
    certainty: str
    how_sure: str
    likely_causes: tuple[str, ...]
    look_first: str
    now: str = ""

    def to_json(self) -> Document:
        """Return it as plain values."""
        told = {"now": self.now} if self.now else {}
        return {
            "fault": self.code,
            "title": self.title,
            "side": self.side,
            "certainty": self.certainty,
            "how_sure": self.how_sure,
            "likely_causes": list(self.likely_causes),
            "look_first": self.look_first,
            **told,
        }


@dataclass(frozen=True)
class Verification:
    """A whole verification.

    Attributes
    ----------
    device, measured, conditions, warnings
        As in the facts: device, ``made``, conditions of each side judged, warnings.
    specification
        ``name``, ``stated_in`` and ``device`` of the specification.
    by, on, risk
        The program, the moment (ISO 8601, UTC), the risk agreed on (0 to 0.5).
    lines
        Every line on every side judged.
    faults, not_looked_for
        Faults of the sides judged; by side, those that its takes could not have shown.
    cannot_be_seen, remarks
        What no take shows, what else must be said.
    measured_before, faults_before
        Of an earlier look; None without one.
    """

    device: Mapping[str, Any]
    specification: Mapping[str, Any]
    by: str
    on: str
    risk: float
    measured: Mapping[str, Any]
    sides: tuple[str, ...]
    conditions: Mapping[str, Mapping[str, Any]]
    lines: tuple[JudgedLine, ...]
    faults: tuple[Fault, ...]
    not_looked_for: Mapping[str, tuple[str, ...]]
    cannot_be_seen: tuple[str, ...]
    remarks: tuple[str, ...]
    warnings: tuple[Any, ...]
    measured_before: Mapping[str, Any] | None = None
    faults_before: tuple[Fault, ...] | None = None

    @property
    def outcomes(self) -> dict[str, int]:
        """How many lines have each outcome."""
        return {o: sum(1 for line in self.lines if line.outcome == o) for o in OUTCOMES}

    @property
    def any_wrong_acceptance(self) -> float:
        """Risk that any line that meets is wrong, at most (Boole)."""
        risks = [line.wrong_acceptance or 0.0 for line in self.lines if line.outcome == "meets"]
        return min(1.0, sum(risks))

    @property
    def faults_found(self) -> int:
        """How many faults are found, not only possible."""
        return sum(1 for fault in self.faults if fault.certainty == "found")

    @property
    def sound(self) -> bool:
        """True where no line fails and no fault is found."""
        return not self.outcomes["fails"] and not self.faults_found

    def to_json(self) -> Document:
        """Return the document, ``probe-verification/1``; see docs/formats.md."""
        outcomes = self.outcomes
        before = self.faults_before
        return {
            "format": FORMAT,
            "device": dict(self.device),
            "specification": dict(self.specification),
            "made": {"by": self.by, "on": self.on, "risk": self.risk},
            "measured": dict(self.measured),
            "measured_before": None if self.measured_before is None else dict(self.measured_before),
            "sides": list(self.sides),
            "conditions": {side: dict(c) for side, c in self.conditions.items()},
            "summary": {
                "outcomes": outcomes,
                "any_wrong_acceptance": self.any_wrong_acceptance,
                "passed": None if not self.lines else outcomes["fails"] == 0,
                "faults_found": self.faults_found,
                "sound": self.sound,
            },
            "lines": [line.to_json() for line in self.lines],
            "faults": [fault.to_json() for fault in self.faults],
            "faults_before": None if before is None else [fault.to_json() for fault in before],
            "not_looked_for": {side: list(told) for side, told in self.not_looked_for.items()},
            "cannot_be_seen": list(self.cannot_be_seen),
            "remarks": list(self.remarks),
            "warnings": list(self.warnings),
        }


def _plain(found: Difference | Change | None) -> Document | None:
    return None if found is None else found.to_json()


def _plain_limits(limits: Limits, unit: str) -> Document:
    ends = {"low": limits.low, "high": limits.high}
    return {**{k: None if math.isinf(v) else v for k, v in ends.items()}, "unit": unit}
