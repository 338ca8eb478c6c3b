"""How often the intervals of noise, hum, distortion and maximum hold the truth.

::

    OMP_NUM_THREADS=1 python -m tests.studies.measures --sessions 2000 --seed 1 --jobs 2 --write

Random simulated devices on random benches, written as sound files and analysed like any session.
The truth is worked out here from the figures that were drawn: densities and hum in closed form,
harmonics by a transform of one period of the bent wave, carried to open circuit with the circuit's
own impedances. ``--write`` writes ``docs/proof-measures.md`` and its figure.
"""

from __future__ import annotations

import argparse
import math
import tempfile
import traceback
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

import probe
from probe.facts import analyse_session
from probe.measures.weighting import a_weight
from probe.simulate.build import stage_of
from probe.simulate.network import circuit_truth, recorded
from probe.simulate.spec import StageSpec, TakeSpec
from probe.simulate.write import simulate

DOCUMENT = Path(__file__).parents[2] / "docs" / "proof-measures.md"
FIGURE = DOCUMENT.parent / "images" / "proof-measures.svg"
CIRCUITS = ("symmetrical-dual", "core-and-inverter", "cross-coupled", "valve-followers")
OUTPUTS = {"hot": (1.0, 0.0), "cold": (0.0, 1.0), "differential": (1.0, -1.0)}
BAND = np.arange(20.0, 20001.0)
MEASURES = ("noise", "noise_a", "hum", "thd", "thd_n", "maximum")
TONE = 997.0


@dataclass(frozen=True)
class Judged:
    """One fact against its truth."""

    index: int
    fact: str
    form: str
    holds: bool
    truth: float
    value: float
    u95: float


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
        "hum": [{"hz": 50.0, "microvolts": between(0.05, 2.0)}] if rng.random() < 0.3 else [],
    }
    tone = {"signal": "tone", "channels": ["hot", "cold"], "tones_hz": [TONE], "drive_volts": 2.0}
    step = 10.0 ** (float(rng.choice([0.5, 1.0])) / 20.0)
    levels = [round(2.0 * step**k, 4) for k in range(round(math.log(5.0) / math.log(step)) + 1)]
    takes = ["open", "load-hot", "load-cold", "load-across", "second-open", "floor"]
    return {
        "circuit": CIRCUITS[index % len(CIRCUITS)],
        "device": {"maker": "Harrowgate", "model": "Tern"},
        "seed": index + 1,
        "phase": "none",
        "seconds": 2.0,
        "sample": "PCM_24",
        "takes": takes,
        "tolerances": {"seed": index},
        "bench": {"input": [{"volts_full_scale": 14.0, "u95_percent": 0.5}]},
        "truth": {"draw": True, "drift_db": 0.005, "input": [own]},
        "device_noise": {
            "core_nv": between(2.0, 200.0),
            "hot_nv": between(2.0, 200.0),
            "cold_nv": between(2.0, 200.0),
            "hum": hum,
        },
        "nonlinear": bends,
        "take": [
            {"preset": "idle", "seconds": 4.0},
            {**tone, "name": "tone"},
            {**tone, "signal": "loop-back", "name": "loop"},
            {
                "signal": "level-steps",
                "name": "steps",
                "channels": ["hot", "cold"],
                "tones_hz": [TONE],
                "levels_volts": levels,
                "step_s": 0.25,
            },
        ],
    }


def opening(stage: StageSpec, take: TakeSpec, hz: np.ndarray) -> np.ndarray:
    """``1 + Z Y`` of the legs as they are, shape (F, 2, 2)."""
    z = circuit_truth(take.circuit, hz).z[:, :2, :2]
    y = np.zeros((len(hz), 2, 2), dtype=complex)
    for k in (0, 1):
        one = stage.true.inputs[k]
        y[:, k, k] = 1.0 / one.ohm + 2j * np.pi * hz * one.farad
    return np.eye(2) + z @ y


def bent_lines(stage: StageSpec, take: TakeSpec, drive: float) -> np.ndarray:
    """Open-circuit rms phasors of the tone and its harmonics, shape (20, 2)."""
    volts = recorded(stage, take).volts[0] / take.drive_volts * drive
    turn = 2.0 * np.pi * np.arange(2048) / 2048
    lines = np.zeros((20, 2), dtype=complex)
    for leg in (0, 1):
        bend = stage.bends[leg]
        wave = math.sqrt(2.0) * (volts[leg] * np.exp(1j * turn)).real
        wave = wave + bend.second * wave**2 + bend.third * wave**3
        wave = np.clip(wave, -bend.clip_volts, bend.clip_volts)
        lines[:, leg] = np.fft.rfft(wave)[1:21] * math.sqrt(2.0) / 2048
    factor = opening(stage, take, take.tones_hz[0] * np.arange(1.0, 21.0))
    return np.einsum("fab,fb->fa", factor, lines)


