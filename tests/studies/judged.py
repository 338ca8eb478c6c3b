"""The facts of a simulated session beside the truth of its circuit."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from probe.simulate.network import recorded, truth
from probe.simulate.truth import Truth
from tests.spice.expected import EXPECTED

from .drawn import Drawn

ROW = {
    "symmetrical-dual": "1",
    "symmetrical-dual-coupled": "1b",
    "core-and-inverter": "2",
    "cross-coupled": "3",
    "cross-coupled-loose": "3b",
    "floating-transformer": "4",
    "tapped-transformer": "4b",
    "impedance-balanced": "5",
    "impedance-balanced-coupled": "5b",
    "pin-3-grounded": "6",
    "pin-3-hot-pin-2-grounded": "6",
    "pin-3-open": "7",
    "cold-amplifier-saturated": "8a",
    "cold-amplifier-dead": "8a2",
    "cold-inverter-silent": "8a3",
    "hot-leg-broken": "8b",
    "cold-leg-broken": "8c",
    "legs-in-phase": "8d",
    "legs-exchanged": "8e",
    "cold-capacitor-dried": "8f",
    "ground-sensing": "9",
    "ground-sensing-buffered": "9",
    "impedance-balanced-exchanged": "ibswapped",
    "shared-build-out": "shared",
    "shared-socket": "shared",
    "valve-followers": "valve",
}
"""Circuit of the library to its row in the table of accepted answers."""

OPEN_LEG = {"pin-3-open": "cold", "cold-leg-broken": "cold", "hot-leg-broken": "hot"}
TIED_LEG = {"pin-3-grounded": "cold", "pin-3-hot-pin-2-grounded": "hot"}

TOP_DB = 120.0
"""Ratios beyond this are infinite to any recorder, and to the circuit solver's rounding."""


def accepted_kinds(circuit: str) -> frozenset[str]:
    """The kinds that are right for a circuit of the library."""
    return frozenset(answer.kind for answer in EXPECTED[ROW[circuit]])


@dataclass(frozen=True)
class Judged:
    """One fact: what was stated, what is true. ``form`` is interval, limited or bound."""

    name: str
    form: str
    value: float
    low: float
    high: float
    true: float
    at_hz: float

    @property
    def holds(self) -> bool:
        """The truth lies within the interval or on the right side of the bound."""
        return self.low <= self.true <= self.high

    @property
    def z(self) -> float:
        """Error of the value over half the interval, in units of 1.96 standard deviations."""
        half = (self.high - self.low) / 2.0
        return (self.value - self.true) / half if half > 0.0 else math.inf


class TrueFacts:
    """True values of every fact of one session, at any frequency."""

    def __init__(self, drawn: Drawn) -> None:
        self.drawn = drawn
        playing = [t for t in drawn.stage.takes if t.plays]
        self.drive = playing[0].drive_volts * playing[0].gain if playing else 0.0
        self._known: dict[tuple[float, bool], Truth] = {}

    def at(self, hz: float, *, powered: bool = True) -> Truth:
        """The stage at one frequency."""
        key = (hz, powered)
        if key not in self._known:
            self._known[key] = truth(self.drawn.stage, [hz], "left", powered=powered)
        return self._known[key]

    def value(self, name: str, hz: float) -> float | None:
        """The true value of a fact in its unit; None where this study knows none."""
        if name.endswith("_off"):
            z = self.at(hz, powered=False).z[0]
            return float(abs(z[_LEG[name[:-4]], _LEG[name[:-4]]]))
        if name.endswith("_recorded"):
            return self._recorded(name.removesuffix("_recorded"), hz)
        found = self.at(hz)
        voc, z = found.voc[0] * self.drive, found.z[0]
        if name in _LEVELS:
            return float(abs(_LEVELS[name](voc, z)))
        if name in _IMPEDANCES:
            return float(abs(_IMPEDANCES[name](z)))
        if name in _RATIOS:
            return _db(*_RATIOS[name](voc, z))
        if name == "leg_phase":
            return float(np.degrees(np.angle(voc[1] / voc[0])))
        if name == "coupling_cold_into_hot":
            return float((z[0, 1] / z[1, 1]).real)
        if name == "coupling_hot_into_cold":
            return float((z[1, 0] / z[0, 0]).real)
        if name == "pin_3_tie_current":
            return float(abs(voc[1] / z[1, 1] / (voc[0] - voc[1])))
        return None

    def _recorded(self, leg: str, hz: float) -> float | None:
        for take in self.drawn.stage.takes:
            legs = {"hot", "cold"} <= set(take.channels)
            if take.plays and legs and not take.loads and not take.injections:
                found = recorded(self.drawn.stage, take)
                k = int(np.argmin(np.abs(found.hz - hz)))
                return float(abs(found.volts[k, take.channels.index(leg)]))
        return None


