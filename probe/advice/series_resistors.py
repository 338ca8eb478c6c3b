"""Resistors in series with inputs that are too heavy, so that the output works into more ohms.

The level falls by what they take, ``A = (Zs + S + Zl) / (Zs + Zl)``, which an input that needs less
than comes can spare. They are solved and judged in the network like any other attenuator. Of
several inputs on one output the heaviest have them, sized for what all of them are together.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

from probe.advice import thresholds as limit
from probe.advice.attenuator import PAD_OHM, ROOM_TO_ROUND, Design, Pad, in_series
from probe.advice.compiled import Judge, judged
from probe.advice.desk import Desk
from probe.advice.destination import Destination, Input
from probe.advice.heavy_inputs import TOO_HARD
from probe.advice.loads import load_of
from probe.advice.model import Advice, Attenuated, OptionAdvice
from probe.advice.padded import (
    across_ohm,
    built,
    in_both_legs,
    padded,
    source_ohm,
    trial_fall_db,
)
from probe.advice.use import Use
from probe.advice.wiring import Option, ties_pin_3
from probe.decibels import db_to_ratio, ratio_to_db
from probe.numbers import ohms

ROUNDS = 4
"""How often the load of the others is put in anew: each moves what one may take by less."""

HALVINGS = 60
"""Of the ohms in which the heaviest inputs come to be alike: far below what a resistor is off."""


def eased(
    option: OptionAdvice, socket: Input, judged: Judge, destination: Destination,
    least_ohm: float | None,
) -> OptionAdvice:  # fmt: skip
    """Return an option that is too heavy with series resistors offered, where they relieve it.

    Not where an attenuator is asked for, or one that is offered for something else does.
    """
    if option.attenuator is not None and option.attenuator.solves:
        return option
    asked = destination.attenuation(socket.box) is not None
    if asked or option.verdict not in ("avoid", "cannot-tell") or not too_hard(option):
        return option
    for kept in (limit.SPARE_DB, 0.0):
        found = _relief(option, socket, judged, kept, least_ohm)
        if found is not None:
            return replace(option, attenuator=found)
    return option


def too_hard(option: OptionAdvice) -> bool:
    """Tell whether the input is too heavy for what is known, not for what merely is assumed."""
    return bool(TOO_HARD & {h.code for h in option.hazards if not h.assumed})


def _known(option: OptionAdvice, least_ohm: float | None) -> bool:
    """Tell whether it is known what the output drives, rather than to be asked for."""
    return least_ohm is not None or any(h.code == "load-refused" for h in option.hazards)


def _relief(
    bare: OptionAdvice, socket: Input, judged: Judge, kept_db: float, least_ohm: float | None
) -> Attenuated | None:
    """Return resistors that leave ``kept_db`` above full output; None where they do not relieve."""
    member = _member(bare, socket, judged, least_ohm)
    sizes = _sized([member], _aim([member], bare.option.from_, least_ohm), kept_db)
    design = sizes[0][0] if sizes else None
    if design is None:
        return None
    solved = judged(padded(bare.option, design.pad))
    left = solved.figures.full_output_margin_db
    if solved.verdict != "works" or too_hard(solved) or left is None or left.low < 0.0:
        return None
    now, before = member.seen_ohm(design), bare.works_into_ohm
    why = f"with it the output works into {ohms(now)}"
    why += "" if before is None else f" in place of {ohms(before)}"
    return built(bare, solved, (design,), source=member.source_ohm, load=member.load_ohm, why=why,
                 relieves=True)  # fmt: skip


def overloaded(found: Sequence[OptionAdvice]) -> set[str]:
    """Return the outputs on which a set is too heavy: it does not work, or is bought for that.

    What merely is minded of bare leads needs no resistors; behind some it has the wrong ones.
    """
    made = {o.option.from_ for o in found if o.option.pad is not None and o.option.pad.in_series}
    heavy = (o for o in found if too_hard(o))
    return {o.option.from_ for o in heavy if o.verdict != "works" or o.option.from_ in made}


def relieved(
    desks: Sequence[Desk], advice: Advice, uses: Sequence[Use], found: Sequence[OptionAdvice]
) -> Iterator[tuple[tuple[Use, ...], tuple[OptionAdvice, ...]]]:
    """Yield a set with series resistors where all that hangs on an output is too heavy.

    With the ways that have them, each by itself. First so that 10 dB stay in hand, in as few
    plugs as may do, then with as much as full output allows. ``found``: the set as it is, solved.
    """
    yield from lifted(desks, advice, uses, sorted(overloaded(found)))


def lifted(
    desks: Sequence[Desk], advice: Advice, uses: Sequence[Use], outputs: Sequence[str],
    aim_ohm: float | None = None,
) -> Iterator[tuple[tuple[Use, ...], tuple[OptionAdvice, ...]]]:  # fmt: skip
    """Yield a set as `relieved`, for these outputs; ``aim_ohm``: for what all of it is to be."""
    heavy = [
        _Shared(desk, advice, [u for u in uses if u.option.from_ == output], aim_ohm)
        for desk in desks
        for output in outputs
    ]
    before: list[list[list[Design | None]]] = []
    for kept in (limit.SPARE_DB, 0.0):
        steps = [_sized(one.members, one.aim_ohm, kept) for one in heavy]
        for step in range(max(map(len, steps), default=0)):
            sizes = [of[min(step, len(of) - 1)] for of in steps if of]
            if len(sizes) < len(heavy) or sizes in before:
                continue
            before.append(sizes)
            made = {
                (one.desk.side.name, o.box): o
                for one, designs in zip(heavy, sizes, strict=True)
                for o in one.fitted(designs)
            }
            if made and all(map(_reaches, made.values())):
                yield tuple(as_made(u, made) for u in uses), tuple(made.values())


def _reaches(made: OptionAdvice) -> bool:
    """Tell whether a way still reaches full output with its resistors, at the unfavourable end."""
    left = made.with_fitted().used.figures.full_output_margin_db
    return left is not None and left.low >= 0.0


def as_made(use: Use, made: dict[tuple[str, str], OptionAdvice]) -> Use:
    """Return what is used with what ``made`` has in its plug, by side and box."""
    sides = tuple(
        (side, made[side, use.box].with_fitted().used.option if (side, use.box) in made else option)
        for side, option in use.sides
    )
    return replace(use, sides=sides)


@dataclass(frozen=True)
class _Shared:
    """What hangs on one output of one side."""

    desk: Desk
    advice: Advice
    uses: Sequence[Use]
    aim: float | None = None
    """What all of them are to be together, where that is not for the rules to say."""

    @cached_property
    def members(self) -> list[_Member]:
        """The inputs, as they may be relieved."""
        least, asked = self.desk.device.minimum_load_ohm, self.desk.destination.attenuation
        return [
            _member(bare, u.socket, Judge(self.desk, u.socket), least, u.on(bare.side),
                    asked=asked(u.box) is not None, tied=self.tied)
            for bare, u in zip(self.bare, self.uses, strict=True)
        ]  # fmt: skip

    @property
    def tied(self) -> bool:
        """One of the leads joins pin 3 to ground, for all of them."""
        return any(ties_pin_3(u.on(self.desk.side.name), u.socket) for u in self.uses)

    @cached_property
    def bare(self) -> list[OptionAdvice]:
        """Each way by itself, with nothing in its plug."""
        return [bare_of(self.advice, u, self.desk.side.name) for u in self.uses]

    @property
    def aim_ohm(self) -> float:
        """What all of them are to be together."""
        if self.aim is not None:
            return self.aim
        least = self.desk.device.minimum_load_ohm
        return _aim(self.members, self.bare[0].option.from_, least, tied=self.tied)

    def fitted(self, designs: Sequence[Design | None]) -> Iterator[OptionAdvice]:
        """Yield the ways that get resistors, with these in their plugs."""
        before = 1.0 / sum(1.0 / m.at_output_ohm for m in self.members)
        seen = [m.seen_ohm(d) for m, d in zip(self.members, designs, strict=True)]
        now = 1.0 / sum(1.0 / ohm for ohm in seen)
        many = sum(d is not None for d in designs) > 1
        why = f"with {'those in all these plugs' if many else 'it'} the output works into "
        why += f"{ohms(now)} in place of {ohms(before)}, all plugged in"
        for bare, u, m, design in zip(self.bare, self.uses, self.members, designs, strict=True):
            if design is not None:
                solved = judged(self.desk, u.socket, padded(bare.option, design.pad))
                made = built(bare, solved, (design,), source=m.source_ohm, load=m.load_ohm,
                             why=why, fits=True, relieves=True)  # fmt: skip
                yield replace(bare, attenuator=made)


def bare_of(advice: Advice, use: Use, side: str) -> OptionAdvice:
    """Return the way of a use by itself, with nothing in its plug."""
    way = (side, use.box, use.socket.name, use.option.id)
    return next(o for o in advice.options if (o.side, o.box, o.socket, o.option.id) == way)


@dataclass(frozen=True)
class _Member:
    """An input on an output, and what resistors before it may take.

    ``load_ohm`` and ``source_ohm`` are where they sit. ``lifts``: by how much of all their ohms
    they lift ``at_output_ohm``, what the output sees of the input. ``margin_db``: above full output
    by itself; None where no resistor is put before it.
    """

    load_ohm: float
    source_ohm: float
    margin_db: float | None
    balanced: bool
    lifts: float
    at_output_ohm: float
    by_tie: float = 1.0
    """How many times ``source_ohm`` it is fed through where a lead beside it joins pin 3 to ground:
    pin 2 alone drives both legs then."""

    def most_ohm(self, kept_db: float, beside: float) -> float:
        """Return what the output may see of it at most, beside others of so many siemens."""
        room = self._room(kept_db, beside)
        return self.at_output_ohm + max(room, 0.0) * self.lifts

    def _room(self, kept_db: float, beside: float) -> float:
        """Return the series resistance that leaves ``kept_db``, ohm.

        With others in parallel ``(Zl + S)(1 + Zs G) + Zs`` is ``A (Zs + Zl)``, ``Zs`` as it is with
        them to the left and as it is without them to the right.
        """
        if self.margin_db is None or self.margin_db <= kept_db:
            return 0.0
        whole, source = self.source_ohm + self.load_ohm, self.source_ohm * self.by_tie
        comes = float(db_to_ratio(self.margin_db - kept_db)) * whole - source
        return comes / (1.0 + source * beside * self.lifts) - self.load_ohm

    def design(self, kept_db: float, beside: float, aim_ohm: float) -> Design | None:
        """Return resistors with which the output sees ``aim_ohm`` of it, or as near as may be."""
        room = self._room(kept_db, beside)
        if room <= 0.0:
            return None
        most_db = float(ratio_to_db(1.0 + room / (self.source_ohm + self.load_ohm)))
        more = (aim_ohm - self.at_output_ohm) / self.lifts
        return in_series(most_db, self.load_ohm + more, self.source_ohm, self.load_ohm,
                         balanced=self.balanced)  # fmt: skip

    def seen_ohm(self, design: Design | None) -> float:
        """Return what the output sees of it."""
        more = 0.0 if design is None else design.pad.total_series_ohm
        return self.at_output_ohm + more * self.lifts


def _member(
    bare: OptionAdvice, socket: Input, judged: Judge, least_ohm: float | None,
    used: Option | None = None, *, asked: bool = False, tied: bool = False,
) -> _Member:  # fmt: skip
    """Return an input with what its network tells; ``used``: what is in its plug by itself.

    ``tied``: some lead beside it joins pin 3 to ground.
    """
    load, balanced = across_ohm(bare.option, socket), in_both_legs(bare.option, socket)
    margin, known = bare.figures.full_output_margin_db, _known(bare, least_ohm)
    pad = None if used is None else used.pad
    stays = asked or (pad is not None and not pad.in_series)
    # nothing is bought for a transformer where the maker's word may do
    if stays or margin is None or (bare.option.pin_3 == "transformer" and not known):
        own = bare.option if used is None else used
        now = load_of(own, socket, between=True, tied=tied)
        return _Member(load, 0.0, None, balanced, 1.0, now)
    now = load_of(bare.option, socket, between=True, tied=tied)
    one = Pad(load, math.inf, balanced)
    alone, lifts = (
        (load_of(padded(bare.option, one), socket, between=True, tied=t)
         - load_of(bare.option, socket, between=True, tied=t)) / one.total_series_ohm
        for t in (False, tied)
    )  # fmt: skip
    first = _Member(load, 0.0, margin.low, balanced, lifts, now, alone / lifts)
    trial = first.design(0.0, 0.0, PAD_OHM)
    if trial is None or bare.figures.level_at_maximum is None:
        return replace(first, margin_db=None)
    fall = trial_fall_db(bare, trial.pad, judged)
    return replace(first, source_ohm=source_ohm(trial.pad, load, fall))


def _aim(
    members: Sequence[_Member], output: str, least_ohm: float | None, *, tied: bool = False
) -> float:  # fmt: skip
    """Return what all of them together are to be for the output, ohm."""
    if least_ohm is None:
        return PAD_OHM
    # whether it is meant for each leg of a pair is not known
    pairs = output == "xlr" and not tied and any(m.balanced for m in members)
    return least_ohm * ROOM_TO_ROUND * (2.0 if pairs else 1.0)


def _sized(members: Sequence[_Member], aim_ohm: float, kept_db: float) -> list[list[Design | None]]:
    """Return the resistors of each, None where there are none: in ever more plugs.

    The heaviest first, and those alike together: else two of a sort came to differ.
    """
    steps = sorted({m.at_output_ohm for m in members if m.margin_db is not None})
    return [
        _sized_of(
            members, [m.margin_db is not None and m.at_output_ohm <= most for m in members],
            aim_ohm, kept_db,
        )
        for most in steps
    ]  # fmt: skip


def _sized_of(
    members: Sequence[_Member], may: Sequence[bool], aim_ohm: float, kept_db: float
) -> list[Design | None]:
    """Return the resistors of those that may have them: all come to the same ohms, if they can."""
    seen = [m.at_output_ohm for m in members]
    level = aim_ohm
    beside = [0.0 for _ in members]
    for _ in range(ROUNDS):
        total = sum(1.0 / ohm for ohm in seen)
        beside = [total - 1.0 / ohm for ohm in seen]
        most = [
            m.most_ohm(kept_db, other) if ok else m.at_output_ohm
            for m, other, ok in zip(members, beside, may, strict=True)
        ]
        level = level_of([m.at_output_ohm for m in members], most, aim_ohm)
        seen = [max(m.at_output_ohm, min(level, top)) for m, top in zip(members, most, strict=True)]
    return [
        m.design(kept_db, other, level) if ok and level > m.at_output_ohm else None
        for m, other, ok in zip(members, beside, may, strict=True)
    ]


def level_of(least: Sequence[float], most: Sequence[float], aim_ohm: float) -> float:
    """Return the ohms up to which all are lifted so that they are ``aim_ohm`` together.

    Where they cannot be, ohms that lift each to its most.
    """

    def short(level: float) -> bool:
        held = (max(one, min(level, top)) for one, top in zip(least, most, strict=True))
        return sum(1.0 / ohm for ohm in held) > 1.0 / aim_ohm

    low, high = 0.0, max(*most, len(most) * aim_ohm, 0.0)
    if short(high):
        return high
    for _ in range(HALVINGS):
        middle = (low + high) / 2.0
        low, high = (middle, high) if short(middle) else (low, middle)
    return high
