"""The interface chosen on this machine as the guided run takes it."""

from __future__ import annotations

from datetime import date
from pathlib import Path

from probe.bench.calibration.document import read_bench, session_tables
from probe.bench.calibration.figures import BenchFigures
from probe.bench.calibration.store import remembered
from probe.bench.cards.devices import chosen
from probe.bench.cards.portaudio import find_devices
from probe.bench.guided.equipment import Equipment
from probe.bench.planned.kit import Kit
from probe.bench.stream.card import StreamFormat
from probe.bench.stream.recorder import Recorder
from probe.bench.stream.sound import InputScale, OutputScale
from probe.errors import BadInput
from probe.session.model import Bench, BenchOutput, Device, RecorderInput

NEW_DEVICE = Device("", "")


def real_equipment(bench_file: Path | None, *, kit: Kit | None, seconds: float) -> Equipment:
    """Return the chosen interface with its figures.

    Parameters
    ----------
    bench_file
        Its bench.toml; None: the one remembered for it.
    kit
        As declared; None: it is asked for.
    seconds
        Length of a take.

    Raises
    ------
    BadInput
        No interface was chosen, it is not there, or it was never calibrated.
    """
    now = chosen(find_devices())
    if now is None:
        raise BadInput(
            "measure: no interface is chosen on this machine; probe devices lists them, "
            "probe devices --choose NUMBER keeps one (or practise with --virtual)"
        )
    card = now.card()
    figures = read_bench(bench_file) if bench_file else remembered(now.choice.name)
    if figures is None:
        raise BadInput(
            f"measure: {now.choice.name} was never calibrated; probe calibrate does that, with or "
            "without a meter, or name its figures with --bench FILE"
        )
    bench = bench_of(figures)
    inputs, outputs = len(now.input_channels), len(now.output_channels)
    if len(bench.inputs) < inputs or len(bench.outputs) < outputs:
        raise BadInput(
            f"measure: the figures are of {len(bench.inputs)} inputs and {len(bench.outputs)} "
            f"outputs, {now.choice.name} is used with {inputs} and {outputs}; calibrate it so"
        )
    if outputs < 2 and kit is not None and kit.injector is not None:
        raise BadInput(f"measure: {now.choice.name} has one output; an injector needs a second one")

    def recorder(run: int) -> Recorder:
        return Recorder(
            card,
            StreamFormat(now.rate, inputs, outputs),
            inputs=[InputScale(i.volts_full_scale) for i in bench.inputs],
            outputs=[OutputScale(o.volts_full_scale) for o in bench.outputs],
            run=run,
        )

    return Equipment(
        card=card,
        bench=bench,
        recorder=recorder,
        kit=kit,
        device=NEW_DEVICE,
        figures=figures,
        seconds=seconds,
        inputs=inputs,
    )


def bench_of(figures: BenchFigures) -> Bench:
    """Return the figures as a session's bench, recorded today."""
    said = session_tables(figures)
    inputs = tuple(
        RecorderInput(
            volts_full_scale=i["volts_full_scale"],
            u95_relative=i["u95_percent"] / 100.0,
            impedance_ohm=i["impedance_ohm"],
            impedance_u95_relative=i["impedance_u95_percent"] / 100.0,
            capacitance_farad=i["capacitance_pf"] * 1e-12,
            capacitance_u95_farad=i["capacitance_u95_pf"] * 1e-12,
            common_u95_relative=min(figures.common_u95_relative, i["u95_percent"] / 100.0),
        )
        for i in said["input"]
    )
    outputs = tuple(BenchOutput(o["volts_full_scale"], o["impedance_ohm"]) for o in said["output"])
    return Bench(
        interface=said["interface"],
        mains_hz=said["mains_hz"],
        mains_volts=said["mains_v"],
        recorded_on=date.today(),
        repeatability_db=None,
        inputs=inputs,
        outputs=outputs,
    )
