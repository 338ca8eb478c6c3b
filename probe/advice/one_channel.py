"""A subwoofer's one lead carries one channel: what both need, and what a Y lead would do.

Left and right joined: with one side playing alone a current ``V / (2 Z)`` flows from its output
into the other one, whose impedance ``Z`` is all the load there is; the joined point has half the
level of either, left plus right, for everything on this device.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from probe.advice.desk import Desk
from probe.advice.model import Advice, Choice, OptionAdvice
from probe.advice.narrow import own_ohm
from probe.advice.note import Note
from probe.numbers import plain, write_number

ONE_CHANNEL = (
    "A subwoofer's one lead carries one channel. For both take a lead each to its left and right "
    "inputs, which it adds itself, or the device's own subwoofer output."
)
Y_LEAD = (
    "Never join left and right by a Y lead: each output then drives {load}, and all that hangs on "
    "them becomes mono."
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
    """Return what the output of one side sees of the other's, with the current at full output."""
    sampled = [desk.sampled(kind) for desk in desks for kind in desk.side.stage.possible]
    ohms = [abs(own_ohm(used.option, one)) for one in sampled]
    if not ohms or not np.isfinite(ohms).all() or min(ohms) <= 0.0:
        return "the other one's few ohms instead of an input"
    level = used.used.figures.level_at_maximum
    ohm = min(ohms)
    says = f"the other one's {plain(write_number(ohm, 'ohm', 2))} instead of an input"
    if level is None:
        return says
    ampere = math.sqrt(2.0) * level.value / (2.0 * ohm)
    return f"{says} ({plain(write_number(ampere, 'A', 2))} peak with one side playing alone)"
