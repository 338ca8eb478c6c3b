"""Random devices on random benches for the study of noise, distortion and maximum, and the truth.

Everything is drawn here; the truth is worked out from the figures that were drawn: densities and
hum in closed form, harmonics by a transform of one period of the bent wave, carried to open circuit
with the circuit's own impedances.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from probe.measures.own_harmonics import IN_LINE, REPEATS
from probe.measures.weighting import a_weight
from probe.simulate.device import bent, bent_terminals
from probe.simulate.network import circuit_truth, loaded, recorded
from probe.simulate.sound import BITS, quantised, tones, volts
from probe.simulate.spec import StageSpec, TakeSpec

CIRCUITS = ("symmetrical-dual", "core-and-inverter", "cross-coupled", "valve-followers")
OUTPUTS = {"hot": (1.0, 0.0), "cold": (0.0, 1.0), "differential": (1.0, -1.0)}
INPUT = {
    "volts_full_scale": 14.0,
    "u95_percent": 0.5,
    "impedance_u95_percent": 0.0,
    "capacitance_u95_pf": 0.0,
}
"""What the recorder takes off is exact: its doubt reaches these facts through the impedances."""

BAND = np.arange(20.0, 20001.0)
COARSE_HZ = np.geomspace(20.0, 20000.0, 60)
TONE = 997.0
IMPEDANCE_U = 0.003
"""Relative standard uncertainty of the impedances a session is given, each modal entry alone."""

IMPEDANCE_HZ = np.geomspace(10.0, 4e4, 30)
LEVEL_U = 0.002
NOISE_U = 0.01 / math.sqrt(2.0)
"""Relative standard deviation of the recorder's noise power in a take; it warms by 1 % between two
takes."""

GENERATOR = (0.1, 10.0)
"""Harmonics of the generator over those of the recorder: two halves of one interface."""


MOVES = REPEATS / 2.0
"""Of one take, along the phase and across; two takes differ by `REPEATS`, both parts together."""


def own_hum(rng: np.random.Generator) -> list[dict[str, float]]:
    """Hum of a recorder that has some: every harmonic, each of any size."""
    mains = 50.0 * (1.0 + 3e-4 * float(rng.standard_normal()))
    return [
        {
            "hz": mains * m,
            "microvolts": float(np.exp(rng.uniform(np.log(0.005), np.log(1.0)))),
            "phase_deg": float(rng.uniform(0.0, 360.0)),
        }
        for m in range(1, 13)
    ]


def drawn(seed: int, index: int) -> dict[str, Any]:
    """The stage of one session, as the table a stage.toml would give."""
    rng = np.random.default_rng([seed, index])

    def between(low: float, high: float) -> float:
        return float(np.exp(rng.uniform(np.log(low), np.log(high))))

    hum = [
        {
            "hz": 50.0 * m * (1.0 + 3e-4 * float(rng.standard_normal())),
            "hot_microvolts": between(0.2, 20.0),
            "cold_microvolts": between(0.2, 20.0),
            "phase_deg": float(rng.uniform(0.0, 360.0)),
            "cold_phase_deg": float(rng.uniform(0.0, 360.0)),
        }
        for m in rng.choice(np.arange(1, 13), size=rng.integers(0, 5), replace=False).tolist()
    ]
    bends = {
        leg: {
            "second": float(rng.choice([-1.0, 1.0])) * between(1e-6, 1e-3),
            "third": float(rng.choice([-1.0, 1.0])) * between(1e-7, 1e-4),
            "clip_volts": between(4.0, 9.0),
        }
        for leg in ("hot", "cold")
    }
    own = {
        "noise_nv": between(5.0, 60.0),
        "second": float(rng.choice([-1.0, 1.0])) * between(1e-7, 2e-5),
        "third": float(rng.choice([-1.0, 1.0])) * between(1e-8, 2e-6),
        "hum": own_hum(rng) if rng.random() < 0.5 else [],
    }
    tone = {"signal": "tone", "channels": ["hot", "cold"], "tones_hz": [TONE], "drive_volts": 2.0}
    step = 10.0 ** (float(rng.choice([0.5, 1.0])) / 20.0)
    levels = [round(2.0 * step**k, 4) for k in range(round(math.log(5.0) / math.log(step)) + 1)]
    takes = ["open", "second-open", "floor"]
    return {
        "circuit": CIRCUITS[index % len(CIRCUITS)],
        "device": {"maker": "Harrowgate", "model": "Tern"},
        "seed": index + 1,
        "phase": "none",
        "seconds": 1.5,
        "sample": "PCM_24",
        "takes": takes,
        "tolerances": {"seed": index},
        "bench": {"input": [INPUT]},
        "truth": {"draw": True, "drift_db": 0.005, "input": [own]},
        "device_noise": {
            "core_nv": between(2.0, 200.0),
            "hot_nv": between(2.0, 200.0),
            "cold_nv": between(2.0, 200.0),
            "hum": hum,
        },
        "nonlinear": bends,
        "take": [
            {"preset": "idle", "seconds": 3.0},
            {**tone, "name": "tone"},
            {**tone, "signal": "loop-back", "name": "loop"},
            {
                "signal": "level-steps",
                "name": "steps",
                "channels": ["hot", "cold"],
                "tones_hz": [TONE],
                "levels_volts": levels,
                "step_s": 0.15,
            },
        ],
    }


def sound(
    stage: StageSpec, take: TakeSpec, ratio: np.ndarray, rng: np.random.Generator
) -> np.ndarray:
    """The samples of a take on a bench that is as real ones are.

    The recorder's noise wanders from take to take, and so do the harmonics of both its halves, by
    `REPEATS` from one to another. The generator has harmonics of its own, which pass the device as
    its tone does: an inverted leg turns them, but not the recorder's. They are ``ratio`` times as
    large as those, shape (2,), complex. A device that turns its drive over at pin 2 turns the even
    ones over, too. Every second recorder has memory, and its second harmonic any phase.
    """
    wander = math.sqrt(max(1.0 + NOISE_U * float(rng.standard_normal()), 0.0))
    moved = 1.0 + MOVES * rng.standard_normal(2)
    inputs = tuple(
        replace(
            i,
            noise_density=i.noise_density * wander,
            bend=replace(i.bend, second=i.bend.second * moved[0], third=i.bend.third * moved[1]),
        )
        for i in stage.true.inputs
    )
    turn = rng.standard_normal(2) + 1j * rng.standard_normal(2)
    share = harmonics(stage, take, ratio) * (1.0 + MOVES * turn)
    stage = replace(stage, true=replace(stage.true, inputs=inputs))
    wave = volts(stage, take)
    if take.signal in ("tone", "loop-back"):
        wave += generator(stage, take, share)
        wave += memory(stage, take)
    scale = np.array([i.volts_full_scale for i in take.inputs])
    stream = np.random.default_rng([*take.noise_seed, 1000])
    return np.asarray(quantised(wave / scale, BITS[stage.sample], stream))


def harmonics(stage: StageSpec, take: TakeSpec, ratio: np.ndarray) -> np.ndarray:
    """The second and third harmonic of the generator over its tone, shape (2,)."""
    bend, peak = stage.true.inputs[0].bend, math.sqrt(2.0) * take.drive_volts
    return np.abs([bend.second * peak / 2.0, bend.third * peak**2 / 4.0]) * ratio


def generator(stage: StageSpec, take: TakeSpec, share: np.ndarray) -> np.ndarray:
    """What the generator's second and third harmonic add to what the channels read.

    They pass the bends of the device and of the recorder with the tone.
    """
    one = recorded(stage, take)
    hz = one.hz[:1] * np.array([2.0, 3.0])
    from_device = share[:, None] * one.from_device[:1]
    more = replace(one, hz=hz, from_device=from_device, from_injectors=0.0 * from_device)
    tone = tones(stage, take, one)
    inputs = stage.true.inputs[: len(take.channels)]
    gains = np.array([i.gain for i in inputs])

    def heard(wave: np.ndarray) -> np.ndarray:
        if take.hears_device:
            wave = bent_terminals(stage, take, wave / gains) * gains
        return np.stack([bent(i.bend, x) for i, x in zip(inputs, wave.T, strict=True)], axis=1)

    return heard(tone + tones(stage, take, more)) - heard(tone)


def memory(stage: StageSpec, take: TakeSpec) -> np.ndarray:
    """What turns the recorder's second harmonic to the phase that is drawn."""
    rng = np.random.default_rng([take.noise_seed[0], 7])
    turn = np.exp(2j * np.pi * rng.random()) if rng.random() > IN_LINE else 1.0
    one = recorded(stage, take)
    size = np.abs(one.from_device[:1])
    bends = np.array([i.bend.second for i in stage.true.inputs[: len(take.channels)]])
    share = bends * size**2 / math.sqrt(2.0) * (one.from_device[:1] / size) ** 2 * (turn - 1.0)
    more = replace(one, hz=2.0 * one.hz[:1], from_device=share, from_injectors=0.0 * share)
    return np.asarray(tones(stage, take, more))


