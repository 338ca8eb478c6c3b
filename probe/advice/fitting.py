"""Which parts of a shelf are what a connection asks for, and which of them are taken."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from functools import partial

from probe.advice.lead_data import Leads, far_too_long
from probe.advice.leads import Piece, ways_of
from probe.advice.parts import ISOLATING_TRANSFORMER as ORDINARY
from probe.advice.parts import as_good
from probe.advice.shelf import Part, Shelf
from probe.advice.taken import SHORT_METRES, Own, Taken, less, whole_run

SAME_DB = 0.5
"""An attenuator so near to the one that was solved is the same. [practice]"""

CHEAPER = 0.5
"""Share of the price of what is in stock from which what would have to be ordered is named.
[judgement]"""

NOTABLY = 0.75
"""The same of what is in stock too, and is not taken because it is worse. [judgement]"""

DEAREST_LISTED = 3
"""Dearer parts that would do as well, listed with what differs."""


def chain(
    way: Sequence[Piece], shelf: Shelf, count: int, leads: Leads
) -> tuple[Taken | Piece, ...]:
    """Return the pieces of a way with the part that is taken for each, or as they are."""
    found: list[Taken | Piece] = []
    for piece in way:
        fitting = [p for p in shelf.parts if fits(p, piece, leads.cable.length_m)]
        offers = [Taken(piece, p, count) for p in fitting if leads.own(p, piece).serves]
        best = min(offers, key=partial(_order, leads=leads), default=None)
        found.append(piece if best is None else best)
        shelf = shelf if best is None else less(shelf, (best,))
    return tuple(found)


def _order(offer: Taken, leads: Leads) -> tuple[bool, int, bool, float, str]:
    """Rank an offer: in stock, how much worse than what was solved, not far too long, price.

    A transformer without data may be anything.
    """
    worse = leads.own(offer.part, offer.piece).worse + _without_data(offer.part)
    long = far_too_long(offer.part, leads.cable.length_m)
    return not offer.in_stock, worse, long, _to_pay(offer, leads), offer.part.name


def _without_data(part: Part) -> bool:
    return part.kind == "transformer" and part.transformer is None


def _to_pay(offer: Taken, leads: Leads) -> float:
    """Return what an offer costs yet: a lead that was tried is paid for."""
    there = whole_run(offer.piece) and offer.part.name in leads.tried
    return 0.0 if there else offer.price


def cost(pieces: Sequence[Taken | Piece], leads: Leads) -> tuple[float, ...]:
    """Rank a chain: nothing missing, all in stock, as solved, of such length, price, pieces.

    Of two that lack as much the one whose transformer is there: it is what is dear.
    """
    taken = [t for t in pieces if isinstance(t, Taken)]
    ranks = [_order(t, leads) for t in taken]
    missing = len(pieces) - len(taken)
    dear = sum(isinstance(p, Piece) and p.kind == "transformer" for p in pieces)
    price = sum(_to_pay(t, leads) for t in taken)
    lacks = (sum(r[0] for r in ranks), sum(r[1] for r in ranks), sum(r[2] for r in ranks))
    return missing, dear, *lacks, price, len(pieces)


def fits(part: Part, piece: Piece, length_m: float) -> bool:
    """Tell whether a part is what a piece asks for; a lead long enough for its place."""
    if (part.kind, part.from_, part.to) != (piece.kind, piece.from_, piece.to):
        return False
    if piece.kind in ("lead", "adapter", "splitter") and not _wired_alike(part, piece):
        return False
    if piece.part is not None and not as_good(part.transformer or ORDINARY, piece.part):
        return False
    if piece.ohm is not None and part.impedance_ohm != piece.ohm:
        return False
    if piece.kind == "attenuator" and (
        piece.made
        or not piece.ready
        or part.impedance_ohm != piece.ohm
        or part.attenuation_db in piece.refused_db
    ):
        return False  # that of a digital link would load an analogue one
    if piece.attenuation_db is not None:
        return abs((part.attenuation_db or 0.0) - piece.attenuation_db) <= SAME_DB
    if piece.kind == "lead" and part.length_m is not None:
        if piece.place != "run":
            return part.length_m <= SHORT_METRES
        return part.length_m >= length_m - 1e-9
    return True


def leads_for(option: str, length_m: float, shelf: Shelf, count: int) -> list[Part]:
    """Return the leads of a shelf that an option may have on its run, what is in stock first."""
    runs = [p for way in ways_of(option, "", None) for p in way if whole_run(p)]
    found = {p.name: Taken(piece, p, count) for piece in runs if piece.ohm is None
             for p in shelf.parts if fits(p, piece, length_m)}  # fmt: skip
    held = sorted(
        found.values(),
        key=lambda t: (not t.in_stock, far_too_long(t.part, length_m), t.price, t.part.name),
    )
    return [t.part for t in held]


def _wired_alike(part: Part, piece: Piece) -> bool:
    return (part.wires, part.joined_from, part.joined_to) == (
        piece.wires, piece.joined_from, piece.joined_to,
    )  # fmt: skip


def cheaper_parts(
    taken: Sequence[Taken], shelf: Shelf, length_m: float, own: Mapping[str, Own]
) -> Iterable[str]:
    """Name beside what is taken from stock what does and is much cheaper to order.

    And what is in stock and cheaper, with what is worse with it, which is why it is not taken.
    ``own``: what leads are otherwise than what was solved, by name.
    """
    for t in taken:
        offers = [Taken(t.piece, p, t.count) for p in shelf.parts
                  if p.name != t.part.name and fits(p, t.piece, length_m)
                  and _told_of(own.get(p.name)) and not far_too_long(p, length_m)
                  and _without_data(p) <= _without_data(t.part)]  # fmt: skip
        offers = [o for o in offers if o.price <= CHEAPER * t.price
                  or (o.in_stock and o.price <= NOTABLY * t.price)]  # fmt: skip
        best = min(offers, key=lambda o: (o.price, o.part.name), default=None)
        if best is not None and t.in_stock:
            changed = own[best.part.name].changed if best.part.name in own else ""
            does = f", with {changed}," if changed else ": does the same"
            yield f"or {best.says}{does} for {t.price - best.price:.2f} {shelf.currency} less"


def _told_of(own: Own | None) -> bool:
    """Tell whether a lead does, and is known by its figures where it differs."""
    return own is None or (own.serves and bool(own.changed or not own.says))


def dearer_parts(
    taken: Sequence[Taken], shelf: Shelf, length_m: float, own: Mapping[str, Own]
) -> Iterable[str]:
    """Name dearer parts that would do as well and are better by what is stated of both.

    A longer one is of no use, nor is one of which nothing is stated. ``own``: as `cheaper_parts`.
    """
    for t in taken:
        others = [
            p for p in shelf.parts
            if p.name != t.part.name and fits(p, t.piece, length_m)
            and not (p.name in own and own[p.name].says)
            and not far_too_long(p, length_m)
            and p.price / p.pieces > t.part.price / t.part.pieces
            and _better(t.part, p)
        ]  # fmt: skip
        for other in sorted(others, key=lambda p: p.price)[:DEAREST_LISTED]:
            prices = [Taken(t.piece, replace(p, loose=0), t.count).price for p in (other, t.part)]
            more = prices[0] - prices[1]
            yield f"{other.name} does the same for {more:.2f} more: {_differs(t.part, other)}"


def _better(one: Part, other: Part) -> bool:
    """Tell whether something measurable is better of the other part, and nothing of it worse."""
    found = [
        _whole(other, name) - _whole(one, name)
        for name in dict(one.measured).keys() & dict(other.measured).keys()
    ]
    return any(more < 0.0 for more in found) and all(more <= 0.0 for more in found)


def _whole(part: Part, name: str) -> float:
    """Return a measured figure of a whole part, the less of it the better."""
    value = dict(part.measured)[name]
    if name.startswith("V "):
        return -value
    return value * (part.length_m or 1.0) if "/m" in name else value


def _differs(one: Part, other: Part) -> str:
    mine, theirs = dict(one.measured), dict(other.measured)
    return ", ".join(
        f"{theirs[name]:g} instead of {mine[name]:g} {name}"
        for name in theirs
        if name in mine and theirs[name] != mine[name]
    )
