"""A specification's figures in the units of the facts. Decibels only here, at the edge."""

from __future__ import annotations

import math

from probe.numbers import DBU_VOLTS

MILLIWATT = 1e-3
FACTORS = {
    "V": 1.0, "mV": 1e-3, "uV": 1e-6, "ohm": 1.0, "kohm": 1e3, "Hz": 1.0, "kHz": 1e3,
    "percent": 1.0,
}  # fmt: skip


def in_facts_unit(value: float, unit: str, fact_unit: str, load_ohm: float | None) -> float:
    """Return a stated figure in the unit the facts use; every conversion rises with the figure.

    Parameters
    ----------
    value, unit
        As stated. 0 dBu is sqrt(0.6) V, 0 dBV is 1 V, 0 dBm is 1 mW in ``load_ohm``.
    fact_unit
        ``V``, ``ohm``, ``Hz``, ``percent`` or ``dB``.
    load_ohm
        For dBm only.
    """
    if fact_unit == "V" and unit in ("dBu", "dBV", "dBm"):
        return _reference(unit, load_ohm) * _ratio(value)
    if fact_unit == "percent" and unit == "dB":
        return 100.0 * _ratio(value)
    return value if unit == fact_unit else value * FACTORS[unit]


def _ratio(db: float) -> float:
    return float(10.0 ** (db / 20.0))


def _reference(unit: str, load_ohm: float | None) -> float:
    if unit == "dBm":
        return math.sqrt(MILLIWATT * (load_ohm or 600.0))
    return DBU_VOLTS if unit == "dBu" else 1.0
