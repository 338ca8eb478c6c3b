"""Gain and leg ratio at every volume setting that was recorded, and balance between the sides."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from probe.measures.model import Part, Row, Subject
from probe.measures.statement import Entry
from probe.phasors.model import TakePhasors
from probe.phasors.thresholds import HEARD
from probe.session.model import Side
from probe.stage.network import admittance, channel_key, elements_of, terminal_index
from probe.stage.quantities import nearest
from probe.stage.source import TERMINALS

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]

DB = 20.0 / np.log(10.0)
"""Decibels per relative change of a level."""


@dataclass(frozen=True)
class Open:
    """Open-circuit volts of one take at its tones.

    Attributes
    ----------
    phasors
        The take.
    hz
        Shape (F,).
    volts
        Shape (F, 3) complex, V rms; NaN where not recorded.
    doubt
        Shape (F, 3): relative standard deviation from noise and loading, gains left out.
    lifted
        True where what the recorder took was given back.
    """

    phasors: TakePhasors
    hz: Array
    volts: Complex
    doubt: Array
    lifted: bool

    def level(self, output: str) -> tuple[Complex, Array]:
        """Volts (F,) of ``differential`` or ``single_ended`` and relative doubt (F,)."""
        if output == "single_ended":
            return self.volts[:, 2], self.doubt[:, 2]
        both = self.volts[:, 0] - self.volts[:, 1]
        parts = np.abs(self.volts[:, :2]) * self.doubt[:, :2]
        return both, np.hypot(parts[:, 0], parts[:, 1]) / np.maximum(np.abs(both), 1e-300)


def open_takes(subject: Subject) -> list[Open]:
    """Return a side's takes in which the device plays and only the recorder hangs on it."""
    found = []
    for p in subject.phasors:
        take = p.take
        plain = not take.loads and not take.injections and take.driven_input_leg == "both"
        heard = any(c in TERMINALS for c in take.channels)
        plain = plain and take.state == "play" and not take.crosstalk
        if take.side == subject.side and p.usable and p.played.any() and plain and heard:
            found.append(_open(subject, p))
    return found


def _open(subject: Subject, p: TakePhasors) -> Open:
    hz = p.hz[p.played]
    volts = np.full((len(hz), 3), np.nan, dtype=np.complex128)
    doubt = np.full((len(hz), 3), np.nan)
    for channel, name in enumerate(p.take.channels):
        if name in TERMINALS:
            index = terminal_index(name)
            volts[:, index] = p.volts[p.played, channel]
            sd = np.sqrt(np.abs(p.noise[p.played, channel, channel]))
            doubt[:, index] = sd / np.maximum(np.abs(volts[:, index]), 1e-300)
    z = _impedance(subject, hz)
    if z is None:
        return Open(p, hz, volts, doubt, False)
    present = np.isfinite(volts)
    y = admittance(elements_of(p.take), hz)
    current = np.einsum("fij,fj->fi", y, np.where(present, volts, 0.0))
    lift = np.einsum("fij,fj->fi", z, current)
    doubt = np.hypot(doubt, 0.05 * np.abs(lift) / np.maximum(np.abs(volts), 1e-300))
    return Open(p, hz, volts + lift, doubt, True)


def _impedance(subject: Subject, hz: Array) -> Complex | None:
    """Return leg impedances at tones that the solved stage has too, (F, 3, 3); None if not."""
    source = subject.source
    if source is None or subject.identified.contradicted:
        return None
    at = np.array([int(np.argmin(np.abs(source.hz - f))) for f in hz])
    if np.any(np.abs(source.hz[at] - hz) > 1e-6 * hz):
        return None
    z = source.legs_z[at]
    if not np.isfinite(z[:, :2, :2]).all():
        return None
    return np.asarray(np.nan_to_num(z))


# Against volume


