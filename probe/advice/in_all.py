"""What the lists of several boxes come to: if what is tried first does, and if none of it does."""

from __future__ import annotations

import math
from collections.abc import Sequence

from probe.advice.taken import WHEN, Basket, Taken, not_there, of_system, orders


def all_in_all(found: Sequence[Basket]) -> tuple[str, ...]:
    """Return what several baskets come to: price, and what has to be ordered of each part."""
    used = [b for b in found if b.taken or b.missing]
    if len(used) < 2:
        return ()
    total, both = sum(b.total for b in used), sum(b.total_of_both for b in used)
    text = _priced(used, total, both)
    absent = sum(b.count * len(b.missing) for b in used)
    text += f", without {not_there(absent)}" if absent else ""
    if not any(b.taken for b in used):
        text = f"nothing of it is on the shelf: {not_there(absent)}"
    tried = any(_tried(b) for b in found)
    text += f", {_of_trials(found)}" if tried else ""
    if any(b.first and (b.before not in WHEN or b.first[0].case) for b in used):
        text += ", as if no answer that is asked for changed it"
    text += ", what an answer decides not counted" if any(b.cases for b in used) else ""
    if any(b.taken for b in used):
        text += of_system(used[0], total, partly=bool(absent))
    if tried:
        none = "it" if (likely := _if_it_does(found)) else "what is tried first"
        text = f"{likely}if none of {none} does, {text}"
    order: dict[str, int] = {}
    for name, count in (item for b in used for item in orders(b).items()):
        order[name] = order.get(name, 0) + count
    return (text, *(f"to be ordered, {n} x, {name}" for name, n in order.items()))


def _priced(used: Sequence[Basket], total: float, both: float) -> str:
    """Return a sum, and for what it is."""
    boxes = sum(not b.shares for b in used)
    text = f"{total:.2f} {used[0].currency} for {boxes} box{'es' * (boxes != 1)}"
    if any(b.shares and b.taken for b in used):
        text += " with what shares an output"
    if any(b.one_of_two for b in used):
        text += f", one side ({both:.2f} for both)"
    return text


def _tried(basket: Basket) -> Basket | None:
    """Return what the lead takes that is plugged in first; None where none is."""
    if basket.before not in WHEN or not basket.first or basket.first[0].case:
        return None
    return basket.first[0]


def _of_trials(found: Sequence[Basket]) -> str:
    """Return whether what was tried is in the sum of what is chosen, and what is not in it."""
    vain, unpriced = 0.0, False
    for basket, tried in ((b, t) for b in found if (t := _tried(b)) is not None):
        kept = {t.part.name for t in basket.taken}
        vain += sum(t.price for t in tried.taken if t.part.name not in kept)
        unpriced |= any(piece not in basket.missing for piece in tried.missing)
    if unpriced:
        return "besides what was tried and is not used then"
    if vain:
        return f"besides {vain:.2f} {found[0].currency} for what was tried and is not used then"
    return "what was tried included"


def _if_it_does(found: Sequence[Basket]) -> str:
    """Return what is paid where each lead that is tried does.

    Nothing where its leads would share outputs otherwise than those that are chosen do, of which
    no list has the splitters, or where none of it has a price.
    """
    boxes = [_tried(b) or b for b in found if not b.shares]
    used = [b for b in boxes if b.taken or b.missing]
    shared: list[Basket] = []
    for output in ("xlr", "rca"):
        leads = [b.count for b in used if b.option.startswith(f"{output}-to-")]
        needed = sum(leads) - max(leads, default=0)
        listed = [b for b in found if b.shares == output]
        if needed and needed != sum(b.count for b in listed):
            return ""
        shared += listed if needed else []
    used += shared
    total, both = _once([b.taken for b in used]), _once([b.both for b in used])
    if not any(b.taken for b in used):
        return ""
    absent = sum(b.count * len(b.missing) for b in used)
    less = f", without {not_there(absent)}," if absent else ""
    return f"{_priced(used, total, both)}{less} if what is tried first does; "


def _once(held: Sequence[Sequence[Taken]]) -> float:
    """Return the price of all of it, each package counted once for all boxes it serves.

    In the lists a package serves what is chosen and what is tried alike, whichever comes first.
    """
    parts = {t.part.name: t.part for taken in held for t in taken}
    pieces = dict.fromkeys(parts, 0)
    for t in (t for taken in held for t in taken):
        pieces[t.part.name] += t.count
    return sum(math.ceil(n / parts[name].pieces) * parts[name].price for name, n in pieces.items())
