"""An attenuator of two or three resistors in the plug at the destination.

Unbalanced (an L pad): ``series_ohm`` in the centre, ``shunt_ohm`` from there to the shell.
Balanced (a U pad): ``series_ohm`` in each leg, ``shunt_ohm`` across the legs, so that nothing
of it touches ground and no signal current goes there.

With a source ``Zs``, an input ``Zl`` (between the terminals the pad sits on), all series
resistance ``S`` and the shunt with the input in parallel ``p``:

    attenuation A = [Zl / (Zs + Zl)] / [p / (Zs + S + p)]                        (1)
    wanted S + p = Rin   =>   p = (Zs + Rin) Zl / ((Zs + Zl) A)                  (2)
    shunt = 1 / (1/p - 1/Zl)                                                     (3)

Without a shunt (p = Zl) the output sees the most that this attenuation allows:

    Rin = A (Zs + Zl) - Zs                                                       (4)
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import product

from probe.advice.preferred import TOLERANCE, Series, around
from probe.decibels import db_to_ratio, ratio_to_db
from probe.numbers import plain, write_number

ROOM_TO_ROUND = 1.1
"""A pad is aimed so far above the least load allowed: preferred values (E24) are as near as
that."""

PAD_OHM = 10e3
"""What the output sees of pad and input together, ohm. [practice] The usual load a line output
is specified into; less loads it, more makes noise and treble loss."""

SOURCE_MULTIPLE = 10.0
"""The pad's input is at least this many times the source impedance, so that what is known badly
of the source changes the attenuation by less than a decibel. [judgement]"""

LARGEST_PAD_OHM = 50e3
"""Above it the resistors' own noise and the input's capacitance begin to count. [judgement]"""

MOST_DB = 60.0
"""Beyond it an attenuator in a plug is the wrong cure. [judgement]"""


NO_SHUNT = 0.99
"""Share of the input's ohms from which input and shunt together are the input alone: the shunt
would do a tenth of a decibel at most, less than the tolerance of the others. [judgement]"""


@dataclass(frozen=True)
class Pad:
    """Resistors in the destination's plug, ohm; ``balanced``: one series resistor in each leg.

    ``shunt_ohm`` is infinite where there is none. ``tolerance``: share of its value by which each
    resistor may be off. ``unlike``: share by which hot's series resistor is above its value, and
    cold's below.
    """

    series_ohm: float
    shunt_ohm: float
    balanced: bool
    tolerance: float = 0.0
    unlike: float = 0.0

    @property
    def legs_ohm(self) -> tuple[float, float]:
        """Series resistors of hot and cold, of a balanced one."""
        return self.series_ohm * (1.0 + self.unlike), self.series_ohm * (1.0 - self.unlike)

    def worst(self) -> tuple[Pad, ...]:
        """Return it as its tolerance may make it for hum: with legs as unlike as may be.

        An unbalanced one is itself: nothing is taken from its resistors' difference.
        """
        if not self.balanced or not self.tolerance:
            return (self,)
        return tuple(replace(self, unlike=sign * self.tolerance) for sign in (1.0, -1.0))

    @property
    def in_series(self) -> bool:
        """It has no shunt."""
        return math.isinf(self.shunt_ohm)

    @property
    def named(self) -> str:
        """What it is called."""
        if not self.in_series:
            return "an attenuator"
        return "two series resistors" if self.balanced else "a series resistor"

    @property
    def total_series_ohm(self) -> float:
        """All the resistance in the way of the signal current."""
        return self.series_ohm * (2.0 if self.balanced else 1.0)

    def says_in(self, connector: str) -> str:
        """Return how it is made in the plug of a ``connector``, in one clause."""
        s = plain(write_number(self.series_ohm, "ohm"))
        if self.in_series:
            contact = "pin 2" if connector == "xlr" else "the centre"
            each = f"{s} in each of the leads to pins 2 and 3"
            return each if self.balanced else f"{s} in the lead to {contact}"
        p = plain(write_number(self.shunt_ohm, "ohm"))
        if self.balanced:
            return f"{s} in each of the leads to pins 2 and 3, {p} across pins 2 and 3 behind them"
        if connector == "xlr":
            return f"{s} in the lead to pin 2, {p} from pin 2 to pin 1 behind it"
        return f"{s} in the lead to the centre, {p} from the centre to the shell behind it"


RATINGS_WATT = (0.25, 0.5, 1.0, 2.0, 3.0, 5.0)
"""What resistors are sold for. [practice] Those of the first size are what a plug is made with."""

IN_PLUG = 2.0
"""A resistor inside a closed plug is used to half of its rating. [practice]"""


def rating_watt(pad: Pad, load_ohm: float, volts: float) -> float:
    """Return the rating that each resistor of a pad needs, W; the largest made if none is enough.

    ``volts``: the most behind the pad, rms. ``P = U^2 / R`` of the shunt; the series resistors
    carry its current and that of the input.
    """
    ampere = volts / pad.shunt_ohm + volts / load_ohm
    most = max(volts**2 / pad.shunt_ohm, ampere**2 * pad.series_ohm)
    return next((r for r in RATINGS_WATT if r >= IN_PLUG * most), RATINGS_WATT[-1])


@dataclass(frozen=True)
class Design:
    """A pad of preferred values, with the attenuation it gives.

    ``attenuation_db`` with nominal values; ``least_db`` and ``most_db`` with every resistor at
    the unfavourable end of its tolerance.
    """

    series: Series
    pad: Pad
    wanted_db: float
    attenuation_db: float
    least_db: float
    most_db: float

    @property
    def error_db(self) -> float:
        """Attenuation of the nominal values less the wanted one."""
        return self.attenuation_db - self.wanted_db

    def moved_by(self, decibels: float, less: float = 0.0, more: float = 0.0) -> Design:
        """Return the design with its figures moved to what the whole network gives.

        They are those of one impedance on either side, which stands for all of it. ``less`` and
        ``more``: by how much it may give less or more, for what is not known of output and input.
        """
        return replace(
            self,
            attenuation_db=self.attenuation_db + decibels,
            least_db=self.least_db + decibels - less,
            most_db=self.most_db + decibels + more,
        )


def attenuation_db(pad: Pad, source_ohm: float, load_ohm: float) -> float:
    """Return by how much the level at the input falls when the pad is put in, dB (1)."""
    parallel = 1.0 / (1.0 / pad.shunt_ohm + 1.0 / load_ohm)
    before = load_ohm / (source_ohm + load_ohm)
    after = parallel / (source_ohm + pad.total_series_ohm + parallel)
    return float(ratio_to_db(before / after))


def input_ohm_for(
    wanted_db: float, source_ohm: float, load_ohm: float, least_ohm: float = 0.0
) -> float:
    """Return what the output should see of pad and input together, ohm.

    The usual load, or what the maker of the device allows where that is more; never above what
    the attenuation gives without a shunt (4).
    """
    wanted = min(max(PAD_OHM, SOURCE_MULTIPLE * source_ohm), LARGEST_PAD_OHM)
    most = float(db_to_ratio(wanted_db)) * (source_ohm + load_ohm) - source_ohm
    return min(max(wanted, least_ohm), most)


def design(
    wanted_db: float, source_ohm: float, load_ohm: float, *, balanced: bool, series: Series,
    least_ohm: float = 0.0,
) -> Design:  # fmt: skip
    """Return the pad of preferred values that comes nearest to ``wanted_db``.

    Parameters
    ----------
    wanted_db
        By how much the level at the input is to fall, 0 < dB <= `MOST_DB`.
    source_ohm, load_ohm
        Magnitudes between the two terminals the pad sits on, ohm.
    least_ohm
        Smallest load there that the maker of the device allows, ohm.

    Raises
    ------
    ValueError
        ``wanted_db`` is not a positive attenuation within reach.
    """
    if not 0.0 < wanted_db <= MOST_DB:
        raise ValueError(f"an attenuation of {wanted_db} dB")
    total, shunt = _exact(wanted_db, source_ohm, load_ohm, least_ohm * ROOM_TO_ROUND)
    each = total / (2.0 if balanced else 1.0)
    shunts = (shunt,) if math.isinf(shunt) else _near(shunt, series)
    found = [
        Pad(s, p, balanced, TOLERANCE[series]) for s, p in product(_near(each, series), shunts)
    ]  # fmt: skip
    found = [pad for pad in found if seen_ohm(pad, load_ohm) >= least_ohm] or found
    best = min(found, key=lambda pad: abs(attenuation_db(pad, source_ohm, load_ohm) - wanted_db))
    return _designed(best, wanted_db, source_ohm, load_ohm, series)


def _designed(
    pad: Pad, wanted_db: float, source_ohm: float, load_ohm: float, series: Series
) -> Design:
    ends = [attenuation_db(p, source_ohm, load_ohm) for p in _at_tolerance(pad, series)]
    nominal = attenuation_db(pad, source_ohm, load_ohm)
    return Design(series, pad, wanted_db, nominal, min(ends), max(ends))


def in_series(
    most_db: float, aim_ohm: float, source_ohm: float, load_ohm: float, *, balanced: bool
) -> Design | None:
    """Return series resistors with which the output sees ``aim_ohm``, or as near as may be.

    Of E24; in both legs of E96, since what they differ by makes hum.

    None where a resistor at the end of its tolerance would cost more than ``most_db``, however
    small.
    """
    series: Series = "E96" if balanced else "E24"
    if most_db <= 0.0:
        return None
    most = (float(db_to_ratio(most_db)) - 1.0) * (source_ohm + load_ohm)
    most /= 1.0 + TOLERANCE[series]
    legs = 2.0 if balanced else 1.0
    largest, _ = around(most / legs, series)
    enough = max(aim_ohm - load_ohm, 0.0) / legs
    if 0.0 < enough < largest:
        below, above = around(enough, series)
        largest = below if below >= enough else above
    pad = Pad(largest, math.inf, balanced, TOLERANCE[series])
    return _designed(pad, attenuation_db(pad, source_ohm, load_ohm), source_ohm, load_ohm, series)


def seen_ohm(pad: Pad, load_ohm: float) -> float:
    """Return what the output sees of a pad and the input behind it, ohm."""
    return pad.total_series_ohm + 1.0 / (1.0 / pad.shunt_ohm + 1.0 / load_ohm)


def _exact(
    wanted_db: float, source_ohm: float, load_ohm: float, least_ohm: float = 0.0
) -> tuple[float, float]:
    """Return all series resistance and the shunt, ohm, by (2) and (3)."""
    seen = input_ohm_for(wanted_db, source_ohm, load_ohm, least_ohm)
    parallel = (source_ohm + seen) * load_ohm
    parallel /= (source_ohm + load_ohm) * float(db_to_ratio(wanted_db))
    if parallel >= seen:
        raise ValueError(f"an attenuation of {wanted_db} dB from a source of {source_ohm} ohm")
    if parallel >= NO_SHUNT * load_ohm:
        most = float(db_to_ratio(wanted_db)) * (source_ohm + load_ohm) - source_ohm
        return most - load_ohm, math.inf
    return seen - parallel, 1.0 / (1.0 / parallel - 1.0 / load_ohm)


def _near(ohm: float, series: Series) -> tuple[float, ...]:
    """Return two preferred values either side of ``ohm``: the pair need not be the nearest two."""
    below, above = around(ohm, series)
    lower, _ = around(below * (1.0 - 1e-6), series)
    _, higher = around(above, series)
    return lower, below, above, higher


def _at_tolerance(pad: Pad, series: Series) -> Iterator[Pad]:
    off = TOLERANCE[series]
    for s, p in ((1.0 - off, 1.0 + off), (1.0 + off, 1.0 - off)):
        yield replace(pad, series_ohm=pad.series_ohm * s, shunt_ohm=pad.shunt_ohm * p)


KEPT_DB = 0.5
"""Kept for the tolerance of the resistors, whichever they are bought in."""

LEAST_KEPT_DB = 0.2
"""What is kept at the least: two resistors of E96 (1 %) are off by 20 log (1.01 / 0.99) = 0.17 dB
together."""


def sizes(least_db: float) -> tuple[float, ...]:
    """Return the sizes of pads that take off ``least_db`` or just more, dB, as they are tried.

    Whole decibels, as they are sold, with what is kept for resistors; then with less kept, and
    half a decibel, which is to be made.
    """
    half = math.ceil(2.0 * least_db) / 2.0
    tried = math.ceil(least_db + KEPT_DB), math.ceil(least_db), half, half + 0.5
    return tuple(dict.fromkeys(map(float, tried)))
