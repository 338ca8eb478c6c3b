"""The dealer's own file of parts, ``probe-shelf/1``: read, checked, in SI units."""

from __future__ import annotations

import textwrap
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated

from pydantic import Field

from probe.advice.attenuator import MOST_DB
from probe.advice.leads import CONTACTS, Kind, Plug
from probe.advice.network import TwoPort
from probe.advice.ranges import (
    Length,
    Milliohm,
    MilliohmPerMetre,
    Ohm,
    PicofaradPerMetre,
    Price,
)
from probe.advice.transformers import find_transformer
from probe.errors import BadInput
from probe.formats.text import one_of, quoted
from probe.formats.toml import OneLine, Table, complaint, read_toml

FORMAT = "probe-shelf/1"


class PartTable(Table):
    """One ``[[part]]`` as written."""

    name: OneLine
    kind: Kind
    from_: Plug = Field(alias="from")
    to: Plug
    wires: tuple[str, ...] = ()
    joined_from: tuple[str, ...] = ()
    joined_to: tuple[str, ...] = ()
    length_m: Length | None = None
    pieces: Annotated[int, Field(ge=1, le=100)] = 1
    price: Price
    stock: Annotated[int, Field(ge=0)]
    capacitance_pf_per_m: PicofaradPerMetre | None = None
    shield_milliohm_per_m: MilliohmPerMetre | None = None
    contact_milliohm: Milliohm | None = None
    transformer: str | None = None
    attenuation_db: Annotated[float, Field(gt=0.0, le=MOST_DB)] | None = None
    impedance_ohm: Ohm | None = None


class ShelfFile(Table):
    """The file as written."""

    currency: Annotated[OneLine, Field(min_length=1, max_length=12)] = "EUR"
    share_percent: Annotated[float, Field(gt=0.0, le=100.0)] | None = None
    part: tuple[PartTable, ...] = ()


@dataclass(frozen=True)
class Part:
    """One part; ``price`` is of one package of ``pieces``, ``stock`` counts packages."""

    name: str
    kind: Kind
    from_: Plug
    to: Plug
    wires: frozenset[str]
    joined_from: frozenset[str]
    joined_to: frozenset[str]
    length_m: float | None
    pieces: int
    price: float
    stock: int
    measured: tuple[tuple[str, float], ...]
    """What its maker states that can be measured: name with unit, value."""
    transformer: TwoPort | None
    attenuation_db: float | None
    impedance_ohm: float | None
    loose: int = 0
    """Pieces left of a package that another box has paid for."""


@dataclass(frozen=True)
class Shelf:
    """The parts, and what share of a system's price they may cost (None: not set)."""

    parts: tuple[Part, ...]
    currency: str = "EUR"
    share: float | None = None


def read_shelf(path: Path) -> Shelf:
    """Read and check a shelf file.

    Raises
    ------
    BadInput
        As `read_toml`, and for wires between contacts that the plugs do not have, a lead
        without a length, an attenuator without its decibels, two parts of one name.
    """
    written = read_toml(path, ShelfFile, format_word=FORMAT)
    if not written.part:
        raise complaint(path, ("part",), "is empty; at least one [[part]] is needed")
    names: set[str] = set()
    parts = []
    for at, table in enumerate(written.part):
        _check(path, at, table)
        name = " ".join(table.name.split())  # no list shows a blank more
        if name in names:
            raise complaint(
                path,
                ("part", at, "name"),
                f"{quoted(table.name)} is there already; "
                "two parts need two names that differ by more than blanks",
            )
        names.add(name)
        parts.append(_part(path, at, table))
    share = None if written.share_percent is None else written.share_percent / 100.0
    return Shelf(tuple(parts), written.currency, share)


