"""A comparison of two to twelve sides as a page with overlaid curves, and as text."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from probe.numbers import DBU_VOLTS, number, ratio_db, write, write_share, write_signed
from probe.report import words
from probe.report.chart import Curve, chart
from probe.report.curves import Figure
from probe.report.document import listing, mapping
from probe.report.names import NOT_DRIVEN, device_name, fault, kind_name, when
from probe.report.page import environment, sort_script
from probe.report.text import clean, hanging
from probe.report.words import fact_words
from probe.simulated import told_of_several

LETTERS = "ABCDEFGHIJKL"

CURVES = {
    "differential_open_circuit": "Level between the legs, open circuit",
    "hot_open_circuit": "Level of the hot leg, open circuit",
    "cold_open_circuit": "Level of the cold leg, open circuit",
    "single_ended_open_circuit": "Level of the single-ended output",
    "differential_impedance": "Impedance between the legs",
    "hot_impedance": "Impedance of the hot leg",
    "cold_impedance": "Impedance of the cold leg",
    "common_mode_impedance": "Impedance of both legs together",
    "single_ended_impedance": "Impedance of the single-ended output",
    "differential_response": "Response between the legs, against 1 kHz",
    "single_ended_response": "Single-ended response, against 1 kHz",
    "differential_noise_density": "Noise between the legs",
    "single_ended_noise_density": "Noise, single-ended",
    "differential_thd_against_level": "Distortion between the legs, against level",
    "single_ended_thd_against_level": "Distortion of the single-ended output, against level",
    "output_common_mode_rejection": "Output common-mode rejection",
    "signal_balance": "Signal balance",
}
"""Curves worth overlaying, in this order; others are in the JSON."""

_HZ, _LEVEL = "frequency, Hz", "level of the output, V rms"

APART = {
    "volume": "other volume",
    "drive": "other drive",
    "bench": "other bench",
    "frequency": "other tone",
    "level": "other level",
    "conditions": "other conditions",
}

CONDITIONS = {
    "volume": "the volume setting",
    "drive": "the drive",
    "bench": "the bench",
    "firmware": "the firmware",
    "program": "the version of this program",
}


@dataclass(frozen=True)
class Column:
    """The head of one column."""

    letter: str
    device: str
    side: str
    rows: tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class Cell:
    """One figure with its difference; ``tone`` is larger, within, apart or nothing."""

    value: str
    difference: str
    tone: str


@dataclass(frozen=True)
class Row:
    """One fact of all columns."""

    name: str
    about: str
    cells: tuple[Cell, ...]


@dataclass(frozen=True)
class Comparison:
    """Everything on the page."""

    title: str
    reference: str
    made_on: str
    columns: tuple[Column, ...]
    differing: str
    rows: tuple[Row, ...]
    figures: tuple[Figure, ...]
    ordered: str
    larger: int
    simulated: str


def comparison_view(document: Mapping[str, Any]) -> Comparison:
    """Return what the page of a comparison document shows."""
    items = listing(document, "items")
    columns = tuple(_column(k, item) for k, item in enumerate(items))
    reference = int(document.get("reference") or 0)
    rows = _sorted(listing(document, "rows"), str(document.get("order")))
    return Comparison(
        title=_title(columns),
        reference=LETTERS[reference],
        made_on=when(mapping(document, "made").get("on")),
        columns=columns,
        differing=_differing(listing(document, "conditions_that_differ")),
        rows=tuple(_row(row) for row in rows),
        figures=tuple(_figures(document, columns)),
        ordered=str(document.get("order") or ""),
        larger=sum(1 for row in rows if row.get("some_larger")),
        simulated=told_of_several(
            [(LETTERS[k], item.get("simulated") is True) for k, item in enumerate(items)]
        ),
    )


def render_comparison(document: dict[str, Any]) -> str:
    """Return the page of a comparison document (``probe-comparison/1``) as one HTML file."""
    page = environment().get_template("compare.html")
    return page.render(comparison=comparison_view(document), script=sort_script())


def render_comparison_text(document: dict[str, Any]) -> str:
    """Return the same as plain text of at most 80 columns, ending in a newline."""
    from probe.numbers import plain

    view = comparison_view(document)

    def told(label: str, text: str) -> list[str]:
        return hanging(label, plain(text), indent=14)

    lines: list[str] = []
    for column in view.columns:
        head = f"{column.device}, {column.side.lower()}"
        rest = "; ".join(f"{name.lower()} {text}" for name, text in column.rows)
        lines += told(f"{column.letter}", f"{head}: {rest}")
    if view.simulated:
        lines += ["", *told("", view.simulated)]
    if view.differing:
        lines += ["", *told("not alike", view.differing)]
    for row in view.rows:
        lines += ["", *told("", f"{row.name}{', ' * bool(row.about)}{row.about}")]
        for column, cell in zip(view.columns, row.cells, strict=True):
            if cell.value or cell.difference:
                mark = "  <>" if cell.tone == "larger" else ""
                both = f"{cell.value}   {cell.difference}".strip()
                lines += told(f"  {column.letter}{mark}", both)
    many = f"{view.larger} of {len(view.rows)}"
    lines += ["", *told("", f"<> differs from {view.reference} by more than both intervals "
                        f"together: {many} facts")]  # fmt: skip
    return "\n".join(lines) + "\n"


def _title(columns: Sequence[Column]) -> str:
    devices = list(dict.fromkeys(c.device for c in columns))
    if len(devices) == 1:
        return devices[0]
    return clean(f"{devices[0]} and {len(devices) - 1} more", 120)


def _column(k: int, item: Mapping[str, Any]) -> Column:
    kind = kind_name(str(item.get("kind") or "undetermined")).split(" (")[0]
    drive = number(item, "drive_volts")
    full_scale = number(item, "drive_dbfs")
    told = [
        ("Serial", clean(item.get("serial") or "", 40)),
        ("Measured", clean(item.get("measured_on") or "", 20)),
        ("Firmware", clean(item.get("firmware") or "", 40)),
        ("Volume", clean(item.get("volume") or "", 40)),
        ("Drive", "" if drive is None else write({"value": drive, "unit": "V"}).whole),
        ("Drive", "" if full_scale is None else f"{full_scale:g} dB FS"),
        ("Bench", clean(item.get("bench") or "", 40)),
        ("Kind", f"{kind}, {write_share(number(item, 'confidence'))}"),
        ("Faults", _faults(item)),
    ]
    return Column(
        letter=LETTERS[k],
        device=device_name(item),
        side=words.SIDES.get(str(item.get("side")), clean(item.get("side"), 20)),
        rows=tuple((name, text) for name, text in told if text),
    )


def _faults(item: Mapping[str, Any]) -> str:
    """Return the faults by name; a load that was refused is no clean bill."""
    told = [fault(f).name for f in listing(item, "faults")]
    if listing(item, "refused_loads"):
        told.append(NOT_DRIVEN)
    return ", ".join(told) or "none found"


def _differing(names: Sequence[Any]) -> str:
    told = [CONDITIONS.get(str(n), clean(n, 20)) for n in names]
    if not told:
        return ""
    verb = "differs" if len(told) == 1 else "differ"
    return (
        f"{', '.join(told)} {verb}: what hangs on one of them is marked and not put into a "
        "difference"
    )


def _sorted(rows: Sequence[Mapping[str, Any]], order: str) -> list[Mapping[str, Any]]:
    """Return the rows; in the usual order of facts where nothing else was asked."""
    if order != "facts":
        return list(rows)
    usual = {name: k for k, name in enumerate(words.FACTS)}
    return sorted(rows, key=lambda r: usual.get(str(r.get("fact")), len(usual)))


def _row(row: Mapping[str, Any]) -> Row:
    meant = fact_words(str(row.get("fact")))
    name = meant.name
    if meant.group in ("Impedances", "Levels"):
        name = f"{meant.group[:-1]}, {meant.name[:1].lower()}{meant.name[1:]}"
    cells = tuple(_cell(c, positive=meant.positive) for c in listing(row, "cells"))
    return Row(clean(name), meant.about, cells)


def _cell(cell: Mapping[str, Any], *, positive: bool) -> Cell:
    entry = mapping(cell, "entry")
    if number(entry) is None:
        return Cell("", "", "")
    value = write(entry, positive=positive).whole
    if listing(cell, "apart"):
        told = ", ".join(APART.get(str(a), clean(a, 20)) for a in cell["apart"])
        return Cell(value, told, "apart")
    found = mapping(cell, "difference")
    if not found:
        return Cell(value, "", "")
    larger = found.get("larger")
    tone = "larger" if larger else "within"
    if number(found) is None:
        return Cell(value, "differs" if larger else "cannot tell from bounds", tone)
    unit = words.UNITS.get(str(found.get("unit")), clean(found.get("unit"), 16))
    doubt = number(found, "u95") or 0.0
    told = write_signed(number(found) or 0.0, unit, doubt, 3).strip()
    around = write_signed(doubt, unit, doubt, 3).lstrip("+").strip()
    return Cell(value, f"{told} ± {around}", tone)


# Curves


def _figures(document: Mapping[str, Any], columns: Sequence[Column]) -> Iterable[Figure]:
    found = {str(c.get("curve")): c for c in listing(document, "curves")}
    for name, title in CURVES.items():
        if name in found:
            yield _figure(name, title, found[name], columns)


def _figure(name: str, title: str, curve: Mapping[str, Any], columns: Sequence[Column]) -> Figure:
    unit = str(curve.get("unit") or "")
    level = unit == "V"
    drawn = []
    for drawn_line in listing(curve, "lines"):
        k = int(drawn_line["item"])
        column = columns[k]
        drawn.append(_line(f"item-{k + 1}", f"{column.letter} {column.side.lower()}", drawn_line,
                           decibels=level))  # fmt: skip
    shown = "dBu" if level else words.UNITS.get(unit, clean(unit, 16))
    volumes = {str(line.get("volume") or "") for line in listing(curve, "lines")}
    caution = " Taken at different volume settings: not to be compared as they stand." if (
        level and len(volumes) > 1
    ) else ""  # fmt: skip
    names = ", ".join(c.name for c in drawn)
    drawing = chart(
        f"compare-{name.replace('_', '-')}", title, f"{title}: {names}.", drawn,
        unit=shown, logarithmic=unit in ("ohm", "V/√Hz", "%"),
        along=_LEVEL if any("volts" in line for line in listing(curve, "lines")) else _HZ,
    )  # fmt: skip
    return Figure(title, drawing, f"Shaded: 95\u00a0% band of each.{caution}")


def _line(style: str, name: str, found: Mapping[str, Any], *, decibels: bool) -> Curve:
    def shown(value: float | None) -> float | None:
        if value is None or not decibels:
            return value
        return ratio_db(value / DBU_VOLTS) if value > 0.0 else None

    value = [float(v) for v in found["value"]]
    doubt = [0.0 if u is None else float(u) for u in found["u95"]]
    none = [None] * len(value)
    low = [
        v - u if e is None else float(e)
        for v, u, e in zip(value, doubt, found.get("low") or none, strict=True)
    ]
    low = [v if decibels and e <= 0.0 else e for v, e in zip(value, low, strict=True)]
    high = [
        v + u if e is None else float(e)
        for v, u, e in zip(value, doubt, found.get("high") or none, strict=True)
    ]
    return Curve(
        style, name, [float(x) for x in found.get("hz") or found["volts"]],
        [shown(v) for v in value], [shown(v) for v in low], [shown(v) for v in high],
    )  # fmt: skip
