"""The named figures: each from the facts document of one side, or nothing where it is not known."""

from __future__ import annotations

import cmath
import math
from collections.abc import Callable, Iterable, Mapping
from typing import Any

from probe.facts.named_curve import NamedCurve, named_curve
from probe.figures.plot import Arrow, Panel, Plot, Trace
from probe.numbers import number, ratio_db, write, write_hz

Side = Mapping[str, Any]

REFERENCE_HZ = 1000.0
"""Where a single number is taken from a curve, as everywhere in the facts."""

_HZ = "frequency, Hz"
_BAND = "Shaded: 95\u00a0% interval; where none shows it is narrower than the line."
_LIMIT = "Hatched: below what the recorder could have shown."


def figure_plots(
    facts: Mapping[str, Any], names: Iterable[str] | None = None
) -> tuple[tuple[Plot, ...], tuple[str, ...]]:
    """Return the figures a facts document supports, and which of those asked for it does not.

    Parameters
    ----------
    facts
        A facts document (``probe-facts/1``).
    names
        Names out of ``FIGURES``; None for all.

    Returns
    -------
    plots, missing
        One plot for each name and side that has it; missing: ``"name (side)"`` where it is absent.
    """
    plots, missing = [], []
    for name in FIGURES if names is None else names:
        for key, side in facts.get("sides", {}).items():
            plot = FIGURES[name][0](key, side)
            if plot is None:
                missing.append(f"{name} ({key})")
            else:
                plots.append(plot)
    return tuple(plots), tuple(missing)


# Lines from curves


def _magnitudes(side: Side, name: str, label: str, scale: float = 1.0) -> Trace | None:
    curve = named_curve(side, name)
    if curve is None or not any(curve.magnitude):
        return None
    y = tuple(scale * m for m in curve.magnitude)
    doubt = [None if u is None else scale * u for u in curve.u95]
    # A band that reaches zero ends at a hundredth of the value: a logarithmic axis has no zero.
    low = tuple(None if u is None else max(v - u, v / 100.0) for v, u in zip(y, doubt, strict=True))
    high = tuple(None if u is None else v + u for v, u in zip(y, doubt, strict=True))
    limit = tuple(None if one is None else scale * one for one in curve.limit)
    return Trace(label, curve.hz, y, low, high, limit)


def _decibels(side: Side, name: str, label: str) -> Trace | None:
    """Return a curve that is in decibels already, or the magnitude of a complex one in them."""
    curve = named_curve(side, name)
    if curve is None:
        return None
    if not curve.complex_valued:
        return _plain(curve, label)
    kept = [i for i, m in enumerate(curve.magnitude) if m > 0.0]
    if not kept:
        return None
    value = [curve.magnitude[i] for i in kept]
    doubt = [curve.u95[i] for i in kept]
    return Trace(
        label,
        tuple(curve.hz[i] for i in kept),
        tuple(map(ratio_db, value)),
        tuple(
            None if u is None else ratio_db(max(v - u, v / 100.0))
            for v, u in zip(value, doubt, strict=True)
        ),
        tuple(None if u is None else ratio_db(v + u) for v, u in zip(value, doubt, strict=True)),
    )


def _plain(curve: NamedCurve, label: str) -> Trace:
    value = tuple(v.real for v in curve.value)
    pairs = tuple(zip(value, curve.u95, strict=True))
    return Trace(
        label,
        curve.hz,
        value,
        tuple(None if u is None else v - u for v, u in pairs),
        tuple(None if u is None else v + u for v, u in pairs),
        curve.limit,
    )


def _phases(curve: NamedCurve | None, label: str) -> Trace | None:
    """Return the phase of a curve without jumps of a whole turn."""
    known = (
        []
        if curve is None
        else [(hz, p) for hz, p in zip(curve.hz, curve.phase_deg, strict=True) if p is not None]
    )
    if not known:
        return None
    turned = [known[0][1]]
    for _, degrees in known[1:]:
        turned.append(degrees - 360.0 * round((degrees - turned[-1]) / 360.0))
    return Trace(label, tuple(hz for hz, _ in known), tuple(turned))


