"""From a chosen connection and a shelf to what to take, what to order, what to solder."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Any

from probe.advice.destination import Destination
from probe.advice.leads import Piece, attenuator_piece, ways_of
from probe.advice.model import Advice, Choice
from probe.advice.parts import ISOLATING_TRANSFORMER
from probe.advice.shelf import Part, Shelf

ATTENUATION_LEEWAY_DB = 3.0
"""An attenuator on the shelf may take off this much more than needed, never less. [judgement]"""

SHORT_METRES = 1.5
"""A lead behind a transformer is at most this long. [practice]"""

DEAREST_LISTED = 3
"""Dearer parts that would do as well, listed with what differs."""


@dataclass(frozen=True)
class Taken:
    """A part for one piece of the chain; ``packages`` to buy for ``count`` of them."""

    piece: Piece
    part: Part
    count: int

    @property
    def packages(self) -> int:
        """How many to take from the shelf."""
        return math.ceil(self.count / self.part.pieces)

    @property
    def price(self) -> float:
        """For all of them."""
        return self.packages * self.part.price

    @property
    def in_stock(self) -> bool:
        """Whether there are enough."""
        return self.part.stock >= self.packages

    @property
    def says(self) -> str:
        """How many of what, and whether they are there."""
        stock = "" if self.in_stock else f" (only {self.part.stock} in stock: order the rest)"
        of = f", {self.part.pieces} in a package" if self.part.pieces > 1 else ""
        return f"{self.packages} x {self.part.name}{of}{stock}"


def _ordered(piece: Piece, length_m: float) -> str:
    """Return what to order, with the length of a lead."""
    if piece.kind != "lead":
        return piece.says
    short = piece.place == "destination"
    return f"{piece.says}, {f'at most {SHORT_METRES:g}' if short else f'{length_m:g}'} m"


@dataclass(frozen=True)
class Basket:
    """What one connection takes from the shelf.

    ``missing`` holds pieces that nothing on the shelf makes; then ``solder`` says how the lead
    is made.
    """

    box: str
    option: str
    count: int
    taken: tuple[Taken, ...]
    missing: tuple[Piece, ...]
    currency: str
    share: float | None
    system_price: float | None
    dearer: tuple[str, ...]
    solder: str
    one_of_two: bool = False
    """One side was measured, and the other will want the same."""
    subwoofer: bool = False
    """It is one box with one lead."""
    note: str = ""
    """What has to be said before the parts."""
    length_m: float = 0.0
    """Of the lead, for what has to be ordered."""
    offered: Taken | Piece | None = None
    """An attenuator that is not in the plug, but would help."""

    @property
    def total(self) -> float:
        """Price of what is taken."""
        return round(sum(t.price for t in self.taken), 2)

    @property
    def says(self) -> tuple[str, ...]:
        """Everything there is to say, a line each."""
        note = (self.note,) if self.note else ()
        return (*note, *self._lines(), *self._price(), *self._offered(), *self._second(),
                *self.dearer)  # fmt: skip

    def _second(self) -> Iterable[str]:
        """Say what the other side of a stereo pair lacks, where only one was measured."""
        if not self.one_of_two:
            return
        for t in self.taken:
            both = Taken(t.piece, t.part, 2 * t.count)
            if t.in_stock and not both.in_stock:
                yield (
                    f"for the second side of a stereo pair {both.packages} x {t.part.name} are "
                    f"needed, and only {t.part.stock} in stock"
                )

    def _lines(self) -> Iterable[str]:
        for t in self.taken:
            yield t.says
        for piece in self.missing:
            yield f"order, {self.count} x: {_ordered(piece, self.length_m)}"
        if self.missing and self.solder:
            yield f"or solder: {self.solder}"

    def _offered(self) -> Iterable[str]:
        """Name the attenuator that would help, beside what is taken."""
        if isinstance(self.offered, Taken):
            price = f"{self.offered.price:.2f} {self.currency}"
            yield f"if it is too loud: {self.offered.says}, {price}"
        elif self.offered is not None:
            yield f"if it is too loud, order, {self.count} x: {self.offered.says}"

    def _price(self) -> Iterable[str]:
        if not self.taken:
            return
        whom = "the subwoofer's one lead" if self.subwoofer else _sides(self.count)
        text = f"{self.total:.2f} {self.currency} for {whom}"
        if self.one_of_two:
            both = sum(Taken(t.piece, t.part, 2 * t.count).price for t in self.taken)
            text += f" ({both:.2f} for both)"
        if self.missing:
            text += ", without what is ordered"
        if self.system_price is None:
            yield text
            return
        part = self.total / self.system_price
        text += f", {100.0 * part:.2g} % of a system of {self.system_price:g} {self.currency}"
        if self.share is not None and part > self.share:
            text += f": more than the {100.0 * self.share:g} % you have set"
        yield text

    def to_json(self) -> dict[str, Any]:
        """Return the basket as plain values."""
        return {
            "destination": self.box,
            "option": self.option or None,
            "count": self.count,
            "parts": [
                {
                    "name": t.part.name,
                    "kind": t.part.kind,
                    "place": t.piece.place,
                    "from": t.part.from_,
                    "to": t.part.to,
                    "packages": t.packages,
                    "price": round(t.price, 2),
                    "in_stock": t.in_stock,
                }
                for t in self.taken
            ],
            "order": [_ordered(p, self.length_m) for p in self.missing],
            "solder": self.solder if self.missing else "",
            "total": self.total,
            "currency": self.currency,
            "says": list(self.says),
        }


def _sides(count: int) -> str:
    return "both sides" if count == 2 else "one side" if count == 1 else f"{count} leads"


def with_shelf_transformer(destination: Destination, shelf: Shelf) -> Destination:
    """Return the destination solved with the shelf's own transformer, where it has data of one.

    A transformer named in the destination goes before it.
    """
    if destination.transformer != ISOLATING_TRANSFORMER:
        return destination
    known = [p for p in shelf.parts if p.transformer is not None]
    if not known:
        return destination
    best = min(known, key=lambda p: (p.stock == 0, p.price))
    assert best.transformer is not None
    return replace(destination, transformer=best.transformer)


def baskets(
    advice: Advice, destination: Destination, shelf: Shelf, system_price: float | None = None
) -> tuple[Basket, ...]:
    """Return a basket for each box; of one that nothing is to be used for, only what it would be.

    ``option`` of such a basket is empty, and so are its parts.
    """
    found = []
    for choice in advice.choices:
        if choice.option is None:
            found.append(_none_yet(advice, choice, destination, shelf))
            continue
        basket = _basket(advice, choice, destination, shelf, system_price)
        shelf = _less(shelf, basket)
        found.append(basket)
    return tuple(found)


def _less(shelf: Shelf, basket: Basket) -> Shelf:
    """Return the shelf without what a basket takes from it: another box cannot have it too."""
    gone: dict[str, int] = {}
    for t in basket.taken:
        gone[t.part.name] = gone.get(t.part.name, 0) + t.packages
    parts = tuple(replace(p, stock=max(p.stock - gone.get(p.name, 0), 0)) for p in shelf.parts)
    return replace(shelf, parts=parts)


def all_in_all(found: Sequence[Basket]) -> tuple[str, ...]:
    """Return what several baskets come to: price, and what has to be ordered of each part."""
    used = [b for b in found if b.taken or b.missing]
    if len(used) < 2:
        return ()
    total = sum(b.total for b in used)
    text = f"{total:.2f} {used[0].currency} for {len(used)} boxes"
    price = used[0].system_price
    if price is not None:
        text += f", {100.0 * total / price:.2g} % of a system of {price:g} {used[0].currency}"
    text += ", without what is ordered" if any(b.missing for b in used) else ""
    order: dict[str, int] = {}
    for t in (t for b in used for t in b.taken if not t.in_stock):
        name = f"not in stock: {t.part.name}"
        order[name] = order.get(name, 0) + t.packages - t.part.stock
    for b in used:
        for piece in b.missing:
            name = f"not on the shelf: {_ordered(piece, b.length_m)}"
            order[name] = order.get(name, 0) + b.count
    return (text, *(f"to be ordered, {n} x, {name}" for name, n in order.items()))


def _none_yet(
    advice: Advice, choice: Choice, destination: Destination, shelf: Shelf
) -> Basket:  # fmt: skip
    note = "take nothing yet: no connection is to be used (above)"
    verdicts = {
        o.verdict for o in advice.options if (o.box, o.option.id) == (choice.box, choice.best)
    }
    if choice.best is not None and "never" not in verdicts:
        socket = next(o.socket for o in advice.options
                      if (o.box, o.option.id) == (choice.box, choice.best))  # fmt: skip
        would = replace(choice, option=choice.best, socket=socket)
        found = _basket(advice, would, destination, shelf, None)
        parts = [f"{t.packages} x {t.part.name}" for t in found.taken]
        parts += [f"{_ordered(p, found.length_m)} (to be ordered)" for p in found.missing]
        note += f"; the least bad, {choice.best}, would take {' and '.join(parts)}"
    return Basket(
        choice.box, "", 0, (), (), shelf.currency, shelf.share, None, (), "", note=note
    )  # fmt: skip


def _basket(
    advice: Advice, choice: Choice, destination: Destination, shelf: Shelf,
    system_price: float | None,
) -> Basket:  # fmt: skip
    assert choice.option is not None
    count = leads_needed(advice, choice)
    length = _length(destination, choice)
    to, attenuation = _end(advice, choice)
    ways = ways_of(choice.option, to, attenuation if choice.attenuator else None)
    if not ways:
        empty = (choice.box, choice.option, count, (), (), shelf.currency, shelf.share)
        return Basket(*empty, system_price, (), "")
    chains = [_chain(way, shelf, count, length) for way in ways]
    best = min(chains, key=_cost)
    taken = tuple(t for t in best if isinstance(t, Taken))
    missing = tuple(p for p in best if isinstance(p, Piece))
    return Basket(
        box=choice.box,
        option=choice.option,
        count=count,
        taken=taken,
        missing=missing,
        currency=shelf.currency,
        share=shelf.share,
        system_price=system_price,
        dearer=tuple(_dearer(taken, shelf, length)),
        solder=_soldering(ways[0], length),
        one_of_two=_one_side(advice, choice)
        and not (choice.option.startswith("digital") or _subwoofer(advice, choice)),
        subwoofer=_subwoofer(advice, choice),
        length_m=length,
        offered=_offer(advice, choice, shelf, count),
    )


def _offer(advice: Advice, choice: Choice, shelf: Shelf, count: int) -> Taken | Piece | None:
    """Return the attenuator that the advice offers without putting it in."""
    to, wanted = _end(advice, choice)
    if wanted is None or choice.attenuator:
        return None
    (found,) = _chain((attenuator_piece("xlr" if to == "xlr" else "rca", wanted),), shelf, count,
                      0.0)  # fmt: skip
    return found


def _soldering(way: Sequence[Piece], length_m: float) -> str:
    """Return how the shortest way is made by hand; nothing for what is not made with solder."""
    if any(p.kind not in ("lead", "adapter") or p.ohm is not None for p in way):
        return ""
    return "; then ".join(p.says for p in way) + f"; {length_m:g} m"


def _length(destination: Destination, choice: Choice) -> float:
    """Return how long the lead to the chosen socket is, m."""
    for socket in destination.inputs:
        if (socket.box, socket.name) == (choice.box, choice.socket):
            return destination.cable_of(socket).length_m
    return destination.cable.length_m


def leads_needed(advice: Advice, choice: Choice) -> int:
    """Return how many of everything: two for a stereo pair; one of what carries both sides."""
    if choice.option is not None and choice.option.startswith("digital"):
        return 1
    if _subwoofer(advice, choice):
        return 1
    return 1 if _one_side(advice, choice) else 2


def _subwoofer(advice: Advice, choice: Choice) -> bool:
    """Tell whether it goes into a subwoofer, which is one box with one lead."""
    held = [o for o in advice.options if (o.box, o.socket) == (choice.box, choice.socket)]
    return bool(held) and all(o.role == "subwoofer" for o in held)


def _one_side(advice: Advice, choice: Choice) -> bool:
    return {o.side for o in advice.options if o.box == choice.box} == {"mono"}


def _end(advice: Advice, choice: Choice) -> tuple[str, float | None]:
    """Return the destination's connector, and the attenuation needed or offered in its plug."""
    wanted = (choice.box, choice.socket, choice.option)
    held = [o for o in advice.options if (o.box, o.socket, o.option.id) == wanted]
    if not held:
        return "rca", None
    offered = max(
        (o.attenuator.designs[0].wanted_db for o in held if o.attenuator is not None), default=None
    )
    return held[0].option.to, offered


