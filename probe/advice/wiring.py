"""Each way of connecting, as a network: which pin meets what, and where the parts sit.

One function builds one option's `Wiring`. Nodes: ``hot``, ``cold``, ``single-ended`` (the
device's pins), ``0`` (its pin 1 and RCA shell), ``ground`` (the destination's), ``in2``/``in3``
(pins of an XLR input; ``in2`` is also the centre of an RCA input).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Literal

from probe.advice.attenuator import Pad
from probe.advice.destination import Cable, Circuit, Input
from probe.advice.network import REFERENCE, TwoPort
from probe.advice.network import Circuit as Network
from probe.advice.parts import (
    CONDUCTOR_OHM_PER_M,
    CONTACT_OHM,
    EARTH_OHM,
    ISOLATING_TRANSFORMER,
    RECEIVER_COMMON_MODE_FARAD,
    TIE_OHM,
)

GROUND = "ground"
EMF = "emf"
"""Node held at the open-circuit difference between the chassis (0 V when it is not looked at)."""
JOINT = "joint"
"""Where an adapter joins the shields of a lead and of a short one behind it, and the tied pin 3."""
SHIELD = "shield"
TIE = "tie"
"""Name of the resistor in which the current of a tied pin 3 flows."""

ISOLATOR = "iso"
CORE = f"{ISOLATOR}.loss"
"""Name of the resistor across the core of the isolating transformer."""

PinThreeWiring = Literal[
    "none", "through", "open", "tied-at-source", "tied-at-destination", "transformer"
]


@dataclass(frozen=True)
class Option:
    """One way of connecting, before anything is solved.

    ``parts`` counts what has to be bought or made; ``transformer`` and the tie are told by
    ``pin_3``, whose words are those of the wiring table.
    """

    id: str
    from_: Literal["rca", "xlr"]
    to: Literal["rca", "xlr"]
    pin_3: PinThreeWiring
    adapter: str | None
    parts: int
    balanced: bool
    """The input hears the source's own ground, so a ground difference can be rejected."""
    says: str
    part: TwoPort = ISOLATING_TRANSFORMER
    """The transformer, of the options that use one."""
    pad: Pad | None = None
    """Resistors in the plug at the destination; None: a plain plug."""

    @property
    def terminals(self) -> tuple[str, ...]:
        """Terminals of the device whose direct voltage meets the lead (an open pin 3 as well)."""
        return ("hot", "cold") if self.from_ == "xlr" else ("single-ended",)

    @cached_property
    def pins(self) -> tuple[str, ...]:
        """Those of them that the lead joins to something."""
        return ("hot",) if self.from_ == "xlr" and self.pin_3 == "open" else self.terminals

    @property
    def native(self) -> bool:
        """A lead and nothing else, with the same connector at both ends."""
        return self.from_ == self.to and self.adapter is None


OPTIONS = (
    Option("rca-to-rca", "rca", "rca", "none", None, 1, False,
           "an RCA lead: centre to centre, shell to shell"),
    Option("xlr-to-xlr", "xlr", "xlr", "through", None, 1, True,
           "an XLR lead: 1 to 1, 2 to 2, 3 to 3"),
    Option("xlr-to-xlr/transformer", "xlr", "xlr", "transformer",
           "audio isolating transformer, at the destination", 3, True,
           "an XLR lead to an isolating transformer at the destination: pins 2 and 3 to its "
           "primary, its secondary to pins 2 and 3; pin 1 of the two sides is not joined"),
    Option("xlr-to-rca/pin-3-open", "xlr", "rca", "open", "XLR female to RCA, at the source", 2,
           False, "XLR to RCA: pin 2 to the centre, pin 1 to the shell, pin 3 to nothing"),
    Option("xlr-to-rca/pin-3-tied-at-source", "xlr", "rca", "tied-at-source",
           "XLR female to RCA, at the source", 2, False,
           "an adapter at the source, then an RCA lead: pin 2 to the centre, pin 1 to the shell, "
           "pin 3 joined to pin 1 in the source's connector"),
    Option("xlr-to-rca/pin-3-tied-at-destination", "xlr", "rca", "tied-at-destination",
           "XLR female to RCA, at the far end of an XLR lead", 2, False,
           "an XLR lead, then an adapter at the destination: pin 3 travels on its own conductor "
           "and meets pin 1 at the RCA shell"),
    Option("xlr-to-rca/transformer", "xlr", "rca", "transformer",
           "audio isolating transformer, at the destination", 3, True,
           "pins 2 and 3 to an isolating transformer at the destination, its secondary to centre "
           "and shell"),
    Option("rca-to-xlr/pin-3-tied-at-source", "rca", "xlr", "tied-at-source",
           "three-conductor lead, RCA to XLR male", 2, True,
           "a three-conductor lead: centre to pin 2, shell to pin 3 on its own conductor and to "
           "the shield (pin 1) at the source"),
    Option("rca-to-xlr/pin-3-tied-at-destination", "rca", "xlr", "tied-at-destination",
           "RCA to XLR male, at the destination", 2, False,
           "an RCA lead, then an adapter at the destination: centre to pin 2, shell to pin 1, "
           "pin 3 joined to pin 1 there"),
    Option("rca-to-xlr/pin-3-open", "rca", "xlr", "open", "RCA to XLR male, at the destination", 2,
           False, "an RCA lead and an adapter: centre to pin 2, shell to pin 1, pin 3 connected to "
           "nothing"),
    Option("rca-to-xlr/transformer", "rca", "xlr", "transformer",
           "audio isolating transformer, at the destination", 3, True,
           "centre and shell to an isolating transformer at the destination, its secondary to "
           "pins 2 and 3"),
    Option("rca-to-rca/transformer", "rca", "rca", "transformer",
           "audio isolating transformer, at the destination", 3, True,
           "an RCA lead to an isolating transformer at the destination, its secondary to centre "
           "and shell; the shells of the two sides are not joined"),
)  # fmt: skip
"""In the order in which equal options are preferred: what decides last, of what the steps of
`ranking` leave alike."""


