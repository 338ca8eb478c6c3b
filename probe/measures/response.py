"""Response of the outputs against 1 kHz, their corners, and what a load takes off the bass.

From a sweep where there is one (``sweep``), else from the tones of the solved stage. Open circuit:
what the recorder took is given back through the solved impedances; where they are not known the
response is as recorded and says so. Levels relative to 1 kHz need no scale of the recorder, but
its own response is in them: where no drive was recorded beside the outputs a note says so.

Between tones the inverse square of the magnitude is followed, straight over ``f²`` at the top and
over ``1/f²`` at the bottom: exact for one pole, ``|H|⁻² = 1 + (f_c/f)²``. What a straight line
in dB over log f would give instead counts as doubt.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from probe.measures import sweep
from probe.measures.model import Curve, Part, Row, Subject
from probe.measures.open_pin import untold
from probe.measures.rejection import decibel_curve
from probe.measures.statement import (
    Entry,
    decibel_entry,
    gain_entry,
    interval,
    reaching,
    told_from_nothing,
)
from probe.stage.identify import Identified
from probe.stage.quantities import (
    nearest,
    open_take,
    recorded,
    single_ended_heard,
    single_ended_take,
)
from probe.stage.source import Source

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]

OUTPUTS = ("differential", "single_ended")

CORNER_DB = -3.0102999566
"""Half power."""

LOADS_OHM = (10.0e3, 47.0e3)
"""Each leg, or the single-ended output, to ground: the lightest and the usual input."""

BASS_HZ = 25.0
"""A tone below this stands for 20 Hz when the loss of the bass is told."""

FLATNESS_DB = 0.002
"""Least doubt (95 %) of a level against another tone: no recorder's response is known better, and
none is declared."""

RECORDER_NOTE = "the recorder's own response is in it"


@dataclass(frozen=True)
class Response:
    """One output over frequency.

    Attributes
    ----------
    hz
        Shape (F,), ascending.
    ratio
        Shape (1 + D, F): volts over volts at the tone nearest 1 kHz, the value first; only
        the magnitude where ``phase_known`` is false.
    reference_hz
        That tone.
    files
        What it rests on.
    """

    hz: Array
    ratio: Complex
    reference_hz: float
    phase_known: bool
    limited: bool
    files: tuple[str, ...]
    note: str = ""


def response(subject: Subject) -> Part:
    """Return the responses of a side with all that follows from them."""
    source = subject.source
    facts: dict[str, Entry] = {}
    curves: dict[str, Curve] = {}
    rows: list[Row] = []
    for output in OUTPUTS:
        found = sweep.response(subject, source, output)
        by_tones = _by_tones(subject, source, output)
        one = by_tones if found is None else _of_sweep(found)
        if one is None:
            continue
        curves[f"{output}_response"] = _curve(one)
        for end, entry in corners(one).items():
            facts[f"{output}_{end}_corner"] = {**entry, "takes": list(one.files)}
        if source is not None and not subject.identified.contradicted:
            rows += _loaded(source, output, by_tones)
    gain = gain_difference_curve(subject.identified, source)
    if gain is not None:
        curves["gain_difference"] = gain
    return Part(facts=facts, curves=curves, facts_at=tuple(rows))


def _of_sweep(found: sweep.Swept) -> Response:
    return Response(
        found.hz, found.ratio, found.reference_hz, True, found.limited, found.files, found.note
    )


# From tones


def _by_tones(subject: Subject, source: Source | None, output: str) -> Response | None:
    identified = subject.identified
    if identified.group is None or identified.contradicted:
        return None
    hz = identified.group.hz
    volts = None if source is None else _open_circuit(source, output)
    limited = False
    legs = identified.legs
    if output == "differential" and legs is not None and untold(legs, nearest(hz)):
        volts = None  # what an open pin carries without the recorder is not known
    if volts is None or not np.isfinite(volts[0]).sum() > 1:
        volts, limited = _as_recorded(subject, output), True
    if output == "single_ended" and source is not None:
        limited = limited or not np.isfinite(source.z[:, 2, 2]).any()
    if volts is None:
        return None
    good = np.isfinite(volts[0]) & (np.abs(volts[0]) > 0.0)
    if good.sum() < 2 or not told_from_nothing(volts[:, good][:, nearest(hz[good])]):
        return None  # of noise there is no response
    hz, volts = hz[good], volts[:, good]
    k = nearest(hz)
    files = tuple(dict.fromkeys(o.phasors.take.file for o in identified.group.takes))
    ratio = volts / volts[:, k : k + 1]
    known = identified.phase_known
    note = "" if known else RECORDER_NOTE
    return Response(hz, ratio, float(hz[k]), known, limited, files, note)


def _open_circuit(source: Source, output: str) -> Complex | None:
    index = 0 if output == "differential" else 2
    return np.concatenate([source.voc[None], source.voc_draws])[..., index]


def _as_recorded(subject: Subject, output: str) -> Complex | None:
    identified = subject.identified
    assert identified.group is not None
    t = open_take(identified) if output == "differential" else single_ended_take(identified)
    if t is None:
        return None
    count = len(identified.group.hz)
    every = np.stack([recorded(identified, t, k) for k in range(count)], axis=1)
    present = np.zeros(count, dtype=np.bool_)
    present[identified.group.takes[t].tones] = True
    volts = every[..., 0] - every[..., 1] if output == "differential" else every[..., 2]
    return np.where(present, volts, np.nan)


# What is said


def _curve(one: Response) -> Curve:
    entries = [decibel_entry(one.ratio[:, k]) for k in range(len(one.hz))]
    curve: Curve = {
        "hz": [float(f) for f in one.hz],
        "unit": "dB",
        "value": [e["value"] for e in entries],
        "u95": [float(np.hypot(e["u95"], FLATNESS_DB)) for e in entries],
        "reference_hz": one.reference_hz,
    }
    if one.phase_known:
        phases = [_degrees(one.ratio[:, k]) for k in range(len(one.hz))]
        curve["phase_deg"] = [p["value"] for p in phases]
        curve["phase_u95_deg"] = [p["u95"] for p in phases]
    if one.limited:
        curve["limited_by_bench"] = True
    if one.note:
        curve["note"] = one.note
    return curve


def _degrees(ratio: Complex) -> Entry:
    spread = np.degrees(np.angle(ratio[1:] / ratio[0])) if abs(ratio[0]) > 0.0 else np.zeros(1)
    value = float(np.degrees(np.angle(ratio[0])))
    return interval(value, value + spread)


def corners(one: Response) -> dict[str, Entry]:
    """Return ``low`` and ``high``: where the magnitude is 3 dB below 1 kHz, or a bound."""
    power = np.abs(one.ratio) ** 2
    k = nearest(one.hz, one.reference_hz)
    found = {}
    for end, order in (("low", np.arange(k, -1, -1)), ("high", np.arange(k, len(one.hz)))):
        entry = _corner(one.hz[order], power[:, order], end)
        if entry is not None:
            if one.limited:
                entry["limited_by_bench"] = True
            if one.note:
                entry["note"] = one.note
            found[end] = entry
    return found


def _corner(hz: Array, power: Array, end: str) -> Entry | None:
    """Return one corner, (F,) outwards from 1 kHz; None where there is nothing outwards."""
    if len(hz) < 2:
        return None
    half = 10.0 ** (CORNER_DB / 10.0)
    places = np.array([_crossing(hz, row, half, end) for row in power])
    if np.isnan(places[0, 0]):
        edge = float(hz[-1])
        bound = "below" if end == "low" else "above"
        return {"value": edge, "unit": "Hz", "u95": 0.0, "bound": bound}
    draws = places[1:, 0]
    draws = np.where(np.isnan(draws), float(hz[-1]), draws)
    entry = {**interval(float(places[0, 0]), draws), "unit": "Hz"}
    between = abs(places[0, 0] - places[0, 1])
    entry["u95"] = float(np.hypot(entry["u95"], between))
    for name, sign in (("low", -1.0), ("high", 1.0)):
        if name in entry:
            entry[name] += sign * between
    return entry


def _crossing(hz: Array, power: Array, half: float, end: str) -> tuple[float, float]:
    """Return where ``power`` first falls below ``half``: one pole's way, and straight in dB."""
    below = np.flatnonzero(power < half)
    if not len(below) or below[0] == 0:
        return np.nan, np.nan
    j = int(below[0])
    f, p = hz[j - 1 : j + 1], power[j - 1 : j + 1]
    axis = f**-2 if end == "low" else f**2
    part = (1.0 / half - 1.0 / p[0]) / (1.0 / p[1] - 1.0 / p[0])
    place = axis[0] + part * (axis[1] - axis[0])
    pole = place**-0.5 if end == "low" else place**0.5
    straight = np.log(half / p[0]) / np.log(p[1] / p[0])
    return float(pole), float(np.exp(np.log(f[0]) + straight * np.log(f[1] / f[0])))


