"""The conditions a fact hangs on, and where two facts were taken under different ones."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from probe.numbers import number, ratio_db

SAME_HZ = 0.05
"""Tones this close (as a share) are one tone: no usual output stage changes within it."""

SAME_LEVEL_DB = 0.5
"""Distortion changes slowly with level: within half a decibel it is the same measurement."""

SAME_DRIVE_DB = 0.01
"""Drives this close are one drive; no player sets a level finer."""

OF_THE_BENCH = ("drift", "hot_recorded", "cold_recorded")
"""Facts about how it was measured (levels between takes, levels with the bench attached), not about
the device: no device moved because these did."""

VOLTS_THAT_STAND_ALONE = ("direct_voltage",)


def of_the_device(name: str) -> bool:
    """Return False for a fact that tells of the bench and not of the device."""
    return name not in OF_THE_BENCH


@dataclass(frozen=True)
class Hangs:
    """Which conditions decide a fact."""

    volume: bool
    drive: bool
    bench: bool


def hangs(name: str, unit: str = "") -> Hangs:
    """Return what a fact hangs on: the volume setting, the drive, the bench's own noise.

    Impedances, couplings and leg ratios are the stage's own; levels hang on drive and volume;
    noise, distortion and gain on the volume, noise also on the recorder.
    """
    if any(part in name for part in VOLTS_THAT_STAND_ALONE):
        return Hangs(volume=False, drive=False, bench=False)
    if "noise" in name or "_hum" in name:
        return Hangs(volume=True, drive=False, bench=True)
    if "thd" in name or "maximum" in name or "channel_balance" in name or "crosstalk" in name:
        return Hangs(volume=True, drive=False, bench="thd" in name)
    if name in ("gain_difference", "differential_gain", "single_ended_gain"):
        return Hangs(volume=True, drive=False, bench=False)
    level = unit == "V" or name.endswith(("_level", "_recorded"))
    return Hangs(volume=level, drive=level, bench=False)


@dataclass(frozen=True)
class Circumstances:
    """What a fact was measured under; None where the document does not say."""

    volume: str
    drive: tuple[str, float] | None
    bench: str
    at_hz: float | None
    at_volts: float | None
    other: tuple[tuple[str, str], ...]


def circumstances(
    facts: Mapping[str, Any], side: Mapping[str, Any], entry: Mapping[str, Any]
) -> Circumstances:
    """Return what an entry of a side was measured under."""
    conditions = side.get("conditions") or {}
    named = {k: entry[k] for k in ("receiver", "load_ohm") if entry.get(k) is not None}
    return Circumstances(
        volume=_folded(conditions.get("volume")),
        drive=drive_of(conditions),
        bench=bench_of(facts),
        at_hz=number(entry, "at_hz"),
        at_volts=number(entry, "at_volts"),
        other=tuple(sorted((k, _folded(v)) for k, v in named.items())),
    )


def drive_of(conditions: Mapping[str, Any]) -> tuple[str, float] | None:
    """Return the drive in decibels and against what: ``("V", ...)`` or ``("FS", ...)``."""
    volts, full_scale = conditions.get("drive_volts"), conditions.get("drive_dbfs")
    if isinstance(volts, int | float) and volts > 0.0:
        return "V", 20.0 * math.log10(volts)
    return ("FS", float(full_scale)) if isinstance(full_scale, int | float) else None


def bench_of(facts: Mapping[str, Any]) -> str:
    """Return what tells one bench from another: its recorder and the figures declared for it."""
    bench = (facts.get("made") or {}).get("bench") or {}
    scale = [
        f"{i.get('volts_full_scale')} V, {i.get('impedance_ohm')} ohm"
        for i in bench.get("inputs") or ()
        if isinstance(i, Mapping)
    ]
    return _folded("; ".join([str(bench.get("interface") or ""), *scale]))


def apart(name: str, unit: str, a: Circumstances, b: Circumstances) -> tuple[str, ...]:
    """Return the conditions that differ and that the fact hangs on: then there is no difference.

    Words: ``volume``, ``drive``, ``bench``, ``frequency``, ``level``, ``conditions``.
    A condition that one of the two does not state counts as different where the other states it.
    """
    on = hangs(name, unit)
    found = []
    if on.volume and a.volume != b.volume:
        found.append("volume")
    if on.drive and not _same_drive(a.drive, b.drive):
        found.append("drive")
    if on.bench and a.bench != b.bench:
        found.append("bench")
    if a.at_hz and b.at_hz and abs(math.log(a.at_hz / b.at_hz)) > SAME_HZ:
        found.append("frequency")
    if a.at_volts and b.at_volts and abs(ratio_db(a.at_volts / b.at_volts)) > SAME_LEVEL_DB:
        found.append("level")
    if a.other != b.other:
        found.append("conditions")
    return tuple(found)


def _same_drive(a: tuple[str, float] | None, b: tuple[str, float] | None) -> bool:
    if a is None or b is None:
        return a is b
    return a[0] == b[0] and abs(a[1] - b[1]) <= SAME_DRIVE_DB


def _folded(value: object) -> str:
    return " ".join(str("" if value is None else value).casefold().split())
