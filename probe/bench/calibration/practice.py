"""A bench without hardware to practise a calibration on: an invented interface and its leads.

Its outputs and inputs are circuits; what is plugged between them is said with `plug`. It
stands behind a `probe.bench.cards.loopback.LoopBackCard`: the whole bench plays and records as
ever.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from probe.bench.cards.loopback import LoopBackCard
from probe.bench.filters.convolve import Convolver, parts_of
from probe.bench.filters.response import taps_of
from probe.bench.stream.card import Block

NAME = "practice interface"
BLOCK = 4096
DISTORTION = (1e-4, 3e-5)
"""Shares of the second and third power of what an output plays."""


@dataclass(frozen=True)
class PracticeBench:
    """What the practice interface is like; V peak, ohm, farad; noise V rms of all frequencies."""

    out_volts: tuple[float, float] = (4.12, 4.07)
    out_ohm: tuple[float, float] = (75.3, 74.6)
    in_volts: tuple[float, float] = (8.71, 8.76)
    in_ohm: tuple[float, float] = (20150.0, 19920.0)
    in_farad: tuple[float, float] = (152e-12, 149e-12)
    noise_volts: float = 20e-6
    hum_volts: float = 4e-6
    crosstalk: float = 1e-5
    series_ohm: float = 10004.0
    shunt_ohm: float = 603.8
    reference_ohm: float = 100.02
    mains_hz: float = 50.0
    gain: tuple[float, float] = (1.0, 1.0)
    """Of the inputs, where a knob was moved after the calibration."""
    contact_ohm: float = 0.0
    """In series with the reference: a dirty switch."""

    def heard(self, wiring: str, hz: NDArray[np.float64]) -> NDArray[np.complex128]:
        """Return input reading per full scale of each output, shape (F, inputs, outputs)."""
        found = np.zeros((len(hz), 2, 2), dtype=np.complex128)
        for k in (0, 1):
            y = 1.0 / self.in_ohm[k] + 2j * np.pi * hz * self.in_farad[k]
            if wiring in ("floor", "nothing"):
                continue
            source = 1 - k if wiring == "crossed" else k
            series = self.out_ohm[source]
            if wiring == f"series-{k + 1}":
                series += self.series_ohm
            if wiring == f"shunt-{k + 1}":
                y = y + 1.0 / self.shunt_ohm
            if wiring in ("check", "check-crossed"):
                source = 1 - k if wiring == "check-crossed" else k
                series = self.out_ohm[source] + self.series_ohm
                y = y + 1.0 / (self.reference_ohm + self.contact_ohm)
            if wiring == "check-one" and k == 1:
                continue
            through = self.out_volts[source] / (1.0 + series * y) / self.in_volts[k]
            found[:, k, source] = through * self.gain[k]
        cross = found[:, ::-1, :] * self.crosstalk
        return np.asarray(found + cross)


class PracticeCard(LoopBackCard):
    """The practice interface as a card; ``seed`` of its noise."""

    def __init__(
        self,
        bench: PracticeBench | None = None,
        *,
        patient: bool = True,
        seed: int = 1,
        block: int = BLOCK,
    ) -> None:
        super().__init__(self.answer, block=block, patient=patient)
        self.block = block
        self.bench = bench or PracticeBench()
        self.rate = 48000.0
        self._stream = np.random.default_rng(seed)
        self._convolver: Convolver | None = None
        self._wiring = "nothing"
        self._peak = 0.0
        self._parts = self._parts_of("nothing")

    @property
    def name(self) -> str:
        """Its name."""
        return NAME

    def plug(self, wiring: str) -> None:
        """Plug this from now on."""
        self._wiring = wiring
        self._parts = self._parts_of(wiring)

    def meter_volts(self, hz: float) -> float:
        """Return what a meter at input 1 shows while one tone of this frequency plays, V rms."""
        share = abs(complex(self.bench.heard(self._wiring, np.array([hz]))[0, 0, 0]))
        return float(share / self.bench.gain[0] * self.bench.in_volts[0] * self._peak / 2.0**0.5)

    def turn(self, bench: PracticeBench) -> None:
        """Let it be another bench from now on: a knob turned, a contact gone dirty."""
        self.bench = bench
        self.plug(self._wiring)

    def _parts_of(self, wiring: str) -> NDArray[np.complex64]:
        return parts_of(taps_of(lambda hz: self.bench.heard(wiring, hz), self.rate), self.block)

    def answer(self, played: Block, frame: int) -> Block:
        """Return what the inputs hear of a block that was played."""
        if self._convolver is None:
            self._convolver = Convolver(self._parts, self.block)
        self._convolver.parts = self._parts
        self._peak = max(float(np.max(np.abs(played[:, 0]))), 0.999 * self._peak)
        second, third = DISTORTION
        x = played.astype(np.float64)
        clean = self._convolver.step(x + second * x**2 + third * x**3)
        t = (frame + np.arange(len(played))) / self.rate
        scale = np.array(self.bench.in_volts)
        noise = self._stream.standard_normal(clean.shape) * self.bench.noise_volts
        hum = np.sqrt(2.0) * self.bench.hum_volts * np.sin(2 * np.pi * self.bench.mains_hz * t)
        heard = clean + (noise + hum[:, None]) / scale * np.array(self.bench.gain)
        return np.asarray(np.clip(heard, -1.0, 1.0), dtype=np.float32)
