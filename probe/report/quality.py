"""Noise and distortion: figures and tables, each with what the bench would have hidden."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

from probe.numbers import fixed, number, write, write_hz
from probe.report.chart import Curve, chart
from probe.report.curves import Figure
from probe.report.document import listing, mapping
from probe.report.shown import Table

_OUTPUTS = (
    ("hot", "hot leg", "hot"),
    ("cold", "cold leg", "cold"),
    ("pair", "between the legs", "differential"),
    ("single", "single-ended", "single_ended"),
)
_NOTHING = 1e-30
"""Lower end of a region that reaches down to nothing; the axis cuts it at its own end."""

_NANO = 1e9


def quality_figures(key: str, name: str, curves: Mapping[str, Any]) -> tuple[Figure, ...]:
    """Return the figures of noise density and distortion of one side that its curves allow."""
    found = (
        _noise(f"{key}-noise", name, curves),
        _level(f"{key}-thd-level", name, curves),
        _frequency(f"{key}-thd-frequency", name, curves),
    )
    return tuple(figure for figure in found if figure is not None)


def _noise(key: str, name: str, curves: Mapping[str, Any]) -> Figure | None:
    drawn = _drawn(curves, "{}_noise_density", "hz", _NANO)
    if not drawn:
        return None
    told = [c for c in drawn if c.style != "limit"]
    title = f"{name}: noise density with nothing playing"
    drawing = chart(
        key, title, _spoken(told, "nV/√Hz", " Hz"), drawn, unit="noise, nV/√Hz", logarithmic=True
    )
    caption = (
        "Noise with nothing playing, open circuit, mains lines and other lines left out, in "
        "twelfths of an octave; the recorder's own noise taken off in power. Bands: 95\u00a0%. "
        "Shaded from below: what this recorder would have hidden."
    )
    return Figure("Noise against frequency", drawing, caption)


def _level(key: str, name: str, curves: Mapping[str, Any]) -> Figure | None:
    drawn = _drawn(curves, "{}_thd_against_level", "volts", 1.0)
    if not drawn:
        return None
    told = [c for c in drawn if c.style != "limit"]
    drawing = chart(
        key,
        f"{name}: distortion against level",
        _spoken(told, "%", " V"),
        drawn,
        unit="THD, %",
        logarithmic=True,
        along="level of the output, V rms",
    )
    caption = (
        "Harmonics 2 to 20, up to 20 kHz, over the whole output, against the rms level of the same "
        "output, open circuit. Shaded from below: what noise would have hidden."
    )
    return Figure("Distortion against level", drawing, caption)


def _frequency(key: str, name: str, curves: Mapping[str, Any]) -> Figure | None:
    drawn = _drawn(curves, "{}_thd_against_frequency", "hz", 1.0)
    if not drawn:
        return None
    told = [c for c in drawn if c.style != "limit"]
    drawing = chart(
        key,
        f"{name}: distortion against frequency",
        _spoken(told, "%", " Hz"),
        drawn,
        unit="THD, %",
        logarithmic=True,
    )
    caption = (
        "Harmonics 2 to 20, up to 20 kHz, over the whole output. Bands: 95\u00a0%. Shaded from "
        "below: what the bench's own distortion, in any phase, and noise would have hidden."
    )
    return Figure("Distortion against frequency", drawing, caption)


def _drawn(curves: Mapping[str, Any], form: str, axis: str, scale: float) -> list[Curve]:
    """Return one line for each output, and the region hidden by the bench under the last."""
    drawn: list[Curve] = []
    limit: Curve | None = None
    for style, told, output in _OUTPUTS:
        entry = mapping(curves, form.format(output))
        places = [_positive(v, 1.0) for v in entry.get(axis) or ()]
        if not places or any(p is None for p in places):
            continue
        at = [p for p in places if p is not None]
        value = _column(entry, "value", scale, len(at))
        u95 = _column(entry, "u95", scale, len(at))
        ends = _column(entry, "limit", scale, len(at))
        if not any(v is not None for v in value):
            continue
        low = [
            None if v is None else max(v - (u or 0.0), _NOTHING)
            for v, u in zip(value, u95, strict=True)
        ]
        high = [None if v is None else v + (u or 0.0) for v, u in zip(value, u95, strict=True)]
        drawn.append(Curve(style, told, at, value, low, high))
        if any(e is not None for e in ends):
            floor = [None if e is None else _NOTHING for e in ends]
            limit = Curve("limit", "hidden by the bench", at, ends, floor, ends)
    return [limit, *drawn] if limit is not None and drawn else drawn


def _column(entry: Mapping[str, Any], part: str, scale: float, count: int) -> list[float | None]:
    found = list(entry.get(part) or ())[:count]
    return [_positive(v, scale) for v in found] + [None] * (count - len(found))


def _positive(value: Any, scale: float) -> float | None:
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        return None
    return float(value) * scale if value > 0.0 else None


def _spoken(drawn: Sequence[Curve], unit: str, axis: str) -> str:
    """Return a chart in a sentence: each line with its ends."""
    told = []
    for curve in drawn:
        known = [(f, v) for f, v in zip(curve.hz, curve.value, strict=True) if v is not None]
        ends = [known[0]] if len(known) == 1 else [known[0], known[-1]]
        places = [write_hz(f) if axis == " Hz" else f"{f:.3g}{axis}" for f, _ in ends]
        amounts = [f"{v:.3g} {unit} at {p}" for (_, v), p in zip(ends, places, strict=True)]
        told.append(f"{curve.name}: {', '.join(amounts)}")
    return "; ".join(told) + "."


# Tables

_ALWAYS = (2, 3)
"""Harmonics shown even where all outputs have bounds only."""

_TOLD = {output: told for _, told, output in _OUTPUTS}


def quality_tables(side: Mapping[str, Any]) -> tuple[Table, ...]:
    """Return hum lines and harmonics of one side as tables; none where none were measured."""
    found = (_hum_table(_rows(side, "hum_lines")), _harmonic_table(_rows(side, "harmonics")))
    return tuple(table for table in found if table is not None)


def _rows(side: Mapping[str, Any], name: str) -> list[Mapping[str, Any]]:
    """Return the rows of a list that can be shown, by order and output."""
    found = [
        row
        for row in listing(side, name)
        if isinstance(row, Mapping)
        and row.get("output") in _TOLD
        and number(row) is not None
        and number(row, "order") is not None
        and (number(row, "hz") or 0.0) > 0.0
    ]
    places = list(_TOLD)
    return sorted(found, key=lambda r: (r["order"], places.index(r["output"])))


def _hum_table(rows: Sequence[Mapping[str, Any]]) -> Table | None:
    if not rows:
        return None
    return Table(
        "Hum lines",
        "Mains lines that stand out of the noise with nothing playing, rms, open circuit, with "
        "95\u00a0% doubt. Limit: the least line that would have been seen there.",
        ("line", "output", "level", "limit"),
        tuple((_place(r), _TOLD[r["output"]], _level_of(r), _limit_of(r)) for r in rows),
    )


def _harmonic_table(rows: Sequence[Mapping[str, Any]]) -> Table | None:
    told = {r["order"] for r in rows if "bound" not in r} | set(_ALWAYS)
    kept = [r for r in rows if r["order"] in told]
    if not kept:
        return None
    hidden = sorted({int(r["order"]) for r in rows if r["order"] not in told})
    left = ""
    if hidden:
        left = (
            f" Harmonics {hidden[0]} to {hidden[-1]} that are not listed are within the limit on "
            "every output."
        )
    return Table(
        "Harmonics",
        "Of the tone, over its fundamental, with 95\u00a0% doubt; phase against so many times the "
        "phase of the fundamental. Limit: what noise and the bench's own distortion, in any phase, "
        "would have hidden." + left,
        ("harmonic", "output", "over the tone", "phase", "limit"),
        tuple(
            (_place(r), _TOLD[r["output"]], _level_of(r), _phase_of(r), _limit_of(r)) for r in kept
        ),
    )


def _place(row: Mapping[str, Any]) -> str:
    return f"{row['order']:g} · {write_hz(row['hz'])}"


def _level_of(row: Mapping[str, Any]) -> str:
    return write(row, positive=False).whole


def _limit_of(row: Mapping[str, Any]) -> str:
    limit = number(row, "limit")
    return "–" if limit is None else write({"value": limit, "unit": row.get("unit", "")}).whole


def _phase_of(row: Mapping[str, Any]) -> str:
    phase, doubt = number(row, "phase_deg"), number(row, "phase_u95_deg")
    if phase is None:
        return "–"
    return f"{fixed(phase, 0)}°" if doubt is None else f"{fixed(phase, 0)}° ± {fixed(doubt, 0)}°"
