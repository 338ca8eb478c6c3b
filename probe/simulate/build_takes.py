"""The takes of stage.toml, presets spelled out."""

from __future__ import annotations

import math
import re
import zlib
from collections.abc import Mapping
from dataclasses import replace
from pathlib import PurePosixPath

from probe.decibels import db_to_ratio
from probe.errors import BadInput
from probe.session.model import (
    Bench,
    Channel,
    DrivenSide,
    Injection,
    Load,
    RecorderInput,
    Side,
    Sweep,
)
from probe.simulate.circuit import Circuit
from probe.simulate.document import (
    InjectTable,
    StageTable,
    TakeTable,
)
from probe.simulate.netlist import changed
from probe.simulate.presets import FULL, preset_take
from probe.simulate.random import random_of
from probe.simulate.spec import (
    PLAYING,
    SideCrosstalk,
    TakeSpec,
    TrueBench,
)
from probe.simulate.tones import DEVICE_HZ, INJECTED_HZ, random_phases_deg

MOST_FRAMES = 1 << 25
"""Of one take, which is made in memory: eleven minutes at 48 kHz."""

SHORTEST_GAP_S = 1.5
"""Between takes cut from one stream: somebody turns a switch."""


def take_tables(table: StageTable) -> list[tuple[Side, str, TakeTable]]:
    """Return every take to be made: its side, its short name, its table with presets merged."""
    wanted = table.takes or ()
    if table.takes is None and not table.take:
        wanted = ("full",)
    listed = tuple(p for word in wanted for p in (FULL if word == "full" else (word,)))
    found: list[tuple[Side, str, TakeTable]] = []
    for side in table.sides:
        found += [(side, _spoken(p), _merged(table, TakeTable(preset=p))) for p in listed]
    for number, take in enumerate(table.take, 1):
        merged = _merged(table, take)
        if merged.channels is None:
            raise BadInput(f"take {number}: channels is missing (or a preset that has them)")
        sides = table.sides if take.side is None else (take.side,)
        for side in sides:
            if side not in table.sides:
                raise BadInput(f'take {number}: side "{side}" is not among sides')
            short = _spoken(take.preset) if take.preset else f"take {number}"
            found.append((side, short, merged))
    return found


def _spoken(preset: str) -> str:
    return preset.replace("-", " ")


def _merged(table: StageTable, take: TakeTable) -> TakeTable:
    """Lay what a take says over its preset; add the reference channel where there is one."""
    tones = INJECTED_HZ if table.injector.tones_hz is None else table.injector.tones_hz
    if take.preset is None:
        return take
    base = preset_take(take.preset, table.loads, table.injector, tones)
    said = {k: getattr(take, k) for k in take.model_fields_set - {"preset"}}
    merged = base.model_copy(update=said)
    bench_itself = merged.signal in ("floor", "channel-match", "check")
    if table.phase == "reference" and take.channels is None and merged.channels:
        last: Channel = "unused" if bench_itself else "reference"
        merged = merged.model_copy(update={"channels": (*merged.channels, last)})
    return merged


def takes_of(
    table: StageTable,
    tables: list[tuple[Side, str, TakeTable]],
    circuits: Mapping[Side, Circuit],
    bench: Bench,
    true: TrueBench,
) -> tuple[TakeSpec, ...]:
    """Return what each take records: files, places in a stream, levels, what hangs on the legs."""
    extension = "flac" if table.container in ("flac", "smaller") else "wav"
    takes: list[TakeSpec] = []
    stream_frame = 10 * table.sample_rate
    for side, short, take in tables:
        name = take.name if take.name and len(table.sides) == 1 else f"{side} {take.name or short}"
        spec = _take(table, side, name, take, circuits[side], bench)
        spec = replace(spec, file=_file(name, take, extension))
        if table.phase == "stream":
            start = stream_frame if take.start_frame is None else take.start_frame
            stream_frame = start + spec.frames + round(SHORTEST_GAP_S * table.sample_rate)
            spec = replace(
                spec,
                timebase=take.timebase or "run-1",
                start_frame=start,
                delay_s=_stream_delay(table, take, spec, start, true),
            )
        takes.append(spec)
    for key, values in (("name", [t.name for t in takes]), ("file", [t.file for t in takes])):
        twice = [v for v in values if values.count(v) > 1]
        if twice:
            raise BadInput(f'two takes have the {key} "{twice[0]}"; give each its own')
    return tuple(takes)