def _chain(
    way: Sequence[Piece], shelf: Shelf, count: int, length_m: float
) -> tuple[Taken | Piece, ...]:
    found: list[Taken | Piece] = []
    for piece in way:
        fitting = [p for p in shelf.parts if _fits(p, piece, length_m)]
        offers = [Taken(piece, p, count) for p in fitting]
        best = min(offers, key=lambda t: (not t.in_stock, t.price, t.part.name), default=None)
        found.append(piece if best is None else best)
    return tuple(found)


def _cost(chain: Sequence[Taken | Piece]) -> tuple[int, int, float, int]:
    """Rank a chain: nothing missing, all in stock, price, number of pieces."""
    taken = [t for t in chain if isinstance(t, Taken)]
    missing = len(chain) - len(taken)
    return missing, sum(not t.in_stock for t in taken), sum(t.price for t in taken), len(chain)


def _fits(part: Part, piece: Piece, length_m: float) -> bool:
    """Tell whether a part is what a piece asks for; a lead long enough for its place."""
    if (part.kind, part.from_, part.to) != (piece.kind, piece.from_, piece.to):
        return False
    if piece.kind in ("lead", "adapter") and not _wired_alike(part, piece):
        return False
    if piece.ohm is not None and part.impedance_ohm != piece.ohm:
        return False
    if piece.attenuation_db is not None:
        more = (part.attenuation_db or 0.0) - piece.attenuation_db
        return -0.5 <= more <= ATTENUATION_LEEWAY_DB
    if piece.kind == "lead" and part.length_m is not None:
        if piece.place == "destination":
            return part.length_m <= SHORT_METRES
        return part.length_m >= length_m - 1e-9
    return True


