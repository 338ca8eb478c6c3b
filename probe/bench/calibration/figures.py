"""What is known of a bench: figures with their uncertainty, and how each was found."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Literal

How = Literal[
    "metered", "data-sheet", "assumed", "series", "shunt", "exchanged", "terminated", "loop-back"
]
"""How a figure was found: a multimeter at the terminal; the maker's word; only a usual value; a
known resistor in series; one across; leads exchanged; inputs terminated; outputs to inputs."""

ABSOLUTE: tuple[How, ...] = ("metered", "data-sheet")
"""Origins by which volts are volts; from "assumed" only ratios can be trusted."""


@dataclass(frozen=True)
class Figure:
    """A value and the half-width of its 95 % interval, in the same unit."""

    value: float
    u95: float
    how: How


@dataclass(frozen=True)
class InputFigures:
    """One input.

    Attributes
    ----------
    volts_full_scale
        V peak at the terminal that read 1.0.
    impedance_ohm, capacitance_farad
        To pin 1, lead included.
    noise_volts
        V rms at the terminal, 20 Hz to 20 kHz, without hum; terminated.
    hum_volts
        V rms, mains lines up to 1 kHz together.
    """

    volts_full_scale: Figure
    impedance_ohm: Figure
    capacitance_farad: Figure
    noise_volts: Figure | None = None
    hum_volts: Figure | None = None


@dataclass(frozen=True)
class OutputFigures:
    """One output: V peak open circuit at full scale; its own impedance at 1 kHz."""

    volts_full_scale: Figure
    impedance_ohm: Figure


@dataclass(frozen=True)
class Match:
    """Input 1 over input 2 on one voltage, at each tone: dB, degrees, and their u95."""

    hz: tuple[float, ...]
    db: tuple[float, ...]
    u95_db: tuple[float, ...]
    deg: tuple[float, ...]
    u95_deg: tuple[float, ...]


@dataclass(frozen=True)
class BenchFigures:
    """One interface at one gain setting with one set of leads.

    Attributes
    ----------
    loop_gain
        Full scale of input k reached by full scale of output k without any load, at 1 kHz:
        known from loop-back alone, whatever the volts are.
    crosstalk_db
        Of output and input 1 into input 2, and the reverse, at 1 kHz; and the worst of all tones.
    clock_ppm
        Recorder's clock against the player's.
    drift_db
        How far the match had moved when the first recording was made again at the end.
    """

    interface: str
    gain: str
    leads: str
    mains_hz: float
    sample_rate: int
    made_on: date
    made_by: str
    inputs: tuple[InputFigures, ...]
    outputs: tuple[OutputFigures, ...]
    loop_gain: tuple[Figure, ...]
    match: Match
    common_u95_relative: float
    """Of ``volts_full_scale``: the part all inputs share, which ratios do not feel."""
    thd_percent: tuple[Figure, ...] = ()
    crosstalk_db: tuple[Figure, ...] = ()
    worst_crosstalk_db: float | None = None
    clock_ppm: Figure | None = None
    drift_db: float | None = None
    mains_volts: float | None = None
    """Of the place, for the advice; no figure here rests on it."""

    @property
    def absolute(self) -> bool:
        """Whether volts were found by a meter or said by the maker, not merely assumed."""
        return all(i.volts_full_scale.how in ABSOLUTE for i in self.inputs)
