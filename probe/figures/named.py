"""The named figures: each from the facts document of one side, or nothing where it is not known."""

from __future__ import annotations

import cmath
import math
from collections.abc import Callable, Iterable, Mapping
from typing import Any

from probe.facts.named_curve import named_curve
from probe.figures.captions import BAND, Side, caption, conditions, drive, marks, sentence
from probe.figures.plot import Arrow, Panel, Plot, Trace
from probe.figures.traces import decibels, found, magnitudes, phases
from probe.numbers import interval, number, write_hz

REFERENCE_HZ = 1000.0
"""Where a single number is taken from a curve, as everywhere in the facts."""

_HZ = "frequency, Hz"
_OUTPUTS = {
    "differential": "balanced",
    "hot": "hot",
    "cold": "cold",
    "single_ended": "single-ended",
}
"""Each output as facts name it, and in a legend."""


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
        if curve.bound[k] is not None:
            continue  # a bound has no direction
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
        caption(
            f"Voltages against pin 1 at {write_hz(hz)}, {where}, turned so that the first leg "
            "with signal points to 0°. Length: V rms.",
            sentence(side, "leg_ratio", "leg_phase", "differential_level"),
            drive(side),
            conditions(side),
        ),
        arrows=tuple(
            Arrow(label, abs(v), math.degrees(cmath.phase(v * cmath.exp(-1j * turn))), u)
            for label, v, u in arrows
        ),
    )


def leg_impedance(key: str, side: Side) -> Plot | None:
    """Impedance of each leg and of the single-ended output against frequency."""
    traces = found(
        magnitudes(side, f"{name}_impedance", label)
        for name, label in (("hot", "hot"), ("cold", "cold"), ("single_ended", "single-ended"))
    )
    return _impedances(
        "leg-impedance", key, "Output impedance of each leg", traces, side,
        ("hot_impedance", "cold_impedance", "single_ended_impedance"),
    )  # fmt: skip


def differential_impedance(key: str, side: Side) -> Plot | None:
    """Impedance between the legs, and of both tied together, against frequency."""
    traces = found(
        magnitudes(side, f"{name}_impedance", label)
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
        caption(
            f"{title}, magnitude against frequency.", sentence(side, *facts), BAND,
            marks(traces), conditions(side),
        ),
        (Panel("lines", _HZ, "impedance, Ω", traces, y_log=True),),
    )  # fmt: skip


def response(key: str, side: Side) -> Plot | None:
    """Magnitude and phase of each output relative to 1 kHz."""
    outputs = (("differential", "balanced"), ("single_ended", "single-ended"))
    curves = [(named_curve(side, f"{n}_response"), label) for n, label in outputs]
    levels = found(decibels(side, f"{n}_response", label) for n, label in outputs)
    if not levels:
        return None
    turned = found(phases(curve, label) for curve, label in curves)
    panels = [Panel("lines", _HZ, "level re 1 kHz, dB", levels)]
    if turned:
        panels.append(Panel("lines", _HZ, "phase re 1 kHz, °", turned))
    return Plot(
        "response",
        key,
        "Response relative to 1 kHz",
        caption(
            "Response of the outputs relative to 1 kHz, "
            + (
                "as the recorder's input heard them."
                if any(_heard(side, f"{n}_response") for n, _ in outputs)
                else "open circuit, the recorder's own load taken out."
            ),
            sentence(
                side,
                *(f"{n}_{end}_corner" for n, _ in outputs for end in ("low", "high")),
            ),
            BAND, conditions(side),
        ),
        tuple(panels),
    )  # fmt: skip


def _heard(side: Side, name: str) -> bool:
    """Tell whether a curve is as the recorder heard it, loaded by its input."""
    entry = (side.get("curves") or {}).get(name)
    return isinstance(entry, Mapping) and bool(entry.get("limited_by_bench"))


