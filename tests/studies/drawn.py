"""Random sessions: which circuit, which bench, which takes, and what is off by how much.

Every figure a session declares is off by what its stated uncertainty allows (normal, two standard
deviations at the expanded uncertainty); levels move between takes by the repeatability the
session states or, where it states none, by the default. What is drawn depends on the study's
seed and the number of the session alone, so that any row can be made again by itself.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from probe.phasors.model import TakePhasors
from probe.session.model import Session
from probe.simulate import library
from probe.simulate.build import stage_of
from probe.simulate.describe import session_of
from probe.simulate.network import noise_variance, recorded
from probe.simulate.presets import FULL
from probe.simulate.spec import StageSpec, TakeSpec

DEFAULT_DRIFT_DB = 0.02
"""What a session that states no repeatability is taken to have."""

ASSUMED_CROSSTALK = 1e-4
"""Crosstalk between recorder channels is never declared; the analysis reckons with -80 dB."""

HEARD = 12.0
"""A tone is heard where its power is this many times its noise (noise alone: once in e^12)."""

SUBSETS: dict[str, tuple[str, ...]] = {
    "full": FULL,
    "full and switched off": (*FULL, "inject-cold-off", "inject-hot-off"),
    **{f"first {n} of full": FULL[:n] for n in range(1, len(FULL))},
    "open twice": ("open", "second-open"),
    "open, inject cold": ("open", "inject-cold"),
    "open, load hot": ("open", "load-hot"),
    "open, load cold": ("open", "load-cold"),
    "open, across": ("open", "load-across"),
    "open, loads": ("open", "load-hot", "load-cold"),
    "open, loads, across, open": ("open", "load-hot", "load-cold", "load-across", "second-open"),
    "loads alone": ("load-hot", "load-cold"),
    "open, injections": ("open", "inject-cold", "inject-hot"),
    "open, injections, open": ("open", "inject-cold", "inject-hot", "second-open"),
    "injections alone": ("inject-cold", "inject-hot"),
    "no single-ended": tuple(t for t in FULL if not t.startswith("single")),
    "no injections": tuple(t for t in FULL if not t.startswith("inject")),
    "cold only": ("open", "single-ended", "inject-cold", "load-cold"),
    "single-ended alone": ("single-ended", "single-ended-loaded"),
}
"""Takes a person may stop at; a random subset is drawn besides."""

SITUATIONS = ("reference", "stream", "none", "stream, own clock", "none, own clock")

DRIFTS: tuple[float | None, ...] = (0.0, 0.005, 0.02, 0.05, None)
"""Declared repeatability, dB; None: not declared. The drift is drawn with the same figure."""


@dataclass(frozen=True)
class Drawn:
    """One session: how it was drawn, its simulated stage, and its number."""

    index: int
    seed: int
    circuit: str
    takes_name: str
    takes: tuple[str, ...]
    situation: str
    declared_db: float | None
    crosstalk: bool
    stage: StageSpec

    @property
    def drift_db(self) -> float:
        """Standard deviation of the level between takes, dB."""
        return DEFAULT_DRIFT_DB if self.declared_db is None else self.declared_db

    @property
    def full(self) -> bool:
        """True where every take of the usual nine was made."""
        return set(FULL) <= set(self.takes)


def draw(seed: int, index: int, *, audio: bool = False) -> Drawn:
    """Return session ``index`` of the study ``seed``; ``audio`` keeps its takes short."""
    rng = np.random.default_rng([seed, index])
    names = library.names()
    circuit = names[index % len(names)]
    takes_name, takes = _takes(rng)
    situation = SITUATIONS[int(rng.integers(len(SITUATIONS)))]
    declared = DRIFTS[int(rng.integers(len(DRIFTS)))]
    crosstalk = bool(rng.random() < 0.75)
    table = _table(rng, circuit, takes, situation, declared, audio)
    stage = stage_of(table)
    return Drawn(index, seed, circuit, takes_name, takes, situation, declared, crosstalk, stage)


def _takes(rng: np.random.Generator) -> tuple[str, tuple[str, ...]]:
    chance = rng.random()
    if chance < 0.35:
        return "full", FULL
    if chance < 0.5:
        rest = [t for t in FULL[1:] if rng.random() < 0.5]
        return "open and a random choice", ("open", *rest)
    names = list(SUBSETS)[1:]
    name = names[int(rng.integers(len(names)))]
    return name, SUBSETS[name]


def _of(rng: np.random.Generator, *values: Any) -> Any:
    return values[int(rng.integers(len(values)))]


def _table(
    rng: np.random.Generator,
    circuit: str,
    takes: tuple[str, ...],
    situation: str,
    declared: float | None,
    audio: bool,
) -> dict[str, Any]:
    """The stage.toml of a session as a dictionary."""
    phase = situation.split(",")[0]
    own_clock = situation.endswith("own clock")
    resistors = float(_of(rng, 0.1, 0.1, 1.0))
    channel = {
        "volts_full_scale": float(_of(rng, 4.0, 8.7, 17.4)),
        "u95_percent": float(_of(rng, 0.2, 0.5, 1.0)),
        "impedance_ohm": float(_of(rng, 10e3, 20e3, 47e3, 100e3)),
        "impedance_u95_percent": float(_of(rng, 0.5, 1.0, 2.0)),
        "capacitance_pf": float(_of(rng, 100.0, 150.0, 350.0)),
        "capacitance_u95_pf": float(_of(rng, 10.0, 20.0, 50.0)),
    }
    device: dict[str, Any] = {"maker": "Harrowgate", "model": "Tern"}
    if rng.random() < 0.7:
        device["stated_polarity"] = "pin-2-hot"
    bench: dict[str, Any] = {"input": [channel]}
    if declared is not None:
        bench["repeatability_db"] = declared
    drift = DEFAULT_DRIFT_DB if declared is None else declared
    return {
        "circuit": circuit,
        "seed": int(rng.integers(2**31)),
        "phase": phase,
        "takes": list(takes),
        "seconds": 2.0 if audio else float(_of(rng, 2.0, 4.0, 8.0)),
        "device": device,
        "bench": bench,
        "tolerances": {"seed": int(rng.integers(2**31))},
        "drive": {"tell_phases": bool(rng.random() < 0.5)},
        "injector": {
            "tell_phases": bool(rng.random() < 0.5),
            "through_ohm": float(_of(rng, 4990.0, 10e3, 10e3)),
            "u95_percent": resistors,
            "volts_u95_percent": float(_of(rng, 0.2, 0.5, 1.0)),
        },
        "loads": {
            "leg_ohm": float(_of(rng, 604.0, 604.0, 1000.0, 2210.0)),
            "across_ohm": float(_of(rng, 1210.0, 2000.0)),
            "single_ended_ohm": float(_of(rng, 1000.0, 2210.0, 10e3)),
            "u95_percent": resistors,
        },
        "truth": {
            "draw": True,
            "drift_db": drift,
            "clock_ppm": float(np.round(rng.uniform(-400.0, 400.0), 2)) if own_clock else 0.0,
            "input": [{"noise_nv": float(_of(rng, 20.0, 50.0, 150.0))}],
        },
    }


def phasors_of(drawn: Drawn) -> tuple[Session, tuple[TakePhasors, ...]]:
    """Return the session and what its recordings would say, no audio made."""
    stage = drawn.stage
    session = session_of(stage, Path("simulated"))
    rng = np.random.default_rng([drawn.seed, drawn.index, 1])
    cross = _crosstalk(rng) if drawn.crosstalk else None
    pairs = zip(stage.takes, session.takes, strict=True)
    return session, tuple(_phasors(stage, spec, take, cross, rng) for spec, take in pairs)


def phasors_of_take(
    stage: StageSpec, spec: TakeSpec, take: Any, rng: np.random.Generator
) -> TakePhasors:
    """Return what the recording of one take would say, without crosstalk."""
    return _phasors(stage, spec, take, None, rng)


def _crosstalk(rng: np.random.Generator) -> NDArray[np.complex128]:
    """One unit of crosstalk from channel to channel, the same in every take."""
    white = rng.standard_normal((2, 8, 8))
    cross = (white[0] + 1j * white[1]) / math.sqrt(2.0)
    np.fill_diagonal(cross, 0.0)
    return cross


def _phasors(
    stage: StageSpec,
    spec: TakeSpec,
    take: Any,
    cross: NDArray[np.complex128] | None,
    rng: np.random.Generator,
) -> TakePhasors:
    """One take: the simulated voltages with gains, drift, crosstalk, noise, delay and clock."""
    found = recorded(stage, spec)
    volts = found.volts * np.array(spec.levels)
    if cross is not None:
        heard = np.array([c not in ("reference", "unused") for c in spec.channels], dtype=float)
        size = ASSUMED_CROSSTALK * np.sqrt(1.0 + (found.hz / 1.0e4) ** 2)
        count = len(spec.channels)
        mix = cross[:count, :count] * heard[:, None] * heard[None, :]
        volts = volts + size[:, None] * (volts @ mix.T)
    gains = np.array([stage.true.inputs[c].gain for c in range(len(spec.channels))])
    variance = noise_variance(stage, spec, found.hz)
    white = rng.standard_normal((2, *volts.shape))
    volts = volts * gains + np.sqrt(variance / 2.0) * (white[0] + 1j * white[1])
    clock_u = _clock_u(found.hz, volts, variance, spec.seconds)
    centre = spec.silence_before_s + spec.seconds / 2.0
    missed = clock_u * rng.standard_normal()
    volts = volts * np.exp(-2j * np.pi * found.hz * (spec.delay_s - centre * missed))[:, None]
    power = np.abs(volts) ** 2
    return TakePhasors(
        take=take,
        hz=found.hz,
        played=found.played,
        injected=found.injected,
        volts=volts,
        noise=variance[:, :, None] * np.eye(volts.shape[1]) + 0j,
        hum_limited=np.zeros(found.hz.size, dtype=np.bool_),
        clock_error=stage.true.clock_error + missed,
        clock_u=clock_u,
        centre_s=centre,
        steady_s=(spec.silence_before_s, spec.silence_before_s + spec.seconds),
        usable=True,
        unheard=np.array(~(power > HEARD * variance).any(axis=0)),
        remarks=(),
    )


def _clock_u(
    hz: NDArray[np.float64],
    volts: NDArray[np.complex128],
    variance: NDArray[np.float64],
    seconds: float,
) -> float:
    """Standard uncertainty of the clock from all tones: a line through each phase over time.

    The phase of a tone has the variance ``noise / (2 |v|²)``; the slope of a line through equal
    independent pieces of it ``12 / T²`` times that (closed form of a straight-line fit).
    """
    phase = variance / (2.0 * np.maximum(np.abs(volts) ** 2, 1e-300))
    information = np.sum((2.0 * np.pi * hz[:, None] * seconds) ** 2 / (12.0 * phase))
    return float(1.0 / np.sqrt(information))
