"""From facts and a destination to advice: every allowed option solved, judged, one chosen.

The order of the work: what the device is; which options its connectors allow; for every kind
the stage may still be, and every corner of what was not measured, each option into each input;
the worst verdict of them; the choice.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import partial

import numpy as np
from numpy.typing import NDArray

from probe.advice import thresholds as limit
from probe.advice.cautions import general_cautions, refusal, simulated
from probe.advice.choose import choose, mark
from probe.advice.destination import Circuit, Destination, Input
from probe.advice.figures import Against, Figures, Scale, figures, over_assumptions, over_cases
from probe.advice.model import Advice, Note, OptionAdvice
from probe.advice.padded import fitted, with_attenuator
from probe.advice.quantity import Quantity, from_draws
from probe.advice.rules import Case, Finding, Verdict, condition, judge, severity
from probe.advice.sampled import Sampled, completions, forget, sample
from probe.advice.solve import Response, solve_option
from probe.advice.subject import Device, Facts, SideFacts, device_of, side_of
from probe.advice.wiring import OPTIONS, Option
from probe.advice.words import TAKES
from probe.errors import BadInput
from probe.facts.source import Source

Floats = NDArray[np.float64]

BALANCED_CIRCUITS: tuple[Circuit, ...] = ("difference-amplifier", "buffered", "transformer")

BY_ID = {option.id: option for option in OPTIONS}


@dataclass(frozen=True)
class _Operating:
    """Where the drive stands, for levels and for what protects, with the words for both."""

    volts: float | None
    words: str
    maximum_words: str


@dataclass(frozen=True)
class _Reference:
    """The link levels are compared with: an option into an input, or only a convention."""

    kind: str
    option: Option | None
    socket: Input | None
    words: str


def advise(facts: Facts, sources: Mapping[str, Source], destination: Destination) -> Advice:
    """Return the advice for connecting the measured device to ``destination``.

    Parameters
    ----------
    facts
        A ``probe-facts/1`` document.
    sources
        The identified stage of each side (``left``, ``right``, ``mono``) that has one.

    Raises
    ------
    BadInput
        The facts are not what the format says.
    """
    device, sides = _subject(facts)
    operating = _operating(device, destination)
    refused = refusal(device, sides)
    options: list[OptionAdvice] = []
    cautions: list[Note] = [*refused, *simulated(facts)]
    if not refused:
        for side in sides:
            if side.name in sources:
                desk = _Desk(device, side, sources[side.name], destination, operating)
                options += _side_options(desk)
        cautions += _unmeasured(sides, sources)
        cautions += general_cautions(device, sides, destination, [o.option for o in options])
    choices = choose(options, destination)
    return Advice(
        device=device.name,
        destination=destination.name or "the destination",
        operating=operating.words,
        wanted_gain_db=destination.wanted_gain_db,
        options=mark(options, choices),
        choices=choices,
        cautions=tuple(cautions),
    )


def _subject(facts: Facts) -> tuple[Device, list[SideFacts]]:
    try:
        return device_of(facts), [side_of(facts, name) for name in facts["sides"]]
    except (AttributeError, KeyError, TypeError, ValueError) as error:
        what = f"{type(error).__name__} {error}"[:80]
        raise BadInput(
            f"facts: damaged or not complete ({what}); write them again with probe analyse"
        ) from error


def _unmeasured(sides: Sequence[SideFacts], sources: Mapping[str, Source]) -> list[Note]:
    """Say of each side without a source that nothing can be advised for it."""
    silent = [side.name for side in sides if side.name not in sources]
    if sides and not silent:
        return []
    names = ", ".join(silent) or "any side"
    says = f"No take of {names} has the device playing: nothing can be told. Record an open take."
    return [Note("nothing-measured", says)]


def allowed(device: Device, socket: Input) -> list[Option]:
    """Return the options that the connectors of both ends allow; none into a digital socket."""
    return [o for o in OPTIONS if o.from_ in device.connectors and o.to == socket.connector]


def _operating(device: Device, destination: Destination) -> _Operating:
    if destination.operating_volts is not None:
        volts = destination.operating_volts
        return _Operating(volts, f"at the declared {volts:g} V", f"at the declared {volts:g} V")
    if device.full_output_volts is not None:
        volts = device.full_output_volts
        words = f"at the device's full output of {volts:g} V"
        return _Operating(volts, words, words)
    assumed = limit.ASSUMED_MAXIMUM_VOLTS
    if "xlr" not in device.connectors:
        assumed = limit.ASSUMED_SINGLE_ENDED_MAXIMUM_VOLTS
    return _Operating(
        None, "at the measured level", f"at an assumed {assumed:g} V (nothing declared)"
    )


class _Desk:
    """Everything that stays the same while one side is advised on; solves nothing twice."""

    def __init__(
        self,
        device: Device,
        side: SideFacts,
        source: Source,
        destination: Destination,
        operating: _Operating,
    ) -> None:
        self.device = device
        self.side = side
        self.destination = destination
        self.operating = operating
        self.sampled = sample(source)
        for leg in side.bounded:
            self.sampled = forget(self.sampled, leg)
        self._corners: dict[str, tuple[Sampled, ...]] = {}
        self._responses: dict[tuple[object, ...], Response] = {}
        self._figures: dict[tuple[object, ...], Figures] = {}

    def corners(self, kind: str) -> tuple[Sampled, ...]:
        """Return the corners of what was not measured, if the stage is of ``kind``."""
        if kind not in self._corners:
            self._corners[kind] = completions(
                self.sampled, kind, self.side.recorder_ohm, exchanged=self.side.exchanged
            )
        return self._corners[kind]

    def respond(
        self, corner: Sampled, option: Option, socket: Input, circuit: Circuit, mismatch: float
    ) -> Response:
        """Solve one option on one corner."""
        key = (id(corner), option, socket, circuit, mismatch)
        if key not in self._responses:
            cable = self.destination.cable
            self._responses[key] = solve_option(option, socket, circuit, mismatch, cable, corner)
        return self._responses[key]

    def figures(
        self,
        corner: Sampled,
        reference: _Reference,
        option: Option,
        socket: Input,
        circuit: Circuit,
        mismatch: float,
        *,
        sensing: bool,
    ) -> Figures:
        """Return the figures of one option on one corner; ``sensing``: with the tie's change."""
        key = (id(corner), option, socket, circuit, mismatch, sensing)
        if key not in self._figures:
            response = self.respond(corner, option, socket, circuit, mismatch)
            tied = None
            if sensing:
                instead = BY_ID["xlr-to-rca/pin-3-tied-at-source"]
                tied = self.respond(corner, instead, socket, circuit, mismatch)
            self._figures[key] = figures(
                response,
                _scale(corner, self.device, self.operating, self.side.live_leg),
                self._against(corner, reference, response, option, socket, circuit, mismatch),
                socket.sensitivity_volts,
                tied,
            )
        return self._figures[key]

    def _against(
        self,
        corner: Sampled,
        reference: _Reference,
        response: Response,
        option: Option,
        socket: Input,
        circuit: Circuit,
        mismatch: float,
    ) -> Against | None:
        """Return the level of the reference link on the same corner."""
        at = corner.at
        if reference.option is None or reference.socket is None:
            share = 0.5 if option.from_ == "xlr" else 1.0
            level = np.abs(response.open_level[:, at]) * share
            return Against(level, 1.0) if np.isfinite(level[0]) else None
        other = reference.socket
        if other is not socket:
            circuit, mismatch = _circuits(other)[0], 0.0
        link = self.respond(corner, reference.option, other, circuit, mismatch)
        level = np.abs(link.level[:, at])
        if not np.isfinite(level[0]):
            return None
        return Against(level, _sensitivity_ratio(other, socket))


