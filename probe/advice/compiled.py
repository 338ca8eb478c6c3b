"""The cases of one option put together: the worst verdict, and where each reason holds."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from probe.advice import thresholds as limit
from probe.advice.case import Case, Finding, Verdict, severity
from probe.advice.desk import Desk, circuits_of, rejects_too_little
from probe.advice.destination import Input
from probe.advice.figures import Figures, over_assumptions, over_cases
from probe.advice.ground import unknown_words
from probe.advice.loads import load_on
from probe.advice.model import OptionAdvice
from probe.advice.note import Note
from probe.advice.operating import Operating, Reference, reference_of
from probe.advice.plain import because
from probe.advice.quantity import Quantity, worst
from probe.advice.rules import condition, judge
from probe.advice.solve import Link
from probe.advice.subject import SideFacts
from probe.advice.wiring import Option
from probe.advice.words import CIRCUITS

CANNOT_CARRY = "the level between the legs was not measured, so the declared one cannot be carried"


def judged(
    desk: Desk, socket: Input, option: Option, company: tuple[Link, ...] = ()
) -> OptionAdvice:
    """Solve and judge one option into one input, in the company of other leads."""
    reference = reference_of(desk.device, desk.destination, socket, desk.silent)

    def solved() -> OptionAdvice:
        cases = [
            desk.case(reference, option, socket, kind, circuit, company)
            for kind in desk.side.stage.possible
            for circuit in circuits_of(socket)
        ]
        found = _compiled(cases, desk.side, reference, desk.operating_for(option))
        if company and found.turn_down_db is not None:
            alone = judged(desk, socket, option).turn_down_db or 0.0
            cases = [replace(case, down_alone_db=alone) for case in cases]
            found = _compiled(cases, desk.side, reference, desk.operating_for(option))
        single = desk.device.one_channel or socket.role == "subwoofer"
        return replace(found, leads=1 if single else 2)

    cable = desk.destination.cable_of(socket, option.id)
    return desk.kept((socket, option, cable, company), reference, solved)


@dataclass(frozen=True)
class Judge:
    """Solves and judges any variant of an option into one input, by itself."""

    desk: Desk
    socket: Input

    def __call__(self, option: Option) -> OptionAdvice:
        """Return the variant solved and judged."""
        return judged(self.desk, self.socket, option)

    def most_level(self, option: Option) -> Quantity | None:
        """Return the level of a variant where the device gives its most, of its figures alone.

        A trial that only shows how much a resistor takes off needs no hum, no noise, no verdict.
        """
        desk, socket = self.desk, self.socket
        reference = reference_of(desk.device, desk.destination, socket, desk.silent)
        cases = [
            over_assumptions(
                [desk.most_level(t) for t in desk.trials(reference, option, socket, kind, circuit)]
            )
            for kind in desk.side.stage.possible
            for circuit in circuits_of(socket)
        ]
        return over_cases(cases).level_at_maximum


def _compiled(
    cases: Sequence[Case], side: SideFacts, reference: Reference, operating: Operating
) -> OptionAdvice:
    """Put the cases of one option together: the worst verdict, and where each reason holds."""
    first = cases[0]
    told = sorted(_gathered(cases), key=lambda pair: severity(pair[0]), reverse=True)
    if told and _settles_nothing(told[0][0], cases):
        told.sort(key=lambda pair: pair[0].verdict in ("avoid", "never"), reverse=True)
    ordered = [finding for finding, _ in told]
    verdict: Verdict = ordered[0].verdict if ordered else "works"
    total = over_cases([c.figures for c in cases])
    reasons = [f.message for f in ordered]
    reasons += dict.fromkeys(f"assumed: {words}" for case in cases for words in case.assumed)
    reasons += _assumed_of_input(first)
    reasons += _unknown(total, reference, operating)
    reasons += _not_quiet(total, first)
    return OptionAdvice(
        option=first.option,
        side=side.name,
        box=first.socket.box,
        socket=first.socket.name,
        pin_3=_pin_3(first),
        figures=total,
        verdict=verdict,
        hazards=tuple(
            Note(f.code, f.message, f.assumed, f.turn_down_db) for f in ordered if f.hazard
        ),
        reasons=tuple(reasons),
        reference=reference.kind,
        role=first.socket.role,
        operating=operating.words,
        because=because(*told[0]) if told else "",
        doubt=ordered[0].doubt if ordered else None,
        most_comes=first.most_comes,
        never_turned_up=first.never_turned_up,
        loses_at_most=all(f.code in LOSES for f in ordered if "never" in (f.verdict, f.doubt)),
        against=frozenset(f.code for f in ordered if f.verdict not in ("use", "works")),
        may_do=first.option.native and any(map(_has_nothing_against, cases)),
        works_into_ohm=load_on(first, between=True),
        single_ohm=first.single_ohm.value
        if first.option.from_ == "rca" and first.single_ohm
        else None,
    )


def _settles_nothing(first: Finding, cases: Sequence[Case]) -> bool:
    """Tell whether how much is lost is doubted of a way that something else surely speaks against.

    In each case, be it what it may: then there is nothing to be settled.
    """
    if first.verdict != "cannot-tell" or first.code not in LOSES:
        return False
    return all(any(f.verdict in ("avoid", "never") for f in judge(case)) for case in cases)


def _has_nothing_against(case: Case) -> bool:
    return all(f.verdict in ("use", "works") for f in judge(case))


def _gathered(cases: Sequence[Case]) -> list[tuple[Finding, Figures]]:
    """Return each finding once, with the figures of the cases that have it.

    The condition it holds under is said where not all cases have it.
    """
    kinds = len({c.kind for c in cases})
    circuits = len({c.circuit for c in cases})
    by_rule: dict[tuple[str, str], list[tuple[Case, Finding]]] = {}
    for case in cases:
        for finding in judge(case):
            by_rule.setdefault((finding.code, finding.verdict), []).append((case, finding))
    found = []
    for held in by_rule.values():
        case = held[0][0]
        figures = over_cases([c.figures for c, _ in held])
        finding = _over_all(held, figures, _circuit_settles(cases, held, by_rule))
        if len(held) < len(cases):
            prefix = _conditions([c for c, _ in held], kinds, circuits)
            finding = replace(finding, message=prefix + finding.message)
        harmless = finding.verdict == "never" and finding.code not in _HARMS
        perhaps = _only_perhaps({c.kind for c, _ in held}, case, kinds)
        if harmless and perhaps:
            tells = f"not to be done before that is ruled out: {case.settles} would tell"
        elif finding.verdict == "avoid" and finding.code in LOSES and perhaps:
            tells = f"{case.settles} would tell"
        elif finding.verdict == "never" and finding.code in LOSES and case.option.pin_3 != "open":
            tells = _circuit_tells(cases, held, by_rule)
        else:
            tells = ""
        if tells:
            says = f"{finding.message}; {tells}"
            due = finding.verdict
            finding = replace(finding, verdict="cannot-tell", doubt=due, message=says)
        found.append((finding, figures))
    return found


Held = Sequence[tuple[Case, Finding]]


def _over_all(held: Held, figures: Figures, circuit_settles: str) -> Finding:
    """Return a finding with the interval of all cases that have it, as the figures show it."""
    case, finding = held[0]
    if len(held) == 1 and not circuit_settles:
        return finding
    ends = zip(*(c.hum_by_ground for c, _ in held), strict=False)
    whole = replace(
        case,
        figures=figures,
        hum_by_ground=tuple(worst(one, "low") for one in ends),
        circuit_settles=circuit_settles,
    )
    again = judge(whole)
    same = (f for f in again if (f.code, f.verdict) == (finding.code, finding.verdict))
    return next(same, finding)


def _circuit_settles(
    cases: Sequence[Case], held: Held, by_rule: Mapping[tuple[str, str], Held]
) -> str:
    """Return what knowing the circuit of the input would settle: there are some without the doubt.

    Empty where there are none, or where the others are worse off.
    """
    free = _free_circuits(cases, held, by_rule) if held[0][1].verdict == "cannot-tell" else ""
    return f"the input's circuit ({free} would do: ask its maker), or else " if free else ""


def _free_circuits(
    cases: Sequence[Case], held: Held, by_rule: Mapping[tuple[str, str], Held]
) -> str:
    """Name the circuits of the input in which a finding does not hold, and nothing else either."""
    mine, kinds = {c.circuit for c, _ in held}, {c.kind for c, _ in held}
    against = {
        (c.kind, c.circuit)
        for (_, verdict), found in by_rule.items()
        if verdict in ("avoid", "never")
        for c, _ in found
    }
    free = dict.fromkeys(
        c.circuit
        for c in cases
        if c.circuit not in mine and c.kind in kinds and (c.kind, c.circuit) not in against
    )
    return " or ".join(f"a {CIRCUITS[c]}" for c in free)


def _only_perhaps(held: set[str], case: Case, kinds: int) -> bool:
    """Tell whether a finding rests on a kind that merely is possible, and not on the stated one."""
    return len(held) < kinds and case.stage.kind not in held


def _circuit_tells(
    cases: Sequence[Case], held: Held, by_rule: Mapping[tuple[str, str], Held]
) -> str:
    """Return what would tell of a signal that only some circuits of the input lose; else nothing.

    An input whose circuit nobody states may be each of them, and what is lost harms nothing. Not
    where anything else speaks against the way in all the others: no answer opens it then. Not
    asked of a plug that leaves pin 3 open itself: it costs nothing to join it there.
    """
    free = _free_circuits(cases, held, by_rule)
    return f"the input's circuit ({free} would do: ask its maker) would tell" if free else ""


_HARMS = frozenset({"tie-current", "direct-voltage"})
"""What can damage the device stays forbidden while it is possible; a signal lost harms nothing."""


LOSES = frozenset({"signal-lost", "level-lost", "pin-3-open"})
"""Where these are what may rule a way out, trying it costs music and nothing else."""


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


def _unknown(total: Figures, reference: Reference, operating: Operating) -> list[str]:
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
    return said


def _assumed_of_input(case: Case) -> list[str]:
    """Return what stands in for what the destination does not say, where hum rests on it."""
    said: list[str] = []
    socket = case.socket
    if case.figures.hum is None:
        return said
    if socket.receiver == "balanced" and socket.rejection_db is None and socket.pin_3 == "input":
        said.append(
            f"assumed: the input by itself rejects {limit.ASSUMED_REJECTION_DB:g} dB (no "
            "rejection_db)"
        )
    if socket.circuit == "unknown" and rejects_too_little(socket):
        said.append(
            f"assumed: the input is no transformer, which would reject more than the "
            f"{socket.rejection_db:g} dB stated"
        )
    if socket.ground.words:
        said.append(f"ground: {socket.ground.words}")
    if not socket.ground.source_known:
        behind = unknown_words(socket.ground)
        said.append(f"assumed: the ground difference stands behind {behind} (no source_ohm)")
    return said


def _not_quiet(total: Figures, case: Case) -> list[str]:
    """Return what is missing of hum, noise and headroom, and why."""
    said = []
    if total.level is None:
        return ["hum and noise are not computed: the level is not known"]
    if total.hum is None:
        said.append(
            "hum is not computed: how the boxes are earthed is not said (--ground, or [ground])"
            if not case.socket.ground.known
            else "hum is not computed: what it rests on was not measured at mains frequency"
        )
    if total.noise is None:
        lacks = "no idle take of the output it uses"
        if case.typed:
            lacks = "the noise of what it uses is not stated"
        said.append(f"noise is not computed: {lacks}")
    elif case.option.to in ("rca", "xlr"):
        said.append("the noise is the device's own; the destination adds its own, which is unknown")
    if total.headroom_db is None:
        missing = "no maximum of the device" if total.clips_at is None else "no sensitivity_v"
        said.append(f"headroom is not known: {missing}")
    return said
