"""A subwoofer's one lead carries one channel: what both need, and what a Y lead would do.

Left and right joined: with one side playing alone a current ``V / (2 Z)`` flows from each pin that
is joined into that of the other side, whose impedance ``Z`` is all the load there is: of one pin
with its own volts, of two legs with those between them. The joined point has half the level of
either, left plus right, for everything on this device.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from probe.advice.desk import Desk
from probe.advice.model import Advice, Choice, OptionAdvice
from probe.advice.narrow import own_ohm
from probe.advice.note import Note
from probe.advice.operating import scale_of
from probe.advice.sampled import Complex, Sampled
from probe.advice.solve import pin_voltages
from probe.advice.wiring import Option
from probe.numbers import plain, write_number

ONE_CHANNEL = (
    "A subwoofer's one lead carries one channel. For both: a lead each to its left and right "
    "inputs, which it adds, or the device's own subwoofer output."
)
Y_LEAD = (
    "Never join left and right by a Y lead: each output then drives {load}, and all becomes mono."
)


def one_channel(desks: Sequence[Desk], advice: Advice) -> tuple[Note, ...]:
    """Return the cautions of one lead to a subwoofer, where one is used and there is another side.

    A device that has one channel is named so: nothing of it can be joined.
    """
    if desks and desks[0].device.one_channel:
        return ()
    for choice in advice.choices:
        mine = [o for o in advice.options if _is(o, choice) and o.role == "subwoofer"]
        if mine:
            never = Y_LEAD.format(load=_load(desks, mine[0]))
            return Note("one-channel", ONE_CHANNEL), Note("y-lead", never)
    return ()


def _is(option: OptionAdvice, choice: Choice) -> bool:
    held = (option.box, option.socket, option.option.id)
    return held == (choice.box, choice.socket, choice.option)


def _load(desks: Sequence[Desk], used: OptionAdvice) -> str:
    """Return what the output of one side sees of the other's, with the current at its most.

    Of all kinds the stage may be and all corners of what was not measured, the largest.
    """
    cases = [(desk, kind) for desk in desks for kind in desk.side.stage.possible]
    known = all(np.isfinite(own_ohm(used.option, d.sampled(kind))) for d, kind in cases)
    found = [_joined(used.option, c, d) for d, kind in cases for c in d.corners(kind)]
    if not known or not found or not all(0.0 < one.ohm < np.inf for one in found):
        return "the other one's few ohms"
    most = max(found, key=lambda one: one.ampere)
    return (
        f"the other one's {plain(write_number(most.ohm, 'ohm', 2))} "
        f"({plain(write_number(most.ampere, 'A', 2))} peak with one side alone, at its most)"
    )


@dataclass(frozen=True)
class _Joined:
    """The current through one conductor of a Y lead, peak, and the impedance it flows into."""

    ampere: float
    ohm: float


def _joined(option: Option, corner: Sampled, desk: Desk) -> _Joined:
    """Return what flows where two such outputs are joined and one plays alone.

    Half of it is the two playing alike, which drives the input, the other half the two playing
    against each other: there every joined conductor stands at the ground of both, and so does a
    tied pin 3. The current is half of what the output gives into a short circuit of those pins.
    """
    tied = "tied" in option.pin_3
    ampere = _volts(option, corner, (True, True)) / SHORT_OHM
    ampere = ampere[:1] if tied else ampere  # a tied pin 3 is not joined to that of the other side
    which = int(np.argmax(np.abs(ampere)))
    drive = scale_of(corner, desk.device, desk.operating_for(option), desk.side.live_leg)
    peak = math.sqrt(2.0) * abs(ampere[which]) / 2.0 * float(drive.maximum[0])
    if len(ampere) == 2 and abs(sum(ampere)) <= BETWEEN_SHARE * abs(ampere[which]):
        volts = corner.voc[0, corner.at, 0]
    else:
        volts = _volts(option, corner, (False, tied))[which]
    return _Joined(peak, float(abs(volts) / abs(ampere[which])))


def _volts(option: Option, corner: Sampled, shorted: tuple[bool, bool]) -> Complex:
    """Return the voltages on the pins used, at 1 kHz, with the first and the second one shorted."""
    pins = option.pins
    short = np.diag(np.array(shorted[: len(pins)]) / SHORT_OHM).astype(np.complex128)
    y = np.broadcast_to(short, (corner.hz.size, *short.shape))
    return np.asarray(pin_voltages(corner, pins, y)[0, corner.at])


SHORT_OHM = 1e-3
"""What stands for a short circuit: far below any output's own impedance."""

BETWEEN_SHARE = 0.1
"""Sum of both legs' currents over one of them, up to which they flow from leg to leg."""
