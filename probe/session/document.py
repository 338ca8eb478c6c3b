"""session.toml as it is written: keys, types and ranges of single values.

What concerns several keys at once, or the audio files, is checked in ``read``. The ranges are
wide: they only keep out what cannot be meant (a unit mistaken, a figure of the wrong key).
"""

from __future__ import annotations

from datetime import date
from typing import Annotated, Literal

from pydantic import Field

from probe.formats.mains import MainsHertz, MainsVolts
from probe.formats.toml import OneLine, Table
from probe.session.model import (
    Channel,
    Connector,
    DrivenSide,
    Kept,
    LoadEnd,
    Output,
    Side,
    Signal,
    State,
    StatedPolarity,
    Terminal,
)

FORMAT_WORD = "probe-session/1"

MOST_TONES = 1000
"""Tones of one take; a multitone for a bench has tens."""

Name = Annotated[OneLine, Field(min_length=1)]
Volts = Annotated[float, Field(ge=1e-6, le=1e5)]
"""Microvolts to 100 kV: outside, a unit was mistaken."""
Ohm = Annotated[float, Field(ge=1e-3, le=1e12)]
"""A milliohm is a contact, a teraohm an insulator; an ideal short or open end is no resistor."""
Percent = Annotated[float, Field(ge=0.0, lt=100.0)]
Picofarad = Annotated[float, Field(ge=0.0, le=1e6)]
Hertz = Annotated[float, Field(gt=0.0)]
Degrees = Annotated[float, Field(ge=-1e6, le=1e6)]
Tones = Annotated[tuple[Hertz, ...], Field(max_length=MOST_TONES)]
Phases = Annotated[tuple[Degrees, ...], Field(max_length=MOST_TONES)]


class FullOutput(Table):
    """``full_output = { volts = 8.0 }``: the most the device gives, differential, V rms."""

    volts: Volts


class DeviceTable(Table):
    """``[device]``."""

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
    """``[[bench.input]]``: one recorder channel."""

    volts_full_scale: Volts
    u95_percent: Percent | None = None
    impedance_ohm: Ohm
    impedance_u95_percent: Percent | None = None
    capacitance_pf: Picofarad | None = None
    capacitance_u95_pf: Picofarad | None = None


class OutputTable(Table):
    """``[[bench.output]]``: one output of the bench."""

    volts_full_scale: Volts
    u95_percent: Percent | None = None
    impedance_ohm: Annotated[float, Field(ge=0.0, le=1e6)]


class BenchTable(Table):
    """``[bench]``."""

    interface: OneLine = ""
    mains_hz: MainsHertz
    mains_v: MainsVolts | None = None
    recorded_on: date | None = None
    calibrated_on: date | None = None
    repeatability_db: Annotated[float, Field(ge=0.0, le=3.0)] | None = None
    common_u95_percent: Annotated[float, Field(ge=0.0, le=100.0)] = 0.0
    input: Annotated[tuple[InputTable, ...], Field(min_length=1)]
    output: tuple[OutputTable, ...] = ()


class MeterTable(Table):
    """``[[meter]]``: a multimeter reading."""

    side: Side
    between: tuple[LoadEnd, LoadEnd]
    volts_dc: Annotated[float, Field(ge=-1e5, le=1e5)] | None = None
    volts_ac: Annotated[float, Field(ge=0.0, le=1e5)] | None = None


class LoadTable(Table):
    """One entry of ``load``."""

    from_: LoadEnd = Field(alias="from")
    to: LoadEnd
    ohm: Ohm
    u95_percent: Percent | None = None
    part: Name | None = None


class InjectTable(Table):
    """One entry of ``inject``."""

    into: Terminal
    through_ohm: Ohm
    u95_percent: Percent | None = None
    part: Name | None = None
    volts: Annotated[float, Field(ge=0.0, le=1e3)]
    volts_u95_percent: Percent | None = None
    tones_hz: Tones = ()
    phases_deg: Phases | None = None


class TakeTable(Table):
    """``[[take]]``."""

    name: Name | None = None
    file: Name
    side: Side
    channels: Annotated[tuple[Channel, ...], Field(min_length=1, max_length=1024)]
    signal: Signal
    tones_hz: Tones = ()
    phases_deg: Phases | None = None
    drive_volts: Volts | None = None
    drive_dbfs: Annotated[float, Field(ge=-200.0, le=3.1)] | None = None
    volume: OneLine = ""
    state: State = "play"
    driven_input_leg: Literal["both", "hot", "cold"] = "both"
    driven_side: DrivenSide = "both"
    volts_full_scale: tuple[Volts, ...] | None = None
    timebase: Name | None = None
    start_frame: Annotated[int, Field(ge=0, le=10**12)] | None = None
    from_hz: Hertz | None = None
    to_hz: Hertz | None = None
    sweep_s: Annotated[float, Field(gt=0.0, le=86400.0)] | None = None
    levels_volts: Annotated[tuple[Volts, ...], Field(min_length=1, max_length=1000)] | None = None
    step_s: Annotated[float, Field(gt=0.0, le=86400.0)] | None = None
    load: Annotated[tuple[LoadTable, ...], Field(max_length=20)] = ()
    inject: Annotated[tuple[InjectTable, ...], Field(max_length=3)] = ()


class RefusedLoadTable(Table):
    """``[[refused_load]]``: a load that was tried, and not used because of what was seen."""

    side: Side
    volume: OneLine = ""
    load: Annotated[tuple[LoadTable, ...], Field(min_length=1, max_length=20)]
    seen: Name


class KeptTable(Table):
    """``[[kept_although]]``: something found wrong while measuring, and kept."""

    about: Kept
    side: Side | None = None
    volume: OneLine = ""
    take: OneLine = ""
    seen: Name


class SessionTable(Table):
    """The whole document."""

    device: DeviceTable
    bench: BenchTable
    meter: tuple[MeterTable, ...] = ()
    take: Annotated[tuple[TakeTable, ...], Field(max_length=500)] = ()
    refused_load: Annotated[tuple[RefusedLoadTable, ...], Field(max_length=500)] = ()
    kept_although: Annotated[tuple[KeptTable, ...], Field(max_length=500)] = ()