def against_volume(subject: Subject) -> Part:
    """Return gain, gain difference and leg ratio at each volume setting, ``facts_at``."""
    takes = open_takes(subject)
    volumes = list(dict.fromkeys(o.phasors.take.volume for o in takes))
    rows: list[Row] = []
    level = subject.identified.repeatability.level
    for volume in volumes:
        here = [o for o in takes if o.phasors.take.volume == volume]
        facts = _gains(here, level)
        facts |= _pair(here, level)
        if facts and (len(volumes) > 1 or any("gain" in n for n in facts)):
            rows.append({"condition": {"volume": volume}, "facts": facts})
    current = subject.identified.volume
    own: dict[str, Entry] = next(
        (r["facts"] for r in rows if r["condition"]["volume"] == current), {}
    )
    gains = {n: e for n, e in own.items() if n in ("differential_gain", "single_ended_gain")}
    return Part(facts=gains, facts_at=tuple(rows) if len(volumes) > 1 else ())


def _gains(takes: Sequence[Open], repeat: float) -> dict[str, Entry]:
    """Output over drive in dB; the drive's own doubt is not declared and not in it."""
    facts = {}
    for output in ("differential", "single_ended"):
        found = _first(takes, output)
        if found is None or found.phasors.take.drive_volts is None:
            continue
        volts, doubt = found.level(output)
        k = nearest(found.hz)
        drive = found.phasors.take.drive_volts
        sd = float(np.sqrt(doubt[k] ** 2 + repeat**2 + _scale_u(found, output) ** 2))
        facts[f"{output}_gain"] = _entry(
            float(DB * np.log(abs(volts[k]) / drive)),
            sd,
            found,
            k,
            note="against the drive as declared, taken as exact",
        )
    return facts


def _gain_u(one: Open, output: str) -> float:
    """Relative standard uncertainty of the recorder's scale for this output, against others."""
    take = one.phasors.take
    names = ("hot", "cold") if output == "differential" else ("single-ended",)
    parts = [take.inputs[take.channels.index(n)].own_u95_relative / 2.0 for n in names]
    return float(np.sqrt(np.sum(np.square(parts)))) / len(parts)


def _scale_u(one: Open, output: str) -> float:
    """Return the same for levels in volts: what all inputs share acts on them as well."""
    common = max(i.common_u95_relative for i in one.phasors.take.inputs) / 2.0
    return float(np.hypot(_gain_u(one, output), common))


def _first(takes: Sequence[Open], output: str) -> Open | None:
    """Return the first take that hears an output: of noise alone there is no gain."""
    for one in takes:
        volts, doubt = one.level(output)
        if np.isfinite(volts).all() and np.any((np.abs(volts) > 0.0) & (doubt < HEARD**-0.5)):
            return one
    return None


def _pair(takes: Sequence[Open], repeat: float) -> dict[str, Entry]:
    """Gain difference and leg ratio of one volume setting."""
    facts: dict[str, Entry] = {}
    both, single = _first(takes, "differential"), _first(takes, "single_ended")
    if both is not None and single is not None:
        k, j = nearest(both.hz), nearest(single.hz)
        (volts, doubt), (other, other_doubt) = (
            both.level("differential"),
            single.level("single_ended"),
        )
        drive = _drive_ratio(both, single)
        if both.hz[k] == single.hz[j] and drive is not None:
            ratio = abs(volts[k]) / abs(other[j]) / drive
            parts = (doubt[k], other_doubt[j], repeat, repeat,
                     _gain_u(both, "differential"), _gain_u(single, "single_ended"))  # fmt: skip
            facts["gain_difference"] = _entry(
                float(DB * np.log(ratio)), float(np.sqrt(np.sum(np.square(parts)))), both, k
            )
    if both is not None:
        k = nearest(both.hz)
        hot, cold = both.volts[k, 0], both.volts[k, 1]
        if min(abs(hot), abs(cold)) > 0.03 * max(abs(hot), abs(cold)):
            parts = (*both.doubt[k, :2], 2.0 * _gain_u(both, "differential"))
            sd = float(np.sqrt(np.sum(np.square(parts))))
            facts["leg_ratio"] = _entry(float(DB * np.log(abs(cold) / abs(hot))), sd, both, k)
    return facts


def _drive_ratio(one: Open, other: Open) -> float | None:
    a, b = _drive(one), _drive(other)
    if (a is None) != (b is None):
        return None
    return 1.0 if a is None or b is None else a / b


