"""What one way takes from a shelf: its parts, what is missing, what stands in for it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from typing import Literal

from probe.advice import thresholds as limit
from probe.advice.destination import Cable, Destination
from probe.advice.fitting import cheaper_parts, dearer_parts
from probe.advice.lead_data import Leads, Solve
from probe.advice.leads import Piece, attenuator_piece, ways_of
from probe.advice.model import Advice, Attenuated, Choice, OptionAdvice
from probe.advice.network import TwoPort
from probe.advice.padded import AT_HAND_LEEWAY_DB
from probe.advice.parts import AS_GOOD, to_ask_for
from probe.advice.parts import ISOLATING_TRANSFORMER as ORDINARY
from probe.advice.picking import Chosen, Demand, look_at, one_piece, pick, taken_of
from probe.advice.shelf import Shelf
from probe.advice.taken import (
    OR_TURNED_DOWN,
    TOO_LOUD,
    Basket,
    Own,
    Taken,
    whole_run,
)


def parts_of_way(
    advice: Advice, choice: Choice, destination: Destination, shelf: Shelf,
    system_price: float | None, part: TwoPort | None = None, solve: Solve | None = None,
    in_doubt: bool = False, known: Mapping[str, Own] | None = None,
    to_listen: bool = False, picked: tuple[Demand, Chosen] | None = None,
) -> Basket:  # fmt: skip
    """Return what a choice takes; ``picked``: where that is known, with what other boxes take.

    ``known``: what leads are otherwise, where that is known; ``to_listen``: as `Leads` has it.
    """
    demand, chosen = picked or (None, None)
    if demand is None:
        demand = demand_of(advice, choice, destination, part, solve, in_doubt, known, to_listen)
    count, ways, leads = demand.count, demand.ways, demand.leads
    length = leads.cable.length_m
    assert choice.option is not None
    if not ways:
        empty = (choice.box, choice.option, count, (), (), shelf.currency, shelf.share)
        return Basket(*empty, system_price, (), "")
    offered = _offer(advice, choice, shelf, count)
    if chosen is None:
        chosen = pick([demand], shelf)[choice.box]
    else:
        look_at(demand, shelf)
    best = taken_of(chosen, count, shelf)
    taken = tuple(t for t in best if isinstance(t, Taken))
    missing = tuple(p for p in best if isinstance(p, Piece))
    to_pay = [t for t in taken if not (whole_run(t.piece) and t.part.name in leads.tried)]
    small, told = tuple(_too_small(advice, choice, taken, ways, shelf)), list(leads.told(best))
    small = (*small, *_without_data(taken))
    return Basket(
        box=choice.box,
        option=choice.option,
        count=count,
        taken=taken,
        missing=missing,
        currency=shelf.currency,
        share=shelf.share,
        system_price=system_price,
        cheaper=tuple(cheaper_parts(to_pay, shelf, length, leads.known)),
        dearer=tuple(dearer_parts(to_pay, shelf, length, leads.known)),
        unlike=(*small, *(own.says for own in told)),
        plain=(*small, *(own.plain for own in told if own.plain)),
        own=leads.known,
        cable=leads.taken(best).cable,
        data=leads.taken(best).data,
        solder=_soldering(ways[0], length),
        one_of_two=count == 1
        and _one_side(advice, choice)
        and advice.described_sides is None
        and not (choice.option.startswith("digital") or _subwoofer(advice, choice)),
        subwoofer=_subwoofer(advice, choice),
        one_channel=advice.described_sides == 1,
        stereo=count == 2 and _one_side(advice, choice),
        length_m=length,
        offered=offered,
        offered_for=_offered_for(advice, choice),
        or_pad=tuple(_or_pad(advice, choice, (*taken, offered), count)),
        chain=tuple(p.piece if isinstance(p, Taken) else p for p in best),
        most_pf=leads.most_pf()
        if any(p.kind == "lead" and p.place == "run" for p in missing)
        else None,
        lengths={t.piece: t.part.length_m for t in taken if t.part.length_m is not None},
    )


def demand_of(
    advice: Advice, choice: Choice, destination: Destination, part: TwoPort | None = None,
    solve: Solve | None = None, in_doubt: bool = False, known: Mapping[str, Own] | None = None,
    to_listen: bool = False,
) -> Demand:  # fmt: skip
    """Return what a choice asks of a shelf; as `parts_of_way` has the rest."""
    assert choice.option is not None
    to, attenuation, made, takes = _end(advice, choice)
    attenuation = attenuation if _fitted(choice) else None
    ways = _with_data(advice, choice, ways_of(choice.option, to, attenuation, made, takes), part)
    cable = _cable(destination, choice)
    shown = not (in_doubt or advice.supposed)
    leads = Leads(cable, choice, as_used(advice, choice), solve, shown, in_doubt,
                  dict(known or {}), to_listen)  # fmt: skip
    return Demand(choice.box, ways, leads_needed(advice, choice), leads)


def _or_pad(
    advice: Advice, choice: Choice, held: Sequence[Taken | Piece | None], count: int
) -> Iterable[str]:  # fmt: skip
    """Name beside an attenuator of the shelf the one of just what is wished, where it costs much.

    Without a word where a turn of the volume control is left above full output.
    """
    if not any(isinstance(t, Taken) and t.piece.kind == "attenuator" for t in held):
        return
    pads = [o.attenuator for o in held_by(advice, choice) if o.attenuator]
    margins = [(margin.low, pad, exact) for pad in pads
               if (margin := pad.advice.figures.full_output_margin_db) is not None
               and (exact := pad.in_place_of) is not None]  # fmt: skip
    if not margins:
        return
    in_hand, pad, exact = min(margins, key=lambda m: m[0])
    louder = pad.designs[0].wanted_db - exact.designs[0].wanted_db
    if in_hand < limit.VOLUME_MAKES_UP_DB and louder > AT_HAND_LEEWAY_DB:
        made, takes = _made_and_takes(exact)
        end: Literal["rca", "xlr"] = "xlr" if exact.advice.option.to == "xlr" else "rca"
        piece = attenuator_piece(end, exact.designs[0].wanted_db, made=made, takes=takes)
        yield (
            f"or order, {count} x: {piece.says}: {louder:.3g} dB louder; with what is taken quiet "
            f"recordings have only {in_hand:.1f} dB in hand above full output"
        )


def as_used(advice: Advice, choice: Choice) -> list[OptionAdvice]:
    """Return the chosen way on every side, behind its attenuator where one is fitted."""
    return [o.with_fitted().used if choice.attenuator else o for o in held_by(advice, choice)]


def held_by(advice: Advice, choice: Choice) -> list[OptionAdvice]:
    """Return the chosen way on every side as it stands among the options."""
    wanted = (choice.box, choice.socket, choice.option)
    return [o for o in advice.options if (o.box, o.socket, o.option.id) == wanted]


def _with_data(
    advice: Advice, choice: Choice, ways: Sequence[Sequence[Piece]], part: TwoPort | None
) -> list[list[Piece]]:
    """Return the ways with the data that their transformer must have; ``part``: instead of it.

    And with an attenuator that has to be made where its ohms count.
    """
    wanted = (choice.box, choice.socket, choice.option)
    held = [o for o in advice.options if (o.box, o.socket, o.option.id) == wanted]
    parts = [o.part_needed for o in held]
    part = part or max(parts, key=lambda p: p.volts_at_20_hz, default=None)
    pads = [o.attenuator for o in held if o.attenuator is not None]
    ready = not any(pad.own_ohm and not pad.designs[0].pad.in_series for pad in pads)
    refused = frozenset(db for pad in pads for db in pad.refused_db)

    def with_data(piece: Piece) -> Piece:
        if piece.kind == "attenuator":
            return replace(piece, ready=ready, refused_db=refused)
        return replace(piece, part=part) if piece.kind == "transformer" else piece

    return [[with_data(p) for p in way] for way in ways]


def _too_small(
    advice: Advice, choice: Choice, taken: Sequence[Taken], ways: Sequence[Sequence[Piece]],
    shelf: Shelf,
) -> Iterable[str]:  # fmt: skip
    """Say of a transformer whose core does not stand what surely comes, taken or left there."""
    wanted = (choice.box, choice.socket, choice.option)
    held = [o for o in advice.options if (o.box, o.socket, o.option.id) == wanted]
    comes = max((o.core_volts for o in held), default=0.0)
    used = [t.part for t in taken if t.part.kind == "transformer"]
    ends = {(p.kind, p.from_, p.to) for way in ways for p in way if p.kind == "transformer"}
    left = [p for p in shelf.parts if (p.kind, p.from_, p.to) in ends]
    says = "is what was asked for, but" if used else "on the shelf does not do: it"
    for part in used or sorted(left, key=lambda p: p.name):
        stands = (part.transformer or ORDINARY).volts_at_20_hz
        if comes > AS_GOOD * stands:
            yield f"{part.name} {says} distorts above {stands:g} V at 20 Hz; {comes:.1f} V may come"


def _without_data(taken: Sequence[Taken]) -> Iterable[str]:
    """Say of a transformer of which the shelf has no data what it must have."""
    for part, wanted in ((t.part, t.piece.part) for t in taken if t.part.kind == "transformer"):
        if part.transformer is None and wanted is not None:
            yield f"{part.name}: the shelf has no data of it; it must have {to_ask_for(wanted)}"


def _offer(advice: Advice, choice: Choice, shelf: Shelf, count: int) -> Taken | Piece | None:
    """Return the attenuator that the advice offers without putting it in."""
    to, wanted, made, takes = _end(advice, choice)
    if wanted is None or _fitted(choice):
        return None
    piece = attenuator_piece("xlr" if to == "xlr" else "rca", wanted, made=made, takes=takes)
    ((piece,),) = _with_data(advice, choice, ((piece,),), None)
    return one_piece(piece, count, shelf)


def may_overload(advice: Advice, choice: Choice) -> bool:
    """Tell whether what is chosen can overload the input.

    What nobody can turn up does not come to a most that merely is assumed.
    """
    wanted = (choice.box, choice.socket, choice.option)
    held = [o for o in advice.options if (o.box, o.socket, o.option.id) == wanted]
    return any(h.code == "overload" and not (o.never_turned_up and h.assumed)
               for o in held for h in o.used.hazards)  # fmt: skip


def _offered_for(advice: Advice, choice: Choice) -> str:
    """Return what an attenuator is for that is not put in."""
    if not may_overload(advice, choice):
        return TOO_LOUD
    turned = any(o.turn_down_db is not None for o in held_by(advice, choice))
    return OR_TURNED_DOWN if turned else "against the overload"


def _soldering(way: Sequence[Piece], length_m: float) -> str:
    """Return how the shortest way is made by hand; nothing for what is not made with solder."""
    if any(p.kind not in ("lead", "adapter") or p.ohm is not None for p in way):
        return ""
    return "; then ".join(p.says for p in way) + f"; {length_m:g} m"


def _cable(destination: Destination, choice: Choice) -> Cable:
    """Return the lead to the chosen socket, as it was solved."""
    for socket in destination.inputs:
        if (socket.box, socket.name) == (choice.box, choice.socket):
            return destination.cable_of(socket, choice.option or "")
    return destination.cable


def leads_needed(advice: Advice, choice: Choice) -> int:
    """Return how many of everything: two for a stereo pair; one of what carries both sides.

    A data sheet describes both sides of a device at once, unless it says that there is one.
    """
    if choice.option is not None and choice.option.startswith("digital"):
        return 1
    if _subwoofer(advice, choice):
        return 1
    return 1 if _one_side(advice, choice) and advice.described_sides != 2 else 2


def _subwoofer(advice: Advice, choice: Choice) -> bool:
    """Tell whether it goes into a subwoofer, which is one box with one lead."""
    held = [o for o in advice.options if (o.box, o.socket) == (choice.box, choice.socket)]
    return bool(held) and all(o.role == "subwoofer" for o in held)


def _one_side(advice: Advice, choice: Choice) -> bool:
    return {o.side for o in advice.options if o.box == choice.box} == {"mono"}


def _fitted(choice: Choice) -> bool:
    """Tell whether an attenuator belongs into the plug; that of a digital link always does."""
    return choice.attenuator or (choice.option or "").startswith("digital")


def _end(advice: Advice, choice: Choice) -> tuple[str, float | None, str, str]:
    """Return the destination's connector, and the attenuation needed or offered in its plug.

    Of one that has no resistor across how it is made as well; of the others what they take off
    there, with their resistors.
    """
    wanted = (choice.box, choice.socket, choice.option)
    for link in (a for a in advice.digital if (a.box, a.socket, a.link.id) == wanted):
        return link.link.to, None if link.pad is None else link.pad.attenuation_db, "", ""
    held = [o for o in advice.options if (o.box, o.socket, o.option.id) == wanted]
    if not held:
        return "rca", None, "", ""
    pads = [o.attenuator for o in held if o.attenuator is not None]
    most = max(pads, key=lambda p: p.designs[0].wanted_db, default=None)
    if most is None:
        return held[0].option.to, None, "", ""
    return held[0].option.to, most.designs[0].wanted_db, *_made_and_takes(most)


def _made_and_takes(pad: Attenuated) -> tuple[str, str]:
    """Return how one without a resistor across is made, and what any takes off, in words."""
    made = pad.says if pad.designs[0].pad.in_series else ""
    size = pad.size
    if pad.unsure and made:
        size = f"{pad.takes} there"
    elif pad.unsure:  # it is sold by one figure
        size = f"{pad.designs[0].wanted_db:g} dB, which takes off {pad.takes} there"
    return made, size if made else f"{size}: {pad.says}"