def rejection(key: str, side: Side) -> Plot | None:
    """Output common-mode rejection and signal balance against frequency."""
    traces = found(
        decibels(side, name, label)
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
        caption(
            "Output common-mode rejection (drive muted, 300 Ω + 300 Ω into the legs, 600 Ω "
            "across, solved on the measured stage) and signal balance (differential over "
            "common-mode level, open circuit).",
            sentence(side, "output_common_mode_rejection", "signal_balance"),
            BAND, marks(traces), conditions(side),
        ),
        (Panel("lines", _HZ, "dB", traces),),
    )  # fmt: skip


def noise_spectrum(key: str, side: Side) -> Plot | None:
    """Spectral density of the noise of each output."""
    traces = found(
        magnitudes(side, f"{name}_noise_density", label, 1e9) for name, label in _OUTPUTS.items()
    )
    if not traces:
        return None
    return Plot(
        "noise-spectrum",
        key,
        "Noise density",
        caption(
            "Spectral density of the noise, device idle, the recorder's own noise subtracted in "
            "power.",
            sentence(
                side,
                *(
                    f"{output}_{what}"
                    for output in ("differential", "single_ended")
                    for what in ("noise", "noise_a", "hum")
                ),
            ),
            BAND, marks(traces), conditions(side),
        ),
        (Panel("lines", _HZ, "noise, nV/√Hz", traces, y_log=True),),
    )  # fmt: skip


def harmonics(key: str, side: Side) -> Plot | None:
    """Level of each harmonic of each output relative to the output; bounds as triangles."""
    rows: dict[str, list[tuple[float, Mapping[str, Any]]]] = {}
    unit, first = "", None
    for row in side.get("harmonics") or ():
        order = number(row, "order") if isinstance(row, Mapping) else None
        if order is None or number(row) is None:
            continue
        hz = number(row, "hz")
        unit = str(row.get("unit") or "") or unit
        first = hz / order if hz else first
        rows.setdefault(str(row.get("output") or "output"), []).append((order, row))
    traces = tuple(_orders(_OUTPUTS.get(name, name), points) for name, points in rows.items())
    if not traces:
        return None
    of = f" of {write_hz(first)}" if first else ""
    panel = Panel(
        "bars", f"harmonic{of}", f"level, {unit}", traces, x_log=False, y_log=unit != "dB"
    )
    return Plot(
        "harmonics",
        key,
        "Harmonics",
        caption(
            f"Level of each harmonic of a tone{of}, relative to the output.",
            sentence(
                side, *(f"{output}_{what}" for output in _OUTPUTS for what in ("thd", "thd_n"))
            ),
            "Lines on the bars: 95\u00a0% interval.",
            marks(traces), conditions(side),
        ),
        (panel,),
    )  # fmt: skip


def _orders(label: str, points: list[tuple[float, Mapping[str, Any]]]) -> Trace:
    points.sort(key=lambda p: p[0])
    ends = [None if row.get("bound") else interval(row) for _, row in points]
    return Trace(
        label,
        tuple(order for order, _ in points),
        tuple(number(row) or 0.0 for _, row in points),
        tuple(None if e is None else e[0] for e in ends),
        tuple(None if e is None else e[1] for e in ends),
        bound=tuple(row.get("bound") for _, row in points),
    )


def distortion_against_level(key: str, side: Side) -> Plot | None:
    """Total harmonic distortion of each output against its own level."""
    traces = found(
        magnitudes(side, f"{output}_thd_against_level", label) for output, label in _OUTPUTS.items()
    )
    if not traces:
        return None
    return Plot(
        "distortion-against-level",
        key,
        "Distortion against level",
        caption(
            "Total harmonic distortion of each output against its own level.",
            sentence(
                side, *(f"{output}_{what}" for output in _OUTPUTS for what in ("maximum", "thd"))
            ),
            BAND, marks(traces), conditions(side),
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
        caption(f"Level of the balanced over the single-ended output. Settings: {order}.", BAND),
        (Panel("lines", "volume setting", "gain difference, dB", (trace,), x_log=False),),
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
