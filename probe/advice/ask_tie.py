"""Up to which level a lead with pin 3 tied would do, where an isolator is used for want of it.

The current in a tied pin 3 is judged at the most a device gives. Nobody may play so much; then a
lead or an adapter does, and the maker, or who turns the volume, can tell. A device with a volume
control is turned up as far as the input needs, be its stated level more.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence, Set
from dataclasses import replace
from functools import partial

from probe.advice.answers import PLAYED
from probe.advice.ask_first import loses, told_first
from probe.advice.destination import Destination
from probe.advice.model import Advice, OptionAdvice, Settling
from probe.advice.operating import most_volts
from probe.advice.subject import Device, SideFacts
from probe.advice.try_first import with_lead_tried_first

Ask = Callable[[Destination, frozenset[tuple[str, str]]], Advice]
"""The advice for a destination, each box by itself, of some options alone (socket, option); of
none: the whole one, with all boxes plugged in."""

STEPS = 5
"""Halvings, in decibels, between the stated level and the maximum: to half a decibel of 20."""


def with_tie_asked(
    advice: Advice, device: Device, sides: Sequence[SideFacts], destination: Destination, ask: Ask
) -> Advice:
    """Return the advice with the level up to which a tied lead does, told before an isolator."""
    level = device.full_output_volts
    most = max((m for side in sides if (m := most_volts(device, side)) is not None), default=0.0)
    if level is None or destination.operating_volts is not None:
        return advice
    if device.volume == "none" and device.volume_stated:
        return advice  # judged at its stated level already
    if most <= level and device.volume != "own":
        return advice  # it is played at its stated level, and at no other
    most = max(most, level)
    asked = {s.box for s in advice.would_change if s.code == "asked-first"}
    found: dict[str, Settling] = {}
    for used in (o for o in advice.options if o.verdict == "use"):
        if used.box in asked | set(found) or used.option.pin_3 != "transformer":
            continue
        tied = [o for o in advice.options if o.box == used.box and _may_be_tied(o)]
        if _tried(advice, destination, used.box, {o.option.id for o in tied}):
            continue  # it is tried as it is
        wins = partial(_wins, ask, destination, used, tied)
        least = _turned_up_to(device, sides, level, used, destination)
        low = next((volts for volts in (level, *least) if tied and wins(volts)), None)
        if low is not None:
            way = wins(low)
            highest = _highest(low, most, wins, way)
            if len(advice.choices) > 1:
                beside = partial(_beside, ask, destination, advice, used.box, way)
                if not beside(highest):
                    low = next((volts for volts in (low, *least) if beside(volts)), 0.0)
                    highest = _highest(low, highest, beside, way) if low else 0.0
                # less than its stated level may be too little for the others
                if highest < level and not (highest and _all_reach(ask, destination, highest)):
                    continue
            what = _asked(advice.device, most, highest)
            played = ((PLAYED, highest),)
            found[used.box] = Settling("asked-first", what, (way,), used.box, typed=played)
    return told_first(advice, found)


FLOATING = frozenset({"electronically-floating", "transformer-coupled"})
"""Kinds of which unbalanced use with pin 3 joined to pin 1 is what their makers describe."""


def _turned_up_to(
    device: Device, sides: Sequence[SideFacts], level: float, used: OptionAdvice,
    destination: Destination,
) -> tuple[float, ...]:  # fmt: skip
    """Return what a device is turned up to that has a volume control: to the input's full output.

    Not where a leg may have a driver of its own, which a tie would load at any level.
    """
    kinds = {kind for side in sides for kind in side.stage.possible}
    needed = next((s.sensitivity_volts for s in destination.inputs if s.name == used.socket), None)
    comes = used.figures.level
    if device.volume != "own" or kinds - FLOATING or needed is None or comes is None:
        return ()
    volts = level * needed / comes.low if comes.low > 0.0 else level
    return (volts,) if volts < level else ()


def _wins(
    ask: Ask, destination: Destination, used: OptionAdvice, tied: Sequence[OptionAdvice],
    volts: float,
) -> str:  # fmt: skip
    """Return which tied lead is used where no more than ``volts`` are ever played, or nothing."""
    ways = {(o.socket, o.option.id) for o in tied}
    again = ask(
        replace(destination, operating_volts=volts),
        frozenset(ways | {(used.socket, used.option.id)}),
    )
    mine = (c for c in again.choices if c.box == used.box and not c.attenuator)
    chosen = next((c.option for c in mine if c.option and (c.socket, c.option) in ways), "")
    return chosen or _tried(again, destination, used.box, {option for _, option in ways})


def _tried(again: Advice, destination: Destination, box: str, ways: Set[str]) -> str:
    """Return which of them is tried before anything is bought: only its hum is in doubt."""
    steps = with_lead_tried_first(again, destination).would_change
    mine = (s.answers[0] for s in steps if s.box == box and s.code == "lead-first" and s.answers)
    return next((way for way in mine if way in ways), "")


def _beside(
    ask: Ask, destination: Destination, advice: Advice, box: str, way: str, volts: float
) -> str:  # fmt: skip
    """Return a tied lead if it is used with all boxes plugged in, up to such a level; or nothing.

    It grounds pin 3 of the others, too, and takes half of their level: none may need more for it.
    """
    again = ask(replace(destination, operating_volts=volts), frozenset())
    used = any((c.box, c.option) == (box, way) for c in again.choices)
    return way if used and not loses(advice, again) else ""


def _all_reach(ask: Ask, destination: Destination, volts: float) -> bool:
    """Tell whether each box reaches its full output, all plugged in, at no more than ``volts``."""
    again = ask(replace(destination, operating_volts=volts), frozenset())
    margins = [o.used.figures.full_output_margin_db
               for one in again.sets[:1] for o in one.options]  # fmt: skip
    return bool(margins) and all(m is not None and m.low >= 0.0 for m in margins)


def _may_be_tied(option: OptionAdvice) -> bool:
    tie = option.used.figures.tie_current
    return tie is not None and option.used.verdict in ("cannot-tell", "avoid", "never")


def _highest(low: float, high: float, wins: Callable[[float], str], way: str) -> float:
    """Return the highest level tried at which ``way`` does, V, rounded down to two digits."""
    for _ in range(STEPS):
        middle = (low * high) ** 0.5
        low, high = (middle, high) if wins(middle) == way else (low, middle)
    step = 10.0 ** (len(str(int(low))) - 2)
    return float(f"{max(int(low / step) * step, step):.2g}")


def _asked(device: str, most: float, level: float) -> str:
    return (
        f"ask the maker of {device} whether pin 3 may be joined to pin 1 with it turned up to "
        f"{most:.3g} V, or see that it is never turned up beyond {level:g} V: then"
    )
