"""Conditions of a side and of the bench as names and texts."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from probe.numbers import number, write_number
from probe.report.shown import Named
from probe.report.text import MESSAGE_LIMIT, clean

_CONDITION_NAMES = {
    "interface": "Recorder",
    "mains_hz": "Mains, Hz",
    "mains_v": "Mains, V",
    "recorded_on": "Recorded on",
    "calibrated_on": "Bench calibrated on",
    "repeatability_db": "Level repeats within, dB",
    "repeatability_from_residuals": "Repeatability taken from the takes",
    "draws": "Versions drawn",
    "volume": "Volume",
    "drive_volts": "Drive for each tone, V rms",
    "drive_dbfs": "Drive for each tone, dB FS",
    "state": "State",
}


def conditions_shown(found: Mapping[str, Any]) -> Iterable[Named]:
    """Yield every condition that says something; one nobody knows under its own key."""
    for key, value in found.items():
        name = _CONDITION_NAMES.get(key) or clean(key, 40).replace("_", " ").capitalize()
        if key == "inputs" and isinstance(value, list | tuple):
            yield from _inputs([one for one in value if isinstance(one, Mapping)])
            continue
        rounded = isinstance(value, float) and key == "repeatability_db"
        text = f"{value:.2g}" if rounded else _condition(value)
        if text:
            yield Named(name, text)


def _inputs(inputs: Sequence[Mapping[str, Any]]) -> Iterable[Named]:
    """Yield the recorder's inputs as the session declares them, those that are alike once."""
    told: dict[str, list[int]] = {}
    for k, one in enumerate(inputs, 1):
        told.setdefault(_input(one), []).append(k)
    if len(told) == 1 and len(inputs) > 1:
        text, _ = next(iter(told.items()))
        yield Named("Recorder inputs", f"{len(inputs)} alike: {text}")
        return
    for text, which in told.items():
        label = f"Recorder input{'s' if len(which) > 1 else ''} {', '.join(map(str, which))}"
        yield Named(label, text)


def _input(one: Mapping[str, Any]) -> str:
    volts, doubt = number(one, "volts_full_scale"), number(one, "u95_percent")
    ohm, farad = number(one, "impedance_ohm"), number(one, "capacitance_pf")
    parts = []
    if volts is not None:
        within = "" if doubt is None else f" (within {doubt:.2g} %)"
        parts.append(f"{write_number(volts, 'V')} peak at full scale{within}")
    if ohm is not None:
        beside = f" beside {write_number(farad * 1e-12, 'F')}" if farad else ""
        parts.append(f"{write_number(ohm, 'ohm')}{beside}")
    return ", ".join(parts) or _condition(one)


def _condition(value: Any) -> str:
    if isinstance(value, Mapping):
        inner = (f"{clean(k, 40).replace('_', ' ')} {_condition(v)}" for k, v in value.items())
        return clean(", ".join(inner), MESSAGE_LIMIT)
    if isinstance(value, list | tuple):
        return clean("; ".join(_condition(v) for v in value[:12]), MESSAGE_LIMIT)
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return f"{value:.6g}"
    return "" if value is None else clean(value, 200)