def _file(name: str, take: TakeTable, extension: str) -> str:
    """Return the take's file, which has to stay inside the session's folder."""
    if take.file is None:
        return f"{re.sub(r'[^A-Za-z0-9_.-]+', '-', name).strip('-.')}.{extension}"
    path = PurePosixPath(take.file)
    windows = "\\" in take.file or ":" in take.file
    if path.is_absolute() or ".." in path.parts or windows or path.suffix != f".{extension}":
        raise BadInput(
            f'take "{name}": file = "{take.file}"; a file inside the session folder is needed, '
            f"ending in .{extension}, with / between folders"
        )
    return take.file


def _take(
    table: StageTable, side: Side, name: str, take: TakeTable, circuit: Circuit, bench: Bench
) -> TakeSpec:
    channels = take.channels or ()
    levels, step_s = _level_steps(name, take)
    if take.preset and take.preset.endswith("off") and "signal" in take.model_fields_set:
        raise BadInput(f'take "{name}": the preset {take.preset} plays nothing; leave signal out')
    tones, phases = _played(table, name, take)
    rate = take.sample_rate or table.sample_rate
    volume = table.volume if take.volume is None else take.volume
    spec = TakeSpec(
        name=name,
        file="",
        side=side,
        channels=channels,
        inputs=_scaled(name, take, bench.inputs[: len(channels)]),
        scaled=take.volts_full_scale is not None,
        signal=take.signal,
        circuit=changed(circuit, take.parts) if take.parts else circuit,
        tones_hz=tones,
        phases_rad=tuple(math.radians(p) for p in phases),
        tell_phases=table.drive.tell_phases,
        drive_volts=max(levels, default=0.0) or take.drive_volts or table.drive.volts or 0.0,
        drive_dbfs=None,
        volume=volume,
        gain=_volume(table, name, volume),
        state=take.state,
        driven_input_leg=take.driven_input_leg,
        timebase=take.timebase,
        start_frame=take.start_frame or 0,
        loads=tuple(_loads(name, take)),
        injections=tuple(_injections(table, name, take)),
        tell_injected_phases=all(i.tell_phases for i in take.inject),
        sample_rate=rate,
        seconds=len(levels) * step_s or _seconds(table, name, take),
        silence_before_s=_silence(table, name, take, rate),
        silence_after_s=_first(take.silence_after_s, table.silence_after_s),
        fade_s=_first(take.fade_s, table.fade_s),
        step_at_s=take.level_step.at_s if take.level_step else math.inf,
        step_ratio=float(db_to_ratio(take.level_step.db)) if take.level_step else 1.0,
        delay_s=0.0,
        levels=_levels(table, name, take, len(channels)),
        noise_seed=(table.seed, zlib.crc32(name.encode())),
        levels_volts=levels,
        step_s=step_s,
        driven_side=_driven_side(side, name, take),
        side_crosstalk=_side_crosstalk(table),
        sweep=_sweep(take),
    )
    _check_take(spec, tones)
    return replace(spec, delay_s=_delay(table, take, spec))


def _level_steps(name: str, take: TakeTable) -> tuple[tuple[float, ...], float]:
    """Return the drive of each step and how long one lasts; nothing of other takes."""
    if take.signal != "level-steps":
        if take.levels_volts is not None or take.step_s is not None:
            raise BadInput(f'take "{name}": levels_volts and step_s belong to "level-steps"')
        return (), 0.0
    if take.levels_volts is None or take.step_s is None:
        raise BadInput(f'take "{name}": signal "level-steps" needs levels_volts and step_s')
    if any(b <= a for a, b in zip(take.levels_volts, take.levels_volts[1:], strict=False)):
        raise BadInput(f'take "{name}": levels_volts must rise')
    return take.levels_volts, take.step_s


