"""A stage to be simulated, with nothing left to chance or default: SI units, every draw made."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

from probe.session.model import (
    Bench,
    Channel,
    Device,
    DrivenSide,
    Injection,
    Load,
    MeterReading,
    RecorderInput,
    Side,
    Signal,
    State,
    Sweep,
)
from probe.simulate.circuit import Circuit

DrivenLeg = Literal["both", "hot", "cold"]
Container = Literal["wav", "rf64", "flac", "smaller"]


PLAYING = ("multitone", "tone", "level-steps", "sweep", "channel-match", "loop-back")
"""Signals in which something plays."""


@dataclass(frozen=True)
class HumLine:
    """One line of hum on one channel: V rms at the terminal, phase of a cosine (rad)."""

    hz: float
    volts: float
    phase_rad: float


@dataclass(frozen=True)
class Bend:
    """``y = v + second v² + third v³``, then flat at ``clip_volts``; volts, peak."""

    second: float = 0.0
    third: float = 0.0
    clip_volts: float = math.inf

    @property
    def straight(self) -> bool:
        """True where it changes nothing."""
        return self.second == 0.0 and self.third == 0.0 and math.isinf(self.clip_volts)


@dataclass(frozen=True)
class DeviceNoise:
    """Noise of the device's own with nothing connected.

    Attributes
    ----------
    core
        Density, V/sqrt(Hz), of a source ahead of all outputs: hot and the single-ended output
        carry it, cold carries it inverted.
    hot, cold, single_ended
        Densities of what each terminal adds.
    corner_hz
        As in `TrueInput`, of all of them.
    idle_ratio, idle_after_s
        In a take where nothing plays noise is multiplied by this from this instant on.
    hum
        For each line its frequency and phasors, V rms, at hot, cold and the single-ended output.
    """

    core: float = 0.0
    hot: float = 0.0
    cold: float = 0.0
    single_ended: float = 0.0
    corner_hz: float = 0.0
    idle_ratio: float = 1.0
    idle_after_s: float = 0.0
    hum: tuple[tuple[float, complex, complex, complex], ...] = ()

    @property
    def silent(self) -> bool:
        """True where there is none."""
        return not (self.core or self.hot or self.cold or self.single_ended or self.hum)


@dataclass(frozen=True)
class TrueInput:
    """A recorder channel as it is.

    Attributes
    ----------
    gain
        What it reads over what stands at its terminal, by its declared scale; 1 is right.
    ohm, farad
        Its real input, to pin 1.
    noise_density
        White part, V/sqrt(Hz) at the terminal.
    noise_corner_hz
        Where the part falling with frequency (in power) equals the white one; 0: none.
    """

    gain: float
    ohm: float
    farad: float
    noise_density: float
    noise_corner_hz: float
    hum: tuple[HumLine, ...] = ()
    bend: Bend = Bend()


@dataclass(frozen=True)
class TrueBench:
    """The bench as it is, one `TrueInput` for each channel.

    Attributes
    ----------
    parts
        True ohms over declared, by part; absent: 1.
    injector
        True e.m.f. over declared.
    clock_error
        Recorder rate over nominal, seen from the player, minus one.
    crosstalk
        What each channel picks up of each other one, voltage ratio.
    injector_clock
        Whose clock the injected tones keep.
    generator
        What the interface's outputs bend, volts peak; the virtual bench plays through it.
    """

    inputs: tuple[TrueInput, ...]
    parts: Mapping[str, float] = field(default_factory=dict)
    injector: float = 1.0
    clock_error: float = 0.0
    crosstalk: float = 0.0
    injector_clock: Literal["player", "recorder"] = "player"
    generator: Bend = Bend()


@dataclass(frozen=True)
class SideCrosstalk:
    """What drives a side while only the other one plays.

    ``ratio`` of its drive, flat up to ``corner_hz`` and rising from there (0: flat throughout).
    """

    ratio: float = 0.0
    corner_hz: float = 0.0


@dataclass(frozen=True)
class TakeSpec:
    """One recording to be made.

    Attributes
    ----------
    inputs
        As declared, one per channel, with this take's own scale.
    circuit
        The stage as it is during this take.
    drive_volts
        V rms per tone between the legs of the device's input; 0 where it plays nothing.
    gain
        Of the volume setting, voltage ratio.
    delay_s
        Instant, in the file, of the first sample the player played (may lie before the file).
    seconds, silence_before_s, silence_after_s, fade_s
        Of the tone, before it, after it, and of each of its two ramps (inside the tone).
    step_at_s, step_ratio
        From this instant of the file on, the level is multiplied by this ratio.
    levels
        One per channel: level of this take over nominal (drift between takes).
    noise_seed
        Of its noise, its dither and the phase of its hum.
    """

    name: str
    file: str
    side: Side
    channels: tuple[Channel, ...]
    inputs: tuple[RecorderInput, ...]
    scaled: bool
    signal: Signal
    circuit: Circuit
    tones_hz: tuple[float, ...]
    phases_rad: tuple[float, ...]
    tell_phases: bool
    drive_volts: float
    drive_dbfs: float | None
    volume: str
    gain: float
    state: State
    driven_input_leg: DrivenLeg
    timebase: str | None
    start_frame: int
    loads: tuple[Load, ...]
    injections: tuple[Injection, ...]
    tell_injected_phases: bool
    sample_rate: int
    seconds: float
    silence_before_s: float
    silence_after_s: float
    fade_s: float
    step_at_s: float
    step_ratio: float
    delay_s: float
    levels: tuple[float, ...]
    noise_seed: tuple[int, ...]
    levels_volts: tuple[float, ...] = ()
    """Of level steps: drive of each step, V rms; ``drive_volts`` is the largest."""
    step_s: float = 0.0
    driven_side: DrivenSide = "both"
    side_crosstalk: SideCrosstalk = SideCrosstalk()
    sweep: Sweep | None = None

    @property
    def crosstalk(self) -> bool:
        """True where only the other side plays."""
        return self.driven_side not in ("both", self.side)

    @property
    def frames(self) -> int:
        """Length of the file."""
        return round(
            (self.silence_before_s + self.seconds + self.silence_after_s) * self.sample_rate
        )

    @property
    def plays(self) -> bool:
        """True where the device (or, for a take of the bench, its output) plays tones."""
        return self.state == "play" and self.signal in PLAYING

    @property
    def hears_device(self) -> bool:
        """False: a take of the bench itself."""
        return self.signal not in ("floor", "channel-match", "loop-back", "check")

    @property
    def powered(self) -> bool:
        """False: the amplifiers have no supply."""
        return self.state in ("play", "mute")


@dataclass(frozen=True)
class StageSpec:
    """Everything a simulated session consists of.

    ``circuits`` holds the stage of each side, tolerances drawn. ``origin`` says in words what
    was simulated; ``source`` is the text of the stage.toml it came from, or None.
    """

    device: Device
    connectors_said: bool
    bench: Bench
    true: TrueBench
    circuits: Mapping[Side, Circuit]
    meters: tuple[MeterReading, ...]
    takes: tuple[TakeSpec, ...]
    container: Container
    sample: str
    origin: str
    source: str | None = None
    noise: DeviceNoise = DeviceNoise()
    bends: tuple[Bend, Bend, Bend] = (Bend(), Bend(), Bend())
    """Of hot, cold and the single-ended output."""
