"""What the lists of several boxes come to: if what comes first does, and if none of it does."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace

from probe.advice.model import SO
from probe.advice.taken import (
    IF_NOT,
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
    so, if only that is so, and with other answers: each of them is what all boxes take with it.
    """
    held, boxes = dict(branches).get(SO, ()), _boxes(found)
    told = [_of_branch(b) for b in found] if held else list(found)
    so = () if _alike(found, held) else held
    first = _tried_as_told(found, so) if so else told
    does = Sums.of(first, _if_so, *([_if_tried] if so else []))
    if does.most_boxes < 2:
        return ()
    used = Sums.of(told, _else)
    others = [_tried_as_told(found, one) for answer, one in branches if answer != SO]
    other = Sums.of_all([*others, *(one for answer, one in branches if answer != SO)])
    asked = bool(so) or any(map(_answered, _boxes(told)))
    text = f"{_if_it_does(_boxes(first), does, asked=asked)}{_if_only_so(told, so, does)}"
    text += f"{_with_others(other)}{_if_not(boxes, used, asked=asked or bool(others))}"
    order: dict[str, int] = {}
    chosen = [lead for b in boxes if (lead := _else(b))]
    for name, count in (item for b in _at_once(found, chosen) for item in orders(b).items()):
        order[name] = order.get(name, 0) + count
    return (text, *(f"to be ordered, {n} x, {name}" for name, n in order.items()))


def _of_branch(basket: Basket) -> Basket:
    """Return what a box takes without the answers that all boxes are looked at with."""
    return replace(basket, first=()) if basket.option and basket.before not in WHEN else basket


def _boxes(found: Sequence[Basket]) -> list[Basket]:
    return [b for b in found if not b.shares]


def _tried_as_told(found: Sequence[Basket], held: Sequence[Basket]) -> list[Basket]:
    """Return what is taken with an answer, but where a lead is tried before anybody answers."""
    tried = {b.box: b for b in _boxes(found) if _tried(b)}
    return [b if b.shares else tried.get(b.box, b) for b in held]


def _looked(found: Sequence[Basket], leads: Sequence[Basket]) -> list[list[Basket]]:
    """Return leads of several boxes, once for each answer to what is looked at: one for all.

    Of a box that has nothing with an answer nothing.
    """
    each = [with_each_answer(lead) for lead in leads]
    answers = max(map(len, each), default=1)
    return [
        _at_once(found, [b for one in each if (b := one[k % len(one)]).taken or b.missing])
        for k in range(answers)
    ]


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
    """Return what the first answer takes of a box of which something is asked; else None."""
    if basket.before in WHEN or not basket.first or basket.first[0].case:
        return None
    return basket.first[0]


def _if_so(basket: Basket) -> Basket | None:
    """Return what a box takes if what is tried does, or what is asked first is so."""
    return _tried(basket) or _answered(basket) or _else(basket)


def _if_tried(basket: Basket) -> Basket | None:
    """Return what a box takes if what is tried does, and nothing more is answered."""
    return _tried(basket) or _else(basket)


def _if_only_asked(basket: Basket) -> Basket | None:
    """Return what a box takes if what is tried does not, and what is asked is so."""
    after = [lead for lead in basket.first[1:] if lead.case == IF_NOT and _tried(basket)]
    return after[0] if after else _answered(basket) or _else(basket)


def _else(basket: Basket) -> Basket | None:
    """Return what a box takes if nothing that comes first does; None: nothing yet."""
    if basket.option or basket.cases:
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


Held = Callable[[Basket], "Basket | None"]
"""What a box takes in a case."""


@dataclass(frozen=True)
class Sums:
    """What all boxes take, once for each answer that is not given yet; one where there is none."""

    held: tuple[tuple[Basket, ...], ...]
    looked: bool = False
    """An answer to what is looked at makes another sum."""
    asked: bool = False
    """One to what is asked then does."""
    hoped: bool = False
    """What is asked then is taken as so: a box has nothing without."""

    @classmethod
    def of(cls, found: Sequence[Basket], *cases: Held) -> Sums:
        """Return what boxes take in some cases; in those behind the first only if all have it."""
        boxes = _boxes(found)
        made = [[lead for b in boxes if (lead := case(b))] for case in cases]
        looked = [_looked(found, leads) for leads in made if len(leads) == len(made[0])]
        firsts = [one[0] for one in looked]
        return cls(
            tuple(tuple(one) for each in looked for one in each),
            looked=any(_differ(each) for each in looked),
            asked=_differ(firsts),
            hoped=len(looked) < len(made),
        )

    @classmethod
    def of_all(cls, branches: Sequence[Sequence[Basket]]) -> Sums:
        """Return what boxes take with each of several answers, whatever more is answered."""
        made = [cls.of(found, case).held for found in branches for case in (_if_so, _else)]
        return cls(tuple(one for held in made for one in held))

    @property
    def known(self) -> list[tuple[Basket, ...]]:
        """Those of which something is taken, be it to be ordered."""
        return [one for one in self.held if one]

    @property
    def most_boxes(self) -> int:
        """For how many boxes something is taken, and what they share."""
        return max(map(len, self.held), default=0)

    @property
    def lack(self) -> list[str]:
        """What is said where a box, or each, has something with one answer, and nothing without."""
        boxes = {sum(not b.shares for b in one) for one in self.held}
        if len(boxes) < 2:
            return []
        return ["or nothing yet" + " for a box" * (len(boxes - {0}) > 1)]