def opening(stage: StageSpec, take: TakeSpec, hz: np.ndarray) -> np.ndarray:
    """``1 + Z Y`` of the legs as they are, shape (F, 2, 2)."""
    z = circuit_truth(take.circuit, hz).z[:, :2, :2]
    y = np.zeros((len(hz), 2, 2), dtype=complex)
    for k in (0, 1):
        one = stage.true.inputs[k]
        y[:, k, k] = 1.0 / one.ohm + 2j * np.pi * hz * one.farad
    return np.eye(2) + z @ y


@dataclass(frozen=True)
class Wave:
    """A take's tone: rms volts at the legs per volt of drive, and what opens its harmonics."""

    bends: tuple[Any, ...]
    volts: np.ndarray
    factor: np.ndarray

    def lines(self, drive: float) -> np.ndarray:
        """Open-circuit rms phasors of the tone and its harmonics, shape (20, 2)."""
        turn = np.exp(2j * np.pi * np.arange(2048) / 2048)
        lines = np.zeros((20, 2), dtype=complex)
        for leg in (0, 1):
            bend = self.bends[leg]
            wave = math.sqrt(2.0) * drive * (self.volts[leg] * turn).real
            wave = wave + bend.second * wave**2 + bend.third * wave**3
            wave = np.clip(wave, -bend.clip_volts, bend.clip_volts)
            lines[:, leg] = np.fft.rfft(wave)[1:21] * math.sqrt(2.0) / 2048
        return np.einsum("fab,fb->fa", self.factor, lines)


