"""Words and figures as people read them."""

from __future__ import annotations

from collections.abc import Callable

from probe.advice import thresholds as limit
from probe.advice.quantity import Quantity
from probe.numbers import plain, write, write_number

KINDS = {
    "differential": "two driven legs, ground-referenced",
    "electronically-floating": "electronically floating (cross-coupled)",
    "transformer-coupled": "transformer-coupled",
    "ground-sensing": "ground-sensing",
    "impedance-balanced": "impedance-balanced",
    "unbalanced": "unbalanced with pin 3 grounded",
    "pin-3-unconnected": "unbalanced with pin 3 connected to nothing",
    "faulty": "faulty",
    "undetermined": "not determined yet",
}

FAULTS = {
    "hot-leg-dead": "hot leg dead",
    "cold-leg-dead": "cold leg dead",
    "legs-in-phase": "legs in phase",
    "legs-unequal": "legs unequal",
    "leg-impedances-unequal": "leg impedances unequal",
    "coupling-capacitor-hot": "dried coupling capacitor on the hot leg",
    "coupling-capacitor-cold": "dried coupling capacitor on the cold leg",
    "pins-swapped": "pins 2 and 3 exchanged",
    "single-ended-dead": "RCA output without signal",
}

RCA_FAULTS = ("single-ended-dead",)
"""Faults of the RCA output; the others are of the balanced one."""

CHECK_RCA = (
    "check that its lead was plugged in, on the channel named for it, and that it was neither "
    "muted nor turned down, and take it again"
)

CIRCUITS = {
    "difference-amplifier": "difference amplifier",
    "buffered": "buffered one",
    "transformer": "transformer",
    "unknown": "single-ended one",
}

TAKES = {
    "load-hot": "a take with a resistor from pin 2 to pin 1 (load-hot)",
    "load-cold": "a take with a resistor from pin 3 to pin 1 (load-cold)",
    "load-across": "a take with a resistor across pins 2 and 3 (load-across)",
    "inject-hot": "a take with a signal injected into pin 2 (inject-hot)",
    "inject-cold": "a take with a signal injected into pin 3 (inject-cold)",
    "single-ended": "a take of the RCA output (single-ended)",
    "second-open": "a second open take at the end (second-open)",
    "inject-cold-off": "an injection into pin 3 with the device off (inject-cold-off)",
}

MOST_DB = 120.0
"""Nothing in a listening room is told apart further down than this, nor is any linear model of a
lead right to so many decibels; figures beyond it are said to be beyond it. [judgement]"""

MOST_AMPERES = 1.0
"""No line output delivers it; a linear solve that gives more says only that the output works into
a short circuit. [judgement]"""

EITHER_DB = 0.05
"""An end so near to none is written as none, and has no sign."""

SURE_DIGITS = 5e-4
"""Half-width over value below which four digits say all: nobody sets a level closer. [judgement]"""


def decibels(quantity: Quantity) -> str:
    """Return for example ``1.2 dB``; with its interval where that is wider than 0.1 dB."""
    return _with_ends(quantity, _figure)


def signed_decibels(quantity: Quantity) -> str:
    """Return for example ``+6.0 dB``; with its interval where that is wider than 0.1 dB."""
    return "nothing" if quantity.value < -100.0 else _with_ends(quantity, _signed)


def figure(quantity: Quantity) -> str:
    """Return volts, amperes or hertz with their doubt, for example ``248.6 +/- 1.2 mV``."""
    if quantity.unit == "A" and quantity.high > MOST_AMPERES:
        return _from(quantity)
    if quantity.bound is None and 0.0 < quantity.u95 < SURE_DIGITS * abs(quantity.value):
        return plain(write_number(quantity.value, quantity.unit, 4))
    if quantity.bound is None and quantity.lopsided:
        return _volts_between(quantity)
    return plain(write(quantity.to_json()).whole)


def _volts_between(quantity: Quantity) -> str:
    """Return both ends, to two digits of their distance: a +/- would lie about one of them."""
    low = write({**quantity.to_json(), "low": quantity.low, "high": quantity.high})
    return plain(f"{low.interval} {low.unit}")


def about(quantity: Quantity) -> str:
    """Return a figure that stands on an assumption, whose digits would be false ones."""
    return f"about {plain(write_number(quantity.value, quantity.unit, 2))}"


def louder_or_quieter(gain: Quantity) -> str:
    """Return a difference of loudness with the word for its sign, or with both where it may be."""
    if gain.high < EITHER_DB:
        return f"{decibels(-gain)} quieter"
    if gain.low > -EITHER_DB:
        return f"{decibels(gain)} louder"
    return f"between {-gain.low:.1f} dB quieter and {gain.high:.1f} dB louder"


def quieter(gain: Quantity | None) -> bool:
    """Tell whether a connection may be quieter than its link by what is heard."""
    return gain is not None and gain.low < -limit.TIE_BREAK_DB


ONLY_WITH_VOLUME = "only if the device has a volume control"
"""How a margin to full output begins to be explained that is to be had by turning up alone."""


def full_output(margin: Quantity) -> str:
    """Return whether an input reaches its full output; what is promised stands on the low end."""
    at = "" if margin.note is None else f" {margin.note}"
    if margin.low >= 0.0:
        return f"reaches full output{at}"
    if margin.low >= -limit.GAIN_REACHED_DB:
        return f"just about reaches full output{at}"
    if at.startswith(f" {ONLY_WITH_VOLUME}"):
        return f"up to {-margin.low:.1f} dB short of full output, which is reached{at}"
    if margin.high < 0.0:
        return f"{decibels(-margin)} short of full output{at}"
    return f"from {-margin.low:.1f} dB short of full output to reaching it{at}"


def _from(quantity: Quantity) -> str:
    low = min(quantity.low, MOST_AMPERES)
    return f"{plain(write_number(low, quantity.unit, 2))} or more"


def span(quantity: Quantity) -> str:
    """Return the interval, for example ``0.3 to 2.4 dB``."""
    if quantity.unit == "A" and quantity.high > MOST_AMPERES:
        return _from(quantity)
    if quantity.unit == "A":
        return f"{quantity.low * 1e3:.3g} to {quantity.high * 1e3:.3g} mA"
    if quantity.unit == "dB":
        return f"{_figure(quantity.low)} to {_figure(quantity.high)} dB"
    return f"{quantity.low:.3g} to {quantity.high:.3g} {quantity.unit}"


def span_limit(limit: float, quantity: Quantity) -> str:
    """Return a limit in the unit of what is held against it."""
    if quantity.unit == "A":
        return f"{limit * 1e3:g} mA"
    return plain(write_number(limit, quantity.unit))


def _with_ends(quantity: Quantity, shown: Callable[[float], str]) -> str:
    if quantity.low > MOST_DB:
        return f"more than {MOST_DB:.0f} dB"
    low, value, high = (shown(v) for v in (quantity.low, quantity.value, quantity.high))
    if quantity.u95 < 0.05:
        return f"{value} dB"
    if value in (low, high):  # the worse of what may be, which is one of the ends
        return f"{low} to {high} dB"
    return f"{value} dB ({low} to {high})"


def _figure(decibels: float) -> str:
    if decibels > MOST_DB:
        return f"more than {MOST_DB:.0f}"
    text = f"{decibels:.1f}"
    return text.lstrip("-") if float(text) == 0.0 else text


def _signed(decibels: float) -> str:
    return "0.0" if abs(decibels) < 0.05 else f"{decibels:+.1f}"


PINS = {"hot": "pin 2", "cold": "pin 3", "single-ended": "the RCA centre"}
"""Terminals as a meter finds them."""
