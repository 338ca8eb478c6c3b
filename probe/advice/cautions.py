"""Cautions that belong to connections, in plain words, and the cases in which nothing is advised.

They describe good practice; the electrical code of the place and the people licensed to work on
mains wiring come first.
"""

from __future__ import annotations

import re
from collections.abc import Sequence

from probe.advice import thresholds as limit
from probe.advice.at_odds import at_odds
from probe.advice.destination import Destination, Input
from probe.advice.model import OptionAdvice
from probe.advice.note import Note
from probe.advice.operating import most_volts
from probe.advice.parts import WORST_SOURCE_OHM
from probe.advice.subject import Device, Facts, SideFacts
from probe.advice.wiring import Option
from probe.advice.words import CHECK_RCA, FAULTS, PINS
from probe.line_output import LINE_MOST_VOLTS
from probe.numbers import plain, write_number
from probe.simulated import is_simulated

NO_ADAPTER = {
    "headphone": "A headphone output gets no adapter: its second terminal may be driven, and "
    "joining it to a ground shorts two amplifiers together. Use the device's line output.",
    "speaker": "A loudspeaker output gets no adapter: both terminals may be live, often at half "
    "the supply voltage, and grounding one is a short circuit. Use the device's line output.",
}

DIGITAL = "Never join an analogue output to a digital socket or the reverse, whatever plug fits."

VOLUME = "Volume down, all off before leads are changed; amplifier on last, up slowly."

PHANTOM = "See that phantom power (48 V) is off: from an XLR input it reaches the output."

EARTH = "Never lift a protective mains earth against hum; wiring: licensed people only."

MAY_BE_TIED = (
    "electronically-floating",
    "transformer-coupled",
    "impedance-balanced",
    "ground-sensing",
    "unbalanced",
    "pin-3-unconnected",
)
"""Kinds on which a connection with pin 3 joined to pin 1 may be the right one, or harms nothing."""

TIE_AS_LISTED = (
    "Join pin 3 to pin 1 only as listed above, never just to try it: how the levels come out is "
    "calculated here."
)

TIE = (
    "Do not join pin 3 to pin 1 just to try it: on separately driven legs the cold amplifier then "
    "works into a short circuit. The figures here are calculated."
)

LINE_ONLY = "Line outputs only: the ground of headphone or loudspeaker ones may be live."

NOT_METERED = {
    "hot": "pin 2 against pin 1",
    "cold": "pin 3 against pin 1",
    "single-ended": "the RCA centre against its shell",
}
"""What the meter has to touch, by terminal."""


SIMULATED = "A simulated session: advice for an invented device, not for one you own."


def simulated(facts: Facts) -> tuple[Note, ...]:
    """Return the caution that nothing real was measured, where the recorder says so."""
    return (Note("simulated", SIMULATED),) if is_simulated(facts.get("made")) else ()


def seen_clipping(facts: Facts) -> tuple[Note, ...]:
    """Return which output clipped while it was measured, as a warning of the facts says."""
    return tuple(Note("output-clips", said) for said in _warned(facts, "output-clips"))


def unchecked(facts: Facts) -> tuple[Note, ...]:
    """Return that answers of a draft were never checked, as a warning of the facts says."""
    return tuple(Note("likely-answers", said) for said in _warned(facts, "likely-answers"))


def _warned(facts: Facts, code: str) -> list[str]:
    said = [w["message"] for w in facts.get("warnings") or () if w.get("code") == code]
    return [f"{message[0].upper()}{message[1:]}." for message in said]


TYPED = (
    "Nothing was measured: levels (to 5 %) and impedances (20 %, legs alike to 10 %) are from a "
    "data sheet; the worst of every kind that fits is kept."
)


TYPED_DIGITAL = (
    "Nothing was measured: the level of the digital output is the one typed from a data sheet, or "
    "where that is not stated what its interface has by the standard."
)


def typed(device: Device, destination: Destination) -> tuple[Note, ...]:
    """Return the caution that the device is described by hand, and what that was taken to mean."""
    if not device.typed:
        return ()
    outputs, inputs = device.connectors, [s.connector for s in destination.inputs]
    if not any({"rca", "xlr"} & set(ends) for ends in (outputs, inputs)):
        return (Note("typed", TYPED_DIGITAL),)
    taken = f" {device.taken_as}." if device.taken_as else ""
    return (Note("typed", TYPED + taken),)


def faulty(sides: Sequence[SideFacts], options: Sequence[Option]) -> tuple[Note, ...]:
    """Return which fault an output has on a side, where a connection would use it."""
    return tuple(
        Note("stage-fault", FAULTY[output].format(says="; ".join(
            f"{fault} ({', '.join(names)})" for fault, names in found.items())))
        for output in ("xlr", "rca")
        if any(o.from_ == output for o in options) and (found := _faults(sides, output))
    )  # fmt: skip


