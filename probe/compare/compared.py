"""What a comparison found, typed; the document of it is made here and nowhere else."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from probe.compare.difference import Difference

FORMAT = "probe-comparison/1"

ENDLESS = 1e9
"""What stands in the document for a difference of endlessly many of its intervals."""

Document = dict[str, Any]


@dataclass(frozen=True)
class Column:
    """One side of one device as it stands at the head of a table.

    ``named`` is what it was asked for by; the rest is of the facts, None where they do not say.
    """

    named: str
    side: str
    maker: str | None
    model: str | None
    serial: str | None
    firmware: str | None
    measured_on: str | None
    bench: str | None
    simulated: bool
    volume: str | None
    drive_volts: float | None
    drive_dbfs: float | None
    kind: str | None
    confidence: float | None
    polarity: str | None
    path: str | None
    faults: tuple[str, ...]
    refused_loads: tuple[str, ...]
    session_sha256: str | None

    def to_json(self) -> Document:
        """Return it as plain values."""
        lists = {"faults": list(self.faults), "refused_loads": list(self.refused_loads)}
        return {**vars(self), **lists}


@dataclass(frozen=True)
class Cell:
    """One fact of one column.

    Attributes
    ----------
    entry
        Of the facts; None where it was not measured.
    apart
        Conditions that differ from the reference's and that the fact hangs on; None where there is
        nothing to compare with. Where there are any, there is no difference.
    difference
        Against the reference.
    """

    entry: Mapping[str, Any] | None
    apart: tuple[str, ...] | None = None
    difference: Difference | None = None

    def to_json(self) -> Document:
        """Return it as plain values."""
        cell: Document = {"entry": None if self.entry is None else dict(self.entry)}
        if self.apart is not None:
            cell["apart"] = list(self.apart)
            if not self.apart:
                found = self.difference
                cell["difference"] = None if found is None else found.to_json()
        return cell


@dataclass(frozen=True)
class Row:
    """One fact over all columns, in their order."""

    fact: str
    unit: str
    cells: tuple[Cell, ...]

    @property
    def largest_in_intervals(self) -> float:
        """The largest difference in its own intervals; 0 where there is none."""
        return max(
            (c.difference.times for c in self.cells if c.difference is not None), default=0.0
        )

    @property
    def some_larger(self) -> bool:
        """True where some difference is larger than its interval."""
        return any(c.difference is not None and bool(c.difference.larger) for c in self.cells)

    def to_json(self) -> Document:
        """Return it as plain values."""
        largest = self.largest_in_intervals
        return {
            "fact": self.fact,
            "unit": self.unit,
            "cells": [cell.to_json() for cell in self.cells],
            "largest_in_intervals": largest if math.isfinite(largest) else ENDLESS,
            "some_larger": self.some_larger,
        }


@dataclass(frozen=True)
class Line:
    """One curve of one column: only points that are values, not bounds.

    ``places`` are hertz or volts, as the curve's ``axis`` says; ``u95`` is None where not stated.
    """

    item: int
    places: tuple[float, ...]
    value: tuple[float, ...]
    u95: tuple[float | None, ...]
    volume: str | None
    low: tuple[float | None, ...] = ()
    high: tuple[float | None, ...] = ()
    """Ends of lopsided intervals; None where ``u95`` says it all."""


def _any(column: tuple[float | None, ...]) -> bool:
    return any(one is not None for one in column)


@dataclass(frozen=True)
class Curve:
    """One curve of all columns that have it; ``complex_valued`` where values are magnitudes."""

    name: str
    unit: str
    axis: str
    complex_valued: bool
    lines: tuple[Line, ...]

    def to_json(self) -> Document:
        """Return it as plain values."""
        lines = [
            {
                "item": line.item,
                self.axis: list(line.places),
                "value": list(line.value),
                "u95": list(line.u95),
                "volume": line.volume,
                **{n: list(c) for n, c in (("low", line.low), ("high", line.high)) if _any(c)},
            }
            for line in self.lines
        ]
        return {
            "curve": self.name, "unit": self.unit, "complex": self.complex_valued, "lines": lines,
        }  # fmt: skip


@dataclass(frozen=True)
class Comparison:
    """A whole comparison.

    Attributes
    ----------
    by, on
        The program and the moment (ISO 8601, UTC).
    columns, reference
        Two to twelve sides, and the position of the one the others are taken against.
    order
        ``facts``, ``name`` or ``difference``.
    conditions_that_differ
        Of ``volume``, ``drive``, ``bench``, ``firmware``, ``program``.
    rows, curves
        Facts in that order; curves that two columns have or more.
    """

    by: str
    on: str
    columns: tuple[Column, ...]
    reference: int
    order: str
    conditions_that_differ: tuple[str, ...]
    rows: tuple[Row, ...]
    curves: tuple[Curve, ...]

    def to_json(self) -> Document:
        """Return the document, ``probe-comparison/1``; see docs/formats.md."""
        return {
            "format": FORMAT,
            "made": {"by": self.by, "on": self.on},
            "items": [column.to_json() for column in self.columns],
            "reference": self.reference,
            "order": self.order,
            "conditions_that_differ": list(self.conditions_that_differ),
            "rows": [row.to_json() for row in self.rows],
            "curves": [curve.to_json() for curve in self.curves],
        }