def _side_options(desk: _Desk) -> list[OptionAdvice]:
    found = []
    for socket in desk.destination.inputs:
        reference = _reference(desk.device, desk.destination, socket)
        for option in fitted(allowed(desk.device, socket), desk.destination):
            judged = partial(_judged, desk, reference, socket)
            found.append(with_attenuator(judged(option), socket, judged, desk.destination))
    return found


def _judged(desk: _Desk, reference: _Reference, socket: Input, option: Option) -> OptionAdvice:
    cases = [
        _case(desk, reference, option, socket, kind, circuit)
        for kind in desk.side.stage.possible
        for circuit in _circuits(socket)
    ]
    return _compiled(cases, desk.side, reference, desk.operating)


def _circuits(socket: Input) -> tuple[Circuit, ...]:
    if socket.receiver != "balanced":
        return ("unknown",)
    return BALANCED_CIRCUITS if socket.circuit == "unknown" else (socket.circuit,)


def _reference(device: Device, destination: Destination, socket: Input) -> _Reference:
    """Return the RCA link into the same box; else its native XLR link; else a convention."""
    for connector, kind, words in (
        ("rca", "rca-link", "the RCA link"),
        ("xlr", "xlr-link", "the native XLR link"),
    ):
        if connector in device.connectors:
            for other in (socket, *destination.inputs):
                if other.box == socket.box and other.connector == connector:
                    return _Reference(kind, BY_ID[f"{connector}-to-{connector}"], other, words)
    if "xlr" in device.connectors:
        return _Reference("none", None, None, "half the balanced level (there is no RCA link)")
    return _Reference("none", None, None, "the open RCA output (there is no native link)")