FAULTY = {
    "xlr": "The balanced output has a fault: {says}. Have it repaired first, then measure and "
    "ask again.",
    "rca": f"The RCA output has a fault: {{says}}. First {CHECK_RCA}; have it repaired where it "
    "stays so.",
}


def _faults(sides: Sequence[SideFacts], output: str) -> dict[str, list[str]]:
    found: dict[str, list[str]] = {}
    for side in sides:
        for fault in side.stage.faults_of(output):
            found.setdefault(FAULTS.get(fault, fault), []).append(side.name)
    return found


def load_refused(sides: Sequence[SideFacts], options: Sequence[Option]) -> tuple[Note, ...]:
    """Return which load an output that a connection uses did not drive while it was measured."""
    used = {option.from_ for option in options}
    found: dict[str, list[str]] = {}
    for side in sides:
        for one in side.stage.refused:
            if one.connector in used:
                said = f"{plain(write_number(one.ohm, 'ohm'))} {one.where}: {one.seen}"
                said = f"the {one.connector.upper()} output did not drive {said}"
                found.setdefault(said, []).append(side.name)
    return tuple(
        Note(
            "load-refused",
            f"While it was measured ({', '.join(names)}) {said}. What is "
            "said here holds for inputs of far more ohms.",
        )
        for said, names in found.items()
    )


def refusal(device: Device, sides: Sequence[SideFacts]) -> tuple[Note, ...]:
    """Return why no option at all is given, or nothing."""
    if device.output in NO_ADAPTER:
        return (Note(f"{device.output}-output", NO_ADAPTER[device.output]),)
    found = direct_voltage(sides)
    worst = max((abs(v) for s in sides for v in s.stage.direct_volts.values()), default=0.0)
    found = found if worst > limit.DIRECT_REFUSE_VOLTS else ()
    if device.beyond_line_volts is not None:
        says = NO_LINE.format(volts=_volts(device.beyond_line_volts))
        return (*found, Note("output-beyond-line", says))
    if device.unlike_line and not device.output_declared:
        return (*found, Note("output-undeclared", _unlike_line(device, UNDECLARED)))
    return found


def unlike_line(device: Device) -> tuple[Note, ...]:
    """Return the caution that what was declared as a line output does not look like one."""
    known = device.output_declared and device.beyond_line_volts is None
    if not (device.unlike_line and known):
        return ()
    return (Note("output-unlike-line", _unlike_line(device, DECLARED)),)


def _unlike_line(device: Device, says: str) -> str:
    why = ", and ".join(device.unlike_line)
    return says.format(why=why, Why=f"{why[0].upper()}{why[1:]}")


UNDECLARED = (
    "Connect nothing yet: is this a line output? {Why}. A headphone or loudspeaker output gets "
    "no adapter: both its terminals may be live, and grounding one shorts an amplifier. What its "
    "maker calls it has to be known first."
)

NO_LINE = (
    "Connect nothing: {volts} is no level of a line output, whatever its maker calls it. Those of "
    f"studios give 12.3 to 19.5 V at most (+24 to +28 dBu), none more than {LINE_MOST_VOLTS:g} V; "
    "lines for loudspeakers carry 25, 70 or 100 V and many watts, which overheat resistors in a "
    "plug and destroy an input. Use the device's line output."
)

DECLARED = (
    "Declared as a line output, but {why}. Be sure that its maker calls it one: both terminals of "
    "a headphone or loudspeaker output may be live, and grounding one shorts an amplifier."
)


def _volts(volts: float) -> str:
    return plain(write_number(volts, "V"))


def direct_voltage(sides: Sequence[SideFacts]) -> tuple[Note, ...]:
    """Return which output must not be connected for its direct voltage, with volts and pins."""
    found = [
        (terminal, volts, side.name)
        for side in sides
        for terminal, volts in side.stage.direct_volts.items()
        if abs(volts) > limit.DIRECT_NEVER_VOLTS
    ]
    if not found:
        return ()
    outputs = dict.fromkeys("RCA" if t == "single-ended" else "XLR" for t, _, _ in found)
    pins = ", ".join(
        f"{plain(write_number(volts, 'V'))} on {PINS[terminal]} ({side})"
        for terminal, volts, side in found
    )
    why = (
        "a fault or a bridged power output. Connect nothing; have it looked at."
        if max(abs(volts) for _, volts, _ in found) > limit.DIRECT_REFUSE_VOLTS
        else "above 0.1 V a transformer saturates, and a direct-coupled amplifier passes it on. "
        "Have it looked at."
    )
    says = f"Do not connect this output ({' and '.join(outputs)}): direct voltage, {pins}: {why}"
    return (Note("direct-voltage", says),)


