"""Which parts of a shelf are what a connection asks for, and which of them are taken."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace

from probe.advice.lead_data import far_too_long
from probe.advice.leads import Piece, ways_of
from probe.advice.parts import ISOLATING_TRANSFORMER as ORDINARY
from probe.advice.parts import as_good
from probe.advice.shelf import Part, Shelf
from probe.advice.taken import SHORT_METRES, Dearer, Own, Taken, whole_run

SAME_DB = 0.5
"""An attenuator so near to the one that was solved is the same. [practice]"""

CHEAPER = 0.5
"""Share of the price of what is in stock from which what would have to be ordered is named.
[judgement]"""

NOTABLY = 0.75
"""The same of what is in stock too, and is not taken because it is worse. [judgement]"""

DEAREST_LISTED = 3
"""Dearer parts that would do as well, listed with what differs."""


def without_data(part: Part) -> bool:
    """Tell whether it is a transformer that may be anything."""
    return part.kind == "transformer" and part.transformer is None


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
    for t in (t for t in taken if not t.piece.in_series):
        offers = [Taken(t.piece, p, t.count) for p in shelf.parts
                  if p.name != t.part.name and fits(p, t.piece, length_m)
                  and _told_of(own.get(p.name)) and not far_too_long(p, length_m)
                  and without_data(p) <= without_data(t.part)]  # fmt: skip
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
) -> Iterable[Dearer]:
    """Name dearer parts that would do as well and are better by what is stated of both.

    A longer one is of no use, nor is one of which nothing is stated. ``own``: as `cheaper_parts`.
    """
    for t in (t for t in taken if not t.piece.in_series):
        others = [
            p for p in shelf.parts
            if p.name != t.part.name and fits(p, t.piece, length_m)
            and not (p.name in own and own[p.name].says)
            and not far_too_long(p, length_m)
            and p.price / p.pieces > t.part.price / t.part.pieces
            and _better(t.part, p)
        ]  # fmt: skip
        for other in sorted(others, key=lambda p: (p.price, p.name))[:DEAREST_LISTED]:
            prices = [Taken(t.piece, replace(p, loose=0), t.count).price for p in (other, t.part)]
            more = prices[0] - prices[1]
            does = f"{other.name} does the same for {more:.2f} more: "
            differs = _differs(t.part, other)
            yield Dearer(
                does + ", ".join(differs.values()),
                does + ", ".join(LESS.get(name, says) for name, says in differs.items()),
            )


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


LESS = {
    "pF/m": "less capacitance",
    "mohm/m of shield": "less resistance of its shield",
    "mohm of contacts": "less resistance of its contacts",
}
"""What is better of a dearer part, for a customer, who has no use for the figures of a lead."""


def _differs(one: Part, other: Part) -> dict[str, str]:
    """Return in what a part differs, by the name of the figure."""
    mine, theirs = dict(one.measured), dict(other.measured)
    return {
        name: f"{theirs[name]:g} instead of {mine[name]:g} {name}"
        for name in theirs
        if name in mine and theirs[name] != mine[name]
    }