def _case(
    desk: _Desk,
    reference: _Reference,
    option: Option,
    socket: Input,
    kind: str,
    circuit: Circuit,
) -> Case:
    corners = desk.corners(kind)
    sensing = kind == "ground-sensing" and option.id == "xlr-to-rca/pin-3-open"
    parts = [
        desk.figures(corner, reference, option, socket, circuit, mismatch, sensing=sensing)
        for corner in corners
        for mismatch in _mismatches(socket, option)
    ]
    return Case(
        option=option,
        socket=socket,
        circuit=circuit,
        kind=kind,
        figures=over_assumptions(parts),
        stage=desk.side.stage,
        cable=desk.destination.cable,
        maximum_words=desk.operating.maximum_words,
        reference_words=reference.words,
        settles=_settles(option, desk.side, desk.sampled),
        sense_ohm=_sense(desk.sampled, 0 if desk.side.exchanged else 1),
        assumed=_assumed(option, corners),
        load_ohm=desk.device.minimum_load_ohm,
    )


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


def _sensitivity_ratio(reference: Input, socket: Input) -> float | None:
    if reference is socket:
        return 1.0
    if reference.sensitivity_volts is None or socket.sensitivity_volts is None:
        return None
    return reference.sensitivity_volts / socket.sensitivity_volts


CANNOT_CARRY = "the level between the legs was not measured, so the declared one cannot be carried"
IN_PHASE_SHARE = 0.05
"""Differential level over the larger leg, below which the legs cancel (a fault) and the larger
leg is taken as the level instead: even a floating stage far off balance stays above 0.15."""


def _scale(
    corner: Sampled, device: Device, operating: _Operating, live_leg: int | None = None
) -> Scale:
    """Return the factors from the measured drive to the operating point and to the maximum.

    A declared level is what it is: each draw is scaled to it by its own level. ``live_leg``: the
    leg that carries it alone, where the other one only picks it up.
    """
    differential = np.abs(corner.voc[:, corner.at, 0])
    balanced = "xlr" in device.connectors
    assumed = limit.ASSUMED_MAXIMUM_VOLTS
    driven = np.abs(corner.leg_voc[:, corner.at, live_leg or 0])
    if balanced and live_leg is not None and np.isfinite(driven[0]):
        base, volts = driven, operating.volts
    elif balanced and np.isfinite(differential[0]):
        largest = np.max(np.abs(corner.leg_voc[:, corner.at, :2]), axis=1)
        base = largest if differential[0] < IN_PHASE_SHARE * largest[0] else differential
        volts = operating.volts
    else:
        base = np.abs(corner.leg_voc[:, corner.at, 2])
        volts = None if balanced else operating.volts
        assumed = assumed if balanced else limit.ASSUMED_SINGLE_ENDED_MAXIMUM_VOLTS
    if not np.isfinite(base[0]) or base[0] <= 0.0:
        return Scale(None, np.ones(1))
    maximum = operating.volts or assumed
    return Scale(None if volts is None else volts / base, maximum / base)


def _settles(option: Option, side: SideFacts, sampled: Sampled) -> str:
    """Return in words the take that would tell what this option rests on."""
    at, stage = sampled.at, side.stage
    if option.from_ == "rca":
        if np.isnan(sampled.leg_voc[0, at, 2]):
            return TAKES["single-ended"]
        if np.isnan(sampled.leg_z[0, at, 2, 2]):
            return "a take of the RCA output with a resistor on it"
        return TAKES["second-open"]
    if stage.next_take is not None:
        return TAKES.get(stage.next_take, f"the take {stage.next_take}")
    if side.beyond:
        return f"{TAKES['load-across']}, or a closer figure of the recorder's input impedance,"
    if np.isnan(sampled.leg_z[0, at, 0, 0]):
        return TAKES["load-hot"]
    if np.isnan(sampled.leg_z[0, at, 1, 1]):
        return TAKES["inject-cold" if stage.driven_legs == "one-leg" else "load-cold"]
    if np.isnan(sampled.z[0, at, 0, 0]):
        return TAKES["load-across"]
    return TAKES["second-open"]


