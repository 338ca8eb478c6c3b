"""A wired option driven by the identified stage: what reaches the input, and what pin 3 carries.

A lead, with everything that hangs on it, is what the device's pins see: a current out of them

    i = Y v + j U        U the open-circuit difference between the chassis

and the source answers ``v = Voc - Z i``. Several leads on one device are one network: they meet
only at its pins and at its chassis, so their ``Y`` add, and each lead's ``U`` acts on all of them:

    v = (1 + Z Y)^-1 (Voc - Z j U)
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property, lru_cache

import numpy as np
from numpy.typing import NDArray

from probe.advice.destination import Cable, Circuit, Input
from probe.advice.ground import GroundPath
from probe.advice.network import Reduced, reduce
from probe.advice.sampled import Sampled
from probe.advice.terminals import Terminals
from probe.advice.wiring import CORE, EMF, GROUND, SHIELD, TIE, Option, Wiring, wire

Floats = NDArray[np.float64]
Complex = NDArray[np.complex128]


@dataclass(frozen=True)
class Link:
    """One option into one input, with one assumption about the input's circuit."""

    option: Option
    socket: Input
    circuit: Circuit
    mismatch: float
    cable: Cable

    def __hash__(self) -> int:
        return self._hash

    @cached_property
    def _hash(self) -> int:
        """Kept: a link is looked up for every corner, and what it holds is large."""
        return hash((self.option, self.socket, self.circuit, self.mismatch, self.cable))

    @cached_property
    def without_ground(self) -> Link:
        """The same, with nothing said of the ground."""
        return replace(self, socket=replace(self.socket, ground=GroundPath(None)))


@dataclass(frozen=True)
class Response:
    """One option solved on one completed source.

    Attributes
    ----------
    hz
        Shape (G,), Hz; ``at`` is the index of the reference frequency.
    level
        Shape (N, G), complex, V rms at the measured drive: what the input hears.
    hot
        Shape (N, G): at the input's pin 2 (or centre) against its ground.
    cold
        Shape (N, G): at its pin 3; None where there is none.
    tie
        Shape (N, G), A rms: current of pin 3 into its ground; None where it is not tied.
    leg_held
        This lead or another one on the device joins its pin 3 to ground.
    open_level
        Shape (N, G): the open-circuit level of the output used (differential, or single-ended).
    hum
        Shape (N, G): heard by the input per volt of difference between the chassis.
    hum_common
        Shape (N, G): mean of the input's two pins against its ground, likewise.
    hum_from_company
        The same two for the difference at each of the other leads on the device.
    ground_current
        Shape (N, G), siemens: current in the shield per volt of difference; None: no shield.
    core
        Shape (N, G): across the core of the transformer, at its primary, behind the winding's
        resistance; None where there is none.
    pins
        The device's terminals to their voltages at the reference frequency, shape (N,), V rms.
    drawn
        The device's terminals that this option uses to the current out of each at the reference
        frequency, shape (N,), A rms: all leads on it together.
    weights
        The same terminals to what the input hears per volt of their open-circuit voltage at the
        reference frequency, shape (1,); legs as ``difference`` and ``mean`` where both matter.
    spread
        Axis 0 holds what the source may be, and no draws.
    """

    hz: Floats
    at: int
    level: Complex
    hot: Complex
    cold: Complex | None
    tie: Complex | None
    leg_held: bool
    open_level: Complex
    hum: Complex
    hum_common: Complex
    hum_from_company: tuple[tuple[Complex, Complex], ...]
    ground_current: Complex | None
    core: Complex | None
    pins: dict[str, Complex]
    drawn: dict[str, Complex]
    weights: dict[str, Complex]
    spread: bool = False


def solve_option(
    option: Option,
    socket: Input,
    circuit: Circuit,
    mismatch: float,
    cable: Cable,
    sampled: Sampled,
    company: Sequence[Link] = (),
) -> Response:
    """Solve ``option`` into ``socket`` with the completed source ``sampled``.

    ``company``: the other leads that hang on the same device meanwhile.
    """
    network = Network.of(sampled, [Link(option, socket, circuit, mismatch, cable), *company])
    return respond(network, option, sampled)


