"""What keeps hum out where it comes in, before a transformer is bought for the lead.

It is not solved, so that it changes no choice; but it is cheap, and whether it is this lead or this
box shows when it is unplugged. A protective earth is never lifted to find out. To hear it the plain
lead has to be plugged in: that is taken first, for the try; where one is tried already, with that.
"""

from __future__ import annotations

from dataclasses import replace

from probe.advice.destination import Destination
from probe.advice.model import Advice, Choice, OptionAdvice, Settling
from probe.advice.try_first import MAY_HARM

HARMS = MAY_HARM | {"load-current"}
"""Hazards with which nothing is plugged in to hear what it does; not what the volume settles."""

MAY_DO = "may do instead"
"""Of the plain lead, of which nothing is claimed."""


def with_origin_first(advice: Advice, destination: Destination) -> Advice:
    """Return the advice with it above the choice, of boxes whose plain lead hums too much."""
    cured = {c.box for c in advice.cures if c.code == "at-origin"}
    says = {s.box: s.ground.found_by for s in destination.inputs if s.box in cured}
    tried = {s.box: s.answers[:1] for s in advice.would_change if s.code == "lead-first"}
    found: dict[str, Settling] = {}
    for choice in advice.choices:
        plain = _plain(advice, choice) if choice.box in says else None
        if plain is not None:
            # one lead to plug in first: with the one that is tried it is heard as well
            answers = tried.get(choice.box) or (plain.option.id,)
            found[choice.box] = Settling("origin-first", says[choice.box], answers, choice.box)
    choices = tuple(_told(c, found.get(c.box)) for c in advice.choices)
    return replace(advice, choices=choices, would_change=(*advice.would_change, *found.values()))


def _told(choice: Choice, found: Settling | None) -> Choice:
    if found is None:
        return choice
    lead = found.answers[0]
    tried = choice.why[:1] if choice.why[:1] and choice.why[0].startswith("try first") else ()
    plugged = "if it hums," if tried else f"first plug in {lead};"
    says = f"{plugged} before anything else is bought, {found.what} {lead} {MAY_DO}"
    return replace(choice, why=(*tried, says, *choice.why[len(tried) :]))


def _plain(advice: Advice, choice: Choice) -> OptionAdvice | None:
    """Return the lead without a part to buy that its hum speaks against, if there is one.

    None where such a lead, or none at all with a transformer, is used already.
    """
    mine = [o for o in advice.options if o.box == choice.box]
    used = [o for o in mine if (o.socket, o.option.id) == (choice.socket, choice.option)]
    if choice.option is not None and not any(o.option.pin_3 == "transformer" for o in used):
        return None
    hums = [
        o
        for o in mine
        if o.option.pin_3 != "transformer"
        and o.verdict in ("avoid", "cannot-tell")
        and any(h.code == "hum" for h in o.hazards)
        and not _harms(o)
    ]
    return next((o for o in hums if o.option.native), next(iter(hums), None))


def _harms(option: OptionAdvice) -> bool:
    """Tell whether more speaks against a lead than what is heard, with nothing to turn it down.

    Where nobody knows whether there is, that is asked first.
    """
    surely = {h.code for h in option.hazards if not h.assumed and h.turn_down_db is None}
    turned = set() if option.never_turned_up else {"overload"}
    return bool(HARMS & surely - turned)
