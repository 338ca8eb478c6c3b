"""What is never done, what is avoided and what works: one small function for each rule.

A rule sees one `Case`: an option into an input, for one kind the stage may be and one circuit
the input may be. Limits stand in `thresholds`; a limit inside the 95 % interval gives
``cannot-tell`` and what would settle it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from math import ceil

from probe.advice import thresholds as limit
from probe.advice.case import Case, Finding, at_most, compare
from probe.advice.destination import Input
from probe.advice.loads import LOAD_RULES
from probe.advice.parts import AS_GOOD, that_stands
from probe.advice.quiet import QUIET_RULES
from probe.advice.too_much import excess, overload
from probe.advice.wiring import Option
from probe.advice.words import (
    CHECK_RCA,
    CIRCUITS,
    FAULTS,
    KINDS,
    ONLY_WITH_VOLUME,
    PINS,
    about,
    decibels,
    figure,
)
from probe.decibels import ratio_to_db
from probe.numbers import ohms


def judge(case: Case) -> tuple[Finding, ...]:
    """Return everything the rules say of ``case``."""
    return tuple(finding for rule in RULES for finding in rule(case))


def _is_open(case: Case) -> bool:
    """Pin 3 of the device is connected to nothing, by the plug or inside the destination."""
    if case.option.from_ != "xlr":
        return False
    inside = case.option.id == "xlr-to-xlr" and case.socket.pin_3 == "open"
    return case.option.pin_3 == "open" or inside


def _is_tied_far(case: Case) -> bool:
    """Pin 3 of the device meets ground at the far end of its own conductor."""
    return case.option.pin_3 != "tied-at-source" and _joins_pin_3(case.option, case.socket)


def _joins_pin_3(option: Option, socket: Input) -> bool:
    """Tell whether a lead joins pin 3 of the XLR output to ground at either of its ends."""
    if option.from_ != "xlr":
        return False
    inside = option.id == "xlr-to-xlr" and socket.pin_3 == "ground"
    return option.pin_3 in ("tied-at-source", "tied-at-destination") or inside


def _is_tied_near(case: Case) -> bool:
    return case.option.from_ == "xlr" and case.option.pin_3 == "tied-at-source"


def _level_unknown(case: Case) -> Iterator[Finding]:
    if case.figures.level is None:
        lower = ""
        if case.option.from_ in case.stage.clipped:
            lower = ", made at a lower level than where the output was seen clipping,"
        yield Finding(
            "cannot-tell",
            "not-measured",
            f"the level is not known from the takes made so far: {case.settles}{lower} would tell",
            doubt="never",
        )


def _signal_lost(case: Case) -> Iterator[Finding]:
    """Rule 4: found by the solve, whatever the kind."""
    worst = case.figures.connection_loss_anywhere
    if worst is not None:
        yield from compare(
            case, worst, limit.LOST_IN_BAND_DB, "never", "signal-lost",
            f"{decibels(worst)} against 1 kHz is lost where it is most, between 20 Hz and 20 kHz",
        )  # fmt: skip
    versus = case.figures.level_vs_reference_db
    if versus is not None and case.option.pad is None:  # what a pad takes off is meant
        below = -versus
        yield from compare(
            case, below, limit.LOST_LEVEL_DB, "never", "level-lost",
            f"{decibels(below)} below {case.reference_words}",
        )  # fmt: skip


def _tie_current(case: Case) -> Iterator[Finding]:
    """Rules 3 and 6."""
    current = case.figures.tie_current
    if current is None:
        return
    if case.tied_allowed and case.kind != "differential":
        yield Finding("works", "tie-stated", "its maker states what pin 2 gives with pin 3 tied, "
                      "and it is the most that comes")  # fmt: skip
        return
    flow = f"{at_most(case, current)} peak flow"
    for most in (limit.TIE_AVOID_AMPERE, limit.TIE_NEVER_AMPERE):
        if current.low <= most < current.high:
            flow = f"more than {most * 1e3:g} mA peak may flow"
    says = f"{flow} in the tied pin 3 {case.maximum_words}"
    found = list(compare(case, current, limit.TIE_NEVER_AMPERE, "never", "tie-current",
                          f"{says}, more than common output amplifiers deliver"))  # fmt: skip
    if not found:
        found = list(compare(case, current, limit.TIE_AVOID_AMPERE, "avoid", "tie-current",
                              f"{says}: hard work for a line output"))  # fmt: skip
    yield from found
    held = case.kind == "differential" and not case.stage.joined
    if held and all(f.verdict == "cannot-tell" for f in found):
        yield Finding(
            "avoid",
            "tie-pointless",
            "the legs are separate: tying pin 3 adds nothing to pin 2 and makes the cold "
            "amplifier work into a short circuit",
            hazard=True,
        )


def _loss(case: Case) -> Iterator[Finding]:
    """Rule 7."""
    figures = case.figures
    if case.socket.role == "subwoofer":
        if figures.connection_loss_bass is not None:
            yield from compare(
                case, figures.connection_loss_bass, limit.LOSS_AVOID_DB, "avoid", "bass-loss",
                f"{decibels(figures.connection_loss_bass)} against 1 kHz is lost where it is most, "
                "between 20 and 200 Hz",
            )  # fmt: skip
        return
    for loss, where in (
        (figures.connection_loss_at_20_hz, "20 Hz"),
        (figures.connection_loss_at_20_khz, "20 kHz"),
    ):
        if loss is not None:
            yield from compare(
                case, loss, limit.LOSS_AVOID_DB, "avoid", "loss",
                f"{decibels(loss)} is lost at {where}",
            )  # fmt: skip
        elif figures.level is not None:
            yield Finding("works", "loss-unknown", f"the loss at {where} is not known: no tone "
                          "was measured within a third of an octave of it")  # fmt: skip


def _rise(case: Case) -> Iterator[Finding]:
    """Mind what comes too strong; the limit is that of a loss."""
    figures = case.figures
    for loss, where in (
        (figures.connection_loss_at_20_hz, "20 Hz"),
        (figures.connection_loss_at_20_khz, "20 kHz"),
    ):
        if loss is not None and -loss.low > limit.LOSS_AVOID_DB:
            yield Finding("works", "response-rise", f"{where} comes {decibels(-loss)} too strong",
                          hazard=True)  # fmt: skip


def _ground_sensing(case: Case) -> Iterator[Finding]:
    """Rules 5 and 12."""
    if case.kind != "ground-sensing":
        return
    if _is_tied_far(case):
        yield Finding("works", "sense-used", "pin 3 listens to the destination's ground, which is "
                      "what a ground-sensing output is for")  # fmt: skip
    if not _is_open(case):
        return
    found: list[Finding] = []
    if case.sense_ohm is not None:
        found += compare(
            case, case.sense_ohm, limit.SENSE_NEVER_OHM, "never", "sense-open",
            f"the sense pin left open has {ohms(case.sense_ohm.value)} and picks up hum",
        )  # fmt: skip
    change = case.figures.change_when_tied_db
    if change is not None:
        found += compare(
            case, change, limit.SENSE_CHANGE_NEVER_DB, "never", "sense-open",
            f"the level changes by {decibels(change)} with the sense pin left open",
        )  # fmt: skip
    yield from found
    yield Finding("avoid", "sense-unused", "pin 3 is a sense input: left open it works without "
                  "its sensing of the destination's ground", hazard=True)  # fmt: skip


def _electronically_floating(case: Case) -> Iterator[Finding]:
    """Rule 10."""
    if case.kind != "electronically-floating":
        return
    if _is_open(case):
        yield Finding("avoid", "floating-open", "a floating stage with pin 3 open gives a level "
                      "that rests on part tolerances, from its high common-mode impedance",
                      hazard=True)  # fmt: skip
    if _is_tied_far(case):
        yield Finding(
            "avoid",
            "instability",
            "a cross-coupled stage tied at the far end of a lead "
            "may become unstable (published); tie it at the source",
            hazard=True,
        )
    if _is_tied_near(case):
        yield Finding("works", "tied-right", "tied at the source is the published way to unbalance "
                      "a cross-coupled stage: the full level moves to pin 2")  # fmt: skip
    by_another = case.option.from_ == "xlr" and any(
        _joins_pin_3(option, socket) for option, socket in case.beside
    )
    own = _is_tied_near(case) or _is_tied_far(case)
    if own or by_another:
        says = (
            "pin 2 must swing the whole level by itself: it clips about 6 dB earlier than the pair"
        )
        if not own:
            says = f"another box's lead joins pin 3 of this output to ground: {says}"
        yield from _one_leg_alone(case, says)


A_HAIR_DB = 0.05
"""Twice the voltage is 6 dB to anybody: 6.02 are not rounded up."""


def _one_leg_alone(case: Case, says: str) -> Iterator[Finding]:
    """Judge a leg that swings the whole level by what is played: nothing turns a player down.

    What the pair gives at most, stated or measured, each leg has half of; the stated full output
    merely is taken for it.
    """
    clips, level = case.figures.clips_at, case.figures.level
    if clips is None or level is None or level.note is not None or clips.value >= level.value:
        if not case.tied_stated:
            yield Finding("works", "clips-earlier", says, hazard=True)
        return
    perhaps = clips.note is not None or clips.bound is not None or clips.high >= level.low
    bends = f"{says}, {'perhaps ' * perhaps}from {about(clips)} on"
    tells = "" if case.tied_stated else "its maker knows the most of one leg"
    if not case.no_volume:
        down = ceil(float(ratio_to_db(level.value / clips.value)) - A_HAIR_DB)
        none = "" if case.own_volume else "; where it has none, loud passages may distort"
        says = f"{bends}: keep the device's own volume {down} dB below full or lower{none}"
        yield Finding("works", "clips-earlier", says + f" ({tells})" * bool(tells), hazard=True)
        return
    played = f"{bends}, and {figure(level)} are played: loud passages"
    if perhaps:
        tells = ", and ".join(filter(None, (tells, "a trial with loud music tells")))
        yield Finding("cannot-tell", "clips-played", f"{played} may distort: {tells}", hazard=True,
                      doubt="avoid")  # fmt: skip
    else:
        yield Finding("avoid", "clips-played", f"{played} distort", hazard=True)


def _transformer_output(case: Case) -> Iterator[Finding]:
    """Rule 15."""
    if case.kind != "transformer-coupled":
        return
    if _is_tied_far(case):
        yield Finding("works", "winding-return", "pin 3 is the return of the winding; joined at "
                      "the destination it keeps ground currents out of the signal")  # fmt: skip
    if _is_tied_near(case):
        yield Finding("works", "winding-return", "pin 3 is the return of the winding; if hum is "
                      "heard, join it at the destination instead")  # fmt: skip


def _separate_legs(case: Case) -> Iterator[Finding]:
    """Rules 13 and 14."""
    if case.kind == "differential" and case.option.id == "xlr-to-rca/pin-3-open":
        yield Finding("works", "half-level", "pin 2 alone carries half the balanced level, which "
                      "is usually what the RCA output gives with fewer parts")  # fmt: skip
    if case.kind != "impedance-balanced":
        return
    if case.option.id == "xlr-to-xlr" and case.socket.pin_3 == "input":
        yield Finding("works", "impedance-balance", "a silent pin 3 of equal impedance rejects "
                      "ground noise as well as a driven pair would")  # fmt: skip
    if (
        case.option.from_ == "xlr"
        and case.option.to == "rca"
        and case.option.pin_3 != "transformer"
    ):
        yield Finding("works", "silent-cold", "pin 3 is silent: open and tied give the same level")


def _rca_into_balanced(case: Case) -> Iterator[Finding]:
    """Rules 11 and 16."""
    option, socket = case.option, case.socket
    if option.to != "xlr" or socket.pin_3 != "input":
        return
    inside = option.id == "xlr-to-xlr" and case.kind == "pin-3-unconnected"
    if (option.pin_3 == "open" or inside) and socket.receiver == "balanced":
        if case.circuit == "transformer":
            yield Finding("never", "pin-3-open", "an input transformer with one end open passes "
                          "next to nothing", hazard=True)  # fmt: skip
        elif case.circuit == "difference-amplifier":
            yield Finding("avoid", "pin-3-open", "a difference amplifier with pin 3 open loses "
                          "half the level and picks up noise", hazard=True)  # fmt: skip
        else:
            yield Finding("works", "pin-3-open", "this input buffers each leg, so pin 3 may stay "
                          "open; joined it is quieter")  # fmt: skip
    if option.from_ == "rca" and option.pin_3 == "tied-at-source":
        yield Finding("works", "three-conductor", "the balanced input hears the source's own "
                      "ground on pin 3 and rejects what differs")  # fmt: skip


def _one_sided(case: Case) -> Iterator[Finding]:
    """Rule 17."""
    if not case.socket.both_legs_required or case.option.to != "xlr":
        return
    single = case.option.from_ == "rca" or case.one_leg
    if single and case.option.pin_3 != "transformer":
        yield Finding("works", "one-half-undriven", "this input needs a leg for each half: a "
                      "single-ended signal drives them with half the level each, and the maximum "
                      "output is 6 dB lower", hazard=True)  # fmt: skip


def _full_output(case: Case) -> Iterator[Finding]:
    """Promise full output by the unfavourable end alone: a volume control makes up so much."""
    margin = case.figures.full_output_margin_db
    if margin is None or case.option.pad is not None:  # what a pad takes off is meant
        return
    if (margin.note or "").startswith(ONLY_WITH_VOLUME):  # every way hangs on it alike
        return
    if margin.low < -limit.VOLUME_MAKES_UP_DB and margin.high >= 0.0:
        says = f"full output may be missed by up to {-margin.low:.1f} dB, or reached"
        yield Finding("cannot-tell", "full-output-open", f"{says}: {case.settles} would settle it",
                      hazard=True, doubt="avoid")  # fmt: skip


def _saturation(case: Case) -> Iterator[Finding]:
    """Judge the core at the level that is used: full output, or what is said to be played.

    What the device could give beyond it is said as that: nobody listens there.
    """
    most, limit_volts = case.figures.core_20_hz_at_maximum, case.option.part.volts_at_20_hz
    if most is None or most.high <= AS_GOOD * limit_volts:  # no part is known to more digits
        return
    which = case.option.part.name or "an ordinary one"
    beyond = f"{which} distorts above {limit_volts:g} V there"
    clean = "; clean with the volume of the device set for the input's full output"
    told = f"{at_most(case, most)} at 20 Hz reach the transformer {case.maximum_words}"
    full = case.figures.core_20_hz_at_full_output
    if case.never_turned_up:
        told = f"{figure(most)} at 20 Hz reach the transformer"
    comes = most.high if case.most_comes or full is None else min(full.high, most.high)
    needed = that_stands(case.option.part, most.high, comes).volts_at_20_hz
    stated = case.level_declared and not case.maximum_assumed
    if needed > limit_volts and (stated or full is not None):
        todo = "needed" if case.option.part.of_shelf else "to be ordered"  # another may lie there
        beyond = f"{which} takes {limit_volts:g} V, so one of {needed:g} V is {todo}"
        clean = ", unless the volume of the device stays at the input's full output"
    if full is None or case.level_fixed or case.never_turned_up or full.low > most.high:
        yield Finding("works", "saturation", f"{told}; {beyond}", hazard=True)
    elif full.high > AS_GOOD * limit_volts:
        yield Finding("works", "saturation", f"{figure(full)} at 20 Hz reach the transformer at "
                      f"the input's full output; {beyond}", hazard=True)  # fmt: skip
    else:
        yield Finding("works", "saturation-beyond-full-output",
                      f"{told}: {beyond}{clean} ({about(full)})", hazard=True)  # fmt: skip


def _isolating_transformer(case: Case) -> Iterator[Finding]:
    if case.option.pin_3 != "transformer":
        return
    yield from _saturation(case)
    if not case.option.part.name:
        yield Finding("works", "generic-part", "solved with the data of an ordinary 1:1 isolating "
                      "transformer; the one used may differ")  # fmt: skip


def _direct_voltage(case: Case) -> Iterator[Finding]:
    """Rule 1, for what was metered on the terminals this option uses."""
    for terminal in case.option.terminals:
        direct = case.stage.direct_volts.get(terminal)
        if direct is not None and abs(direct) > limit.DIRECT_NEVER_VOLTS:
            yield Finding("never", "direct-voltage", f"{abs(direct):.2g} V direct voltage on the "
                          f"{terminal} terminal: no transformer and no direct coupling until the "
                          "device is repaired", hazard=True)  # fmt: skip
        elif direct is None and case.stage.direct_elsewhere:
            yield Finding("cannot-tell", "direct-voltage-not-metered", "another terminal of this "
                          f"device carries direct voltage, and {PINS[terminal]} was not metered: "
                          "meter it before anything is connected", hazard=True,
                          doubt="never")  # fmt: skip


def _faulty(case: Case) -> Iterator[Finding]:
    rca = case.option.from_ == "rca"
    if rca and case.stage.rca_doubted:
        yield Finding("cannot-tell", "output-silent", f"nothing was heard of the RCA output in a "
                      f"take: {CHECK_RCA}", hazard=True, doubt="never")  # fmt: skip
    found = case.stage.faults_of(case.option.from_)
    if found:
        names = ", ".join(FAULTS.get(f, f) for f in found)
        says = f"the balanced output has a fault ({names}): have it repaired first"
        if rca:
            says = f"the RCA output carried no signal when it was measured: {CHECK_RCA}"
        yield Finding("works", "stage-fault", says, hazard=True)


def _polarity(case: Case) -> Iterator[Finding]:
    if case.option.from_ == "xlr" and case.stage.polarity == "pin-3-hot":
        yield Finding("works", "polarity", "pin 3 is the hot one here: through this connection the "
                      "signal is upside down against the RCA output; treat both sides alike",
                      hazard=True)  # fmt: skip


def _seen_clipping(case: Case) -> Iterator[Finding]:
    """Mind an output that clipped while it was measured, and of which no maximum is known."""
    if case.option.from_ in case.stage.clipped:
        own = "RCA" if case.option.from_ == "rca" else "XLR"
        yield Finding("works", "output-clips", f"the {own} output was seen clipping while it was "
                      "measured, and how much it gives undistorted is not known: its maximum "
                      "measured would tell; until then listen for distortion with the device's "
                      "volume up", hazard=True)  # fmt: skip


def _long_run(case: Case) -> Iterator[Finding]:
    heard = case.figures.hum_heard
    solved = heard is not None and heard.worst in ("not", "close-by")  # the length is in it
    if case.cable.length_m > limit.LONG_RUN_METRES and not (case.option.balanced or solved):
        yield Finding("works", "long-run", f"{case.cable.length_m:g} m is long for a lead without "
                      "rejection of ground differences (keep below 3 m)", hazard=True)  # fmt: skip


def _corners(case: Case) -> Iterator[Finding]:
    high = case.figures.high_corner
    if high is not None and high.bound is None and high.low < 20000.0:
        yield Finding("works", "bandwidth", f"-3 dB at {figure(high)}")


RULES: tuple[Callable[[Case], Iterator[Finding]], ...] = (
    _level_unknown,
    _direct_voltage,
    _signal_lost,
    _tie_current,
    _ground_sensing,
    _electronically_floating,
    _rca_into_balanced,
    _loss,
    _rise,
    excess,
    _full_output,
    *LOAD_RULES,
    _seen_clipping,
    _faulty,
    _transformer_output,
    _separate_legs,
    _one_sided,
    _isolating_transformer,
    _polarity,
    _long_run,
    _corners,
    *QUIET_RULES,
    overload,  # last: resistors in the plug cure it, and of nothing else
)


def condition(held: Sequence[Case], *, by_kind: bool, by_circuit: bool) -> str:
    """Return "if ...: " naming the assumptions under which a finding holds."""
    said = []
    for case in held:
        parts = []
        if by_kind:
            parts.append(f"the stage is {KINDS.get(case.kind, case.kind)}")
        if by_circuit:
            parts.append(f"the input is a {CIRCUITS[case.circuit]}")
        if parts:
            said.append(" and ".join(parts))
    return f"if {', or if '.join(dict.fromkeys(said))}: " if said else ""