@dataclass(frozen=True)
class Network:
    """The leads that hang on one source at once, reduced to its pins; the asked one first."""

    leads: tuple[_Lead, ...]

    @classmethod
    def of(cls, sampled: Sampled, links: Sequence[Link]) -> Network:
        """Return the network of ``links`` at the frequencies of ``sampled``."""
        hz = sampled.hz.tobytes()
        return cls(tuple(_lead(link, hz) for link in links))

    @property
    def key(self) -> tuple[int, ...]:
        """Equal for the same leads while they live, whichever of them is asked about."""
        return tuple(sorted(map(id, self.leads)))


@dataclass(frozen=True)
class Driven:
    """A source with a network on it: volts on its terminals, and what each lead's e.m.f. moves."""

    network: Network
    at_pins: Terminals
    y: Complex
    volts: Complex
    moved: dict[int, Complex]
    """By the identity of the lead, which ``network`` keeps alive."""


def drive(sampled: Sampled, network: Network) -> Driven:
    """Solve the source with all leads of ``network`` on it."""
    leads = network.leads
    at_pins = Terminals.of(sampled, [lead.pins for lead in leads])
    y = at_pins.admittance([(lead.pins, lead.y) for lead in leads])
    once = list({id(lead): lead for lead in leads}.values())
    # what is unknown is NaN, and a division of NaN is no news
    with np.errstate(invalid="ignore", divide="ignore"):
        volts, moved = at_pins.driven(y, [(lead.pins, lead.injected) for lead in once])
    return Driven(network, at_pins, y, volts, dict(zip(map(id, once), moved, strict=True)))


def respond(
    network: Network, option: Option, sampled: Sampled, driven: Driven | None = None
) -> Response:
    """Return what the first lead of ``network`` does; ``driven``: solved before, if it was."""
    found = drive(sampled, network) if driven is None else driven
    own, *others = network.leads
    at_pins, volts, moved = found.at_pins, found.volts, found.moved[id(own)]
    moved_by_others = [found.moved[id(lead)] for lead in others]
    with np.errstate(invalid="ignore", divide="ignore"):
        weights = at_pins.weights(found.y, own.pins, own.row(own.heard))
        drawn = np.einsum("pq,nq->np", found.y[sampled.at], volts[:, sampled.at])
    pins = at_pins.pick(own.pins)
    return Response(
        hz=sampled.hz,
        at=sampled.at,
        level=_seen(own.row(own.heard), volts[..., pins]),
        hot=_seen(own.row((own.wiring.plus, GROUND)), volts[..., pins]),
        cold=_seen(own.row((own.cold, GROUND)), volts[..., pins]) if own.cold else None,
        tie=_seen(own.reduced.currents[TIE][:, :-1], volts[..., pins]) if own.wiring.tied else None,
        leg_held=any(lead.wiring.tied and "cold" in lead.pins for lead in (own, *others)),
        open_level=sampled.voc[..., 0 if option.from_ == "xlr" else 2],
        hum=_seen(own.row(own.heard), moved[..., pins]) + own.emf(own.heard),
        hum_common=_seen(own.mean_row(), moved[..., pins]) + own.mean_emf(),
        hum_from_company=tuple(
            (
                _seen(own.row(own.heard), theirs[..., pins]),
                _seen(own.mean_row(), theirs[..., pins]),
            )
            for theirs in moved_by_others
        ),
        ground_current=own.shield_current(moved[..., pins]),
        core=own.across_core(option.part.loss_ohm, volts[..., pins]),
        pins={p: volts[:, sampled.at, k] for p, k in zip(own.pins, pins, strict=True)},
        drawn={p: drawn[:, k] for p, k in zip(own.pins, pins, strict=True)},
        weights=weights,
        spread=sampled.spread,
    )


