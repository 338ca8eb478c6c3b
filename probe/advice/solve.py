"""A wired option driven by the identified stage: what reaches the input, and what pin 3 carries.

A lead, with everything that hangs on it, is what the device's pins see: a current out of them

    i = Y v + j U        U the open-circuit difference between the chassis

and the source answers ``v = Voc - Z i``. Several leads on one device are one network: they meet
only at its pins and at its chassis, so their ``Y`` add, and each lead's ``U`` acts on all of them:

    v = (1 + Z Y)^-1 (Voc - Z j U)
"""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property, lru_cache

import numpy as np
from numpy.typing import NDArray

from probe.advice.destination import Cable, Circuit, Input
from probe.advice.ground import GroundPath
from probe.advice.network import Reduced, reduce
from probe.advice.sampled import Sampled
from probe.advice.terminals import Load, Points, Terminals, read
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
    return respond(sampled, [Link(option, socket, circuit, mismatch, cable), *company])


@dataclass(frozen=True, eq=False)
class Network:
    """The leads that hang on one source at once; one object for the same leads."""

    leads: tuple[_Lead, ...]

    @classmethod
    def of(cls, sampled: Sampled, links: Sequence[Link]) -> Network:
        """Return the network of ``links`` at the frequencies of ``sampled``."""
        return _joined(leads_of(sampled, links))

    @cached_property
    def load(self) -> Load:
        """What all of them are to the source."""
        return Load.of([(lead.pins, lead.y) for lead in self.leads])


def leads_of(sampled: Sampled, links: Sequence[Link]) -> tuple[_Lead, ...]:
    """Return ``links`` reduced, at the frequencies of ``sampled``."""
    hz = sampled.hz.tobytes()
    return tuple(_lead(link, hz) for link in links)


def _joined(leads: tuple[_Lead, ...]) -> Network:
    """Return the network of leads: the same sums of them, whichever is asked about."""
    return _network(tuple(sorted(leads, key=lambda lead: lead.rank)))


@lru_cache(maxsize=512)
def _network(leads: tuple[_Lead, ...]) -> Network:
    return Network(leads)


