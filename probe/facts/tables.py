"""A facts document as flat tables: one row for each fact, one for each point of each curve."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from probe.errors import ProbeError
from probe.facts.named_curve import named_curve
from probe.simulated import is_simulated

Row = dict[str, Any]

FACT_COLUMNS = (
    "side", "condition", "fact", "value", "unit", "u95", "low", "high", "bound", "at_hz", "limit",
    "near_limit", "limited_by_bench", "imag", "takes", "simulated",
)  # fmt: skip
CURVE_COLUMNS = (
    "side", "curve", "unit", "hz", "volts", "value", "imag", "magnitude", "u95", "bound",
    "limit", "low", "high", "real_u95", "imag_u95", "simulated",
)  # fmt: skip

_FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r")
"""A spreadsheet takes a text that begins so for a formula."""


def fact_rows(facts: Mapping[str, Any]) -> list[Row]:
    """Return every fact of every side, those under other conditions after them.

    Columns are ``FACT_COLUMNS``; what an entry does not say is None. ``between_sides`` stands
    under the side ``both``.
    """
    rows: list[Row] = []
    for side, body in _tables(facts.get("sides")):
        rows += _entries(side, "", body.get("facts"))
        for at in body.get("facts_at") or ():
            if isinstance(at, Mapping):
                rows += _entries(side, _condition(at.get("condition")), at.get("facts"))
    between = facts.get("between_sides")
    if isinstance(between, Mapping):
        rows += _entries("both", "", between.get("facts"))
        for at in between.get("facts_at") or ():
            if isinstance(at, Mapping):
                rows += _entries("both", _condition(at.get("condition")), at.get("facts"))
    said = _simulated(facts)
    return [row | said for row in rows]


def curve_rows(facts: Mapping[str, Any]) -> list[Row]:
    """Return every known point of every curve; columns are ``CURVE_COLUMNS``.

    Curves of both sides together stand under the side ``both``.
    ``value`` is the real part and ``imag`` the imaginary part of a complex curve; of a point that
    is only a ``bound``, ``value`` is that of its magnitude.
    """
    rows: list[Row] = []
    said = _simulated(facts)
    between = facts.get("between_sides")
    both = [("both", between)] if isinstance(between, Mapping) else []
    for side, body in [*_tables(facts.get("sides")), *both]:
        for name, _ in _tables(body.get("curves")):
            curve = named_curve(body, name)
            if curve is None:
                continue
            columns = (
                curve.hz, curve.value, curve.magnitude, curve.u95, curve.bound, curve.limit,
                curve.low, curve.high, curve.real_u95, curve.imag_u95,
            )  # fmt: skip
            for hz, value, magnitude, u95, bound, limit, *beside in zip(*columns, strict=True):
                rows.append(
                    {
                        "side": side, "curve": name, "unit": curve.unit,
                        "hz": hz if curve.axis == "hz" else None,
                        "volts": hz if curve.axis == "volts" else None,
                        "value": value.real,
                        "imag": value.imag if curve.complex_valued and not bound else None,
                        "magnitude": magnitude, "u95": u95, "bound": bound, "limit": limit,
                        **dict(zip(("low", "high", "real_u95", "imag_u95"), beside, strict=True)),
                        **said,
                    }
                )  # fmt: skip
    return rows


def csv_files(facts: Mapping[str, Any]) -> dict[str, str]:
    """Return ``facts.csv`` and ``curves.csv``: every fact, and every known point of every curve."""
    return {
        "facts.csv": csv_text(fact_rows(facts), FACT_COLUMNS),
        "curves.csv": csv_text(curve_rows(facts), CURVE_COLUMNS),
    }


def csv_text(rows: Iterable[Mapping[str, Any]], columns: Sequence[str]) -> str:
    """Return rows as comma-separated text with a head; texts that look like a formula are quoted.

    Such a text gets an apostrophe before it, which a spreadsheet shows as text.
    """
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(columns)
    for row in rows:
        writer.writerow([_cell(row.get(c)) for c in columns])
    return out.getvalue()


def frame(rows: Iterable[Mapping[str, Any]]) -> Any:
    """Return rows as a pandas data frame.

    Raises
    ------
    ProbeError
        pandas is not installed; nothing else needs it.
    """
    try:
        import pandas as pd
    except ImportError as error:
        raise ProbeError(
            "a data frame needs pandas, which is not installed; install it with pip install pandas"
        ) from error
    return pd.DataFrame(list(rows))


def _cell(value: object) -> object:
    if value is None:
        return ""
    if isinstance(value, bool | int | float):
        return value
    text = " ".join(str(value).split())
    return f"'{text}" if text.startswith(_FORMULA_STARTS) else text


def _simulated(facts: Mapping[str, Any]) -> Row:
    """Return the cell that says whether a row was measured at all: tables travel alone."""
    return {"simulated": "yes" if is_simulated(facts.get("made")) else "no"}


def _tables(found: object) -> Iterable[tuple[str, Mapping[str, Any]]]:
    if isinstance(found, Mapping):
        for key, value in found.items():
            if isinstance(value, Mapping):
                yield str(key), value


def _entries(side: str, condition: str, found: object) -> list[Row]:
    rows = []
    for name, entry in _tables(found):
        row: Row = {key: entry.get(key) for key in FACT_COLUMNS}
        takes = entry.get("takes")
        row["takes"] = "; ".join(map(str, takes)) if isinstance(takes, list | tuple) else None
        rows.append(row | {"side": side, "condition": condition, "fact": name})
    return rows


def _condition(found: object) -> str:
    if not isinstance(found, Mapping):
        return ""
    return ", ".join(f"{key} {value}" for key, value in found.items())
