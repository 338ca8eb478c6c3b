"""What drives a current through the shield of a lead: presets in plain words, and two readings.

The difference between two chassis is a source: ``difference`` volts at mains frequency with no
lead between them, behind a resistance (both boxes earthed) or a capacitance (a box without a
protective earth, through its mains filter). In series with the lead's shield it leaves

    Vg = difference * Rsh / |Rsh + Zsource|        Rsh: shield and both shell contacts

which is solved with the rest of the network, not by this formula.

Two readings give the source: ``U``, AC volts between the chassis with no lead at all, and ``I``,
AC amperes that flow between them through a known resistor ``R``, or ``V`` across it:

    |Zsource + R| = U / I = R U / V
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class GroundPath:
    """How the two chassis are joined besides the lead: a resistance or a capacitance, SI.

    ``difference_volts`` None: not known. Where it is known and neither resistance nor capacitance
    is, `corners` gives the ends of what it may stand behind. ``words`` name where the figures
    come from; ``ends`` are what they may be besides, by the error of the readings.
    """

    difference_volts: float | None = None
    ohm: float | None = None
    farad: float | None = None
    words: str = ""
    ends: tuple[GroundPath, ...] = ()
    at_origin: str = ""
    """What keeps the current out where it comes in, in words; empty where nothing usual does."""
    found_by: str = ""
    """How to hear whether it comes in there, and what to do then, in words."""
    typical: bool = False
    """The figures are what is usual in such a situation, rather than read."""

    @property
    def known(self) -> bool:
        """The difference is known, so that hum can be computed."""
        return self.difference_volts is not None

    @property
    def source_known(self) -> bool:
        """What drives the difference is known as well."""
        return self.ohm is not None or self.farad is not None

    @property
    def source_in_doubt(self) -> bool:
        """The readings tell little of the source: their error moves it by more than a half."""
        return any(
            one.ohm is not None and self.ohm is not None and not 0.5 < one.ohm / self.ohm < 1.5
            for one in self.ends
        )

    def of_difference(self, volts: float) -> GroundPath:
        """Return the same path with another difference, at every end of what it may be."""
        ends = tuple(one.of_difference(volts) for one in self.ends)
        return replace(self, difference_volts=volts, ends=ends, typical=False)

    def behind_ohm(self, mains_hz: float) -> float:
        """Return the impedance the difference stands behind at mains frequency; inf: not known."""
        if self.ohm is not None:
            return self.ohm
        if self.farad is not None:
            return 1.0 / (2.0 * np.pi * mains_hz * self.farad)
        return float("inf")


@dataclass(frozen=True)
class Preset:
    """Typical figures of a situation. [practice] all of them: common practice, no source."""

    says: str
    volts: float
    ohm: float | None = None
    farad: float | None = None
    at_origin: str = ""
    """As of `GroundPath`; not solved."""
    found_by: str = ""
    """As of `GroundPath`."""


MAINS_VOLTS = 230.0
"""Mains voltage where nothing says it, V."""

PRESETS = {
    "same-strip": Preset("both boxes earthed, on one outlet strip", 0.2e-3, ohm=0.2),
    "two-rooms": Preset("earthed boxes on outlets far apart", 0.1, ohm=1.0),
    "unearthed": Preset("neither box has a protective earth", MAINS_VOLTS / 2.0, farad=2.2e-9),
    "earthed-and-unearthed": Preset(
        "one box is earthed, the other is not", MAINS_VOLTS / 2.0, farad=4.7e-9
    ),
    "computer": Preset(
        "an earthed computer in the chain",
        10e-3,
        ohm=0.5,
        at_origin="another power supply for the computer, or an isolator in its USB or network lead"
        " (common practice, not calculated; try a notebook on its battery first; a desktop keeps "
        "its earth)",
        found_by="run a notebook on its battery, plug a desktop into the amplifier's strip "
        "(its earth stays), unplug its other leads one by one, and listen: if the hum goes, "
        "that is the remedy (common practice: another power supply, USB or network isolator), and",
    ),
    "antenna-or-network": Preset(
        "an antenna or network cable that is earthed elsewhere",
        50e-3,
        ohm=2.0,
        at_origin="a galvanic isolator in the antenna or network lead, at its wall socket "
        "(common practice, not calculated; unplug that lead first: if the hum stays, it comes by "
        "another)",
        found_by="unplug the antenna or network lead and listen: if the hum goes with it, the first"
        " thing to buy is a galvanic isolator in the antenna or network lead, at its wall socket "
        "(cheap; common practice, not calculated), with which",
    ),
}
"""Situations in plain words. [practice], except that outlets of one strip differ by a few
millivolts at most and distant ones by up to a few volts [published, an installer's column].

The source of an earthed box is its protective conductor (0.75 mm² copper, 23 mohm a metre, and
plugs); of one without, the capacitors of its mains filter, to half the mains voltage: tenths of a
milliampere at most. One box earthed: one pair of capacitors; neither: two of them in series.
"""

SMALLEST_SOURCE_OHM = 0.05
"""Least resistance of two protective conductors with their plugs, ohm. [practice]"""

UNKNOWN_OHM = (SMALLEST_SOURCE_OHM, 1000.0)
"""What a difference may stand behind when the second reading is missing, ohm: from the least that
two readings may give to a box whose earth is far away; every preset of earthed boxes lies inside.
[judgement]"""

UNKNOWN_FARAD = 2.2e-9
"""The same where the reading is more than earthed boxes usually have: a box without a protective
earth, whose mains filter leaves volts and drives next to nothing; the least of the presets, F."""

LEAKAGE_OHM = 5e3
"""Source impedance from which the two readings mean a capacitance: protective conductors stay
below some ohm, mains filters above some 100 kohm at mains frequency. [judgement]"""

HARMONICS = {
    1: 1.0, 3: 0.05, 5: 0.06, 7: 0.05, 9: 0.015, 11: 0.035, 13: 0.03, 17: 0.02, 19: 0.015,
    23: 0.015, 25: 0.015,
}  # fmt: skip
"""Order to share of the fundamental, of the difference with no lead: the most that a public
supply may carry. EN 50160 (from memory). A mains filter passes the higher ones better, which the
network knows."""


def from_readings(
    volts: float,
    ampere: float,
    through_ohm: float,
    mains_hz: float,
    *,
    meter_ohm: float = 0.0,
) -> GroundPath:
    """Return the source that the two readings of the meter mean, with what else they may mean.

    Parameters
    ----------
    volts
        AC volts between the chassis with no lead between them.
    ampere
        AC amperes between them through ``through_ohm``.
    meter_ohm
        The most that the meter adds to the resistor; 0 where it reads volts across it.

    Raises
    ------
    ValueError
        More current than the resistor alone would pass.
    """
    whole = volts / ampere
    if whole < through_ohm * (1.0 - READING_ERROR):
        raise ValueError(
            f"{volts:g} V through {through_ohm:g} ohm cannot give {ampere:.3g} A; "
            f"at most {volts / through_ohm:.3g} A"
        )
    ends = tuple(
        _read(volts, whole * (1.0 + error), through_ohm + meter, mains_hz)
        for error, meter in ((-READING_ERROR, meter_ohm), (READING_ERROR, 0.0))
    )
    return replace(_read(volts, whole, through_ohm, mains_hz), ends=ends)


def second_reading(
    volts: float, ampere: float | None, across: float | None, through_ohm: float, mains_hz: float
) -> GroundPath:
    """Return what two readings mean, the second one as amperes or as volts across the resistor.

    Raises
    ------
    ValueError
        As `from_readings`; or no second reading, or one that the resistor is not made for.
    """
    if through_ohm < SECOND_OHM and volts**2 / through_ohm > SECOND_MOST_WATT:
        through = ampere if ampere is not None else (across or 0.0) / through_ohm
        raise ValueError(
            f"{through:.2g} A through {through_ohm:g} ohm (1/4 W): where the first is above "
            f"{SECOND_ABOVE_VOLTS:g} V the second is taken through {SECOND_OHM:g} ohm, in a "
            "milliampere range; join nothing, amperes between boxes are for an electrician"
        )
    if ampere is not None:
        return from_readings(volts, ampere, through_ohm, mains_hz, meter_ohm=METER_OHM)
    if not across:
        raise ValueError("nothing across the resistor: a meter reads something there")
    if across > volts * (1.0 + READING_ERROR):
        raise ValueError(f"{across:g} V across the resistor is more than the {volts:g} V alone")
    return from_readings(volts, across / through_ohm, through_ohm, mains_hz)


SECOND_ABOVE_VOLTS = 1.0
"""First reading above which the second is taken through 100 ohm, V. [practice]"""

SECOND_OHM = 100.0
"""Resistor that is used then, ohm. [practice]"""

SECOND_MOST_WATT = 1.0
"""What may be in a resistor of 1/4 W for the seconds of a reading, W: at 1 V across 1 ohm, as much
as the whole first reading would put into it. [judgement]"""


def second_reading_words(volts: float) -> str:
    """Return how the second reading is taken where the first is ``volts``."""
    if volts <= SECOND_ABOVE_VOLTS:
        return "AC volts across a resistor of 1 ohm from chassis to chassis"
    return f"AC milliamperes through a resistor of {SECOND_OHM:g} ohm from chassis to chassis"


def _read(volts: float, whole: float, through_ohm: float, mains_hz: float) -> GroundPath:
    words = "from two readings of a meter"
    if whole > LEAKAGE_OHM:
        reactance = float(np.sqrt(max(whole**2 - through_ohm**2, (0.1 * whole) ** 2)))
        return GroundPath(volts, farad=1.0 / (2.0 * np.pi * mains_hz * reactance), words=words)
    return GroundPath(volts, ohm=max(whole - through_ohm, SMALLEST_SOURCE_OHM), words=words)


METER_OHM = 10.0
"""Most that the milliampere range of a hand-held meter has of its own. [practice]"""

READING_ERROR = 0.05
"""Error of two readings of a meter and of the resistor together: a class of 1.5 % each, and the
last digit. [judgement]"""


def of_preset(name: str, mains_volts: float = MAINS_VOLTS) -> GroundPath:
    """Return the ground of a preset; through a mains filter stands half of ``mains_volts``."""
    preset = PRESETS[name]
    volts = preset.volts if preset.farad is None else mains_volts / 2.0
    half = "" if preset.farad is None else f"; {volts:g} V, half of {mains_volts:g} V mains"
    words = f"taken as usual for: {preset.says} (common practice{half})"
    return GroundPath(
        volts, preset.ohm, preset.farad, words,
        at_origin=preset.at_origin, found_by=preset.found_by, typical=True,
    )  # fmt: skip


def corners(ground: GroundPath) -> tuple[GroundPath, ...]:
    """Return what the ground may be: itself, or the corners of what drives it."""
    if ground.ends:
        return ground.ends
    if not ground.known or ground.source_known:
        return (ground,)
    volts, words = ground.difference_volts or 0.0, ground.words
    found = tuple(GroundPath(volts, ohm, None, words) for ohm in UNKNOWN_OHM)
    unearthed = volts > SECOND_ABOVE_VOLTS
    return (*found, GroundPath(volts, None, UNKNOWN_FARAD, words)) if unearthed else found


def unknown_words(ground: GroundPath) -> str:
    """Return what a difference may stand behind, whose source nobody read."""
    low, high = UNKNOWN_OHM
    or_leaks = f", or {UNKNOWN_FARAD * 1e9:g} nF (boxes without a protective earth)"
    return f"{low:g} to {high:g} ohm{or_leaks if len(corners(ground)) > len(UNKNOWN_OHM) else ''}"


def describe() -> str:
    """Return the presets as text, one a line, with their figures."""
    lines = []
    for name, preset in PRESETS.items():
        behind = f"{preset.ohm:g} ohm" if preset.ohm else f"{(preset.farad or 0) * 1e9:g} nF"
        volts = f"{preset.volts * 1e3:g} mV" if preset.volts < 1.0 else f"{preset.volts:g} V"
        if preset.farad is not None:
            behind += f" (half of {MAINS_VOLTS:g} V mains; others: --mains)"
        lines.append(f"{name:<22} {preset.says}: {volts} behind {behind}")
    return "\n".join(lines) + "\n"
