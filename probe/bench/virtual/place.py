"""The virtual bench as it is: a stage from `simulate`, with a recorder and resistors of its own.

What is declared and what is true differ by draws from the declared uncertainties, as on a table.
"""

from __future__ import annotations

import zlib
from collections.abc import Sequence
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from probe.bench.calibration.figures import (
    BenchFigures,
    Figure,
    InputFigures,
    Match,
    OutputFigures,
)
from probe.bench.planned.steps import OUTPUT_U95, Injector, Plugged
from probe.errors import BadInput
from probe.session.model import Channel, Injection, Side, Signal
from probe.simulate.build import read_stage, stage_of
from probe.simulate.device import bent, bent_channels
from probe.simulate.network import responses
from probe.simulate.spec import StageSpec, TakeSpec

FULL_SCALE_OUT = 4.0
"""Peak volts of the virtual interface's outputs at full scale."""

OUTPUT_OHM = 100.0

REPEATABILITY_DB = 0.005
"""Level between pluggings, one standard deviation, of a careful bench: declared, and drawn."""


class Place:
    """Device, recorder and resistors; answers what each input hears of each output.

    Parameters
    ----------
    stage
        The device with its sides and the bench as declared and as it is.
    seed
        Of all that differs from what is declared: resistors, injected volts, levels between
        pluggings.
    exact
        Nothing differs, and nothing drifts.
    """

    def __init__(self, stage: StageSpec, seed: int, exact: bool = False) -> None:
        self.stage = stage
        self.seed = seed
        self.exact = exact

    @property
    def sides(self) -> tuple[Side, ...]:
        """The sides of the device."""
        return tuple(self.stage.circuits)

    @property
    def has_single_ended(self) -> bool:
        """Whether the device has an RCA output beside the balanced one."""
        return all("single-ended" in c.terminals for c in self.stage.circuits.values())

    def heard(self, plugged: Plugged, hz: NDArray[np.float64]) -> NDArray[np.complex128]:
        """Return what each input reads over full scale per unit of full scale of each output.

        Shape (F, inputs, 2): output 1 drives the device, output 2 the injector.
        """
        take = self._take(plugged)
        parts = {r.part: self._off(r.part, r.u95_relative) for r in take.loads}
        parts |= {i.part: self._off(i.part, i.u95_relative) for i in take.injections}
        stage = replace(self.stage, true=replace(self.stage.true, parts=parts))
        found = responses(stage, take, hz)
        volts = np.zeros((len(hz), len(plugged.channels), 2), dtype=np.complex128)
        if take.signal == "channel-match" or take.state == "play":
            volts[:, :, 0] = found[:, :, 0]
        output = 0 if plugged.fixture else 1  # the check feeds the reference from the first one
        for k, injection in enumerate(take.injections):
            volts[:, :, output] += found[:, :, 1 + k] * (injection.volts > 0.0)
        gains = np.array([t.gain for t in self.stage.true.inputs[: volts.shape[1]]])
        scale = np.array([i.volts_full_scale for i in take.inputs])
        mixed = np.einsum("ij,fjk->fik", self._crosstalk(volts.shape[1]), volts)
        out = np.array([FULL_SCALE_OUT, FULL_SCALE_OUT * self._off("injector", OUTPUT_U95)])
        return np.asarray(mixed * (gains / scale)[None, :, None] * out)

    def calibrated(self, rate: int) -> BenchFigures:
        """Return what a calibration would have found: the loop as it is, the rest as declared."""
        bench, true = self.stage.bench, self.stage.true
        loop = tuple(
            Figure(FULL_SCALE_OUT * t.gain / i.volts_full_scale, 0.0, "loop-back")
            for i, t in zip(bench.inputs, true.inputs, strict=False)
        )
        inputs = tuple(
            InputFigures(
                Figure(i.volts_full_scale, i.u95_relative * i.volts_full_scale, "metered"),
                Figure(i.impedance_ohm, i.impedance_u95_relative * i.impedance_ohm, "series"),
                Figure(i.capacitance_farad, i.capacitance_u95_farad, "series"),
            )
            for i in bench.inputs
        )
        volts, ohm = Figure(FULL_SCALE_OUT, 0.0, "metered"), Figure(OUTPUT_OHM, 0.0, "shunt")
        return BenchFigures(
            interface=bench.interface,
            gain="",
            leads="",
            mains_hz=bench.mains_hz,
            sample_rate=rate,
            made_on=date.today(),
            made_by="the virtual bench",
            inputs=inputs,
            outputs=(OutputFigures(volts, ohm),) * 2,
            loop_gain=loop[:2],
            match=Match((), (), (), (), ()),
            common_u95_relative=0.0,
        )

    def drifted(
        self, inputs: int, channels: tuple[Channel, ...], plugging: int
    ) -> NDArray[np.float64]:
        """Return the level of each input after one more plugging, shape (inputs,)."""
        draws = np.random.default_rng([self.seed, 11, plugging]).standard_normal(inputs)
        spread = 0.0 if self.exact else self.stage.bench.repeatability_db or REPEATABILITY_DB
        moved = 10.0 ** (draws * spread / 20.0)
        heard = [c not in ("reference", "unused") for c in channels]
        return np.where(heard, moved, 1.0)

    @property
    def straight(self) -> bool:
        """Whether the device adds nothing to its tones."""
        return all(bend.straight for bend in self.stage.bends)

    def bent(
        self, channels: Sequence[Channel], heard: NDArray[np.float64], gain: float
    ) -> NDArray[np.float64]:
        """Return what the device's bends make of what is heard, shares of full scale.

        ``gain``: by which the inputs stand higher than declared.
        """
        scale = np.array([i.volts_full_scale for i in self.stage.bench.inputs[: heard.shape[1]]])
        volts = heard * (scale / gain)
        return bent_channels(self.stage, channels, volts) / (scale / gain)

    def sent(self, played: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return what the interface's outputs make of what is played, shares of full scale."""
        bend = self.stage.true.generator
        if bend.straight:
            return played
        return np.asarray(bent(bend, played * FULL_SCALE_OUT) / FULL_SCALE_OUT)

    def converted(self, heard: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return what the recorder's own bends make of what it hears, shares of full scale.

        They stand at its converters: more input gain brings more of them.
        """
        inputs = heard.shape[1]
        bends = [t.bend for t in self.stage.true.inputs[:inputs]]
        if all(bend.straight for bend in bends):
            return heard
        scale = [i.volts_full_scale for i in self.stage.bench.inputs[:inputs]]
        out = [
            bent(b, heard[:, k] * s) / s for k, (b, s) in enumerate(zip(bends, scale, strict=True))
        ]
        return np.stack(out, axis=1)

    def noise(self, inputs: int) -> NDArray[np.float64]:
        """Return the noise density of each input over full scale, 1/sqrt(Hz)."""
        true = self.stage.true.inputs[:inputs]
        scale = [i.volts_full_scale for i in self.stage.bench.inputs[:inputs]]
        own = np.array([t.gain * t.noise_density for t in true], dtype=np.float64)
        return np.asarray(own / np.array(scale), dtype=np.float64)

    def _crosstalk(self, inputs: int) -> NDArray[np.complex128]:
        """From input to input: as large as said, drawn from channel to channel."""
        leak = np.full((inputs, inputs), self.stage.true.crosstalk, dtype=np.complex128)
        if not self.exact:
            draws = np.random.default_rng([self.seed, 13]).standard_normal((2, inputs, inputs))
            leak *= (draws[0] + 1j * draws[1]) / np.sqrt(2.0)
        return leak * (1.0 - np.eye(inputs)) + np.eye(inputs)

    def _off(self, part: str, u95: float) -> float:
        """Return what something is over what it is declared to be."""
        draw = np.random.default_rng([self.seed, zlib.crc32(part.encode())]).standard_normal()
        return 1.0 if self.exact else 1.0 + u95 / 2.0 * float(draw)

    def _take(self, plugged: Plugged) -> TakeSpec:
        """Return the plugged bench as one of simulate's takes; its tones do not matter here."""
        if plugged.side not in self.stage.circuits:
            raise BadInput(
                f"virtual bench: the device has no side {plugged.side}; "
                f"it has {', '.join(self.stage.circuits)}"
            )
        injector = plugged.injector
        model = self.stage.takes[0]
        return replace(
            model,
            name="virtual",
            side=plugged.side,
            channels=plugged.channels,
            inputs=self.stage.bench.inputs[: len(plugged.channels)],
            circuit=self.stage.circuits[plugged.side],
            signal=_signal(plugged),
            gain=1.0,
            state=plugged.state,
            loads=plugged.loads,
            injections=() if injector is None else (_injection(injector),),
            driven_input_leg="both",
        )


def _signal(plugged: Plugged) -> Signal:
    if plugged.loop_back:
        return "loop-back"
    return "check" if plugged.fixture else "multitone"


def _injection(injector: Injector) -> Injection:
    return Injection(
        into=injector.into,
        through_ohm=injector.through_ohm,
        u95_relative=injector.u95_relative,
        part=injector.part,
        volts=1.0,
        volts_u95_relative=0.0,
        tones_hz=(),
        phases_rad=None,
    )


def place_of(
    circuit: str,
    *,
    seed: int = 1,
    sides: tuple[Side, ...] = ("left",),
    inputs: int = 2,
    exact: bool = False,
) -> Place:
    """Return a virtual bench with a circuit of the library, or with a stage file's device.

    Parameters
    ----------
    circuit
        Name of a circuit (``probe simulate --list``), or path of a stage.toml.
    seed
        Of all that differs from what is declared.
    sides
        Of a circuit by name; a stage file says its own.
    inputs
        Recorder inputs; with a third one the drive is recorded as well.
    exact
        Everything is what it is declared to be, and nothing drifts.

    Raises
    ------
    BadInput
        No such circuit, or a stage file that cannot be used.
    """
    if circuit.endswith(".toml"):
        place = Place(_widened(read_stage(Path(circuit)), inputs), seed)
        _refuse_missing(circuit, place.sides, sides)
        return place
    table: dict[str, Any] = {
        "circuit": circuit,
        "seed": seed,
        "sides": sides,
        "takes": ("open",),
        "phase": "none",
        "device": {"maker": "Virtual", "model": circuit, "serial": f"seed {seed}"},
        "drive": {"volts": 0.1},
        "bench": {
            "interface": "simulated interface of the virtual bench",
            "repeatability_db": REPEATABILITY_DB,
        },
        "truth": {"crosstalk_db": -100.0 if exact else -80.0, "draw": not exact},
    }
    if not exact:
        table["tolerances"] = {"seed": seed}
    stage = _widened(stage_of(table), inputs)
    return Place(stage, seed, exact)


def _refuse_missing(circuit: str, there: tuple[Side, ...], asked: tuple[Side, ...]) -> None:
    """Refuse sides that a stage file's device does not have, before anything is measured."""
    missing = [side for side in asked if side not in there]
    if len(asked) > 1 and missing:
        raise BadInput(
            f"--sides {' and '.join(asked)}: {circuit} has no side {', '.join(missing)}; it has "
            f"{', '.join(there)}: leave --sides out, or describe both sides in the file"
        )


def _widened(stage: StageSpec, inputs: int) -> StageSpec:
    """Return the stage with as many recorder inputs as the card has; those missing are alike."""
    missing = max(inputs - len(stage.bench.inputs), 0)
    bench = replace(stage.bench, inputs=stage.bench.inputs + stage.bench.inputs[-1:] * missing)
    true = replace(stage.true, inputs=stage.true.inputs + stage.true.inputs[-1:] * missing)
    return replace(stage, bench=bench, true=true)
