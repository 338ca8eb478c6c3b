"""The whole source in a facts document: curves in full precision, draws in a compact encoding.

The draws are differences from the value, compressed and in base64: a small
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
from probe.stage.as_source import DRAWS_KEPT
from probe.stage.identify import Identified
from probe.stage.network import Complex
from probe.stage.quantities import common_mode_impedance, open_take, recorded
from probe.stage.source import Source

Array = NDArray[np.float64]

ENCODING = "difference from the value, little-endian float64 real and imaginary, zlib, base64"

LARGEST = 1e15
"""Volts or ohm: a pin 3 connected to nothing reads 1e9 ohm at most; with noise, a million more."""


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
        differences.append(_packed(np.where(finite, apart, 0.0).astype("<c16")))
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
    kind = "<c8" if "float32" in str(draws.get("encoding")) else "<c16"  # as it was written once
    values, moved = [], []
    for shape, value, difference in zip(shapes, draws["values"], draws["differences"], strict=True):
        one = _unpacked(value, "<c16", (tones, *shape))
        apart = _unpacked(difference, kind, (count, tones, *shape))
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
