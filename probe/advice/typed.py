"""Destinations, grounds and figures typed on the command line, for simple cases.

A destination is ``CONNECTOR[:WHAT]...``, what is known of the input in any order:

    rca:47k:1.5V                 impedance and V rms for full output
    xlr:20k/leg:2V:buffered      impedance of each leg to ground
    xlr:40k/between:2V           impedance between the legs
    rca:20k:0.5V:sub             a subwoofer
    rca:10k:-10dBV               the level as a data sheet may have it

Inputs of one box are joined with ``+``. What is typed becomes the text of a destination file and
is read as one, so that the same is allowed and the same complaints are made.
"""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

from probe.advice.destination import (
    FORMAT,
    Cable,
    Destination,
    destination_of,
)
from probe.advice.ground import MAINS_VOLTS, PRESETS, GroundPath, of_preset, second_reading
from probe.advice.ranges import AMPERES, FARADS, MOST_VOLTS, OHMS
from probe.errors import BadInput
from probe.formats.quantity import Typed, other_digit, typed_quantity
from probe.formats.text import nearest, one_of, quoted

CONNECTORS = ("rca", "xlr", "digital-75", "digital-110")
WORDS = {
    "buffered": 'circuit = "buffered"',
    "difference-amplifier": 'circuit = "difference-amplifier"',
    "transformer": 'circuit = "transformer"',
    "both-legs": "both_legs_required = true",
    "pin-3-ground": 'pin_3 = "ground"',
    "pin-3-open": 'pin_3 = "open"',
    "sub": 'role = "subwoofer"',
    "subwoofer": 'role = "subwoofer"',
    "amplifier": 'role = "amplifier"',
    "other": 'role = "other"',
}
NAMED = {
    "max": ("maximum_v", "V"),
    "rejection": ("rejection_db", "dB"),
    "mismatch": ("impedance_mismatch_percent", "%"),
    "speaker": ("speaker_sensitivity_db", "dB"),
}
NO_INPUT = {"speaker": "loudspeaker", "loudspeaker": "loudspeaker", "speakers": "loudspeaker",
            "headphone": "headphone", "headphones": "headphone"}  # fmt: skip
"""What somebody may type as a destination that no line output drives."""

TYPED_AS = {
    "sensitivity_v": "the level for full output",
    "impedance_ohm": "the impedance",
    "impedance_is": "/leg or /between",
    "both_legs_required": "both-legs",
    "circuit": "the kind of balanced input",
    "pin_3": "what pin 3 does",
    "role": "what it is",
    **{key: f"{name}=" for name, (key, _) in NAMED.items()},
}
"""Keys of the file in the words of the short form."""

LEGS = {"leg": "each-leg", "each-leg": "each-leg", "between": "between-legs",
        "between-legs": "between-legs"}  # fmt: skip

LONGEST = 500
"""Characters of a typed destination; four inputs with all their words need half of it."""

LEAST_BARE_OHM = 300.0
"""A number without a unit below this is a forgotten k rather than an impedance: line inputs start
at 600 ohm. [practice]"""

MOST_BARE_VOLTS = 5.0
"""A number without a unit up to here is rather a forgotten V: line inputs want 0.1 to 3 V for full
output. [practice]"""

OHM_HOW = "an impedance is written 47k, 4.7k, 47000 or 600ohm"
XLR_HOW = (
    "an xlr needs where its impedance stands: {ohm}/leg (each leg to ground, the usual figure) or "
    "{ohm}/between (between the legs)"
)
HOW = "write for example rca:47k:1.5V or xlr:20k/leg:2V, or name a destination file"


def looks_typed(text: str) -> bool:
    """Tell whether an argument is a typed destination and not the name of a file."""
    if not text.strip():
        return True
    known = text.lower() in CONNECTORS or text.lower() in NO_INPUT
    return (":" in text or known) and not _is_file(text)


def _is_file(text: str) -> bool:
    try:
        return Path(text).exists()
    except (OSError, ValueError):  # longer than any name, or holding what no name may
        return False


