"""Ways that do as well as what is chosen with the leads of a shelf, and need less to be bought.

What is chosen is chosen by usual leads. With those that a shelf has, it may do no better than
another way into the same box that costs less: then that one is used, in all that is said. Nothing
is bought for a hum that is less by what is hardly heard.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import islice, product

from probe.advice.alike import as_good, candidate
from probe.advice.candidate import Candidate
from probe.advice.desk import Desk
from probe.advice.destination import Destination, LessToBuy, Way
from probe.advice.equal_boxes import unlike
from probe.advice.model import Advice, Choice, OptionAdvice
from probe.advice.own_lead import OwnLeads
from probe.advice.picked import data_of, pick_together
from probe.advice.picking import CENT, Bill, Least, bill_of, least_of
from probe.advice.ranking import HUM, serves_as_well
from probe.advice.shelf import Shelf
from probe.advice.use import ranks
from probe.advice.way_parts import demand_of

ALIKE_DB = 2.0
"""Hum and noise that differ by no more are alike to whoever pays for it. [judgement]"""

MOST_LOOKED_AT = 10_000
"""Sets of which it is looked up what they cost at least. [practice]"""

MOST_SOLVED = 6
"""Sets that are solved with leads of the shelf, those first that may need least to be bought: with
each of them every lead that fits is solved. [practice]"""


@dataclass(frozen=True)
class _WithLeads:
    """What is used for all boxes, with the leads of a shelf."""

    advice: Advice
    bill: Bill
    options: Sequence[OptionAdvice]

    def of(self, box: str) -> Candidate:
        """Return what one box uses, with the others plugged in."""
        held = tuple(o for o in self.options if o.box == box)
        return Candidate(held[0].option, held[0].socket, held)


def less_to_buy(
    advice: Advice, destination: Destination, shelf: Shelf, leads: OwnLeads
) -> LessToBuy | None:
    """Return the ways that do as well for all boxes at once, and need less to be bought.

    ``leads``: solves ``advice`` with other leads. None: nothing does.
    """
    used = [c for c in advice.choices if any(_options(advice, c))]
    rivals = [[c, *_others(advice, c)] for c in used]
    if not leads.desks or all(len(held) == 1 for held in rivals):
        return None
    mine = _with_leads(advice, destination, shelf, leads)
    if not all(o.works for o in mine.options):
        return None
    rivals = [
        [c for c in held if c is own or _may(advice, c, mine, destination)]
        for held, own in zip(rivals, used, strict=True)
    ]
    best = mine
    sets = _cheapest_first(rivals, advice, destination, shelf, mine)
    for least, choices in sets[:MOST_SOLVED]:
        if best is not mine and least >= best.bill.all_of_it:
            break
        other = _with_leads(_instead(advice, choices), destination, shelf, leads)
        if not other.bill.beats(mine.bill):
            continue
        first = best is mine or other.bill.all_of_it < best.bill.all_of_it
        if first and _serves(other, mine, destination, leads.desks[0]):
            best = other
    if best is mine:
        return None
    return LessToBuy(_ways(advice), _ways(best.advice), tuple(_why(mine, best, shelf.currency)))


def _options(advice: Advice, choice: Choice) -> Iterator[OptionAdvice]:
    way = (choice.box, choice.socket, choice.option)
    return (o for o in advice.options if (o.box, o.socket, o.option.id) == way)


def _others(advice: Advice, choice: Choice) -> Iterator[Choice]:
    """Yield the other ways into the box that work by themselves.

    None with an isolator where none is used; of several boxes from the same output alone, for what
    shares another one wants splitters.
    """
    own = next(_options(advice, choice))
    here = (own.socket, own.option.id)
    beside = ((o.socket, o.option.id) for o in advice.options if o.box == choice.box)
    for socket, option in dict.fromkeys(way for way in beside if way != here):
        one = candidate(advice, choice.box, socket, option)
        isolates = one.transformer and own.option.pin_3 != "transformer"
        moves = len(advice.choices) > 1 and one.option.from_ != own.option.from_
        if one.works and not isolates and not moves:
            yield replace(choice, socket=socket, option=option, attenuator=one.padded)


def _may(advice: Advice, choice: Choice, mine: _WithLeads, destination: Destination) -> bool:
    """Tell whether a way does as well by itself, with a usual lead, as what is used beside all."""
    one = candidate(advice, choice.box, choice.socket or "", choice.option or "")
    return as_good(one, mine.of(choice.box), destination.wanted(choice.box), ALIKE_DB)


def _instead(advice: Advice, choices: Sequence[Choice]) -> Advice:
    """Return the advice with other choices, of which no set is solved yet."""
    other = {c.box: c for c in choices}
    return replace(advice, choices=tuple(other.get(c.box, c) for c in advice.choices), sets=())


def _with_leads(
    advice: Advice, destination: Destination, shelf: Shelf, leads: OwnLeads
) -> _WithLeads:  # fmt: skip
    leads = replace(leads, advice=advice)
    picked = pick_together(advice, destination, shelf, leads.solved)
    bill = bill_of(picked.demands, picked.chosen, shelf)
    return _WithLeads(advice, bill, leads.all_at_once(data_of(picked.demands, picked.chosen)))


def _cheapest_first(
    rivals: Sequence[Sequence[Choice]], advice: Advice, destination: Destination, shelf: Shelf,
    mine: _WithLeads,
) -> list[tuple[Least, tuple[Choice, ...]]]:  # fmt: skip
    """Return the sets that may need less to be bought, with the least they come to.

    What may come to least first, then what changes less; in whatever order the boxes are named.
    """
    rank = ranks(destination.inputs, [held[0].box for held in rivals])
    at = sorted(range(len(rivals)), key=lambda k: rank[k])
    least = [[least_of(demand_of(advice, c, destination), shelf) for c in held] for held in rivals]
    found = []
    for places in islice(product(*(range(len(held)) for held in rivals)), MOST_LOOKED_AT):
        all_of_it = sum((least[k][place] for k, place in enumerate(places)), Least())
        if any(places) and all_of_it.may_beat(mine.bill):
            order = all_of_it, sum(map(bool, places)), tuple(places[k] for k in at)
            choices = tuple(held[place] for held, place in zip(rivals, places, strict=True))
            found.append((order, choices))
    return [(order[0], choices) for order, choices in sorted(found, key=lambda one: one[0])]


def _serves(
    other: _WithLeads, mine: _WithLeads, destination: Destination, desk: Desk
) -> bool:  # fmt: skip
    """Tell whether every box has it as well, and no alike boxes are played apart by it."""
    boxes = dict.fromkeys(o.box for o in mine.options)
    wanted = destination.wanted
    if not all(
        serves_as_well(other.of(b), mine.of(b), destination, wanted(b), ALIKE_DB) for b in boxes
    ):
        return False
    return set(unlike(desk, other.options)) <= set(unlike(desk, mine.options))


def _ways(advice: Advice) -> frozenset[Way]:
    return frozenset(
        (c.box, c.socket or "", c.option or "") for c in advice.choices if any(_options(advice, c))
    )


def _why(mine: _WithLeads, best: _WithLeads, currency: str) -> Iterator[tuple[str, str]]:
    """Yield each box that uses another way, and why."""
    was = {c.box: c for c in mine.advice.choices}
    saves = _saves(mine.bill, best.bill, currency)
    several = len({o.box for o in mine.options}) > 1
    with_it = f"with what is on the shelf{', all plugged in,' * several} as good as"
    for choice in best.advice.choices:
        old = was[choice.box].option
        if choice.option != old:
            hum = _hums(mine.of(choice.box), best.of(choice.box))
            yield choice.box, f"{with_it} {old}{hum}, {saves}{', for all boxes' * several}"


def _hums(mine: Candidate, best: Candidate) -> str:
    """Return how both hum with the leads that are taken, where that is not told alike."""
    if mine.hum is None or best.hum is None:
        return ""
    told, other = HUM.told(best), HUM.told(mine)
    return f" (hum {told} below full output, where that has {other})" if told != other else ""


def _saves(mine: Bill, best: Bill, currency: str) -> str:
    """Return in words what is saved: what has to be ordered, and what is paid, each as both are."""
    orders = [bill.missing.total() + bill.lacks for bill in (mine, best)]
    says = []
    if orders[1] < orders[0]:
        pieces = "is" if orders[1] < 2 else "are"
        says.append(f"and {orders[1] or 'nothing'} {pieces} to be ordered, not {orders[0]}")
    if mine.missing == best.missing and mine.price - best.price > CENT:
        says.append(f"and it costs {best.price:.2f} {currency}, not {mine.price:.2f}")
    return ", ".join(says)
