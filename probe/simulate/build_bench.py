"""The bench of stage.toml as it is declared, and as it is."""

from __future__ import annotations

import math

from probe.decibels import db_to_ratio
from probe.errors import BadInput
from probe.session.model import (
    Bench,
    BenchOutput,
    RecorderInput,
    Side,
)
from probe.simulate.document import (
    InputTable,
    StageTable,
    TakeTable,
    TrueInputTable,
)
from probe.simulate.random import random_of
from probe.simulate.spec import (
    Bend,
    HumLine,
    TrueBench,
    TrueInput,
)


def bench_of(table: StageTable, width: int) -> Bench:
    """Return the bench as the session will declare it, ``width`` channels wide."""
    said = table.bench
    if len(said.input) not in (1, width):
        raise BadInput(
            f"bench.input: {len(said.input)} channels are described, the takes use {width}; "
            "write one table for each, or one for all"
        )
    inputs = said.input * width if len(said.input) == 1 else said.input
    return Bench(
        interface=_invented(said.interface),
        mains_hz=said.mains_hz,
        recorded_on=said.recorded_on,
        repeatability_db=said.repeatability_db,
        inputs=tuple(_input(i) for i in inputs),
        outputs=tuple(BenchOutput(o.volts_full_scale, o.impedance_ohm) for o in said.output),
    )


def _invented(interface: str) -> str:
    """Return a recorder's name that says what it is: sessions are told from real ones by it."""
    return interface if "simulated" in interface.casefold() else f"simulated: {interface}"


def _input(table: InputTable) -> RecorderInput:
    return RecorderInput(
        volts_full_scale=table.volts_full_scale,
        u95_relative=table.u95_percent / 100.0,
        impedance_ohm=table.impedance_ohm,
        impedance_u95_relative=table.impedance_u95_percent / 100.0,
        capacitance_farad=table.capacitance_pf * 1e-12,
        capacitance_u95_farad=table.capacitance_u95_pf * 1e-12,
    )


def true_bench_of(
    table: StageTable, tables: list[tuple[Side, str, TakeTable]], bench: Bench, width: int
) -> TrueBench:
    """Return the bench as it is; what is not said is drawn from what is declared, or right."""
    said = table.truth
    if len(said.input) not in (1, width):
        raise BadInput(
            f"truth.input: {len(said.input)} channels are described, the takes use {width}; "
            "write one table for each, or one for all"
        )
    inputs = said.input * width if len(said.input) == 1 else said.input
    return TrueBench(
        inputs=tuple(_true_input(table, i, bench.inputs[k], k) for k, i in enumerate(inputs)),
        parts=_true_parts(table, [take for _, _, take in tables]),
        injector=_true_injector(table, [take for _, _, take in tables]),
        clock_error=said.clock_ppm * 1e-6,
        crosstalk=0.0 if said.crosstalk_db is None else float(db_to_ratio(said.crosstalk_db)),
        injector_clock=said.injector_clock,
        generator=Bend(said.generator.second, said.generator.third),
    )


def _true_parts(table: StageTable, takes: list[TakeTable]) -> dict[str, float]:
    """Return true over declared ohms of the bench's resistors, one error for each part."""
    declared = {load.part: load.u95_percent for take in takes for load in take.load}
    declared |= {i.part: i.u95_percent for take in takes for i in take.inject}
    said = table.truth.parts_percent
    for name in said:
        if name not in declared:
            known = ", ".join(declared) or "none"
            raise BadInput(f'truth.parts_percent: no take uses a part "{name}"; used: {known}')
    percent = dict.fromkeys(declared, 0.0)
    if table.truth.draw:
        percent = {
            part: u95 / 2.0 * float(random_of(table.seed, "part", part).standard_normal())
            for part, u95 in declared.items()
        }
    return {part: 1.0 + p / 100.0 for part, p in {**percent, **said}.items()}


def _true_injector(table: StageTable, takes: list[TakeTable]) -> float:
    """Return true over declared e.m.f. of the injector, one error for the session."""
    percent = table.truth.injector_percent
    if percent is None:
        declared = [i.volts_u95_percent for take in takes for i in take.inject]
        draw = float(random_of(table.seed, "injector").standard_normal()) * table.truth.draw
        percent = draw * max(declared, default=0.0) / 2.0
    return 1.0 + percent / 100.0


def _true_input(
    table: StageTable, said: TrueInputTable, declared: RecorderInput, index: int
) -> TrueInput:
    """Return one channel as it is; what is not said is drawn from what is declared, or right."""
    stream = random_of(table.seed, "recorder", str(index))
    gain, ohm, farad = (float(x) for x in stream.standard_normal(3) / 2.0 * table.truth.draw)
    gain *= declared.u95_relative
    ohm *= declared.impedance_u95_relative
    farad *= declared.capacitance_u95_farad
    if said.gain_percent is not None:
        gain = said.gain_percent / 100.0
    if said.impedance_percent is not None:
        ohm = said.impedance_percent / 100.0
    if said.capacitance_pf is not None:
        farad = said.capacitance_pf * 1e-12
    return TrueInput(
        gain=1.0 + gain,
        ohm=declared.impedance_ohm * (1.0 + ohm),
        farad=max(declared.capacitance_farad + farad, 0.0),
        noise_density=said.noise_nv * 1e-9,
        noise_corner_hz=said.noise_corner_hz,
        bend=Bend(said.second, said.third),
        hum=tuple(HumLine(h.hz, h.microvolts * 1e-6, math.radians(h.phase_deg)) for h in said.hum),
    )
