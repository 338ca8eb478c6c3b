"""The cautions of the bench, each before the step that leads into the danger, confirmed once.

They describe good practice; the electrical code of the place and licensed people come first.
"""

from __future__ import annotations

from dataclasses import dataclass

from probe.bench.planned.able import Setting
from probe.bench.planned.steps import LOADING, MAXIMA, Step


@dataclass(frozen=True)
class Caution:
    """A danger and what to do about it, in plain words."""

    code: str
    title: str
    text: str


_ALL = (
    Caution(
        "defer",
        "What comes first",
        "Local electrical codes and the makers' instructions come before anything this program "
        "says. Work on mains wiring, or inside a device that is connected to the mains, is for "
        "licensed people only. Nothing here needs an open device.",
    ),
    Caution(
        "speaker-output",
        "Loudspeaker and headphone outputs",
        "Loudspeaker terminals, bridged amplifiers and balanced headphone sockets do not belong "
        "here: both conductors are live and none is ground, so a recorder's sleeve on one of "
        "them is a short circuit. A headphone adapter that joins the returns shorts two "
        "amplifiers. Only a line output (XLR, RCA) may be measured.",
    ),
    Caution(
        "phantom",
        "Microphone supply (48 V phantom)",
        "Switch it off on EVERY input of the interface, wait 60 seconds, then check with the "
        "meter: less than 0.1 V from pin 2 to pin 1 and from pin 3 to pin 1. A switch on a "
        "screen is no proof. Use line inputs if there are any.",
    ),
    Caution(
        "grounds-first",
        "Grounds first, signals last",
        "Everything switched off. Equipment without a protective earth floats at up to about "
        "half the mains voltage: join pin 1 and the RCA shells FIRST, the signal pins after "
        "that, then switch on. Never lift a protective earth to cure hum, and never lift an RCA "
        "shell unless another conductor carries the return; use an audio isolating transformer "
        "or a laptop on its battery.",
    ),
    Caution(
        "speakers-off",
        "Loudspeakers, amplifiers, ears",
        "Power amplifiers off or unplugged from this device, headphones off your ears. Tones of "
        "20 Hz and 20 kHz destroy drivers at levels that sound harmless. Every tone begins at "
        "-60 dB and comes up slowly; pull the plug if anything makes a sound.",
    ),
    Caution(
        "speakers-off-player",
        "Loudspeakers, amplifiers, ears",
        "Power amplifiers off or unplugged from this device, headphones off your ears. Tones of "
        "20 Hz and 20 kHz destroy drivers at levels that sound harmless. This device plays them "
        "itself, at once and as loud as its volume stands: turn it DOWN before the first file, and "
        "stop the player if anything makes a sound.",
    ),
    Caution(
        "interface-overload",
        "The interface's inputs",
        "Know the most they take (often +4 to +20 dBu). Never connect a live output to an "
        "interface that is switched off: its inputs clamp. Set the input gain once, as low as "
        "it goes for line level, and leave it.",
    ),
    Caution(
        "valve",
        "Valve equipment",
        "A leaky coupling capacitor can carry 100 to 300 V: begin with the meter's highest range, "
        "fingers behind the guards of its probes. Have the bleeders and clamps of the "
        "fixture in place, let capacitors discharge for 30 seconds, meter before connecting, "
        "and never run a valve power amplifier without its load.",
    ),
    Caution(
        "connect",
        "Before this take",
        "Change leads with the device muted or off. Leave volume, gain and pads as they are. "
        "Let the device warm up for ten minutes: then levels repeat to a hundredth of a decibel. "
        "Mute and standby are not play: leave the device playing.",
    ),
    Caution(
        "floor",
        "Before the reference stands in place of the device",
        "Mute the device, and turn down whatever plays what the inputs hear (headphones, monitor "
        "loudspeakers): a lead pulled out of an output clicks. The reference goes onto the lead, "
        "never onto the device's output. Injector off.",
    ),
    Caution(
        "loop-back",
        "Before the interface hears itself",
        "Mute the device, and turn down whatever plays what the inputs hear or output 1 gives "
        "(headphones, monitor loudspeakers). Output 1 goes to both inputs and to nothing else: "
        "never join it to an output of the device. Direct monitoring off, or it howls.",
    ),
    Caution(
        "inject",
        "Before injecting",
        "Only through 10 kohm or more; all tones together stay below 1.4 V peak and 0.14 mA. The "
        "interface's ground and pin 1 of the device must already be joined and show "
        "no voltage between them. Never into a transformer if the interface's output carries "
        "direct voltage. Plug with the device muted.",
    ),
    Caution(
        "load",
        "Before loading",
        "Mute the device while the resistor is switched on or off; with coupling capacitors "
        "inside, wait 30 seconds afterwards. The level comes up in two steps, first 20 dB down; "
        "if the device distorts or sags the load is refused. A 604 ohm quarter-watt resistor "
        "bears 8 V and no more. Never below the maker's minimum, never below 300 ohm on a "
        "transformer. Never join pin 3 to pin 1 to try it: on separate legs the cold amplifier "
        "works into a short circuit, on floating ones hot rises by 6 dB and more. That case is "
        "calculated.",
    ),
    Caution(
        "maximum",
        "Before the output is driven until it clips",
        "This is a stress, which no other take is: the tone rises by half a decibel every two "
        "seconds until the output distorts by one percent. Nothing that amplifies may hear it: "
        "power amplifiers and active loudspeakers off AND unplugged from every output of this "
        "device, headphones off your head and unplugged. No resistor, no injector. Never a "
        "headphone or loudspeaker output, and never a valve amplifier's output without its "
        "load; with valves in the output stage ask first whether the maker allows it, and leave "
        "it out if you do not know. Watch the device: if it grows hot, smells or cuts out, "
        "press Ctrl-C, and the tone fades out at once.",
    ),
    Caution(
        "device-off",
        "Before injecting into a device that is off",
        "Switch it off by its mains switch (standby is not off; a device without such a switch is "
        "not measured like this), leave it plugged in (its protective earth stays), wait "
        "a minute until its capacitors are empty, and meter the pins again. Inject only through "
        "10 kohm or more, all tones together below 50 mV peak: more would power its supply through "
        "protection diodes. The interface's ground and pin 1 of the device must already be joined "
        "and show no voltage between them. Never into a transformer if the interface's output "
        "carries direct voltage.",
    ),
    Caution(
        "switch-box",
        "The switch box",
        "Check it with the 100 ohm reference before each session: a dirty contact of half an ohm "
        "is half a percent of an impedance. Its shell is joined to pin 1 by the device only.",
    ),
    Caution(
        "hum-loop",
        "Hum loops",
        "A laptop's charger, the ground of USB and the lead of the second channel can make a "
        "loop. Run the laptop on its battery and remove what is not measured.",
    ),
)

