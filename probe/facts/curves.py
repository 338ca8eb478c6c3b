"""The whole source in a facts document: curves in full precision, draws in a compact encoding.

The draws are differences from the value, as 32-bit floats, compressed and in base64: a small
difference of large numbers (the differential impedance of a floating stage) is an entry of its
own, so nothing is lost. What is not known is null in the curves and NaN in a ``Source``.
"""

from __future__ import annotations

import base64
import zlib
from typing import Any

import numpy as np
from numpy.typing import NDArray

from probe.measures.statement import interval
from probe.stage.identify import Identified
from probe.stage.network import Complex
from probe.stage.quantities import common_mode_impedance, nearest, open_take, recorded
from probe.stage.solved import Solved, functional
from probe.stage.source import Source, modal_to_legs_impedance, modal_to_legs_voltage

Array = NDArray[np.float64]
Bools = NDArray[np.bool_]

DRAWS_KEPT = 400
"""Draws written to a facts document: 95 % intervals from them repeat to a few percent."""

ENCODING = "difference from the value, little-endian float32 real and imaginary, zlib, base64"

LARGEST = 1e15
"""Volts or ohm: a pin 3 connected to nothing reads 1e9 ohm at most; with noise, a million more."""

FLOATING_COUPLING = 0.8
"""Above this the common mode of a stage may be carried on to tones that do not show it."""


def source_of(identified: Identified) -> Source | None:
    """Return the identified stage as a source on the device's tones; None where it never played."""
    legs = identified.legs
    if legs is None:
        return None
    theta = legs.theta[: DRAWS_KEPT + 1].copy()
    known = _known_entries(legs)
    theta, known = _floating_filled(legs, theta, known)
    count, tones = theta.shape[:2]
    modal_voc = np.full((count, tones, 3), np.nan, dtype=np.complex128)
    modal_z = np.full((count, tones, 3, 3), np.nan, dtype=np.complex128)
    modal_voc[..., :2] = theta[..., 0]
    modal_z[..., :2, :2] = theta[..., 1:3]
    _add_single_ended(identified, modal_voc, modal_z, legs.hz)
    whole = np.where(np.isnan(modal_z), 0.0, modal_z)
    legs_voc, legs_z = modal_to_legs_voltage(modal_voc), modal_to_legs_impedance(whole)
    legs_z[np.isnan(modal_z)] = np.nan
    for (row, column), mask in known.items():
        _forget(row, column, ~mask, modal_voc, modal_z, legs_voc, legs_z)
    return Source(
        hz=legs.hz,
        voc=modal_voc[0],
        z=modal_z[0],
        voc_draws=modal_voc[1:],
        z_draws=modal_z[1:],
        legs_voc=legs_voc[0],
        legs_z=legs_z[0],
        legs_voc_draws=legs_voc[1:],
        legs_z_draws=legs_z[1:],
    )


ROWS = {"difference": 0, "mean": 1, "hot": 0, "cold": 1}


def _forget(
    row: str,
    column: str,
    where: Bools,
    modal_voc: Complex,
    modal_z: Complex,
    legs_voc: Complex,
    legs_z: Complex,
) -> None:
    voc, z = (modal_voc, modal_z) if row in ("difference", "mean") else (legs_voc, legs_z)
    if column == "open":
        voc[:, where, ROWS[row]] = np.nan
    else:
        z[:, where, ROWS[row], ROWS[column]] = np.nan


def _known_entries(legs: Solved) -> dict[tuple[str, str], Bools]:
    """For every entry of ``[Voc | Z]``, at which tones the takes support it."""
    largest = np.abs(legs.theta[0, :, :, 0]).max(axis=1)
    known = {}
    for row, column in (
        *((r, "open") for r in ROWS),
        *((r, c) for r in ("difference", "mean") for c in ("difference", "mean")),
        *((r, c) for r in ("hot", "cold") for c in ("hot", "cold")),
    ):
        wanted = functional(row, column, len(legs.hz))
        lost = legs.lost(wanted)
        size = np.abs(np.einsum("frj,frj->f", wanted, legs.theta[0]))
        if column == "open":
            known[row, column] = lost < 0.02 * largest
        else:
            sigma = legs.sigma(wanted)
            known[row, column] = (lost < 1.0 + 0.05 * size) & (sigma < 1e6 + size)
    return known