def _found(traces: Iterable[Trace | None]) -> tuple[Trace, ...]:
    return tuple(t for t in traces if t is not None)


def _sentence(side: Side, *names: str) -> str:
    """Return the numbers that belong to a figure, each with its interval."""
    facts = side.get("facts", {})
    said = []
    for name in names:
        entry = facts.get(name)
        if not isinstance(entry, Mapping) or number(entry) is None:
            continue
        hz = number(entry, "at_hz")
        at = f" at {write_hz(hz)}" if hz else ""
        said.append(f"{name.replace('_', ' ')} {write(entry).whole}{at}")
    if not said:
        return ""
    text = "; ".join(said)
    return f"{text[:1].upper()}{text[1:]} (±: 95\u00a0% interval)."


def _conditions(side: Side) -> str:
    found = side.get("conditions", {})
    volume = found.get("volume") if isinstance(found, Mapping) else None
    return f"Volume: {volume}." if isinstance(volume, str) and volume else ""


def _caption(*parts: str) -> str:
    return " ".join(p for p in parts if p)


def _limited(traces: Iterable[Trace]) -> str:
    return _LIMIT if any(one is not None for t in traces for one in t.limit) else ""


# The figures


def leg_phasors(key: str, side: Side) -> Plot | None:
    """Voltages of the outputs as arrows at the tone nearest 1 kHz."""
    arrows = []
    hz = REFERENCE_HZ
    where = "open circuit"
    for label, name, recorded in (
        ("hot", "hot_open_circuit", "hot_recorded"),
        ("cold", "cold_open_circuit", "cold_recorded"),
        ("single-ended", "single_ended_open_circuit", ""),
    ):
        curve = named_curve(side, name)
        if curve is None and recorded:
            curve = named_curve(side, recorded)
            where = where if curve is None else "as recorded, bench attached, where not solved"
        if curve is None:
            continue
        k = min(range(len(curve.hz)), key=lambda i: abs(math.log(curve.hz[i] / REFERENCE_HZ)))
        hz = curve.hz[k]
        arrows.append((label, curve.value[k], curve.u95[k]))
    if not arrows or not any(abs(v) for _, v, _ in arrows):
        return None
    largest = max(abs(v) for _, v, _ in arrows)
    turn = next(cmath.phase(v) for _, v, _ in arrows if abs(v) > largest / 30.0)
    return Plot(
        "leg-phasors",
        key,
        "Voltages against pin 1",
        _caption(
            f"Voltages against pin 1 at {write_hz(hz)}, {where}, turned so that the first leg "
            "with signal points to 0°. Length: V rms.",
            _sentence(side, "leg_ratio", "leg_phase", "differential_level"),
            _conditions(side),
        ),
        arrows=tuple(
            Arrow(label, abs(v), math.degrees(cmath.phase(v * cmath.exp(-1j * turn))), u)
            for label, v, u in arrows
        ),
    )


def leg_impedance(key: str, side: Side) -> Plot | None:
    """Impedance of each leg and of the single-ended output against frequency."""
    traces = _found(
        _magnitudes(side, f"{name}_impedance", label)
        for name, label in (("hot", "hot"), ("cold", "cold"), ("single_ended", "single-ended"))
    )
    return _impedances(
        "leg-impedance", key, "Output impedance of each leg", traces, side,
        ("hot_impedance", "cold_impedance", "single_ended_impedance"),
    )  # fmt: skip


def differential_impedance(key: str, side: Side) -> Plot | None:
    """Impedance between the legs, and of both tied together, against frequency."""
    traces = _found(
        _magnitudes(side, f"{name}_impedance", label)
        for name, label in (
            ("differential", "between the legs"), ("common_mode", "both legs against pin 1"),
        )
    )  # fmt: skip
    return _impedances(
        "differential-impedance", key, "Output impedance of the pair", traces, side,
        ("differential_impedance", "common_mode_impedance"),
    )  # fmt: skip