@dataclass(frozen=True)
class Wiring:
    """A network ready to be solved.

    ``pins`` are the device's terminals that carry current; the destination hears ``plus`` minus
    ``minus``; ``tied`` says that a resistor named `TIE` joins pin 3 of the device to its ground;
    ``cold`` is the node of the receiver's pin 3.
    """

    network: Network
    pins: tuple[str, ...]
    plus: str
    minus: str
    tied: bool
    cold: str


def wire(option: Option, socket: Input, circuit: Circuit, mismatch: float, cable: Cable) -> Wiring:
    """Build the network of ``option`` into ``socket``.

    Parameters
    ----------
    circuit
        What a balanced input is taken to be (where the file says ``unknown``, each in turn).
    mismatch
        Hot minus cold input impedance over their mean, with its sign.
    """
    network = Network()
    build = {"xlr": _from_xlr, "rca": _from_rca}[option.from_]
    build(network, option, cable)
    in2, in3 = _attenuate(network, option.pad)
    minus = _receive(network, socket, circuit, mismatch, in2, in3)
    _join_chassis(network, socket)
    return Wiring(network, option.pins, in2, minus, ties_pin_3(option, socket), in3)


def ties_pin_3(option: Option, socket: Input) -> bool:
    """Tell whether a lead, or the input it goes to, joins pin 3 of the device to its ground."""
    inside = option.pin_3 == "through" and socket.pin_3 == "ground"
    return option.from_ == "xlr" and (option.pin_3.startswith("tied") or inside)


def _attenuate(network: Network, pad: Pad | None) -> tuple[str, str]:
    """Add the resistors of the plug; return the nodes on which the receiver hangs."""
    if pad is None:
        return "in2", "in3"
    hot, cold = pad.legs_ohm
    network.resistor("pad.s2", "in2", "inner2", hot)
    if not pad.balanced:
        if not pad.in_series:
            network.resistor("pad.p", "inner2", GROUND, pad.shunt_ohm)
        return "inner2", "in3"
    network.resistor("pad.s3", "in3", "inner3", cold)
    if not pad.in_series:
        network.resistor("pad.p", "inner2", "inner3", pad.shunt_ohm)
    return "inner2", "inner3"


def _from_xlr(network: Network, option: Option, cable: Cable) -> None:
    far = "wire2" if option.pin_3 == "transformer" else "in2"
    end = REFERENCE if option.pin_3 == "transformer" else GROUND
    if cable.tail is not None and end == GROUND:
        far, end = "joint2", JOINT
        _conductor(network, "tail2", far, "in2", GROUND, cable.tail, near_end=JOINT)
        _shield(network, GROUND, cable.tail, f"{SHIELD}.tail", JOINT)
    _conductor(network, "wire2", "hot", far, end, cable)
    if end != REFERENCE:
        _shield(network, end, cable)
    if option.pin_3 == "open":
        return
    if option.pin_3 == "tied-at-source":
        network.resistor(TIE, "cold", REFERENCE, TIE_OHM)
        return
    if option.pin_3 == "transformer":
        _conductor(network, "wire3", "cold", "wire3", end, cable)
        beside = "in3" if option.to == "xlr" else GROUND
        network.transformer(ISOLATOR, ("wire2", "wire3"), ("in2", beside), option.part)
        return
    _conductor(network, "wire3", "cold", "in3", end, cable)
    if option.pin_3 == "tied-at-destination":
        network.resistor(TIE, "in3", end, TIE_OHM)


