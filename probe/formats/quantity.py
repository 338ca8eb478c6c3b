"""Figures with units as people type them: ``12 mV``, ``4.7k``, ``600ohm``, ``0,3 V``, ``-10 dBV``.

A comma is a decimal one; as in 1,000, where it may as well part the thousands, it is refused: of a
meter's reading that would be a kilovolt taken for a volt.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass

from probe.decibels import DBU_VOLTS

_NUMBER = re.compile(
    r"([+-]?(?:\d+(?:[.,]\d*)?|[.,]\d+)(?:e[+-]?\d+)?)\s*([^\d\s.,]*)", re.I | re.ASCII
)
_THOUSANDS = re.compile(r"[+-]?[1-9]\d{0,2},\d{3}")
_ALIKE = str.maketrans(
    {"\u2212": "-", "\u00b5": "u", "\u03bc": "u", "\u03a9": "ohm", "\u03c9": "ohm"}
    | {chr(0xFF10 + digit): str(digit) for digit in range(10)}
)
"""What is typed for the same: minus, micro (two signs), ohm (two cases), digits of full width."""

UNITS: Mapping[str, Mapping[str, float]] = {
    "V": {"v": 1.0, "mv": 1e-3, "uv": 1e-6},
    "A": {"a": 1.0, "ma": 1e-3, "ua": 1e-6},
    "F": {"pf": 1e-12, "nf": 1e-9, "uf": 1e-6},
    # nobody types milliohms here, and hardly anybody a large M
    "ohm": {"ohm": 1.0, "k": 1e3, "kohm": 1e3, "m": 1e6, "mohm": 1e6},
}
"""By unit: what may be typed behind a number, in small letters, and its factor."""

LEVELS: Mapping[str, Mapping[str, float]] = {"V": {"dbu": DBU_VOLTS, "dbv": 1.0}}
"""By unit: what counts in decibels, in small letters, and what 0 dB of it is."""

MOST_DECIBELS = 1000.0
"""What is more, up or down, is no level of anything."""


@dataclass(frozen=True)
class Typed:
    """A figure as understood.

    Attributes
    ----------
    value
        In the unit it was asked in.
    number, unit
        As typed; ``unit`` is empty where there was none.
    """

    value: float
    number: str
    unit: str


def other_digit(text: str) -> str:
    """Return the first digit of another script, which may look like another figure; or nothing."""
    told = text.translate(_ALIKE)
    return next((c for c in told if c.isdecimal() and not c.isascii()), "")


def typed_quantity(text: str, unit: str, *, bare: bool = True) -> Typed | None:
    """Return a typed figure in ``unit``, None where it is none or its unit is another.

    Parameters
    ----------
    text
        As typed.
    unit
        A key of `UNITS`, or any other unit, which has itself alone.
    bare
        Whether a number alone is one in ``unit``.
    """
    found = _NUMBER.fullmatch(text.strip().translate(_ALIKE))
    if found is None or _THOUSANDS.fullmatch(found[1]):
        return None
    number, behind = float(found[1].replace(",", ".")), found[2].lower()
    if behind in LEVELS.get(unit, {}):
        if abs(number) > MOST_DECIBELS:
            return None
        return Typed(LEVELS[unit][behind] * 10.0 ** (number / 20.0), found[1], found[2])
    factors = UNITS.get(unit, {unit.lower(): 1.0})
    factor = factors.get(behind) if behind else 1.0 if bare else None
    return None if factor is None else Typed(number * factor, found[1], found[2])
