"""Several measured sides beside each other: facts with differences, curves, and the conditions.

What was taken under another condition that the fact hangs on (volume, drive, load, and the bench
where its own noise counts) is marked and not put into a difference.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

import probe
from probe.compare.asked import check_asked
from probe.compare.compared import Cell, Column, Comparison, Curve, Line, Row
from probe.compare.conditions import Circumstances, apart, bench_of, circumstances, of_the_device
from probe.compare.difference import difference
from probe.errors import BadInput
from probe.facts.made import measured_on
from probe.facts.named_curve import named_curve
from probe.numbers import number
from probe.simulated import is_simulated

FEWEST, MOST = 2, 12
"""Sides beside each other: more do not fit a page, nor a head."""

ORDERS = ("facts", "name", "difference")
"""As facts are usually listed; by name; the largest difference, in its own intervals, first."""


@dataclass(frozen=True)
class Item:
    """One column: a side of one facts document, under the name it was asked for by."""

    named: str
    facts: Mapping[str, Any]
    side: str

    @property
    def body(self) -> Mapping[str, Any]:
        """The side itself."""
        body: Mapping[str, Any] = self.facts["sides"][self.side]
        return body


def items_of(
    named: Sequence[tuple[str, Mapping[str, Any]]], sides: Sequence[str] = ()
) -> tuple[Item, ...]:
    """Return every side of the documents, or those asked for, as columns in order.

    Raises
    ------
    BadInput
        Fewer than two or more than twelve.
    """
    items = tuple(
        Item(name, facts, side)
        for name, facts in named
        for side in facts["sides"]
        if not sides or side in sides
    )
    if not FEWEST <= len(items) <= MOST:
        raise BadInput(
            f"compare: {len(items)} sides; allowed are {FEWEST} to {MOST} (a stereo device counts "
            "twice: --side left takes one of it)"
        )
    return items


def compare(
    items: Sequence[Item],
    *,
    reference: int = 0,
    order: str = "facts",
    facts: Sequence[str] = (),
) -> Comparison:
    """Return the comparison of ``items``.

    Parameters
    ----------
    items
        Columns, two to twelve; see `items_of`.
    reference
        Position of the one the others are taken against.
    order
        ``facts``, ``name`` or ``difference``.
    facts
        Names of facts and curves asked for; where left out all, but for facts of the bench alone.

    Raises
    ------
    BadInput
        No column has a fact or curve of a name asked for.

    Returns
    -------
    Comparison
        Typed; its ``to_json()`` is the document ``probe-comparison/1`` of docs/formats.md.
    """
    check_asked(facts, [item.facts for item in items])
    names = [n for n in _names([i.body.get("facts") or {} for i in items]) if _asked(n, facts)]
    names = [n for n in names if facts or of_the_device(n)]
    rows = [_row(name, items, reference) for name in names]
    curves = [n for n in _names([i.body.get("curves") or {} for i in items]) if _asked(n, facts)]
    return Comparison(
        by=f"probe {probe.__version__}",
        on=datetime.now(UTC).strftime("%Y-%m-%dT%H:%M:%SZ"),
        columns=tuple(_column(item) for item in items),
        reference=reference,
        order=order,
        conditions_that_differ=tuple(_differing(items)),
        rows=tuple(_ordered(rows, order)),
        curves=tuple(c for c in (_curve(n, items) for n in curves) if c is not None),
    )


def _asked(name: str, facts: Sequence[str]) -> bool:
    return not facts or name in facts


def _names(tables: Sequence[Mapping[str, Any]]) -> list[str]:
    return list(dict.fromkeys(name for table in tables for name in table))


def _column(item: Item) -> Column:
    device, made = item.facts["device"], item.facts.get("made") or {}
    bench = made.get("bench") or {}
    stage = item.body.get("stage") or {}
    conditions = item.body.get("conditions") or {}
    return Column(
        named=item.named,
        side=item.side,
        maker=device.get("maker"),
        model=device.get("model"),
        serial=device.get("serial"),
        firmware=device.get("firmware"),
        measured_on=measured_on(item.facts) or None,
        bench=bench.get("interface"),
        simulated=is_simulated(made),
        volume=conditions.get("volume"),
        drive_volts=conditions.get("drive_volts"),
        drive_dbfs=conditions.get("drive_dbfs"),
        kind=stage.get("kind"),
        confidence=stage.get("confidence"),
        polarity=stage.get("polarity"),
        path=stage.get("path"),
        faults=tuple(stage.get("faults") or ()),
        refused_loads=tuple(str(r) for r in stage.get("refused_loads") or ()),
        session_sha256=made.get("session_sha256"),
    )


def _differing(items: Sequence[Item]) -> list[str]:
    """Return which conditions are not the same for all columns."""
    conditions = [i.body.get("conditions") or {} for i in items]
    seen: dict[str, set[Any]] = {
        "volume": {str(c.get("volume") or "").casefold() for c in conditions},
        "drive": {(c.get("drive_volts"), c.get("drive_dbfs")) for c in conditions},
        "bench": {bench_of(i.facts) for i in items},
        "firmware": {str(i.facts["device"].get("firmware") or "") for i in items},
        "program": {str((i.facts.get("made") or {}).get("by")) for i in items},
    }
    return [name for name, values in seen.items() if len(values) > 1]


def _row(name: str, items: Sequence[Item], reference: int) -> Row:
    entries = [_entry(item, name) for item in items]
    unit = next((str(e.get("unit", "")) for e in entries if e is not None), "")
    here = [_under(item, e) for item, e in zip(items, entries, strict=True)]
    cells = []
    for k, entry in enumerate(entries):
        own, other = here[k], here[reference]
        if k == reference or own is None or other is None:
            cells.append(Cell(entry))
            continue
        differing = apart(name, unit, other, own)
        found = None if differing else difference(name, entries[reference], entry)
        cells.append(Cell(entry, differing, found))
    return Row(name, unit, tuple(cells))


def _entry(item: Item, name: str) -> Mapping[str, Any] | None:
    entry = (item.body.get("facts") or {}).get(name)
    return entry if isinstance(entry, Mapping) and number(entry) is not None else None


def _under(item: Item, entry: Mapping[str, Any] | None) -> Circumstances | None:
    return None if entry is None else circumstances(item.facts, item.body, entry)


def _ordered(rows: list[Row], order: str) -> list[Row]:
    if order == "name":
        return sorted(rows, key=lambda row: row.fact)
    if order == "difference":
        return sorted(rows, key=lambda row: (not row.some_larger, -row.largest_in_intervals))
    return rows


def _curve(name: str, items: Sequence[Item]) -> Curve | None:
    """Return one curve of all columns that have it, None where fewer than two do.

    Points of which only a bound is known are left out: a bound is not to be laid over a value.
    """
    found = [None if name == "hz" else named_curve(item.body, name) for item in items]
    there = [c for c in found if c is not None]
    if len(there) < FEWEST:
        return None
    unit, axis = there[0].unit, there[0].axis
    lines = []
    for k, curve in enumerate(found):
        if curve is None or (curve.unit, curve.axis) != (unit, axis):
            continue
        known = [i for i, bound in enumerate(curve.bound) if bound is None]
        if known:
            lines.append(
                Line(
                    k,
                    tuple(curve.hz[i] for i in known),
                    tuple(curve.magnitude[i] for i in known),
                    tuple(curve.u95[i] for i in known),
                    (items[k].body.get("conditions") or {}).get("volume"),
                    tuple(curve.low[i] for i in known),
                    tuple(curve.high[i] for i in known),
                )
            )
    if len(lines) < FEWEST:
        return None
    return Curve(name, unit, axis, there[0].complex_valued, tuple(lines))