def _impedances(
    name: str, key: str, title: str, traces: tuple[Trace, ...], side: Side, facts: tuple[str, ...]
) -> Plot | None:
    if not traces:
        return None
    return Plot(
        name,
        key,
        title,
        _caption(
            f"{title}, magnitude against frequency.", _sentence(side, *facts), _BAND,
            _limited(traces), _conditions(side),
        ),
        (Panel("lines", _HZ, "impedance, Ω", traces, y_log=True),),
    )  # fmt: skip


def response(key: str, side: Side) -> Plot | None:
    """Magnitude and phase of each output relative to 1 kHz."""
    outputs = (("differential", "balanced"), ("single_ended", "single-ended"))
    curves = [(named_curve(side, f"{n}_response"), label) for n, label in outputs]
    levels = _found(_decibels(side, f"{n}_response", label) for n, label in outputs)
    if not levels:
        return None
    phases = _found(_phases(curve, label) for curve, label in curves)
    panels = [Panel("lines", _HZ, "level re 1 kHz, dB", levels)]
    if phases:
        panels.append(Panel("lines", _HZ, "phase re 1 kHz, °", phases))
    return Plot(
        "response",
        key,
        "Response relative to 1 kHz",
        _caption(
            "Response of the outputs relative to 1 kHz, open circuit, the recorder's own load "
            "taken out.",
            _sentence(
                side,
                *(f"{n}_{end}_corner" for n, _ in outputs for end in ("low", "high")),
            ),
            _BAND, _conditions(side),
        ),
        tuple(panels),
    )  # fmt: skip


def rejection(key: str, side: Side) -> Plot | None:
    """Output common-mode rejection and signal balance against frequency."""
    traces = _found(
        _decibels(side, name, label)
        for name, label in (
            ("output_common_mode_rejection", "output common-mode rejection"),
            ("signal_balance", "signal balance"),
        )
    )
    if not traces:
        return None
    return Plot(
        "rejection",
        key,
        "Rejection and balance",
        _caption(
            "Output common-mode rejection (drive muted, 300 Ω + 300 Ω into the legs, 600 Ω "
            "across, solved on the measured stage) and signal balance (differential over "
            "common-mode level, open circuit).",
            _sentence(side, "output_common_mode_rejection", "signal_balance"),
            _BAND, _limited(traces), _conditions(side),
        ),
        (Panel("lines", _HZ, "dB", traces),),
    )  # fmt: skip


def noise_spectrum(key: str, side: Side) -> Plot | None:
    """Spectral density of the noise of each output."""
    traces = _found(
        _magnitudes(side, f"{name}_noise_density", label, 1e9)
        for name, label in (
            ("differential", "balanced"), ("hot", "hot"), ("cold", "cold"),
            ("single_ended", "single-ended"),
        )
    )  # fmt: skip
    if not traces:
        return None
    return Plot(
        "noise-spectrum",
        key,
        "Noise density",
        _caption(
            "Spectral density of the noise, device idle, the recorder's own noise subtracted in "
            "power.",
            _sentence(
                side, "differential_noise", "differential_noise_a", "single_ended_noise",
                "single_ended_noise_a", "differential_hum", "single_ended_hum",
            ),
            _BAND, _limited(traces), _conditions(side),
        ),
        (Panel("lines", _HZ, "noise, nV/√Hz", traces, y_log=True),),
    )  # fmt: skip


def harmonics(key: str, side: Side) -> Plot | None:
    """Level of each harmonic of each output relative to its fundamental."""
    rows = [r for r in side.get("harmonics") or () if isinstance(r, Mapping)]
    outputs: dict[str, list[tuple[float, float]]] = {}
    unit = ""
    for row in rows:
        hz, value = number(row, "hz"), number(row)
        if hz is None or value is None:
            continue
        unit = str(row.get("unit", "")) or unit
        outputs.setdefault(str(row.get("output", "output")), []).append((hz, value))
    traces = tuple(
        Trace(name.replace("_", " "), *(tuple(c) for c in zip(*sorted(points), strict=True)))
        for name, points in outputs.items()
    )
    if not traces:
        return None
    unit = {"percent": "%"}.get(unit, unit)
    return Plot(
        "harmonics",
        key,
        "Harmonics",
        _caption(
            "Level of the harmonics of the test tone.",
            _sentence(
                side, "differential_thd", "differential_thd_n", "single_ended_thd",
                "single_ended_thd_n",
            ),
            _conditions(side),
        ),
        (Panel("bars", _HZ, f"harmonic, {unit}", traces, x_log=False, y_log=unit != "dB"),),
    )  # fmt: skip