def _drive(one: Open) -> float | None:
    take = one.phasors.take
    if take.drive_volts is not None:
        return take.drive_volts
    return None if take.drive_dbfs is None else float(10.0 ** (take.drive_dbfs / 20.0))


def _entry(db: float, sd: float, one: Open, k: int, **more: Any) -> Entry:
    entry: Entry = {"value": float(db), "unit": "dB", "u95": float(1.96 * DB * sd)}
    if not one.lifted:
        entry["limited_by_bench"] = True
    return {**entry, "at_hz": float(one.hz[k]), "takes": [one.phasors.take.file], **more}


# Between the sides


def balance(subjects: Mapping[Side, Subject]) -> dict[str, Any]:
    """Return channel balance, right over left: facts, a curve, and against volume."""
    if not {"left", "right"} <= set(subjects):
        return {}
    takes = {side: open_takes(subjects[side]) for side in ("left", "right")}
    repeat = max(subjects[s].identified.repeatability.level for s in ("left", "right"))
    facts: dict[str, Entry] = {}
    curves: dict[str, Any] = {}
    rows = []
    volumes = list(dict.fromkeys(o.phasors.take.volume for o in takes["left"]))
    usual = subjects["left"].identified.volume
    for volume in volumes:
        here = {}
        for output in ("differential", "single_ended"):
            pair = _same(takes, volume, output)
            if pair is None:
                continue
            hz, db, sd = _balance(*pair, output, repeat)
            k = nearest(hz)
            entry = _entry(db[k], sd[k] / DB, pair[0], int(np.argmin(np.abs(pair[0].hz - hz[k]))))
            entry["takes"] = [one.phasors.take.file for one in pair]
            here[f"{output}_channel_balance"] = entry
            if volume == usual:
                curves[f"{output}_channel_balance"] = {
                    "hz": hz.tolist(), "unit": "dB", "value": db.tolist(),
                    "u95": (1.96 * sd).tolist(),
                }  # fmt: skip
        if volume == usual:
            facts = here
        if here:
            rows.append({"condition": {"volume": volume}, "facts": here})
    found: dict[str, Any] = {}
    if facts:
        found["facts"] = facts
    if curves:
        found["curves"] = curves
    if len(rows) > 1:
        found["facts_at"] = rows
    return found


def _same(takes: Mapping[str, list[Open]], volume: str, output: str) -> tuple[Open, Open] | None:
    found = []
    for side in ("left", "right"):
        here = [o for o in takes[side] if o.phasors.take.volume == volume]
        one = _first(here, output)
        if one is None:
            return None
        found.append(one)
    left, right = found
    return (left, right) if _drive_ratio(left, right) is not None else None


def _balance(left: Open, right: Open, output: str, repeat: float) -> tuple[Array, Array, Array]:
    """Return tones both have, right over left in dB, and its standard deviation in dB.

    Heard by the same recorder channels, their scale cancels.
    """
    at = [(i, int(np.argmin(np.abs(right.hz - f)))) for i, f in enumerate(left.hz)]
    at = [(i, j) for i, j in at if abs(right.hz[j] - left.hz[i]) <= 1e-9 * left.hz[i]]
    a, b = np.array([i for i, _ in at], dtype=int), np.array([j for _, j in at], dtype=int)
    (v, dv), (w, dw) = left.level(output), right.level(output)
    ratio = np.abs(w[b]) / np.abs(v[a]) / (_drive_ratio(right, left) or 1.0)
    gain = (
        0.0
        if _keys(left, output) == _keys(right, output)
        else np.hypot(_gain_u(left, output), _gain_u(right, output))
    )
    sd = np.sqrt(dv[a] ** 2 + dw[b] ** 2 + 2.0 * repeat**2 + gain**2)
    return left.hz[a], DB * np.log(ratio), DB * sd


def _keys(one: Open, output: str) -> tuple[str, ...]:
    take = one.phasors.take
    names = ("hot", "cold") if output == "differential" else ("single-ended",)
    places = [take.channels.index(n) for n in names]
    return tuple(channel_key(c, take.inputs[c].volts_full_scale) for c in places)
