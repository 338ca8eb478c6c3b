"""How often the path evidence decides, and how often it is wrong, over random simulated devices.

::

    OMP_NUM_THREADS=1 python -m tests.studies.path --devices 1000 --seed 1 --jobs 2 --write

writes ``docs/proof-path.md``; without ``--write`` the table is printed.
"""

from __future__ import annotations

import argparse
from collections import Counter
from collections.abc import Callable, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

import numpy as np
from scipy.stats import beta

import probe
from probe.measures.path import lag
from probe.measures.path.model import Indication
from probe.measures.path.weigh import weigh

from .path_devices import KINDS, Device, draw, indications, noise_cases, right

DOCUMENT = Path(__file__).parents[2] / "docs" / "proof-path.md"

STATED_WRONG = 0.01
"""Share of verdicts of ``dual`` or ``split`` that may be wrong: the rate that is stated."""

HEADER = "device,kind,verdict,separate_from,idle-noise,second-harmonic,cold-lag,ratio,one-leg"

PREFACE = (
    "Five kinds of device take turns. Noise is drawn as cross spectral matrices with their",
    "sampling distribution (one minute, leg -105 dBV, recorder -106 dBV, its channels correlated",
    "by up to 3 %, its noise moving by 2 %), second harmonics from -125 to -95 dB behind a pad of",
    "20 dB, lags from the parts of inverters and filters, eight volume settings, and the transfer",
    "between legs for the half that have a balanced input; all with the bench's own errors. The",
    "judging functions are those of the program. The spreads are choices about designs and",
    "benches, not measurements; every share inherits them.",
)

_SHORT = {"two-paths": "2", "one-path": "1", "nothing": "-"}


@dataclass(frozen=True)
class Row:
    """One device: what it is, what was said."""

    index: int
    device: Device
    path: str
    separate_from: str | None
    indications: tuple[Indication, ...]

    def line(self) -> str:
        """Return the row of the published table."""
        said = [_SHORT[i.says] + ("!" if i.strength == "strong" else "") for i in self.indications]
        where = self.separate_from or "-"
        return ",".join(
            [str(self.index), self.device.kind.replace(",", ""), self.path, where, *said]
        )


def row(seed: int, index: int) -> Row:
    """Draw and judge one device; kinds take turns."""
    rng = np.random.default_rng([seed, index])
    device = draw(KINDS[index % len(KINDS)], rng)
    found = tuple(indications(device, rng))
    verdict = weigh(found)
    return Row(index, device, verdict.path, verdict.separate_from, found)


def _one(job: tuple[int, int]) -> Row:
    return row(*job)


def run(seed: int, devices: int, jobs: int) -> list[Row]:
    """Return all devices, in order."""
    work = [(seed, index) for index in range(devices)]
    if jobs < 2:
        return [_one(job) for job in work]
    with ProcessPoolExecutor(jobs) as pool:
        return list(pool.map(_one, work, chunksize=20))


# Tables

Test = Callable[[Row], bool]


def share(rows: Sequence[Row], which: Test, what: Test) -> tuple[int, int]:
    """Return how many of the rows chosen by ``which`` pass ``what``, and how many there are."""
    chosen = [r for r in rows if which(r)]
    return sum(what(r) for r in chosen), len(chosen)


def _told(count: int, total: int) -> str:
    low = beta.ppf(0.025, count, total - count + 1) if count else 0.0
    high = beta.ppf(0.975, count + 1, total - count) if count < total else 1.0
    return f"{count}/{total} = {count / max(total, 1):.3f} ({low:.3f} to {high:.3f})"


def _kappa(says: str) -> Test:
    return lambda r: r.indications[1].says == says


def _lag_of(r: Row) -> float:
    return float(r.indications[2].value or 0.0)


