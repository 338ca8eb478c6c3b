"""What keeps hum out where it comes in, before a transformer is bought for the lead.

It is not solved, so that it changes no choice; but it is cheap, and whether it is this lead shows
when it is unplugged.
"""

from __future__ import annotations

from dataclasses import replace

from probe.advice.model import Advice, Choice, OptionAdvice, Settling

MAY_DO = "may do instead"
"""Of the plain lead, of which nothing is claimed."""


def with_origin_first(advice: Advice) -> Advice:
    """Return the advice with it above the choice, of boxes whose plain lead hums too much."""
    says = {c.box: c.says.split(";")[0] for c in advice.cures if c.code == "at-origin"}
    found: dict[str, Settling] = {}
    for choice in advice.choices:
        plain = _plain(advice, choice) if choice.box in says else None
        if plain is not None:
            what = _asked(says[choice.box])
            found[choice.box] = Settling("origin-first", what, (plain.option.id,), choice.box)
    choices = tuple(_told(c, found.get(c.box)) for c in advice.choices)
    return replace(advice, choices=choices, would_change=(*advice.would_change, *found.values()))


def _asked(says: str) -> str:
    cure = says.split(" (")[0]
    return (
        "unplug the antenna or network lead and listen: if the hum goes with it, the first thing "
        f"to buy is {cure} (cheap; common practice, not calculated), with which"
    )


def _told(choice: Choice, found: Settling | None) -> Choice:
    if found is None:
        return choice
    says = f"before anything else is bought, {found.what} {found.answers[0]} {MAY_DO}"
    return replace(choice, why=(says, *choice.why))


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
    ]
    return next((o for o in hums if o.option.native), next(iter(hums), None))
