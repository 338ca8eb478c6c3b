"""What an advice takes from a shelf, and its figures with the leads that are taken."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any

from probe.advice.advise import beside, own_leads, quieted_instead
from probe.advice.basket import Lists, lists
from probe.advice.destination import Cable, Destination
from probe.advice.lead_data import SolveBeside
from probe.advice.memory import Memories
from probe.advice.model import Advice, Choice, OptionAdvice
from probe.advice.shelf import Shelf


def from_shelf(
    advice: Advice,
    facts: Mapping[str, Any],
    sources: Mapping[str, Any],
    destination: Destination,
    shelf: Shelf,
    system_price: float | None = None,
    memories: Memories | None = None,
    looking: Callable[[int, str], None] = lambda *_: None,
) -> tuple[Advice, Lists]:
    """Return the advice with the leads of the shelf, and the lists.

    ``looking``: told the how manieth lead is looked at, and for which box.
    """
    subject = (facts, sources, destination, advice, memories)
    leads = own_leads(*subject)
    found = lists(
        advice, destination, shelf, system_price, beside(*subject), _told(leads.solved, looking),
        quieted_instead(*subject),
    )  # fmt: skip
    used = {b.box: b.cable for b in found.own if b.cable is not None}
    together = {b.box: b.data for b in found.own if b.data is not None}
    return leads.used(together if len(together) > 1 else used), found


def _told(solved: SolveBeside, looking: Callable[[int, str], None]) -> SolveBeside:
    """Return what solves a way with a lead of the shelf, and tells which one it is at."""
    count = 0

    def counted(choice: Choice, cable: Cable, taken: Mapping[str, Cable]) -> Sequence[OptionAdvice]:
        nonlocal count
        count += 1
        looking(count, choice.box)
        return solved(choice, cable, taken)

    return counted