def distortion_against_level(key: str, side: Side) -> Plot | None:
    """Total harmonic distortion against output level."""
    traces = _found(
        _against(side, "level_v", f"{name}_thd", label)
        for name, label in (("differential", "balanced"), ("single_ended", "single-ended"))
    )
    if not traces:
        return None
    return Plot(
        "distortion-against-level",
        key,
        "Distortion against level",
        _caption(
            "Total harmonic distortion against the level of each output.",
            _sentence(side, "differential_maximum", "single_ended_maximum"),
            _BAND, _conditions(side),
        ),
        (Panel("lines", "level, V rms", "THD, %", traces, y_log=True),),
    )  # fmt: skip


def gain_difference_against_volume(key: str, side: Side) -> Plot | None:
    """Gain difference, balanced over single-ended, at each volume setting taken."""
    rows = []
    for row in side.get("facts_at") or ():
        condition = row.get("condition") if isinstance(row, Mapping) else None
        entry = (row.get("facts") or {}).get("gain_difference") if condition else None
        if entry and isinstance(condition, Mapping) and "volume" in condition:
            rows.append((str(condition["volume"]), entry))
    values = [(v, number(e), number(e, "u95")) for v, e in rows]
    known = [(v, value, u) for v, value, u in values if value is not None]
    if len(known) < 2:
        return None
    places = tuple(float(i) for i in range(len(known)))
    trace = Trace(
        "balanced over single-ended",
        places,
        tuple(value for _, value, _ in known),
        tuple(None if u is None else value - u for _, value, u in known),
        tuple(None if u is None else value + u for _, value, u in known),
    )
    order = ", ".join(f"{i} = {v}" for i, (v, _, _) in enumerate(known))
    return Plot(
        "gain-difference-against-volume",
        key,
        "Gain difference against volume",
        _caption(f"Level of the balanced over the single-ended output. Settings: {order}.", _BAND),
        (Panel("lines", "volume setting", "gain difference, dB", (trace,), x_log=False),),
    )


def _against(side: Side, condition: str, fact: str, label: str) -> Trace | None:
    points = []
    for row in side.get("facts_at") or ():
        if not isinstance(row, Mapping) or not isinstance(row.get("condition"), Mapping):
            continue
        x = number(row["condition"], condition)
        entry = (row.get("facts") or {}).get(fact)
        value = number(entry) if isinstance(entry, Mapping) else None
        if x and value:
            points.append((x, value, number(entry, "u95")))
    if len(points) < 2:
        return None
    points.sort(key=lambda p: p[0])
    return Trace(
        label,
        tuple(p[0] for p in points),
        tuple(p[1] for p in points),
        tuple(None if u is None else max(v - u, v / 100.0) for _, v, u in points),
        tuple(None if u is None else v + u for _, v, u in points),
    )


Maker = Callable[[str, Side], Plot | None]

FIGURES: dict[str, tuple[Maker, str]] = {
    "leg-phasors": (leg_phasors, "voltages of the outputs as arrows"),
    "leg-impedance": (leg_impedance, "impedance of each leg"),
    "differential-impedance": (differential_impedance, "impedance between the legs"),
    "response": (response, "magnitude and phase relative to 1 kHz"),
    "rejection": (rejection, "output common-mode rejection and signal balance"),
    "noise-spectrum": (noise_spectrum, "spectral density of the noise"),
    "harmonics": (harmonics, "level of each harmonic"),
    "distortion-against-level": (distortion_against_level, "THD against level"),
    "gain-difference-against-volume": (
        gain_difference_against_volume,
        "balanced over single-ended at each volume setting",
    ),
}
"""Name of each figure: what makes it, and what it shows."""