@dataclass(frozen=True, eq=False)
class Response:
    """One lead solved on one completed source, with all that hangs on it; read when it is asked.

    Everything has the draws on axis 0 and, where it says so, the frequencies on axis 1.

    Attributes
    ----------
    own, others
        The lead that is asked about, and the other ones on the device.
    output
        The device's output (``xlr``, ``rca``) that it is on.
    points
        The frequencies that are asked about, of those of the source.
    """

    sampled: Sampled
    own: _Lead
    others: tuple[_Lead, ...]
    output: str
    points: Points = None

    def only(self, points: Sequence[int]) -> Response:
        """Return the same at some of the frequencies alone, of those of the source."""
        return replace(self, points=tuple(points))

    @property
    def hz(self) -> Floats:
        """Shape (G,), Hz."""
        return self.sampled.hz if self.points is None else self.sampled.hz[list(self.points)]

    @property
    def at(self) -> int:
        """Index of the reference frequency among those of the source."""
        return self.sampled.at

    @property
    def spread(self) -> bool:
        """Axis 0 holds what the source may be, and no draws."""
        return self.sampled.spread

    @cached_property
    def level(self) -> Complex:
        """Shape (N, G), V rms at the measured drive: what the input hears."""
        return self._found(self._asked.level)[..., 0].T

    @property
    def open_level(self) -> Complex:
        """Shape (N, G): the open-circuit level of the output used (differential, single-ended)."""
        every = self.sampled.open_level(self.output)
        return every if self.points is None else every[:, list(self.points)]

    @cached_property
    def core(self) -> Complex | None:
        """Shape (N, G): across the core of the transformer, at its primary; None: there is none.

        Behind the winding's resistance.
        """
        factors = self._asked.core
        return None if factors is None else self._found(factors)[..., 0].T

    @cached_property
    def _at_legs(self) -> dict[str, Complex]:
        """At the reference frequency, shape (N,) each."""
        one = self.only((self.at,))
        found = one._found(one._asked.at_legs)[0]
        return dict(zip(one._asked.names_at_legs, found.T, strict=True))

    @property
    def hot(self) -> Complex:
        """Shape (N,), at the reference frequency: the input's pin 2, or centre, to its ground."""
        return self._at_legs["input hot"]

    @property
    def cold(self) -> Complex | None:
        """Shape (N,), at the reference frequency: at its pin 3; None where there is none."""
        return self._at_legs.get("input cold")

    @property
    def tie(self) -> Complex | None:
        """Shape (N,), A rms, at the reference frequency: of a tied pin 3 into its ground."""
        return self._at_legs.get("tie")

    @property
    def leg_held(self) -> bool:
        """It or another lead on the device joins its pin 3 to ground."""
        return any(lead.wiring.tied and "cold" in lead.pins for lead in (self.own, *self.others))

    @property
    def pins(self) -> dict[str, Complex]:
        """The terminals it uses to their voltages at the reference frequency, (N,), V rms."""
        return {p: self._at_legs[f"{p} volts"] for p in self.own.pins}

    @property
    def drawn(self) -> dict[str, Complex]:
        """The same to the current out of each, shape (N,), A rms: all leads on it together."""
        return {p: self._at_legs[f"{p} ampere"] for p in self.own.pins}

    @cached_property
    def _moved(self) -> Complex:
        """What one volt at each lead moves, shape (N, G, K)."""
        found = self._found(self._asked.moved, with_voc=False)
        return np.swapaxes(found + self._asked.own_emf, 0, 1)

    @property
    def hum(self) -> Complex:
        """Shape (N, G): heard by the input per volt of difference between the chassis."""
        return self._moved[..., 0]

    @property
    def hum_common(self) -> Complex:
        """Shape (N, G): mean of the input's two pins against its ground, likewise."""
        return self._moved[..., 1]

    @property
    def ground_current(self) -> Complex | None:
        """Shape (N, G), siemens: in the shield per volt of difference; None: no shield."""
        return self._moved[..., -1] if self.own.shield is not None else None

    @property
    def hum_from_company(self) -> tuple[tuple[Complex, Complex], ...]:
        """The same two as of its own for the difference at each of the other leads."""
        found = self._moved
        return tuple(
            (found[..., 2 * k], found[..., 2 * k + 1]) for k in range(1, len(self.others) + 1)
        )

    @property
    def weights(self) -> dict[str, Complex]:
        """What the input hears per volt of each open-circuit voltage at the reference frequency.

        By terminal, legs as ``difference`` and ``mean`` where both matter. Of the central estimate
        alone, shape (1,) each: the doubt of a noise is that of its volts.
        """
        one = self.only((self.at,))
        source = one._terminals.with_units
        with np.errstate(invalid="ignore", divide="ignore"):
            found = read(source.with_voc, one._asked.level, source.minors @ one._asked.load.below)
        return dict(zip(one._asked.load.axes, found[0], strict=True))

    @cached_property
    def _asked(self) -> _Asked:
        return _asked(_joined((self.own, *self.others)), self.own, self.others, self.points)

    @property
    def _terminals(self) -> Terminals:
        return Terminals.of(self.sampled, self._asked.load.names, self.points)

    def _found(self, factors: Complex, *, with_voc: bool = True) -> Complex:
        """Return what is read with ``factors`` (G, M, K), shape (G, N, K)."""
        source = self._terminals
        # what is unknown is NaN, and a division of NaN is no news
        with np.errstate(invalid="ignore", divide="ignore"):
            below = source.minors @ self._asked.load.below
            return read(source.with_voc if with_voc else source.minors, factors, below)


def respond(sampled: Sampled, links: Sequence[Link]) -> Response:
    """Return what is solved of the first of ``links`` with all of them on a completed source."""
    own, *others = leads_of(sampled, links)
    return Response(sampled, own, tuple(others), links[0].option.from_)


