"""stage.toml as it is written: keys, types and ranges. What they mean together is in ``build``."""

from __future__ import annotations

from datetime import date
from typing import Annotated, Literal

from pydantic import Field, field_validator

from probe.formats.mains import MainsHertz
from probe.formats.toml import OneLine, Table
from probe.session.model import (
    Channel,
    Connector,
    DrivenSide,
    LoadEnd,
    Output,
    Side,
    Signal,
    State,
    StatedPolarity,
    Terminal,
)
from probe.simulate.netlist import Change, Netlist

FORMAT_WORD = "probe-stage/1"

Preset = Literal[
    "open",
    "open-exchanged",
    "single-ended",
    "inject-cold",
    "inject-hot",
    "inject-single-ended",
    "load-cold",
    "load-hot",
    "load-across",
    "single-ended-loaded",
    "second-open",
    "inject-cold-off",
    "inject-hot-off",
    "idle",
    "idle-exchanged",
    "input-hot",
    "input-cold",
    "sweep",
    "other-side",
    "floor",
    "channel-match",
    "check-hot",
    "check-cold",
]

Listed = Literal["full", Preset]
"""What ``takes`` may list: the presets, and ``full`` for the usual nine of them."""

Name = Annotated[OneLine, Field(min_length=1)]
Positive = Annotated[float, Field(gt=0.0)]
Volts = Annotated[float, Field(ge=1e-6, le=1e5)]
Ohm = Annotated[float, Field(ge=1e-3, le=1e12)]
Percent = Annotated[float, Field(ge=0.0, lt=100.0)]
Error = Annotated[float, Field(gt=-100.0, le=1000.0)]
Seconds = Annotated[float, Field(ge=0.0, le=3600.0)]
Tones = Annotated[tuple[Positive, ...], Field(max_length=1000)]
Phases = Annotated[tuple[float, ...], Field(max_length=1000)]
Parts = dict[str, Change]


class FullOutput(Table):
    """``full_output = { volts = 8.0 }``."""

    volts: Volts


class DeviceTable(Table):
    """``[device]``, copied into the session."""

    maker: Name
    model: Name
    serial: OneLine = ""
    kind: OneLine = ""
    output: Output = "line"
    connectors: Annotated[tuple[Connector, ...], Field(min_length=1)] | None = None
    firmware: OneLine = ""
    stated_polarity: StatedPolarity | None = None
    minimum_load_ohm: Ohm | None = None
    volume_control: bool | None = None
    full_output: FullOutput | None = None


class InputTable(Table):
    """``[[bench.input]]``: a recorder channel as declared; one table alone stands for all."""

    volts_full_scale: Volts = 8.7
    u95_percent: Percent = 0.5
    impedance_ohm: Ohm = 20000.0
    impedance_u95_percent: Percent = 1.0
    capacitance_pf: Annotated[float, Field(ge=0.0, le=1e6)] = 150.0
    capacitance_u95_pf: Annotated[float, Field(ge=0.0, le=1e6)] = 20.0


class OutputTable(Table):
    """``[[bench.output]]``."""

    volts_full_scale: Volts = 4.0
    impedance_ohm: Ohm = 100.0


class BenchTable(Table):
    """``[bench]``: what the session declares."""

    interface: OneLine = "simulated bench"
    mains_hz: MainsHertz = 50.0
    recorded_on: date | None = None
    repeatability_db: Annotated[float, Field(ge=0.0, le=3.0)] | None = None
    input: tuple[InputTable, ...] = (InputTable(),)
    output: tuple[OutputTable, ...] = (OutputTable(),)


class HumTable(Table):
    """One line of hum on one channel."""

    hz: Positive
    microvolts: Annotated[float, Field(ge=0.0)]
    phase_deg: float = 0.0


class DeviceHumTable(Table):
    """One line of hum of the device's own, at each terminal with nothing connected."""

    hz: Positive
    hot_microvolts: Annotated[float, Field(ge=0.0)] = 0.0
    cold_microvolts: Annotated[float, Field(ge=0.0)] = 0.0
    single_ended_microvolts: Annotated[float, Field(ge=0.0)] = 0.0
    phase_deg: float = 0.0
    cold_phase_deg: float | None = None


Nanovolts = Annotated[float, Field(ge=0.0, le=1e6)]


class DeviceNoiseTable(Table):
    """``[device_noise]``: noise of the device's own, open circuit, V per root hertz."""

    core_nv: Nanovolts = 0.0
    hot_nv: Nanovolts = 0.0
    cold_nv: Nanovolts = 0.0
    single_ended_nv: Nanovolts = 0.0
    corner_hz: Annotated[float, Field(ge=0.0, le=1e6)] = 0.0
    idle_db: Annotated[float, Field(ge=-200.0, le=0.0)] = 0.0
    idle_after_s: Annotated[float, Field(ge=0.0, le=36000.0)] = 0.0
    hum: tuple[DeviceHumTable, ...] = ()