CAUTIONS = {caution.code: caution for caution in _ALL}

_BEFORE_METER = ("defer", "speaker-output")


def before_meter() -> tuple[Caution, ...]:
    """Return the cautions before anything is connected but the device to the mains."""
    return tuple(CAUTIONS[code] for code in _BEFORE_METER)


def before_probes(*, valve: bool) -> tuple[Caution, ...]:
    """Return the cautions before the meter's probes touch the output."""
    return (CAUTIONS["valve"],) if valve else ()


def before_connecting(setting: Setting) -> tuple[Caution, ...]:
    """Return the cautions between the meter and the first lead."""
    speakers = "speakers-off-player" if setting.plays_files else "speakers-off"
    codes = ["phantom", "grounds-first", speakers, "interface-overload", "hum-loop"]
    if setting.kit.switch_box:
        codes.append("switch-box")
    return tuple(CAUTIONS[code] for code in codes)


def before(step: Step) -> tuple[Caution, ...]:
    """Return the cautions before one take."""
    if step.plugged.state == "off":
        return (CAUTIONS["device-off"],)
    if step.plugged.injector is not None:
        return (CAUTIONS["inject"],)
    if step.take in MAXIMA:
        return (CAUTIONS["maximum"],)
    if step.take in LOADING:
        return (CAUTIONS["load"],)
    if step.plugged.loop_back:
        return (CAUTIONS["loop-back"],)
    if step.plugged.fixture:
        return (CAUTIONS["floor"],)
    return (CAUTIONS["connect"],)