def _floating_filled(
    legs: Solved, theta: Complex, known: dict[tuple[str, str], Bools]
) -> tuple[Complex, dict[tuple[str, str], Bools]]:
    """Carry the common mode of a floating stage to tones that do not show it.

    Below some hundred hertz the winding capacitance of a transformer is beyond any recorder. The
    takes then leave one direction open, along which the recorded voltages do not change: the
    common-mode impedance is set there to what its law at the next tones gives, and the open-circuit
    mean follows along that direction. Nothing that is recorded or loaded depends on it.
    """
    mean = known["mean", "mean"]
    k = nearest(legs.hz)
    z = modal_to_legs_impedance(_padded(theta[0, :, :, 1:3]))[k]
    floats = abs(z[0, 1]) > FLOATING_COUPLING * abs(z[1, 1]) > 0.0
    good = np.flatnonzero(mean)
    if mean.all() or not mean[k] or not floats or len(good) < 2:
        return theta, known
    for f in np.flatnonzero(~mean):
        near = good[np.argsort(np.abs(np.log(legs.hz[good] / legs.hz[f])))[:2]]
        if abs(np.log(legs.hz[near[0]] / legs.hz[f])) > np.log(8.0):
            continue
        target = _law(legs.hz, theta[:, :, 1, 2], near, int(f))
        values, vectors = np.linalg.eigh(legs.fit.lost[f])
        open_directions = vectors[:, values > 0.5]
        if open_directions.shape[1] < 1:
            continue
        prior = np.tile(legs.fit.scale[f], 2)
        direction = prior * (open_directions @ np.conj(open_directions[6]))
        if abs(direction[6]) == 0.0:
            continue
        step = (target - theta[:, f, 1, 2]) / direction[6]
        theta[:, f] += (step[:, None] * direction).reshape(-1, 2, 4)
        for entry in known:
            known[entry] = known[entry].copy()
            known[entry][f] = True
    return theta, known


def _law(hz: Array, values: Complex, near: NDArray[np.intp], f: int) -> Complex:
    """Power law through two tones, carried on; draw by draw."""
    a, b = near
    slope = np.log(values[:, b] / values[:, a]) / np.log(hz[b] / hz[a])
    slope = np.clip(slope.real, -1.0, 1.0)
    return np.asarray(values[:, a] * (hz[f] / hz[a]) ** slope)


def _padded(z: Complex) -> Complex:
    out = np.zeros((*z.shape[:-2], 3, 3), dtype=np.complex128)
    out[..., :2, :2] = z
    return out


def _add_single_ended(
    identified: Identified, modal_voc: Complex, modal_z: Complex, hz: Array
) -> None:
    """Level and impedance of the single-ended output, where its takes support them.

    As recorded, where no load on it was heard: then its impedance stays unknown. What it shares
    with the legs is taken as nothing where no take shows it.
    """
    solved = identified.single_ended
    if solved is None or identified.group is None:
        return
    count = modal_voc.shape[0]
    wanted = np.zeros((len(hz), 1, 4), dtype=np.complex128)
    wanted[:, 0, 3] = 1.0
    supported = (solved.lost(wanted) < 1.0 + 0.05 * np.abs(solved.theta[0, :, 0, 3])) & (
        solved.sigma(wanted) > 0.0
    )
    modal_voc[:, :, 2] = solved.theta[:count, :, 0, 0]
    modal_z[:, :, 2, 2] = np.where(supported, solved.theta[:count, :, 0, 3], np.nan)
    heard = np.zeros(len(hz), dtype=np.bool_)
    for observed in identified.group.takes:
        if observed.recorded[2]:
            heard[observed.tones] = True
    modal_voc[:, ~heard, 2] = np.nan
    modal_z[:, :, 2, :2] = 0.0
    modal_z[:, :, :2, 2] = 0.0


def curve(draws: Complex, unit: str) -> dict[str, Any]:
    """Return a complex curve, draws (1 + D, F), as lists; null where it is not known."""
    real: list[float | None] = []
    imag: list[float | None] = []
    u95: list[float | None] = []
    size = np.abs(draws)
    for k, value in enumerate(draws[0]):
        if not np.isfinite(value):
            real.append(None)
            imag.append(None)
            u95.append(None)
            continue
        real.append(float(value.real))
        imag.append(float(value.imag))
        u95.append(float(interval(float(size[0, k]), size[1:, k])["u95"]))
    return {"unit": unit, "real": real, "imag": imag, "u95": u95}


