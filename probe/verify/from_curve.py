"""Figures that a curve holds at the stated tone or level, where the fact was taken at another.

Distortion at a stated level is read from its curve against level at the point within half a
decibel; what the curve does between that point and the stated level (log-log between neighbours)
is counted twice into its doubt, because near the maximum distortion jumps. The curve has the
bench's own distortion in it: as much as the tone take leaves open (its limit), growing with the
square of the level as a third harmonic does; without a tone take what a bench without a loop-back
take is taken to have. What is no larger than that is a bound.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any, Literal

from probe.compare.conditions import SAME_HZ, SAME_LEVEL_DB
from probe.facts.named_curve import NamedCurve, named_curve
from probe.measures.own_harmonics import UNMEASURED_PERCENT
from probe.numbers import interval, number, ratio_db

BAND_HZ = (15.0, 21e3)
"""Tones that count as within 20 Hz to 20 kHz."""

CURVES = {
    "differential_level": "differential_open_circuit",
    "hot_level": "hot_open_circuit",
    "cold_level": "cold_open_circuit",
    "single_ended_level": "single_ended_open_circuit",
}
"""Curves of facts whose name is another one."""

Toward = Literal["up", "down", "away", "size"]

SLOPE_COUNTS = 2.0
"""How often the change from the nearest point to the stated level counts into the doubt."""


def near(at: float | None, hz: float | None) -> bool:
    """Return True where two tones are one."""
    return bool(at and hz) and abs(math.log((at or 1.0) / (hz or 1.0))) <= SAME_HZ


def worst(
    side: Mapping[str, Any], fact: str, entry: Mapping[str, Any], toward: Toward
) -> tuple[float, dict[str, Any]] | None:
    """Return tone and entry of the worst point of a fact's curve within 20 Hz to 20 kHz.

    Parameters
    ----------
    side
        What holds the curve: a side of the facts document, or what is between the sides.
    fact, entry
        The figure at its own tone; a point counts only beyond its 95 % interval.
    toward
        What is worse: larger, smaller, farther from the figure, or of larger size whatever the
        sign. A point that is only a bound from the better side is not known to be worse.
    """
    own = (side.get("facts") or {}).get(fact)
    curve = named_curve(side, CURVES.get(fact, fact))
    if curve is None or entry is not own:
        return None
    value = float(entry["value"])
    low, high = interval(entry) or (value, value)
    better = {"up": "below", "size": "below", "down": "above"}.get(toward)
    points = [
        (_beyond(one, low, high, toward), k)
        for k, (hz, one) in enumerate(zip(curve.hz, curve.magnitude, strict=True))
        if BAND_HZ[0] <= hz <= BAND_HZ[1]
        and (curve.bound[k] is None or (better is not None and curve.bound[k] != better))
    ]
    beyond, index = max(points, default=(0.0, 0))
    return (curve.hz[index], _point(curve, index)) if beyond > 0.0 else None


def _beyond(value: float, low: float, high: float, toward: Toward) -> float:
    """Return how much worse a value is than the worse end of an interval."""
    if toward == "size":
        return abs(value) - max(abs(low), abs(high))
    above, below = value - high, low - value
    return {"up": above, "down": below}.get(toward, max(above, below))


def at_tone(side: Mapping[str, Any], name: str, hz: float) -> dict[str, Any] | None:
    """Return the point of a curve at the tone that stands for ``hz``; None where there is none."""
    curve = named_curve(side, name)
    if curve is None:
        return None
    apart, index = min((abs(math.log(f / hz)), i) for i, f in enumerate(curve.hz))
    return None if apart > SAME_HZ else _point(curve, index) | {"at_hz": curve.hz[index]}


def at_level(
    side: Mapping[str, Any], name: str, volts: float, hz: float | None
) -> dict[str, Any] | None:
    """Return distortion at a level from its curve against level; None where no point is near.

    Parameters
    ----------
    side
        A side of the facts document.
    name
        Of the fact, as ``differential_thd``.
    volts
        Stated level, V.
    hz
        Stated tone; None where nothing is said.
    """
    curve = named_curve(side, f"{name}_against_level")
    tone = _tone_of(side, name)
    if curve is None or curve.axis != "volts" or (hz is not None and not near(tone, hz)):
        return None
    apart, index = min((abs(ratio_db(v / volts)), i) for i, v in enumerate(curve.hz))
    if apart > SAME_LEVEL_DB:
        return None
    entry = _point(curve, index) | {"at_volts": curve.hz[index]}
    if tone is not None:
        entry["at_hz"] = tone
    if entry.get("bound") or "u95" not in entry:
        return entry
    moved = abs(_carried(curve, index, volts) - entry["value"])
    own = _own_percent(side, name, curve.hz[index])
    doubt = math.hypot(entry["u95"], SLOPE_COUNTS * moved, own)
    if entry["value"] <= own:
        return entry | {"value": entry["value"] + doubt, "u95": 0.0, "bound": "below"}
    return entry | {"u95": doubt}


def _own_percent(side: Mapping[str, Any], name: str, volts: float) -> float:
    """Return what of the distortion at a level may be the bench's own, percent of the level."""
    fact = (side.get("facts") or {}).get(name)
    limit, at = number(fact, "limit"), number(fact, "at_volts")
    if limit is None or not at:
        return UNMEASURED_PERCENT
    return limit * max(1.0, (volts / at) ** 2)


def _tone_of(side: Mapping[str, Any], name: str) -> float | None:
    """Return the tone that rises: the maximum is found by the same take."""
    output = name.removesuffix("_n").removesuffix("_thd")
    return number((side.get("facts") or {}).get(f"{output}_maximum"), "at_hz")


def _point(curve: NamedCurve, index: int) -> dict[str, Any]:
    """Return one point as an entry; without a doubt where the curve states none."""
    entry: dict[str, Any] = {"value": curve.magnitude[index], "unit": curve.unit}
    bound, doubt = curve.bound[index], curve.u95[index]
    if bound is not None:
        return entry | {"u95": 0.0, "bound": bound}
    if doubt is None:
        return entry
    ends = {"low": curve.low, "high": curve.high}
    lopsided = {n: c[index] for n, c in ends.items() if index < len(c) and c[index] is not None}
    return entry | {"u95": doubt} | lopsided


def _carried(curve: NamedCurve, index: int, volts: float) -> float:
    """Return what the line through a point and its neighbour on the stated side says."""
    values = curve.magnitude
    other = index + 1 if volts > curve.hz[index] else index - 1
    if not 0 <= other < len(values):
        other = 2 * index - other
    if not 0 <= other < len(values) or min(values[index], values[other]) <= 0.0:
        return values[index]
    share = math.log(volts / curve.hz[index]) / math.log(curve.hz[other] / curve.hz[index])
    return values[index] * float((values[other] / values[index]) ** share)
