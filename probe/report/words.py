"""What the codes of the facts document are called in front of people."""

from __future__ import annotations

from dataclasses import dataclass

SIDES = {"left": "Left", "right": "Right", "mono": "Mono"}

KINDS = {
    "differential": "both legs driven, ground-referenced",
    "electronically-floating": "electronically floating (cross-coupled, servo-balanced)",
    "transformer-coupled": "transformer-coupled",
    "ground-sensing": "ground-sensing (ground-cancelling)",
    "impedance-balanced": "impedance-balanced",
    "unbalanced": "unbalanced, pin {other} grounded",
    "pin-3-unconnected": "unbalanced, pin {other} connected to nothing",
    "faulty": "faulty",
    "undetermined": "cannot tell yet",
}

MEANINGS = {
    "differential": "Pins 2 and 3 both carry the signal, one the mirror image of the other. Each "
    "is driven by itself and referred to pin 1.",
    "electronically-floating": "Pins 2 and 3 both carry the signal. Electronics hold only the "
    "difference between them; the level of each pin by itself may settle anywhere, and that is "
    "no fault.",
    "transformer-coupled": "A transformer winding drives pins 2 and 3. What counts is the "
    "difference between them.",
    "ground-sensing": "Pin {live} carries the signal. Pin {other} is an ear, not a mouth: it "
    "listens to the ground of the next box, and what it hears is added to pin {live}.",
    "impedance-balanced": "Only pin {live} carries the signal. Pin {other} is silent but has the "
    "same impedance, so a balanced input can reject hum as it would with two driven pins.",
    "unbalanced": "Only pin {live} carries the signal; pin {other} is joined to pin 1. In effect "
    "this is a single-ended output on a three-pin connector.",
    "pin-3-unconnected": "Only pin {live} carries the signal; pin {other} leads nowhere inside the "
    "device. In effect this is a single-ended output on a three-pin connector.",
    "faulty": "No healthy output stage behaves like this. The faults below say what was seen.",
    "undetermined": "The takes made so far fit more than one kind of output stage. Rather than "
    "guess, this report says what is left and what would settle it.",
}

IMPEDANCES_DIFFER = (
    "Only pin {live} carries the signal. Pin {other} is silent, and its impedance is not that of "
    "pin {live}: a balanced input rejects less hum than it would with equal ones."
)
IMPEDANCES_OPEN = (
    "Only pin {live} carries the signal. Pin {other} is silent. Whether its impedance equals that "
    "of pin {live}, which is what rejects hum, these takes do not show."
)
"""In place of the meaning of impedance-balanced where the impedances differ, or are not known."""

DRIVEN = {
    "both-legs": "signal on both legs",
    "one-leg": "signal on one leg",
    "none": "no signal on either leg",
}

POLARITIES = {
    "pin-2-hot": "pin 2 is hot",
    "pin-3-hot": "pin 3 is hot",
    "undetermined": "not determined",
}

PATHS = {
    "dual": "behaves as two paths",
    "split": "behaves as one path and an inverter",
}

SEPARATE_FROM = {
    "input": "separate from the input on",
    "volume-control": "separate from the volume control on; what lies before it was not seen",
}


def path_words(path: str, separate_from: object = None) -> str:
    """Return the verdict on the path, never more than the evidence says."""
    if path == "dual":
        return ", ".join(filter(None, (PATHS["dual"], SEPARATE_FROM.get(str(separate_from)))))
    return PATHS.get(path, "cannot tell whether one path or two")


INDICATIONS = {
    "idle-noise": ("Idle noise", "shared part"),
    "second-harmonic": ("Second harmonic", "even over odd"),
    "cold-lag": ("Lag of cold at 20 kHz", ""),
    "ratio-against-volume": ("Leg ratio against volume", "spread"),
    "one-leg-drive": ("One input leg driven", "across"),
}
"""Name of an indication of the path, and what its figure is."""

PATH_SAYS = {
    "two-paths": "towards two paths",
    "one-path": "towards one path",
    "nothing": "says nothing",
}

BETWEEN = {
    "differential_channel_balance": "channel balance, between the legs, right over left",
    "single_ended_channel_balance": "channel balance, single-ended, right over left",
    "differential_crosstalk_left_to_right": "crosstalk left to right, between the legs",
    "differential_crosstalk_right_to_left": "crosstalk right to left, between the legs",
    "single_ended_crosstalk_left_to_right": "crosstalk left to right, single-ended",
    "single_ended_crosstalk_right_to_left": "crosstalk right to left, single-ended",
}
"""Facts of both sides together."""

