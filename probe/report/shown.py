"""What the page shows, as data: texts, rows and drawings, ready for the templates."""

from __future__ import annotations

from dataclasses import dataclass

from probe.numbers import Written
from probe.report.curves import CurveTable, Figure


@dataclass(frozen=True)
class Doubt:
    """A kind that is still possible: its name, its share as text, and the share as a number."""

    name: str
    share: str
    fraction: float | None


@dataclass(frozen=True)
class Next:
    """The one take that settles most, with the cautions that come before it."""

    code: str
    name: str
    how: str
    shows: str
    reason: str
    cautions: tuple[str, ...]


@dataclass(frozen=True)
class Named:
    """A thing with a sentence: a fault, a condition, a missing fact."""

    name: str
    text: str


@dataclass(frozen=True)
class Glance:
    """One of the few numbers that stand under the verdict."""

    name: str
    value: str
    unit: str
    under: str


@dataclass(frozen=True)
class Warned:
    """A warning of the analysis."""

    code: str
    take: str
    message: str


@dataclass(frozen=True)
class TakeRow:
    """One take of a side."""

    number: int
    anchor: str
    name: str
    file: str
    used: str
    steady: str
    delay: str
    clock: str
    residual: str


@dataclass(frozen=True)
class TakeMark:
    """A reference from a fact to a take."""

    text: str
    anchor: str | None
    name: str


@dataclass(frozen=True)
class FactRow:
    """One row of the evidence."""

    name: str
    about: str
    written: Written
    level: str
    at: str
    limit: str
    """The best this bench could have seen; ``near`` it where the value is within twice that."""
    near: bool
    takes: tuple[TakeMark, ...]
    notes: tuple[str, ...]


@dataclass(frozen=True)
class FactGroup:
    """Rows under one heading."""

    name: str
    rows: tuple[FactRow, ...]


@dataclass(frozen=True)
class Table:
    """A table with its caption; every row as long as the heads."""

    name: str
    caption: str
    heads: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


@dataclass(frozen=True)
class MeasuredView:
    """Figures and tables of what was measured beside the stage; both may be empty."""

    figures: tuple[Figure, ...]
    tables: tuple[Table, ...]


@dataclass(frozen=True)
class Reason:
    """One indication of the path; ``code`` is two-paths, one-path or nothing."""

    name: str
    value: str
    says: str
    weight: str
    text: str
    code: str


@dataclass(frozen=True)
class PathView:
    """One path or two: the verdict in words, why, and all indications."""

    verdict: str
    decided: bool
    reasons: tuple[str, ...]
    evidence: tuple[Reason, ...]


@dataclass(frozen=True)
class SideView:
    """Everything the page says about one side."""

    key: str
    name: str
    kind: str
    headline: str
    aside: str
    meaning: str
    confidence: str
    undecided: bool
    reasons: tuple[str, ...]
    also: tuple[Doubt, ...]
    next_take: Next | None
    no_take: str
    characters: tuple[Named, ...]
    faults: tuple[Named, ...]
    possible_faults: tuple[Named, ...]
    not_looked_for: tuple[str, ...]
    """Faults that none of the takes could have shown."""
    faults_told: str
    """The state of the faults in one phrase, for the head of the page."""
    glance: tuple[Glance, ...]
    drawings: tuple[Figure, ...]
    charts: tuple[Figure, ...]
    curve_table: CurveTable | None
    quality: tuple[Table, ...]
    measured: MeasuredView
    path: PathView | None
    evidence: tuple[FactGroup, ...]
    tie: str
    """The caution that belongs to the figures of a tied pin 3; empty where there are none."""
    unknown: tuple[Named, ...]
    limits: tuple[str, ...]
    """Cautions for the takes named under ``unknown`` that no other part of the page has told."""
    takes: tuple[TakeRow, ...]
    warnings: tuple[Warned, ...]
    conditions: tuple[Named, ...]


@dataclass(frozen=True)
class Compared:
    """One line of the comparison of two sides."""

    name: str
    about: str
    left: str
    right: str
    difference: str


@dataclass(frozen=True)
class Alarm:
    """A line nobody may miss; ``tone`` is danger or remark."""

    tone: str
    name: str
    text: str


@dataclass(frozen=True)
class Note:
    """A line under the verdict; ``tone`` is sound, open or fault."""

    who: str
    text: str
    tone: str


@dataclass(frozen=True)
class Verdict:
    """The verdict as it stands on top: once for both sides where they agree."""

    sides: str
    headline: str
    aside: str
    meaning: str
    notes: tuple[Note, ...]


@dataclass(frozen=True)
class TypedFigure:
    """One figure as it was typed, and the range it is taken within."""

    name: str
    about: str
    value: str
    level: str
    taken: str


@dataclass(frozen=True)
class TypedView:
    """What the page shows of a source that was typed."""

    head: str
    rests_on: str
    figures: tuple[TypedFigure, ...]
    kinds: tuple[Named, ...]
    """Kinds of a balanced output that fit, with their meaning; none where there is no such."""
    kinds_from: str
    """Where the kinds come from, as a sentence."""
    taken_as: str
    within: str
    """How exactly figures are taken, as a sentence."""


@dataclass(frozen=True)
class PageView:
    """The whole page."""

    title: str
    serial: str
    made_by: str
    made_on: str
    sha256: str
    alarms_before: tuple[Alarm, ...]
    verdicts: tuple[Verdict, ...]
    alarms_after: tuple[Alarm, ...]
    comparison: tuple[Compared, ...]
    between: MeasuredView
    sides: tuple[SideView, ...]
    warnings: tuple[Warned, ...]
    bench: tuple[Named, ...]
    typed: TypedView | None = None
    """Where nothing was measured: what was typed. Such a page has no sides."""
