"""Too much level: more than an input accepts, or than its volume control can deal with."""

from __future__ import annotations

import math
from collections.abc import Iterator

from probe.advice import thresholds as limit
from probe.advice.case import Case, Finding, at_most
from probe.advice.quantity import Quantity
from probe.decibels import ratio_to_db


def _assumed(case: Case, played: Quantity | None, most: float) -> bool:
    """Tell whether only a maximum that merely is assumed is more than ``most``.

    What was ``played`` while it was measured surely comes. A maximum that nobody turns a device up
    to is likewise none to buy for.
    """
    open_ = case.maximum_assumed or case.never_turned_up
    return open_ and (played is None or played.high <= most)


def _too_much(case: Case, level: Quantity, most: float) -> str:
    """Return by how much an input is overloaded, and over its full output where that is far."""
    above = float(ratio_to_db(level.high / most))
    told = f"{'about ' if case.maximum_assumed else 'up to '}{above:.1f} dB too much"
    margin = case.figures.full_output_margin_db
    far = margin is not None and margin.low > limit.EXCESS_DB
    return f"{told} ({margin.value:.0f} dB over its full output)" if far and margin else told


def _turn_down_db(case: Case, level: Quantity, most: float) -> float | None:
    """Return how far below its maximum a device's own volume has to stay, dB rounded up.

    With the other boxes plugged in or not: nobody turns it down once more where one is pulled.
    """
    if not case.own_volume or case.maximum_assumed:
        return None
    here = math.ceil(round(10.0 * float(ratio_to_db(level.high / most)), 6)) / 10.0
    return max(here, case.down_alone_db)


def _against_overload(case: Case, *, played: bool, turn_down: float | None, near: str) -> str:
    if turn_down is not None:
        return (
            f"keep the volume {turn_down:.1f} dB or more below the device's maximum{near}, or put "
            "an attenuator before it"
        )
    if not case.never_turned_up:
        return "turn down, or put an attenuator before it"
    if played:
        return f"{_whose(case)} has no volume control: put an attenuator before it"
    return f"{_whose(case)} has no volume control to turn it up so far"


def _whose(case: Case) -> str:
    """Return what has no volume control: the device, or one of its kind as a rule."""
    return "the device" if case.volume_stated else "a device of its kind"


def overload(case: Case) -> Iterator[Finding]:
    """Rule 9."""
    socket = case.socket
    f = case.figures
    for top, comes, most, where in (
        (f.level_at_maximum, f.most_played, socket.maximum_volts, "the input"),
        (f.leg_at_maximum, f.leg_played, socket.maximum_per_leg_volts, "one leg of the input"),
    ):
        if top is None or most is None or top.high <= most:
            continue
        level = top
        at = f"{case.maximum_words} "
        played = case.never_turned_up and comes is not None and comes.high > most
        if played and comes is not None:
            at, level = "", comes
        reach = f"{at}{at_most(case, level)} reach {where}, which accepts {most:g} V"
        if not case.maximum_assumed and _at_limit(level, most):
            over = float(ratio_to_db(level.high / most))
            says = f"{reach}: just at its limit, beyond it by {over:.1f} dB at most, and that only "
            says += "by what is not known of the level"
            if not _at_limit(top, most):  # what is played is; the maximum is beyond
                says += (f"; {case.maximum_words} {at_most(case, top)} would, to which "
                         f"{_whose(case)} has no volume control to turn it up")  # fmt: skip
            yield Finding("works", "at-limit", says, hazard=True, assumed=True)
            continue
        # too much by the doubt of the figures alone is minded, and nothing is bought for it while
        # the volume may be turned down
        doubtful = level.low <= most
        assumed = _assumed(case, comes, most) or (doubtful and not (played or case.level_fixed))
        full = _at_full_output(case, top)
        near = not (assumed or doubtful) and full is not None and full > limit.OVERLOAD_NEAR * most
        turn = _turn_down_db(case, level, most)
        lower = float(ratio_to_db(most / full)) if near and full else 0.0
        left = f" (the input gives full output only {lower:.1f} dB lower)" if lower > 0.0 else ""
        against = _against_overload(case, played=played, turn_down=turn, near=left)
        says = f"{reach}: {_too_much(case, level, most)}: {against}"
        if case.never_turned_up and not played and not case.maximum_assumed:
            says = f"{at}{at_most(case, level)} would be more than the {most:g} V that {where} "
            says += f"accepts, and do not come: {against}"
        yield Finding("avoid" if near else "works", "overload", says, hazard=True,
                      assumed=assumed, turn_down_db=turn)  # fmt: skip


def _at_limit(level: Quantity, most: float) -> bool:
    """Tell whether an input takes what comes but for the doubt that any sheet's level has."""
    return level.value <= most and level.high <= most * limit.AT_LIMIT


def _at_full_output(case: Case, level: Quantity) -> float | None:
    """Return what ``level``, of the input or of one leg, is where the input gives full output."""
    full, whole = case.socket.sensitivity_volts, case.figures.level_at_maximum
    if full is None or whole is None or whole.value <= 0.0:
        return None
    return full * level.value / whole.value


def excess(case: Case) -> Iterator[Finding]:
    """Caution where far more comes than the input needs; not twice where it is overloaded."""
    margin = case.figures.played_margin_db
    if margin is None or not case.level_declared or _overloaded(case):
        return
    if margin.low <= limit.EXCESS_DB:
        return
    yield Finding("works", "excess-level", f"{margin.value:.0f} dB more than the input needs for "
                  "full output reach it: the volume control is usable in its lowest part only; an "
                  "attenuator in the plug gives its range back (more than "
                  f"{limit.EXCESS_DB:g} dB: common practice)", hazard=True)  # fmt: skip


def _overloaded(case: Case) -> bool:
    """Tell whether an overload is told in place of the excess."""
    found = [f for f in overload(case) if f.code == "overload"]
    return any(not (f.assumed and case.never_turned_up) for f in found)
