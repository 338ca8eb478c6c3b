"""One serial over the years: what moved by more than its doubt, and how fast.

Each fact is taken against the first look that was made under the same conditions. Three looks or
more on at least two days give a rate: a straight line through the values, weighted by their
doubts; its standard uncertainty is that of the weighted fit, widened where the values scatter more
than their doubts explain (the usual chi-square of the residuals, never narrowed).
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from probe.archive.entry import Entry
from probe.compare.asked import check_asked
from probe.compare.conditions import apart, circumstances, of_the_device
from probe.compare.difference import Difference, difference, doubts, reach
from probe.numbers import number
from probe.verify.faults import found_faults, since
from probe.verify.judged import Fault

DAYS_A_YEAR = 365.25
LEAST_FOR_A_RATE = 3


@dataclass(frozen=True)
class Look:
    """One entry of a serial: when, and its facts document."""

    entry: Entry
    facts: Mapping[str, Any]

    @property
    def day(self) -> date | None:
        """The day it was measured on, None where it was not stated as a date."""
        try:
            return date.fromisoformat(self.entry.measured_on[:10])
        except ValueError:
            return None


@dataclass(frozen=True)
class Moved:
    """One fact of one side over all looks; None where a look has none, or under other conditions.

    ``rate`` is per year, in the unit of the fact, with its u95; None where it cannot be told.
    """

    side: str
    fact: str
    unit: str
    values: tuple[Mapping[str, Any] | None, ...]
    against_first: tuple[Difference | None, ...]
    apart: tuple[tuple[str, ...], ...]
    rate: tuple[float, float] | None

    @property
    def moved(self) -> bool:
        """True where some look differs from the first by more than the doubt."""
        return any(d is not None and d.larger for d in self.against_first)

    @property
    def compared(self) -> bool:
        """True where some look could be held against the first: one value alone tells nothing."""
        return any(d is not None for d in self.against_first)

    @property
    def word(self) -> str:
        """What became of it."""
        if self.moved:
            return "moved"
        if self.compared:
            return "within doubt"
        once = sum(value is not None for value in self.values) == 1
        return "measured once" if once else "not comparable"

    @property
    def times(self) -> float:
        """The largest movement in its own intervals; 0 where nothing moved.

        Where only a bound is known, the gap that is left in doubts, and the one doubt to its edge.
        """
        first = next((v for v in self.values if v is not None), None)
        found = [
            d.times if d.value is not None or first is None or value is None else _gap(first, value)
            for d, value in zip(self.against_first, self.values, strict=True)
            if d is not None and d.larger
        ]
        return max(found, default=0.0)


def _gap(a: Mapping[str, Any], b: Mapping[str, Any]) -> float:
    """Return how far two entries, one of them a bound, are apart in the larger doubt of both."""
    (low_a, high_a), (low_b, high_b) = reach(a), reach(b)
    doubt = max(*doubts(a), *doubts(b))
    return 1.0 + max(low_b - high_a, low_a - high_b) / doubt if doubt > 0.0 else math.inf


def in_order(entries: Sequence[Entry]) -> tuple[list[Entry], list[Entry]]:
    """Return the entries that state a day, in order of time, and those that state none."""
    dated = sorted((e for e in entries if e.measured_on), key=lambda e: (e.measured_on, e.id))
    return dated, [e for e in entries if not e.measured_on]


def faults_since(looks: Sequence[Look]) -> list[tuple[Look, Fault]]:
    """Return every fault that was ever found with the look that found it last, the latest first.

    ``Fault.now`` says what became of it at the last look; one found there is told once.
    """
    last = looks[-1]
    now = found_faults(last.facts)
    told: dict[tuple[str, str], tuple[Look, Fault]] = {}
    for look in looks:
        for fault in since(found_faults(look.facts), now, last.facts):
            if fault.certainty == "found":
                told[(fault.code, fault.side)] = (look, fault)
    return list(reversed(told.values()))


def drift(looks: Sequence[Look], facts: Sequence[str] = ()) -> list[Moved]:
    """Return every fact of every side over ``looks``, which stand in order of time.

    Facts of the bench are left out unless they are asked for by name. What moved by the most of
    its own intervals comes first, then what did not move, as the facts are listed.

    Parameters
    ----------
    looks
        Entries of one serial.
    facts
        Names asked for; all where left out. `BadInput` where no look has one.
    """
    check_asked(facts, [look.facts for look in looks])
    sides = list(dict.fromkeys(side for look in looks for side in look.facts["sides"]))
    rows = []
    for side in sides:
        bodies = [look.facts["sides"].get(side) or {} for look in looks]
        names = list(dict.fromkeys(n for body in bodies for n in body.get("facts") or {}))
        for name in names:
            if name not in facts if facts else not of_the_device(name):
                continue
            row = _moved(looks, side, name, bodies)
            if row is not None:
                rows.append(row)
    return sorted(rows, key=lambda row: -row.times)


def _moved(
    looks: Sequence[Look], side: str, name: str, bodies: Sequence[Mapping[str, Any]]
) -> Moved | None:
    entries = [_entry(body, name) for body in bodies]
    first = next((k for k, e in enumerate(entries) if e is not None), None)
    if first is None:
        return None
    reference = entries[first]
    assert reference is not None
    unit = str(reference.get("unit", ""))
    here = circumstances(looks[first].facts, bodies[first], reference)
    differences: list[Difference | None] = []
    differing: list[tuple[str, ...]] = []
    for k, entry in enumerate(entries):
        if entry is None or k == first:
            differences.append(None)
            differing.append(())
            continue
        there = circumstances(looks[k].facts, bodies[k], entry)
        other = apart(name, unit, here, there)
        differing.append(other)
        differences.append(None if other else difference(name, reference, entry))
    alike = [e if not differing[k] else None for k, e in enumerate(entries)]
    return Moved(
        side, name, unit, tuple(entries), tuple(differences), tuple(differing),
        _rate([look.day for look in looks], alike),
    )  # fmt: skip


def _entry(body: Mapping[str, Any], name: str) -> Mapping[str, Any] | None:
    entry = (body.get("facts") or {}).get(name)
    return entry if isinstance(entry, Mapping) and number(entry) is not None else None


def _rate(
    days: Sequence[date | None], entries: Sequence[Mapping[str, Any] | None]
) -> tuple[float, float] | None:
    """Return the slope per year and its u95 of a weighted straight line."""
    points = [
        (day.toordinal() / DAYS_A_YEAR, float(entry["value"]), max(doubts(entry)) / 1.96)
        for day, entry in zip(days, entries, strict=True)
        if day is not None and entry is not None and not entry.get("bound")
    ]
    if len(points) < LEAST_FOR_A_RATE or len({t for t, _, _ in points}) < 2:
        return None
    if any(sd <= 0.0 for _, _, sd in points):
        return None
    weight = [sd**-2 for _, _, sd in points]
    total = sum(weight)
    middle = sum(w * t for w, (t, _, _) in zip(weight, points, strict=True)) / total
    mean = sum(w * v for w, (_, v, _) in zip(weight, points, strict=True)) / total
    spread = sum(w * (t - middle) ** 2 for w, (t, _, _) in zip(weight, points, strict=True))
    if spread <= 0.0:
        return None
    slope = (
        sum(w * (t - middle) * (v - mean) for w, (t, v, _) in zip(weight, points, strict=True))
        / spread
    )
    misfit = sum(
        w * (v - mean - slope * (t - middle)) ** 2
        for w, (t, v, _) in zip(weight, points, strict=True)
    ) / (len(points) - 2)
    return slope, 1.96 * math.sqrt(max(1.0, misfit) / spread)