def general_cautions(
    device: Device,
    sides: Sequence[SideFacts],
    destination: Destination,
    options: Sequence[Option],
) -> list[Note]:
    """Return what has to be said whatever is chosen."""
    found = [*_fitting(device, destination), *_digital(device, destination)]
    found += _unlikely(destination)
    found += direct_voltage(sides)
    if not options:
        return found
    found += faulty(sides, options)
    found += load_refused(sides, options)
    found += _not_metered(sides, options)
    if any(option.to == "xlr" for option in options):
        found.append(Note("phantom-power", PHANTOM))
    found.append(Note("volume-down", VOLUME))
    if any("tied" in option.pin_3 and option.from_ == "xlr" for option in options):
        listed = all(kind in MAY_BE_TIED for side in sides for kind in side.stage.possible)
        found.append(Note("pin-3-tie", TIE_AS_LISTED if listed else TIE))
    found.append(Note("mains-earth", EARTH))
    found.append(Note("line-outputs-only", LINE_ONLY))
    return found


FULL = (
    "{Device} turns nothing down: what it feeds needs a volume control, turned down first; a power "
    "amplifier without one plays at full loudness at once."
)
PERHAPS_FULL = (
    "See that {device} or what it feeds has a volume control, and turn it down first: with none it "
    "plays at full loudness at once."
)


def plays_full(device: Device, options: Sequence[OptionAdvice]) -> tuple[Note, ...]:
    """Return that an input may be driven near full output with nothing to turn the device down.

    Or to what nobody knows, where no sensitivity is stated.
    """
    margins = [o.figures.full_output_margin_db for o in options if o.verdict != "never"]
    loud = any(m is None or m.high > -limit.NEAR_FULL_DB for m in margins)
    if device.volume == "own" or not loud:
        return ()
    says = FULL if device.volume == "none" else PERHAPS_FULL
    name = device.name
    return (Note("plays-full", says.format(device=name, Device=f"{name[0].upper()}{name[1:]}")),)


def _not_metered(sides: Sequence[SideFacts], options: Sequence[Option]) -> list[Note]:
    """Name the terminals that an option uses and that nobody has metered, side by side."""
    used = dict.fromkeys(pin for option in options for pin in option.terminals)
    missing = {
        side.name: [pin for pin in used if pin not in side.stage.direct_volts] for side in sides
    }
    groups: dict[tuple[str, ...], list[str]] = {}
    for name, pins in missing.items():
        if pins:
            groups.setdefault(tuple(pins), []).append(name)
    notes = []
    for missed, names in groups.items():
        where = f" ({', '.join(names)})" if len(names) < len(sides) else ""
        says = (
            f"No direct voltage was metered{where} on: "
            + ", ".join(NOT_METERED[pin] for pin in missed)
            + ". Check before connecting; above 0.1 V do not connect."
        )
        notes.append(Note("direct-voltage-not-metered", says))
    return notes


def _digital(device: Device, destination: Destination) -> list[Note]:
    sockets = {s.connector for s in destination.inputs if s.connector.startswith("digital")}
    outputs = {c for c in device.connectors if c.startswith("digital")}
    found = []
    if sockets or outputs:
        found.append(Note("digital", DIGITAL))
    return found


def _unlikely(destination: Destination) -> list[Note]:
    """Ask again about an input of an impedance or a sensitivity that no line input has."""
    analogue = [s for s in destination.inputs if s.connector in ("rca", "xlr")]
    return [
        *(
            note
            for socket in analogue
            for note in (_too_sensitive(socket), _wants_too_much(socket))
            if note
        ),
        *_unlikely_impedance(analogue),
    ]


def _too_sensitive(socket: Input) -> Note | None:
    """Ask again about an input that takes less than a line input for full output."""
    volts = socket.sensitivity_volts
    if volts is None or volts >= limit.USUAL_LINE_INPUT_VOLTS:
        return None
    return Note(
        "unlikely-sensitivity",
        f"Full output at {plain(write_number(volts, 'V'))} ({socket.name}): line inputs want "
        f"{limit.USUAL_LINE_INPUT_VOLTS * 1e3:g} mV and more (common practice). Look at the socket "
        "and the figure again: on a phono, tape head or microphone input no line output belongs.",
    )


def _wants_too_much(socket: Input) -> Note | None:
    """Ask again about an input that wants more than a line input for full output."""
    volts = socket.sensitivity_volts
    if volts is None or volts <= limit.MOST_LINE_INPUT_VOLTS:
        return None
    return Note(
        "unlikely-sensitivity",
        f"Full output at {plain(write_number(volts, 'V'))} ({socket.name}): line inputs want 0.5 "
        f"to 3 V, studio ones up to {limit.MOST_LINE_INPUT_VOLTS:g} V (common practice). Look the "
        "figure up again: millivolts are written mV, and what the amplifier gives is not what it "
        "wants.",
    )


