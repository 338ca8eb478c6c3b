"""Preferred values of resistors: the series E24 and E96 of IEC 60063."""

from __future__ import annotations

import math
from typing import Literal

Series = Literal["E24", "E96"]

_E24 = (1.0, 1.1, 1.2, 1.3, 1.5, 1.6, 1.8, 2.0, 2.2, 2.4, 2.7, 3.0,
        3.3, 3.6, 3.9, 4.3, 4.7, 5.1, 5.6, 6.2, 6.8, 7.5, 8.2, 9.1)  # fmt: skip
_E96 = tuple(round(10.0 ** (k / 96.0), 2) for k in range(96))

VALUES: dict[Series, tuple[float, ...]] = {"E24": _E24, "E96": _E96}

TOLERANCE: dict[Series, float] = {"E24": 0.05, "E96": 0.01}
"""Share of the value, as each series is sold by default (IEC 60063 made them for it)."""


def around(ohm: float, series: Series) -> tuple[float, float]:
    """Return the preferred values next below (or at) and next above ``ohm`` > 0."""
    decade = 10.0 ** math.floor(math.log10(ohm))
    ladder = [v * decade for v in VALUES[series]] + [10.0 * decade]
    below = max((v for v in ladder if v <= ohm * (1.0 + 1e-9)), default=ladder[0])
    above = min((v for v in ladder if v > below * (1.0 + 1e-9)), default=ladder[-1])
    return _tidy(below), _tidy(above)


def nearest(ohm: float, series: Series) -> float:
    """Return the preferred value nearest to ``ohm`` in ratio."""
    below, above = around(ohm, series)
    return below if ohm / below <= above / ohm else above


def _tidy(ohm: float) -> float:
    """Take out the last bits that a power of ten leaves."""
    return float(f"{ohm:.6g}")
