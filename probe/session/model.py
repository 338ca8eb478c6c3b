"""A session as data: the device, the bench and its takes, in SI units.

Percent and picofarads of the file become relative figures and farads here; a default that
was filled in because the file said nothing is recorded in ``Session.assumptions``.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date
from pathlib import Path
from typing import Literal

Terminal = Literal["hot", "cold", "single-ended"]
LoadEnd = Literal["hot", "cold", "single-ended", "ground"]
Channel = Literal["hot", "cold", "single-ended", "reference", "difference", "unused"]
Side = Literal["left", "right", "mono"]
Signal = Literal[
    "multitone",
    "tone",
    "level-steps",
    "sweep",
    "idle",
    "floor",
    "channel-match",
    "loop-back",
    "check",
]
State = Literal["play", "mute", "standby", "off"]
Output = Literal["line", "headphone", "speaker"]
Connector = Literal["xlr", "rca", "digital-75", "digital-110"]
DrivenSide = Literal["both", "left", "right"]
StatedPolarity = Literal["pin-2-hot", "pin-3-hot"]


@dataclass(frozen=True)
class Device:
    """The device under test, as the person at the bench names it."""

    maker: str
    model: str
    serial: str = ""
    kind: str = ""
    output: Output = "line"
    output_declared: bool = True
    """Somebody said which it is; False: it is taken as a line output."""
    connectors: tuple[Connector, ...] = ("xlr", "rca")
    firmware: str = ""
    stated_polarity: StatedPolarity | None = None
    minimum_load_ohm: float | None = None
    volume_control: bool | None = None
    """Whether it has one of its own; None: not stated."""
    full_output_volts: float | None = None
    """The most it gives, differential, V rms, when known."""


@dataclass(frozen=True)
class RecorderInput:
    """One recorder channel.

    ``volts_full_scale`` is the peak voltage at the terminal that reads 1.0 in the file;
    ``*_u95_relative`` are expanded uncertainties (k = 2) as a fraction, not in percent.
    ``common_u95_relative`` is the part of ``u95_relative`` that all inputs share (the meter they
    were all calibrated by): it acts on levels, and cancels from ratios of inputs.
    """

    volts_full_scale: float
    u95_relative: float
    impedance_ohm: float
    impedance_u95_relative: float
    capacitance_farad: float
    capacitance_u95_farad: float
    common_u95_relative: float = 0.0

    @property
    def own_u95_relative(self) -> float:
        """Return what is left of ``u95_relative`` beside the common part."""
        return float(max(self.u95_relative**2 - self.common_u95_relative**2, 0.0) ** 0.5)


@dataclass(frozen=True)
class BenchOutput:
    """One output of the bench: peak volts open circuit at full scale, and its own impedance."""

    volts_full_scale: float
    impedance_ohm: float


@dataclass(frozen=True)
class Bench:
    """The recorder's figures and the conditions of the session."""

    interface: str
    mains_hz: float
    recorded_on: date | None
    repeatability_db: float | None
    """Level between takes, one standard deviation per take and leg; None: not declared."""
    inputs: tuple[RecorderInput, ...]
    outputs: tuple[BenchOutput, ...] = ()
    calibrated_on: date | None = None
    """The day its figures were measured on; None: not stated."""
    mains_volts: float | None = None
    """Mains voltage of the place; nothing measured here rests on it, some advice does."""


@dataclass(frozen=True)
class MeterReading:
    """A multimeter reading between two terminals before anything was connected, volts."""

    side: Side
    between: tuple[LoadEnd, LoadEnd]
    volts_dc: float | None
    volts_ac: float | None


@dataclass(frozen=True)
class Load:
    """A resistor switched between two terminals. Same ``part``: the same physical resistor."""

    from_: LoadEnd
    to: LoadEnd
    ohm: float
    u95_relative: float
    part: str


@dataclass(frozen=True)
class Injection:
    """A source of e.m.f. ``volts`` (rms per tone, 0: plugged in but silent) behind a resistor."""

    into: Terminal
    through_ohm: float
    u95_relative: float
    part: str
    volts: float
    volts_u95_relative: float
    tones_hz: tuple[float, ...]
    phases_rad: tuple[float, ...] | None


@dataclass(frozen=True)
class Sweep:
    """An exponential sweep: from, to (Hz) and duration (s)."""

    from_hz: float
    to_hz: float
    seconds: float


@dataclass(frozen=True)
class LevelSteps:
    """A tone rising in steps: volts rms of each step and the duration of one step (s)."""

    levels_volts: tuple[float, ...]
    step_s: float


@dataclass(frozen=True)
class Take:
    """One recording and what was plugged and played while it was made."""

    name: str
    """As declared, or the file's name where none was declared. Unique in a session."""
    file: str
    """As written in the session, relative to its folder."""
    path: Path
    side: Side
    channels: tuple[Channel, ...]
    inputs: tuple[RecorderInput, ...]
    """One per WAV channel, with this take's own ``volts_full_scale`` already applied."""
    signal: Signal
    tones_hz: tuple[float, ...]
    phases_rad: tuple[float, ...] | None
    drive_volts: float | None
    drive_dbfs: float | None
    volume: str
    state: State
    driven_input_leg: Literal["both", "hot", "cold"]
    timebase: str | None
    start_frame: int
    loads: tuple[Load, ...]
    injections: tuple[Injection, ...]
    sample_rate: int
    frames: int
    sweep: Sweep | None = None
    level_steps: LevelSteps | None = None
    driven_side: DrivenSide = "both"
    """Which half of the device plays; the other half is heard for crosstalk."""

    @property
    def crosstalk(self) -> bool:
        """True where only the other half plays: what is heard is crosstalk."""
        return self.driven_side not in ("both", self.side)


@dataclass(frozen=True)
class Assumption:
    """A figure the file left out, and what was taken instead; becomes a warning."""

    where: str
    message: str


@dataclass(frozen=True)
class RefusedLoad:
    """A load that was tried before its take and not used; ``seen``: why, in a few words."""

    side: Side
    volume: str
    loads: tuple[Load, ...]
    seen: str


Kept = Literal["player-path", "bench-check", "output-clips"]
"""What a finding that was kept is about."""


@dataclass(frozen=True)
class KeptAlthough:
    """Something found wrong while measuring, and kept; ``seen``: what, in a few words.

    ``side``, ``volume`` and ``take`` (its name): of what; None and empty where it is about all of
    the session.
    """

    about: Kept
    seen: str
    side: Side | None = None
    volume: str = ""
    take: str = ""


@dataclass(frozen=True)
class Session:
    """A folder of takes, read and checked."""

    folder: Path
    toml_path: Path
    device: Device
    bench: Bench
    meters: tuple[MeterReading, ...]
    takes: tuple[Take, ...]
    assumptions: tuple[Assumption, ...] = field(default=())
    refused_loads: tuple[RefusedLoad, ...] = field(default=())
    kept_although: tuple[KeptAlthough, ...] = field(default=())
    likely: tuple[str, ...] = ()
    """Files of takes of which a draft's likely answer was never checked, one for each answer."""

    @property
    def sides(self) -> tuple[Side, ...]:
        """The sides that have at least one take, in the order left, right, mono."""
        order: tuple[Side, ...] = ("left", "right", "mono")
        return tuple(s for s in order if any(t.side == s for t in self.takes))