FAULTS = {
    "hot-leg-dead": ("Hot leg dead", "No signal of its own arrives on pin 2."),
    "cold-leg-dead": ("Cold leg dead", "No signal of its own arrives on pin 3."),
    "legs-in-phase": (
        "Legs in phase",
        "Both legs move together, so the difference between them, which is what a balanced input "
        "hears, all but vanishes.",
    ),
    "legs-unequal": (
        "Legs unequal",
        "The levels of the legs differ by more than healthy parts allow.",
    ),
    "leg-impedances-unequal": (
        "Leg impedances unequal",
        "A balanced input rejects less hum from such a pair.",
    ),
    "coupling-capacitor-hot": (
        "Dried coupling capacitor of the hot leg",
        "Impedance and phase of pin 2 change toward low frequencies as with a capacitor that has "
        "lost its capacitance.",
    ),
    "coupling-capacitor-cold": (
        "Dried coupling capacitor of the cold leg",
        "Impedance and phase of pin 3 change toward low frequencies as with a capacitor that has "
        "lost its capacitance.",
    ),
    "pins-swapped": (
        "Pins 2 and 3 exchanged",
        "The maker states pin 2 hot; pin 3 is. Suspect a lead first.",
    ),
    "single-ended-dead": (
        "Single-ended output without signal",
        "It carries none of the tones that the legs carry. Check first that its lead is plugged "
        "in, on the channel that is named for it, and that the output is neither muted nor turned "
        "down, and take it again.",
    ),
}
"""Fault code: what it is called, what it means."""


@dataclass(frozen=True)
class NextTake:
    """One more recording a person can make."""

    name: str
    how: str
    shows: str
    danger: str
    """Which of the cautions belongs in front of it: load, inject, inject-off or connect."""


NEXT_TAKES = {
    "load-hot": NextTake(
        "load on pin 2",
        "Keep both legs on the recorder and join a resistor of about 600 Ω from pin 2 to pin 1. "
        "Same signal, same volume as the open take.",
        "the impedance of pin 2, and what loading pin 2 does to pin 3",
        "load",
    ),
    "load-cold": NextTake(
        "load on pin 3",
        "Keep both legs on the recorder and join a resistor of about 600 Ω from pin 3 to pin 1. "
        "Same signal, same volume as the open take.",
        "the impedance of pin 3, and whether pin 2 follows: legs that float against pin 1 do",
        "load",
    ),
    "load-across": NextTake(
        "load between pins 2 and 3",
        "Keep both legs on the recorder and join a resistor of about 1.2 kΩ between pins 2 and 3, "
        "nothing to pin 1. Same signal, same volume as the open take.",
        "the impedance between the legs",
        "load",
    ),
    "inject-hot": NextTake(
        "test tone into pin 2",
        "Feed a small tone of the bench through 10 kΩ into pin 2, at frequencies the device does "
        "not play, and record both legs.",
        "the impedance of pin 2 and what appears on pin 3",
        "inject",
    ),
    "inject-cold": NextTake(
        "test tone into pin 3",
        "Feed a small tone of the bench through 10 kΩ into pin 3, at frequencies the device does "
        "not play, and record both legs.",
        "the impedance of pin 3 even when it is silent, and what appears on pin 2",
        "inject",
    ),
    "single-ended": NextTake(
        "pin 2 together with the single-ended output",
        "Record pin 2 on one input and the single-ended (RCA) output on the other, in one take. "
        "Same signal, same volume as the open take.",
        "polarity, and how much louder the balanced output is",
        "connect",
    ),
    "second-open": NextTake(
        "the open take once more",
        "Repeat the open take, with nothing but the recorder connected, as the last take.",
        "whether the level moved while the takes were made",
        "connect",
    ),
    "inject-cold-off": NextTake(
        "test tone into pin 3, device switched off",
        "Switch the device off. Feed a tone of at most 50 mV peak through 10 kΩ into pin 3, then "
        "into pin 2 as a control, and record both legs.",
        "whether pin 3 rests on a resistor or on an amplifier that is at work",
        "inject-off",
    ),
}


@dataclass(frozen=True)
class FactWords:
    """How a fact is introduced: its group, its name, and what is meant, reference included."""

    group: str
    name: str
    about: str
    positive: bool = True
    """A magnitude: its interval stops at zero."""
    level: bool = False
    """A voltage whose level in dBu is worth printing."""


_LEVELS = "Levels"
_RATIOS = "Ratios and balance"
_IMPEDANCES = "Impedances"
_NOISE = "Noise, distortion and maximum"
_OTHER = "Corners, direct voltage and the rest"