def typed_destination(text: str, mains_hz: float, mains_volts: float = MAINS_VOLTS) -> Destination:
    """Return the destination that ``text`` describes.

    Raises
    ------
    BadInput
        A word or figure that cannot be, with the nearest word where there is one.
    """
    if not text.strip():
        raise BadInput(f"a destination is empty; {HOW}")
    if len(text) > LONGEST:
        raise BadInput(f"{quoted(text)}: too long for a typed destination; {HOW}")
    _check_digits("", text)
    tables = [_input_table(one, text) for one in _of_one_box(_PLUS.split(text))]
    document = f'format = "{FORMAT}"\nname = "{_name(text)}"\n' + "".join(tables)
    try:
        return destination_of(document.encode(), Path(text), mains_hz, mains_volts)
    except BadInput as error:
        raise BadInput(_in_typed_words(str(error), text)) from error


def _of_one_box(inputs: list[str]) -> list[str]:
    """Return joined inputs with what their box is, where that is said of one of them alone."""
    said = {role for one in inputs for role in _roles(one)}
    if len(said) != 1:
        return inputs
    return [one if _roles(one) else f"{one}:{min(said)}" for one in inputs]


def _roles(text: str) -> list[str]:
    words = (part.strip().lower() for part in text.split(":"))
    return [word for word in words if WORDS.get(word, "").startswith("role = ")]


def _check_digits(option: str, text: str) -> None:
    """Refuse digits that somebody else would read as others, or not at all."""
    if digit := other_digit(text):
        raise BadInput(f"{option}{quoted(text)}: {quoted(digit)} is no digit that is taken "
                       "here; write figures with 0 to 9")  # fmt: skip


_PLUS = re.compile(r"\+(?![\d.,])")
"""Joins inputs; before a figure it is a sign, as of +4dBu."""

_OF_FILE = re.compile(r"input\[\d+\]\.(\w+): (.*)", re.DOTALL)


def _in_typed_words(message: str, text: str) -> str:
    """Return a complaint about the file it became in the words of what was typed."""
    found = _OF_FILE.search(message)
    if found is None:
        return message
    says = found[2].replace(": take the line out", ": leave it out")
    for key, word in TYPED_AS.items():
        says = re.sub(rf"\b{key}\b", word, says)
    return f"{quoted(text)}: {TYPED_AS.get(found[1], found[1])}: {says}"


def _name(text: str) -> str:
    return re.sub(r"[^\w:./+=%~@, -]", "?", text)[:60]


def _input_table(text: str, whole: str) -> str:
    connector, *rest = (p.strip() for p in text.split(":"))
    if connector.lower() in NO_INPUT:
        raise BadInput(
            f"{quoted(whole)}: a {NO_INPUT[connector.lower()]} is no destination of a line output: "
            "it needs an amplifier between, and could damage the output; name the amplifier's "
            "input, for example rca:47k:1V"
        )
    if connector.lower() not in CONNECTORS:
        raise _unknown(whole, connector, CONNECTORS, "the connector")
    lines = ["[[input]]", f'connector = "{connector.lower()}"', 'box = "amplifier"']
    for part in rest:
        lines += _lines(part.lower(), whole)
        _check_impedance(connector.lower(), part, whole)
    if connector.lower() == "xlr" and not any("impedance_is" in line for line in lines):
        raise _legs_missing(whole)
    role = next((line for line in lines if line.startswith("role = ")), None)
    if role is not None:
        lines[2] = role.replace("role", "box")
    keys = [line.split(" = ")[0] for line in lines]
    twice = next((k for k in keys if keys.count(k) > 1), None)
    if twice is not None:
        raise BadInput(f"{quoted(whole)}: {TYPED_AS.get(twice, twice)} is given twice; {HOW}")
    return "\n".join(lines) + "\n"


def _check_impedance(connector: str, part: str, whole: str) -> None:
    """Refuse what is understood but hardly meant: ohms for kilohms, an xlr without its legs."""
    figure, slash, _ = part.partition("/")
    found = typed_quantity(figure, "ohm")
    if found is None or connector.startswith("digital"):
        return
    if found.value < 0.0:
        raise BadInput(
            f"{quoted(whole)}: {found.number} is no impedance, and a level below nothing only in "
            f"decibels: write {found.number}dBV or {found.number}dBu; {OHM_HOW}"
        )
    if found.value == 0.0:
        raise BadInput(f"{quoted(whole)}: an input of 0 ohm is a short circuit; {OHM_HOW}")
    if not found.unit and found.value <= MOST_BARE_VOLTS:
        raise BadInput(
            f"{quoted(whole)}: {found.number} without a unit is no impedance; the level for full "
            f"output is written {found.number}V, kilohms {found.number}k"
        )
    if not found.unit and found.value < LEAST_BARE_OHM:
        raise BadInput(
            f"{quoted(whole)}: {found.number} without a unit would be {found.number} ohm, which no "
            f"line input has; write {found.number}k, or {found.number}ohm if it is meant"
        )
    if connector == "xlr" and not slash:
        raise _legs_missing(whole, part)
    if connector == "rca" and slash:
        raise BadInput(
            f"{quoted(whole)}: {quoted(part)} is of an input with two legs; an RCA input has one "
            f"impedance, centre to shell: write {figure}"
        )