@dataclass(frozen=True)
class _Lead:
    """A wired link reduced to its pins, and to the e.m.f. between the chassis (last column)."""

    wiring: Wiring
    reduced: Reduced

    @property
    def pins(self) -> tuple[str, ...]:
        return self.wiring.pins

    @property
    def heard(self) -> tuple[str, str]:
        return self.wiring.plus, self.wiring.minus

    @property
    def cold(self) -> str | None:
        """Node of the input's own pin 3, where it has one."""
        return self.wiring.cold if self.wiring.cold in self.reduced.nodes else None

    @property
    def y(self) -> Complex:
        """Current out of each pin per volt on each pin, shape (G, P, P), siemens."""
        return self.reduced.y[:, :-1, :-1]

    @property
    def injected(self) -> Complex:
        """Current out of each pin per volt of difference between the chassis, shape (G, P)."""
        return self.reduced.y[:, :-1, -1]

    def row(self, nodes: tuple[str, str]) -> Complex:
        """Return the voltage between two nodes per volt on each pin, shape (G, P)."""
        return self.reduced.across(*nodes)[:, :-1]

    def emf(self, nodes: tuple[str, str]) -> Complex:
        """Return the voltage between two nodes per volt of difference, shape (G,)."""
        return self.reduced.across(*nodes)[:, -1]

    def _legs(self) -> tuple[tuple[str, str], tuple[str, str]]:
        plus, minus = self.heard
        return (plus, GROUND), (minus, GROUND)

    def mean_row(self) -> Complex:
        """Return the mean of what the input subtracts, against its ground, per volt on a pin."""
        hot, cold = self._legs()
        return 0.5 * (self.row(hot) + self.row(cold))

    def mean_emf(self) -> Complex:
        """Return the same per volt of difference."""
        hot, cold = self._legs()
        return 0.5 * (self.emf(hot) + self.emf(cold))

    def shield_current(self, moved: Complex) -> Complex | None:
        """Return the current in the shield per volt of difference, shape (N, G)."""
        found = self.reduced.currents.get(SHIELD)
        if found is None:
            return None
        return _seen(found[:, :-1], moved) + found[:, -1]

    def across_core(self, loss_ohm: float, volts: Complex) -> Complex | None:
        """Return the voltage that sets the flux, by the current in the core's loss, (N, G)."""
        found = self.reduced.currents.get(CORE)
        return None if found is None else loss_ohm * _seen(found[:, :-1], volts)


@lru_cache(maxsize=512)
def _lead(link: Link, hz: bytes) -> _Lead:
    """Return a link reduced; the same object for all that are the same circuit."""
    socket = replace(
        link.socket, box="", name="", circuit=link.circuit, sensitivity_volts=None,
        maximum_volts=None,
    )  # fmt: skip
    return _wired(replace(link, socket=socket), hz)


@lru_cache(maxsize=512)
def _wired(link: Link, hz: bytes) -> _Lead:
    wiring = wire(link.option, link.socket, link.circuit, link.mismatch, link.cable)
    return _Lead(wiring, reduce(wiring.network, np.frombuffer(hz), (*wiring.pins, EMF)))


def pin_voltages(sampled: Sampled, pins: tuple[str, ...], reduced: Reduced) -> Complex:
    """Return the voltages on ``pins`` with the network connected, shape (N, G, P), V rms."""
    at_pins = Terminals.of(sampled, [pins])
    with np.errstate(invalid="ignore", divide="ignore"):
        y = at_pins.admittance([(pins, reduced.y)])
        return at_pins.from_source(y)[..., [at_pins.names.index(p) for p in pins]]


def _seen(row: Complex, volts: Complex) -> Complex:
    """Return ``sum_p row[g, p] volts[n, g, p]``, shape (N, G)."""
    return np.asarray(np.einsum("gp,ngp->ng", row, volts))
