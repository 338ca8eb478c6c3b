"""What a judgement is, what it is made from, and every limit it goes by, each with its reason."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from probe.bench.planned.steps import Step
from probe.phasors import TakePhasors

WEAK_SHARE = 10.0 ** (-50.0 / 20.0)
"""Peak of the loudest leg, over full scale, below which a take is too weak: 24 bits and an ordinary
interface still leave 50 dB there, but hum and crosstalk no longer stand far enough below."""

SILENT_RATIO = 10.0 ** (-30.0 / 20.0)
"""A leg this far below the other carries no signal of its own."""

HUM_RATIO = 10.0 ** (-26.0 / 20.0)
"""Hum (rms) over the tones (rms) on the loudest leg above which the take is made again: 5 %. The
analysis takes hum out; this much of it is a loop or an open lead."""

VOLUME_MOVED = 10.0 ** (0.5 / 20.0)
"""Level of a leg nothing acts on, over the open take, beyond which the volume was moved: a step of
the finest volume controls, 25 times what a careful bench drifts."""

SAME_SHARE = 0.02
"""Two takes that agree this well in both legs at every tone were wired alike."""

LOAD_SEEN_OHM = 3.0
"""A load must show at least this impedance somewhere, else it is not there (or the leg has less:
then nothing can be told from it)."""

FALLS = 10.0 ** (-3.0 / 20.0)
"""Level of a leg that no resistor is on, over the open take, below which it is not the resistor: a
load of five times the impedance takes 1.6 dB even between the legs, and floating legs rise."""

INPUT_CLIPS = 10.0 ** (-6.0 / 20.0)
"""Peak over full scale below which no input clips by itself: converters do within a decibel of
their full scale, and a stage before them keeps some reserve; what is flattened lower was so when it
came."""

DISTORTED_PERCENT = 1.0
"""THD of a take of one tone above which somebody should look: the usual limit of a maximum."""

UNHEARD_SIGMAS = 3.0
"""Injected tones (rms, each over the noise at its own frequency) below this are not heard: eight
tones of noise alone read 0.6 to 1.4, and any injector on a leg of a thousandth of an ohm far
more."""

CROSSTALK_RATIO = 10.0 ** (-45.0 / 20.0)
"""Everything this far below the open take is what leaks from somewhere else."""

OTHER_SIDE = 10.0 ** (0.1 / 20.0)
"""Sides whose open takes differ by less than this cannot be told apart by their levels."""


@dataclass(frozen=True)
class Judgement:
    """One thing that is wrong with a take.

    Attributes
    ----------
    code
        From `CODES`.
    seen
        What was seen.
    do
        What to do about it.
    again
        Whether the take should be made again; else it is a question to look at.
    """

    code: str
    seen: str
    do: str
    again: bool = True


CODES = (
    "nothing-heard",
    "too-weak",
    "clipped",
    "device-clips",
    "distorted",
    "hum",
    "pin-3-silent",
    "pin-2-silent",
    "legs-exchanged",
    "load-missing",
    "injector-missing",
    "volume-moved",
    "not-as-before",
    "other-side",
    "level-moved",
    "samples-lost",
    "stopped",
    "not-stored",
    "interface-gone",
)


@dataclass(frozen=True)
class Heard:
    """A take as it was just recorded.

    Attributes
    ----------
    step
        What it should be.
    phasors
        What it says.
    peaks
        Largest sample of each input, over full scale.
    rms
        Of each input, over full scale.
    lost
        Whether the card said that samples were lost.
    hum
        Mains hum of each input beside one tone, V rms; empty where it was not looked for.
    percent
        THD of the output a take of one tone is of, by its name; empty where it is none.
    """

    step: Step
    phasors: TakePhasors
    peaks: tuple[float, ...]
    rms: tuple[float, ...]
    lost: bool = False
    hum: tuple[float, ...] = ()
    percent: Mapping[str, float] = field(default_factory=dict)
