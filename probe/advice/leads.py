"""What each way of connecting is made of: pieces, their plugs and genders, their wires.

Outputs are male XLR and inputs female (AES14), RCA sockets are female: so a lead has a female
XLR or a male RCA at the device, a male XLR or a male RCA at the destination.

A wire is written ``2-centre``: contact of the first plug, contact of the second. In a lead every
wire is a conductor of its own. Contacts joined inside one plug stand in ``joined``.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

from probe.advice.network import TwoPort
from probe.advice.parts import to_ask_for

Kind = Literal["lead", "adapter", "splitter", "transformer", "attenuator", "digital-transformer"]
Plug = Literal["xlr-female", "xlr-male", "rca-female", "rca-male"]
Place = Literal["source", "run", "destination"]

CONTACTS: dict[str, tuple[str, ...]] = {"xlr": ("1", "2", "3"), "rca": ("centre", "shell")}
"""Contacts of each connector."""


@dataclass(frozen=True)
class Piece:
    """One thing to take from the shelf, or to make.

    ``joined_from`` and ``joined_to``: contacts joined inside the first or the second plug, as
    ``1-3``. ``ohm``: of a digital part. ``part``: the data of a transformer that was calculated
    with, which what is taken must have as well. ``made``: how an attenuator is made that has no
    resistor across; a ready-made one would load the output more. ``takes``: what an attenuator
    was solved to take off where it sits, and how it is made; its decibels are those it is sold by.
    """

    kind: Kind
    from_: Plug
    to: Plug
    wires: frozenset[str]
    place: Place = "run"
    joined_from: frozenset[str] = frozenset()
    joined_to: frozenset[str] = frozenset()
    ohm: float | None = None
    attenuation_db: float | None = None
    part: TwoPort | None = None
    made: str = ""
    takes: str = ""
    ready: bool = True
    """One that is bought ready may do: its ohms do not count."""
    refused_db: frozenset[float] = frozenset()
    """Sizes of attenuators that were solved in its place and do not do, however near they are."""
    in_series: bool = False
    """A lead whose shield goes on in that of another one, or is that other one's: the two are
    solved as one path, and neither is judged, or another one named for it, by itself."""

    @property
    def says(self) -> str:
        """The piece in words."""
        names = {"digital-transformer": "digital transformer", "splitter": "splitter, one to two"}
        what = names.get(self.kind, "series resistors" if self.made else self.kind)
        text = f"{what}, {PLUGS[self.from_]} to {PLUGS[self.to]}"
        if self.ohm is not None:
            text += f", {self.ohm:g} ohm"
        if self.attenuation_db is not None:
            alone = f", of {self.made} alone, with none across" if self.made else ""
            alone += "" if self.ready else " (made so: a ready-made one has other ohms)"
            return f"{text}, {self.takes or f'{self.attenuation_db:.0f} dB'}{alone}"
        if self.kind == "transformer":
            return f"{text}, isolating{f', {to_ask_for(self.part)}' if self.part else ''}"
        wires = ", ".join(_wire(w) for w in sorted(self.wires))
        text += f": {wires}" if wires and self.ohm is None else ""
        for joined, end in ((self.joined_from, "first"), (self.joined_to, "second")):
            for pair in sorted(joined):
                text += f"; pins {pair.replace('-', ' and ')} joined in the {end} plug"
        return text


PLUGS: dict[str, str] = {
    "xlr-female": "XLR female",
    "xlr-male": "XLR male",
    "rca-female": "RCA socket",
    "rca-male": "RCA plug",
}


def _wire(wire: str) -> str:
    near, far = wire.split("-")
    return f"{near} to {far}"


def _piece(kind: Kind, from_: Plug, to: Plug, wires: str, place: Place = "run",
           joined_from: str = "", joined_to: str = "") -> Piece:  # fmt: skip
    return Piece(kind, from_, to, frozenset(wires.split()), place,
                 frozenset(joined_from.split()), frozenset(joined_to.split()))  # fmt: skip


_RCA = _piece("lead", "rca-male", "rca-male", "centre-centre shell-shell")
_XLR = _piece("lead", "xlr-female", "xlr-male", "1-1 2-2 3-3")
_SHORT_RCA = _piece("lead", "rca-male", "rca-male", "centre-centre shell-shell", "destination")
_XLR_FIRST, _RCA_BEHIND = (replace(piece, in_series=True) for piece in (_XLR, _SHORT_RCA))

WAYS: dict[str, tuple[tuple[Piece, ...], ...]] = {
    "rca-to-rca": ((_RCA,),),
    "xlr-to-xlr": ((_XLR,),),
    "xlr-to-xlr/transformer": (
        (_XLR, _piece("transformer", "xlr-female", "xlr-male", "", "destination")),
    ),
    "xlr-to-rca/pin-3-open": (
        (_piece("lead", "xlr-female", "rca-male", "2-centre 1-shell"),),
        (_piece("adapter", "xlr-female", "rca-female", "2-centre 1-shell", "source"), _RCA),
    ),
    "xlr-to-rca/pin-3-tied-at-source": (
        (_piece("lead", "xlr-female", "rca-male", "2-centre 1-shell", joined_from="1-3"),),
        (_piece("adapter", "xlr-female", "rca-female", "2-centre 1-shell 3-shell", "source"), _RCA),
    ),
    "xlr-to-rca/pin-3-tied-at-destination": (
        (_piece("lead", "xlr-female", "rca-male", "2-centre 1-shell 3-shell"),),
        (_XLR, _piece("adapter", "xlr-female", "rca-male", "2-centre 1-shell 3-shell",
                      "destination")),
        (_XLR_FIRST, _piece("adapter", "xlr-female", "rca-female", "2-centre 1-shell 3-shell",
                            "destination"), _RCA_BEHIND),
    ),
    "xlr-to-rca/transformer": (
        (_XLR, _piece("transformer", "xlr-female", "rca-male", "", "destination")),
        (_XLR, _piece("transformer", "xlr-female", "rca-female", "", "destination"), _SHORT_RCA),
    ),
    "rca-to-xlr/pin-3-tied-at-source": (
        (_piece("lead", "rca-male", "xlr-male", "centre-2 shell-3 shell-1"),),
    ),
    "rca-to-xlr/pin-3-tied-at-destination": (
        (_piece("lead", "rca-male", "xlr-male", "centre-2 shell-1", joined_to="1-3"),),
        (_RCA, _piece("adapter", "rca-female", "xlr-male", "centre-2 shell-1 shell-3",
                      "destination")),
    ),
    "rca-to-xlr/pin-3-open": (
        (_piece("lead", "rca-male", "xlr-male", "centre-2 shell-1"),),
        (_RCA, _piece("adapter", "rca-female", "xlr-male", "centre-2 shell-1", "destination")),
    ),
    "rca-to-xlr/transformer": (
        (_RCA, _piece("transformer", "rca-female", "xlr-male", "", "destination")),
    ),
    "rca-to-rca/transformer": (
        (_RCA, _piece("transformer", "rca-female", "rca-male", "", "destination")),
        (_RCA, _piece("transformer", "rca-female", "rca-female", "", "destination"), _SHORT_RCA),
    ),
}  # fmt: skip
"""For each option the ways to make it, the shortest chain first; device end first."""

_COAX = Piece("lead", "rca-male", "rca-male", _RCA.wires, ohm=75.0)
_COAX_AT_SOURCE = replace(_COAX, place="source")
_COAX_AT_DESTINATION = replace(_COAX, place="destination")
_DIGITAL_XLR = Piece("lead", "xlr-female", "xlr-male", _XLR.wires, ohm=110.0)
WAYS |= {
    "digital-75-to-75": ((_COAX,),),
    "digital-110-to-110": ((_DIGITAL_XLR,),),
    "digital-110-to-75/transformer": (
        (Piece("digital-transformer", "xlr-female", "rca-female", frozenset(), "source"), _COAX),
    ),
    "digital-75-to-110/transformer": (
        (_COAX, Piece("digital-transformer", "rca-female", "xlr-male", frozenset(),
                      "destination")),
    ),
    "digital-110-to-75/transformer-at-destination": (
        (_DIGITAL_XLR, Piece("digital-transformer", "xlr-female", "rca-male", frozenset(),
                             "destination")),
        (_DIGITAL_XLR, Piece("digital-transformer", "xlr-female", "rca-female", frozenset(),
                             "destination"), _COAX_AT_DESTINATION),
    ),
    "digital-75-to-110/transformer-at-source": (
        (Piece("digital-transformer", "rca-male", "xlr-male", frozenset(), "source"),
         _DIGITAL_XLR),
        (_COAX_AT_SOURCE, Piece("digital-transformer", "rca-female", "xlr-male", frozenset(),
                                "source"), _DIGITAL_XLR),
    ),
}  # fmt: skip


DIGITAL_OHM = {"digital-75": 75.0, "digital-110": 110.0}
"""What leads and attenuators of a digital socket are made for."""

SPLITTERS: dict[str, Piece] = {
    "xlr": _piece("splitter", "xlr-female", "xlr-male", "1-1 2-2 3-3", "source"),
    "rca": _piece("splitter", "rca-male", "rca-female", "centre-centre shell-shell", "source"),
}
"""For each output what joins the leads of two boxes to it, like pins to like pins."""


def attenuator_piece(
    to: Literal["rca", "xlr"], attenuation_db: float, ohm: float | None = None, made: str = "",
    takes: str = "",
) -> Piece:  # fmt: skip
    """Return the in-line attenuator for the destination's socket; ``ohm``: of a digital one."""
    ends: tuple[Plug, Plug] = ("rca-female", "rca-male")
    if to == "xlr":
        ends = ("xlr-female", "xlr-male")
    return Piece(
        "attenuator", *ends, frozenset(), "destination", ohm=ohm, attenuation_db=attenuation_db,
        made=made, takes=takes,
    )  # fmt: skip


def ways_of(
    option: str, to: str, attenuation_db: float | None, made: str = "", takes: str = ""
) -> tuple[tuple[Piece, ...], ...]:
    """Return the ways to make an option, with its attenuator where it needs one."""
    ways = WAYS.get(option, ())
    if attenuation_db is None:
        return ways
    end: Literal["rca", "xlr"] = "xlr" if to in ("xlr", "digital-110") else "rca"
    pad = attenuator_piece(end, attenuation_db, DIGITAL_OHM.get(to), made, takes)
    return tuple((*way, pad) for way in ways)


def wiring_of(option: str) -> dict[str, list[str]]:
    """Return what joins what from socket to socket: wires, and joins inside the first, last plug.

    Of a transformer the wires on either side of it, as far as it has a lead there; of what has no
    way to be made, nothing.
    """
    ways = WAYS.get(option, ())
    if not ways:
        return {"wires": [], "joined_from": [], "joined_to": []}
    first, last = ways[0][0], ways[0][-1]
    wires = [*first.wires, *(w for w in last.wires if last is not first)]
    return {
        "wires": sorted(wires),
        "joined_from": sorted(first.joined_from),
        "joined_to": sorted(last.joined_to),
    }