def _seconds(table: StageTable, name: str, take: TakeTable) -> float:
    """Return how long something plays; a sweep is as long as it is."""
    given = (take.from_hz, take.to_hz, take.sweep_s)
    if take.signal != "sweep":
        if any(g is not None for g in given):
            raise BadInput(f'take "{name}": from_hz, to_hz and sweep_s belong to signal "sweep"')
        return take.seconds or table.seconds
    if take.from_hz is None or take.to_hz is None or take.sweep_s is None:
        raise BadInput(f'take "{name}": signal "sweep" needs from_hz, to_hz and sweep_s')
    if take.from_hz >= take.to_hz:
        raise BadInput(f'take "{name}": to_hz must be above from_hz; sweeps rise')
    return take.sweep_s


def _sweep(take: TakeTable) -> Sweep | None:
    if take.from_hz is None or take.to_hz is None or take.sweep_s is None:
        return None
    return Sweep(take.from_hz, take.to_hz, take.sweep_s)


def _driven_side(side: Side, name: str, take: TakeTable) -> DrivenSide:
    """Return which half plays."""
    if take.driven_side == "both":
        return "both"
    if side == "mono":
        raise BadInput(f'take "{name}": a mono device has no other side')
    if take.driven_side == "other":
        return "right" if side == "left" else "left"
    return take.driven_side


def _side_crosstalk(table: StageTable) -> SideCrosstalk:
    said = table.side_crosstalk
    if said is None:
        return SideCrosstalk()
    return SideCrosstalk(float(db_to_ratio(said.db)), said.corner_hz)


def _silence(table: StageTable, name: str, take: TakeTable, rate: int) -> float:
    """Return how long nothing is heard, whole samples: as said, and a little more at random."""
    silence = _first(take.silence_before_s, table.silence_before_s)
    more = float(random_of(table.seed, "silence", name).uniform(0.0, 1.0)) * table.silence_spread_s
    return round((silence + more) * rate) / rate


def _first(said: float | None, otherwise: float) -> float:
    return otherwise if said is None else said


def _check_take(spec: TakeSpec, tones: tuple[float, ...]) -> None:
    if not 0 < spec.frames <= MOST_FRAMES:
        raise BadInput(f'take "{spec.name}" would have {spec.frames} frames; at most {MOST_FRAMES}')
    for tone in (*tones, *(f for i in spec.injections for f in i.tones_hz)):
        if tone >= spec.sample_rate / 2:
            raise BadInput(
                f'take "{spec.name}": a tone of {tone} Hz needs more than {spec.sample_rate} '
                "samples a second"
            )


def _played(
    table: StageTable, name: str, take: TakeTable
) -> tuple[tuple[float, ...], tuple[float, ...]]:
    """Return the tones of one take and their phases in degrees."""
    if take.signal not in PLAYING or take.signal == "sweep":
        return (), ()
    tones = take.tones_hz
    if tones is None:
        tones = DEVICE_HZ if table.drive.tones_hz is None else table.drive.tones_hz
        phases = table.drive.phases_deg if take.phases_deg is None else take.phases_deg
    else:
        phases = take.phases_deg
    if phases is None:
        phases = random_phases_deg(len(tones), table.seed)
    if not tones:
        raise BadInput(f'take "{name}": signal "{take.signal}" needs tones_hz')
    _check_phases(f'take "{name}"', tones, phases)
    return tones, phases


def _check_phases(where: str, tones: tuple[float, ...], phases: tuple[float, ...]) -> None:
    if len(tones) != len(phases):
        raise BadInput(f"{where}: {len(tones)} tones_hz but {len(phases)} phases_deg")
    if len(set(tones)) != len(tones):
        raise BadInput(f"{where}: the same frequency stands twice in tones_hz")