class CurveTable(Table):
    """``y = v + second v² + third v³``, then flat at ``clip_volts`` peak; v in volts."""

    second: Annotated[float, Field(ge=-10.0, le=10.0)] = 0.0
    third: Annotated[float, Field(ge=-10.0, le=10.0)] = 0.0
    clip_volts: Volts | None = None


class NonlinearTable(Table):
    """``[nonlinear]``: what each terminal does to its own voltage."""

    hot: CurveTable = CurveTable()
    cold: CurveTable = CurveTable()
    single_ended: CurveTable = CurveTable()


class TrueInputTable(Table):
    """``[[truth.input]]``: a recorder channel as it is; one table alone stands for all."""

    gain_percent: Error | None = None
    impedance_percent: Error | None = None
    capacitance_pf: float | None = None
    noise_nv: Annotated[float, Field(ge=0.0, le=1e6)] = 30.0
    noise_corner_hz: Annotated[float, Field(ge=0.0, le=1e6)] = 0.0
    hum: tuple[HumTable, ...] = ()
    second: Annotated[float, Field(ge=-10.0, le=10.0)] = 0.0
    third: Annotated[float, Field(ge=-10.0, le=10.0)] = 0.0


class GeneratorTable(Table):
    """``[truth.generator]``: what the interface's outputs bend, on the virtual bench alone."""

    second: Annotated[float, Field(ge=-10.0, le=10.0)] = 0.0
    third: Annotated[float, Field(ge=-10.0, le=10.0)] = 0.0


class TruthTable(Table):
    """``[truth]``: what the session does not say."""

    draw: bool = False
    clock_ppm: Annotated[float, Field(ge=-5000.0, le=5000.0)] = 0.0
    drift_db: Annotated[float, Field(ge=0.0, le=3.0)] = 0.0
    crosstalk_db: Annotated[float, Field(le=0.0)] | None = None
    injector_percent: Error | None = None
    injector_clock: Literal["player", "recorder"] = "player"
    parts_percent: dict[str, Error] = Field(default_factory=dict)
    input: tuple[TrueInputTable, ...] = (TrueInputTable(),)
    generator: GeneratorTable = GeneratorTable()


class DriveTable(Table):
    """``[drive]``: what the device plays."""

    tones_hz: Tones | None = None
    phases_deg: Phases | None = None
    volts: Volts | None = None
    file_volts_full_scale: Volts | None = None
    tell_phases: bool = True


class InjectorTable(Table):
    """``[injector]``: what the preset takes inject."""

    tones_hz: Tones | None = None
    phases_deg: Phases | None = None
    volts: Volts = 0.12
    volts_off: Volts = 0.004
    volts_u95_percent: Percent = 0.5
    through_ohm: Ohm = 10000.0
    u95_percent: Percent = 0.1
    part: Name = "R2"
    tell_phases: bool = True


class LoaderTable(Table):
    """``[loads]``: the resistors of the preset takes."""

    leg_ohm: Ohm = 604.0
    across_ohm: Ohm = 1210.0
    single_ended_ohm: Ohm = 2210.0
    u95_percent: Percent = 0.1


class SideTable(Table):
    """``[side.left]`` and so on: where one side is another circuit."""

    circuit: Name | None = None
    parts: Parts = Field(default_factory=dict)


class SideCrosstalkTable(Table):
    """``[side_crosstalk]``: what reaches a side's input while only the other one plays."""

    db: Annotated[float, Field(ge=-300.0, le=0.0)]
    corner_hz: Annotated[float, Field(ge=0.0, le=1e6)] = 0.0


class TolerancesTable(Table):
    """``[tolerances]``: a seed, and percent by grade where other than the library's."""

    seed: Annotated[int, Field(ge=0)]
    resistor: Percent | None = None
    matched: Percent | None = None
    wiring: Percent | None = None
    capacitor: Percent | None = None
    electrolytic: Percent | None = None
    stray: Percent | None = None
    inductor: Percent | None = None
    amplifier: Percent | None = None


class MeterTable(Table):
    """``[[meter]]``, copied into the session."""

    side: Side
    between: tuple[LoadEnd, LoadEnd]
    volts_dc: float | None = None
    volts_ac: Annotated[float, Field(ge=0.0)] | None = None


class LoadTable(Table):
    """One entry of ``load``."""

    from_: LoadEnd = Field(alias="from")
    to: LoadEnd
    ohm: Ohm
    u95_percent: Percent = 0.1
    part: Name


