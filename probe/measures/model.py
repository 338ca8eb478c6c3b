"""What a measure is given, and what it gives: nothing here knows which measures there are."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

from probe.measures.spectra import Recordings
from probe.measures.statement import Entry
from probe.phasors.model import Remark, TakePhasors
from probe.session.model import Session, Side, Signal, Take
from probe.stage.as_source import source_of
from probe.stage.identify import Identified
from probe.stage.source import Source

Curve = dict[str, Any]
"""``unit``, ``value`` and ``u95`` (or ``real``, ``imag``, ``u95``), and its own axis ``hz`` (or
``volts``) where it does not stand on the device's tones. Null where nothing is known."""

Row = dict[str, Any]
"""One line of a list: of ``hum_lines``, ``harmonics`` or ``path_evidence``."""


@dataclass(frozen=True)
class Subject:
    """One side as a measure sees it.

    Attributes
    ----------
    session
        All of it: takes of the bench itself may stand under any side.
    side
        The side asked about.
    identified
        Its solved stage.
    phasors
        Of all takes of all sides that play or carry tones.
    recordings
        Spectra of whole takes, each made once however many measures ask for it.
    """

    session: Session
    side: Side
    identified: Identified
    phasors: tuple[TakePhasors, ...]
    recordings: Recordings

    @cached_property
    def source(self) -> Source | None:
        """The solved stage as a source; None where the device never played."""
        return source_of(self.identified)

    def takes(self, *signals: Signal) -> tuple[Take, ...]:
        """Return this side's takes that play one of ``signals``, in session order."""
        return tuple(t for t in self.session.takes if t.side == self.side and t.signal in signals)

    def bench_takes(self, *signals: Signal) -> tuple[Take, ...]:
        """Return takes of the bench itself, this side's first: the bench has no sides."""
        found = [t for t in self.session.takes if t.signal in signals]
        return tuple(sorted(found, key=lambda t: t.side != self.side))


@dataclass(frozen=True)
class Part:
    """What one measure found; merged into the facts document under the same names.

    Attributes
    ----------
    facts
        By name: entries made by ``statement``, with ``at_hz`` and ``takes`` where they apply.
    facts_at
        The same facts under other conditions: ``{"condition": {...}, "facts": {...}}``.
    curves
        By name.
    lists
        ``hum_lines``, ``harmonics``, ``path_evidence``: rows by the list's name.
    stage
        What replaces keys of the stage's own table (``path``).
    remarks
        What has to be said; codes from the closed list in docs.
    """

    facts: Mapping[str, Entry] = field(default_factory=dict)
    facts_at: tuple[Row, ...] = ()
    curves: Mapping[str, Curve] = field(default_factory=dict)
    lists: Mapping[str, tuple[Row, ...]] = field(default_factory=dict)
    stage: Mapping[str, Any] = field(default_factory=dict)
    remarks: tuple[Remark, ...] = ()


def merged(parts: Iterable[Part]) -> Part:
    """Return several parts as one, in their order.

    Raises
    ------
    ValueError
        Two of them state the same fact or curve: a mistake in the program.
    """
    facts: dict[str, Entry] = {}
    curves: dict[str, Curve] = {}
    lists: dict[str, tuple[Row, ...]] = {}
    stage: dict[str, Any] = {}
    facts_at: list[Row] = []
    remarks: list[Remark] = []
    for part in parts:
        twice = [n for n in (*part.facts, *part.curves) if n in facts or n in curves]
        if twice:
            raise ValueError(f"two measures state {', '.join(twice)}")
        facts.update(part.facts)
        curves.update(part.curves)
        for name, rows in part.lists.items():
            lists[name] = lists.get(name, ()) + tuple(rows)
        stage.update(part.stage)
        facts_at += part.facts_at
        remarks += part.remarks
    return Part(facts, tuple(facts_at), curves, lists, stage, tuple(remarks))


@dataclass(frozen=True)
class Measured:
    """What all measures found.

    Attributes
    ----------
    sides
        By side.
    between_sides
        Channel balance and crosstalk: ``facts``, ``curves`` and whatever else stands beside
        ``sides`` in the document; empty where there is one side only.
    """

    sides: Mapping[Side, Part]
    between_sides: Mapping[str, Any] = field(default_factory=dict)
