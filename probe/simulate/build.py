"""From the tables of stage.toml to a `StageSpec`: presets spelled out, every draw made.

Every random figure has a stream of its own, made of the stage's seed and what it is for, so that
adding a take or a part moves none of the others.
"""

from __future__ import annotations

import cmath
import math
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from probe.decibels import db_to_ratio
from probe.errors import BadInput
from probe.formats.text import nearest, quoted, shown_path
from probe.formats.toml import parse_toml, read_bytes
from probe.session.model import (
    Device,
    MeterReading,
    Side,
)
from probe.simulate import library
from probe.simulate.build_bench import bench_of, true_bench_of
from probe.simulate.build_takes import take_tables, takes_of
from probe.simulate.circuit import Circuit
from probe.simulate.document import (
    FORMAT_WORD,
    CurveTable,
    DeviceHumTable,
    DeviceNoiseTable,
    DeviceTable,
    StageTable,
)
from probe.simulate.netlist import GRADES, changed, circuit_of, drawn
from probe.simulate.network import recorded
from probe.simulate.sound import BITS
from probe.simulate.spec import (
    Bend,
    DeviceNoise,
    StageSpec,
)

HEADROOM = 0.5
"""Where the drive is left to the program, no take's peak exceeds this share of full scale."""

MOST_DRIVE_VOLTS = 0.25
"""Nor does it drive the device harder than this per tone, as a careful bench would."""


def read_stage(path: Path) -> StageSpec:
    """Read a stage.toml.

    Raises
    ------
    BadInput
        Anything the file says that cannot be simulated, with the place.
    """
    if not path.suffix and not path.exists():
        raise BadInput(f"{shown_path(path)}: there is no such file; {_perhaps_circuit(path.name)}")
    raw = read_bytes(path)
    table = parse_toml(raw, path, StageTable, format_word=FORMAT_WORD)
    try:
        spec = stage_of(table)
    except BadInput as error:
        raise BadInput(f"{path}: {error}") from error
    return replace(spec, source=raw.decode("utf-8"))


def _perhaps_circuit(word: str) -> str:
    """Return what to do for somebody who typed a name where a stage file is needed."""
    known = library.names()
    close = word if word in known else nearest(word, known)
    meant = f"{quoted(close)} is a circuit; " if close else ""
    return (
        f"{meant}probe simulate --list lists the circuits, probe simulate --template prints a "
        'stage file that names one as circuit = "..."'
    )


def stage_of(table: StageTable | Mapping[str, Any]) -> StageSpec:
    """Return the stage a table describes, every draw made.

    ``table`` may be the plain dictionary that stage.toml would give (``format`` left out).

    Raises
    ------
    BadInput
        Tables that contradict each other or the circuit.
    pydantic.ValidationError
        A plain dictionary with wrong keys or values.
    """
    if not isinstance(table, StageTable):
        table = StageTable.model_validate(dict(table))
    if table.takes == () and not table.take:
        raise BadInput('takes is empty and there is no [[take]]; write takes = "full" or list some')
    circuits = {side: _circuit(table, side) for side in table.sides}
    tables = take_tables(table)
    width = max((len(t.channels or ()) for _, _, t in tables), default=2)
    bench = bench_of(table, width)
    true = true_bench_of(table, tables, bench, width)
    takes = takes_of(table, tables, circuits, bench, true)
    spec = StageSpec(
        device=_device(table.device),
        connectors_said=table.device.connectors is not None,
        bench=bench,
        true=true,
        circuits=circuits,
        meters=tuple(MeterReading(m.side, m.between, m.volts_dc, m.volts_ac) for m in table.meter),
        takes=takes,
        container=table.container,
        sample=table.sample,
        origin=_origin(table),
        noise=_device_noise(table.device_noise),
        bends=(
            _bend(table.nonlinear.hot),
            _bend(table.nonlinear.cold),
            _bend(table.nonlinear.single_ended),
        ),
    )
    _check_container(spec)
    spec = _driven(spec, table)
    for take in spec.takes:
        recorded(spec, take)  # complains here about circuits that cannot be solved
    return spec


def _origin(table: StageTable) -> str:
    names = [_circuit_name(table, side) for side in table.sides]
    said = [f"{side}: {name}" for side, name in zip(table.sides, names, strict=True)]
    return names[0] if len(set(names)) == 1 else ", ".join(said)


def _circuit_name(table: StageTable, side: Side) -> str:
    own = table.side.get(side)
    return (own and own.circuit) or table.circuit or "a netlist of its own"