class InjectTable(Table):
    """One entry of ``inject``."""

    into: Terminal
    through_ohm: Ohm
    u95_percent: Percent = 0.1
    part: Name
    volts: Annotated[float, Field(ge=0.0, le=1e3)]
    volts_u95_percent: Percent = 0.5
    tones_hz: Tones = ()
    phases_deg: Phases | None = None
    tell_phases: bool = True


class StepTable(Table):
    """``level_step``: the level moves during the take."""

    at_s: Seconds
    db: Annotated[float, Field(ge=-120.0, le=40.0)]


class TakeTable(Table):
    """``[[take]]``: a preset, or all of it; what is said beside a preset replaces its part."""

    preset: Preset | None = None
    name: Name | None = None
    file: Name | None = None
    side: Side | None = None
    channels: Annotated[tuple[Channel, ...], Field(min_length=1, max_length=64)] | None = None
    signal: Signal = "multitone"
    tones_hz: Tones | None = None
    phases_deg: Phases | None = None
    drive_volts: Volts | None = None
    volume: OneLine | None = None
    state: State = "play"
    driven_input_leg: Literal["both", "hot", "cold"] = "both"
    driven_side: DrivenSide | Literal["other"] = "both"
    from_hz: Positive | None = None
    to_hz: Positive | None = None
    sweep_s: Annotated[float, Field(gt=0.0, le=600.0)] | None = None
    volts_full_scale: tuple[Volts, ...] | None = None
    timebase: Name | None = None
    start_frame: Annotated[int, Field(ge=0, le=10**12)] | None = None
    load: Annotated[tuple[LoadTable, ...], Field(max_length=20)] = ()
    inject: Annotated[tuple[InjectTable, ...], Field(max_length=3)] = ()
    seconds: Annotated[float, Field(gt=0.0, le=36000.0)] | None = None
    sample_rate: Annotated[int, Field(ge=44100, le=384000)] | None = None
    silence_before_s: Seconds | None = None
    silence_after_s: Seconds | None = None
    fade_s: Seconds | None = None
    level_step: StepTable | None = None
    level_db: tuple[float, ...] | None = None
    levels_volts: Annotated[tuple[Volts, ...], Field(min_length=1, max_length=1000)] | None = None
    step_s: Annotated[float, Field(gt=0.0, le=36000.0)] | None = None
    delay_s: Annotated[float, Field(ge=-1e6, le=1e6)] | None = None
    parts: Parts = Field(default_factory=dict)


class StageTable(Table):
    """The whole document."""

    circuit: Name | None = None
    netlist: Netlist | None = None
    seed: Annotated[int, Field(ge=0)] = 1
    sides: Annotated[tuple[Side, ...], Field(min_length=1)] = ("left",)
    phase: Literal["reference", "stream", "none"] = "reference"
    takes: tuple[Listed, ...] | None = None
    sample_rate: Annotated[int, Field(ge=44100, le=384000)] = 48000
    seconds: Annotated[float, Field(gt=0.0, le=36000.0)] = 2.0
    silence_before_s: Seconds = 0.0
    silence_after_s: Seconds = 0.0
    silence_spread_s: Seconds = 0.0
    fade_s: Seconds = 0.0
    volume: OneLine = ""
    container: Literal["wav", "rf64", "flac", "smaller"] = "wav"
    sample: Literal["PCM_16", "PCM_24", "PCM_32", "FLOAT", "DOUBLE"] = "PCM_24"
    device: DeviceTable
    parts: Parts = Field(default_factory=dict)
    side: dict[Side, SideTable] = Field(default_factory=dict)
    tolerances: TolerancesTable | None = None
    side_crosstalk: SideCrosstalkTable | None = None
    volumes: dict[str, Annotated[float, Field(ge=-200.0, le=60.0)]] = Field(default_factory=dict)
    drive: DriveTable = DriveTable()
    injector: InjectorTable = InjectorTable()
    loads: LoaderTable = LoaderTable()
    bench: BenchTable = BenchTable()
    truth: TruthTable = TruthTable()
    device_noise: DeviceNoiseTable = DeviceNoiseTable()
    nonlinear: NonlinearTable = NonlinearTable()
    meter: tuple[MeterTable, ...] = ()
    take: Annotated[tuple[TakeTable, ...], Field(max_length=500)] = ()

    @field_validator("takes", mode="before")
    @classmethod
    def _one_word_is_a_list(cls, value: object) -> object:
        """Take ``takes = "full"`` as well as ``takes = ["full"]``."""
        return (value,) if isinstance(value, str) else value
