"""One side of a device at one set of inputs: every option on every corner, solved once.

A corner is one thing that what was not measured may be: the stage's unknown entries by its kind,
the sign of the input's mismatch, what a ground difference stands behind.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property, partial
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from probe.advice import thresholds as limit
from probe.advice.between import between
from probe.advice.case import Case
from probe.advice.completed import completions
from probe.advice.destination import Cable, Circuit, Destination, Input
from probe.advice.figures import (
    Against,
    Figures,
    Leveled,
    Scale,
    Surrounded,
    Surroundings,
    figures,
    most_level,
    over_assumptions,
    tie_current,
    with_doubt_of_volume,
    with_hum,
)
from probe.advice.ground import GroundPath
from probe.advice.ground import corners as ground_corners
from probe.advice.heard import on_legs
from probe.advice.hum import hum_of
from probe.advice.maximum import Limits
from probe.advice.memory import Memory, Sources
from probe.advice.narrow import settles
from probe.advice.operating import (
    BY_ID,
    Operating,
    Reference,
    limits_of,
    open_output,
    operating_of,
    scale_of,
    silent_outputs,
)
from probe.advice.quantity import Quantity, from_draws, worst
from probe.advice.sampled import Sampled, forget, sample
from probe.advice.shared import with_both_outputs
from probe.advice.solve import Link, Response, respond
from probe.advice.subject import Device, SideFacts
from probe.advice.terminals import names_of
from probe.advice.wiring import Option
from probe.advice.words import RCA_FAULTS
from probe.facts.source import Source

Floats = NDArray[np.float64]

BALANCED_CIRCUITS: tuple[Circuit, ...] = ("difference-amplifier", "buffered", "transformer")

Judged = TypeVar("Judged")


@dataclass(frozen=True)
class Trial:
    """One link on one corner, for one kind of stage, in the company of other links."""

    corner: Sampled
    kind: str
    reference: Reference
    link: Link
    company: tuple[Link, ...] = ()

    @property
    def without_ground(self) -> Trial:
        """The same, with nothing said of the ground."""
        return replace(self, link=self.link.without_ground, reference=self.reference.without_ground)


class Desk:
    """Everything that stays the same while one side is advised on; solves nothing twice."""

    def __init__(
        self,
        device: Device,
        side: SideFacts,
        source: Sources,
        destination: Destination,
        memory: Memory | None = None,
    ) -> None:
        self.device = device
        self.side = side
        self.destination = destination
        self._memory = Memory() if memory is None else memory
        self._by_kind = not isinstance(source, Source)
        stages = {"": source} if isinstance(source, Source) else source
        self._sources = {kind: self._memory.own(stage) for kind, stage in stages.items()}
        self._asked: set[int] = set()
        self._leveled_here: dict[tuple[object, ...], Figures] = {}
        self._latest: dict[tuple[object, ...], Response] = {}
        self._doubted: dict[tuple[object, ...], Figures] = {}
        self._scales: dict[tuple[int, str], Scale] = {}
        self._known_limits: dict[tuple[int, str], Limits] = {}

    @property
    def solved(self) -> int:
        """How many figures were asked for, whether the memory had them or not.

        How far sets are tried hangs on it, and must not on what was asked before.
        """
        return len(self._asked)

    @cached_property
    def _own(self) -> int:
        """What all that is judged here hangs on, beside the lead and its company."""
        played = self.destination.operating_volts, self.destination.mains_hz
        stages = tuple((kind, id(stage)) for kind, stage in self._sources.items())
        return self._memory.number((self.device, self.side, stages, played))

    @cached_property
    def _drives(self) -> int:
        """What figures hang on beside circuit and drive: how high it goes, and its noise."""
        device, side = self.device, self.side
        limits = device.full_output_volts, device.connectors, device.typed
        most = side.differential_maximum, side.single_ended_maximum, side.single_share
        told = side.live_leg, side.noise, "rca" in side.stage.clipped
        return self._memory.number((limits, most, side.tied_maximum, told))

    @cached_property
    def _noise(self) -> int:
        return self._memory.number(self.side.noise)

    @cached_property
    def _hears(self) -> int:
        return self._memory.number((self.side.bounded, self.side.heard))

    def kept(
        self, key: tuple[object, ...], reference: Reference, judge: Callable[[], Judged]
    ) -> Judged:
        """Return what was judged of the same before, or judge it; count what it stands on."""
        key = (self._own, *key, reference, self._lead(reference))
        if key not in self._memory.judged:
            before, self._asked = self._asked, set()
            found = judge()
            self._memory.judged[key] = found, frozenset(self._asked)
            self._asked |= before
        found, stands_on = self._memory.judged[key]
        self._asked |= stands_on
        return found

    def _lead(self, reference: Reference) -> Cable | None:
        if reference.option is None or reference.socket is None:
            return None
        return self.destination.cable_of(reference.socket, reference.option.id)

    @cached_property
    def silent(self) -> frozenset[str]:
        """Outputs without a signal, with which no level is compared."""
        faulty = set(self.side.stage.faults) & set(RCA_FAULTS)
        found = silent_outputs(self.sampled(kind) for kind in self.side.stage.possible)
        return found | {"rca"} if faulty else found

    def operating_for(self, option: Option) -> Operating:
        """Return the operating point of the output an option uses."""
        return operating_of(self.device, self.side, self.destination, option.from_)

    def _scale(self, trial: Trial) -> Scale:
        key = (id(trial.corner), trial.link.option.from_)  # corners are kept, and with them ids
        if key not in self._scales:
            operating = self.operating_for(trial.link.option)
            self._scales[key] = scale_of(trial.corner, self.device, operating, self.side.live_leg)
        return self._scales[key]

    def asked(self, socket: Input, option: Option) -> bool:
        """Tell whether an option is to be judged at all."""
        among = self._memory.among
        return among is None or (socket.name, option.id) in among

    def _source(self, kind: str) -> Source:
        return self._sources[kind if self._by_kind else ""]

    def sampled(self, kind: str) -> Sampled:
        """Return the source, if the stage is of ``kind``."""
        source = self._source(kind)
        key = (id(source), self._hears)
        if key not in self._memory.sampled:
            found = sample(source)
            for leg in self.side.bounded:
                found = forget(found, leg)
            found = self._with_heard(found)
            self._memory.sampled[key] = found
        return self._memory.sampled[key]

    def _with_heard(self, sampled: Sampled) -> Sampled:
        """Return the source with what the recorder heard of legs of which nothing else is known."""
        heard = self.side.heard
        known = np.isfinite(sampled.leg_voc[0, :, :2]) | np.isfinite(sampled.voc[0, :, :2])
        if heard is None or known.any() or self.side.bounded:
            return sampled
        return replace(sampled, heard=on_legs(heard, sampled), heard_ohm=heard.ohm)

    def corners(self, kind: str, *, both_outputs: bool = False) -> tuple[Sampled, ...]:
        """Return the corners of what was not measured, if the stage is of ``kind``.

        ``both_outputs``: current is drawn from the legs and from the single-ended output at once.
        """
        sampled, side = self.sampled(kind), self.side
        key = (id(sampled), kind, both_outputs, side.recorder_ohm, side.exchanged, side.floats)
        if key not in self._memory.corners:
            found = completions(
                sampled, kind, side.recorder_ohm,
                exchanged=side.exchanged, both_outputs=both_outputs, floats=side.floats,
            )  # fmt: skip
            if both_outputs:
                found = tuple(c for f in found for c in with_both_outputs(f))
            self._memory.corners[key] = found
        return self._memory.corners[key]

    def between(self, kind: str, *, both_outputs: bool = False) -> Sampled | None:
        """Return what lies between those corners as one source, or None where nothing does."""
        sampled, side = self.sampled(kind), self.side
        key = (id(sampled), kind, both_outputs, side.recorder_ohm, side.exchanged, side.floats)
        if key not in self._memory.between:
            self._memory.between[key] = between(
                sampled, kind, side.recorder_ohm,
                exchanged=side.exchanged, both_outputs=both_outputs, floats=side.floats,
            )  # fmt: skip
        return self._memory.between[key]

    def respond(self, corner: Sampled, link: Link, company: tuple[Link, ...] = ()) -> Response:
        """Solve one link on one corner, in the company of others."""
        key = _solved_as(corner, link, company)
        if key not in self._latest:
            self._latest[key] = respond(corner, (link, *company))
        return self._latest[key]

    def figures(self, trial: Trial) -> Figures:
        """Return the figures of one link on one corner."""
        key = self._key(trial)
        if key not in self._memory.figures:
            around = self._surrounded(trial)
            found = around.added(self._leveled(trial), trial.link.socket)
            self._memory.figures[key] = found
        self._count(key)
        found = self._memory.figures[key]
        if self.device.volume != "unknown":
            return found
        if key not in self._doubted:
            self._doubted[key] = with_doubt_of_volume(found)
        return self._doubted[key]

    def most_level(self, trial: Trial) -> Figures:
        """Return of the figures of one link on one corner the level at the device's most alone."""
        key = self._key(trial)
        self._count(key)
        if key in self._memory.figures:
            return self._memory.figures[key]
        if key not in self._memory.most:
            response = self.respond(trial.corner, trial.link, trial.company)
            self._memory.most[key] = most_level(response, self._scale(trial))
        return self._memory.most[key]

    def _count(self, key: tuple[object, ...]) -> None:
        self._asked.add(self._memory.asked.setdefault(key, len(self._memory.asked)))

    def figures_between(self, trial: Trial, at_corner: Figures) -> Figures:
        """Return the figures of one link on what lies between the corners.

        What is worst at the corners anyway stays as it is ``at_corner``.
        """
        scale, company = self._scale(trial), trial.company
        same = _solved_as(trial.corner, trial.link, company)
        key = same, self.destination.mains_hz, scale.key
        if key not in self._memory.amid:
            response = self.respond(trial.corner, trial.link, company)
            grounds = tuple(other.socket.ground for other in company)
            self._memory.amid[key] = (
                hum_of(response, trial.link.socket, self.destination.mains_hz, grounds),
                tie_current(response, scale.maximum),
            )
        hum, tie = self._memory.amid[key]
        found = at_corner if tie is None else replace(at_corner, tie_current=tie)
        return found if hum is None else with_hum(found, hum)

    def _key(self, trial: Trial) -> tuple[object, ...]:
        """Return what tells figures apart."""
        corner, reference = trial.corner, trial.reference
        also = () if reference.option is None else (reference.option,)
        same = _solved_as(corner, trial.link, trial.company, also)
        told = trial.kind, reference, self._lead(reference), self._drives
        limits = self._limits(corner, trial.kind).key(trial.link.option.from_)
        return same, *told, self.destination.mains_hz, self._scale(trial).key, limits

    def _leveled(self, trial: Trial) -> Figures:
        """Return what follows from the level; asked about the ground alone, from the memory.

        What the difference of one ground may stand behind moves it by next to nothing.
        """
        key = self._key(trial.without_ground)
        kept = (self._memory.leveled if self._memory.ground_alone else self._leveled_here).get(key)
        if kept is not None:
            return kept
        corner, at_hz = trial.corner, float(trial.corner.hz[trial.corner.at])
        found = self._alone(trial).against(
            self._against(corner, trial.reference, trial.link), at_hz
        )
        self._memory.leveled.setdefault(key, found)
        return self._leveled_here.setdefault(key, found)

    def _alone(self, trial: Trial) -> Leveled:
        """Return the same compared with no other link."""
        corner, link, scale = trial.corner, trial.link, self._scale(trial)
        sensing = trial.kind == "ground-sensing" and link.option.id == "xlr-to-rca/pin-3-open"
        tied = BY_ID["xlr-to-rca/pin-3-tied-at-source"]
        key = (
            _solved_as(corner, link, trial.company, (tied,) if sensing else ()),
            sensing,
            scale.key,
        )
        if key not in self._memory.alone:
            response = self.respond(corner, link, trial.company)
            instead = self.respond(corner, replace(link, option=tied)) if sensing else None
            found = figures(response, scale, link.socket.sensitivity_volts, instead)
            self._memory.alone[key] = Leveled(found, np.abs(response.level[:, corner.at]))
        return self._memory.alone[key]

    def _surrounded(self, trial: Trial) -> Surrounded:
        """Return what one link on one corner hears besides its level."""
        corner, link, company = trial.corner, trial.link, trial.company
        limits, mains_hz = self._limits(corner, trial.kind), self.destination.mains_hz
        known = limits.key(link.option.from_)
        key = _solved_as(corner, link, company), mains_hz, self._noise, known
        if key not in self._memory.around:
            grounds = tuple(other.socket.ground for other in company)
            around = Surroundings(link.socket, mains_hz, self.side.noise, limits, grounds)
            self._memory.around[key] = around.solved(self.respond(corner, link, company))
        return self._memory.around[key]

    def _limits(self, corner: Sampled, kind: str) -> Limits:
        key = (id(corner), kind)
        if key not in self._known_limits:
            self._known_limits[key] = limits_of(corner, self.device, self.side, kind)
        return self._known_limits[key]

    def _against(self, corner: Sampled, reference: Reference, link: Link) -> Against | None:
        """Return the level of the reference link, by itself, on the same corner."""
        at = corner.at
        if reference.option is None or reference.socket is None:
            if reference.open_output:
                level = open_output(corner, reference.open_output)
            else:
                share = 0.5 if link.option.from_ == "xlr" else 1.0
                level = np.abs(corner.open_level(link.option.from_)[:, at]) * share
            return Against(level, 1.0) if np.isfinite(level[0]) else None
        other = reference.socket
        circuit, mismatch = link.circuit, link.mismatch
        if other.name != link.socket.name:
            circuit, mismatch = circuits_of(other)[0], 0.0
        lead = self._lead(reference)
        assert lead is not None
        own = Link(reference.option, other, circuit, mismatch, lead)
        key = _solved_as(corner, own)
        if key not in self._memory.levels:
            self._memory.levels[key] = np.abs(self.respond(corner, own).level[:, at])
        level = self._memory.levels[key]
        if not np.isfinite(level[0]):
            return None
        return Against(level, _sensitivity_ratio(other, link.socket))

    def trials(
        self, reference: Reference, option: Option, socket: Input, kind: str, circuit: Circuit,
        company: tuple[Link, ...] = (),
    ) -> Iterator[Trial]:  # fmt: skip
        """Yield every trial of one option into one input, for one kind and circuit."""
        cable = self.destination.cable_of(socket, option.id)
        links = [
            Link(way, s, circuit, m, cable)
            for s in _grounds(replace(socket, circuit=circuit))
            for m in _mismatches(socket, option)
            for way in _as_made(option)
        ]
        companies = _companies(company)
        self._latest.clear()
        for corner in self.corners(kind, both_outputs=_both_outputs(option, company)):
            for others in companies:
                for link in links:
                    yield Trial(corner, kind, reference, link, others)

    def case(
        self,
        reference: Reference,
        option: Option,
        socket: Input,
        kind: str,
        circuit: Circuit,
        company: tuple[Link, ...] = (),
    ) -> Case:
        """Return one option into one input for one kind and circuit, over all corners.

        ``company``: what hangs on the device meanwhile, each with nothing said of its input but
        what the socket says.
        """
        both = _both_outputs(option, company)
        corners = self.corners(kind, both_outputs=both)
        between = None
        if option.from_ == "xlr" or both:
            between = self.between(kind, both_outputs=both)
        parts: list[Figures] = []
        by_ground: dict[tuple[GroundPath, ...], list[Quantity | None]] = {}
        for trial in self.trials(reference, option, socket, kind, circuit, company):
            grounds = tuple(one.socket.ground for one in (trial.link, *trial.company))
            known = [self.figures(trial)]
            amid = known[0].hum is not None or known[0].tie_current is not None
            if trial.corner is corners[0] and between is not None and amid:
                known.append(self.figures_between(replace(trial, corner=between), known[0]))
            parts += known
            hum = [one.hum_below_full_output_db for one in known]
            by_ground.setdefault(grounds, []).extend(hum)
        sampled = self.sampled(kind)
        operating = self.operating_for(option)
        told = partial(
            settles, option, self.side, sampled, self._source(kind), typed=self.device.typed
        )
        return Case(
            option=option,
            socket=socket,
            circuit=circuit,
            kind=kind,
            figures=over_assumptions(parts),
            stage=self.side.stage,
            cable=self.destination.cable_of(socket, option.id),
            maximum_words=operating.maximum_words,
            maximum_assumed=operating.assumed,
            level_declared=operating.declared,
            level_fixed=operating.fixed,
            no_volume=operating.fixed or self.device.volume == "none",
            tied_stated=self.side.tied_maximum is not None,
            tied_allowed=operating.bears_tie(self.side.tied_maximum),
            own_volume=self.device.volume == "own" and not operating.fixed,
            volume_stated=self.device.volume_stated,
            reference_words=reference.words,
            settles=told(),
            settles_low=told(low=True),
            sense_ohm=_own_ohm(sampled, 0 if self.side.exchanged else 1),
            single_ohm=_own_ohm(sampled, 2),
            assumed=_assumed(option, corners),
            load_ohm=self.device.minimum_load_ohm,
            typed=self.device.typed,
            beside=tuple((o.option, o.socket) for o in company if o.option.from_ == option.from_),
            elsewhere=tuple(
                (o.option, o.socket) for o in company if o.option.from_ != option.from_
            ),
            hum_by_ground=tuple(worst(held, "low") for held in by_ground.values()),
        )


