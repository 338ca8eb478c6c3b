"""Crosstalk: what a side carries while only the other one plays, over its level when it plays.

Both are heard on the same output, so the recorder's scale cancels; nothing of the playing side is
connected to the recorder, so its own crosstalk has no part in it. What cannot be told from the
noise beside the tone is a bound.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from probe.measures.lines import Heard, heard
from probe.measures.model import Subject
from probe.measures.statement import Entry, decibel_entry
from probe.measures.sweep import clock_error
from probe.measures.volume import DB, Open, open_takes
from probe.phasors.measure import measure_take
from probe.session.model import Side, Take
from probe.stage.quantities import nearest

Array = NDArray[np.float64]

DRAWS = 400


def crosstalk(subjects: Mapping[Side, Subject]) -> dict[str, Any]:
    """Return facts and curves of crosstalk both ways, ``left_to_right`` and ``right_to_left``."""
    facts: dict[str, Entry] = {}
    curves: dict[str, Any] = {}
    ways: tuple[tuple[Side, Side], ...] = (("right", "left"), ("left", "right"))
    for side, other in ways:
        subject = subjects.get(side)
        if subject is None:
            continue
        opened = open_takes(subject)
        for take in subject.session.takes:
            if take.side != side or not take.crosstalk or not take.tones_hz:
                continue
            for output in ("differential", "single_ended"):
                name = f"{output}_crosstalk_{other}_to_{side}"
                if name in facts:
                    continue
                found = _one(take, opened, output, subject)
                if found is not None:
                    facts[name], curves[name] = found
    return {k: v for k, v in (("facts", facts), ("curves", curves)) if v}


def _one(
    take: Take, opened: list[Open], output: str, subject: Subject
) -> tuple[Entry, dict[str, Any]] | None:
    names = ("hot", "cold") if output == "differential" else ("single-ended",)
    own = next((o for o in opened if _comparable(o, take, output)), None)
    if own is None or not set(names) <= set(take.channels):
        return None
    hz = np.array([f for f in own.hz if np.min(np.abs(np.array(take.tones_hz) - f)) <= 1e-9 * f])
    if not len(hz):
        return None
    weak = _heard(take, hz, subject)
    if not np.isfinite(weak.sd).all():
        return None
    at = [take.channels.index(n) for n in names]
    volts = weak.volts[:, at] @ np.array([1.0, -1.0][: len(at)])
    sd = np.sqrt(np.sum(weak.sd[:, at] ** 2, axis=1))
    level, doubt = _as_recorded(own, names), own.level(output)[1]
    ours = np.array([int(np.argmin(np.abs(own.hz - f))) for f in hz])
    drive = _drive_ratio(take, own.phasors.take)
    entries = [
        _entry(volts[k], sd[k], abs(level[j]) * drive, doubt[j], subject, k)
        for k, j in enumerate(ours)
    ]
    files = [take.file, own.phasors.take.file]
    k = nearest(hz)
    curve = {
        "hz": hz.tolist(),
        "unit": "dB",
        "value": [e["value"] for e in entries],
        "u95": [e["u95"] for e in entries],
        "bound": [e.get("bound") for e in entries],
        "limit": [e["limit"] for e in entries],
    }
    return {**entries[k], "at_hz": float(hz[k]), "takes": files}, curve


def _as_recorded(own: Open, names: tuple[str, ...]) -> NDArray[np.complex128]:
    """Return what the recorder heard of an output, (F,): it loads both takes alike."""
    p = own.phasors
    at = [p.take.channels.index(n) for n in names]
    return np.asarray(p.volts[p.played][:, at] @ np.array([1.0, -1.0][: len(at)]))


def _heard(take: Take, hz: Array, subject: Subject) -> Heard:
    """Return what the take carries at ``hz`` where its tones stand still, if anything is heard."""
    found = measure_take(take, subject.session.bench.mains_hz)
    if found.unheard.all():
        return heard(take, hz, clock_error=clock_error(subject.phasors))
    return heard(take, hz, clock_error=found.clock_error, span_s=found.steady_s)


def _comparable(one: Open, take: Take, output: str) -> bool:
    own = one.phasors.take
    return own.volume == take.volume and bool(np.isfinite(one.level(output)[0]).all())


def _drive_ratio(take: Take, own: Take) -> float:
    if take.drive_volts is not None and own.drive_volts is not None:
        return take.drive_volts / own.drive_volts
    if take.drive_dbfs is not None and own.drive_dbfs is not None:
        return float(10.0 ** ((take.drive_dbfs - own.drive_dbfs) / 20.0))
    return 1.0


def _entry(
    volts: complex, sd: float, level: float, doubt: float, subject: Subject, seed: int
) -> Entry:
    """Return one figure: draws of the noise round what was heard, and of the level."""
    rng = np.random.default_rng([23, seed])
    white = (rng.standard_normal(DRAWS) + 1j * rng.standard_normal(DRAWS)) / np.sqrt(2.0)
    small = np.concatenate([[volts], volts + sd * white])
    repeat = subject.identified.repeatability.level
    size = level * np.exp(np.hypot(doubt, repeat) * rng.standard_normal(DRAWS + 1))
    size[0] = level
    limited = abs(volts) < 2.0 * sd
    entry = decibel_entry(small / size, small=small, limited=limited)
    return {**entry, "limit": float(DB * np.log(max(sd, 1e-300) / level))}
