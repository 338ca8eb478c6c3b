"""What is plugged, in which order, for a calibration and for the check before a session."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Signal = Literal["nothing", "both", "first", "second", "one tone", "meter tone", "two sets"]
"""What plays: nothing; the tones on both outputs; on one; one tone on both; one for a meter;
different tones on each output."""

STRAIGHT, CROSSED = "straight", "crossed"


@dataclass(frozen=True)
class Recording:
    """One recording of a step: its word, and what plays in it."""

    word: str
    signal: Signal


@dataclass(frozen=True)
class Wiring:
    """One way of plugging, and what is recorded with it.

    Attributes
    ----------
    word
        ``straight``, ``series-1`` and so on.
    title
        In a few words.
    plug
        What to plug, as lines of a drawing and sentences.
    caution
        What to mind before anything sounds.
    meter
        Whether the multimeter is read in it.
    """

    word: str
    title: str
    plug: tuple[str, ...]
    caution: str
    recordings: tuple[Recording, ...]
    meter: bool = False


NO_DEVICE = (
    "No device is connected. Phantom power off on every input. Loudspeakers and headphones off "
    "or unplugged: the interface plays the same on its monitor outputs."
)
SAME_KNOBS = "Leave every knob and switch of the interface as it is until the end."
LOUD = (
    "The tones come up slowly from -60 dB to a level the inputs can take. Local electrical codes "
    "and the makers' instructions come first; nothing here needs an opened box."
)

_STRAIGHT = ("output 1 ─────────── input 1", "output 2 ─────────── input 2")


def wirings(series_ohm: float, shunt_ohm: float, *, meter: bool) -> tuple[Wiring, ...]:
    """Return the steps of a calibration, in the order that moves the fewest plugs."""
    series, shunt = f"{series_ohm:g} ohm", f"{shunt_ohm:g} ohm"
    found = [
        Wiring(
            "floor",
            "inputs terminated",
            (
                "input 1 ── 100 ohm ── ground        nothing plays",
                "input 2 ── 100 ohm ── ground",
                "The reference plug (100 ohm from A to G and from B to G) on the lead.",
            ),
            f"{NO_DEVICE} {SAME_KNOBS}",
            (Recording("floor", "nothing"),),
        ),
        Wiring(
            STRAIGHT,
            "each output to its input",
            (*_STRAIGHT, "Through the lead that will be used: A is input 1, B is input 2."),
            LOUD,
            (
                Recording("first", "first"),
                Recording("second", "second"),
                Recording(STRAIGHT, "both"),
                Recording("one-tone", "one tone"),
            ),
        ),
    ]
    if meter:
        found.append(
            Wiring(
                "meter",
                "the multimeter at input 1",
                (
                    *_STRAIGHT,
                    "multimeter, alternating volts: one lead to A, one to G, nothing else moved.",
                ),
                "Only the meter's own probes, only at A and G; fingers off the metal.",
                (Recording("meter", "meter tone"),),
                meter=True,
            )
        )
    for k in (1, 2):
        other = 3 - k
        found += [
            Wiring(
                f"shunt-{k}",
                f"a resistor across input {k}",
                (
                    f"output {k} ──┬──────── input {k}",
                    f"           [{shunt}]",
                    "           └──────── ground",
                    f"output {other} ─────────── input {other}",
                    f"The load plug ({shunt}) at {'AB'[k - 1]} and G; everything else as before.",
                    *(
                        ("Take the meter's probes off: they load the input.",)
                        if meter and k == 1
                        else ()
                    ),
                ),
                "The interface drives the resistor: a line output takes no harm.",
                (Recording(f"shunt-{k}", "both"),),
            ),
            Wiring(
                f"series-{k}",
                f"a resistor before input {k}",
                (
                    f"output {k} ──[{series}]── input {k}",
                    f"output {other} ─────────── input {other}",
                    f"The injector ({series}) between output {k} and {'AB'[k - 1]}.",
                ),
                "Take the load plug out again.",
                (Recording(f"series-{k}", "both"),),
            ),
        ]
    found += [
        Wiring(
            CROSSED,
            "leads exchanged",
            (
                "output 1 ─────────── input 2",
                "output 2 ─────────── input 1",
                "Exchange the plugs at the outputs; the lead stays on the inputs.",
            ),
            "Take the injector out again.",
            (Recording("crossed-first", "first"), Recording(CROSSED, "both")),
        ),
        Wiring(
            "straight-again",
            "as at the beginning",
            (*_STRAIGHT, "Exchange the plugs at the outputs back."),
            SAME_KNOBS,
            (Recording("straight-again", "both"),),
        ),
    ]
    return tuple(found)


def check_wiring(injector_ohm: float, reference_ohm: float, *, both: bool) -> Wiring:
    """Return the one take of the check before a session."""
    injector, reference = f"{injector_ohm:g} ohm", f"{reference_ohm:g} ohm"
    second = (
        f"output 2 ──[{injector}]──┬── input 2 (B)"
        if both
        else "                       ┌── input 2 (B)"
    )
    return Wiring(
        "check",
        "the reference in place of the device",
        (
            f"output 1 ──[{injector}]──┬── input 1 (A)",
            f"                       [{reference}] ── ground (G)",
            second,
            f"                       [{reference}] ── ground (G)",
            "The reference plug on the lead, the injector on A"
            + (", a second one on B." if both else "."),
        ),
        f"{NO_DEVICE} {SAME_KNOBS}",
        (Recording("check", "two sets" if both else "first"),),
    )
