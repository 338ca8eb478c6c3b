"""A figure with its doubt, from an estimate and its draws."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

LOPSIDED = 0.1
"""Distance of the value from the middle of its interval, as a share of the half-width, from
which the two ends are written out; where its low end is nearer to nothing as a share of that, in
decibels no more than 0.1 dB: of 0.01 to 0.51 V a tenth of the half-width is more than the low end
itself, and 20 dB of what is judged."""


@dataclass(frozen=True)
class Quantity:
    """A value, its unit and the ends of its 95 % interval.

    ``bound``: the truth is only known to lie ``above`` or ``below`` the value.
    """

    value: float
    unit: str
    low: float
    high: float
    at_hz: float | None = None
    bound: Literal["above", "below"] | None = None
    note: str | None = None

    @property
    def u95(self) -> float:
        """Half the width of the 95 % interval."""
        return (self.high - self.low) / 2.0

    @property
    def lopsided(self) -> bool:
        """The value lies so far from the middle of its interval that both ends have to be told."""
        middle = (self.high + self.low) / 2.0
        narrow = min(self.u95, 1.0 if self.unit == "dB" else abs(self.low))
        return abs(self.value - middle) > LOPSIDED * max(narrow, 1e-12)

    def __neg__(self) -> Quantity:
        """Return the same figure counted the other way: a gain as a loss."""
        turned: dict[str, Literal["above", "below"]] = {"above": "below", "below": "above"}
        bound = None if self.bound is None else turned[self.bound]
        return replace(self, value=-self.value, low=-self.high, high=-self.low, bound=bound)

    def times(self, factor: float) -> Quantity:
        """Return the same figure so many times (a factor above zero)."""
        value, low, high = (v * factor for v in (self.value, self.low, self.high))
        return replace(self, value=value, low=low, high=high)

    def with_note(self, note: str | None) -> Quantity:
        """Return the same figure with what has to be said of it; None: as it is."""
        return self if note is None else replace(self, note=note)

    def to_json(self) -> dict[str, Any]:
        """Return the quantity as plain values; nothing in it is NaN or infinite."""
        out: dict[str, Any] = {"value": self.value, "unit": self.unit}
        if self.bound is not None:
            out["bound"] = self.bound
        else:
            out["u95"] = self.u95
            if self.lopsided:
                out |= {"low": self.low, "high": self.high}
        if self.at_hz is not None:
            out["at_hz"] = self.at_hz
        if self.note is not None:
            out["note"] = self.note
        return out


OUTERMOST = "outermost frequency measured; beyond it nothing is known"
PERHAPS_BEYOND = "it may lie beyond the outermost frequency measured"
"""Notes of a bound: it is that frequency itself, or one within it."""


def interval(draws: Floats) -> tuple[float, float]:
    """Return the ends of the middle 95 % of ``draws``, shape (N,), as `numpy.quantile` has them.

    Sorting a few hundred numbers is ten times faster than the general function, and this is
    asked for thousands of times.
    """
    low, high = intervals(draws)
    return float(low), float(high)


def intervals(draws: Floats) -> tuple[Floats, Floats]:
    """Return the same of every column of ``draws``, shape (N, ...) to two of shape (...)."""
    ordered, last = np.sort(draws, axis=0), draws.shape[0] - 1
    ends = []
    for share in (0.025, 0.975):
        place = share * last
        left = int(place)
        right = min(left + 1, last)
        ends.append(ordered[left] + (place - left) * (ordered[right] - ordered[left]))
    return ends[0], ends[1]


def from_draws(samples: Floats, unit: str, at_hz: float | None = None) -> Quantity | None:
    """Return the quantity of ``samples``, shape (N,), the estimate first; None if unknown."""
    value = float(samples[0])
    if not np.isfinite(value):
        return None
    draws = samples[1:][np.isfinite(samples[1:])]
    if draws.size == 0:
        return Quantity(value, unit, value, value, at_hz)
    low, high = interval(draws)
    return Quantity(value, unit, min(float(low), value), max(float(high), value), at_hz)


Samples = tuple[Floats, str, float | None]
"""What `from_draws` takes."""


def each_from_draws(samples: Mapping[str, Samples]) -> dict[str, Quantity | None]:
    """Return `from_draws` of each, all of (N,): the draws of all of them are sorted at once."""
    found: dict[str, Quantity] = {}
    rows = np.stack([draws for draws, _, _ in samples.values()])
    known = np.asarray(np.isfinite(rows).all(axis=1))
    if rows.shape[1] > 1 and known.any():
        values = rows[known, 0]
        low, high = intervals(rows[known, 1:].T)
        ends = values, np.minimum(low, values), np.maximum(high, values)
        told = [name for name, whole in zip(samples, known.tolist(), strict=True) if whole]
        for name, value, a, b in zip(told, *(end.tolist() for end in ends), strict=True):
            _, unit, at_hz = samples[name]
            found[name] = Quantity(value, unit, a, b, at_hz)
    return {name: found.get(name) or from_draws(*of) for name, of in samples.items()}


def from_all(samples: Floats, unit: str, at_hz: float | None = None) -> Quantity | None:
    """Return the largest of ``samples``, shape (N,), each of which it may be, and the ends."""
    known = samples[np.isfinite(samples)]
    if known.size == 0:
        return None
    high = float(known.max())
    return Quantity(high, unit, float(known.min()), high, at_hz)


def spanning(parts: Sequence[Quantity | None]) -> Quantity | None:
    """Return one quantity for assumptions that are equally possible: the middle of them all."""
    known = [p for p in parts if p is not None]
    if not known or len(known) < len(parts):
        return None
    if any(p.bound is not None for p in known):
        return _bounding(known)
    low, high = min(p.low for p in known), max(p.high for p in known)
    values = [p.value for p in known]
    middle = (min(values) + max(values)) / 2.0
    return Quantity(middle, known[0].unit, low, high, known[0].at_hz, None, known[0].note)


def worst(parts: Sequence[Quantity | None], worse: Literal["low", "high"]) -> Quantity | None:
    """Return the worst of ``parts`` with an interval that holds them all."""
    known = [p for p in parts if p is not None]
    if not known or len(known) < len(parts):
        return None
    if any(p.bound is not None for p in known):
        return _bounding(known)
    pick = min(known, key=lambda p: p.value if worse == "low" else -p.value)
    low, high = min(p.low for p in known), max(p.high for p in known)
    return Quantity(pick.value, pick.unit, low, high, pick.at_hz, None, pick.note)


def _bounding(parts: Sequence[Quantity]) -> Quantity | None:
    """Return the bound that holds all of ``parts``, of which some are bounds themselves.

    An interval says less than nothing beyond its ends, a bound nothing at all on one side: of both
    together only the end on the other side is left. None where they are open on both sides.
    """
    bounds = {p.bound for p in parts if p.bound is not None}
    if len(bounds) > 1:
        return None
    (bound,) = bounds
    if bound == "above":
        pick = min(parts, key=lambda p: min(p.low, p.value))
        end = min(pick.low, pick.value)
    else:
        pick = max(parts, key=lambda p: max(p.high, p.value))
        end = max(pick.high, pick.value)
    if pick.bound is not None:
        return pick
    note = next((p.note for p in parts if p.bound is not None), None)
    if note == OUTERMOST:  # the end is that of a part that is none
        note = PERHAPS_BEYOND
    return Quantity(end, pick.unit, end, end, pick.at_hz, bound, note)
