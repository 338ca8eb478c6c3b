"""Facts of an analysed session beside the truth the simulator gave."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np

from .sessions import Written
from .truth import Truth


@dataclass(frozen=True)
class Compared:
    """One fact: reported value and interval, and the truth at the fact's frequency."""

    name: str
    value: float
    low: float
    high: float
    truth: float
    bound: str | None
    limited: bool

    @property
    def relative(self) -> float:
        """Relative error of the value."""
        return abs(self.value - self.truth) / abs(self.truth) if self.truth else math.inf

    @property
    def inside(self) -> bool:
        """The truth lies in the interval, or on the right side of a bound."""
        if self.bound == "above":
            return self.truth >= self.value
        if self.bound == "below":
            return self.truth <= self.value
        return self.low <= self.truth <= self.high


VANISHING_DB = 100.0


def _db(ratio: complex) -> float:
    return 20 * math.log10(abs(ratio)) if ratio else -math.inf


def _capped(decibels: float) -> float:
    """Beyond 100 dB a ratio is as good as infinite, and the simulator's its rounding."""
    return max(-VANISHING_DB, min(VANISHING_DB, decibels))


def _z(row: str, column: str) -> Callable[[Truth, int], complex]:
    return lambda t, i: complex(t.z[row, column][i])


# Definitions of the facts at drive 1 V: levels are multiplied by the drive afterwards.
LEVELS: dict[str, Callable[[Truth, int], complex]] = {
    "hot_level": lambda t, i: t.hot[i],
    "cold_level": lambda t, i: t.cold[i],
    "differential_level": lambda t, i: t.differential[i],
    "common_mode_level": lambda t, i: (t.hot[i] + t.cold[i]) / 2,
    "single_ended_level": lambda t, i: t.single_ended[i],
    "hot_level_pin_3_tied": lambda t, i: t.hot_pin_3_tied[i],
}
IMPEDANCES: dict[str, Callable[[Truth, int], complex]] = {
    "hot_impedance": _z("hot", "hot"),
    "cold_impedance": _z("cold", "cold"),
    "impedance_mismatch": lambda t, i: t.z["hot", "hot"][i] - t.z["cold", "cold"][i],
    "differential_impedance": lambda t, i: t.differential_impedance[i],
    "common_mode_impedance": lambda t, i: t.common_mode_impedance[i],
    "single_ended_impedance": _z("single-ended", "single-ended"),
}
DECIBELS: dict[str, Callable[[Truth, int], float]] = {
    "gain_difference": lambda t, i: _db(t.differential[i]) - _db(t.single_ended[i]),
    "leg_ratio": lambda t, i: _db(t.cold[i]) - _db(t.hot[i]),
    "signal_balance": lambda t, i: _db(t.differential[i]) - _db((t.hot[i] + t.cold[i]) / 2),
    "output_common_mode_rejection": lambda t, i: _db(t.output_common_mode_rejection[i]),
}
PLAIN: dict[str, Callable[[Truth, int], float]] = {
    "coupling_cold_into_hot": lambda t, i: (t.z["hot", "cold"][i] / t.z["cold", "cold"][i]).real,
    "coupling_hot_into_cold": lambda t, i: (t.z["cold", "hot"][i] / t.z["hot", "hot"][i]).real,
    "pin_3_tie_current": lambda t, i: abs(t.tie_current[i] / t.differential[i]),
}
CURVES: dict[str, Callable[[Truth, int], complex]] = {
    "hot_open_circuit": LEVELS["hot_level"],
    "cold_open_circuit": LEVELS["cold_level"],
    "single_ended_open_circuit": LEVELS["single_ended_level"],
    "hot_impedance": IMPEDANCES["hot_impedance"],
    "cold_impedance": IMPEDANCES["cold_impedance"],
    "cold_into_hot_impedance": _z("hot", "cold"),
    "hot_into_cold_impedance": _z("cold", "hot"),
    "differential_impedance": IMPEDANCES["differential_impedance"],
    "common_mode_impedance": IMPEDANCES["common_mode_impedance"],
    "single_ended_impedance": IMPEDANCES["single_ended_impedance"],
}


IN_PHASE = ("8a2", "8d")
"""The legs are alike: nothing is left between them, and no current is so much per volt of it."""


def side_of(document: dict[str, Any]) -> dict[str, Any]:
    """The only side of a session written here."""
    (side,) = document["sides"].values()
    return side


def compare(document: dict[str, Any], written: Written) -> dict[str, Compared]:
    """Every fact this module knows a truth for."""
    facts = side_of(document)["facts"]
    names = [*LEVELS, *IMPEDANCES, *DECIBELS, *PLAIN, "leg_phase"]
    if written.circuit.name in IN_PHASE:
        names.remove("pin_3_tie_current")
    return {name: _compared(name, facts[name], written) for name in names if name in facts}


def _compared(name: str, fact: dict[str, Any], written: Written) -> Compared:
    index = _index(written.truth, fact.get("at_hz", 997.1))
    value = fact["value"]
    truth = _truth(name, written, index)
    if name == "leg_phase":
        truth = value + (truth - value + 180) % 360 - 180
    low = fact.get("low", value - fact.get("u95", math.inf))
    high = fact.get("high", value + fact.get("u95", math.inf))
    if name in DECIBELS:
        value, low, high, truth = (_capped(x) for x in (value, low, high, truth))
    limited = bool(fact.get("limited_by_bench"))
    return Compared(name, value, low, high, truth, fact.get("bound"), limited)


def _truth(name: str, written: Written, index: int) -> float:
    t = written.truth
    if name in LEVELS:
        return abs(LEVELS[name](t, index)) * written.drive_volts
    if name in IMPEDANCES:
        return abs(IMPEDANCES[name](t, index))
    if name in DECIBELS:
        return float(DECIBELS[name](t, index))
    if name in PLAIN:
        return float(PLAIN[name](t, index))
    return float(np.degrees(np.angle(t.cold[index] / t.hot[index])))


def _index(truth: Truth, hz: float) -> int:
    index = int(np.argmin(abs(truth.hz - hz)))
    if abs(truth.hz[index] - hz) > 1e-6 * hz:
        raise KeyError(f"a fact at {hz} Hz, which is no tone of the session")
    return index


@dataclass(frozen=True)
class Point:
    """One point of a complex curve: reported, its u95, and the truth (magnitudes)."""

    name: str
    hz: float
    value: float
    u95: float
    truth: float

    @property
    def relative(self) -> float:
        return abs(self.value - self.truth) / abs(self.truth) if self.truth else math.inf


def curve_points(document: dict[str, Any], written: Written) -> Iterator[Point]:
    """Every known point of every curve, as magnitudes."""
    curves = side_of(document)["curves"]
    for name, definition in CURVES.items():
        if name not in curves:
            continue
        curve = curves[name]
        scale = written.drive_volts if name.endswith("open_circuit") else 1.0
        for hz, real, imag, u95 in zip(
            curve.get("hz", curves["hz"]), curve["real"], curve["imag"], curve["u95"], strict=True
        ):
            if real is None or imag is None or u95 is None:
                continue
            truth = abs(definition(written.truth, _index(written.truth, hz))) * scale
            yield Point(name, hz, abs(complex(real, imag)), u95, truth)
