"""One way solved again with the data of a lead that is at hand, beside what the others use."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from probe.advice.compiled import judged
from probe.advice.desk import Desk
from probe.advice.destination import Cable, Input
from probe.advice.model import Advice, Choice, OptionAdvice
from probe.advice.solve import Link
from probe.advice.wiring import Option


def with_lead(
    desks: Sequence[Desk], advice: Advice, choice: Choice, cable: Cable
) -> list[OptionAdvice]:
    """Return the way of a choice with ``cable`` on every side, then the ways of the other boxes.

    Nothing where the way is a digital link, which hangs on no other lead and is judged apart.
    """
    rest = [c for c in advice.choices if c.box != choice.box and c.option is not None]
    uses = [_use(desks[0], advice, c) for c in (choice, *rest)] if desks else []
    if not uses or uses[0] is None:
        return []
    own, *others = (use for use in uses if use is not None)
    links = [_link(replace(own[0], cable=cable), own[1])]
    links += [_link(_with_cable(desks[0], socket), option) for socket, option in others]
    return [
        judged(desk, link.socket, link.option, tuple(one for one in links if one is not link))
        for link in links
        for desk in desks
    ]


def _use(desk: Desk, advice: Advice, choice: Choice) -> tuple[Input, Option] | None:
    """Return the socket of a choice and its way with the attenuator that is fitted."""
    key = (choice.box, choice.socket, choice.option)
    held = next((o for o in advice.options if (o.box, o.socket, o.option.id) == key), None)
    if held is None:
        return None
    socket = next(s for s in desk.destination.inputs if s.name == choice.socket)
    return socket, (held.with_fitted() if choice.attenuator else held).used.option


def _with_cable(desk: Desk, socket: Input) -> Input:
    return replace(socket, cable=desk.destination.cable_of(socket))


def _link(socket: Input, option: Option) -> Link:
    cable = socket.cable
    assert cable is not None
    return Link(option, socket, "unknown", 0.0, cable)
