"""An attenuator of the shelf where an isolating transformer is chosen: what quiets the hum as well.

Hum that a lead picks up enters before the attenuator in the plug at its end: it falls with the
signal, and below the input's full output it gains what the attenuator takes off. That costs level
to spare, no bass and no transformer. So it is no choice, but one that may be made: with what is
left in hand above full output beside it, resistors off as they may be.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from probe.advice.ask_maker import isolates
from probe.advice.ask_volume import hangs_on_volume
from probe.advice.compiled import Judge
from probe.advice.desk import Desk
from probe.advice.destination import Cable, Destination
from probe.advice.lead_data import SolveBeside, beside
from probe.advice.model import Advice, Choice, OptionAdvice
from probe.advice.own_lead import OwnLeads
from probe.advice.padded import with_one_of
from probe.advice.plain import against
from probe.advice.shelf import Shelf
from probe.advice.taken import Basket, PadOffer, Taken
from probe.advice.together import instead
from probe.advice.way_parts import as_used, parts_of_way


@dataclass(frozen=True)
class PadInstead:
    """A lead with an attenuator of the shelf for one box, the others as they are."""

    advice: Advice
    choice: Choice
    solve: SolveBeside
    typical: bool
    """What is known of the ground are typical figures of a situation."""

    def in_hand_db(self, used: Sequence[OptionAdvice]) -> float:
        """Return what is left above full output on the worse side, resistors off as they may be."""
        key = (self.choice.box, self.choice.socket, self.choice.option)
        held = [o for o in self.advice.options if (o.box, o.socket, o.option.id) == key]
        pads = [o.attenuator for o in held if o.attenuator is not None]
        margins = [o.figures.full_output_margin_db for o in used]
        low = min((m.low for m in margins if m is not None), default=-1.0)
        return low - max(pad.off_db[1] for pad in pads)

    def does(self, used: Sequence[OptionAdvice]) -> bool:
        """Tell whether it works as it is ``used`` and keeps full output."""
        return all(o.works for o in used) and self.in_hand_db(used) >= 0.0

    def does_beside(self, desks: Sequence[Desk], sides: Sequence[OptionAdvice]) -> bool:
        """Tell the same with the others plugged in, which it harms not; ``sides``: it by itself."""
        others = instead(desks, self.advice, sides[0])
        if others is None:
            return self.does([o.used for o in sides])
        return self.does(others.options) and not others.harms


def pads_instead(desks: Sequence[Desk], advice: Advice) -> Iterator[PadInstead]:
    """Yield what may be used in place of a transformer, with the other boxes plugged in as well.

    With what these use, and with what is offered for those before: each may be taken, or all.
    """
    offered = advice
    for choice in advice.choices:
        if not (desks and isolates(choice.option)) or hangs_on_volume(advice, choice.box):
            continue
        mine = [o for o in advice.options if o.box == choice.box and not isolates(o.option.id)]
        found = []
        whole = (advice,) if offered is advice else (advice, offered)
        for socket, way in dict.fromkeys((o.socket, o.option.id) for o in mine):
            held = [o for o in mine if (o.socket, o.option.id) == (socket, way)]
            lead = replace(choice, option=way, socket=socket, attenuator=True)
            if _shares_more(advice, choice, held[0]):
                continue
            for db in _at_hand(desks[0], held[0]):
                one = _padded(desks, whole, lead, held, db)
                if one is not None:
                    found.append(one)
                    break
        yield from found[:1]
        offered = _with(offered, found[0]) if found else offered


def _shares_more(advice: Advice, choice: Choice, lead: OptionAdvice) -> bool:
    """Tell whether a lead needs a splitter that the choice does not."""
    used = {(c.box, c.socket, c.option) for c in advice.choices}
    held = [o for o in advice.options if (o.box, o.socket, o.option.id) in used]
    others = {o.option.from_ for o in held if o.box != choice.box}
    own = {o.option.from_ for o in held if o.box == choice.box}
    return lead.option.from_ in others - own


def _with(advice: Advice, found: PadInstead) -> Advice:
    """Return the advice with what is offered used."""
    box = found.choice.box
    made = {(o.side, o.socket, o.option.id): o for o in found.advice.options if o.box == box}
    return replace(
        advice,
        options=tuple(made[o.side, o.socket, o.option.id] if o.box == box else o
                      for o in advice.options),
        choices=tuple(found.choice if c.box == box else c for c in advice.choices),
    )  # fmt: skip


def _at_hand(desk: Desk, lead: OptionAdvice) -> list[float]:
    """Return the attenuators that lie on the shelf for both sides, the smallest first."""
    there = desk.destination
    return sorted({db for end, db in there.pads_at_hand if end == lead.option.to
                   and (end, db) not in there.pads_lacking})  # fmt: skip


def _padded(
    desks: Sequence[Desk], whole: Sequence[Advice], choice: Choice, held: Sequence[OptionAdvice],
    db: float,
) -> PadInstead | None:  # fmt: skip
    """Return a lead with an attenuator of ``db`` in its plug, if nothing speaks against it then.

    ``whole``: what the other boxes may use beside it, first what they do.
    """
    there = desks[0].destination
    socket = next(s for s in there.inputs if s.name == choice.socket)
    asked = there.attenuation(choice.box) is not None or there.wanted(choice.box) > 0.0
    if asked or any(o.against != {"hum"} or o.verdict != "avoid" for o in held):
        return None
    by_side = {desk.side.name: desk for desk in desks}
    made = [
        with_one_of(db, o, socket, Judge(desk, socket), desk.device.minimum_load_ohm)
        for o in held
        if (desk := by_side.get(o.side)) is not None
    ]
    sides = [o for o in made if o is not None]
    if len(sides) < len(held):
        return None
    new = {(o.side, o.box, o.socket, o.option.id): o for o in sides}
    found = [_beside(desks, advice, choice, new, socket.ground.typical) for advice in whole]
    return found[0] if all(one.does_beside(desks, sides) for one in found) else None


def _beside(
    desks: Sequence[Desk], advice: Advice, choice: Choice,
    new: Mapping[tuple[str, str, str, str], OptionAdvice], typical: bool,
) -> PadInstead:  # fmt: skip
    again = replace(
        advice,
        options=tuple(new.get((o.side, o.box, o.socket, o.option.id), o) for o in advice.options),
        choices=tuple(choice if c.box == choice.box else c for c in advice.choices),
    )
    return PadInstead(again, choice, OwnLeads(desks, again).solved, typical)


def in_place_of(
    basket: Basket, found: Sequence[PadInstead], destination: Destination, shelf: Shelf,
    cables: Mapping[str, Cable], first: Mapping[str, Any],
) -> tuple[PadOffer, tuple[Taken, ...]] | None:  # fmt: skip
    """Return what is offered beside ``basket``, and its parts; None where that spares nothing.

    All of it is in stock, and costs less or is there where the basket has to be ordered. It is
    judged with the leads that are taken; ``cables``: those of the other boxes. ``first``: what is
    tried before.
    """
    held = []
    for one in found:
        solve = beside(one.solve, cables)
        parts = parts_of_way(one.advice, one.choice, destination, shelf, None, solve=solve)
        # parts are told for one side where that was measured, and have to be there for both
        both = tuple(replace(t, count=parts.count_of_both) for t in parts.taken)
        if not parts.taken or not replace(parts, both=both).in_stock:
            continue
        if parts.total >= basket.total and basket.in_stock:
            continue
        used: Sequence[OptionAdvice] = as_used(one.advice, one.choice)
        if parts.cable is not None and solve is not None:
            used = solve(one.choice, parts.cable)[: len(used)]
        if one.does(used):
            held.append((parts, both, one, used))
    if not held:
        return None
    parts, both, one, used = min(held, key=lambda h: (h[0].total, -h[2].in_hand_db(h[3])))
    told = replace(parts, **first).in_one_line
    return PadOffer(parts.option, parts.total, _says(one, used, told)), both


def _says(one: PadInstead, used: Sequence[OptionAdvice], told: str) -> str:
    worst = min(used, key=lambda o: h.low if (h := o.figures.hum_below_full_output_db) else 0.0)
    by = "by typical figures " if one.typical else ""
    codes = dict.fromkeys(h.code for o in used for h in o.hazards if h.code != "hum")
    minds = "".join(f"; {m}" for c in codes if (m := against(c, worst.figures)))
    return (
        f"or, in place of the isolating transformer, {one.choice.option} with an attenuator in its "
        f"plug: {told}; then {by}{against('hum', worst.figures)}, and quiet recordings have only "
        f"{one.in_hand_db(used):.1f} dB in hand above full output{minds}"
    )