def _check(path: Path, at: int, table: PartTable) -> None:
    here = ("part", at)
    near, far = (CONTACTS[plug.split("-")[0]] for plug in (table.from_, table.to))
    for key, wires, ends in (
        ("wires", table.wires, (near, far)),
        ("joined_from", table.joined_from, (near, near)),
        ("joined_to", table.joined_to, (far, far)),
    ):
        for wire in wires:
            pair = wire.split("-")
            if len(pair) != 2 or pair[0] not in ends[0] or pair[1] not in ends[1]:
                raise complaint(
                    path, (*here, key),
                    f'"{wire}" is no wire here; write contact-contact, the first one of '
                    f"{', '.join(ends[0])}, the second one of {', '.join(ends[1])}",
                )  # fmt: skip
        _check_twice(path, (*here, key), wires, ordered=key == "wires")
    if table.wires or table.joined_from or table.joined_to:
        _check_short(path, here, table)
    if table.kind in ("lead", "adapter", "splitter") and not table.wires:
        raise complaint(path, here, f"wires is missing; a {table.kind} needs what joins what")
    if table.kind == "lead" and table.length_m is None:
        raise complaint(path, here, "length_m is missing; a lead needs its length")
    if (table.kind == "attenuator") != (table.attenuation_db is not None):
        raise complaint(
            path, here, "attenuation_db belongs to every attenuator, and to nothing else"
        )
    if table.transformer is not None and table.kind != "transformer":
        raise complaint(
            path, (*here, "transformer"), f"belongs to a transformer, not a {table.kind}"
        )


SIGNAL, GROUND = ("2", "centre"), ("1", "shell")
"""Contacts that carry the signal, and those of ground (AES14 for the XLR)."""


def _check_twice(
    path: Path, key: tuple[str | int, ...], wires: tuple[str, ...], *, ordered: bool
) -> None:
    seen: set[str] = set()
    for wire in wires:
        same = wire if ordered else "-".join(sorted(wire.split("-")))
        if same in seen:
            raise complaint(path, key, f"{quoted(wire)} is there already; name each wire once")
        seen.add(same)


def _check_short(path: Path, here: tuple[str | int, ...], table: PartTable) -> None:
    """Refuse a part that joins the signal to ground, or pins 2 and 3, through whatever wires."""
    groups: list[set[tuple[int, str]]] = []
    for wires, ends in ((table.joined_from, (0, 0)), (table.joined_to, (1, 1)),
                        (table.wires, (0, 1))):  # fmt: skip
        for wire in wires:
            pair = set(zip(ends, wire.split("-"), strict=True))
            met = [g for g in groups if g & pair]
            groups = [g for g in groups if not g & pair]
            groups.append(pair.union(*met))
            joined = {contact for _, contact in groups[-1]}
            hot, ground = joined.intersection(SIGNAL), joined.intersection(GROUND)
            legs = any({(end, "2"), (end, "3")} <= groups[-1] for end in (0, 1))
            if hot and ground:
                what = f"the signal ({min(hot)}) to ground ({min(ground)})"
            elif legs:
                what = "pins 2 and 3 of one plug"
            else:
                continue
            near, far = (CONTACTS[plug.split("-")[0]] for plug in (table.from_, table.to))
            apart = [f"{a}-{b}" for a in near for b in far
                     if not ({a, b} & set(SIGNAL) and {a, b} & set(GROUND))]  # fmt: skip
            raise complaint(
                path, here,
                f"{quoted(wire)} joins {what}, a short circuit of the output; wires may be "
                f"{one_of(apart)}",
            )  # fmt: skip


def _part(path: Path, at: int, table: PartTable) -> Part:
    stated = {
        "pF/m": table.capacitance_pf_per_m,
        "mohm/m of shield": table.shield_milliohm_per_m,
        "mohm of contacts": table.contact_milliohm,
    }
    transformer = None
    if table.transformer is not None:
        try:
            transformer = find_transformer(table.transformer, path.parent)
        except BadInput as error:
            raise complaint(path, ("part", at, "transformer"), str(error)) from error
        stated["V at 20 Hz"] = transformer.volts_at_20_hz
    return Part(
        name=table.name,
        kind=table.kind,
        from_=table.from_,
        to=table.to,
        wires=frozenset(table.wires),
        joined_from=_unordered(table.joined_from),
        joined_to=_unordered(table.joined_to),
        length_m=table.length_m,
        pieces=table.pieces,
        price=table.price,
        stock=table.stock,
        measured=tuple((name, value) for name, value in stated.items() if value is not None),
        transformer=transformer,
        attenuation_db=table.attenuation_db,
        impedance_ohm=table.impedance_ohm,
    )


def _unordered(pairs: tuple[str, ...]) -> frozenset[str]:
    return frozenset("-".join(sorted(pair.split("-"))) for pair in pairs)