def _legs_missing(whole: str, ohm: str = "20k") -> BadInput:
    return BadInput(f"{quoted(whole)}: {XLR_HOW.format(ohm=ohm)}")


def _lines(part: str, whole: str) -> list[str]:
    if part in WORDS:
        return [WORDS[part]]
    if "=" in part:
        return [_named(part, whole)]
    if volts := typed_quantity(part, "V", bare=False):
        return [f"sensitivity_v = {_believable(volts, part, whole)!r}"]
    figure, slash, legs = part.partition("/")
    found = typed_quantity(figure, "ohm") if legs or not slash else None
    if found is None and part.lstrip("+-")[:1].isdigit():
        raise BadInput(
            f"{quoted(whole)}: {quoted(part)} is neither an impedance nor a level; {OHM_HOW}, a "
            "level 1.5V, 800mV, -10dBV or 4dBu"
        )
    if found is None:
        raise _unknown(whole, part, (*WORDS, *(f"{n}=" for n in NAMED)), "a part")
    lines = [f"impedance_ohm = {found.value!r}"]
    if slash:
        if legs not in LEGS:
            raise _unknown(whole, legs, tuple(LEGS), "after the impedance")
        lines.append(f'impedance_is = "{LEGS[legs]}"')
    return lines


def _named(part: str, whole: str) -> str:
    name, _, value = part.partition("=")
    if name not in NAMED:
        raise _unknown(whole, name, tuple(NAMED), "before =")
    key, unit = NAMED[name]
    found = typed_quantity(value, unit)
    if found is not None and unit == "V":
        return f"{key} = {_believable(found, value, whole)!r}"
    if found is None:
        raise BadInput(f"{quoted(whole)}: {name} must be a number in {unit}, not {quoted(value)}")
    return f"{key} = {found.value!r}"


def _believable(volts: Typed, part: str, whole: str) -> float:
    if volts.value > MOST_VOLTS:
        raise BadInput(
            f"{quoted(whole)}: {quoted(part)} is no level of an audio input (at most "
            f"{MOST_VOLTS:g} V)"
        )
    return volts.value


def _unknown(whole: str, seen: str, known: tuple[str, ...], what: str) -> BadInput:
    close = nearest(seen, list(known))
    perhaps = f"; did you mean {quoted(close)}?" if close else f"; allowed: {one_of(list(known))}"
    return BadInput(f"{quoted(whole)}: {quoted(seen)} is not known as {what}{perhaps}")


def typed_ground(text: str, mains_hz: float, mains_volts: float = MAINS_VOLTS) -> GroundPath:
    """Return a ground from a preset's name, ``20mV/100ohm``, ``115V/2nF`` or the meter's readings.

    The readings are ``20mV/16mV/1ohm`` or ``20mV/0.1mA/100ohm``: volts with no lead, then volts
    across a resistor between the chassis, or amperes through it.
    """
    if text in PRESETS:
        return of_preset(text, mains_volts)
    _check_digits("--ground ", text)
    parts = [p.strip() for p in text.split("/")]
    volts = typed_quantity(parts[0], "V", bare=False)
    if volts is None:
        raise _unknown(f"--ground {text}", parts[0], tuple(PRESETS), "a situation or a voltage")
    difference, figures = volts.value, parts[1:]
    if not figures:
        return GroundPath(_difference(text, difference), words="as typed")
    if len(figures) == 2:
        amperes, across = (typed_quantity(figures[0], unit, bare=False) for unit in ("A", "V"))
        if amperes is not None or across is not None:
            try:
                return second_reading(
                    _difference(text, difference),
                    None if amperes is None else _within(text, amperes.value, AMPERES, "A"),
                    None if across is None else across.value,
                    _within(text, _ohm(text, figures[1]), OHMS, "ohm"),
                    mains_hz,
                )
            except ValueError as error:
                raise BadInput(f"--ground {quoted(text)}: {error}; read both again") from error
    if len(figures) == 1 and (farads := typed_quantity(figures[0], "F", bare=False)):
        farad = _within(text, farads.value, FARADS, "F")
        return GroundPath(_difference(text, difference), farad=farad, words="as typed")
    if len(figures) == 1:
        ohm = _within(text, _ohm(text, figures[0]), OHMS, "ohm")
        return GroundPath(_difference(text, difference), ohm=ohm, words="as typed")
    raise BadInput(f"--ground {quoted(text)}: write a situation (probe advise --grounds), "
                   "20mV/100ohm, 115V/2nF, or the readings as 20mV/16mV/1ohm or "
                   "20mV/0.1mA/100ohm")  # fmt: skip