def distortion(lines: np.ndarray, signs: tuple[float, float]) -> tuple[float, float]:
    """Power of the tone and of its harmonics in one output."""
    power = np.abs(lines @ np.array(signs)) ** 2
    return float(power[0]), float(power[1:].sum())


def noise_power(stage: StageSpec, signs: tuple[float, float], weight: np.ndarray) -> float:
    """Power of the device's noise without hum."""
    own = stage.noise
    density = own.core**2 * (signs[0] - signs[1]) ** 2
    density += (own.hot * signs[0]) ** 2 + (own.cold * signs[1]) ** 2
    return float(density * (np.sum(weight) - 0.5 * (weight[0] + weight[-1])))


def hum_power(stage: StageSpec, signs: tuple[float, float], *, weighted: bool) -> float:
    """Power of the device's hum."""
    total = 0.0
    for hz, hot, cold, _ in stage.noise.hum:
        gain = float(a_weight(hz)) if weighted else 1.0
        total += gain * abs(hot * signs[0] + cold * signs[1]) ** 2
    return total


def truths(stage: StageSpec) -> dict[str, float]:
    """What every fact should be."""
    takes = {t.name: t for t in stage.takes}
    tone, steps = takes["left tone" if "left tone" in takes else "tone"], takes["steps"]
    flat, weighted = np.ones_like(BAND), a_weight(BAND)
    lines = bent_lines(stage, tone, tone.drive_volts)
    out = {}
    for name, signs in OUTPUTS.items():
        hum = hum_power(stage, signs, weighted=False)
        noise = noise_power(stage, signs, flat)
        out[f"{name}_noise"] = math.sqrt(noise + hum)
        heavy = hum_power(stage, signs, weighted=True)
        out[f"{name}_noise_a"] = math.sqrt(noise_power(stage, signs, weighted) + heavy)
        out[f"{name}_hum"] = math.sqrt(hum)
        carrier, harmonics = distortion(lines, signs)
        out[f"{name}_thd"] = 100.0 * math.sqrt(harmonics / (carrier + harmonics))
        rest = harmonics + noise + hum
        out[f"{name}_thd_n"] = 100.0 * math.sqrt(rest / (carrier + rest))
        out[f"{name}_maximum"] = maximum(stage, steps, signs)
    return out


def maximum(stage: StageSpec, steps: TakeSpec, signs: tuple[float, float]) -> float:
    """Level at which distortion first reaches 1 %, V."""
    low, high = steps.levels_volts[0], 4.0 * steps.levels_volts[-1]
    for _ in range(40):
        middle = math.sqrt(low * high)
        carrier, harmonics = distortion(bent_lines(stage, steps, middle), signs)
        above = harmonics / (carrier + harmonics) > 1e-4
        low, high = (low, middle) if above else (middle, high)
    return math.sqrt(sum(distortion(bent_lines(stage, steps, low), signs)))


def judged(index: int, name: str, entry: dict[str, Any], truth: float) -> Judged:
    """A fact against its truth."""
    value, u95 = entry["value"], entry["u95"]
    bound = entry.get("bound")
    if bound is None:
        low, high = entry.get("low", value - u95), entry.get("high", value + u95)
        return Judged(index, name, "interval", bool(low <= truth <= high), truth, value, u95)
    holds = truth <= value if bound == "below" else truth >= value
    return Judged(index, name, "bound", bool(holds), truth, value, u95)


def session(seed: int, index: int) -> list[Judged]:
    """All facts of one session."""
    stage = stage_of(drawn(seed, index))
    with tempfile.TemporaryDirectory() as folder:
        place = Path(folder) / "s"
        simulate(stage, place)
        facts = analyse_session(place, draws=200)["sides"]["left"]["facts"]
    expected = truths(stage)
    return [judged(index, n, facts[n], t) for n, t in expected.items() if n in facts]


def one(job: tuple[int, int]) -> list[Judged] | str:
    """One session; what broke as text."""
    try:
        return session(*job)
    except Exception:
        return f"session {job[1]} of seed {job[0]}: {traceback.format_exc()}"


def run(seed: int, count: int, jobs: int) -> tuple[list[list[Judged]], list[str]]:
    """All sessions in order, and what broke."""
    work = [(seed, index) for index in range(count)]
    if jobs > 1:
        with ProcessPoolExecutor(jobs) as pool:
            results = list(pool.map(one, work, chunksize=2))
    else:
        results = [one(job) for job in work]
    return [r for r in results if not isinstance(r, str)], [
        r for r in results if isinstance(r, str)
    ]


def share(found: list[Judged]) -> str:
    """How many hold, as text."""
    if not found:
        return "–"
    held = sum(f.holds for f in found)
    return f"{100.0 * held / len(found):.1f} % of {len(found)}"