_LEG = {"hot_impedance": 0, "cold_impedance": 1, "single_ended_impedance": 2}
Vector = NDArray[np.complex128]


def rejection(z: Vector) -> complex:
    """Differential volts per volt of common mode: 300 ohm into each leg, 600 ohm across."""
    y = np.array([[1 / 300 + 1 / 600, -1 / 600], [-1 / 600, 1 / 300 + 1 / 600]])
    legs = z[:2, :2]
    volts = np.linalg.solve(np.eye(2) + legs @ y, legs @ np.full(2, 1 / 300))
    return complex(volts[0] - volts[1])


_LEVELS = {
    "hot_level": lambda v, z: v[0],
    "cold_level": lambda v, z: v[1],
    "differential_level": lambda v, z: v[0] - v[1],
    "common_mode_level": lambda v, z: (v[0] + v[1]) / 2,
    "single_ended_level": lambda v, z: v[2],
    "hot_level_pin_3_tied": lambda v, z: v[0] - z[0, 1] / z[1, 1] * v[1],
}
_IMPEDANCES = {
    "hot_impedance": lambda z: z[0, 0],
    "cold_impedance": lambda z: z[1, 1],
    "impedance_mismatch": lambda z: z[0, 0] - z[1, 1],
    "differential_impedance": lambda z: z[0, 0] + z[1, 1] - z[0, 1] - z[1, 0],
    "common_mode_impedance": lambda z: 1.0 / np.linalg.inv(z[:2, :2]).sum(),
    "single_ended_impedance": lambda z: z[2, 2],
}
_RATIOS = {
    "gain_difference": lambda v, z: (v[0] - v[1], v[2]),
    "leg_ratio": lambda v, z: (v[1], v[0]),
    "signal_balance": lambda v, z: (v[0] - v[1], (v[0] + v[1]) / 2),
    "output_common_mode_rejection": lambda v, z: (1.0, rejection(z)),
}


def _db(top: complex, bottom: complex) -> float:
    if abs(bottom) == 0.0:
        return TOP_DB
    return float(np.clip(20.0 * math.log10(max(abs(top / bottom), 1e-30)), -TOP_DB, TOP_DB))


def judge(facts: dict[str, Any], drawn: Drawn) -> list[Judged]:
    """Every stated fact whose truth is known."""
    known = TrueFacts(drawn)
    out = []
    for name, fact in facts.items():
        true = known.value(name, fact["at_hz"]) if "at_hz" in fact else None
        if true is not None:
            out.append(_judged(name, fact, true))
    return out


def _judged(name: str, fact: dict[str, Any], true: float) -> Judged:
    value, bound = fact["value"], fact.get("bound")
    low, high = fact.get("low", value - fact["u95"]), fact.get("high", value + fact["u95"])
    if name == "leg_phase":
        true = value + (true - value + 180.0) % 360.0 - 180.0
    if fact["unit"] == "dB":
        value, low, high = (min(max(x, -TOP_DB), TOP_DB) for x in (value, low, high))
    form = "interval"
    if bound is not None:
        form = "bound"
        low, high = (value, math.inf) if bound == "above" else (-math.inf, value)
    elif fact.get("limited_by_bench"):
        form = "limited"
    return Judged(name, form, value, low, high, true, fact["at_hz"])


def wanted(drawn: Drawn) -> tuple[str, ...]:
    """Facts that the full set of takes supports for this circuit."""
    circuit = drawn.circuit
    names = [
        "hot_recorded", "cold_recorded", "hot_level", "cold_level", "differential_level",
        "common_mode_level", "signal_balance", "leg_ratio", "single_ended_level",
        "hot_impedance", "cold_impedance", "differential_impedance", "common_mode_impedance",
        "single_ended_impedance",
    ]  # fmt: skip
    if circuit not in OPEN_LEG and circuit not in TIED_LEG:
        names += ["impedance_mismatch", "output_common_mode_rejection", "hot_level_pin_3_tied"]
    # of an open leg a recorder hears a share only, and a tied one divides by nothing
    if circuit not in OPEN_LEG:
        names += [
            f"coupling_{leg}_into_{other}"
            for leg, other in (("hot", "cold"), ("cold", "hot"))
            if TIED_LEG.get(circuit) != leg
        ]
    if circuit != "legs-in-phase":
        names.append("gain_difference")
    return tuple(names)
