"""From the curves of a facts document to the figures of one side."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from markupsafe import Markup

from probe.numbers import DBU_VOLTS, interval, number, write, write_hz, write_number
from probe.report.chart import Curve, chart
from probe.report.document import entry_of
from probe.report.phasor import Arrow, phasors

_OFF_THE_SCALE_DB = -400.0
"""Lower end of a band that reaches zero volts; the axis cuts it at its own end."""

_LEVELS = (
    ("hot", "hot leg", "hot_open_circuit", "hot_recorded"),
    ("cold", "cold leg", "cold_open_circuit", "cold_recorded"),
    ("single", "single-ended", "single_ended_open_circuit", ""),
)
_IMPEDANCES = (
    ("hot", "hot leg", "hot_impedance"),
    ("cold", "cold leg", "cold_impedance"),
    ("pair", "between the legs", "differential_impedance"),
    ("common", "both legs together", "common_mode_impedance"),
    ("single", "single-ended", "single_ended_impedance"),
)


@dataclass(frozen=True)
class Figure:
    """A drawing with the caption under it."""

    name: str
    drawing: Markup
    caption: str


@dataclass(frozen=True)
class CurveTable:
    """The curves as numbers: heads of the columns, and one row of texts for each tone."""

    heads: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


@dataclass(frozen=True)
class Samples:
    """One complex curve with the doubt of its magnitude; None where it is not known."""

    hz: tuple[float, ...]
    value: tuple[complex | None, ...]
    u95: tuple[float | None, ...]

    def nearest(self, hz: float) -> int | None:
        """Return the index of the known point nearest to ``hz`` on a logarithmic scale."""
        known = [i for i, v in enumerate(self.value) if v is not None]
        return min(known, key=lambda i: abs(math.log(self.hz[i] / hz)), default=None)


def samples(curves: Mapping[str, Any], name: str) -> Samples | None:
    """Return one curve of the document, or None where it is absent or knows no point."""
    entry = curves.get(name)
    hz = [finite(f) for f in curves.get("hz") or ()]
    if not isinstance(entry, Mapping) or not hz:
        return None
    real, imag, u95 = (list(entry.get(part) or ()) for part in ("real", "imag", "u95"))
    points = [
        (f, _complex(_at(real, i), _at(imag, i)), finite(_at(u95, i)))
        for i, f in enumerate(hz)
        if f is not None and f > 0.0
    ]
    if all(value is None for _, value, _ in points):
        return None
    return Samples(
        tuple(p[0] for p in points), tuple(p[1] for p in points), tuple(p[2] for p in points)
    )


def level_figure(key: str, side: str, curves: Mapping[str, Any]) -> Figure | None:
    """Return the levels of the legs and of the single-ended output against frequency."""
    drawn, recorded = [], False
    for style, name, open_circuit, as_recorded in _LEVELS:
        found = samples(curves, open_circuit)
        if found is None and as_recorded:
            found = samples(curves, as_recorded)
            recorded = recorded or found is not None
            name += ", as recorded"
        if found is not None:
            drawn.append(_level_curve(style, name, found))
    if not drawn:
        return None
    title = f"{side}: level against frequency"
    where = "as recorded where so named" if recorded else "open circuit"
    caption = (
        f"Levels against pin 1, {where}. 0 dBu is 0.775 V rms. Shaded: 95\u00a0% band; where none "
        "shows, it is narrower than the line."
    )
    drawing = chart(key, title, _spoken(drawn, "dBu"), drawn, unit="level, dBu", logarithmic=False)
    return Figure("Level against frequency", drawing, caption)


def impedance_figure(key: str, side: str, curves: Mapping[str, Any]) -> Figure | None:
    """Return the impedance magnitudes against frequency."""
    drawn = []
    for style, name, source in _IMPEDANCES:
        found = samples(curves, source)
        if found is not None and any(found.value):
            drawn.append(_magnitude_curve(style, name, found))
    if not drawn:
        return None
    drawing = chart(
        key,
        f"{side}: impedance against frequency",
        _spoken(drawn, "Ω"),
        drawn,
        unit="impedance, Ω",
        logarithmic=True,
    )
    caption = "Magnitudes of the output impedance. Shaded: 95\u00a0% band."
    return Figure("Impedance against frequency", drawing, caption)


def phasor_figure(
    key: str, side: str, curves: Mapping[str, Any], facts: Mapping[str, Any]
) -> Figure | None:
    """Return the legs as arrows at the tone nearest 1 kHz, from curves or else from facts."""
    arrows, hz, recorded = _arrows_of_curves(curves)
    if arrows:
        arrows = [_with_fact(arrow, hz, recorded, facts) for arrow in arrows]
    else:
        arrows, hz, recorded = _arrows_of_facts(facts)
    drawing = phasors(key, f"{side}: voltages of the legs as arrows", arrows)
    if drawing is None:
        return None
    where = "as recorded, with the recorder connected" if recorded else "open circuit"
    at = "" if hz is None else f" at {write_hz(hz)}"
    caption = (
        f"Voltages against pin 1{at}, {where}: length is level, direction is phase. The whole "
        "picture is turned so that the first leg with signal points to 0°. Arrows that would hide "
        "each other are drawn side by side."
    )
    return Figure("The legs as arrows", drawing, caption)


def capacitor(curves: Mapping[str, Any], name: str, *, suspect: bool = False) -> str:
    """Return the series capacitance an impedance shows at its lowest tone, as text, or nothing.

    ``C = 1 / (2 pi f |Im Z|)``. Told only where reactance is a good part of the impedance and
    falls away toward 1 kHz, as behind a coupling capacitor and nowhere else; a ``suspect`` one
    may have lost so much that it does not.
    """
    found = samples(curves, name)
    if found is None:
        return ""
    low, mid = found.nearest(1.0), found.nearest(1000.0)
    if low is None or mid is None or found.hz[mid] < 4.0 * found.hz[low]:
        return ""
    z_low, z_mid = found.value[low], found.value[mid]
    if z_low is None or z_mid is None or z_low.imag > -0.3 * abs(z_low):
        return ""
    if not suspect and (abs(z_mid.imag) > 0.6 * abs(z_mid) or abs(z_mid) > 5e3):
        return ""
    farad = -1.0 / (2.0 * math.pi * found.hz[low] * z_low.imag)
    doubt = found.u95[low]
    entry = {
        "value": farad,
        "unit": "F",
        "u95": None if doubt is None else farad * doubt / abs(z_low.imag),
    }
    return write(entry, positive=True).whole


def curve_table(curves: Mapping[str, Any]) -> CurveTable | None:
    """Return levels and impedances of every tone as text, each with its 95 % doubt."""
    columns: list[tuple[str, Samples, str]] = []
    for _, name, open_circuit, as_recorded in _LEVELS:
        found, told = samples(curves, open_circuit), name
        if found is None and as_recorded:
            found, told = samples(curves, as_recorded), f"{name}, as recorded"
        if found is not None:
            columns.append((f"level, {told}", found, "V"))
    for _, name, source in _IMPEDANCES:
        found = samples(curves, source)
        if found is not None:
            columns.append((f"impedance, {name}", found, "ohm"))
    if not columns:
        return None
    hz = columns[0][1].hz
    rows = tuple(
        (write_hz(f), *(_cell(found, index, unit) for _, found, unit in columns))
        for index, f in enumerate(hz)
    )
    return CurveTable(("tone", *(head for head, _, _ in columns)), rows)


def _cell(found: Samples, index: int, unit: str) -> str:
    value = found.value[index]
    if value is None:
        return "–"
    return write({"value": abs(value), "unit": unit, "u95": found.u95[index]}, positive=True).whole


def _level_curve(style: str, name: str, found: Samples) -> Curve:
    def decibels(volts: float | None) -> float | None:
        if volts is None:
            return None
        return 20.0 * math.log10(volts / DBU_VOLTS) if volts > 0.0 else _OFF_THE_SCALE_DB

    value, low, high = _magnitudes(found)
    return Curve(
        style,
        name,
        found.hz,
        [decibels(v) for v in value],
        [decibels(v) for v in low],
        [decibels(v) for v in high],
    )


def _magnitude_curve(style: str, name: str, found: Samples) -> Curve:
    value, low, high = _magnitudes(found)
    return Curve(style, name, found.hz, value, low, high)


def _magnitudes(
    found: Samples,
) -> tuple[list[float | None], list[float | None], list[float | None]]:
    value = [abs(v) if v else None for v in found.value]
    pairs = list(zip(value, (u or 0.0 for u in found.u95), strict=True))
    low = [None if v is None else max(v - u, 0.0) for v, u in pairs]
    high = [None if v is None else v + u for v, u in pairs]
    return value, low, high


def _spoken(drawn: Sequence[Curve], unit: str) -> str:
    """Return a chart in a sentence: each curve with its ends."""
    told = []
    for curve in drawn:
        known = [(f, v) for f, v in zip(curve.hz, curve.value, strict=True) if v is not None]
        if not known:
            continue
        (f0, v0), (f1, v1) = known[0], known[-1]
        told.append(f"{curve.name}: {_amount(v0, unit)} at {write_hz(f0)}")
        if len(known) > 1:
            told[-1] += f", {_amount(v1, unit)} at {write_hz(f1)}"
    return "; ".join(told) + "."


def _amount(value: float, unit: str) -> str:
    if unit == "Ω":
        return write_number(value, "ohm")
    return f"{value:.1f} {unit}".replace("-", "−")


def _arrows_of_curves(curves: Mapping[str, Any]) -> tuple[list[Arrow], float | None, bool]:
    arrows: list[Arrow] = []
    at: float | None = None
    recorded = False
    for style, name, open_circuit, as_recorded in _LEVELS:
        found = samples(curves, open_circuit)
        if found is None and as_recorded:
            found = samples(curves, as_recorded)
            recorded = recorded or found is not None
        if found is None:
            continue
        index = found.nearest(at or 1000.0)
        if index is None or (at is not None and found.hz[index] != at):
            continue
        volts = found.value[index]
        if volts is not None:
            at = found.hz[index]
            arrows.append(Arrow(style, name, volts, found.u95[index]))
    return arrows, at, recorded


def _with_fact(arrow: Arrow, hz: float | None, recorded: bool, facts: Mapping[str, Any]) -> Arrow:
    """Return the arrow with the length and doubt of the fact, so that both say the same."""
    terminal = "single_ended" if arrow.style == "single" else arrow.style
    names = (f"{terminal}_recorded", f"{terminal}_level")
    fact = next((entry for name in names if (entry := entry_of(facts, name))), None)
    if not recorded:
        fact = entry_of(facts, f"{terminal}_level")
    size, at = number(fact), number(fact, "at_hz")
    if fact is None or size is None or at != hz or abs(arrow.volts) == 0.0 or "bound" in fact:
        return arrow
    volts = arrow.volts * (size / abs(arrow.volts))
    return replace(arrow, volts=volts, u95=number(fact, "u95"), ends=interval(fact))


def _arrows_of_facts(facts: Mapping[str, Any]) -> tuple[list[Arrow], float | None, bool]:
    for hot_name, cold_name, recorded in (
        ("hot_level", "cold_level", False),
        ("hot_recorded", "cold_recorded", True),
    ):
        hot, cold, phase = facts.get(hot_name), facts.get(cold_name), facts.get("leg_phase")
        sizes = [
            finite(e.get("value")) if isinstance(e, Mapping) else None for e in (hot, cold, phase)
        ]
        if sizes[0] is None or sizes[1] is None:
            continue
        if sizes[2] is None and sizes[1] > 1e-4 * sizes[0]:
            continue  # without a phase an arrow would be invented
        turn = math.radians(sizes[2] or 0.0)
        volts = sizes[1] * complex(math.cos(turn), math.sin(turn))
        arrows = [
            Arrow("hot", "hot leg", complex(sizes[0]), finite((hot or {}).get("u95"))),
            Arrow("cold", "cold leg", volts, finite((cold or {}).get("u95"))),
        ]
        return arrows, finite((hot or {}).get("at_hz")), recorded
    return [], None, False


def _at(values: Sequence[Any], index: int) -> Any:
    return values[index] if index < len(values) else None


def finite(value: Any) -> float | None:
    """Return a finite number as it is, None for anything else."""
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        return None
    return float(value)


def _complex(real: Any, imag: Any) -> complex | None:
    r, i = finite(real), finite(imag)
    return None if r is None else complex(r, i or 0.0)