def _circuit(table: StageTable, side: Side) -> Circuit:
    """Return the circuit of one side: from the library or inline, changed, tolerances drawn."""
    own = table.side.get(side)
    name = (own and own.circuit) or table.circuit
    if table.circuit is not None and table.netlist is not None:
        raise BadInput("both circuit and [netlist] are given; one of them is needed")
    if name is not None:
        circuit = circuit_of(library.load(name))
    elif table.netlist is not None:
        circuit = circuit_of(table.netlist)
    else:
        raise BadInput('circuit is missing: name one ("probe simulate --list") or write [netlist]')
    if table.tolerances is not None:
        said = table.tolerances.model_dump(exclude_none=True, exclude={"seed"})
        grades = {**GRADES, **{k: v / 100.0 for k, v in said.items()}}
        circuit = drawn(circuit, table.tolerances.seed + 1000 * _SIDE_NUMBER[side], grades)
    changes = {**table.parts, **(own.parts if own else {})}
    return changed(circuit, changes)


_SIDE_NUMBER: Mapping[Side, int] = {"left": 0, "right": 1, "mono": 0}


def _device(table: DeviceTable) -> Device:
    plain = Device(table.maker, table.model)
    return Device(
        maker=table.maker,
        model=table.model,
        serial=table.serial,
        kind=table.kind,
        output=table.output,
        output_declared="output" in table.model_fields_set,
        connectors=table.connectors or plain.connectors,
        firmware=table.firmware,
        stated_polarity=table.stated_polarity,
        minimum_load_ohm=table.minimum_load_ohm,
        volume_control=table.volume_control,
        full_output_volts=table.full_output.volts if table.full_output else None,
    )


def _device_noise(said: DeviceNoiseTable) -> DeviceNoise:
    return DeviceNoise(
        core=said.core_nv * 1e-9,
        hot=said.hot_nv * 1e-9,
        cold=said.cold_nv * 1e-9,
        single_ended=said.single_ended_nv * 1e-9,
        corner_hz=said.corner_hz,
        idle_ratio=float(db_to_ratio(said.idle_db)),
        idle_after_s=said.idle_after_s,
        hum=tuple(_device_hum(h) for h in said.hum),
    )


def _device_hum(said: DeviceHumTable) -> tuple[float, complex, complex, complex]:
    cold_deg = said.phase_deg if said.cold_phase_deg is None else said.cold_phase_deg
    return (
        said.hz,
        cmath.rect(said.hot_microvolts * 1e-6, math.radians(said.phase_deg)),
        cmath.rect(said.cold_microvolts * 1e-6, math.radians(cold_deg)),
        cmath.rect(said.single_ended_microvolts * 1e-6, math.radians(said.phase_deg)),
    )


def _bend(said: CurveTable) -> Bend:
    return Bend(said.second, said.third, said.clip_volts or math.inf)


def _check_container(spec: StageSpec) -> None:
    if spec.container in ("flac", "smaller"):
        if BITS.get(spec.sample, 32) > 24:
            raise BadInput(f"sample = {spec.sample}: FLAC holds PCM_16 or PCM_24")
        widest = max((len(t.channels) for t in spec.takes), default=0)
        if widest > 8:
            raise BadInput(f"a take has {widest} channels; FLAC holds at most 8")


def _driven(spec: StageSpec, table: StageTable) -> StageSpec:
    """Choose the drive where nobody said it; note it in dB FS for devices that play files."""
    chosen = None
    takes = []
    for take in spec.takes:
        volts = take.drive_volts
        if not take.plays:
            volts = 0.0
        elif volts == 0.0:
            chosen = _chosen_drive(spec) if chosen is None else chosen
            volts = chosen
        full = table.drive.file_volts_full_scale
        dbfs = 20.0 * math.log10(volts / full) if full and volts > 0.0 else None
        takes.append(replace(take, drive_volts=volts, drive_dbfs=dbfs))
    return replace(spec, takes=tuple(takes))


def _chosen_drive(spec: StageSpec) -> float:
    """Return the drive, V rms per tone, at which every take stays below `HEADROOM`.

    The peak is bounded by the sum of the tones' own peaks; three digits, rounded down.
    """
    lowest = MOST_DRIVE_VOLTS
    for take in spec.takes:
        if not take.plays or take.drive_volts > 0.0:
            continue
        found = recorded(spec, replace(take, drive_volts=1.0))
        for k, channel in enumerate(take.inputs):
            per_volt = math.sqrt(2.0) * float(np.sum(np.abs(found.from_device[:, k])))
            injected = math.sqrt(2.0) * float(np.sum(np.abs(found.from_injectors[:, k])))
            room = HEADROOM * channel.volts_full_scale / spec.true.inputs[k].gain - injected
            if room <= 0.0:
                raise BadInput(
                    f'take "{take.name}": the injected tones alone exceed half of full scale on '
                    f"channel {k + 1}; raise bench.input volts_full_scale"
                )
            if per_volt > 0.0:
                lowest = min(lowest, room / per_volt)
    digits = 10.0 ** (2 - math.floor(math.log10(lowest)))
    return math.floor(lowest * digits) / digits