def wave_of(stage: StageSpec, take: TakeSpec) -> Wave:
    """The tone of a take."""
    hz = take.tones_hz[0] * np.arange(1.0, 21.0)
    volts = recorded(stage, take).volts[0] * np.array(take.levels) / take.drive_volts
    return Wave(stage.bends, volts, opening(stage, take, hz))


def distorted(lines: np.ndarray, signs: tuple[float, float]) -> tuple[float, float]:
    """Power of the tone and of its harmonics in one output."""
    power = np.abs(lines @ np.array(signs)) ** 2
    return float(power[0]), float(power[1:].sum())


def noise_density(stage: StageSpec, signs: tuple[float, float], hz: np.ndarray) -> np.ndarray:
    """Density of the device's noise, V²/Hz, shape (F,).

    The simulation takes off what the recorder's inputs take at 1 kHz, at all frequencies; the
    recording therefore holds the noise of a device that shows this much with nothing connected.
    """
    own, take = stage.noise, {t.name: t for t in stage.takes}["left idle"]
    factor = opening(stage, take, hz) @ loaded(stage, take)[0, :2, :2].real
    row = np.einsum("a,fab->fb", np.array(signs), factor)
    core = own.core**2 * np.abs(row[:, 0] - row[:, 1]) ** 2
    return np.asarray(core + np.abs(row) ** 2 @ np.array([own.hot**2, own.cold**2]))


