"""One example against its sisters: every example of a model in the archive.

The middle of the sisters is their median and their spread 1.4826 times the median distance from it
(the standard deviation of a normal distribution, unmoved by a few odd ones). An example is outside
where its distance from the median is more than ``k(n)`` spreads, and its whole 95 % interval lies
beyond. ``k(n)`` is chosen by simulation so that one in a hundred healthy examples of a normal
family is outside by chance, for each fact (`tests/archive/test_family.py` holds it). With
fewer than five sisters only the comparison is shown. A spread smaller than the sisters' own doubts
is widened to them: measuring well is no reason to be suspicious.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from statistics import median
from typing import Any

from probe.archive.entry import Entry
from probe.compare.asked import check_asked
from probe.compare.conditions import Circumstances, apart, circumstances, of_the_device
from probe.compare.difference import doubts, reach
from probe.numbers import number

FEWEST = 5
"""Sisters from which a spread means anything."""

NORMAL = 1.4826
"""Standard deviation of a normal distribution over its median absolute deviation."""

CHANCE = 0.01
"""Share of healthy examples outside by chance, for each fact."""

FACTORS = (
    (5, 14.5), (6, 8.1), (7, 7.8), (8, 5.9), (10, 5.0), (12, 4.5), (15, 4.1), (20, 3.6),
    (30, 3.2), (50, 2.95), (100, 2.75), (1000, 2.6),
)  # fmt: skip
"""Sisters n and k(n), made by simulation; between them the larger one holds."""


@dataclass(frozen=True)
class Kin:
    """One fact of one side against the sisters'.

    ``middle`` and ``spread`` are None below five sisters; ``outside`` is None where nobody can
    tell. ``values`` are the sisters' own.
    """

    side: str
    fact: str
    unit: str
    own: Mapping[str, Any]
    sisters: int
    values: tuple[float, ...]
    middle: float | None
    spread: float | None
    factor: float | None
    outside: bool | None


def sisters_of(entry: Entry, of_the_model: Sequence[Entry]) -> tuple[list[Entry], int]:
    """Return the latest look at every other serial, and how many serials were left out.

    A simulated example says nothing about real ones, nor they about it: those of the other sort
    are left out.
    """
    latest: dict[str, Entry] = {}
    for other in sorted(of_the_model, key=lambda e: (e.measured_on, e.id)):
        if other.serial != entry.serial and other.simulated == entry.simulated:
            latest[other.serial] = other
    others = {e.serial for e in of_the_model} - {entry.serial, *latest}
    return list(latest.values()), len(others)


def factor(sisters: int) -> float:
    """Return how many spreads are allowed with this many sisters."""
    known = [k for n, k in FACTORS if n <= sisters]
    if not known:
        raise ValueError(f"{sisters} sisters are fewer than {FEWEST}")
    return known[-1]


def family(
    own: Mapping[str, Any], sisters: Sequence[Mapping[str, Any]], facts: Sequence[str] = ()
) -> list[Kin]:
    """Return every fact of ``own`` against the sisters measured under the same conditions.

    Parameters
    ----------
    own
        Facts document of the example asked about.
    sisters
        Facts documents of the others, one for each serial.
    facts
        Names asked for; all where left out. `BadInput` where nobody has one.
    """
    check_asked(facts, [own, *sisters])
    rows = []
    for side, body in own["sides"].items():
        for name, entry in (body.get("facts") or {}).items():
            asked = name in facts if facts else of_the_device(name)
            if asked and isinstance(entry, Mapping) and number(entry) is not None:
                here = circumstances(own, body, entry)
                unit = str(entry.get("unit", ""))
                kin = [k for s in sisters for k in _of(s, side, name, unit, here)]
                rows.append(_row(side, name, unit, entry, kin))
    return rows


def _of(
    sister: Mapping[str, Any], side: str, name: str, unit: str, here: Circumstances
) -> list[Mapping[str, Any]]:
    """Return the same fact of a sister: of the same side, or its mean place where it has one."""
    body = sister["sides"].get(side) or {}
    entry = (body.get("facts") or {}).get(name)
    if not isinstance(entry, Mapping) or number(entry) is None or entry.get("bound"):
        return []
    if entry.get("unit", "") != unit or apart(name, unit, here, circumstances(sister, body, entry)):
        return []
    return [entry]


def _row(
    side: str, name: str, unit: str, own: Mapping[str, Any], kin: Sequence[Mapping[str, Any]]
) -> Kin:
    values = tuple(float(e["value"]) for e in kin)
    if len(values) < FEWEST:
        return Kin(side, name, unit, own, len(values), values, None, None, None, None)
    middle = median(values)
    doubt = median(max(doubts(e)) / 1.96 for e in kin)
    spread = max(NORMAL * median(abs(v - middle) for v in values), doubt)
    k = factor(len(values))
    low, high = reach(own)
    outside: bool | None = low > middle + k * spread or high < middle - k * spread
    if own.get("bound") and not outside:
        outside = None
    if not math.isfinite(spread) or spread <= 0.0:
        outside = None
    return Kin(side, name, unit, own, len(values), values, middle, spread, k, outside)