def power(rows: Sequence[Row]) -> list[tuple[str, str, float, tuple[int, int]]]:
    """Return what, the share that the reference simulation of such benches gave, and ours.

    The reference figures come from an earlier simulation of the same indications with its own
    draws (180 to 2000 each); they are choices about designs as ours are.
    """
    h2 = [
        (
            "second harmonic made ahead of the split, told so",
            "ahead of the split",
            "one-path",
            0.44,
        ),
        ("second harmonic in legs alike within 20 %, told so", "in legs alike", "two-paths", 0.49),
    ]
    found = [
        ("second harmonic", what, expected, share(rows, _made(made), _kappa(says)))
        for what, made, says, expected in h2
    ]
    plain = lambda r: r.device.kind == "splitter"  # noqa: E731
    found += [
        ("lag", "uncompensated splitter lags by more than 1.2 degrees", 0.57,
         share(rows, plain, lambda r: _lag_of(r) > 1.2)),
        ("lag", "uncompensated splitter lags by more than 0.6 degrees", 0.81,
         share(rows, plain, lambda r: _lag_of(r) > 0.6)),
    ]  # fmt: skip
    for name, expected in (("4-gang pot, 0.3 dB", 1.0), ("volume IC, 0.03 dB", 1.0),
                           ("ladder, 1 %", 1.0), ("ladder, 0.1 %", 0.41)):  # fmt: skip
        found.append(
            ("leg ratio", f"{name}: told", expected, share(rows, _attenuated(name), _ratio_told))
        )
    return found


def errors(rows: Sequence[Row]) -> list[tuple[str, str, float, tuple[int, int]]]:
    """Return how often an indication points the wrong way, reference and ours."""
    unlike = share(rows, _made("in legs unlike"), _kappa("one-path"))
    other = share(rows, _made("ahead of the split"), _kappa("two-paths"))
    two = lambda r: r.device.kind in KINDS[3:]  # noqa: E731
    found = [
        ("second harmonic", "in legs unlike, taken for made ahead of the split", 0.058, unlike),
        ("second harmonic", "ahead of the split, taken for made in the legs", 0.001, other),
        ("lag", "two paths lag by more than 1.2 degrees", 0.006,
         share(rows, two, lambda r: _lag_of(r) > 1.2)),
    ]  # fmt: skip
    for name, expected in (("before the split", 0.0), ("ladder, 0.01 %", 0.0),
                           ("digital or fixed", 0.0)):  # fmt: skip
        found.append(
            ("leg ratio", f"{name}: told to move", expected,
             share(rows, _attenuated(name), _ratio_told))
        )  # fmt: skip
    return found


def _made(made: str) -> Test:
    return lambda r: r.device.h2_made == made


def _attenuated(name: str) -> Test:
    return lambda r: r.device.attenuator == name


def _ratio_told(r: Row) -> bool:
    return r.indications[3].says == "two-paths"


def wrong(rows: Sequence[Row]) -> list[Row]:
    """Return the rows whose verdict is not true."""
    return [r for r in rows if not right(r.device.kind, r.path, r.separate_from)]


def document(rows: Sequence[Row], seed: int) -> str:
    """Return the page."""
    stated = [r for r in rows if r.path != "undetermined"]
    lines = [
        "# Path evidence over simulated devices",
        "",
        f"Made by probe {probe.__version__}, {len(rows)} devices, with",
        f"`python -m tests.studies.path --devices {len(rows)} --seed {seed} --jobs 2 --write`.",
        "",
        *PREFACE,
        "",
        "## Verdicts",
        "",
        "| device | dual, from input | dual, from volume control | split | undetermined | wrong |",
        "|---|---|---|---|---|---|",
    ]
    for kind in KINDS:
        of = [r for r in rows if r.device.kind == kind]
        said = Counter((r.path, r.separate_from) for r in of)
        lines.append(
            f"| {kind} | {said['dual', 'input']} | {said['dual', 'volume-control']} "
            f"| {said['split', None]} | {said['undetermined', None]} | {len(wrong(of))} |"
        )
    lines += [
        "",
        f"Stated verdicts that are wrong: {_told(len(wrong(rows)), len(stated))}; at most "
        f"{100 * STATED_WRONG:g} % is what the program states.",
        "",
        "## How often an indication decides",
        "",
        "*Reference*: an earlier simulation of these indications by other code with other draws.",
        "",
        "| indication | what | reference | here (95 %) |",
        "|---|---|---|---|",
        *(f"| {i} | {w} | {e:g} | {_told(*s)} |" for i, w, e, s in power(rows)),
        "",
        "## How often it points the wrong way",
        "",
        "| indication | what | reference | here (95 %) |",
        "|---|---|---|---|",
        *(f"| {i} | {w} | {e:g} | {_told(*s)} |" for i, w, e, s in errors(rows)),
        "",
        *_noise_table(seed),
        *_lag_table(rows),
        "## Rows",
        "",
        "Indications: 1 one path, 2 two paths, - nothing, ! strongly.",
        "",
        "```",
        HEADER,
        *(r.line() for r in rows),
        "```",
        "",
    ]
    return "\n".join(lines)


