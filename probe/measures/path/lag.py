"""Excess lag of cold at the top of the band: an inverter is slower than what it inverts.

One pole at ``f_p`` turns by ``atan(f/f_p)``, proportional to frequency where it is small, and
lowers by ``cos`` of the same angle: 3.6 degrees go with -0.017 dB. A lag of another shape is not an
inverter's. Two equal paths differ by the tolerance of their filters only.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from probe.measures.path import limits
from probe.measures.path.model import Indication, silent

NAME = "cold-lag"

TOP_HZ = 20.0e3
"""The lag is stated at this frequency."""

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]


def lag_degrees(cold_over_hot: Complex) -> Array:
    """Return how far cold lags the inverse of hot, degrees within ±180; any shape."""
    return np.asarray(-np.degrees(np.angle(-cold_over_hot)))


def likelihood_ratio(lag: float) -> float:
    """Return how much likelier a lag (degrees at 20 kHz) is from one path than from two."""
    if abs(lag) < limits.LAG_LEAST_DEG:
        return 1.0
    if lag < 0.0:
        return limits.LAG_LEADS
    for upper, ratio in limits.LAG_TABLE:
        if lag <= upper:
            return ratio
    return limits.RATIO_CAP


def judge(
    hz: Array, cold_over_hot: Complex, doubt_deg: Array, takes: tuple[str, ...] = ()
) -> Indication:
    """Return what the lag says.

    Parameters
    ----------
    hz
        Shape (F,), ascending.
    cold_over_hot
        Shape (F,), complex: ratio of the legs, open circuit, channel errors cancelled.
    doubt_deg
        Shape (F,): standard deviation of its phase from noise.
    takes
        Files it comes from.
    """
    use = hz >= limits.LAG_FROM_HZ
    if not np.any(hz >= limits.LAG_TOP_HZ) or np.sum(use) < 2:
        return silent(NAME, "no tones near 20 kHz", takes=takes)
    lag = lag_degrees(cold_over_hot)
    top = int(np.argmax(hz))
    scale = TOP_HZ / hz[top]
    value = float(lag[top] * scale)
    sd = float(scale * np.hypot(limits.LAG_DOUBT_DEG, doubt_deg[top]))
    level = _top_level_db(hz, cold_over_hot, top)
    known: dict[str, Any] = {
        "value": value,
        "unit": "deg",
        "u95": 1.96 * sd,
        "more": {"level_at_top_db": level},
        "takes": takes,
    }
    weight = _cautious(value, 1.96 * sd)
    if weight == 1.0:
        return silent(NAME, f"less than {limits.LAG_LEAST_DEG} degrees: both kinds of path do that",
                      **known)  # fmt: skip
    wrong = _shape(hz[use], lag[use], level, lag[top], doubt_deg[use])
    if wrong:
        return silent(NAME, wrong, **known)
    if weight < 1.0:
        return Indication(NAME, says="two-paths", strength="weak", weight=weight,
                          meaning="cold leads: inverters do not, filters of two paths may",
                          **known)  # fmt: skip
    strong = weight >= limits.RATIO_CAP
    return Indication(
        NAME,
        says="one-path",
        strength="strong" if strong else "weak",
        weight=weight,
        specific=strong,
        meaning="cold lags as behind an inverter of one pole",
        **known,
    )


def _cautious(lag: float, u95: float) -> float:
    """Return the ratio that says least within the interval."""
    ratios = [likelihood_ratio(x) for x in (lag - u95, lag, lag + u95)]
    if min(ratios) < 1.0 < max(ratios):
        return 1.0
    return min(ratios, key=lambda r: abs(np.log(r)))


def _top_level_db(hz: Array, ratio: Complex, top: int) -> float:
    middle = int(np.argmin(np.abs(hz - 1000.0)))
    return float(20.0 * np.log10(abs(ratio[top]) / abs(ratio[middle])))


def _shape(hz: Array, lag: Array, level_db: float, top: float, doubt: Array) -> str:
    """Say what is not like one pole; empty where it is."""
    slope = float(np.tan(np.radians(lag)) @ hz / (hz @ hz))
    expected = np.degrees(np.arctan(slope * hz))
    room = np.maximum(limits.LAG_SHAPE_DEG, limits.LAG_SHAPE_SHARE * np.abs(expected))
    if np.any(np.abs(lag - expected) > room + 2.0 * doubt):
        return "the lag does not grow in proportion to frequency, as one pole's does"
    pole_db = float(20.0 * np.log10(np.cos(np.radians(top))))
    pole_db = pole_db if top > 0.0 else -pole_db
    if abs(level_db - pole_db) > limits.LAG_LEVEL_DB + 0.5 * abs(pole_db):
        return "the level at the top is not that of one pole with this lag"
    return ""
