"""Attenuators of a set made of more ohms, so that all of them together are what the maker states.

A pad takes off the same with more series and a larger shunt, as far as one without a shunt: so it
costs no box level. By itself each is made for the usual 10 kohm, and several of them may be less
together than the device's maker allows.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import product

from probe.advice.attenuator import LARGEST_PAD_OHM, ROOM_TO_ROUND
from probe.advice.compiled import Judge
from probe.advice.desk import Desk
from probe.advice.loads import load_of
from probe.advice.model import Advice, Attenuated, OptionAdvice
from probe.advice.padded import across_ohm, made_of_more, source_ohm
from probe.advice.series_resistors import as_made, bare_of, level_of
from probe.advice.use import Use
from probe.advice.wiring import ties_pin_3
from probe.decibels import db_to_ratio


def resized(
    desks: Sequence[Desk], advice: Advice, uses: tuple[Use, ...], outputs: Sequence[str],
    least_ohm: float, *, exact: bool,
) -> tuple[tuple[Use, ...], tuple[OptionAdvice, ...]] | None:  # fmt: skip
    """Return the set, and its ways with attenuators of as many ohms as each output needs.

    ``exact``: what has to be made takes off no more than is needed, whatever lies on the shelf.
    None where they cannot make all of it ``least_ohm``.
    """
    made: dict[tuple[str, str], OptionAdvice] = {}
    for desk, output in product(desks, outputs):
        on_it = [u for u in uses if u.option.from_ == output]
        tied = any(ties_pin_3(u.on(desk.side.name), u.socket) for u in on_it)
        held = [_Held(desk, advice, u, exact, tied) for u in on_it]
        least, most = [h.seen_ohm for h in held], [h.most_ohm for h in held]
        if sum(1.0 / ohm for ohm in most) > 1.0 / least_ohm:
            return None
        level = level_of(least, most, least_ohm)
        for one in held:
            found = one.of(min(level, one.most_ohm)) if one.seen_ohm < level else None
            if found is not None:
                made[desk.side.name, one.use.box] = replace(one.bare, attenuator=found)
    return (tuple(as_made(u, made) for u in uses), tuple(made.values())) if made else None


@dataclass(frozen=True)
class _Held:
    """What hangs on an output of one side for one box."""

    desk: Desk
    advice: Advice
    use: Use
    exact: bool
    tied: bool
    """Some lead on the output joins pin 3 to ground."""

    @cached_property
    def bare(self) -> OptionAdvice:
        """The way by itself, with its attenuator offered."""
        return bare_of(self.advice, self.use, self.desk.side.name)

    @cached_property
    def seen_ohm(self) -> float:
        """What the output sees of it as it is used."""
        own = self.use.on(self.desk.side.name)
        return load_of(own, self.use.socket, between=True, tied=self.tied)

    @cached_property
    def offered(self) -> Attenuated | None:
        """What would be made anew: nothing where no attenuator with a resistor across is used."""
        offered, pad = self.bare.attenuator, self.use.on(self.desk.side.name).pad
        if offered is None or pad is None or pad.in_series:
            return None
        return (offered.in_place_of if self.exact else None) or offered

    @cached_property
    def most_ohm(self) -> float:
        """What it may see with as much attenuation: no more where there is none to be made anew."""
        offered = self.offered
        if offered is None:
            return self.seen_ohm
        load = across_ohm(self.bare.option, self.use.socket)
        source = source_ohm(offered.designs[0].pad, load, offered.attenuation_db)
        most = float(db_to_ratio(offered.designs[0].wanted_db)) * (source + load) - source
        return max(min(most, LARGEST_PAD_OHM) / ROOM_TO_ROUND, self.seen_ohm)

    def of(self, ohm: float) -> Attenuated | None:
        """Return its attenuator made so that the output sees so much."""
        if self.offered is None:
            return None
        solve = Judge(self.desk, self.use.socket)
        return made_of_more(self.bare, self.use.socket, solve, self.offered, ohm)
