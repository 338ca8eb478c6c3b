"""The virtual bench as the guided run takes it."""

from __future__ import annotations

import zlib
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from probe.bench.guided.equipment import Equipment
from probe.bench.planned.kit import Kit
from probe.bench.stream.card import StreamFormat
from probe.bench.stream.recorder import Recorder
from probe.bench.stream.sound import InputScale, OutputScale
from probe.bench.virtual.card import VirtualCard
from probe.bench.virtual.mishaps import Mishap
from probe.bench.virtual.place import FULL_SCALE_OUT, OUTPUT_OHM, place_of
from probe.formats.toml import read_bytes
from probe.session.model import BenchOutput, Side


def virtual_equipment(
    circuit: str,
    *,
    kit: Kit | None,
    mishaps: Sequence[Mishap] = (),
    fast: bool = False,
    seed: int = 1,
    sides: tuple[Side, ...] = ("left",),
    inputs: int = 2,
    rate: int = 48000,
    seconds: float = 3.0,
) -> Equipment:
    """Return a virtual bench: card, figures, and hands that plug what the run asks for.

    Raises
    ------
    BadInput
        No such circuit, or a stage file that cannot be used.
    """
    place = place_of(circuit, seed=seed, sides=sides, inputs=inputs)
    card = VirtualCard(place, fast=fast, mishaps=mishaps)
    outputs = (BenchOutput(FULL_SCALE_OUT, OUTPUT_OHM),) * 2
    bench = replace(place.stage.bench, outputs=outputs)
    device = place.stage.device
    if not place.has_single_ended:
        device = replace(device, connectors=("xlr",))

    def recorder(run: int) -> Recorder:
        return Recorder(
            card,
            StreamFormat(rate, inputs, 2),
            inputs=[InputScale(i.volts_full_scale) for i in bench.inputs],
            outputs=[OutputScale(FULL_SCALE_OUT)] * 2,
            run=run,
        )

    return Equipment(
        card=card,
        bench=bench,
        recorder=recorder,
        kit=kit,
        device=device,
        sides=place.sides,
        all_sides=place.sides,
        plug=card.plug,
        turn=card.turn,
        hands=card.player.hands,
        head=(
            "# SIMULATED: recorded from a virtual bench, not from a device.",
            f"# Circuit: {place.stage.origin}. No device of this name exists.",
            f"# Device: {_which(circuit, seed)}.",
        ),
        figures=place.calibrated(rate),
        left_over=card.left_over,
        seconds=seconds,
        inputs=inputs,
    )


def _which(circuit: str, seed: int) -> str:
    """Return what tells this simulated device from another one of the same circuit."""
    if circuit.endswith(".toml"):
        return f"a stage file with checksum {zlib.crc32(read_bytes(Path(circuit))):08x}"
    return f"parts drawn with seed {seed}"