def _sense(sampled: Sampled, leg: int) -> Quantity | None:
    ohm = np.abs(sampled.leg_z[:, sampled.at, leg, leg])
    return from_draws(ohm, "ohm", float(sampled.hz[sampled.at]))


def _compiled(
    cases: Sequence[Case], side: SideFacts, reference: _Reference, operating: _Operating
) -> OptionAdvice:
    """Put the cases of one option together: the worst verdict, and where each reason holds."""
    first = cases[0]
    found = _gathered(cases)
    verdict: Verdict = max((f for f in found), key=severity).verdict if found else "works"
    ordered = sorted(found, key=severity, reverse=True)
    total = over_cases([c.figures for c in cases])
    reasons = [f.message for f in ordered]
    reasons += dict.fromkeys(f"assumed: {words}" for case in cases for words in case.assumed)
    reasons += _unknown(total, reference, operating)
    return OptionAdvice(
        option=first.option,
        side=side.name,
        box=first.socket.box,
        socket=first.socket.name,
        pin_3=_pin_3(first),
        figures=total,
        verdict=verdict,
        hazards=tuple(Note(f.code, f.message) for f in ordered if f.hazard),
        reasons=tuple(reasons),
        reference=reference.kind,
    )


def _gathered(cases: Sequence[Case]) -> list[Finding]:
    """Return each finding once, with the condition it holds under where not all cases have it."""
    kinds = len({c.kind for c in cases})
    circuits = len({c.circuit for c in cases})
    by_rule: dict[tuple[str, str], list[tuple[Case, Finding]]] = {}
    for case in cases:
        for finding in judge(case):
            by_rule.setdefault((finding.code, finding.verdict), []).append((case, finding))
    found = []
    for held in by_rule.values():
        case, finding = held[0]
        if len(held) < len(cases):
            prefix = _conditions([c for c, _ in held], kinds, circuits)
            finding = Finding(finding.verdict, finding.code, prefix + finding.message,
                              finding.hazard, finding.doubt)  # fmt: skip
        found.append(finding)
    return found


def _conditions(held: Sequence[Case], kinds: int, circuits: int) -> str:
    """Name the cases in which a finding holds, by what tells them from the rest."""
    by_kind = len({c.kind for c in held}) < kinds
    by_circuit = len({c.circuit for c in held}) < circuits
    told: dict[tuple[str, str], Case] = {}
    for case in held:
        told.setdefault((case.kind if by_kind else "", case.circuit if by_circuit else ""), case)
    return condition(list(told.values()), by_kind=by_kind, by_circuit=by_circuit)


def _pin_3(case: Case) -> str:
    if case.option.id == "xlr-to-xlr" and case.socket.pin_3 != "input":
        words = {"ground": "tied-inside-destination", "open": "open-inside-destination"}
        return words[case.socket.pin_3]
    return case.option.pin_3


def _unknown(total: Figures, reference: _Reference, operating: _Operating) -> list[str]:
    """Return what is missing from the figures, and why."""
    said = []
    if reference.kind == "xlr-link":
        said.append("there is no RCA link: compared with the native XLR link")
    elif reference.kind == "none":
        said.append(f"no comparison with an RCA link; judged against {reference.words}")
    if total.level is not None:
        carried = total.level.note is None
        if operating.volts is None:
            said.append("levels are at the measured drive; no operating level is declared")
        elif not carried:
            said.append(f"levels are at the measured drive: {CANNOT_CARRY}")
        if total.loudness_vs_reference_db is None and reference.kind != "none":
            said.append("loudness is not known: sensitivity_v of both inputs is needed")
        if total.full_output_margin_db is None:
            missing = "no operating level is declared" if operating.volts is None else (
                "no sensitivity_v" if carried else CANNOT_CARRY
            )  # fmt: skip
            said.append(f"whether it reaches full output is not known: {missing}")
    said.append("hum, noise and headroom are not computed")
    return said
