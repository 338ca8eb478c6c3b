"""What the lists of several boxes come to: if what comes first does, and if none of it does."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace

from probe.advice.model import SO
from probe.advice.taken import (
    TOO_LOUD,
    WHEN,
    Basket,
    Taken,
    not_there,
    of_system,
    orders,
    splitters_needed,
    with_each_answer,
)

Branches = Sequence[tuple[str, Sequence[Basket]]]
"""What is taken with each answer that may be given, by the answer."""


def all_in_all(found: Sequence[Basket], branches: Branches = ()) -> tuple[str, ...]:
    """Return what several baskets come to: price, and what has to be ordered of each part.

    Of boxes that something comes first for, what is paid if what is tried does and what is asked is
    so, and with other answers: each of them is what all boxes take with it.
    """
    boxes, answers = _boxes(found), [(a, _tried_as_told(found, held)) for a, held in branches]
    held = dict(answers).get(SO, ())
    so = () if _alike(found, held) else held
    does = _looked(so or found, [lead for b in _boxes(so or found) if (lead := _if_so(b))])
    if len(does[0]) < 2:
        return ()
    chosen = [lead for b in boxes if (lead := _else(b))]
    used = _looked(found, chosen)
    others = [held for answer, held in answers if answer != SO]
    asked = bool(so) or any(map(_answered, boxes))
    text = f"{_if_it_does(_boxes(so or found), does, asked=asked)}{_with_others(others)}"
    text += _if_not(boxes, used, asked=asked or any(others), looked_at=bool(held))
    order: dict[str, int] = {}
    for name, count in (item for b in _at_once(found, chosen) for item in orders(b).items()):
        order[name] = order.get(name, 0) + count
    return (text, *(f"to be ordered, {n} x, {name}" for name, n in order.items()))


def _boxes(found: Sequence[Basket]) -> list[Basket]:
    return [b for b in found if not b.shares]


def _tried_as_told(found: Sequence[Basket], held: Sequence[Basket]) -> list[Basket]:
    """Return what is taken with an answer, but where a lead is tried before anybody answers."""
    tried = {b.box: b for b in _boxes(found) if _tried(b)}
    return [b if b.shares else tried.get(b.box, b) for b in held]


def _looked(found: Sequence[Basket], leads: Sequence[Basket]) -> list[list[Basket]]:
    """Return leads of several boxes, once for each answer to what is looked at: one for all."""
    each = [with_each_answer(lead) for lead in leads]
    answers = max(map(len, each), default=1)
    return [_at_once(found, [one[k % len(one)] for one in each]) for k in range(answers)]


def _alike(found: Sequence[Basket], held: Sequence[Basket]) -> bool:
    """Tell whether as much is taken, and paid, with an answer as without it."""
    now, then = (_at_once(one, [lead for b in _boxes(one) if (lead := _else(b))])
                 for one in (found, held))  # fmt: skip
    return [b.box for b in now] == [b.box for b in then] and (
        _parts_of(now) == _parts_of(then) and _pieces(now) == _pieces(then)
    )


def _parts_of(leads: Sequence[Basket]) -> dict[str, int]:
    counts: dict[str, int] = {}
    for t in (t for b in leads for t in b.taken):
        counts[t.part.name] = counts.get(t.part.name, 0) + t.count
    return counts


def _tried(basket: Basket) -> Basket | None:
    """Return what the lead takes that is plugged in first; None where none is."""
    if basket.before not in WHEN or not basket.first or basket.first[0].case:
        return None
    return basket.first[0]


def _answered(basket: Basket) -> Basket | None:
    """Return what the first answer takes of a box that has nothing without one; else None."""
    if basket.option or basket.before in WHEN or not basket.first or basket.first[0].case:
        return None
    return basket.first[0]


def _if_so(basket: Basket) -> Basket | None:
    """Return what a box takes if what is tried does, or what is asked first is so."""
    return _tried(basket) or _answered(basket) or _else(basket)


def _sure(basket: Basket) -> Basket:
    """Return the same of a box that takes something."""
    lead = _if_so(basket)
    assert lead is not None
    return lead


def _else(basket: Basket) -> Basket | None:
    """Return what a box takes if nothing that comes first does; None: nothing yet."""
    if basket.option:
        return basket if basket.taken or basket.missing or basket.cases else None
    no = basket.first[1:2] if _answered(basket) else ()
    return no[0] if no and not no[0].case else basket.helped


def _at_once(found: Sequence[Basket], leads: Sequence[Basket]) -> list[Basket]:
    """Return leads of several boxes with as many splitters as they need together."""
    held = list(leads)
    for one in (b for b in found if b.shares):
        here = [lead for lead in leads if lead.option.startswith(f"{one.shares}-to-")]
        needed, both = (splitters_needed(counts) for counts in (
            [b.count for b in here], [b.count_of_both for b in here]))  # fmt: skip
        if needed:
            taken, of_both = (tuple(replace(t, count=n) for t in one.taken) for n in (needed, both))
            held.append(replace(one, count=needed, taken=taken, both=of_both))
    return held


def _if_it_does(boxes: Sequence[Basket], does: Sums, *, asked: bool) -> str:
    """Return what is paid if what comes first does."""
    when = ["what is tried first does"] * any(map(_tried, boxes))
    when += ["what is asked first is so"] * asked
    if not when:
        return ""
    said = [*_nothing_yet(boxes, _if_so), *_origin(boxes), *_offers(boxes)]
    text = _but(_sum(does), said)
    return f"{text}{',' * bool(said or _lacking(does))} if {' and '.join(when)}; "


def _with_others(others: Sequence[Sequence[Basket]]) -> str:
    """Return between what it lies with other answers than those that are hoped for.

    Of parts whose price is not known it is said that there are some.
    """
    whole = [held for held in others if all(map(_if_so, _boxes(held)))]
    sums = [leads for held in whole for leads in _looked(held, list(map(_sure, _boxes(held))))]
    known = [_total(leads) for leads in sums if not _pieces(leads)]
    if not others or not sums:
        return ""
    if not known:
        return "what other answers take is on the lists; "
    between = f"{min(known):.2f}" + f" to {max(known):.2f}" * (max(known) > min(known))
    more = ", or with pieces to be ordered, whose price is not known" * (len(known) < len(sums))
    more += ", or nothing yet for a box" * (len(whole) < len(others))
    return f"with another answer {between} {others[0][0].currency}{more}; "


def _if_not(
    boxes: Sequence[Basket], used: Sums, *, asked: bool, looked_at: bool
) -> str:  # fmt: skip
    """Return what is paid if none of what comes first does."""
    tried = any(map(_tried, boxes))
    said = _nothing_yet(boxes, _else) if used[0] else []
    said += [_of_trials(boxes)] if tried else []
    chosen = [b for b in boxes if b.option]
    untold = (b for b in chosen if b.first and (b.before not in WHEN or b.first[0].case))
    if not looked_at and any(untold):
        said.append("as if no answer that is asked for changed it")
    if any(b.first[1:] and b.first[1].case and _tried(b) for b in boxes):
        said.append("what is asked then not counted")
    if any(b.helped is not None and _else(b) is b.helped for b in boxes):
        said.append("with what would help as named above")
    text = _but(_sum(used), said)
    system = next((b for b in boxes if b.system_price is not None), None)
    if system is not None and any(b.taken for b in used[0]):
        most = max(map(_total, used))
        text += of_system(system, most, partly=bool(_lacking(used)))
    if not tried and not asked:
        return text
    none = ["if none of it does"] * tried
    return f"{' and '.join([*none, *['without such an answer'] * asked])}, {text}"


Sums = Sequence[Sequence[Basket]]
"""What all boxes take, once for each answer to what is looked at; one where nothing is."""


def _sum(used: Sums) -> str:
    """Return a sum with what it lacks; between what it lies with what is looked at."""
    if not used[0]:
        return "nothing is used yet"
    lacks = _lacking(used)
    if not any(b.taken for one in used for b in one):
        return f"nothing of it is on the shelf: {''.join(lacks)}"
    least, most = min(used, key=_total), max(used, key=_total)
    text, apart = _priced(most), _total(most) - _total(least) >= CENT
    text = f"{_total(least):.2f} to {text}" if apart else text
    fewer = len({_missing_of(one) for one in used}) > 1
    said = [f"without {'up to ' * fewer}{pieces}" for pieces in lacks]
    return _but(text, [*said, *["by what is looked at first"] * (apart or fewer)])


CENT = 0.005


def _lacking(used: Sums) -> list[str]:
    """Return the most pieces that are to be ordered."""
    return _pieces(max(used, key=_missing_of))


def _but(text: str, said: Iterable[str]) -> str:
    return ", ".join((text, *said))


def _pieces(used: Sequence[Basket]) -> list[str]:
    count = _missing_of(used)
    return [not_there(count)] if count else []


def _missing_of(used: Sequence[Basket]) -> int:
    return sum(b.count * len(b.missing) for b in used)


def _nothing_yet(boxes: Sequence[Basket], of: Callable[[Basket], Basket | None]) -> list[str]:
    """Return for how many boxes nothing is counted, for nothing is used for them yet."""
    count = sum(of(b) is None and not b.option for b in boxes)
    return [f"nothing yet for {count} box{'es' * (count != 1)}"] if count else []


def _origin(boxes: Sequence[Basket]) -> list[str]:
    """Return that what is pulled first may ask for a part that is on no list."""
    if not any(b.before == "origin-first" for b in boxes):
        return []
    return ["without what may be bought where the hum comes in (above)"]


def _offers(boxes: Sequence[Basket]) -> list[str]:
    """Return that attenuators are named beside leads that come first, which are not counted."""
    leads = (_tried(b) or _answered(b) for b in boxes)
    if not any(b is not None and b.offered is not None and b.offered_for != TOO_LOUD
               for b in leads):  # fmt: skip
        return []
    return ["without the attenuators named beside it"]


def _priced(used: Sequence[Basket]) -> str:
    """Return a sum, and for what it is."""
    boxes = sum(not b.shares for b in used)
    text = f"{_total(used):.2f} {used[0].currency} for {boxes} box{'es' * (boxes != 1)}"
    if any(b.shares and b.taken for b in used):
        text += " with what shares an output"
    if any(b.one_of_two for b in used):
        text += f", one side ({_once([b.both for b in used]):.2f} for both)"
    return text


def _of_trials(boxes: Sequence[Basket]) -> str:
    """Return whether what was tried is in the sum of what is chosen, and what is not in it."""
    vain, unpriced = 0.0, False
    for basket, tried in ((b, t) for b in boxes if (t := _tried(b)) is not None):
        instead = _else(basket)
        kept = {t.part.name for t in instead.taken} if instead else set()
        missing = instead.missing if instead else ()
        vain += sum(t.price for t in tried.taken if t.part.name not in kept)
        unpriced |= any(piece not in missing for piece in tried.missing)
    if unpriced:
        return "besides what was tried and is not used then"
    if vain:
        return f"besides {vain:.2f} {boxes[0].currency} for what was tried and is not used then"
    return "what was tried included"


def _total(used: Sequence[Basket]) -> float:
    return _once([b.taken for b in used])


def _once(held: Sequence[Sequence[Taken]]) -> float:
    """Return the price of all of it, each package counted once for all boxes it serves.

    In the lists a package serves what is chosen and what is tried alike, whichever comes first.
    """
    parts = {t.part.name: t.part for taken in held for t in taken}
    pieces = dict.fromkeys(parts, 0)
    for t in (t for taken in held for t in taken):
        pieces[t.part.name] += t.count
    return sum(math.ceil(n / parts[name].pieces) * parts[name].price for name, n in pieces.items())