def _from_rca(network: Network, option: Option, cable: Cable) -> None:
    if option.pin_3 == "transformer":
        _conductor(network, "centre", "single-ended", "wire2", "shell", cable)
        _shield(network, "shell", cable)
        far = "in3" if option.to == "xlr" else GROUND
        network.transformer(ISOLATOR, ("wire2", "shell"), ("in2", far), option.part)
        return
    _conductor(network, "centre", "single-ended", "in2", GROUND, cable)
    _shield(network, GROUND, cable)
    if option.pin_3 == "tied-at-source":
        _conductor(network, "wire3", REFERENCE, "in3", GROUND, cable)
    if option.pin_3 == "tied-at-destination":
        network.resistor("join", "in3", GROUND, TIE_OHM)


def _conductor(
    network: Network, name: str, near: str, far: str, shield_end: str, cable: Cable,
    near_end: str = REFERENCE,
) -> None:  # fmt: skip
    """Add one conductor of the lead, half its capacitance at either end."""
    ohm = CONTACT_OHM + CONDUCTOR_OHM_PER_M * cable.length_m
    network.resistor(f"{name}.r", near, far, ohm)
    if near != REFERENCE:
        network.capacitor(f"{name}.near", near, near_end, cable.farad / 2.0)
    network.capacitor(f"{name}.far", far, shield_end, cable.farad / 2.0)


def _shield(
    network: Network, far: str, cable: Cable, name: str = SHIELD, near: str = REFERENCE
) -> None:
    network.resistor(name, near, far, max(cable.shield_ohm + cable.contact_ohm, 1e-4))


def _join_chassis(network: Network, socket: Input) -> None:
    """Add what joins the chassis besides the lead; the ground difference acts in series."""
    ground = socket.ground
    if ground.farad is not None:
        network.capacitor("earth", EMF, GROUND, ground.farad)
    else:
        network.resistor("earth", EMF, GROUND, ground.ohm or EARTH_OHM)


def _receive(
    network: Network, socket: Input, circuit: Circuit, mismatch: float, in2: str, in3: str
) -> str:
    """Add the input's own impedances; return the node the input subtracts from ``in2``."""
    if socket.receiver == "single-ended":
        network.resistor("input", in2, GROUND, socket.impedance_ohm)
        if socket.pin_3 == "ground" and socket.connector == "xlr":
            _tie_inside(network, in3)
        return GROUND
    cold = in3
    if socket.pin_3 == "ground":
        _tie_inside(network, in3)
    elif socket.pin_3 == "open":
        cold = "inside3"
        network.resistor("inside", "inside3", GROUND, TIE_OHM)
    _BALANCED[circuit](network, socket, in2, cold, mismatch)
    return cold


def _tie_inside(network: Network, in3: str) -> None:
    """Join pin 3 to ground inside the destination; a tie made in the plug keeps its name."""
    taken = any(r.name == TIE for r in network.resistors)
    network.resistor("inside" if taken else TIE, in3, GROUND, TIE_OHM)


def _difference_amplifier(
    network: Network, socket: Input, in2: str, cold: str, mismatch: float
) -> None:
    """Four equal resistors R round one amplifier, R half the stated impedance either way.

    Hot sees 2R to ground; cold sees R to half the hot voltage: ``i3 = (v3 - v2/2)/R``. So both
    legs show 2R to a common voltage, and a floating source sees 2R between them.
    """
    r = socket.impedance_ohm / 2.0
    network.resistor("input2", in2, GROUND, 2.0 * r * (1.0 + mismatch / 2.0))
    r_cold = r * (1.0 - mismatch / 2.0)
    network.resistor("input3", cold, GROUND, r_cold)
    network.transconductance("input3.follows", cold, GROUND, in2, GROUND, -0.5 / r_cold)


def _buffered(network: Network, socket: Input, in2: str, cold: str, mismatch: float) -> None:
    each = socket.impedance_ohm / (2.0 if socket.impedance_is == "between-legs" else 1.0)
    network.resistor("input2", in2, GROUND, each * (1.0 + mismatch / 2.0))
    network.resistor("input3", cold, GROUND, each * (1.0 - mismatch / 2.0))


def _transformer(network: Network, socket: Input, in2: str, cold: str, mismatch: float) -> None:
    """Between the legs; to ground only the capacitance of the winding."""
    across = socket.impedance_ohm * (1.0 if socket.impedance_is == "between-legs" else 2.0)
    network.resistor("input", in2, cold, across)
    farad = RECEIVER_COMMON_MODE_FARAD
    network.capacitor("input2", in2, GROUND, farad * (1.0 - mismatch / 2.0))
    network.capacitor("input3", cold, GROUND, farad * (1.0 + mismatch / 2.0))


_BALANCED = {
    "difference-amplifier": _difference_amplifier,
    "buffered": _buffered,
    "transformer": _transformer,
}
