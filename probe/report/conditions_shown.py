"""Conditions of a side and of the bench as names and texts."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from probe.report.shown import Named
from probe.report.text import MESSAGE_LIMIT, clean

_CONDITION_NAMES = {
    "interface": "Recorder",
    "mains_hz": "Mains, Hz",
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
        rounded = isinstance(value, float) and key == "repeatability_db"
        text = f"{value:.2g}" if rounded else _condition(value)
        if text:
            yield Named(name, text)


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