def listed(shelf: Shelf) -> str:
    """Return the parts as text, one a line, ending in a line break."""
    return "".join(f"{line}\n" for part in shelf.parts for line in _listed(part, shelf.currency))


NAME_COLUMNS = 54
"""Of a part's name in the list, so that stock, name and price fit a line of 80."""


def _listed(part: Part, currency: str) -> list[str]:
    """Return stock, name and price, and under them what the part is."""
    first, *more = textwrap.wrap(part.name, NAME_COLUMNS) or [""]
    what = f"{part.kind}, {part.from_} to {part.to}"
    what += "" if part.length_m is None else f", {part.length_m:g} m"
    what += f", {part.pieces} in a package" if part.pieces > 1 else ""
    head = f"{part.stock:>4} x {first:<{NAME_COLUMNS}} {part.price:>9.2f} {currency}"
    return [head, *(f"{'':7}{line}" for line in (*more, what))]


TEMPLATE = """\
# What lies on the shelf. Invented parts; put your own in their place.
format = "probe-shelf/1"
currency = "EUR"
share_percent = 10.0              # say so when the parts cost more than this share of the system

[[part]]
name = "RCA lead 1 m, pair"
kind = "lead"                     # lead | adapter | splitter | transformer | attenuator
                                  # | digital-transformer
from = "rca-male"                 # plug on the part: xlr-female | xlr-male | rca-female | rca-male
to = "rca-male"
wires = ["centre-centre", "shell-shell"]
length_m = 1.0
pieces = 2                        # in one package; price and stock count packages
price = 24.0
stock = 12
capacitance_pf_per_m = 90.0       # optional, as are the next two: what its maker states
shield_milliohm_per_m = 20.0
contact_milliohm = 15.0

[[part]]
name = "XLR lead 5 m"
kind = "lead"
from = "xlr-female"               # device end first: outputs are male, so the lead's plug is female
to = "xlr-male"
wires = ["1-1", "2-2", "3-3"]
length_m = 5.0
price = 19.0
stock = 8

[[part]]
name = "XLR to RCA adapter, 3 open"
kind = "adapter"
from = "xlr-female"
to = "rca-female"
wires = ["2-centre", "1-shell"]
price = 7.5
stock = 10

[[part]]
name = "XLR to RCA adapter, 3 tied"
kind = "adapter"
from = "xlr-female"
to = "rca-female"
wires = ["2-centre", "1-shell", "3-shell"]
price = 7.5
stock = 4

[[part]]
name = "RCA to XLR lead 2 m, three conductors"
kind = "lead"
from = "rca-male"
to = "xlr-male"
wires = ["centre-2", "shell-3", "shell-1"]
# joined_to = ["1-3"]             # contacts joined inside a plug instead of by a wire of their own
length_m = 2.0
price = 29.0
stock = 3

[[part]]
name = "Isolator, XLR in, RCA out"
kind = "transformer"
from = "xlr-female"
to = "rca-female"
transformer = "alder"             # optional: of the library, or a probe-transformer/1 file
price = 85.0
stock = 2

[[part]]
name = "Isolator, XLR in and out"   # pin 1 of its two sides must not be joined
kind = "transformer"
from = "xlr-female"
to = "xlr-male"
transformer = "alder"
price = 95.0
stock = 2

[[part]]
name = "Isolator, RCA in and out"   # its two shells must not be joined
kind = "transformer"
from = "rca-female"
to = "rca-female"
transformer = "alder"
price = 60.0
stock = 3

[[part]]
name = "RCA splitter"
kind = "splitter"                 # one to two: the device's end first, then what both others are
from = "rca-male"
to = "rca-female"
wires = ["centre-centre", "shell-shell"]
price = 9.0
stock = 4

[[part]]
name = "XLR splitter"
kind = "splitter"
from = "xlr-female"
to = "xlr-male"
wires = ["1-1", "2-2", "3-3"]
price = 18.0
stock = 4

[[part]]
name = "RCA attenuator 10 dB"
kind = "attenuator"
from = "rca-female"
to = "rca-male"
attenuation_db = 10.0
price = 14.0
stock = 6
"""
"""A commented shelf file that reads as it stands."""
