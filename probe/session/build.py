"""A session's document and the heads of its files, turned into the model in SI units."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path
from typing import cast

from probe.formats.places import Keys
from probe.formats.text import all_of, counted
from probe.formats.toml import complaint, dotted
from probe.session.check import resistors
from probe.session.document import (
    BenchTable,
    DeviceTable,
    InjectTable,
    InputTable,
    LoadTable,
    RefusedLoadTable,
    SessionTable,
    TakeTable,
)
from probe.session.header import AudioFile
from probe.session.model import (
    Assumption,
    Bench,
    BenchOutput,
    Connector,
    Device,
    Injection,
    KeptAlthough,
    LevelSteps,
    Load,
    MeterReading,
    RecorderInput,
    RefusedLoad,
    Session,
    Sweep,
    Take,
)

DEFAULT_U95_PERCENT = 1.0
"""Of a full scale, a resistor or an injected voltage about which the session says nothing."""
DEFAULT_IMPEDANCE_U95_PERCENT = 2.0
DEFAULT_CAPACITANCE_PF = 150.0
"""An input and a short lead."""
DEFAULT_CAPACITANCE_U95_PF = 50.0
DEFAULT_CONNECTORS: tuple[Connector, ...] = ("xlr", "rca")


def build_session(toml_path: Path, document: SessionTable, audio: list[AudioFile]) -> Session:
    """Return the session that a checked document and its opened files describe.

    Parameters
    ----------
    audio
        One opened file for each take, in order.

    Raises
    ------
    BadInput
        A take has more channels than recorder inputs are described.
    """
    return _Build(toml_path, document, audio).session()


class _Build:
    """Turns the document into the model, filling in defaults and keeping account of them."""

    def __init__(self, toml_path: Path, document: SessionTable, audio: list[AudioFile]) -> None:
        self.toml_path = toml_path
        self.document = document
        self.audio = audio
        self.assumptions: list[Assumption] = []
        self.resistor_u95 = _declared_u95(document)

    def session(self) -> Session:
        device = self._device(self.document.device)
        bench = self._bench(self.document.bench)
        self._note_resistors()
        self._note_injected_volts()
        names = _take_names(self.document.take)
        takes = tuple(self._take(n, names[n], bench) for n in range(len(names)))
        meters = tuple(
            MeterReading(m.side, m.between, m.volts_dc, m.volts_ac) for m in self.document.meter
        )
        return Session(
            folder=self.toml_path.parent,
            toml_path=self.toml_path,
            device=device,
            bench=bench,
            meters=meters,
            takes=takes,
            assumptions=tuple(self.assumptions),
            refused_loads=tuple(_refused(table) for table in self.document.refused_load),
            kept_although=tuple(
                KeptAlthough(k.about, k.seen, k.side, k.volume, k.take)
                for k in self.document.kept_although
            ),
        )

    def _assume(self, where: str, message: str) -> None:
        self.assumptions.append(Assumption(where, message))

    def _device(self, table: DeviceTable) -> Device:
        if table.connectors is None:
            self._assume(
                "device.connectors",
                f"the device's connectors are not given: {all_of(DEFAULT_CONNECTORS)} taken",
            )
        return Device(
            maker=table.maker,
            model=table.model,
            serial=table.serial,
            kind=table.kind,
            output=table.output,
            output_declared="output" in table.model_fields_set,
            connectors=table.connectors or DEFAULT_CONNECTORS,
            firmware=table.firmware,
            stated_polarity=table.stated_polarity,
            minimum_load_ohm=table.minimum_load_ohm,
            volume_control=table.volume_control,
            full_output_volts=table.full_output.volts if table.full_output else None,
        )

    def _bench(self, table: BenchTable) -> Bench:
        self._note_inputs(table.input, "u95_percent", f"{DEFAULT_U95_PERCENT:g} %")
        self._note_inputs(
            table.input, "impedance_u95_percent", f"{DEFAULT_IMPEDANCE_U95_PERCENT:g} %"
        )
        self._note_inputs(table.input, "capacitance_pf", f"{DEFAULT_CAPACITANCE_PF:g} pF")
        self._note_inputs(table.input, "capacitance_u95_pf", f"{DEFAULT_CAPACITANCE_U95_PF:g} pF")
        return Bench(
            interface=table.interface,
            mains_hz=table.mains_hz,
            mains_volts=table.mains_v,
            recorded_on=table.recorded_on,
            calibrated_on=table.calibrated_on,
            repeatability_db=table.repeatability_db,
            inputs=tuple(_recorder_input(i, table.common_u95_percent / 100) for i in table.input),
            outputs=tuple(BenchOutput(o.volts_full_scale, o.impedance_ohm) for o in table.output),
        )

    def _note_inputs(self, inputs: tuple[InputTable, ...], key: str, taken: str) -> None:
        missing = [str(n) for n, i in enumerate(inputs, 1) if getattr(i, key) is None]
        if missing:
            plural = "s" if len(missing) > 1 else ""
            self._assume(
                f"bench.input.{key}",
                f"{key} of recorder channel{plural} {all_of(missing)} is not given: {taken} taken",
            )

    def _note_resistors(self) -> None:
        missing: dict[str, None] = {}
        for keys, resistor in resistors(self.document):
            part = resistor.part or dotted(keys)
            if resistor.u95_percent is None and part not in self.resistor_u95:
                missing[part] = None
        if missing:
            self._assume(
                "load and inject u95_percent",
                f"u95_percent of resistor {all_of(missing)} is not given: "
                f"{DEFAULT_U95_PERCENT:g} % taken",
            )

    def _note_injected_volts(self) -> None:
        missing = [
            dotted(("take", n, "inject", i))
            for n, take in enumerate(self.document.take)
            for i, injection in enumerate(take.inject)
            if injection.volts > 0 and injection.volts_u95_percent is None
        ]
        if missing:
            self._assume(
                "inject volts_u95_percent",
                f"volts_u95_percent of {all_of(missing)} is not given: "
                f"{self._output_u95_percent():g} % taken, as of the bench's output",
            )

    def _output_u95_percent(self) -> float:
        """Which output drives the injector is not said: the least certain one counts."""
        outputs = self.document.bench.output
        known = [_or(o.u95_percent, DEFAULT_U95_PERCENT) for o in outputs]
        return max(known, default=DEFAULT_U95_PERCENT)

    def _take(self, position: int, name: str, bench: Bench) -> Take:
        table, audio = self.document.take[position], self.audio[position]
        self._check_inputs(position, bench, audio)
        return Take(
            name=name,
            file=table.file,
            path=audio.path,
            side=table.side,
            channels=table.channels,
            inputs=_scaled(bench.inputs[: audio.channels], table.volts_full_scale),
            signal=table.signal,
            tones_hz=table.tones_hz,
            phases_rad=_radians(table.phases_deg),
            drive_volts=table.drive_volts,
            drive_dbfs=table.drive_dbfs,
            volume=table.volume,
            state=table.state,
            driven_input_leg=table.driven_input_leg,
            timebase=table.timebase,
            start_frame=table.start_frame or 0,
            loads=tuple(self._load(("take", position, "load", n)) for n in range(len(table.load))),
            injections=tuple(
                self._injection(("take", position, "inject", n)) for n in range(len(table.inject))
            ),
            sample_rate=audio.sample_rate,
            frames=audio.frames,
            sweep=_sweep(table),
            level_steps=_level_steps(table),
            driven_side=table.driven_side,
        )

    def _check_inputs(self, position: int, bench: Bench, audio: AudioFile) -> None:
        if audio.channels > len(bench.inputs):
            raise complaint(
                self.toml_path,
                ("take", position, "channels"),
                f"has {counted(audio.channels, 'channel')} and only {len(bench.inputs)} "
                "[[bench.input]] are described; describe one for each channel of the file, "
                "in its order",
            )

    def _load(self, keys: Keys) -> Load:
        table = self.document.take[cast(int, keys[1])].load[cast(int, keys[3])]
        part = table.part or dotted(keys)
        return Load(table.from_, table.to, table.ohm, self._u95(table, part), part)

    def _injection(self, keys: Keys) -> Injection:
        table = self.document.take[cast(int, keys[1])].inject[cast(int, keys[3])]
        part = table.part or dotted(keys)
        sounding = table.volts > 0
        volts_u95 = _or(table.volts_u95_percent, self._output_u95_percent())
        return Injection(
            into=table.into,
            through_ohm=table.through_ohm,
            u95_relative=self._u95(table, part),
            part=part,
            volts=table.volts,
            volts_u95_relative=volts_u95 / 100,
            tones_hz=table.tones_hz if sounding else (),
            phases_rad=_radians(table.phases_deg) if sounding else None,
        )

    def _u95(self, table: LoadTable | InjectTable, part: str) -> float:
        declared = self.resistor_u95.get(part, DEFAULT_U95_PERCENT)
        return _or(table.u95_percent, declared) / 100


def _or(value: float | None, default: float) -> float:
    return default if value is None else value


def _declared_u95(document: SessionTable) -> dict[str, float]:
    """Return the uncertainty of each part, percent, from wherever it was declared."""
    declared: dict[str, float] = {}
    for keys, resistor in resistors(document):
        if resistor.u95_percent is not None:
            declared.setdefault(resistor.part or dotted(keys), resistor.u95_percent)
    return declared


def _refused(table: RefusedLoadTable) -> RefusedLoad:
    loads = tuple(
        Load(
            one.from_,
            one.to,
            one.ohm,
            _or(one.u95_percent, DEFAULT_U95_PERCENT) / 100,
            one.part or "",
        )
        for one in table.load
    )
    return RefusedLoad(table.side, table.volume, loads, table.seen)


def _take_names(takes: tuple[TakeTable, ...]) -> list[str]:
    """Return a unique name for each take: as declared, else its file, else file and side."""
    used = {take.name for take in takes if take.name is not None}
    names = []
    for position, take in enumerate(takes):
        choices = (take.file, f"{take.file} ({take.side})", f"{take.file} (take[{position}])")
        name = take.name or next(c for c in choices if c not in used)
        used.add(name)
        names.append(name)
    return names


def _recorder_input(table: InputTable, common: float) -> RecorderInput:
    """Percent and picofarads become fractions and farads."""
    u95 = _or(table.u95_percent, DEFAULT_U95_PERCENT) / 100
    return RecorderInput(
        volts_full_scale=table.volts_full_scale,
        u95_relative=u95,
        impedance_ohm=table.impedance_ohm,
        impedance_u95_relative=_or(table.impedance_u95_percent, DEFAULT_IMPEDANCE_U95_PERCENT)
        / 100,
        capacitance_farad=_or(table.capacitance_pf, DEFAULT_CAPACITANCE_PF) * 1e-12,
        capacitance_u95_farad=_or(table.capacitance_u95_pf, DEFAULT_CAPACITANCE_U95_PF) * 1e-12,
        common_u95_relative=min(common, u95),
    )


def _scaled(
    inputs: tuple[RecorderInput, ...], volts_full_scale: tuple[float, ...] | None
) -> tuple[RecorderInput, ...]:
    """Apply a take's own scale."""
    if volts_full_scale is None:
        return inputs
    pairs = zip(inputs, volts_full_scale, strict=True)
    return tuple(replace(i, volts_full_scale=volts) for i, volts in pairs)


def _radians(degrees: tuple[float, ...] | None) -> tuple[float, ...] | None:
    return None if degrees is None else tuple(math.radians(d) for d in degrees)


def _sweep(table: TakeTable) -> Sweep | None:
    if table.from_hz is None or table.to_hz is None or table.sweep_s is None:
        return None
    return Sweep(table.from_hz, table.to_hz, table.sweep_s)


def _level_steps(table: TakeTable) -> LevelSteps | None:
    if table.levels_volts is None or table.step_s is None:
        return None
    return LevelSteps(table.levels_volts, table.step_s)