def _volume(table: StageTable, name: str, volume: str) -> float:
    if not table.volumes:
        return 1.0
    if volume not in table.volumes:
        known = ", ".join(f'"{v}"' for v in table.volumes)
        raise BadInput(f'take "{name}": volume "{volume}" is not in [volumes]; there are {known}')
    return float(db_to_ratio(table.volumes[volume]))


def _scaled(
    name: str, take: TakeTable, inputs: tuple[RecorderInput, ...]
) -> tuple[RecorderInput, ...]:
    if take.volts_full_scale is None:
        return inputs
    if len(take.volts_full_scale) != len(inputs):
        raise BadInput(
            f'take "{name}": volts_full_scale has {len(take.volts_full_scale)} values for '
            f"{len(inputs)} channels"
        )
    return tuple(
        replace(i, volts_full_scale=v) for i, v in zip(inputs, take.volts_full_scale, strict=True)
    )


def _loads(name: str, take: TakeTable) -> list[Load]:
    for load in take.load:
        if load.from_ == load.to:
            raise BadInput(f'take "{name}": a load from {load.from_} to {load.to} loads nothing')
    return [
        Load(load.from_, load.to, load.ohm, load.u95_percent / 100.0, load.part)
        for load in take.load
    ]


def _injections(table: StageTable, name: str, take: TakeTable) -> list[Injection]:
    found = []
    for table_ in take.inject:
        phases = _injected_phases(table, table_)
        _check_phases(f'take "{name}", inject', table_.tones_hz, phases)
        found.append(
            Injection(
                into=table_.into,
                through_ohm=table_.through_ohm,
                u95_relative=table_.u95_percent / 100.0,
                part=table_.part,
                volts=table_.volts,
                volts_u95_relative=table_.volts_u95_percent / 100.0,
                tones_hz=table_.tones_hz,
                phases_rad=tuple(math.radians(p) for p in phases),
            )
        )
    return found


def _injected_phases(table: StageTable, inject: InjectTable) -> tuple[float, ...]:
    if inject.phases_deg is not None:
        return inject.phases_deg
    return random_phases_deg(len(inject.tones_hz), table.seed + 1)


def _levels(table: StageTable, name: str, take: TakeTable, channels: int) -> tuple[float, ...]:
    """Return the level of each channel in this take over nominal: what is said, or drawn."""
    if take.level_db is not None:
        if len(take.level_db) not in (1, channels):
            raise BadInput(
                f'take "{name}": level_db has {len(take.level_db)} values for {channels} channels'
            )
        said = take.level_db * channels if len(take.level_db) == 1 else take.level_db
        return tuple(float(db_to_ratio(db)) for db in said)
    drift = random_of(table.seed, "drift", name).standard_normal(channels) * table.truth.drift_db
    heard = zip(take.channels or (), drift.tolist(), strict=True)
    return tuple(1.0 if c == "reference" else float(db_to_ratio(db)) for c, db in heard)


def _delay(table: StageTable, take: TakeTable, spec: TakeSpec) -> float:
    """Return when the player began, s of the file: random, whole samples on a shared clock."""
    if take.delay_s is not None:
        return take.delay_s
    stream = random_of(table.seed, "delay", spec.name)
    delay = -float(stream.uniform(0.0, 1.0))
    if spec.silence_before_s > 0.0:
        delay = spec.silence_before_s
    if table.truth.clock_ppm == 0.0:
        delay = round(delay * spec.sample_rate) / spec.sample_rate
    return delay


def _stream_delay(
    table: StageTable, take: TakeTable, spec: TakeSpec, start: int, true: TrueBench
) -> float:
    """Return the same for a take cut from a running stream: one latency, then the frames."""
    if take.delay_s is not None:
        return take.delay_s
    latency = round(float(random_of(table.seed, "latency").uniform(0.005, 0.05)) * spec.sample_rate)
    return (latency - start) / (spec.sample_rate * (1.0 + true.clock_error))