FACTS = {
    "hot_level": FactWords(_LEVELS, "Hot leg", "pin 2 to pin 1, open circuit, rms", level=True),
    "cold_level": FactWords(_LEVELS, "Cold leg", "pin 3 to pin 1, open circuit, rms", level=True),
    "hot_recorded": FactWords(
        _LEVELS, "Hot leg as recorded", "with the recorder connected, rms", level=True
    ),
    "cold_recorded": FactWords(
        _LEVELS, "Cold leg as recorded", "with the recorder connected, rms", level=True
    ),
    "differential_level": FactWords(
        _LEVELS, "Between the legs", "pin 2 minus pin 3, open circuit, rms", level=True
    ),
    "common_mode_level": FactWords(
        _LEVELS, "Common to the legs", "mean of pins 2 and 3, open circuit, rms", level=True
    ),
    "single_ended_level": FactWords(
        _LEVELS, "Single-ended output", "open circuit, rms, same volume setting", level=True
    ),
    "hot_level_pin_3_tied": FactWords(
        _LEVELS,
        "Hot leg, if pin 3 were tied to pin 1",
        "calculated from the takes, not tried: see the caution",
        level=True,
    ),
    "gain_difference": FactWords(
        _RATIOS, "Gain difference", "dB, between the legs over single-ended", positive=False
    ),
    "leg_ratio": FactWords(_RATIOS, "Leg ratio", "dB, cold over hot, open circuit", positive=False),
    "leg_phase": FactWords(_RATIOS, "Leg phase", "cold against hot, open circuit", positive=False),
    "signal_balance": FactWords(
        _RATIOS,
        "Signal balance",
        "dB, difference over mean of the legs; says nothing about hum",
        positive=False,
    ),
    "output_common_mode_rejection": FactWords(
        _RATIOS,
        "Output common-mode rejection",
        "dB, drive muted, 300 Ω + 300 Ω to the legs and 600 Ω across",
        positive=False,
    ),
    "common_mode_rejection": FactWords(
        _RATIOS,
        "Common-mode rejection of the connection",
        "dB, into the named receiver",
        positive=False,
    ),
    "hot_impedance": FactWords(_IMPEDANCES, "Hot leg", "pin 2 to pin 1, magnitude"),
    "cold_impedance": FactWords(_IMPEDANCES, "Cold leg", "pin 3 to pin 1, magnitude"),
    "impedance_mismatch": FactWords(
        _IMPEDANCES, "Mismatch of the legs", "hot minus cold, magnitude"
    ),
    "differential_impedance": FactWords(
        _IMPEDANCES, "Between the legs", "pin 2 to pin 3, magnitude"
    ),
    "common_mode_impedance": FactWords(
        _IMPEDANCES, "Both legs together", "pins 2 and 3 joined, to pin 1, magnitude"
    ),
    "single_ended_impedance": FactWords(_IMPEDANCES, "Single-ended output", "magnitude"),
    "hot_impedance_off": FactWords(_IMPEDANCES, "Hot leg, device off", "pin 2 to pin 1, magnitude"),
    "cold_impedance_off": FactWords(
        _IMPEDANCES, "Cold leg, device off", "pin 3 to pin 1, magnitude"
    ),
    "coupling_cold_into_hot": FactWords(
        _IMPEDANCES,
        "Coupling, cold into hot",
        "share of a push on pin 3 that appears on pin 2; real part",
        positive=False,
    ),
    "coupling_hot_into_cold": FactWords(
        _IMPEDANCES,
        "Coupling, hot into cold",
        "share of a push on pin 2 that appears on pin 3; real part",
        positive=False,
    ),
    "pin_3_tie_current": FactWords(
        _IMPEDANCES,
        "Current if pin 3 were tied to pin 1",
        "per volt between the legs; calculated, not tried",
    ),
    "differential_gain": FactWords(
        _RATIOS, "Gain between the legs", "dB, over the drive of the input", positive=False
    ),
    "single_ended_gain": FactWords(
        _RATIOS, "Gain, single-ended", "dB, over the drive of the input", positive=False
    ),
    "differential_low_corner": FactWords(_OTHER, "Low corner, between the legs", "-3 dB"),
    "differential_high_corner": FactWords(_OTHER, "High corner, between the legs", "-3 dB"),
    "single_ended_low_corner": FactWords(_OTHER, "Low corner, single-ended", "-3 dB"),
    "single_ended_high_corner": FactWords(_OTHER, "High corner, single-ended", "-3 dB"),
    **{
        f"{output}_{what}{suffix}": FactWords(_NOISE, f"{name}{weighted} {told}", about)
        for what, name, suffix, weighted, about in (
            ("noise", "Noise", "", "", "nothing playing, open circuit, hum included, rms"),
            ("noise", "Noise", "_a", ", A-weighted,", "nothing playing, open circuit, rms"),
            ("hum", "Hum", "", "", "mains lines to 2.5 kHz together, rms"),
            ("thd", "Distortion", "", "", "THD against the total, harmonics up to 20 kHz"),
            ("thd_n", "Distortion and noise", "", "", "THD+N, 20 Hz to 20 kHz"),
        )
        for output, told in (
            ("hot", "on the hot leg"),
            ("cold", "on the cold leg"),
            ("differential", "between the legs"),
            ("single_ended", "of the single-ended output"),
        )
    },
    **{
        f"{output}_maximum": FactWords(_NOISE, f"Most {told}", "at 1 % THD, rms", level=True)
        for output, told in (
            ("hot", "on the hot leg"),
            ("cold", "on the cold leg"),
            ("differential", "between the legs"),
            ("single_ended", "of the single-ended output"),
        )
    },
    **{
        f"{output}_{what}_to_noise{suffix}": FactWords(
            _NOISE, f"{name} {told}{weighted}", "", positive=False
        )
        for what, name in (("signal", "Level over noise"), ("maximum", "Most over noise"))
        for output, told in (
            ("differential", "between the legs"),
            ("single_ended", "of the single-ended output"),
        )
        for suffix, weighted in (("", ""), ("_a", ", A-weighted"))
    },
    "second_harmonic_cancellation": FactWords(
        _NOISE, "Second harmonic cancelled between the legs", "against the legs' mean"
    ),
    "drift": FactWords(_LEVELS, "Drift between open takes", "against the first", positive=False),
    "hot_direct_voltage": FactWords(_OTHER, "Direct voltage, hot", "metered", positive=False),
    "cold_direct_voltage": FactWords(_OTHER, "Direct voltage, cold", "metered", positive=False),
    "single_ended_direct_voltage": FactWords(
        _OTHER, "Direct voltage, single-ended", "metered", positive=False
    ),
}
GROUPS = (_LEVELS, _RATIOS, _IMPEDANCES, _NOISE, _OTHER)


