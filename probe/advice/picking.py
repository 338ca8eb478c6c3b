"""Which parts of a shelf are taken for the ways of several boxes: for all of them together.

Stock that several boxes could use goes where it leaves least to be ordered, then where all of it
costs least; in which order the boxes are named plays no part.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import product

from probe.advice.fitting import fits, without_data
from probe.advice.lead_data import Leads, cable_of, far_too_long, path_ohm
from probe.advice.leads import Piece
from probe.advice.shelf import Part, Shelf
from probe.advice.taken import Taken, less, whole_run

Chosen = tuple[tuple[Piece, Part | None], ...]
"""The pieces of a way with what is taken for each; None: nothing on the shelf makes it."""

Rank = tuple[float, ...]

SAME_PRICE = 4
"""Decimal places to which two prices are compared. [practice]"""


@dataclass(frozen=True)
class Demand:
    """What one box takes: ``count`` of every piece of one of its ways."""

    box: str
    ways: Sequence[Sequence[Piece]]
    count: int
    leads: Leads


@dataclass(frozen=True)
class _Candidate:
    """One way of one box with parts; ``least``: its rank if nobody else takes anything."""

    chosen: Chosen
    alone: Rank
    counts: Counter[str] = field(compare=False)
    paid: Counter[str] = field(compare=False)
    """Of these what is not there already, because it was tried."""
    least: Rank

    @property
    def names(self) -> tuple[str, ...]:
        return tuple("" if part is None else part.name for _, part in self.chosen)


def pick(
    demands: Sequence[Demand],
    shelf: Shelf,
    does: Callable[[Mapping[str, Chosen]], bool] | None = None,
) -> dict[str, Chosen]:
    """Return what every box takes, the best for all of them.

    Nothing missing, no transformer missing (it is what is dear), all in stock, as solved, of such
    length, price, pieces; each for all boxes. ``does``: whether leads of several boxes work beside
    each other.
    """
    held = sorted(demands, key=lambda d: d.box)
    parts = {p.name: p for p in shelf.parts}
    offers = [_candidates(d, held, shelf) for d in held]
    search = _Search(parts, held, offers, does)
    return search.found or _Search(parts, held, offers, None).found


def taken_of(chosen: Chosen, count: int, shelf: Shelf) -> tuple[Taken | Piece, ...]:
    """Return the pieces of a way as they are taken from what is left on a shelf."""
    found: list[Taken | Piece] = []
    for piece, part in chosen:
        if part is None:
            found.append(piece)
            continue
        taken = Taken(piece, next(p for p in shelf.parts if p.name == part.name), count)
        found.append(taken)
        shelf = less(shelf, (taken,))
    return tuple(found)


@dataclass(frozen=True)
class Bill:
    """What has to be ordered that no part on a shelf makes, what is not there, and the price."""

    missing: Counter[str]
    lacks: int
    price: float

    def beats(self, other: Bill) -> bool:
        """Tell whether less is to be ordered, or to be paid, and no more of either.

        What nothing on the shelf makes has no price: where less of that is to be ordered the sum
        decides nothing.
        """
        if not self.missing <= other.missing or self.lacks > other.lacks:
            return False
        if self.missing != other.missing:
            return True
        less = other.price - self.price
        return less > CENT or (self.lacks < other.lacks and less > -CENT)

    @property
    def all_of_it(self) -> Least:
        """What goes first of several that beat a third: as of parts, fewest to be ordered."""
        return Least(self.missing.total(), self.lacks, self.price)


CENT = 0.005
"""Prices that differ by less are the same. [practice]"""


def bill_of(
    demands: Mapping[str, Demand], chosen: Mapping[str, Chosen], shelf: Shelf
) -> Bill:  # fmt: skip
    """Return what has to be ordered and paid for what all boxes take."""
    parts = {p.name: p for p in shelf.parts}
    missing: Counter[str] = Counter()
    counts: Counter[str] = Counter()
    for box, chain in chosen.items():
        for piece, part in chain:
            if part is None:
                missing[piece.says] += demands[box].count
            else:
                counts[part.name] += demands[box].count
    lacks = sum(_lacks(parts[name], n) for name, n in counts.items())
    return Bill(missing, lacks, sum(_price(parts[name], n) for name, n in counts.items()))


@dataclass(frozen=True, order=True)
class Least:
    """The fewest pieces missing, parts not there, and price that a bill may come to."""

    missing: int = 0
    lacks: int = 0
    price: float = 0.0

    def __add__(self, other: Least) -> Least:
        """Return that of both."""
        return Least(
            self.missing + other.missing, self.lacks + other.lacks, self.price + other.price
        )

    def may_beat(self, bill: Bill) -> bool:
        """Tell whether what comes to no less may beat a bill."""
        missing = bill.missing.total()
        if self.missing > missing or self.lacks > bill.lacks:
            return False
        fewer = self.missing < missing or self.lacks < bill.lacks
        return fewer or self.price < bill.price - CENT


def least_of(demand: Demand, shelf: Shelf) -> Least:
    """Return the least one box can come to, whatever its leads are and the other boxes take."""
    found = []
    for way in demand.ways:
        missing, lacks, price = 0, 0, 0.0
        for piece in way:
            does = [p for p in shelf.parts if fits(p, piece, demand.leads.cable.length_m)]
            if not does:
                missing += demand.count
                continue
            lacks += min(_lacks(p, demand.count) for p in does)
            price += min(_share(p, demand.count) for p in does)
        found.append(Least(missing, lacks, price))
    fewest = min((one.missing for one in found), default=0)
    able = [one for one in found if one.missing == fewest] or [Least()]
    return Least(fewest, min(one.lacks for one in able), min(one.price for one in able))


def look_at(demand: Demand, shelf: Shelf) -> None:
    """Find out of all leads of a shelf that fit what they are otherwise than what was solved."""
    for piece in (p for way in demand.ways for p in way):
        for part in shelf.parts:
            if fits(part, piece, demand.leads.cable.length_m):
                demand.leads.own(part, piece)
    for way in (w for w in demand.ways if any(piece.in_series for piece in w)):
        list(_chains(way, demand, demand.count, shelf))


def one_piece(piece: Piece, count: int, shelf: Shelf) -> Taken | Piece:
    """Return what is taken for one piece, or the piece where nothing on the shelf makes it."""
    demand = Demand("", ((piece,),), count, Leads())
    (found,) = taken_of(pick([demand], shelf)[""], count, shelf)
    return found


LOOKED_AT = 1500
"""Steps after which the best that was found is taken. A few boxes on a dealer's shelf come to some
dozens; four boxes with ten like parts for each piece come to more, and what is taken is then not
proven to be the best, but still the same in whatever order boxes and parts are named. [practice]"""

NEAREST = 200
"""Of so many candidates of a box, best first, the one is taken to begin with. [practice]"""


class _Search:
    """Goes through the candidates of box after box, and leaves what cannot be the best."""

    def __init__(
        self, parts: Mapping[str, Part], held: Sequence[Demand],
        offers: Sequence[Sequence[_Candidate]],
        does: Callable[[Mapping[str, Chosen]], bool] | None,
    ) -> None:  # fmt: skip
        self._parts, self._held, self._offers, self._does = parts, held, offers, does
        self._best: tuple[Rank, tuple[tuple[str, ...], ...]] | None = None
        self.found: dict[str, Chosen] = {}
        least = [min(c.least for c in one) for one in offers]
        self._rest = [_sum(least[k:]) for k in range(len(least) + 1)]
        self._left = LOOKED_AT
        first: list[_Candidate] = []
        for one in offers:
            first.append(min(one[:NEAREST], key=lambda c: (self._rank([*first, c]), c.names)))
        self._end(first)
        self._go([])

    def _go(self, taken: list[_Candidate]) -> None:
        at = len(taken)
        if at == len(self._offers):
            self._end(taken)
            return
        bound = _added(self._bound(taken), self._rest[at + 1])
        for one in self._offers[at]:
            # the next ones are no better by themselves
            if self._best is not None and _added(bound, one.least) > self._best[0]:
                return
            self._left -= 1
            if self._left < 0:
                return
            self._go([*taken, one])

    def _end(self, taken: Sequence[_Candidate]) -> None:
        """Keep what all boxes take, if it is better than what was found so far and does."""
        rank = self._rank(taken), tuple(one.names for one in taken)
        if self._best is None or rank < self._best:
            found = {d.box: one.chosen for d, one in zip(self._held, taken, strict=True)}
            if self._does is None or self._does(found):
                self._best, self.found = rank, found

    def _bound(self, taken: Sequence[_Candidate]) -> Rank:
        """Return a rank that these cannot fall below, whatever else is taken."""
        if not taken:
            return NOTHING
        return _ranked(taken, self._parts, _share)

    def _rank(self, taken: Sequence[_Candidate]) -> Rank:
        return _ranked(taken, self._parts, _price)


NOTHING: Rank = (0.0,) * 7
"""Rank of what is empty."""


def _added(one: Rank, other: Rank) -> Rank:
    return tuple(round(a + b, SAME_PRICE) for a, b in zip(one, other, strict=True))


def _sum(ranks: Sequence[Rank]) -> Rank:
    found = NOTHING
    for rank in ranks:
        found = _added(found, rank)
    return found


def _ranked(
    taken: Sequence[_Candidate], parts: Mapping[str, Part], price: Callable[[Part, int], float]
) -> Rank:  # fmt: skip
    counts: Counter[str] = sum((one.counts for one in taken), Counter())
    paid: Counter[str] = sum((one.paid for one in taken), Counter())
    missing, dear, worse, long, pieces = _sum_of(taken)
    lacks = sum(_lacks(parts[name], n) for name, n in counts.items())
    costs = round(sum(price(parts[name], n) for name, n in paid.items()), SAME_PRICE)
    return missing, dear, lacks, worse, long, costs, pieces


def _sum_of(taken: Sequence[_Candidate]) -> Rank:
    return tuple(sum(one.alone[k] for one in taken) for k in range(5))


def _lacks(part: Part, count: int) -> int:
    """Return how many of ``count`` are not there."""
    return max(count - part.loose - part.stock * part.pieces, 0)


def _price(part: Part, count: int) -> float:
    return math.ceil(max(count - part.loose, 0) / part.pieces) * part.price


def _share(part: Part, count: int) -> float:
    """Return the least that ``count`` cost where the rest of a package serves another box."""
    return max(count - part.loose, 0) / part.pieces * part.price


def _candidates(demand: Demand, held: Sequence[Demand], shelf: Shelf) -> list[_Candidate]:
    """Return all that one box may take, the best by itself first."""
    others = sum(d.count * max(map(len, d.ways), default=0) for d in held)
    parts = {p.name: p for p in shelf.parts}
    found: list[_Candidate] = []
    for way in demand.ways:
        chains = _chains(way, demand, others, shelf)
        found.extend(_candidate(demand, chosen, parts) for chosen in chains)
    return sorted(found, key=lambda c: (c.least, c.names))


def _chains(way: Sequence[Piece], demand: Demand, all_of_it: int, shelf: Shelf) -> Iterator[Chosen]:
    """Yield what a way may be made of; of leads in series, which are judged together, what does."""
    offers = [_offers(piece, demand, all_of_it, shelf) or [None] for piece in way]
    in_series = any(piece.in_series for piece in way)
    for of_it in product(*offers):
        chosen: Chosen = tuple(zip(way, of_it, strict=True))
        if in_series:
            there = all(part or piece.kind == "attenuator" for piece, part in chosen)
            if not there or not demand.leads.of(chosen).serves:
                continue
        yield chosen


def _candidate(demand: Demand, chosen: Chosen, parts: Mapping[str, Part]) -> _Candidate:
    counts: Counter[str] = Counter()
    paid: Counter[str] = Counter()
    missing = dear = long = 0
    worse = demand.leads.of(chosen).worse
    for piece, part in chosen:
        if part is None:
            missing, dear = missing + 1, dear + (piece.kind == "transformer")
            continue
        counts[part.name] += demand.count
        if not _paid_for(piece, part, demand.leads):
            paid[part.name] += demand.count
        worse += without_data(part)
        long += far_too_long(part, demand.leads.cable.length_m)
    one = _Candidate(chosen, (missing, dear, worse, long, len(chosen)), counts, paid, NOTHING)
    return _Candidate(chosen, one.alone, counts, paid, _ranked([one], parts, _share))


def _worse(piece: Piece, part: Part, leads: Leads) -> tuple[int, int]:
    """Return how much worse a part is than what was solved, and whether it is far too long.

    A transformer without data may be anything.
    """
    worse = leads.own(part, piece).worse + without_data(part)
    return worse, int(far_too_long(part, leads.cable.length_m))


def _has_less(part: Part, other: Part, leads: Leads) -> bool:
    """Tell whether a lead has a better shield than another one, or less capacitance."""
    mine, theirs = (cable_of(one, leads.cable) for one in (part, other))
    return path_ohm(mine) < path_ohm(theirs) or mine.farad < theirs.farad


def _paid_for(piece: Piece, part: Part, leads: Leads) -> bool:
    """Tell whether it is there because it was tried."""
    return whole_run(piece) and part.name in leads.tried


def _offers(piece: Piece, demand: Demand, all_of_it: int, shelf: Shelf) -> list[Part | None]:
    """Return the parts for a piece, without those that are never wanted for what is better.

    One that is better is wanted as long as the others may leave enough of it; of one that has to
    be ordered any better one takes the place.
    """
    leads, count = demand.leads, demand.count
    fitting = [p for p in shelf.parts if fits(p, piece, leads.cable.length_m)]
    does = [p for p in fitting if leads.own(p, piece).serves]
    kept: list[Part | None] = []
    for part in does:
        there = _paid_for(piece, part, leads)
        mine = (*_worse(piece, part, leads), 0.0 if there else _share(part, count))
        better = [
            p for p in does
            if (*_worse(piece, p, leads), _price(p, count), p.name) < (*mine, part.name)
            and not (piece.in_series and _has_less(part, p, leads))
        ]  # fmt: skip
        others = all_of_it - count
        room = sum(max(p.loose + p.stock * p.pieces - count + 1, 0) for p in better)
        if room <= others and not (better and not part.stock + part.loose):
            kept.append(part)
    if any(part is not None and leads.own(part, piece).cable is not None for part in kept):
        kept.append(None)  # beside the leads of the others none of them may do
    return kept
