"""The whole source in a facts document: curves in full precision, draws in a compact encoding.

The draws are differences from the value, compressed and in base64: a small
difference of large numbers (the differential impedance of a floating stage) is an entry of its
own, so nothing is lost. What is not known is null in the curves and NaN in a ``Source``.
"""

from __future__ import annotations

import base64
import zlib
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from probe.facts.points import points_of
from probe.measures.statement import QUANTILES, Entry, interval
from probe.stage.as_source import DRAWS_KEPT
from probe.stage.identify import Identified
from probe.stage.network import Complex
from probe.stage.quantities import open_take, recorded
from probe.stage.source import Source

Array = NDArray[np.float64]

ENCODING = "difference from the value, little-endian float64 real and imaginary, zlib, base64"

ALWAYS = ("real", "imag", "u95")
WHERE_ANY = ("real_u95", "imag_u95", "low", "high", "value", "bound")
"""Columns of a complex curve; the second ones stand where any point has them."""

LARGEST = 1e15
"""Volts or ohm: a pin 3 connected to nothing reads 1e9 ohm at most; with noise, a million more."""


def curve(
    draws: Complex, unit: str, entries: Sequence[Entry | None] | None = None
) -> dict[str, Any]:
    """Return a complex curve, draws (1 + D, F), as lists; null where it is not known.

    ``entries``: what is stated of the magnitude at each tone; the interval of the draws where left
    out. Of a point that is only a bound ``value`` holds that bound, and no complex value stands.
    """
    said = _intervals(draws) if entries is None else list(entries)
    columns: dict[str, list[Any]] = {name: [] for name in (*ALWAYS, *WHERE_ANY)}
    known = [e is not None and "bound" not in e for e in said]
    parts = _reach(draws, known)
    for k, entry in enumerate(said):
        row: dict[str, Any] = {}
        if entry is not None and known[k]:
            value = draws[0, k]
            row = {"real": float(value.real), "imag": float(value.imag), **parts[k]}
            row |= {name: entry[name] for name in ("u95", "low", "high") if name in entry}
        elif entry is not None:
            row = {"value": entry["value"], "bound": entry["bound"]}
        for name, column in columns.items():
            column.append(row.get(name))
    kept = {n: c for n, c in columns.items() if n in ALWAYS or any(v is not None for v in c)}
    return {"unit": unit, **kept}


def _intervals(draws: Complex) -> list[Entry | None]:
    size = np.abs(draws)
    return [
        interval(float(size[0, k]), size[1:, k]) if np.isfinite(draws[0, k]) else None
        for k in range(draws.shape[1])
    ]


def _reach(draws: Complex, known: Sequence[bool]) -> list[dict[str, float]]:
    """How far 95 % of the draws reach from the real and the imaginary part, each tone known."""
    out: list[dict[str, float]] = [{} for _ in known]
    at = np.flatnonzero(known)
    if len(at) == 0 or len(draws) < 2:
        return out
    for name, part in (("real_u95", draws.real[:, at]), ("imag_u95", draws.imag[:, at])):
        low, high = np.quantile(part[1:], QUANTILES, axis=0)
        reach = np.maximum(np.maximum(high - part[0], part[0] - low), 0.0)
        for k, one in zip(at, reach, strict=True):
            out[k][name] = float(one)
    return out


def curves_of(identified: Identified, source: Source | None, unseen: str = "") -> dict[str, Any]:
    """All curves of a side, and the draws that tie them together.

    ``unseen``: a silent leg whose impedance no take shows, "" where there is none.
    """
    if source is None:
        return {"hz": []}
    out: dict[str, Any] = {"hz": [float(f) for f in source.hz]}
    for name, one in points_of(identified, source, unseen).items():
        out[name] = {**curve(one.draws, one.unit, one.entries), **one.more}
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


def decode(hz: Array, draws: object) -> Source:
    """Return the source that ``encode`` wrote.

    Raises
    ------
    ValueError
        The encoding is damaged; the caller says where.
    """
    if not isinstance(draws, Mapping):
        raise ValueError("draws is missing or not an object")
    tones, count = len(hz), draws.get("count")
    if not isinstance(count, int) or isinstance(count, bool):
        raise ValueError("draws.count is missing or not a whole number")
    if count < 1 or count > 100_000:
        raise ValueError("count of draws out of range")
    shapes = ((3,), (3, 3), (3,), (3, 3))
    kind = "<c8" if "float32" in str(draws.get("encoding")) else "<c16"  # as it was written once
    values, moved = [], []
    packed = (_texts(draws, "values", len(shapes)), _texts(draws, "differences", len(shapes)))
    for shape, value, difference in zip(shapes, packed[0], packed[1], strict=True):
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


def _texts(draws: Mapping[str, Any], part: str, count: int) -> list[str]:
    found = draws.get(part)
    if not isinstance(found, list) or not all(isinstance(text, str) for text in found):
        raise ValueError(f"draws.{part} is missing or not a list of texts")
    if len(found) != count:
        raise ValueError(f"draws.{part} has {len(found)} of {count} texts")
    return found


def _check_sizes(one: Complex, apart: Complex) -> None:
    """Refuse values no device has; what is not known is NaN in the values, never in the draws."""
    if np.any(np.abs(one[np.isfinite(one)]) > LARGEST) or np.any(np.isinf(one)):
        raise ValueError("a value is beyond anything a device can have")
    if not np.all(np.abs(apart) <= LARGEST):
        raise ValueError("a draw is not a number, or beyond anything a device can have")


def _unpacked(text: str, kind: str, shape: tuple[int, ...]) -> Complex:
    limit = int(np.prod(shape)) * np.dtype(kind).itemsize
    try:
        raw = zlib.decompressobj().decompress(base64.b64decode(text, validate=True), limit + 1)
    except (ValueError, zlib.error) as error:
        raise ValueError("draws cannot be unpacked") from error
    if len(raw) != limit:
        raise ValueError("draws do not have the size their curves need")
    return np.frombuffer(raw, dtype=kind).reshape(shape).astype(np.complex128)
