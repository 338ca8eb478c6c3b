"""The parts a connection is made of, as generic data: no maker's part is meant.

All [judgement] unless marked: middle-of-the-road figures, so that an option is neither
flattered nor spoiled by a part nobody has chosen yet.
"""

from __future__ import annotations

import math
from dataclasses import replace

from probe.advice.network import TwoPort

TIE_OHM = 0.02
"""A soldered join or a pair of plug contacts, ohm. [practice] New contacts: 5 to 30 mohm."""

CONDUCTOR_OHM_PER_M = 0.08
"""Inner conductor, ohm per metre: 0.22 mm² copper, 17.2 nohm m / 0.22 mm². [solved]"""

CONTACT_OHM = 0.01
"""A signal contact pair, ohm. [practice] Also keeps a lead of no length a real resistance."""

EARTH_OHM = 1000.0
"""What joins the two chassis besides the lead where the file does not say, ohm. It matters only
where a transformer leaves the lead's shield open; any value from 1 ohm to 1 Mohm gives the same
levels."""

RECEIVER_COMMON_MODE_FARAD = 27e-12
"""Each leg of an input transformer to ground, F: the two together are 50 Mohm at 60 Hz.
Whitlock, Balanced Lines in Audio Systems, J. Audio Eng. Soc. 43(6), 1995 (from memory)."""

ISOLATING_TRANSFORMER = TwoPort(
    ratio=1.0,
    primary_ohm=60.0,
    secondary_ohm=60.0,
    magnetising_henry=15.0,
    leakage_henry=3e-3,
    loss_ohm=100e3,
    primary_farad=200e-12,
    secondary_farad=200e-12,
    between_farad=20e-12,
    volts_at_20_hz=5.0,
)
"""A screened 1:1 line isolating transformer of ordinary size."""

AS_GOOD = 1.05
"""A figure of a part so many times worse is the same: data sheets round. [practice]"""


def as_good(part: TwoPort, wanted: TwoPort) -> bool:
    """Tell whether a transformer does in place of the one that was calculated with.

    By what decides: ratio, what the core takes, bass (inductance and windings), and what comes
    through from winding to winding.
    """
    return (
        abs(part.ratio / wanted.ratio - 1.0) < 0.01
        and part.volts_at_20_hz * AS_GOOD >= wanted.volts_at_20_hz
        and part.magnetising_henry * AS_GOOD >= wanted.magnetising_henry
        and part.primary_ohm <= AS_GOOD * wanted.primary_ohm
        and part.secondary_ohm <= AS_GOOD * wanted.secondary_ohm
        and part.between_farad <= AS_GOOD * wanted.between_farad
    )


def that_stands(part: TwoPort, most: float, comes: float) -> TwoPort:
    """Return the transformer that is needed where its core takes up to ``most`` V rms at 20 Hz.

    No larger than for that. ``comes``: what surely comes; what merely stands in for the one to
    order, or lies on the shelf, is to stand that. What is to stand more has no name any more.
    """
    asked = bool(part.name) and not part.of_shelf
    stands = asked or comes <= AS_GOOD * part.volts_at_20_hz  # as the hazard of saturation has it
    most, comes = (math.ceil(volts * 2.0) / 2.0 for volts in (most, comes))
    if stands:
        return replace(part, volts_at_20_hz=min(part.volts_at_20_hz, most))
    return replace(part, volts_at_20_hz=comes, name="", of_shelf=False)


def to_ask_for(part: TwoPort) -> str:
    """Return what a transformer must have to do what was calculated, as a shop is asked for it."""
    ratio = f"1:{part.ratio:g}" if part.ratio >= 1.0 else f"{1.0 / part.ratio:g}:1"
    ohms = " and ".join(f"{ohm:g}" for ohm in dict.fromkeys((part.primary_ohm, part.secondary_ohm)))
    named = f" (as {part.name})" if part.name else ""
    return (
        f"{ratio}, at least {part.volts_at_20_hz:g} V at 20 Hz and {part.magnetising_henry:g} H, "
        f"windings of at most {ohms} ohm, at most {part.between_farad * 1e12:g} pF between "
        f"them{named}"
    )


WORST_SOURCE_OHM = 2200.0
"""Largest source impedance of a line output, ohm. [published] IEC 61938, as quoted by a
glossary (the standard itself was not read). Stands in for an impedance nobody measured."""

UNLIKE_LEGS = 0.1
"""Most that the impedances of two legs that are meant alike differ by, as a share of one: resistors
of 5 %, one high and one low. [practice]"""

SMALLEST_RECORDER_OHM = 10e3
"""Smallest input impedance of a line recorder, ohm. [practice] Stands in where the facts do not
say what loaded a level given as recorded."""