def noise_power(stage: StageSpec, signs: tuple[float, float], weight: np.ndarray) -> float:
    """Power of the device's noise without hum."""
    density = noise_density(stage, signs, COARSE_HZ)
    return float(np.trapezoid(np.interp(BAND, COARSE_HZ, density) * weight, BAND))


def hum_power(stage: StageSpec, signs: tuple[float, float], *, weighted: bool) -> float:
    """Power of the device's hum."""
    total = 0.0
    for hz, hot, cold, _ in stage.noise.hum:
        gain = float(a_weight(hz)) if weighted else 1.0
        total += gain * abs(hot * signs[0] + cold * signs[1]) ** 2
    return total


def truths(stage: StageSpec) -> dict[str, float]:
    """What every fact should be; ``output/hum line/order`` and ``output/harmonic/order`` too."""
    takes = {t.name: t for t in stage.takes}
    tone, steps = (wave_of(stage, takes[n]) for n in ("tone", "steps"))
    weighted = a_weight(BAND)
    lines = tone.lines(takes["tone"].drive_volts)
    out = {"drift": drift_of(stage)}
    for name, signs in OUTPUTS.items():
        hum = hum_power(stage, signs, weighted=False)
        flat = noise_power(stage, signs, np.ones_like(BAND))
        out[f"{name}_noise"] = math.sqrt(flat + hum)
        heavy = hum_power(stage, signs, weighted=True)
        out[f"{name}_noise_a"] = math.sqrt(noise_power(stage, signs, weighted) + heavy)
        out[f"{name}_noise_density"] = math.sqrt(noise_density(stage, signs, np.array([TONE]))[0])
        out[f"{name}_hum"] = math.sqrt(hum)
        for hz, hot, cold, _ in stage.noise.hum:
            power = abs(hot * signs[0] + cold * signs[1])
            out[f"{name}/hum line/{round(hz / 50.0)}"] = power
        carrier, harmonics = distorted(lines, signs)
        for n in (2, 3):
            size = abs(lines[n - 1] @ np.array(signs))
            out[f"{name}/harmonic/{n}"] = 100.0 * size / math.sqrt(carrier)
        out[f"{name}_thd"] = 100.0 * math.sqrt(harmonics / (carrier + harmonics))
        rest = harmonics + flat + hum
        out[f"{name}_thd_n"] = 100.0 * math.sqrt(rest / (carrier + rest))
        out[f"{name}_maximum"] = most(steps, signs)
    second = {n: out[f"{n}/harmonic/2"] for n in OUTPUTS}
    mean = 0.5 * (second["hot"] + second["cold"])
    out["second_harmonic_cancellation"] = 20.0 * math.log10(mean / second["differential"])
    out["differential_level"] = math.sqrt(sum(distorted(lines, OUTPUTS["differential"])))
    for word in ("signal", "maximum"):
        above = out["differential_level" if word == "signal" else "differential_maximum"]
        for suffix in ("", "_a"):
            ratio = above / out[f"differential_noise{suffix}"]
            out[f"differential_{word}_to_noise{suffix}"] = 20.0 * math.log10(ratio)
    return out


def drift_of(stage: StageSpec) -> float:
    """Change of the stronger leg's level from the first open take to the second, dB."""
    first, second = (t for t in stage.takes if t.signal == "multitone")
    gains = np.array([i.gain for i in stage.true.inputs[:2]]) * np.array(first.levels)
    found = recorded(stage, first)
    near = int(np.argmin(np.abs(np.log(found.hz / 1000.0))))
    leg = int(np.argmax(np.abs(found.volts[near]) * gains))
    return 20.0 * math.log10(second.levels[leg] / first.levels[leg])


def most(steps: Wave, signs: tuple[float, float]) -> float:
    """Level at which distortion first reaches 1 %, V."""
    low, high = 0.5, 40.0
    for _ in range(24):
        middle = math.sqrt(low * high)
        carrier, harmonics = distorted(steps.lines(middle), signs)
        above = harmonics / (carrier + harmonics) > 1e-4
        low, high = (low, middle) if above else (middle, high)
    return math.sqrt(sum(distorted(steps.lines(low), signs)))
