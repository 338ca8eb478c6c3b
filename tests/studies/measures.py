"""How often the intervals of noise, hum, distortion and maximum hold the truth.

::

    OMP_NUM_THREADS=1 python -m tests.studies.measures --sessions 2000 --seed 1 --jobs 2 --write

Random simulated devices on random benches: an idle take, a floor take, a tone, a loop-back take and
level steps are written as sound files, read and measured; open takes are drawn as phasors. The
impedances are given, off by a stated doubt (how well they are found is another study's matter). The
truth is worked out here from the figures that were drawn: densities and hum in closed form,
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
from types import SimpleNamespace
from typing import Any

import numpy as np
import soundfile
from scipy.stats import binom

import probe
from probe.facts.derived import ratios
from probe.measures.distortion import distortion
from probe.measures.drift import drift
from probe.measures.maximum import maximum
from probe.measures.model import Part, Subject, merged
from probe.measures.noise import noise
from probe.measures.spectra import Recordings
from probe.measures.weighting import a_weight
from probe.phasors.measure import measure_take
from probe.simulate.build import stage_of
from probe.simulate.describe import session_of
from probe.simulate.network import circuit_truth, loaded, recorded
from probe.simulate.sound import samples
from probe.simulate.spec import StageSpec, TakeSpec
from probe.stage.source import FROM_MODAL, TO_MODAL, Source

from .drawn import phasors_of_take

DOCUMENT = Path(__file__).parents[2] / "docs" / "proof-measures.md"
FIGURE = DOCUMENT.parent / "images" / "proof-measures.svg"
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
RARE = 0.0005
DECIBELS = ("drift", "_to_noise", "cancellation")


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


class Given(Subject):
    """A side whose impedances are given."""

    given: Source

    @property
    def source(self) -> Source:
        """As given."""
        return self.given


def source_of(stage: StageSpec, rng: np.random.Generator) -> Source:
    """The circuit's impedances, off by a normal error of `IMPEDANCE_U`, with draws of it."""
    z = np.nan_to_num(circuit_truth(stage.takes[0].circuit, IMPEDANCE_HZ).z)
    modal = TO_MODAL @ z @ TO_MODAL.T
    errors = 1.0 + IMPEDANCE_U * rng.standard_normal((401, 1, 3, 3))
    errors = 0.5 * (errors + errors.swapaxes(2, 3))
    told = modal * errors[0]
    around = told * errors
    around[0] = told
    legs = FROM_MODAL @ around @ FROM_MODAL.T
    none = np.full((401, len(IMPEDANCE_HZ), 3), np.nan + 0j)
    if "single-ended" not in stage.takes[0].circuit.terminals:
        for table in (around, legs):
            table[..., 2, :] = table[..., :, 2] = np.nan
    pairs = (none[0], around[0], none[1:], around[1:], none[0], legs[0], none[1:], legs[1:])
    return Source(IMPEDANCE_HZ, *pairs)


def measured(stage: StageSpec, folder: Path, rng: np.random.Generator) -> Part:
    """What the measures find."""
    session = session_of(stage, folder)
    opens = []
    for spec, take in zip(stage.takes, session.takes, strict=True):
        if take.signal == "multitone":
            opens.append(phasors_of_take(stage, spec, take, rng))
        else:
            soundfile.write(take.path, samples(stage, spec), take.sample_rate, subtype="PCM_24")
    tones = tuple(measure_take(t, 50.0) for t in session.takes if t.signal == "tone")
    identified = SimpleNamespace(volume=session.takes[0].volume, takes=tuple(opens))
    recordings = Recordings(session.bench.mains_hz)
    subject = Given(session, session.takes[0].side, identified, tones, recordings)
    object.__setattr__(subject, "given", source_of(stage, rng))
    return merged(measure(subject) for measure in (noise, distortion, maximum, drift))


def judged(index: int, name: str, entry: dict[str, Any], truth: float) -> Judged:
    """A fact against its truth."""
    value, u95 = entry["value"], entry["u95"]
    bound = entry.get("bound")
    if bound is None:
        low, high = entry.get("low", value - u95), entry.get("high", value + u95)
        return Judged(index, name, "interval", bool(low <= truth <= high), truth, value, u95)
    holds = truth <= value if bound == "below" else truth >= value
    return Judged(index, name, "bound", bool(holds), truth, value, u95)


