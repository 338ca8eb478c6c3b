"""Rejection: of the output by itself, of a connection into stated receivers, and signal balance.

In modal coordinates (difference, mean) the receiver's admittance to its own ground is
``Y = Fᵀ diag(1/R_h, 1/R_c) F`` with ``F`` from modal to legs. With the receiver's ground at ``Vg``
against pin 1 the legs stand at

    v = (I + Z Y)⁻¹ (Voc + Z Y g Vg)        g = (0, 1)                                (1)

so per volt of signal and per volt of ground difference the receiver hears

    N = [(I + Z Y)⁻¹ Voc]_d / Voc_d         D = [(I + Z Y)⁻¹ Z Y g]_d                 (2)

and the rejection of the connection is ``20 log10 |N / D|``. What is asked is a small difference:
where ``D`` cannot be told from nothing the rejection is a bound.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from probe.measures.model import Curve, Part, Row, Subject
from probe.measures.open_pin import ALL_ON_ONE_LEG, untold
from probe.measures.statement import Entry, decibel_entry
from probe.stage.quantities import nearest, output_rejection
from probe.stage.solved import Solved
from probe.stage.source import FROM_MODAL, Source

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]

ADDED_OHM = 10.0
"""In one leg, then in the other, the worse reported: how balanced inputs are tested since
IEC 60268-3:2000 (from memory)."""

MISMATCHES = (0.0, 0.001, 0.01)
"""Of a receiver's two input impedances, relative; the worse sign is reported."""

_F = FROM_MODAL[:2, :2]


@dataclass(frozen=True)
class Receiver:
    """A balanced input: each leg to its own ground, and what stands between the legs.

    ``farad`` is that of each leg to ground.
    """

    name: str
    leg_ohm: float
    farad: float = 0.0
    between_ohm: float = np.inf

    def admittance(self, hz: float, mismatch: float) -> Complex:
        """Modal admittance (2, 2), siemens; hot has the larger impedance for mismatch above 0."""
        each = 1.0 / self.leg_ohm + 2j * np.pi * hz * self.farad
        legs = np.diag([each / (1.0 + mismatch / 2.0), each / (1.0 - mismatch / 2.0)])
        modal = _F.T @ legs @ _F
        modal[0, 0] += 1.0 / self.between_ohm
        return np.asarray(modal)


RECEIVERS = (
    Receiver("10 kΩ each leg", 10.0e3),
    Receiver("47 kΩ each leg", 47.0e3),
    Receiver("1 MΩ each leg", 1.0e6),
    Receiver("transformer", 50.0e6, farad=50.0e-12, between_ohm=10.0e3),
)
"""The transformer: 10 kohm between the legs, 50 Mohm and 50 pF of a screened winding from each to
ground (of the order of published figures for line input transformers; a choice)."""


def lead_admittance(hz: float, farad: float) -> Complex:
    """Modal admittance (2, 2) of a lead: each conductor's capacitance to the screen at pin 1."""
    return np.asarray(2j * np.pi * hz * farad * (_F.T @ _F))


NO_LEAD = np.zeros((2, 2), dtype=np.complex128)


def heard_signal(z: Complex, voc: Complex, y: Complex, lead: Complex = NO_LEAD) -> Complex:
    """Return ``N`` of (2): receiver's differential volts per volt of the open-circuit difference.

    ``z`` (..., 2, 2) and ``voc`` (..., 2) modal, ``y`` of the receiver and ``lead`` (2, 2).
    """
    volts = np.linalg.solve(np.eye(2) + z @ (y + lead), voc[..., None])[..., 0, 0]
    return np.asarray(volts / voc[..., 0])


def heard_ground(z: Complex, y: Complex, lead: Complex = NO_LEAD) -> Complex:
    """Return ``D`` of (2): receiver's differential volts per volt of ground difference.

    A lead screened at the source stands at pin 1: it loads, and drives nothing.
    """
    drive = z @ y[:, 1]
    return np.asarray(np.linalg.solve(np.eye(2) + z @ (y + lead), drive[..., None])[..., 0, 0])


def added(z: Complex, ohm: float, leg: int) -> Complex:
    """Return the modal impedance with ``ohm`` more in one leg (0 hot, 1 cold)."""
    legs = np.zeros((2, 2))
    legs[leg, leg] = ohm
    back = np.linalg.inv(_F)
    return np.asarray(z + back @ legs @ back.T)


def connection_entry(
    z: Complex, voc: Complex, receiver: Receiver, hz: float, mismatch: float, extra_ohm: float
) -> Entry:
    """Return the rejection of a connection: the worst of the signs and legs that are possible.

    Parameters
    ----------
    z, voc
        Modal, (1 + D, 2, 2) and (1 + D, 2), the value first.
    receiver
        What it goes into.
    hz
        Frequency.
    mismatch
        Of the receiver, relative, either sign.
    extra_ohm
        Added in either leg.
    """
    found = []
    for signed in {mismatch, -mismatch}:
        y = receiver.admittance(hz, signed)
        for leg in (0, 1) if extra_ohm else (0,):
            z_there = added(z, extra_ohm, leg) if extra_ohm else z
            ground = heard_ground(z_there, y)
            ratio = heard_signal(z_there, voc, y) / _safe(ground)
            found.append(decibel_entry(ratio, small=ground))
    return min(found, key=lambda entry: float(entry["value"]))