def _wired_alike(part: Part, piece: Piece) -> bool:
    return (part.wires, part.joined_from, part.joined_to) == (
        piece.wires, piece.joined_from, piece.joined_to,
    )  # fmt: skip


def _dearer(taken: Sequence[Taken], shelf: Shelf, length_m: float) -> Iterable[str]:
    """Say of dearer parts that would do what differs by measurement, and nothing else."""
    for t in taken:
        others = [
            p for p in shelf.parts
            if p is not t.part and _fits(p, t.piece, length_m)
            and p.price / p.pieces > t.part.price / t.part.pieces
        ]  # fmt: skip
        for other in sorted(others, key=lambda p: p.price)[:DEAREST_LISTED]:
            more = Taken(t.piece, other, t.count).price - t.price
            yield f"{other.name} does the same for {more:.2f} more: {_differs(t.part, other)}"


def _differs(one: Part, other: Part) -> str:
    mine, theirs = dict(one.measured), dict(other.measured)
    said = [
        f"{theirs[name]:g} instead of {mine[name]:g} {name}"
        for name in theirs
        if name in mine and theirs[name] != mine[name]
    ]
    if one.length_m is not None and other.length_m is not None and one.length_m != other.length_m:
        said.append(f"{other.length_m:g} instead of {one.length_m:g} m")
    return ", ".join(said) or "no measured difference is stated"
