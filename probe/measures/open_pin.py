"""What is said of a silent pin that may be connected to nothing, and of the pair it belongs to.

A recorder all but shorts such a pin. What it carries without one is what strays bring from the
driven leg: a share of its level, from nothing to all of it, turned by no more than a quarter (a
capacitance into whatever leads to pin 1). So the share lies in the disc over the real line from 0
to 1, and neither the pin nor the pair carries more than the driven leg.
"""

from __future__ import annotations

import math

import numpy as np

from probe.measures.statement import (
    DISTINGUISHED_ALONG,
    Entry,
    at_most,
    impedance_entry,
    level_entry,
)
from probe.stage import limits
from probe.stage.network import Complex
from probe.stage.quantities import reading
from probe.stage.solved import Solved

NO_MORE = {"value": 0.0, "unit": "dB", "u95": 0.0, "bound": "below", "limited_by_bench": True}

ALL_ON_ONE_LEG = {**NO_MORE, "value": 20.0 * math.log10(2.0)}
"""Difference over mean where one leg carries nothing: the most it is of any share in that disc."""


def untold(legs: Solved, k: int) -> bool:
    """Return whether of an open leg's impedance only a bound is known at tone ``k``.

    Then its voltage without the recorder, ``V (1 + Y/g)``, is not known either.
    """
    if legs.open_leg is None:
        return False
    leg = ("hot", "cold")[legs.open_leg]
    own = reading(legs, leg, leg, k)
    entry = impedance_entry(own.draws, sigma=own.sigma, inverse=True)
    return entry is None or "bound" in entry


def against(silent: Complex, live: Complex) -> bool:
    """Return whether what a silent leg picks up comes from a voltage against the driven leg's.

    Through a capacitance from the driven leg flows a current a quarter turn ahead of it; draws
    (1 + D,) of both as recorded.
    """
    ahead = (silent / np.where(np.abs(live) > 0.0, 1j * live, 1e-300)).real
    scatter = float(np.std(ahead[1:])) if len(ahead) > 1 else 0.0
    return bool(ahead[0] < -DISTINGUISHED_ALONG * max(scatter, limits.CROSSTALK))


def most_of_pair(live: Complex, silent: str) -> dict[str, Entry]:
    """Return what the driven leg's level, draws (1 + D,), bounds of the silent leg and the pair."""
    most = at_most(level_entry(live, limited=True))
    ratio = NO_MORE if silent == "cold" else {**NO_MORE, "bound": "above"}
    return {
        f"{silent}_level": most,
        "differential_level": most,
        "common_mode_level": most,
        "signal_balance": dict(ALL_ON_ONE_LEG),
        "leg_ratio": ratio,
    }