def row(found: list[Judged]) -> str:
    """One session as a line: index, intervals that hold, bounds that hold."""
    counts = []
    for form in ("interval", "bound"):
        those = [f.holds for f in found if f.form == form]
        counts.append(f"{sum(those)}/{len(those)}")
    return ",".join([str(found[0].index), *counts])


def document(results: list[list[Judged]], seed: int, broken: int) -> str:
    """The table of the study."""
    every = [f for found in results for f in found]
    lines = [
        "# Noise, hum, distortion and maximum: how often intervals hold the truth",
        "",
        "Random simulated devices and benches: circuits in turn, parts within their tolerances,",
        "noise of the core and of each leg, hum of up to four harmonics with any phase, bends of",
        "second and third order and clipping of each leg, a recorder with noise, hum and a bend of",
        "its own, every declared figure off by its stated uncertainty, 0.005 dB between takes.",
        "",
        f"    OMP_NUM_THREADS=1 python -m tests.studies.measures --sessions {len(results)} "
        f"--seed {seed} --write",
        "",
        f"Version {probe.__version__}, seed {seed}, {len(results)} sessions, {broken} broken.",
        "",
        "| fact | intervals that hold | bounds that are true | median u95 over value |",
        "|---|---|---|---|",
    ]
    for name in (*MEASURES, None):
        of = [f for f in every if name is None or f.fact.split("_", 1)[1] == name]
        told = [f for f in of if f.form == "interval"]
        bounds = [f for f in of if f.form == "bound"]
        width = f"{100 * np.median([f.u95 / f.value for f in told]):.2g} %" if told else "–"
        label = "**all**" if name is None else f"`{name}`"
        lines.append(f"| {label} | {share(told)} | {share(bounds)} | {width} |")
    lines += ["", "![Reliability](images/proof-measures.svg)", ""]
    lines += ["Rows: session, intervals that hold of all, bounds that are true of all.", "", "```"]
    lines += [row(found) for found in results if found]
    return "\n".join([*lines, "```", ""])


def figure(results: list[list[Judged]]) -> str:
    """Reliability: share of intervals that hold when each is made narrower or wider."""
    factors = np.linspace(0.0, 2.0, 41)
    told = [f for found in results for f in found if f.form == "interval" and f.u95 > 0.0]
    apart = np.array([abs(f.truth - f.value) / f.u95 for f in told]) if told else np.zeros(1)
    shares = [float(np.mean(apart <= k)) for k in factors]
    expected = [math.erf(1.96 * k / math.sqrt(2.0)) for k in factors]

    def path(ys: list[float]) -> str:
        return " ".join(
            f"{40 + 180 * k:.1f},{260 - 220 * y:.1f}" for k, y in zip(factors, ys, strict=True)
        )

    text = 'font-family="sans-serif" font-size="11"'
    ticks = "".join(
        f'<text x="{40 + 180 * k}" y="276" {text} text-anchor="middle">{k:g}</text>'
        for k in (0.0, 0.5, 1.0, 1.5, 2.0)
    )
    ticks += "".join(
        f'<text x="34" y="{264 - 220 * y:.0f}" {text} text-anchor="end">{100 * y:.0f}</text>'
        for y in (0.0, 0.5, 0.95, 1.0)
    )
    return (
        '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 420 300" role="img">'
        "<title>Share of intervals that hold the truth against their width</title>"
        '<rect width="420" height="300" fill="#fff"/>'
        '<rect x="40" y="40" width="360" height="220" fill="none" stroke="#000"/>'
        f'<polyline points="{path(expected)}" fill="none" stroke="#000" stroke-dasharray="4 3"/>'
        f'<polyline points="{path(shares)}" fill="none" stroke="#000" stroke-width="2"/>{ticks}'
        f'<text x="220" y="294" {text} text-anchor="middle">width over the stated u95</text>'
        f'<text x="40" y="18" {text}>% of {len(told)} intervals that hold the truth; '
        "dashed: a normal error</text></svg>\n"
    )


def main() -> None:
    """Run the study and print its table."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--sessions", type=int, default=2000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--misses", action="store_true", help="list what misses")
    parser.add_argument("--write", action="store_true", help=f"write {DOCUMENT.name}")
    given = parser.parse_args()
    results, broken = run(given.seed, given.sessions, given.jobs)
    print("\n".join(broken))
    if given.misses:
        for f in (f for found in results for f in found if not f.holds):
            print(f"{f.index} {f.fact} {f.form}: true {f.truth:.5g}, {f.value:.5g} ± {f.u95:.2g}")
    text = document(results, given.seed, len(broken))
    if given.write:
        DOCUMENT.write_text(text)
        FIGURE.write_text(figure(results))
    print(text.split("```")[0])


if __name__ == "__main__":
    main()
