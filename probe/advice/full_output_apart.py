"""Boxes of one kind that do not come to their full output together, as in bi-amping.

Each is judged by itself, and volume is one for all: what one box has in hand before the other is
for the level controls, and whoever fits them has to know how much.
"""

from __future__ import annotations

from collections.abc import Sequence

from probe.advice import thresholds as limit
from probe.advice.model import Advice, OptionAdvice
from probe.advice.note import Note
from probe.advice.quantity import Quantity

ALIKE = ("amplifier", "subwoofer")
"""Roles of which several are wanted as loud as each other; what another box is, nobody knows."""


def unlike_levels(advice: Advice) -> tuple[Note, ...]:
    """Return what stands between the levels of boxes of the same role, a note for each role."""
    return tuple(note for role in ALIKE for note in _of_role(advice, role))


def _of_role(advice: Advice, role: str) -> list[Note]:
    beside = advice.sets[0].options if advice.sets else ()
    used = [o for o in beside or advice.options if beside or o.verdict == "use"]
    margins: dict[str, Quantity] = {}
    for choice in advice.choices:
        mine = [o for o in used if o.box == choice.box and o.option.id == choice.option]
        margin = _least(mine) if choice.option is not None else None
        if margin is not None and mine[0].role == role:
            margins[choice.box] = margin
    # levels at a maximum of each output are none at one volume
    one_volume = len({o.operating for o in used if o.box in margins}) == 1
    if len(margins) < 2 or not one_volume:
        return []
    early = max(margins, key=lambda box: margins[box].value)
    late = min(margins, key=lambda box: margins[box].value)
    apart = margins[early].value - margins[late].value
    if apart < limit.TIE_BREAK_DB:
        return []
    figures = " and ".join(f"{margins[box].value:+.1f}" for box in (early, late))
    says = (
        f"At one volume setting {early} comes to its full output {apart:.1f} dB before {late} "
        f"({figures} dB): where both are to be as loud, as in bi-amping, set that with their level "
        "controls"
    )
    return [Note("unlike-levels", f"{says}.")]


def _least(sides: Sequence[OptionAdvice]) -> Quantity | None:
    """Return the margin to full output on the side that has less of it."""
    known = [m for o in sides if (m := o.used.figures.played_margin_db) is not None]
    return min(known, key=lambda m: m.value) if len(known) == len(sides) and known else None