def rejection(subject: Subject) -> Part:
    """Return the rejection of a side's output and of connections from it."""
    source = subject.source
    legs = subject.identified.legs
    side = subject.identified
    if source is None or legs is None or side.contradicted or side.delays_on_few:
        return Part()
    files = _files(subject)
    rows = _connections(source, subject.session.bench.mains_hz, files)
    if legs.open_leg is not None:
        for row in rows:
            for entry in row["facts"].values():
                entry["limited_by_bench"] = True
    return Part(facts_at=tuple(rows), curves=_curves(source, subject.identified.legs))


def _files(subject: Subject) -> list[str]:
    group = subject.identified.group
    takes = () if group is None else group.takes
    return list(dict.fromkeys(o.phasors.take.file for o in takes))


def _connections(source: Source, mains_hz: float, files: list[str]) -> list[Row]:
    rows: list[Row] = []
    known = np.isfinite(source.z[:, :2, :2]).all(axis=(1, 2)) & np.isfinite(source.voc[:, 0])
    if not known.any():
        return rows
    for hz in (mains_hz, float(source.hz[known][nearest(source.hz[known])])):
        here = _at(source, known, hz)
        if here is None:
            continue
        z, voc = here
        for receiver in RECEIVERS:
            for mismatch in MISMATCHES:
                for extra in (0.0, ADDED_OHM):
                    entry = connection_entry(z, voc, receiver, hz, mismatch, extra)
                    condition = {
                        "receiver": receiver.name,
                        "receiver_mismatch_percent": 100.0 * mismatch,
                        "added_ohm": extra,
                        "hz": hz,
                    }
                    named = {**entry, "at_hz": hz, "takes": files, "receiver": receiver.name}
                    rows.append({"condition": condition, "facts": {"common_mode_rejection": named}})
    return rows


NEAR_TONE = 2.0
"""A frequency further than this factor from the tones on both sides is not interpolated to."""


def _at(source: Source, known: NDArray[np.bool_], hz: float) -> tuple[Complex, Complex] | None:
    """Return modal (1 + D, 2, 2) and (1 + D, 2) at ``hz``, straight over log f between tones."""
    at = np.flatnonzero(known)
    tones = source.hz[at]
    above = int(np.searchsorted(tones, hz * (1.0 - 1e-9)))
    if above == len(tones) or (above == 0 and tones[0] > hz * (1.0 + 1e-9)):
        return None
    below = max(above - 1, 0)
    if tones[above] <= hz * (1.0 + 1e-9):
        below = above
    if max(tones[above] / hz, hz / tones[below]) > NEAR_TONE:
        return None
    part = (
        0.0
        if above == below
        else float(np.log(hz / tones[below]) / np.log(tones[above] / tones[below]))
    )
    z = _stacked(source.z, source.z_draws)[:, at][..., :2, :2]
    voc = _stacked(source.voc, source.voc_draws)[:, at][..., :2]
    turned = voc / (voc[:1, :, :1] / np.abs(voc[:1, :, :1]))
    mean_open = np.where(np.isfinite(turned), turned, 0.0)
    return (
        np.asarray((1.0 - part) * z[:, below] + part * z[:, above]),
        np.asarray((1.0 - part) * mean_open[:, below] + part * mean_open[:, above]),
    )


def _stacked(value: Complex, draws: Complex) -> Complex:
    return np.concatenate([value[None], draws])


def _curves(source: Source, legs: Solved | None) -> dict[str, Curve]:
    z = _stacked(source.z, source.z_draws)[..., :2, :2]
    voc = _stacked(source.voc, source.voc_draws)[..., :2]
    own: list[Entry | None] = []
    balance: list[Entry | None] = []
    for k in range(len(source.hz)):
        heard = output_rejection(z[:, k]) if np.isfinite(z[:, k]).all() else None
        own.append(None if heard is None else decibel_entry(1.0 / _safe(heard), small=heard))
        pair = voc[:, k]
        if legs is not None and untold(legs, k):
            balance.append(dict(ALL_ON_ONE_LEG))
            continue
        balance.append(balance_entry(pair[:, 0], pair[:, 1]) if np.isfinite(pair).all() else None)
    curves = {}
    for name, entries in (("output_common_mode_rejection", own), ("signal_balance", balance)):
        if any(e is not None for e in entries):
            curves[name] = decibel_curve(entries)
    return curves


def balance_entry(difference: Complex, mean: Complex) -> Entry:
    """Return the signal balance, differential over mean level in dB; draws (1 + D,) of both."""
    small = mean if abs(mean[0]) < abs(difference[0]) else difference
    return decibel_entry(difference / _safe(mean), small=small)


def decibel_curve(entries: Sequence[Entry | None], **more: Any) -> Curve:
    """Return entries in dB as a curve: values, intervals, and where only a bound is known."""
    curve: Curve = {
        "unit": "dB",
        "value": [None if e is None else e["value"] for e in entries],
        "u95": [None if e is None else e["u95"] for e in entries],
        **more,
    }
    for name in ("bound", "low", "high"):
        if any(e is not None and name in e for e in entries):
            curve[name] = [None if e is None else e.get(name) for e in entries]
    return curve


def _safe(values: Complex) -> Complex:
    return np.asarray(np.where(np.abs(values) > 1e-300, values, 1e-300))
