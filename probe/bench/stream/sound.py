"""What an output is to play: samples with their unit, looped or once."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import Enum
from typing import Literal, TypeVar

import numpy as np
from numpy.typing import NDArray

from probe.bench.stream.limits import ASSUMED_VOLTS_FULL_SCALE
from probe.errors import BadInput

T = TypeVar("T")


@dataclass(frozen=True, eq=False)
class Sound:
    """Samples for one output, as they are at a level of 0 dB.

    Attributes
    ----------
    samples
        Shape (frames,): volts at the open terminal, or shares of full scale. A looped sound
        must pass over its end without a step (all its tones whole periods long).
    unit
        What the samples are in.
    loop
        Over and over until it is stopped; else once, its first and last 10 ms faded.
    """

    samples: NDArray[np.float64]
    unit: Literal["volts", "full-scale"] = "full-scale"
    loop: bool = True

    def __post_init__(self) -> None:
        """Refuse what cannot be played."""
        if self.samples.ndim != 1 or self.samples.size == 0:
            raise BadInput("a sound is one row of samples, and not an empty one")
        if not np.all(np.isfinite(self.samples)):
            raise BadInput("a sound holds samples that are no numbers; nothing was played")

    @property
    def peak(self) -> float:
        """Largest sample, in its unit."""
        return float(np.max(np.abs(self.samples)))

    @property
    def step(self) -> float:
        """Largest difference of neighbouring samples, in its unit; over the seam if looped."""
        seam = abs(self.samples[0] - self.samples[-1]) if self.loop else 0.0
        return float(max(seam, np.max(np.abs(np.diff(self.samples)), initial=0.0)))


class Purpose(Enum):
    """What an output is connected to, which decides what it may give."""

    DRIVE = "drive"
    """The device's own input."""
    INJECT = "inject"
    """A leg of a device that is switched on, through a resistor."""
    INJECT_OFF = "inject-off"
    """A leg of a device that is switched off, through a resistor."""
    PIN_3_TIE = "pin-3-tie"
    """The device's input while its pin 3 is tied to pin 1 through 10 ohm."""
    CHECK = "check"
    """The bench itself: loop-back, the reference resistor, a meter."""


@dataclass(frozen=True, eq=False)
class Part:
    """What one output plays, and into what.

    Attributes
    ----------
    output
        Index of the output, from 0.
    through_ohm
        Resistance between the output and the leg; needed where something is injected.
    """

    output: int
    sound: Sound
    purpose: Purpose = Purpose.DRIVE
    through_ohm: float | None = None


@dataclass(frozen=True)
class OutputScale:
    """One output: peak volts at full scale, open circuit, where known; and the user's own limit.

    Attributes
    ----------
    volts_full_scale
        None: never measured.
    most
        Largest peak ever, as a share of full scale.
    """

    volts_full_scale: float | None = None
    most: float = 1.0

    @property
    def volts_for_limits(self) -> float:
        """Volts at full scale where a limit in volts must be kept."""
        return self.volts_full_scale or ASSUMED_VOLTS_FULL_SCALE


@dataclass(frozen=True)
class InputScale:
    """One input: peak volts that read 1.0, where known; and the most it may hear.

    Attributes
    ----------
    volts_full_scale
        None: never measured.
    ceiling
        A sample at or above this (share of full scale) stops the tone; overload does anyway.
    """

    volts_full_scale: float | None = None
    ceiling: float = 1.0


def padded(given: Sequence[T], count: int, default: T) -> tuple[T, ...]:
    """Return as many scales as there are channels; those missing were never measured."""
    return (*given[:count], *(default for _ in range(count - len(given))))
