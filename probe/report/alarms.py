"""What must be seen before anything else: live voltage, outputs that do not belong here, demos."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from probe.line_output import LINE_MOST_VOLTS, beyond_line, declared, doubts
from probe.numbers import number, write_number
from probe.report import words
from probe.report.document import entry_of, is_typed, listing, mapping
from probe.report.shown import Alarm
from probe.report.text import clean
from probe.simulated import SIMULATED, is_simulated

DO_NOT_CONNECT_VOLTS = 0.1
"""Direct voltage above which nothing is connected: it saturates transformers, and a
direct-coupled amplifier passes it on. Common practice, no source."""

SUSPECT_VOLTS = 2.0
"""Direct voltage above which the output is faulty or a bridged power stage. Common practice, no
source."""

_TERMINALS = {
    "hot": "pin 2",
    "cold": "pin 3",
    "single_ended": "the single-ended output",
}

_OUTPUTS = {
    "headphone": "This is a headphone output. Do not measure it here: its second terminal may be "
    "driven, and a recorder or lead that grounds it shorts two amplifiers together. Disconnect it "
    "and use the device's line output. No connection is advised for it.",
    "speaker": "This is a loudspeaker output. Do not measure it here: both terminals may be live, "
    "often at half the supply voltage, and grounding one is a short circuit. Disconnect it and use "
    "the device's line output. No connection is advised for it.",
}

_OUTPUTS_TYPED = {
    "headphone": "This is a headphone output: its second terminal may be driven, and a lead that "
    "grounds it shorts two amplifiers together. Use the device's line output. No connection is "
    "advised for it.",
    "speaker": "This is a loudspeaker output: both terminals may be live, often at half the supply "
    "voltage, and grounding one is a short circuit. Use the device's line output. No connection is "
    "advised for it.",
}
"""The same of an output that nobody has measured and nobody thinks of measuring."""

_UNDECLARED = (
    "Nobody has said so, and {why}. Disconnect it until that is known: both terminals of a "
    "headphone or loudspeaker output may be live, and a {grounds} that grounds one shorts "
    'an amplifier. Where its maker calls it a line output, write output = "line" below [device] '
    'in {file}, else "headphone" or "speaker", and {again} again. Until then no connection '
    "is advised for it."
)

_DECLARED = (
    "Declared as one, but {why}. Be sure that its maker calls it so: both terminals of a headphone "
    "or loudspeaker output may be live, and grounding one shorts an amplifier."
)

_BEYOND = (
    f"It gives {{volts}}; line outputs give {LINE_MOST_VOLTS:g} V at most, whatever they are "
    "called, and more is for loudspeakers. Disconnect it, and use the device's line output. No "
    "connection is advised for it."
)

_MEASURED = {"grounds": "recorder or lead", "file": "session.toml", "again": "analyse"}
_TYPED = {"grounds": "lead", "file": "the source file", "again": "ask"}
"""What stands between the sides of an output and the ground, and where it is declared."""

_LIKELY = (
    "What was plugged in which take is likely, not known: a draft's answers that nobody has "
    "checked. Kind and figures are right only if they are; see the warnings."
)

_SIMULATED = f"Everything here was {SIMULATED}. Do not use it to judge a device you own."


def alarms_before(facts: Mapping[str, Any]) -> tuple[Alarm, ...]:
    """Return what stands before the verdict, the most dangerous first."""
    return (*_output(facts), *_direct(facts, dangerous=True), *_simulated(facts), *_likely(facts))


def alarms_after(facts: Mapping[str, Any]) -> tuple[Alarm, ...]:
    """Return what stands right under the verdict."""
    return tuple(_direct(facts, dangerous=False))


def _output(facts: Mapping[str, Any]) -> Iterable[Alarm]:
    output = str(mapping(facts, "device").get("output") or "line")
    typed = is_typed(facts)
    if output in _OUTPUTS:
        name = {"headphone": "Headphone output", "speaker": "Loudspeaker output"}[output]
        yield Alarm("danger", name, (_OUTPUTS_TYPED if typed else _OUTPUTS)[output])
    volts = beyond_line(facts)
    if volts is not None:
        yield Alarm("danger", "No line output", _BEYOND.format(volts=write_number(volts, "V")))
        return
    why = ", and ".join(clean(said) for said in doubts(facts))
    if why and declared(facts):
        yield Alarm("remark", "Not like a line output", _DECLARED.format(why=why))
    elif why:
        yield Alarm(
            "danger",
            "Is this a line output?",
            _UNDECLARED.format(why=why, **(_TYPED if typed else _MEASURED)),
        )


def _direct(facts: Mapping[str, Any], *, dangerous: bool) -> Iterable[Alarm]:
    found = [(volts, where) for volts, where in _metered(facts) if _is(volts, dangerous)]
    if not found:
        return
    told = " and ".join(f"{write_number(volts, 'V')} on {where}" for volts, where in found)
    if dangerous:
        says = (
            f"{told}. Disconnect, and do not connect anything: suspect a fault or a bridged "
            "output stage. Have it looked at."
        )
    else:
        says = (
            f"{told}, above 0.1 V. Do not connect this output: a transformer would saturate, and "
            "a direct-coupled amplifier would pass it on. Have it looked at."
        )
    yield Alarm("danger", "Direct voltage", says)


def suspect(facts: Mapping[str, Any]) -> bool:
    """Tell whether any terminal carries so much direct voltage that a fault is to be suspected."""
    return any(abs(volts) > DO_NOT_CONNECT_VOLTS for volts, _ in _metered(facts))


SUSPECTED = "direct voltage metered: suspect a fault"
"""What is said in place of a clean bill."""


def _is(volts: float, dangerous: bool) -> bool:
    size = abs(volts)
    return size > SUSPECT_VOLTS if dangerous else DO_NOT_CONNECT_VOLTS < size <= SUSPECT_VOLTS


def _metered(facts: Mapping[str, Any]) -> Iterable[tuple[float, str]]:
    sides = mapping(facts, "sides")
    for key in sides:
        held = mapping(mapping(sides, key), "facts")
        whose = words.SIDES.get(key, clean(key, 20)).lower()
        for name, where in _TERMINALS.items():
            volts = number(entry_of(held, f"{name}_direct_voltage"))
            if volts is not None:
                yield volts, f"{where} ({whose})"


def _likely(facts: Mapping[str, Any]) -> Iterable[Alarm]:
    told = (w for w in listing(facts, "warnings") if isinstance(w, Mapping))
    if any(w.get("code") == "likely-answers" for w in told):
        yield Alarm("remark", "Not checked", _LIKELY)


def _simulated(facts: Mapping[str, Any]) -> Iterable[Alarm]:
    if is_simulated(facts.get("made")):
        yield Alarm("remark", "Simulated session", _SIMULATED)