def _solved_as(
    corner: Sampled, link: Link, company: tuple[Link, ...] = (), also: tuple[Option, ...] = ()
) -> tuple[object, ...]:
    """Return what is equal for what is solved alike: by the terminals that are used.

    ``also``: other ways whose terminals matter.
    """
    options = (link.option, *(other.option for other in company), *also)
    used = names_of(tuple([option.pins for option in options]))
    return corner.content(used), link, company


def circuits_of(socket: Input) -> tuple[Circuit, ...]:
    """Return what the circuit of an input may be."""
    if socket.receiver != "balanced":
        return ("unknown",)
    if socket.circuit != "unknown":
        return (socket.circuit,)
    if rejects_too_little(socket):
        return tuple(c for c in BALANCED_CIRCUITS if c != "transformer")
    return BALANCED_CIRCUITS


def rejects_too_little(socket: Input) -> bool:
    """Tell whether the published rejection of an input is less than a transformer has."""
    return socket.rejection_db is not None and socket.rejection_db < limit.NO_TRANSFORMER_DB


def _grounds(socket: Input) -> tuple[Input, ...]:
    """Return the input with each corner of what its ground difference stands behind."""
    found = ground_corners(socket.ground)
    return (socket,) if len(found) == 1 else tuple(replace(socket, ground=g) for g in found)


