"""One fact from its draws: value, 95 % interval, or a bound where that is all the draws allow.

``u95`` is half the width of the 95 % interval; where the interval is lopsided by more than a tenth
of that, ``low`` and ``high`` stand beside it. A magnitude that cannot be told from nothing is a
bound from above (``"below"``); an impedance whose inverse cannot be told from nothing is a bound
from below (``"above"``).
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from probe.stage import limits

Entry = dict[str, Any]
Array = NDArray[np.float64]
Complex = NDArray[np.complex128]

QUANTILES = (0.025, 0.975)

DISTINGUISHED = 2.5
"""A complex quantity is told from nothing when it stands this many times above the root mean
square of its own scatter (95 % of a circular scatter lies within 1.73 times that) ..."""

DISTINGUISHED_ALONG = 3.3
"""... and this many times above its standard deviation along its own direction: a level error
scatters along a line, of which one part in a thousand lies beyond."""

ANGLE_ALONG = 5.0
"""The angle of a size is stated where it stands this many above: one that only just stands out of
its scatter may owe that to its error, whose angle it then has."""


NORMAL_MEDIAN = 0.6745
"""Median of the magnitude of a standard normal variable."""


def interval(value: float, draws: Array, at: tuple[float, float] = QUANTILES) -> Entry:
    """``value``, ``u95`` and, where lopsided, ``low`` and ``high`` of real draws."""
    if len(draws) == 0:
        return {"value": float(value), "u95": 0.0}
    low, high = (float(x) for x in np.quantile(draws, at))
    low, high = min(low, float(value)), max(high, float(value))
    half = (high - low) / 2.0
    entry: Entry = {"value": float(value), "u95": half}
    if abs((high - value) - (value - low)) > 0.2 * half and half > 0.0:
        entry["low"], entry["high"] = low, high
    return entry


def reaching(entry: Entry, edge: Entry) -> Entry:
    """Return an entry whose interval also holds that of an edge of what it may be.

    Of something anywhere between two edges the quantiles of draws stop inside them; where an edge
    itself is likely (a recorder that takes nothing off), its own doubt stands around it.
    """
    if "bound" in entry or "bound" in edge:
        return entry
    value = float(entry["value"])
    ends = [
        (e.get("low", e["value"] - e["u95"]), e.get("high", e["value"] + e["u95"]))
        for e in (entry, edge)
    ]
    low, high = float(min(e[0] for e in ends)), float(max(e[1] for e in ends))
    kept = {k: v for k, v in entry.items() if k not in ("low", "high")}
    return {**kept, **interval(value, np.array([value, low, high]), (0.0, 1.0))}


def at_most(entry: Entry) -> Entry:
    """Return the upper end of an interval as a bound; a bound from below bounds nothing here."""
    kept = {k: v for k, v in entry.items() if k not in ("low", "high")}
    high = float(entry.get("high", entry["value"] + entry["u95"]))
    return {**kept, "value": high, "u95": 0.0, "bound": "below"}


def told_from_nothing(draws: Complex, along_least: float = DISTINGUISHED_ALONG) -> bool:
    """Return True where the value stands above its scatter, all round and along itself.

    ``along_least``: by how many standard deviations along itself.
    """
    if len(draws) < 2 or draws[0] == 0.0:
        return bool(draws[0] != 0.0)
    along = ((draws[1:] - draws[0]) * np.conj(draws[0]) / abs(draws[0])).real
    line = float(np.median(np.abs(along)) / NORMAL_MEDIAN)
    least = max(DISTINGUISHED * _robust_scatter(draws), along_least * line)
    return bool(abs(draws[0]) > least)


def _robust_scatter(draws: Complex) -> float:
    """Root mean square scatter from the median, so that a few wild draws do not rule."""
    if len(draws) < 2:
        return 0.0
    return float(np.median(np.abs(draws[1:] - draws[0])) / np.sqrt(np.log(2.0)))


def _flag(entry: Entry, limited: bool) -> Entry:
    if limited:
        entry["limited_by_bench"] = True
    return entry


def level_entry(draws: Complex, *, unit: str = "V", limited: bool = False) -> Entry:
    """Magnitude of a complex quantity, draws (1 + D,): a value, or a bound from above."""
    size = np.abs(draws)
    if not told_from_nothing(draws):
        top = float(np.quantile(size[1:], 0.95)) if len(size) > 1 else float(size[0])
        top = max(top, float(size[0]))
        return _flag({"value": top, "unit": unit, "u95": 0.0, "bound": "below"}, limited)
    return _flag({**interval(float(size[0]), size[1:]), "unit": unit}, limited)


def impedance_entry(
    draws: Complex, *, sigma: float = 0.0, inverse: bool = False, limited: bool = False
) -> Entry | None:
    """Magnitude of an impedance: a value, a bound where only the recorder ends it, or nothing.

    ``sigma`` is its standard deviation from the weights of the solve. Where the doubt is as large
    as the value, a bound from below is what two and a half of it leave; with ``inverse`` (an
    impedance found from its inverse, an open leg) what the inverse allows.
    """
    size = np.abs(draws)
    entry: Entry = {**interval(float(size[0]), size[1:]), "unit": "ohm"}
    most = max(limits.SUPPORT_RELATIVE * entry["value"], limits.SUPPORT_OHM)
    told = told_from_nothing(1.0 / draws) if inverse and np.all(draws != 0.0) else not inverse
    if entry["u95"] <= most and told and (inverse or 1.96 * sigma <= most):
        return _flag(entry, limited)
    if inverse:
        floor = float(1.0 / np.quantile(1.0 / np.maximum(size[1:], 1e-12), 0.975))
    else:
        floor = float(size[0]) - 2.5 * max(sigma, _robust_scatter(draws))
    floor = min(floor, float(size[0]))
    if floor < max(limits.SUPPORT_OHM, 0.1 * float(size[0]) if not inverse else 0.0):
        return None
    return {"value": floor, "unit": "ohm", "u95": 0.0, "bound": "above", "limited_by_bench": True}


def unseen(draws: Complex) -> float:
    """Return what would be stated as the bound if nothing were there: 95 % of the scatter.

    Whatever is there only widens it (Anderson's inequality, 1955, for a scatter that is symmetric
    and has one peak): no bound is better than this.
    """
    if len(draws) < 2:
        return 0.0
    return float(np.quantile(np.abs(draws[1:] - draws[0]), 0.95))


def decibel_entry(ratio: Complex, *, small: Complex | None = None, limited: bool = False) -> Entry:
    """Return a ratio in decibels. ``small`` is the part that may be nothing: then a bound.

    A vanishing numerator bounds the ratio from above, a vanishing denominator from below.
    """
    db = 20.0 * np.log10(np.maximum(np.abs(ratio), 1e-15))
    if small is not None and not told_from_nothing(small):
        vanishing_top = bool(abs(ratio[0]) < 1.0)
        draws = db[1:] if len(db) > 1 else db
        if vanishing_top:
            worst = max(float(np.quantile(draws, 0.95)), float(db[0]))
            return _flag({"value": worst, "unit": "dB", "u95": 0.0, "bound": "below"}, limited)
        least = min(float(np.quantile(draws, 0.05)), float(db[0]))
        return _flag({"value": least, "unit": "dB", "u95": 0.0, "bound": "above"}, limited)
    return _flag({**interval(float(db[0]), db[1:]), "unit": "dB"}, limited)


def gain_entry(above: Complex, below: Complex, *, limited: bool = False) -> Entry | None:
    """Return one level over another in decibels, draws (1 + D,): a bound where one may be nothing.

    None where both may be: noise over noise is chance.
    """
    told = told_from_nothing(above), told_from_nothing(below)
    if not any(told):
        return None
    tiny = 1e-15 * float(np.abs(above).max())
    ratio = above / np.where(np.abs(below) > tiny, below, tiny)
    if all(told):
        return decibel_entry(ratio, limited=limited)
    db = 20.0 * np.log10(np.maximum(np.abs(ratio), 1e-15))
    draws = db[1:] if len(db) > 1 else db
    if told[0]:
        worst, bound = min(float(np.quantile(draws, 0.05)), float(db[0])), "above"
    else:
        worst, bound = max(float(np.quantile(draws, 0.95)), float(db[0])), "below"
    return _flag({"value": worst, "unit": "dB", "u95": 0.0, "bound": bound}, limited)


def complex_entry(draws: Complex, most: float) -> Entry | None:
    """Real part with ``imag`` beside; None where its interval is wider than ``most``."""
    entry: Entry = {**interval(float(draws[0].real), draws[1:].real), "unit": "1"}
    if entry["u95"] > most:
        return None
    entry["imag"] = float(draws[0].imag)
    return entry
