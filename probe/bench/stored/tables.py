"""Device and bench as tables of session.toml, and back; which take a table is."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from probe.bench.planned.able import ORDER
from probe.bench.planned.steps import tidy
from probe.session.model import Bench, Device


def device_table(device: Device) -> dict[str, Any]:
    """Return ``[device]``; what is not known is left out."""
    said: dict[str, Any] = {
        "maker": device.maker,
        "model": device.model,
        "serial": device.serial or None,
        "kind": device.kind or None,
        "output": device.output,
        "connectors": list(device.connectors),
        "firmware": device.firmware or None,
        "stated_polarity": device.stated_polarity,
        "minimum_load_ohm": device.minimum_load_ohm,
        "volume_control": device.volume_control,
    }
    if device.full_output_volts is not None:
        said["full_output"] = {"volts": device.full_output_volts}
    return {key: value for key, value in said.items() if value is not None}


def device_of(table: Mapping[str, Any]) -> Device:
    """Return the device of a session's table."""
    full = table.get("full_output", {}).get("volts")
    said = {k: v for k, v in table.items() if k != "full_output"}
    if "connectors" in said:
        said["connectors"] = tuple(said["connectors"])
    return Device(**said, full_output_volts=full)


def bench_table(bench: Bench) -> dict[str, Any]:
    """Return ``[bench]`` with its inputs and outputs."""
    said: dict[str, Any] = {
        "interface": bench.interface,
        "mains_hz": bench.mains_hz,
        "mains_v": bench.mains_volts,
        "recorded_on": bench.recorded_on,
        "calibrated_on": bench.calibrated_on,
        "repeatability_db": bench.repeatability_db,
        "common_u95_percent": _common_percent(bench),
        "input": [
            {
                "volts_full_scale": i.volts_full_scale,
                "u95_percent": tidy(100.0 * i.u95_relative),
                "impedance_ohm": i.impedance_ohm,
                "impedance_u95_percent": tidy(100.0 * i.impedance_u95_relative),
                "capacitance_pf": tidy(1e12 * i.capacitance_farad),
                "capacitance_u95_pf": tidy(1e12 * i.capacitance_u95_farad),
            }
            for i in bench.inputs
        ],
        "output": [
            {"volts_full_scale": o.volts_full_scale, "impedance_ohm": o.impedance_ohm}
            for o in bench.outputs
        ],
    }
    return {key: value for key, value in said.items() if value is not None}


def _common_percent(bench: Bench) -> float | None:
    """Return the doubt all inputs share, percent; None where nothing is known of it."""
    common = max((i.common_u95_relative for i in bench.inputs), default=0.0)
    return tidy(100.0 * common) if common > 0.0 else None


def word_of(take: Mapping[str, Any]) -> str | None:
    """Return the word of a take by its name, None where this run did not make it."""
    name = str(take.get("name", ""))
    found = [word for word in ORDER if name.endswith(f" {word.replace('-', ' ')}")]
    return max(found, key=len, default=None)