def _both_outputs(option: Option, company: Sequence[Link]) -> bool:
    return len({option.from_, *(other.option.from_ for other in company)}) > 1


def _companies(links: tuple[Link, ...]) -> tuple[tuple[Link, ...], ...]:
    """Return the other leads with each thing their inputs may be, all inputs alike.

    What each draws adds up at the pins, so that the ends lie where all are alike.
    """
    kinds = [_inputs(link) for link in links]
    return tuple(
        dict.fromkeys(
            tuple(of[min(k, len(of) - 1)] for of in kinds)
            for k in range(max(map(len, kinds), default=1))
        )
    )


def _inputs(link: Link) -> list[Link]:
    """Return one lead with each circuit, ground source and mismatch its input may have."""
    balanced = link.option.to == "xlr"
    return [
        replace(link, socket=socket, circuit=circuit, mismatch=mismatch)
        for circuit in (circuits_of(link.socket) if balanced else circuits_of(link.socket)[:1])
        for socket in _grounds(replace(link.socket, circuit=circuit))
        for mismatch in _mismatches(link.socket, link.option)
    ]


def _assumed(option: Option, corners: Sequence[Sampled]) -> tuple[str, ...]:
    """Return the assumptions about terminals through which this option draws current."""
    pins = {"single-ended"}
    if option.from_ == "xlr":
        pins = {"hot"} if option.pin_3 == "open" else {"hot", "cold"}
    found = [a.words for c in corners for a in c.assumed if pins & set(a.pins)]
    return tuple(dict.fromkeys(found))


def _mismatches(socket: Input, option: Option) -> tuple[float, ...]:
    """Return the input's mismatch with both signs, where both legs of the input are in use."""
    if socket.receiver != "balanced" or option.to != "xlr" or socket.mismatch == 0.0:
        return (0.0,)
    return (socket.mismatch, -socket.mismatch)


def _as_made(option: Option) -> tuple[Option, ...]:
    """Return the option with the resistors of its plug as their tolerance may make them."""
    if option.pad is None:
        return (option,)
    return tuple(replace(option, pad=pad) for pad in option.pad.worst())


def _sensitivity_ratio(reference: Input, socket: Input) -> float | None:
    if (reference.box, reference.name) == (socket.box, socket.name):
        return 1.0
    if reference.sensitivity_volts is None or socket.sensitivity_volts is None:
        return None
    return reference.sensitivity_volts / socket.sensitivity_volts


def _own_ohm(sampled: Sampled, leg: int) -> Quantity | None:
    ohm = np.abs(sampled.leg_z[:, sampled.at, leg, leg])
    return from_draws(ohm, "ohm", float(sampled.hz[sampled.at]))
