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
from dataclasses import dataclass, replace
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
from probe.phasors.measure import measure_take
from probe.phasors.model import TakePhasors
from probe.simulate.build import stage_of
from probe.simulate.describe import session_of
from probe.simulate.network import circuit_truth
from probe.simulate.spec import StageSpec, TakeSpec
from probe.stage.source import FROM_MODAL, TO_MODAL, Source

from .drawn import phasors_of_take
from .measures_drawn import (
    GENERATOR,
    IMPEDANCE_HZ,
    IMPEDANCE_U,
    LEVEL_U,
    OUTPUTS,
    TONE,
    drawn,
    sound,
    truths,
)

DOCUMENT = Path(__file__).parents[2] / "docs" / "proof-measures.md"
FIGURE = DOCUMENT.parent / "images" / "proof-measures.svg"
RARE = 0.0005
KEEPS = TOLD = 0.5
"""Share of devices that keep the drive's polarity at pin 2, and of those whose takes of many tones
have the recorded drive beside them, which tells it: half of each, so that all four are judged."""
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
    device: str = ""
    """Whether it keeps the drive's polarity at pin 2, and whether that is told."""


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


def device_of(seed: int, index: int) -> tuple[float, bool]:
    """1 for a device that keeps the drive's polarity at pin 2, else -1; and whether it is told."""
    keeps, told = np.random.default_rng([seed, index, 2]).random(2) < (KEEPS, TOLD)
    return (1.0 if keeps else -1.0), bool(told)


def as_heard(p: TakePhasors, spec: TakeSpec, keeps: float, *, told: bool) -> TakePhasors:
    """A take of many tones of such a device: with the recorded drive beside it, or no phases."""
    if not told:
        return replace(p, take=replace(p.take, phases_rad=None), volts=keeps * p.volts)
    phases = dict(zip(spec.tones_hz, spec.phases_rad, strict=True))
    starts = np.array([phases[hz] for hz in p.hz])
    drive = np.exp(1j * (starts - 2.0 * np.pi * p.hz * spec.delay_s))
    take = replace(p.take, channels=(*p.take.channels, "reference"))
    return replace(p, take=take, volts=np.column_stack([keeps * p.volts, drive]))


def measured(
    stage: StageSpec, folder: Path, rng: np.random.Generator, keeps: float, *, told: bool
) -> Part:
    """What the measures find."""
    session = session_of(stage, folder)
    ratio = np.exp(rng.uniform(*np.log(GENERATOR), size=2) + 2j * np.pi * rng.random(2))
    turned = np.array([keeps, 1.0])
    opens = []
    for spec, take in zip(stage.takes, session.takes, strict=True):
        if take.signal == "multitone":
            opens.append(as_heard(phasors_of_take(stage, spec, take, rng), spec, keeps, told=told))
        else:
            share = ratio * turned if spec.hears_device else ratio
            heard = sound(stage, spec, share, rng)
            soundfile.write(take.path, heard, take.sample_rate, subtype="PCM_24")
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
    keeps, told = device_of(seed, index)
    with tempfile.TemporaryDirectory() as folder:
        part = measured(stage, Path(folder), rng, keeps, told=told)
    expected = truths(stage)
    level = expected["differential_level"] * (1.0 + LEVEL_U * float(rng.standard_normal()))
    facts = dict(part.facts)
    stated = {"value": level, "u95": 1.96 * LEVEL_U * level, "unit": "V"}
    facts |= ratios({**facts, "differential_level": stated})
    for output in OUTPUTS:
        entry = density_at(part.curves[f"{output}_noise_density"], TONE)
        facts |= {} if entry is None else {f"{output}_noise_density": entry}
    for what in ("hum_lines", "harmonics"):
        word = what.removesuffix("s").replace("_", " ")
        facts |= {f"{r['output']}/{word}/{r['order']}": r for r in part.lists.get(what, ())}
    expected |= {n: 0.0 for n in facts if "/hum line/" in n and n not in expected}
    device = f"{'keeps' if keeps > 0.0 else 'turns over'}, {'told' if told else 'not told'}"
    found = [judged(index, n, facts[n], t) for n, t in expected.items() if n in facts]
    return [replace(f, device=device) for f in found]


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
        "second and third order and clipping of each leg. The bench is one as they are: a recorder",
        "with noise that warms by 1 % between takes, with hum of its own on every second bench and",
        "bends of its own, a generator with harmonics of any phase from a tenth to ten times the",
        "recorder's. Each of these moves by 10 % (one sd) between loop-back and device, every",
        "second recorder's second harmonic has any phase, and every second device turns its drive",
        "over, which takes of many tones tell of half of them.",
        "Every declared figure is off by its stated uncertainty, 0.005 dB between takes.",
        "Takes are 1.5 to 3 s long. Impedances are given, off by their stated doubt: how well they",
        "are found is in [proof-coverage.md](proof-coverage.md).",
        "",
        "Facts of a session hang together; the limits count its three outputs as one. Bounds are",
        "one-sided: at least 95 % are to be true, and those of distortion never lie below what the",
        "bench could have told.",
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
        outputs = len({f.fact.partition("_")[0].partition("/")[0] for f in told} & OUTPUTS.keys())
        alike = max(1, outputs)
        count = max(1, len(told) // alike)
        least, top = alike * binom.ppf([RARE, 1.0 - RARE], count, 0.95)
        within = "" if not told or least <= held <= top else " **outside**"
        width = widths(told, name)
        label = name or "**all**"
        limits = f"{least:.0f} to {top:.0f}" if told and name else "–"
        mark = within if name else ""
        lines.append(f"| {label} | {share(told)}{mark} | {limits} | {share(bounds)} | {width} |")
    lines += ["", *seconds(every)]
    lines += ["", "![Reliability](images/proof-measures.svg)", ""]
    lines += ["Rows: session, intervals that hold of all, bounds that are true of all.", "", "```"]
    lines += [row(found) for found in results if found]
    return "\n".join([*lines, "```", ""])


def seconds(every: list[Judged]) -> list[str]:
    """The table of second harmonics by what the device does to the drive's polarity."""
    lines = [
        "Second harmonics by whether the device keeps the drive's polarity at pin 2 or turns it",
        "over, and whether takes of many tones beside the recorded drive tell that:",
        "",
        "| device | at hot | at cold | differential |",
        "|---|---|---|---|",
    ]
    for device in sorted({f.device for f in every}):
        those = [f for f in every if f.device == device and f.form == "interval"]
        cells = [share([f for f in those if f.fact == f"{n}/harmonic/2"]) for n in OUTPUTS]
        lines.append(f"| {device} | {' | '.join(cells)} |")
    return lines


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