@dataclass(frozen=True, eq=False)
class _Asked:
    """What one lead of a network reads, as factors of the minors of whatever source it hangs on."""

    network: Network
    own: _Lead
    others: tuple[_Lead, ...]
    points: Points

    @cached_property
    def load(self) -> Load:
        """The network at these frequencies."""
        whole = self.network.load
        return whole if self.points is None else Load(whole.names, whole.y[list(self.points)])

    @cached_property
    def level(self) -> Complex:
        return self._volts([self.own.row(self.own.heard)])

    @cached_property
    def core(self) -> Complex | None:
        found = self.own.across_core
        return None if found is None else self._volts([found])

    @cached_property
    def _rows_at_legs(self) -> dict[str, Complex]:
        """What is read at the legs, each as (G, p) on the pins of the lead."""
        own, wiring = self.own, self.own.wiring
        rows = {"input hot": own.row((wiring.plus, GROUND))}
        if own.cold is not None:
            rows["input cold"] = own.row((own.cold, GROUND))
        if wiring.tied:
            rows["tie"] = own.reduced.currents[TIE][:, :-1]
        for k, pin in enumerate(own.pins):
            rows[f"{pin} volts"] = np.broadcast_to(np.eye(len(own.pins))[k], own.y.shape[:2])
        return rows

    @property
    def names_at_legs(self) -> tuple[str, ...]:
        return *self._rows_at_legs, *(f"{pin} ampere" for pin in self.own.pins)

    @cached_property
    def at_legs(self) -> Complex:
        load = self.load
        volts = self._volts(list(self._rows_at_legs.values()))
        drawn = [
            load.reads(load.on(load.names, load.y[:, load.names.index(p)])) for p in self.own.pins
        ]
        return np.concatenate([volts, np.stack(drawn, axis=-1)], axis=-1)

    @cached_property
    def moved(self) -> Complex:
        """Of one volt at each lead what is heard, and the mean; last the own shield's current."""
        load, own = self.load, self.own
        heard = [self._on(own, row) for row in (own.row(own.heard), own.mean_row())]
        found = [
            load.reads_moved(row, self._on(lead, lead.injected))
            for lead in (own, *self.others)
            for row in heard
        ]
        if own.shield is not None:
            row = self._on(own, own.shield[:, :-1])
            found.append(load.reads_moved(row, self._on(own, own.injected)))
        return np.stack(found, axis=-1)

    @cached_property
    def own_emf(self) -> Complex:
        """What one volt of the own difference does by itself, shape (G, 1, K)."""
        own = self.own
        found = np.zeros((self.load.y.shape[0], 1, self.moved.shape[-1]), dtype=np.complex128)
        found[:, 0, 0] = self._at(own.emf(own.heard))
        found[:, 0, 1] = self._at(own.mean_emf())
        if own.shield is not None:
            found[:, 0, -1] = self._at(own.shield[:, -1])
        return found

    def _at(self, values: Complex) -> Complex:
        return values if self.points is None else values[list(self.points)]

    def _on(self, lead: _Lead, values: Complex) -> Complex:
        return self.load.on(lead.pins, self._at(values))

    def _volts(self, rows: Sequence[Complex]) -> Complex:
        return np.stack([self.load.reads(self._on(self.own, row)) for row in rows], axis=-1)


@lru_cache(maxsize=1024)
def _asked(network: Network, own: _Lead, others: tuple[_Lead, ...], points: Points) -> _Asked:
    return _Asked(network, own, others, points)


@dataclass(frozen=True, eq=False)
class _Lead:
    """A wired link reduced to its pins, and to the e.m.f. between the chassis (last column)."""

    wiring: Wiring
    reduced: Reduced
    loss_ohm: float
    """Of the core of its transformer, where it has one."""

    @property
    def pins(self) -> tuple[str, ...]:
        return self.wiring.pins

    @cached_property
    def rank(self) -> bytes:
        """Its place among others, which hangs on nothing but what it is."""
        return hashlib.blake2b(self.reduced.y.tobytes()).digest()

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

    @property
    def shield(self) -> Complex | None:
        """The current in the shield per volt on each pin, and of difference, shape (G, P + 1)."""
        return self.reduced.currents.get(SHIELD)

    @property
    def across_core(self) -> Complex | None:
        """The voltage that sets the flux, by the core's loss, per volt on each pin, (G, P)."""
        found = self.reduced.currents.get(CORE)
        return None if found is None else self.loss_ohm * found[:, :-1]


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
    reduced = reduce(wiring.network, np.frombuffer(hz), (*wiring.pins, EMF))
    return _Lead(wiring, reduced, link.option.part.loss_ohm)


def pin_voltages(sampled: Sampled, pins: tuple[str, ...], y: Complex) -> Complex:
    """Return the voltages on ``pins`` with ``y`` (G, P, P) connected, shape (N, G, P), V rms."""
    load = Load.of([(pins, y)])
    source = Terminals.of(sampled, load.names)
    rows = [
        load.reads(load.on(pins, np.broadcast_to(row, y.shape[:2]))) for row in np.eye(len(pins))
    ]
    with np.errstate(invalid="ignore", divide="ignore"):
        below = source.minors @ load.below
        return np.swapaxes(read(source.with_voc, np.stack(rows, axis=-1), below), 0, 1)