def _ohm(text: str, part: str) -> float:
    found = typed_quantity(part, "ohm")
    if found is None:
        raise BadInput(f"--ground {quoted(text)}: {quoted(part)} is no resistance; write 100ohm")
    return found.value


def _within(text: str, value: float, most: tuple[float, float], unit: str) -> float:
    if not value > 0.0:
        raise BadInput(f"--ground {quoted(text)}: its figures must be above 0")
    if not most[0] <= value <= most[1]:
        raise BadInput(
            f"--ground {quoted(text)}: {value:g} {unit} cannot be between two boxes; "
            f"{most[0]:g} to {most[1]:g} {unit} is allowed"
        )
    return value


def _difference(text: str, value: float) -> float:
    if not 0.0 <= value <= MOST_VOLTS:
        raise BadInput(
            f"--ground {quoted(text)}: a difference between two boxes is 0 to {MOST_VOLTS:g} V"
        )
    return value


LONGEST_METRES = 1000.0


def changed(
    destination: Destination,
    *,
    ground: str | None = None,
    cable: str | None = None,
    level: str | None = None,
    gain: str | None = None,
) -> Destination:
    """Return the destination with what was typed in place of what its file says."""
    if ground is not None:
        path = typed_ground(ground, destination.mains_hz, destination.mains_volts)
        inputs = tuple(replace(s, ground=path) for s in destination.inputs)
        destination = replace(destination, inputs=inputs)
    if cable is not None:
        metres = _figure("--cable", cable, "m", 0.0, LONGEST_METRES)
        inputs = tuple(
            replace(s, cable=None if s.cable is None else _of_length(s.cable, metres))
            for s in destination.inputs
        )
        destination = replace(
            destination, cable=_of_length(destination.cable, metres), inputs=inputs
        )
    if level is not None:
        volts = _figure("--level", level, "V", 0.0, 1000.0)
        destination = replace(destination, operating_volts=volts)
    if gain is not None:
        decibels = _figure("--gain", gain, "dB", -60.0, 60.0)
        inputs = tuple(replace(s, wanted_gain_db=None) for s in destination.inputs)
        destination = replace(destination, wanted_gain_db=decibels, inputs=inputs)
    return destination


def _of_length(cable: Cable, metres: float) -> Cable:
    share = metres / cable.length_m
    return replace(cable, length_m=metres, farad=cable.farad * share,
                   shield_ohm=cable.shield_ohm * share)  # fmt: skip


WHAT = {"--cable": "a length", "--level": "a level"}
"""What an option of the command stands for, where it cannot be below nothing."""


_FEET = re.compile(r"\d\s*(?:ft|feet|foot|in|inch|inches|'|\")\s*$", re.IGNORECASE)


def _figure(option: str, text: str, unit: str, above: float, below: float) -> float:
    _check_digits(f"{option} ", text)
    found = typed_quantity(text, unit)
    if found is not None and found.value < 0.0 and option in WHAT:
        raise BadInput(f"{option} {quoted(text)}: {WHAT[option]} cannot be negative; leave the "
                       "minus out")  # fmt: skip
    if found is None or not above < found.value < below:
        metres = "; lengths are metres: 10 feet are 3m" * bool(unit == "m" and _FEET.search(text))
        raise BadInput(
            f"{option} {quoted(text)}: must be a number of {unit} above {above:g} and below "
            f"{below:g}{metres}"
        )
    return found.value