def _differ(sums: Sequence[Sequence[Basket]]) -> bool:
    """Tell whether sums are not all the same, or lack another number of pieces."""
    return len({(round(_total(one), 2), _missing_of(one), len(one)) for one in sums}) > 1


def _if_it_does(boxes: Sequence[Basket], does: Sums, *, asked: bool) -> str:
    """Return what is paid if what comes first does."""
    when = ["what is tried first does"] * any(map(_tried, boxes))
    when += ["what is asked first is so"] * asked
    if not when:
        return ""
    said = [*_nothing_yet(boxes, _if_so), *_origin(boxes), *_offers(boxes)]
    text = _but(_sum(does), said)
    return f"{text}{',' * bool(said or _lacking(does.known))} if {' and '.join(when)}; "


def _if_only_so(told: Sequence[Basket], so: Sequence[Basket], does: Sums) -> str:
    """Return what is paid if what is tried does not, and what is asked is so."""
    boxes = _boxes(told)
    if not any(map(_tried, boxes)):
        return ""
    asks = any(lead.case == IF_NOT for b in boxes for lead in b.first[1:])
    if not so and not asks and not any(map(_answered, boxes)):
        return ""
    still = Sums.of(so or told, _if_only_asked)
    if not still.known or not _differ([*does.held, *still.held]):
        return ""
    after = _boxes(so or told)
    said = [*_nothing_yet(after, _if_only_asked), _of_trials(boxes, after, _if_only_asked)]
    return f"{_but(_sum(still), said)}, if only what is asked is so; "


def _with_others(other: Sums) -> str:
    """Return between what it lies with other answers than those that are hoped for.

    Of parts whose price is not known it is said how many there are.
    """
    if not other.held:
        return ""
    if not other.known:
        return "with another answer nothing is used yet; "
    priced = [one for one in other.known if any(b.taken for b in one)]
    least, most = (of(map(_total, priced), default=0.0) for of in (min, max))
    between = f"{least:.2f}" + f" to {most:.2f}" * (most - least >= CENT)
    said = f"{between} {priced[0][0].currency}" if priced else "nothing of it is on the shelf"
    fewer = len({_missing_of(one) for one in other.known}) > 1
    more = [f"without {'up to ' * fewer}{pieces}" for pieces in _lacking(other.known)]
    return f"with another answer {_but(said, [*more, *other.lack])}; "


def _if_not(boxes: Sequence[Basket], used: Sums, *, asked: bool) -> str:
    """Return what is paid if none of what comes first does."""
    tried = any(map(_tried, boxes))
    said = _nothing_yet(boxes, _else) if used.known else []
    said += [_of_trials(boxes, boxes, _else)] if tried else []
    if any(b.helped is not None and _else(b) is b.helped for b in boxes):
        said.append("with what would help as named above")
    text = _but(_sum(used), said)
    system = next((b for b in boxes if b.system_price is not None), None)
    if system is not None and any(b.taken for one in used.known for b in one):
        most = max(map(_total, used.known))
        text += of_system(system, most, partly=bool(_lacking(used.known)))
    if not tried and not asked:
        return text
    none = ["if none of it does"] * tried
    return f"{' and '.join([*none, *['without such an answer'] * asked])}, {text}"


def _sum(used: Sums) -> str:
    """Return a sum with what it lacks; between what it lies with what is not answered yet."""
    known = used.known
    if not known:
        return "nothing is used yet"
    lacks = _lacking(known)
    if not any(b.taken for one in known for b in one):
        return f"nothing of it is on the shelf: {''.join(lacks)}"
    least, most = min(known, key=_total), max(known, key=_total)
    text, apart = _priced(most), _total(most) - _total(least) >= CENT
    text = f"{_total(least):.2f} to {text}" if apart else text
    fewer = len({_missing_of(one) for one in known}) > 1
    said = [f"without {'up to ' * fewer}{pieces}" for pieces in lacks]
    said += used.lack
    by = ["looked at first"] * used.looked + ["asked then"] * used.asked
    said += [f"by what is {' and '.join(by)}"] * bool(by)
    return _but(text, [*said, *["as if what is asked then were so"] * used.hoped])


CENT = 0.005


def _lacking(used: Sequence[Sequence[Basket]]) -> list[str]:
    """Return the most pieces that are to be ordered."""
    return _pieces(max(used, key=_missing_of, default=()))


def _but(text: str, said: Iterable[str]) -> str:
    return ", ".join((text, *said))


def _pieces(used: Sequence[Basket]) -> list[str]:
    count = _missing_of(used)
    return [not_there(count)] if count else []


def _missing_of(used: Sequence[Basket]) -> int:
    return sum(b.count * len(b.missing) for b in used)


def _nothing_yet(boxes: Sequence[Basket], of: Held) -> list[str]:
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


def _of_trials(boxes: Sequence[Basket], after: Sequence[Basket], of: Held) -> str:
    """Return whether what was tried is in the sum of what is used then, and what is not in it."""
    vain, unpriced = 0.0, False
    then = {b.box: b for b in after}
    for basket, tried in ((b, t) for b in boxes if (t := _tried(b)) is not None):
        instead = of(then[basket.box])
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
