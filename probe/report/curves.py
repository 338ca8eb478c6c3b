"""From the curves of a facts document to the figures of one side."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
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
    """One complex curve with the doubt of its magnitude; None where it is not known.

    ``ends``: of the interval of the magnitude. ``bound``: ``above`` or ``below`` with the bound of
    the magnitude where nothing else is known.
    """

    hz: tuple[float, ...]
    value: tuple[complex | None, ...]
    u95: tuple[float | None, ...]
    ends: tuple[tuple[float, float] | None, ...]
    bound: tuple[tuple[str, float] | None, ...]

    def nearest(self, hz: float) -> int | None:
        """Return the index of the point nearest to ``hz`` of which anything is known."""
        pairs = zip(self.value, self.bound, strict=True)
        known = [i for i, (v, b) in enumerate(pairs) if v is not None or b is not None]
        return min(known, key=lambda i: abs(math.log(self.hz[i] / hz)), default=None)


def samples(curves: Mapping[str, Any], name: str) -> Samples | None:
    """Return one curve of the document, or None where it is absent or knows no point."""
    entry = curves.get(name)
    hz = [finite(f) for f in curves.get("hz") or ()]
    if not isinstance(entry, Mapping) or not hz:
        return None
    kept = [i for i, f in enumerate(hz) if f is not None and f > 0.0]
    column = {n: list(entry.get(n) or ()) for n in _COLUMNS}
    points = [_point({n: _at(c, i) for n, c in column.items()}) for i in kept]
    if all(p.value is None and p.bound is None for p in points):
        return None
    return Samples(
        tuple(hz[i] or 0.0 for i in kept),
        tuple(p.value for p in points),
        tuple(p.u95 for p in points),
        tuple(p.ends for p in points),
        tuple(p.bound for p in points),
    )


_COLUMNS = ("real", "imag", "u95", "low", "high", "value", "bound")


@dataclass(frozen=True)
class _Point:
    value: complex | None
    u95: float | None = None
    ends: tuple[float, float] | None = None
    bound: tuple[str, float] | None = None


def _point(row: Mapping[str, Any]) -> _Point:
    value, limit = _complex(row["real"], row["imag"]), finite(row["value"])
    if value is None:
        side = row["bound"] if row["bound"] in ("above", "below") and limit is not None else None
        return _Point(None, bound=None if side is None else (side, limit or 0.0))
    ends = {"value": abs(value), **{n: finite(row[n]) for n in ("u95", "low", "high")}}
    return _Point(value, finite(row["u95"]), interval(ends))


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
            drawn += _with_bounds(found, _level_curve(style, name, found), _dbu)
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
        if found is not None and (any(found.value) or any(found.bound)):
            drawn += _with_bounds(found, _magnitude_curve(style, name, found), lambda ohm: ohm)
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
    value, bound = found.value[index], found.bound[index]
    if bound is not None:
        return write({"value": bound[1], "unit": unit, "bound": bound[0]}, positive=True).whole
    if value is None:
        return "–"
    entry: dict[str, object] = {"value": abs(value), "unit": unit, "u95": found.u95[index]}
    if (ends := found.ends[index]) is not None:
        entry["low"], entry["high"] = ends
    return write(entry, positive=True).whole


def _dbu(volts: float) -> float:
    return 20.0 * math.log10(volts / DBU_VOLTS) if volts > 0.0 else _OFF_THE_SCALE_DB


def _level_curve(style: str, name: str, found: Samples) -> Curve:
    parts = [[None if v is None else _dbu(v) for v in part] for part in _magnitudes(found)]
    return Curve(style, name, found.hz, *parts)


def _with_bounds(found: Samples, known: Curve, scale: Callable[[float], float]) -> list[Curve]:
    """Return the known part of a curve, and where it is only a bound another line."""
    drawn = [known] if any(v is not None for v in known.value) else []
    for side, told in (("above", "at least"), ("below", "at most")):
        at = [scale(b[1]) if b is not None and b[0] == side else None for b in found.bound]
        if any(v is not None for v in at):
            style = f"{known.style} {side}"
            drawn.append(Curve(style, f"{known.name}, {told}", found.hz, at, at, at))
    return drawn


def _magnitude_curve(style: str, name: str, found: Samples) -> Curve:
    value, low, high = _magnitudes(found)
    return Curve(style, name, found.hz, value, low, high)


def _magnitudes(
    found: Samples,
) -> tuple[list[float | None], list[float | None], list[float | None]]:
    value = [abs(v) if v else None for v in found.value]
    pairs = list(zip(value, found.ends, strict=True))
    low = [v if v is None or e is None else max(e[0], 0.0) for v, e in pairs]
    high = [v if v is None or e is None else e[1] for v, e in pairs]
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
        volts, bound = found.value[index], found.bound[index]
        at = found.hz[index]
        if volts is not None:
            arrows.append(Arrow(style, name, volts, found.u95[index], found.ends[index]))
        elif bound is not None and bound[0] == "below":
            arrows.append(Arrow(style, name, 0j, None, most=bound[1]))
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