def unlikely_output(facts: Facts) -> tuple[Note, ...]:
    """Ask again about figures of a typed output that no line output has, or that are at odds."""
    stated = facts.get("stated") or {}
    found = []
    for key, which, where in STATED_LEVELS:
        volts = stated.get(key)
        if volts is not None and volts > limit.MOST_LINE_OUTPUT_VOLTS[which]:
            found.append(
                f"{_volts(volts)} {where} ({key}): line outputs give 2 to 5 V at full output, and "
                f"hardly one {limit.MOST_LINE_OUTPUT_VOLTS[which]:g} V; a loudspeaker output does, "
                "and no lead joins that to an input"
            )
    found += unlikely_ohms(facts).values()
    told = [f"{says}. {LOOK_UP}" for says in found]
    return tuple(Note("unlikely-output", says) for says in (*told, *at_odds(stated)))


LOOK_UP = "Look the figure up again."
"""Of a figure that hardly can be."""


def unlikely_ohms(facts: Facts) -> dict[tuple[str, float, float], str]:
    """Return what is said of stated impedances that hardly a line output has.

    By their key, of how many single outputs the figure is, and the most that one of them has.
    """
    stated = facts.get("stated") or {}
    kind = set(re.findall("[a-z]+", str((facts.get("device") or {}).get("kind") or "").lower()))
    most = limit.MOST_VALVE_OHM if kind & limit.VALVES else WORST_SOURCE_OHM
    return {
        (key, times, most): f"{plain(write_number(ohm, 'ohm'))} ({key}): line outputs have 50 to "
        f"600 ohm, and {times * most:g} ohm at most"
        for key, times in STATED_OHMS
        if (ohm := stated.get(key)) is not None and ohm > times * most
    }


PLAYED_OF_FULL = (0.01, 1.1)
"""What is said to be played at most: below so much of the device's full output 40 dB are left
unused, above so much of the most it gives the device does not give it. [judgement]"""


def unlikely_level(
    device: Device, sides: Sequence[SideFacts], destination: Destination
) -> tuple[Note, ...]:
    """Ask again about a level to be played that does not go with what the device gives."""
    played, full = destination.operating_volts, device.full_output_volts
    if len(said := destination.operating_said) > 1 and played is not None:
        words = ", ".join(_volts(volts) for volts in said)
        says = (
            f"The destinations differ in the most that is played ({words}); one device plays to "
            f"them all: taken as {_volts(played)}."
        )
        return (Note("unlikely-level", says),)
    if played is None or full is None:
        return ()
    most = max([full, *(m for s in sides if (m := most_volts(device, s)) is not None)])
    low, high = PLAYED_OF_FULL
    if low * full <= played <= high * most:
        return ()
    which, of = ("more than", most) if played > most else ("a small part of", full)
    where = "at full output" if of == full else "at most"
    rest = f"are for {_volts(most)}" if played > most else "rest on it"
    says = (
        f"{_volts(played)} are said to be the most that is played, {which} the {_volts(of)} that "
        f"the device gives {where}. Look at both figures again: all levels here {rest}."
    )
    return (Note("unlikely-level", says),)


STATED_LEVELS = (
    ("differential_level_v", "pair", "between pins 2 and 3"),
    ("hot_level_v", "one", "on pin 2"),
    ("cold_level_v", "one", "on pin 3"),
    ("single_ended_level_v", "one", "on the RCA centre"),
)
STATED_OHMS = (("single_ended_impedance_ohm", 1.0), ("hot_impedance_ohm", 1.0),
               ("differential_impedance_ohm", 2.0))  # fmt: skip
"""Keys of a typed source, and how many single outputs the figure is of."""


def _unlikely_impedance(sockets: Sequence[Input]) -> list[Note]:
    return [
        Note(
            "unlikely-impedance",
            f"{socket.name} of {socket.impedance_ohm:g} ohm: no usual line input is below "
            f"{limit.LEAST_LINE_INPUT_OHM:g} ohm. Look the figure up again: was "
            f"{socket.impedance_ohm:g} kohm meant?",
        )
        for socket in sockets
        if socket.impedance_ohm < limit.LEAST_LINE_INPUT_OHM
    ]


def _fitting(device: Device, destination: Destination) -> list[Note]:
    """Say of each analogue input that no output of the device was measured for it."""
    outputs = {c for c in device.connectors if c in ("xlr", "rca")}
    analogue = [s for s in destination.inputs if s.connector in ("xlr", "rca")]
    if analogue and not outputs:
        says = "The device has no analogue line output: nothing can be connected to the input."
        return [Note("no-output", says)]
    if outputs and not analogue:
        says = "The destination has no analogue input: nothing is listed for the line output."
        return [Note("no-input", says)]
    return []
