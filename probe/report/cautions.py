"""Cautions in plain words, each shown in front of the advice that could lead into the danger.

They describe good practice at an audio bench. They do not replace the electrical code of the
place, nor the people licensed to work on mains wiring, and the page says so.
"""

from __future__ import annotations

DEFER = (
    "Local electrical codes and the makers’ instructions come first. Work on mains wiring, or "
    "inside a device that is connected to the mains, is for licensed people only."
)

BEFORE_CONNECTING = (
    "Microphone supply (48 V phantom) off on every recorder input. Wait a minute, then check "
    "with a meter: less than 0.1 V from pin 2 to pin 1 and from pin 3 to pin 1.",
    "Meter the device’s pins for direct voltage first. Above 0.1 V do not connect; above 2 V "
    "stop and suspect a fault or a bridged power output.",
    "Loudspeaker terminals and headphone outputs do not belong on this bench: their second "
    "terminal may be live, and joining it to ground is a short circuit.",
    "Never lift a protective mains earth to cure hum, neither with an adapter plug nor inside a "
    "plug. Equipment without an earth floats: join pin 1 or the RCA shells first, with "
    "everything switched off, the signal pins after that.",
    "Switch power amplifiers off or unplug their inputs, take headphones off your ears, start 60 "
    "dB down and come up slowly.",
    "Valve equipment can put high voltage on a leaky coupling capacitor. Let capacitors "
    "discharge for half a minute, and never run a valve power amplifier without its load.",
)

TIE = (
    "Do not join pin 3 to pin 1 to try this out. On legs that are driven separately the cold "
    "amplifier then works into a short circuit, and the hot leg may distort with it. The figures "
    "for a tied pin 3 are calculated from the other takes, so that nobody has to."
)

MAY_BE_TIED = (
    "electronically-floating",
    "transformer-coupled",
    "impedance-balanced",
    "ground-sensing",
)
"""Kinds whose pin 3 may be joined to pin 1 in a connection that the advice lists as working."""

TIE_AS_LISTED = (
    "Join pin 3 to pin 1 only in a connection that the advice lists as working, never to try it "
    "out: if the kind were another, an amplifier would work into a short circuit. The figures for "
    "a tied pin 3 are calculated from the other takes."
)

_LOAD = (
    "Mute the device before a resistor is switched on or off, and start well below the level of "
    "the open take.",
    "Stay above the smallest load the maker allows, and above five times the impedance already "
    "found; never below 300 Ω on a transformer winding.",
    "A quarter-watt 604 Ω resistor stands 8 V rms on a leg and no more.",
    "With coupling capacitors inside, wait half a minute after every change of load.",
)

_INJECT = (
    "Only through 10 kΩ or more, and no more than 1.4 V peak over all the tones together.",
    "The bench’s ground and pin 1 of the device must already be joined and show no voltage "
    "between them.",
    "Not into a transformer if the bench’s output carries direct voltage.",
)

_INJECT_OFF = (
    "No more than 50 mV peak: a larger signal creeps through protection diodes into the supply of "
    "the switched-off device and falsifies the result.",
    "Switched off means by its own switch, left plugged in: its protective earth stays connected.",
    "Wait until its capacitors are discharged, and meter the pins again before you connect.",
)

_CONNECT = (
    "Join grounds first and signal pins last, with both boxes muted or off.",
    "Do not change volume, gain or pads between the takes.",
)

TIE_OF_TYPED = (
    "Do not join pin 3 to pin 1 to try this out. On legs that are driven separately the cold "
    "amplifier then works into a short circuit, and the hot leg may distort with it. The figures "
    "for a tied pin 3 are calculated, so that nobody has to."
)
"""Of an output that nobody has measured."""

BEFORE_TAKE = {
    "load": _LOAD,
    "inject": _INJECT,
    "inject-off": _INJECT_OFF,
    "connect": _CONNECT,
}
"""By ``NextTake.danger``."""

BEFORE_ADVICE = {
    "volume-down": "Switch everything off before leads are changed, and connect grounds first.",
    "mains-earth": "Never make or keep a connection in which a protective mains earth is lifted.",
    "pin-3-tie": TIE,
}
"""By the code an advice document uses when it carries the same caution in its own words."""

BEFORE_ADVICE_OF_TYPED = {**BEFORE_ADVICE, "pin-3-tie": TIE_OF_TYPED}
"""The same, of an output that nobody has measured."""