def z_of(f: Judged) -> float:
    """How far off, in standard uncertainties."""
    return 1.96 * (f.value - f.truth) / f.u95 if f.u95 else 0.0


def session(seed: int, index: int) -> list[Judged]:
    """All facts of one session."""
    stage = stage_of(drawn(seed, index))
    rng = np.random.default_rng([seed, index, 1])
    with tempfile.TemporaryDirectory() as folder:
        part = measured(stage, Path(folder), rng)
    expected = truths(stage)
    level = expected["differential_level"] * (1.0 + LEVEL_U * float(rng.standard_normal()))
    facts = dict(part.facts)
    told = {"value": level, "u95": 1.96 * LEVEL_U * level, "unit": "V"}
    facts |= ratios({**facts, "differential_level": told})
    for output in OUTPUTS:
        entry = density_at(part.curves[f"{output}_noise_density"], TONE)
        facts |= {} if entry is None else {f"{output}_noise_density": entry}
    for what in ("hum_lines", "harmonics"):
        word = what.removesuffix("s").replace("_", " ")
        facts |= {f"{r['output']}/{word}/{r['order']}": r for r in part.lists.get(what, ())}
    expected |= {n: 0.0 for n in facts if "/hum line/" in n and n not in expected}
    return [judged(index, n, facts[n], t) for n, t in expected.items() if n in facts]


def density_at(curve: dict[str, Any], hz: float) -> dict[str, Any] | None:
    """The point of a curve nearest a frequency as a fact; None where it is hidden."""
    k = int(np.argmin(np.abs(np.log(np.array(curve["hz"]) / hz))))
    if curve["value"][k] is None:
        return None
    return {"value": curve["value"][k], "u95": curve["u95"][k]}


def kind_of(name: str) -> str:
    """The row of the table a fact belongs to."""
    if "/" in name:
        return name.split("/")[1]
    output, _, rest = name.partition("_")
    return f"`{rest if output in OUTPUTS else name}`"


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


def widths(told: list[Judged], name: str | None) -> str:
    """Median half width, of facts in dB as it is, of others over the value."""
    if not told or name is None:
        return "–"
    if any(word in name for word in DECIBELS):
        return f"{np.median([f.u95 for f in told]):.2g} dB"
    return f"{100 * np.median([f.u95 / f.value for f in told]):.2g} %"


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
        "Takes are 1.5 to 3 s long. Impedances are given, off by their stated doubt: how well they",
        "are found is in [proof-coverage.md](proof-coverage.md).",
        "",
        "Wider than 95 % on purpose: harmonics and what is made of them (the bench may add up to",
        "twice what the loop-back take shows, in any phase) and maxima (between two steps four",
        "ways of interpolating, all held by the interval). Facts of a session hang together.",
        "",
        f"    OMP_NUM_THREADS=1 python -m tests.studies.measures --sessions {len(results)} "
        f"--seed {seed} --write",
        "",
        f"Version {probe.__version__}, seed {seed}, {len(results)} sessions, {broken} broken.",
        "",
        "| fact | intervals that hold | 99.9 % limits | bounds that are true | median u95 |",
        "|---|---|---|---|---|",
    ]
    for name in [*dict.fromkeys(kind_of(f.fact) for f in every), None]:
        of = [f for f in every if name is None or kind_of(f.fact) == name]
        told = [f for f in of if f.form == "interval"]
        bounds = [f for f in of if f.form == "bound"]
        held = sum(f.holds for f in told)
        least, top = binom.ppf([RARE, 1.0 - RARE], max(len(told), 1), 0.95)
        within = "" if not told or least <= held <= top else " **outside**"
        width = widths(told, name)
        label = name or "**all**"
        limits = f"{least:.0f} to {top:.0f}" if told and name else "–"
        mark = within if name else ""
        lines.append(f"| {label} | {share(told)}{mark} | {limits} | {share(bounds)} | {width} |")
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
            said = f"true {f.truth:.5g}, {f.value:.5g} ± {f.u95:.2g}, z {z_of(f):+.2f}"
            print(f"{f.index} {f.fact} {f.form}: {said}")
    text = document(results, given.seed, len(broken))
    if given.write:
        DOCUMENT.write_text(text)
        FIGURE.write_text(figure(results))
    print(text.split("```")[0])


if __name__ == "__main__":
    main()