def curves_of(identified: Identified, source: Source | None) -> dict[str, Any]:
    """All curves of a side, and the draws that tie them together."""
    if source is None:
        return {"hz": []}
    z = np.concatenate([source.z[None], source.z_draws])
    voc = np.concatenate([source.voc[None], source.voc_draws])
    legs_z = np.concatenate([source.legs_z[None], source.legs_z_draws])
    legs_voc = np.concatenate([source.legs_voc[None], source.legs_voc_draws])
    out: dict[str, Any] = {"hz": [float(f) for f in source.hz]}
    named = {
        "hot_open_circuit": (legs_voc[..., 0], "V"),
        "cold_open_circuit": (legs_voc[..., 1], "V"),
        "differential_open_circuit": (voc[..., 0], "V"),
        "mean_open_circuit": (voc[..., 1], "V"),
        "single_ended_open_circuit": (voc[..., 2], "V"),
        "hot_impedance": (legs_z[..., 0, 0], "ohm"),
        "cold_impedance": (legs_z[..., 1, 1], "ohm"),
        "cold_into_hot_impedance": (legs_z[..., 0, 1], "ohm"),
        "hot_into_cold_impedance": (legs_z[..., 1, 0], "ohm"),
        "differential_impedance": (z[..., 0, 0], "ohm"),
        "mean_into_difference_impedance": (z[..., 0, 1], "ohm"),
        "difference_into_mean_impedance": (z[..., 1, 0], "ohm"),
        "mean_impedance": (z[..., 1, 1], "ohm"),
        "common_mode_impedance": (common_mode_impedance(z[..., :2, :2]), "ohm"),
        "single_ended_impedance": (z[..., 2, 2], "ohm"),
    }
    for name, (draws, unit) in named.items():
        if np.isfinite(draws[0]).any():
            out[name] = curve(draws, unit)
    out.update(_recorded_curves(identified))
    out["draws"] = encode(source)
    return out


def _recorded_curves(identified: Identified) -> dict[str, Any]:
    t = open_take(identified)
    if t is None or identified.group is None:
        return {}
    group = identified.group
    present = np.zeros(len(group.hz), dtype=np.bool_)
    present[group.takes[t].tones] = True
    out = {}
    for terminal, name in enumerate(("hot_recorded", "cold_recorded")):
        draws = np.stack([recorded(identified, t, k)[:, terminal] for k in range(len(group.hz))], 1)
        draws = np.where(present, draws[: DRAWS_KEPT + 1], np.nan)
        out[name] = curve(draws, "V")
    return out


def _parts(source: Source) -> list[tuple[Complex, Complex]]:
    return [
        (source.voc, source.voc_draws),
        (source.z, source.z_draws),
        (source.legs_voc, source.legs_voc_draws),
        (source.legs_z, source.legs_z_draws),
    ]


def encode(source: Source) -> dict[str, Any]:
    """Draws of a source, and its values where the curves leave entries out."""
    values, differences = [], []
    for value, draws in _parts(source):
        flat = value.reshape(len(source.hz), -1)
        finite = np.isfinite(flat)
        values.append(_packed(np.where(finite, flat, np.nan).astype("<c16")))
        apart = (draws - value).reshape(len(draws), len(source.hz), -1)
        differences.append(_packed(np.where(finite, apart, 0.0).astype("<c8")))
    return {
        "encoding": ENCODING,
        "count": len(source.voc_draws),
        "arrays": ["voc", "z", "legs_voc", "legs_z"],
        "values": values,
        "differences": differences,
    }


def _packed(array: NDArray[np.complexfloating[Any, Any]]) -> str:
    return base64.b64encode(zlib.compress(array.tobytes(), 6)).decode("ascii")


def decode(hz: Array, draws: dict[str, Any]) -> Source:
    """Return the source that ``encode`` wrote.

    Raises
    ------
    ValueError, KeyError, zlib.error, binascii.Error
        The encoding is damaged; the caller says where.
    """
    tones, count = len(hz), int(draws["count"])
    if count < 1 or count > 100_000:
        raise ValueError("count of draws out of range")
    shapes = ((3,), (3, 3), (3,), (3, 3))
    values, moved = [], []
    for shape, value, difference in zip(shapes, draws["values"], draws["differences"], strict=True):
        one = _unpacked(value, "<c16", (tones, *shape))
        apart = _unpacked(difference, "<c8", (count, tones, *shape))
        _check_sizes(one, apart)
        values.append(one)
        moved.append(one + apart)
    return Source(
        hz=hz,
        voc=values[0],
        z=values[1],
        voc_draws=moved[0],
        z_draws=moved[1],
        legs_voc=values[2],
        legs_z=values[3],
        legs_voc_draws=moved[2],
        legs_z_draws=moved[3],
    )


def _check_sizes(one: Complex, apart: Complex) -> None:
    """Refuse values no device has; what is not known is NaN in the values, never in the draws."""
    if np.any(np.abs(one[np.isfinite(one)]) > LARGEST) or np.any(np.isinf(one)):
        raise ValueError("a value is beyond anything a device can have")
    if not np.all(np.abs(apart) <= LARGEST):
        raise ValueError("a draw is not a number, or beyond anything a device can have")


def _unpacked(text: str, kind: str, shape: tuple[int, ...]) -> Complex:
    limit = int(np.prod(shape)) * np.dtype(kind).itemsize
    raw = zlib.decompressobj().decompress(base64.b64decode(text, validate=True), limit + 1)
    if len(raw) != limit:
        raise ValueError("draws do not have the size their curves need")
    return np.frombuffer(raw, dtype=kind).reshape(shape).astype(np.complex128)
