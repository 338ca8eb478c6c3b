"""Every way from the device into every input, solved and judged by itself, and the choice of each.

For every kind the stage may still be, and every corner of what was not measured: the worst verdict
of them.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from functools import partial

from probe.advice.at_hand import with_part_at_hand
from probe.advice.between_chassis import ground_fault, ground_high
from probe.advice.cautions import (
    general_cautions,
    plays_full,
    refusal,
    seen_clipping,
    simulated,
    typed,
    unchecked,
    unlike_line,
    unlikely_level,
    unlikely_output,
)
from probe.advice.choose import choose, mark
from probe.advice.compiled import Judge
from probe.advice.desk import Desk
from probe.advice.destination import Destination, Input
from probe.advice.memory import Memory, Sources
from probe.advice.model import Advice, Choice, OptionAdvice
from probe.advice.note import Note
from probe.advice.operating import Operating, operating_of
from probe.advice.padded import quieted, with_attenuator
from probe.advice.series_resistors import eased
from probe.advice.subject import (
    Device,
    Facts,
    SideFacts,
    device_of,
    least_mains_volts_of,
    mains_of,
    side_of,
    with_suspicion,
)
from probe.advice.wiring import OPTIONS, Option
from probe.errors import BadInput


def chosen(
    facts: Facts, sources: Mapping[str, Sources], destination: Destination, memory: Memory
) -> tuple[Advice, list[Desk], list[OptionAdvice]]:
    """Return every option judged and the choice, the desks, and the options without the choice."""
    device, sides, _ = subject_of(facts)
    refused = (*ground_fault(destination), *refusal(device, sides))
    cautions: list[Note] = [*refused, *unlike_line(device)]
    cautions += [*simulated(facts), *seen_clipping(facts)]
    cautions += [*unchecked(facts), *unlikely_output(facts)]
    if refused:
        return _answer(device, sides, destination, [], (), cautions), [], []
    cautions += [*ground_high(destination), *typed(device, destination)]
    cautions += unlikely_level(device, sides, destination)
    desks = desks_of(device, sides, sources, destination, memory)
    options = _options(desks)
    if {"xlr", "rca"} & set(device.connectors) or not device.connectors:
        cautions += _unmeasured(facts, sides, sources)
    cautions += plays_full(device, options)
    cautions += general_cautions(device, sides, destination, [o.option for o in options])
    choices = choose(options, destination)
    stuck = {c.box for c in choices if c.option is None}
    if stuck and (memory.among is None or memory.ground_alone):
        options = [_quieted(desks, o) if o.box in stuck else o for o in options]
        choices = choose(options, destination)
    return _answer(device, sides, destination, options, choices, cautions), desks, options


def _quieted(desks: Sequence[Desk], option: OptionAdvice) -> OptionAdvice:
    """Return an option of a box that nothing is used for, with a pad if hum alone is in its way."""
    (desk,) = (d for d in desks if d.side.name == option.side)
    (socket,) = (s for s in desk.destination.inputs if s.name == option.socket)
    least = desk.device.minimum_load_ohm
    return quieted(option, socket, Judge(desk, socket), desk.destination, least)


def desks_of(
    device: Device,
    sides: Sequence[SideFacts],
    sources: Mapping[str, Sources],
    destination: Destination,
    memory: Memory,
) -> list[Desk]:
    """Return what solves the ways from each side that has a stage."""
    return [
        Desk(device, side, sources[side.name], destination, memory)
        for side in sides
        if side.name in sources
    ]


def eligible(found: Advice) -> frozenset[tuple[str, str]]:
    """Return what could be chosen with another ground (socket, option).

    Knowing the ground adds what is said of hum and takes nothing back.
    """
    ruled_out = {
        (o.socket, o.option.id) for o in found.options if not o.works and o.attenuator is None
    }
    return frozenset((o.socket, o.option.id) for o in found.options) - ruled_out


def _answer(
    device: Device,
    sides: Sequence[SideFacts],
    destination: Destination,
    options: Sequence[OptionAdvice],
    choices: tuple[Choice, ...],
    cautions: Sequence[Note],
) -> Advice:
    operating: Operating = (
        operating_of(device, sides[0], destination)
        if sides
        else Operating(None, "at the measured level", "")
    )
    return Advice(
        device=device.name,
        destination=destination.name or "the destination",
        operating=operating.words,
        wanted_gain_db=_in_common(destination),
        options=mark(options, choices),
        choices=choices,
        cautions=tuple(cautions),
        not_computed=_not_computed(options),
        described_sides=(1 if device.one_channel else 2) if device.typed else None,
    )


def _in_common(destination: Destination) -> float | None:
    """Return the gain that is wanted of every box; None where they differ."""
    wanted = {destination.wanted(socket.box) for socket in destination.inputs}
    return wanted.pop() if len(wanted) == 1 else None


def _not_computed(options: Sequence[OptionAdvice]) -> tuple[str, ...]:
    """Return what is missing on an option that could be used."""
    usable = [o for o in options if o.verdict in ("use", "works", "avoid")]
    usable += [o.attenuator.advice for o in options if o.attenuator and o.eased]
    missing = {
        "hum": any(o.figures.hum_below_full_output_db is None for o in usable),
        "noise": any(o.figures.noise_below_full_output_db is None for o in usable),
        "headroom": any(o.figures.headroom_db is None for o in usable),
    }
    return tuple(name for name, absent in missing.items() if absent)


def in_place(destination: Destination, facts: Facts) -> Destination:
    """Return the destination on the mains of the place, as the facts say them."""
    hz = subject_of(facts)[2]
    return replace(destination, mains_hz=hz, mains_least_volts=least_mains_volts_of(facts))


def subject_of(facts: Facts) -> tuple[Device, list[SideFacts], float]:
    """Return the device, its sides, and the mains frequency it plays at, Hz.

    Raises
    ------
    BadInput
        The facts are not what the format says.
    """
    try:
        sides = with_suspicion([side_of(facts, name) for name in facts["sides"]])
        return device_of(facts), sides, mains_of(facts)
    except (AttributeError, KeyError, TypeError, ValueError) as error:
        raise BadInput(
            "facts: damaged or not complete (a part is missing, or of another kind than it has to "
            "be); write them again with probe analyse"
        ) from error


def _unmeasured(
    facts: Facts, sides: Sequence[SideFacts], sources: Mapping[str, Sources]
) -> list[Note]:
    """Say of each side without a source that nothing can be advised for it, and why."""
    silent = [side.name for side in sides if side.name not in sources]
    if sides and not silent:
        return []
    names = ", ".join(silent) or "any side"
    doubts = [
        w["message"] for w in facts.get("warnings", ()) if w.get("code") == "contradicting-take"
    ]
    if doubts:
        says = f"Nothing is computed for {names}: {'; '.join(doubts)}."
        return [Note("takes-contradict", says)]
    says = f"No take of {names} has the device playing: nothing can be told. Record an open take."
    return [Note("nothing-measured", says)]


def allowed(device: Device, socket: Input) -> list[Option]:
    """Return the options that the connectors of both ends allow; none into a digital socket."""
    return [o for o in OPTIONS if o.from_ in device.connectors and o.to == socket.connector]


def _options(desks: Sequence[Desk]) -> list[OptionAdvice]:
    """Solve and judge every way that is asked for, one side of the device after the other."""
    found = [
        solved
        for desk in desks[:1]  # all of them have the same device and destination
        for socket in desk.destination.inputs
        for option in allowed(desk.device, socket)
        for solved in with_part_at_hand(
            option, socket, desk.destination, partial(_on_each_side, desks, socket)
        )
    ]
    order = [desk.side.name for desk in desks]
    return sorted(found, key=lambda o: order.index(o.side))


def _on_each_side(desks: Sequence[Desk], socket: Input, option: Option) -> list[OptionAdvice]:
    found = []
    for desk in desks:
        if desk.asked(socket, option):
            variant = Judge(desk, socket)
            least = desk.device.minimum_load_ohm
            solved = with_attenuator(variant(option), socket, variant, desk.destination, least)
            found.append(eased(solved, socket, variant, desk.destination, least))
    return found