# Into loads


def _loaded(source: Source, output: str, one: Response | None) -> Iterable[Row]:
    """Yield the bass and the corner into each load, where the impedances are known."""
    for ohm in LOADS_OHM:
        volts = loaded(source, output, ohm)
        good = np.isfinite(volts[0]) & (np.abs(volts[0]) > 0.0)
        if good.sum() < 2 or one is None:
            continue
        hz = source.hz[good]
        k = nearest(hz)
        ratio = volts[:, good] / volts[:, good][:, k : k + 1]
        there = Response(hz, ratio, float(hz[k]), False, False, one.files, one.note)
        facts: dict[str, Any] = {}
        if hz[0] < BASS_HZ:
            loss = decibel_entry(1.0 / ratio[:, 0])
            loss["u95"] = float(np.hypot(loss["u95"], FLATNESS_DB))
            facts[f"{output}_bass_loss"] = {**loss, "at_hz": float(hz[0])}
        low = corners(there).get("low")
        if low is not None:
            facts[f"{output}_low_corner"] = low
        for entry in facts.values():
            entry["takes"] = list(one.files)
        if facts:
            each = "each leg to ground" if output == "differential" else "to ground"
            yield {"condition": {"load_ohm": ohm, "load_is": each}, "facts": facts}


def loaded(source: Source, output: str, ohm: float) -> Complex:
    """Return volts of an output with ``ohm`` from each leg (or from it) to ground, (1 + D, F)."""
    z = np.concatenate([source.z[None], source.z_draws])
    voc = np.concatenate([source.voc[None], source.voc_draws])
    if output == "single_ended":
        with np.errstate(invalid="ignore"):  # what is unknown is NaN, and stays it
            return np.asarray(voc[..., 2] / (1.0 + z[..., 2, 2] / ohm))
    # modal admittance of R on each leg: 1/(2R) between, 2/R for the mean
    y = np.diag([0.5 / ohm, 2.0 / ohm])
    system = np.eye(2) + np.nan_to_num(z[..., :2, :2]) @ y
    volts = np.linalg.solve(system, np.nan_to_num(voc[..., :2])[..., None])[..., 0, 0]
    known = np.isfinite(z[..., :2, :2]).all(axis=(-1, -2)) & np.isfinite(voc[..., :2]).all(axis=-1)
    return np.where(known, volts, np.nan)


def gain_difference_curve(identified: Identified, source: Source | None) -> Curve | None:
    """Differential over single-ended level at each tone, dB.

    Where no load on the single-ended output tells, with what the recorder may have taken off it.
    """
    if source is None:
        return None
    voc = np.concatenate([source.voc[None], source.voc_draws])
    good = np.isfinite(voc[0, :, 0]) & np.isfinite(voc[0, :, 2]) & (np.abs(voc[0, :, 2]) > 0.0)
    loaded = np.isfinite(source.z[:, 2, 2])
    entries: list[Entry | None] = [None] * len(source.hz)
    for k in np.flatnonzero(good):
        pair, single = voc[:, k, 0], voc[:, k, 2]
        heard = None if loaded[k] else single_ended_heard(identified, int(k), len(voc))
        if heard is None:
            entries[k] = gain_entry(pair, single)
            continue
        lifted, bare = (gain_entry(pair, one) for one in (heard.lifted, heard.bare))
        entries[k] = lifted if lifted is None or bare is None else reaching(lifted, bare)
    if not any(entries):
        return None
    more = {} if loaded.any() else {"limited_by_bench": True}
    return decibel_curve(entries, **more)