NOISE_REFERENCE = {
    "splitter, inverter 8 dB quieter than core": ("1.00 ± 0.02", "1.16 ± 0.03"),
    "splitter, inverter as noisy as core": ("0.91", "1.82"),
    "splitter, quiet core, noisy legs (20 % shared)": ("0.20", "1.10"),
    "dual, nothing shared": ("0", "0.99"),
    "dual after a shared stage (50 %)": ("0.50", "1.00"),
    "dual after a noisy shared stage (95 %)": ("0.95", "1.00"),
}


def _noise_table(seed: int) -> list[str]:
    """G and A of six cases, mean and standard deviation over 200 takes of a minute."""
    lines = [
        "## Idle noise: shared part G and cold over hot A",
        "",
        "Over 200 takes each; the reference is one figure, or mean and standard deviation.",
        "",
        "| case | G, reference | G, here | A, reference | A, here |",
        "|---|---|---|---|---|",
    ]
    for name, found in noise_cases(seed, 200).items():
        g, a = np.array([f.g for f in found]), np.array([f.a for f in found])
        reference = NOISE_REFERENCE[name]
        lines.append(
            f"| {name} | {reference[0]} | {g.mean():.3f} ± {g.std():.3f} "
            f"| {reference[1]} | {a.mean():.3f} ± {a.std():.3f} |"
        )
    return [*lines, ""]


LAG_BINS = (-np.inf, -0.1, 0.1, 0.3, 0.6, 1.2, 2.0, np.inf)
LAG_SPLIT = (0.026, 0.15, 0.14, 0.12, 0.17, 0.13, 0.27)
LAG_DUAL = (0.26, 0.48, 0.17, 0.06, 0.026, 0.006, 0.0001)


def _lag_table(rows: Sequence[Row]) -> list[str]:
    """Where the lags of both kinds of path fall, reference beside."""
    one = [_lag_of(r) for r in rows if r.device.kind in KINDS[:3]]
    two = [_lag_of(r) for r in rows if r.device.kind in KINDS[3:]]
    here = [np.histogram(values, LAG_BINS)[0] / len(values) for values in (one, two)]
    lines = [
        "## Lag of cold at 20 kHz, degrees",
        "",
        "| lag | one path, reference | here | two paths, reference | here | ratio used |",
        "|---|---|---|---|---|---|",
    ]
    for k, (low, high) in enumerate(pairwise(LAG_BINS)):
        middle = float(np.clip((max(low, -1.0) + min(high, 4.0)) / 2.0, -1.0, 3.0))
        lines.append(
            f"| {low:g} to {high:g} | {LAG_SPLIT[k]:g} | {here[0][k]:.3f} | {LAG_DUAL[k]:g} "
            f"| {here[1][k]:.3f} | {lag.likelihood_ratio(middle):g} |"
        )
    return [*lines, ""]


def main() -> None:
    """Run the study."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--devices", type=int, default=1000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--write", action="store_true", help=f"write {DOCUMENT.name}")
    given = parser.parse_args()
    text = document(run(given.seed, given.devices, given.jobs), given.seed)
    if given.write:
        DOCUMENT.write_text(text)
    else:
        print(text)


if __name__ == "__main__":
    main()