def fact_words(name: str) -> FactWords:
    """Return the words for a fact; one this page has not met yet is shown under its own name."""
    return FACTS.get(name) or FactWords(_OTHER, name.replace("_", " "), "", positive=False)


OPTIONS = {
    "rca-to-rca": "RCA lead, single-ended to single-ended",
    "xlr-to-xlr": "XLR lead, pins 1, 2 and 3 straight through",
    "xlr-to-xlr/transformer": "XLR lead through an audio isolating transformer",
    "xlr-to-rca/pin-3-open": "XLR to RCA: pin 2 to the centre, pin 1 to the shell, pin 3 left open",
    "xlr-to-rca/pin-3-tied-at-source": "XLR to RCA: pin 3 joined to pin 1 at the source",
    "xlr-to-rca/pin-3-tied-at-destination": "XLR to RCA: pin 3 on its own conductor, joined to the "
    "shell at the destination",
    "xlr-to-rca/transformer": "XLR to RCA through an audio isolating transformer",
    "rca-to-xlr/pin-3-tied-at-source": "RCA to XLR: three conductors, pin 3 and shield joined to "
    "the shell at the source",
    "rca-to-xlr/pin-3-tied-at-destination": "RCA to XLR: pin 3 joined to pin 1 at the destination",
    "rca-to-xlr/pin-3-open": "RCA to XLR: pin 3 left open",
    "rca-to-xlr/transformer": "RCA to XLR through an audio isolating transformer",
    "rca-to-rca/transformer": "RCA lead through an audio isolating transformer",
    "digital-75-to-75": "A 75 Ω coaxial lead made for digital",
    "digital-110-to-110": "A 110 Ω balanced lead made for digital",
    "digital-110-to-75/transformer": "Digital transformer 110 to 75 Ω, with its attenuator",
    "digital-110-to-75/transformer-at-destination": "A 110 Ω lead, then a digital transformer 110 "
    "to 75 Ω with its attenuator at the destination",
    "digital-110-to-75/adapter": "Bare plug adapter, 110 to 75 Ω",
    "digital-75-to-110/transformer": "Digital transformer 75 to 110 Ω",
    "digital-75-to-110/transformer-at-source": "A digital transformer 75 to 110 Ω at the source, "
    "then a 110 Ω lead",
    "digital-75-to-110/adapter": "Bare plug adapter, 75 to 110 Ω",
}

VERDICTS = {
    "use": "use this",
    "works": "works",
    "avoid": "avoid",
    "never": "never",
    "cannot-tell": "cannot tell",
}

UNITS = {"percent": "%", "ohm": "Ω", "deg": "°", "1": ""}
"""Units of the documents that people write otherwise."""
