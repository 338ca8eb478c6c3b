"""What the second reading of a meter would spare: told only if a way that needs no part would win.

With the first reading alone a plain lead may not be judged, and an isolating transformer is used,
or nothing. The choice is made again, among what is open and what is used, with what the second may
show; of what is a danger by itself nothing is promised.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from probe.advice.ask_first import told_first, winning
from probe.advice.ask_maker import isolates
from probe.advice.between_chassis import ground_fault, ground_high
from probe.advice.destination import Destination
from probe.advice.ground import (
    SECOND_ABOVE_VOLTS,
    SECOND_OHM,
    UNKNOWN_OHM,
    GroundPath,
    second_reading,
    second_reading_words,
)
from probe.advice.model import Advice, Choice, Settling

Ask = Callable[[Destination, frozenset[tuple[str, str]]], Advice]
"""The advice for a destination, each box by itself, of some options alone (socket, option)."""

SOURCE_OHM = tuple(step * 10.0**d for d in range(-1, 6) for step in (1.0, 1.5, 2.0, 3.0, 5.0, 7.0))
"""What is tried, ascending: from what an outlet strip has to an earth that is far away, and above
1 V, where a box may have none, to what the capacitors of a mains filter have."""

LEAST_READING = 0.1e-3
"""V or A: the last digit of a hand-held meter. [practice]"""


def with_reading_first(advice: Advice, destination: Destination, ask: Ask) -> Advice:
    """Return the advice with the reading to take before an isolating transformer is bought."""
    found: dict[str, Settling] = {}
    for choice in advice.choices:
        if choice.option is None or isolates(choice.option):
            found |= _sparing(advice, destination, ask, choice)
    return told_first(advice, found)


def _sparing(
    advice: Advice, destination: Destination, ask: Ask, choice: Choice
) -> dict[str, Settling]:
    open_ = {
        (o.box, o.socket, o.option.id)
        for o in advice.options
        if o.box == choice.box and o.used.verdict == "cannot-tell" and not isolates(o.option.id)
    }
    mine = [s for s in destination.inputs if s.box == choice.box]
    volts = max((_alone(s.ground) or 0.0 for s in mine), default=0.0)
    if not open_ or volts <= 0.0:
        return {}
    among = frozenset((socket, option) for _, socket, option in open_)
    if choice.option is not None:
        among |= {(choice.socket or "", choice.option)}

    def wins(reading: float) -> str | None:
        ground = _read(volts, reading, destination.mains_hz)
        inputs = tuple(
            replace(s, ground=ground) if s.box == choice.box and _alone(s.ground) else s
            for s in destination.inputs
        )
        there = replace(destination, inputs=inputs)
        alone = replace(there, inputs=tuple(s for s in inputs if s.box == choice.box))
        if ground_fault(alone) or ground_high(alone):
            return None
        again = ask(there, among)
        way = winning(again, open_).get(choice.box)
        mine = [o for o in again.options if (o.box, o.option.id) == (choice.box, way)]
        # what its resistors quiet, or do not, is no lead that does as it is
        return None if any("hum" in o.against for o in mine) else way

    most = UNKNOWN_OHM[1] if volts <= SECOND_ABOVE_VOLTS else SOURCE_OHM[-1]
    tried = [_reading(volts, ohm) for ohm in SOURCE_OHM if ohm <= most]
    readings = [reading for reading in tried if reading >= LEAST_READING]
    option = wins(readings[-1]) if readings else None
    if option is None:
        return {}
    low, high = -1, len(readings) - 1  # the higher the source the less hum
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if wins(readings[middle]) == option else (middle, high)
    reading = readings[high]
    if high:
        reading = _closer(reading, readings[high - 1], lambda tried: wins(tried) == option)
    shown = f"{reading * 1e3:g} {'mV' if volts <= SECOND_ABOVE_VOLTS else 'mA'}"
    what = (
        f"take the second reading of the meter, {second_reading_words(volts)}: with {shown} or less"
    )
    return {choice.box: Settling("asked-first", what, (option,), choice.box)}


STEPS = 3
"""Halvings between two of `SOURCE_OHM`, in decibels: to half a decibel. [practice]"""


def _closer(does: float, fails: float, wins: Callable[[float], bool]) -> float:
    """Return the largest reading tried with which it does, in two digits."""
    for _ in range(STEPS):
        middle = float(f"{(does * fails) ** 0.5:.2g}")
        if not does < middle < fails:
            break
        does, fails = (middle, fails) if wins(middle) else (does, middle)
    return does


def _alone(ground: GroundPath) -> float | None:
    """Return the volts of a first reading without a second one."""
    return ground.difference_volts if not ground.source_known else None


def _reading(volts: float, ohm: float) -> float:
    """Return what the meter shows with ``ohm`` in the way, in two digits."""
    through = 1.0 if volts <= SECOND_ABOVE_VOLTS else SECOND_OHM
    return float(f"{volts / (ohm + through):.2g}")


def _read(volts: float, reading: float, mains_hz: float) -> GroundPath:
    if volts <= SECOND_ABOVE_VOLTS:
        return second_reading(volts, None, reading, 1.0, mains_hz)
    return second_reading(volts, reading, None, SECOND_OHM, mains_hz)
