"""A multimeter's reading and what its maker promises of it."""

from __future__ import annotations

import re
from dataclasses import dataclass

from probe.errors import BadInput
from probe.formats.text import all_of, quoted

CLASSES = {"basic": (1.5, 5), "ordinary": (1.0, 3), "good": (0.5, 2), "bench": (0.1, 1)}
"""Percent of the reading and steps of the last digit of true-RMS meters on their alternating volts
ranges, by class; common practice, no source. The data sheet of the meter at hand is better."""

LOWEST_VOLTS, HIGHEST_VOLTS = 1e-3, 100.0
"""A line output gives neither less nor more; outside, a unit or a range was mistaken."""

MOST_RELATIVE = 0.2
"""A reading worse than 20 % calibrates nothing; a lower range of the meter helps."""

_UNIT = re.compile(r"\s*m[Vv]$")

_ACCURACY = re.compile(r"\s*(\d+(?:\.\d+)?)\s*%?\s*(?:\+\s*(\d+)\s*)?")


@dataclass(frozen=True)
class Accuracy:
    """What the data sheet promises: percent of the reading plus steps of the last digit."""

    percent: float
    steps: int


@dataclass(frozen=True)
class MeterReading:
    """V rms as displayed; the largest error promised and that of rounding, both relative.

    The truth is taken to be anywhere within each of the two, evenly (JCGM 100:2008, 4.3.7).
    """

    volts: float
    limit_relative: float
    rounding_relative: float = 0.0


def accuracy_of(text: str) -> Accuracy:
    """Read ``1%+3`` or the name of a class.

    Raises
    ------
    BadInput
        It is neither.
    """
    if text.strip().lower() in CLASSES:
        return Accuracy(*CLASSES[text.strip().lower()])
    found = _ACCURACY.fullmatch(text)
    if found is None or not float(found[1]) <= 20.0:
        raise BadInput(
            f"meter {quoted(text)}: write its accuracy as 1%+3 (percent of the reading, steps of "
            f"the last digit) or a class: {all_of(CLASSES)}"
        )
    return Accuracy(float(found[1]), int(found[2] or 0))


def reading_of(text: str, accuracy: Accuracy) -> MeterReading:
    """Read what the display shows; its decimals tell how much a step of the last digit is.

    Raises
    ------
    BadInput
        No number, or none that a line output can give.
    """
    said, milli = _UNIT.subn("", text.strip())
    scale = 1e-3 if milli else 1.0
    said = said.removesuffix("V").strip()
    try:
        volts = scale * float(said)
    except ValueError as error:
        raise BadInput(
            f"{quoted(text)} is no reading; type it as displayed, such as 1.234 or 851.2mV, with a "
            "point for decimals"
        ) from error
    if not LOWEST_VOLTS <= volts <= HIGHEST_VOLTS:
        raise BadInput(
            f"{volts:g} V: {LOWEST_VOLTS:g} to {HIGHEST_VOLTS:g} V can be read here; type volts "
            "(or 512mV), and see that the meter stands on alternating volts"
        )
    mantissa, _, exponent = said.lower().partition("e")
    step = scale * 10.0 ** (int(exponent or 0) - len(mantissa.partition(".")[2]))
    limit = accuracy.percent / 100.0 + accuracy.steps * step / volts
    rounding = 0.5 * step / volts
    if limit + rounding > MOST_RELATIVE:
        raise BadInput(
            f"{volts:g} V is known to {100.0 * (limit + rounding):.0f} % only: use a range of the "
            "meter that shows more digits"
        )
    return MeterReading(volts, limit, rounding)
