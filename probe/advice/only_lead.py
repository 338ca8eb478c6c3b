"""A way that fails only by what its lead is: solved with a lead that does, or what to order.

Ways are solved with a usual lead. Behind a weak output the capacitance of a long one takes the
treble, where one of less does not; on the resistance of its shield hum is made. So where nothing
is used for a box, or a transformer or an attenuator against hum for want of a lead, such a way is
solved with the leads of the shelf; one with which it is used, and without that part, is the lead of
that way from then on. Of what has to be ordered against lost treble the most it may have is found
by solving.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from probe.advice import thresholds as limit
from probe.advice.ask_first import told_first
from probe.advice.ask_maker import isolates
from probe.advice.destination import Cable, Destination, Input
from probe.advice.fitting import leads_for
from probe.advice.lead_data import STEP_PF, cable_of
from probe.advice.model import Advice, Choice, OptionAdvice, Settling
from probe.advice.note import Note
from probe.advice.shelf import Shelf
from probe.advice.way_parts import leads_needed
from probe.advice.words import decibels

Ask = Callable[[Destination, frozenset[tuple[str, str]]], Advice]
"""The advice for a destination, each box by itself, of some options alone (socket, option)."""

TREBLE = frozenset({"loss", "signal-lost"})
"""Codes of what a lead of less capacitance may mend."""

OF_LEAD = TREBLE | {"hum"}
"""The same with what a better shield may mend beside it."""

PADDED = frozenset({"hum", "overload"})
"""What an attenuator is used against that a better shield may spare: hum, and beside it a level
that the device need not be turned up to. Where the attenuator is needed for that, it stays."""

LEAST_PF = 40.0
"""No screened lead for line signals has less, pF/m. [practice: the leanest coaxial cables]"""

STEP_OHM = 5e-3
"""Step of what a shield may have at most. [practice: no meter at a bench tells less]"""

CODE = "better-lead"


@dataclass(frozen=True)
class OnlyLead:
    """A way into one input that works with ``cable``, and what is lost or heard else."""

    box: str
    socket: str
    option: str
    cable: Cable
    most_pf: float | None
    """What such a lead may have at most, pF/m; None: it is its shield that decides."""
    otherwise: str
    name: str = ""
    """Of the lead on the shelf, and whether it is there."""
    most_ohm: float = math.inf
    """What the shield and the contacts of such a lead may have together, ohm."""

    @property
    def way(self) -> tuple[str, str]:
        """Input and option."""
        return self.socket, self.option


def leads_that_do(
    advice: Advice, destination: Destination, shelf: Shelf, ask: Ask
) -> tuple[OnlyLead, ...]:
    """Return the leads of a shelf with which ways are used that fail with a usual one."""
    found = []
    for choice, sides in _failing(advice, OF_LEAD):
        way, lead = (sides[0].socket, sides[0].option.id), _lead(destination, sides[0])
        for part in leads_for(way[1], lead.length_m, shelf, leads_needed(advice, choice)):
            mine = cable_of(part, lead)
            one = _found(ask, destination, choice, sides, mine)
            if one is not None:
                named = part.name if part.stock else f"{part.name} (to be ordered)"
                found.append(replace(one, name=named))
                break
    treble = {f.way: f.cable for f in found if f.most_pf is not None}
    if len(advice.choices) < 2 or not treble:
        return tuple(found)
    most = min(f.most_pf for f in found if f.most_pf is not None)
    together = _most_together(ask, advice, destination, treble, most)
    return tuple(
        f if f.most_pf is None else replace(f, most_pf=together or _pf(f.cable)) for f in found
    )


def _found(
    ask: Ask, destination: Destination, choice: Choice, sides: Sequence[OptionAdvice], mine: Cable
) -> OnlyLead | None:
    """Return a way with a lead with which it is used, where it is better in what speaks against it.

    Of hum that is the shield, with its contacts; of treble the capacitance.
    """
    way, lead = (sides[0].socket, sides[0].option.id), _lead(destination, sides[0])
    against = frozenset().union(*(o.used.against for o in sides))
    treble = bool(against & TREBLE)
    better = mine.farad < lead.farad if treble else _ohm(mine) < _ohm(lead)
    if not better or not _wins(ask, destination, choice, way, mine):
        return None
    if treble:
        most = _most(ask, destination, choice, way, mine, lead) or _pf(mine)
        return OnlyLead(choice.box, *way, mine, most, _otherwise(sides, lead))
    ohm = _most_ohm(ask, destination, choice, way, mine, lead)
    return OnlyLead(choice.box, *way, mine, None, _hums(sides, lead), most_ohm=ohm)


def with_own_leads(destination: Destination, held: Iterable[OnlyLead]) -> Destination:
    """Return the destination in which such ways have those leads."""
    for one in held:
        destination = _with(destination, one.way, one.cable)
    return destination


def with_only_lead(advice: Advice, held: Sequence[OnlyLead]) -> Advice:
    """Return the advice with what is used with such a lead alone saying so."""
    used = {(c.box, c.socket, c.option) for c in advice.choices}
    own = {(h.box, *h.way): h for h in held if (h.box, *h.way) in used}
    if not own:
        return advice

    def told(o: OptionAdvice) -> OptionAdvice:
        one = own.get((o.box, o.socket, o.option.id))
        return o if one is None else _minding(o, one)

    choices = tuple(
        replace(c, why=(_why(one), *c.why))
        if (one := own.get((c.box, c.socket or "", c.option or ""))) else c
        for c in advice.choices
    )  # fmt: skip
    sets = tuple(replace(s, options=tuple(map(told, s.options))) for s in advice.sets)
    options = tuple(map(told, advice.options))
    return replace(advice, choices=choices, options=options, sets=sets)


def with_lead_to_order(advice: Advice, destination: Destination, ask: Ask) -> Advice:
    """Return the advice with the lead to order for each box that one would open a way for."""
    opened: dict[str, _Opened] = {}
    for choice, sides in _failing(advice, TREBLE):
        if choice.box in opened:
            continue
        way, lead = (sides[0].socket, sides[0].option.id), _lead(destination, sides[0])
        most = _most(ask, destination, choice, way, lead, lead)
        if most is not None:
            opened[choice.box] = _Opened(choice, way, lead, most, _otherwise(sides, lead))
    if not opened:
        return advice
    several, together = len(advice.choices) > 1, None
    if several:
        together = _most_together(ask, advice, destination,
                                  {o.way: o.lead for o in opened.values()},
                                  min(o.most_pf for o in opened.values()))  # fmt: skip
    beside = ", as long as no other box hangs on that output" * (several and together is None)
    nothing: dict[str, Settling] = {}
    instead: dict[str, Settling] = {}
    for box, one in opened.items():
        most = one.most_pf if together is None else together
        what = f"a lead of {one.lead.length_m:.3g} m that has at most {most:g} pF/m{beside}"
        if one.choice.option is None:
            nothing[box] = Settling(CODE, f"{what} ({one.otherwise})", (one.way[1],), box)
        else:
            ask_for = f"see whether {what} can be had ({one.otherwise}): with it"
            instead[box] = Settling("asked-first", ask_for, (one.way[1],), box)
    alone = " by itself" * bool(beside)
    choices = tuple(
        replace(c, why=(f"{s.answers[0]} works{alone} with {s.what}", *c.why))
        if (s := nothing.get(c.box)) else c
        for c in advice.choices
    )  # fmt: skip
    found = replace(advice, choices=choices, would_change=(*advice.would_change, *nothing.values()))
    return told_first(found, instead)


@dataclass(frozen=True)
class _Opened:
    """A way that a lead would open for one box by itself."""

    choice: Choice
    way: tuple[str, str]
    lead: Cable
    most_pf: float
    otherwise: str


def _most_together(
    ask: Ask, advice: Advice, destination: Destination, leads: Mapping[tuple[str, str], Cable],
    most_pf: float,
) -> float | None:  # fmt: skip
    """Return the most that all those leads may have with every box plugged in, pF/m.

    None where no lead does: two that hang on one output take the treble together.
    """
    boxes = {c.box for c in advice.choices if c.option is not None}
    boxes |= {s.box for s in destination.inputs if s.name in {socket for socket, _ in leads}}

    def does(step: int) -> bool:
        there = destination
        for way, lead in leads.items():
            farad = 1e-12 * step * STEP_PF * lead.length_m
            there = _with(there, way, replace(lead, farad=farad))
        again = ask(there, frozenset())
        used = {c.box: (c.socket, c.option) for c in again.choices if c.option is not None}
        if not boxes <= set(used) or not set(leads) <= set(used.values()) or not again.sets:
            return False
        return all(o.works for o in again.sets[0].options)

    return _largest(does, round(most_pf / STEP_PF) + 1)


def _largest(does: Callable[[int], bool], beyond: int) -> float | None:
    """Return the most pF/m that do, in steps below ``beyond``; None where the least does not."""
    first = round(LEAST_PF / STEP_PF)
    if first >= beyond or not does(first):
        return None
    while beyond - first > 1:
        middle = (first + beyond) // 2
        first, beyond = (middle, beyond) if does(middle) else (first, middle)
    return first * STEP_PF


def _failing(
    advice: Advice, codes: frozenset[str]
) -> Iterator[tuple[Choice, list[OptionAdvice]]]:  # fmt: skip
    """Yield the ways of boxes without a lead that fail only by what a lead is, on all sides.

    And by one of the ``codes``. Of a box whose lead has an attenuator against hum those that hum,
    as they are without one.
    """
    for choice in advice.choices:
        if choice.option is not None and not (isolates(choice.option) or choice.attenuator):
            continue
        of_lead = PADDED if choice.attenuator else OF_LEAD
        ways: dict[tuple[str, str], list[OptionAdvice]] = {}
        for o in advice.options:
            if o.box == choice.box and not isolates(o.option.id):
                bare = replace(o, attenuator=None) if choice.attenuator else o
                ways.setdefault((o.socket, o.option.id), []).append(bare)
        for sides in ways.values():
            against = frozenset().union(*(o.used.against for o in sides))
            if against & codes & of_lead and against <= of_lead:
                yield choice, sides


def _lead(destination: Destination, option: OptionAdvice) -> Cable:
    (socket,) = (s for s in destination.inputs if s.name == option.socket)
    return destination.cable_of(socket, option.option.id)


def _with(destination: Destination, way: tuple[str, str], cable: Cable) -> Destination:
    def own(socket: Input) -> Input:
        held = {**dict(socket.own_cables), way[1]: cable}
        return replace(socket, own_cables=tuple(held.items())) if socket.name == way[0] else socket

    return replace(destination, inputs=tuple(map(own, destination.inputs)))


def _wins(
    ask: Ask, destination: Destination, choice: Choice, way: tuple[str, str], cable: Cable
) -> bool:
    """Tell whether a way is used with a lead, be it in place of what is used.

    In place of an attenuator without one.
    """
    among = {way} if choice.option is None else {way, (choice.socket or "", choice.option)}
    again = ask(_with(destination, way, cable), frozenset(among))
    return any(
        (c.box, c.socket, c.option) == (choice.box, *way)
        and not (choice.attenuator and c.attenuator)
        for c in again.choices
    )


def _most(
    ask: Ask, destination: Destination, choice: Choice, way: tuple[str, str], mine: Cable,
    lead: Cable,
) -> float | None:  # fmt: skip
    """Return the most that a lead may have, pF/m rounded down; less than the one that fails."""

    def does(step: int) -> bool:
        farad = 1e-12 * step * STEP_PF * mine.length_m
        return _wins(ask, destination, choice, way, replace(mine, farad=farad))

    return _largest(does, math.ceil(_pf(lead) / STEP_PF - 1e-9))


def _most_ohm(
    ask: Ask, destination: Destination, choice: Choice, way: tuple[str, str], mine: Cable,
    lead: Cable,
) -> float:  # fmt: skip
    """Return the most that its shield may have with its contacts, ohm; less than what fails."""
    does, fails = 0, math.ceil((_ohm(lead) - _ohm(mine)) / STEP_OHM)
    while fails - does > 1:
        middle = (does + fails) // 2
        tried = replace(mine, shield_ohm=mine.shield_ohm + middle * STEP_OHM)
        wins = _wins(ask, destination, choice, way, tried)
        does, fails = (middle, fails) if wins else (does, middle)
    return _ohm(mine) + does * STEP_OHM


def _ohm(cable: Cable) -> float:
    """Return what the hum is made on: the shield of a lead and its contacts."""
    return cable.shield_ohm + cable.contact_ohm


def _pf(cable: Cable) -> float:
    return round(1e12 * cable.farad / cable.length_m, 6)


def _otherwise(sides: Sequence[OptionAdvice], lead: Cable) -> str:
    """Return what is lost with the lead that was solved first, in words."""
    lost = [q for o in sides if (q := o.used.figures.connection_loss_at_20_khz) is not None]
    worst = max(lost, key=lambda q: q.high, default=None)
    says = "too much treble" if worst is None else decibels(worst)
    return f"with {_pf(lead):g} pF/m {says} would be lost at 20 kHz"


def _hums(sides: Sequence[OptionAdvice], lead: Cable) -> str:
    """Return how far down hum is with the lead that was solved first, in words."""
    heard = [q for o in sides if (q := o.used.figures.hum_below_full_output_db) is not None]
    worst = min(heard, key=lambda q: q.low, default=None)
    says = "too loud" if worst is None else f"{decibels(worst)} below full output"
    return f"with {_ohm(lead) * 1e3:.0f} mohm hum would be {says}"


def _why(one: OnlyLead) -> str:
    cable = one.cable
    what = f"{cable.length_m:g} m of {_pf(cable):g} pF/m"
    if one.most_pf is None:
        what = f"{cable.length_m:g} m, {_ohm(cable) * 1e3:.0f} mohm of shield and contacts"
    return f"only with such a lead as {one.name}: {what}; {one.otherwise}"


def _minding(option: OptionAdvice, one: OnlyLead) -> OptionAdvice:
    """Return an option, and what it is in its plug, with what to mind of its lead."""
    if one.most_pf is not None:
        says = (
            f"only with a lead of at most {one.most_pf:g} pF/m: one of more may take over "
            f"{limit.LOSS_AVOID_DB:g} dB of the treble"
        )
    else:
        says = (
            f"only with a lead whose shield and contacts have at most {one.most_ohm * 1e3:.0f} "
            "mohm together: with more the hum may be heard in a quiet room"
        )
    note = Note("lead-only", says)
    option = replace(option, hazards=(*option.hazards, note))
    if option.attenuator is None:
        return option
    padded = option.attenuator.advice
    padded = replace(padded, hazards=(*padded.hazards, note))
    return replace(option, attenuator=replace(option.attenuator, advice=padded))
