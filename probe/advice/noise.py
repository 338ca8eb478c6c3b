"""The noise of the legs an option uses, A-weighted, below the destination's full output.

An input hears a weighted sum of what the terminals give by themselves, ``sum w V`` with the
weights of the solved network. What is measured of the noise are the powers of hot, cold and their
difference; their correlation follows:

    <h c> = (h² + c² - d²) / 2

so that any weighted sum is known, the tied leg of a floating stage as well as pin 2 alone. Where
only the difference is stated, what the legs bring beside it is a range while it is little. The
correlation is taken as real (both legs in or against phase), and the weights at the reference
frequency. The receiver's own noise is not known and not in it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from probe.advice.destination import Input
from probe.advice.hum import full_output
from probe.advice.quantity import Quantity
from probe.advice.solve import Response
from probe.decibels import db_to_ratio, ratio_to_db

Floats = NDArray[np.float64]

QUIETEST = 1e-12
"""V standing for no noise, so that decibels stay finite."""

NAMES = {
    "hot": "hot_noise_a",
    "cold": "cold_noise_a",
    "difference": "differential_noise_a",
    "single-ended": "single_ended_noise_a",
}
"""Facts, A-weighted, V rms."""


@dataclass(frozen=True)
class Level:
    """A noise level, V rms: value, half-width of its interval, and whether it is only a bound."""

    volts: float
    u95: float
    bounded: bool


@dataclass(frozen=True)
class DeviceNoise:
    """What was measured of the noise of one side, by terminal or ``difference``."""

    levels: Mapping[str, Level]

    @classmethod
    def of(cls, facts: Mapping[str, Any]) -> DeviceNoise:
        """Return the noise among the facts of a side."""
        found = {}
        for name, fact in NAMES.items():
            entry = facts.get(fact)
            if entry is not None and "value" in entry:
                bounded = entry.get("bound") == "below" or bool(entry.get("limited_by_bench"))
                found[name] = Level(float(entry["value"]), float(entry.get("u95", 0.0)), bounded)
        return cls(found)

    def __bool__(self) -> bool:
        """Tell whether anything was measured."""
        return bool(self.levels)


@dataclass(frozen=True)
class Noise:
    """Noise at the input, V rms A-weighted, and below full output."""

    volts: Quantity
    below: Quantity


def noise_of(response: Response, socket: Input, noise: DeviceNoise) -> Noise | None:
    """Return the noise of a solved option, or None where a leg it uses was not measured."""
    found = _power(response, noise)
    if found is None:
        return None
    power, doubt, bounded = found
    volts = float(np.sqrt(max(power, QUIETEST**2)))
    u95 = doubt / (2.0 * volts)
    low, high = max(volts - u95, QUIETEST), volts + u95
    full, note = full_output(socket)
    heard = Quantity(volts, "V", low, high, bound="below" if bounded else None)
    ends = (float(ratio_to_db(full / v)) for v in (volts, high, low))
    below = Quantity(*_with_unit(*ends), bound="above" if bounded else None, note=note)
    return Noise(heard, below)


def _with_unit(value: float, low: float, high: float) -> tuple[float, str, float, float]:
    return value, "dB", low, high


def _power(response: Response, noise: DeviceNoise) -> tuple[float, float, bool] | None:
    """Return the noise power at the input (V²), its half-width, and whether it is a bound."""
    weights = {axis: complex(w[0]) for axis, w in response.weights.items()}
    if not all(np.isfinite(w) for w in weights.values()):
        return None
    parts = _modal_parts(weights) if "difference" in weights else _plain_parts(weights)
    beside = _beside(parts, noise)
    if beside is None:
        return None
    parts = {name: share for name, share in parts.items() if name in noise.levels}
    held = [(share, noise.levels[name]) for name, share in parts.items()]
    power = sum(share * level.volts**2 for share, level in held)
    doubt = np.sqrt(sum((2.0 * share * level.volts * level.u95) ** 2 for share, level in held))
    low, high = beside
    power, doubt = power + (low + high) / 2.0, np.hypot(doubt, (high - low) / 2.0)
    return float(power), float(doubt), any(level.bounded for _, level in held)


LITTLE_DB = 1.0
"""What legs of unknown noise may bring or take where the whole is told as a range. [judgement]"""


def _beside(parts: Mapping[str, float], noise: DeviceNoise) -> tuple[float, float] | None:
    """Return the ends of the power (V²) that legs of unknown noise bring; None: it may decide.

    A leg that is only stated together with the other one is taken to make anything up to what
    both make between them (common practice): what of it reaches an RCA output through a resistor
    they may share, or a balanced input that loads its legs unlike, is little of the whole.
    """
    unknown = [share for name, share in parts.items() if name not in noise.levels]
    if not unknown:
        return 0.0, 0.0
    pair = noise.levels.get("difference")
    legs = all(name in noise.levels for name in parts if name not in ("hot", "cold"))
    known = sum(s * noise.levels[n].volts ** 2 for n, s in parts.items() if n in noise.levels)
    if pair is None or not legs or known <= 0.0:
        return None
    low = sum(min(share, 0.0) for share in unknown) * pair.volts**2
    high = sum(max(share, 0.0) for share in unknown) * pair.volts**2
    little = known * (float(db_to_ratio(LITTLE_DB)) ** 2 - 1.0)
    return (low, high) if max(high, -low) <= little else None


def _plain_parts(weights: Mapping[str, complex]) -> dict[str, float]:
    return {name: abs(w) ** 2 for name, w in weights.items() if abs(w) > WEIGHTLESS}


WEIGHTLESS = 1e-6
"""A weight below this carries no noise that could be heard."""


def _modal_parts(weights: Mapping[str, complex]) -> dict[str, float]:
    """Return the shares of h², c², d² and of the single-ended output in the noise power.

    With weights of difference and mean (wd, wm): hot has ``wd + wm/2``, cold ``-wd + wm/2``, and
    twice their real product times ``<h c>`` is shared out among the three. What is negligible is so
    beside the largest share: a leg that reaches the RCA through what both may share is no reason to
    know nothing of the noise there.
    """
    wd, wm = weights["difference"], weights["mean"]
    hot, cold = wd + wm / 2.0, -wd + wm / 2.0
    cross = float((hot * cold.conjugate()).real)
    parts = {
        "hot": abs(hot) ** 2 + cross,
        "cold": abs(cold) ** 2 + cross,
        "difference": -cross,
    }
    single = abs(weights.get("single-ended", 0j)) ** 2
    if single > WEIGHTLESS**2:
        parts["single-ended"] = single
    scale = max(abs(hot) ** 2, abs(cold) ** 2, single, WEIGHTLESS**2)
    return {name: share for name, share in parts.items() if abs(share) > NEGLIGIBLE * scale}


NEGLIGIBLE = 1e-3
"""Share of a leg's noise power (0.004 dB of the whole) that need not be measured."""
