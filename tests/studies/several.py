"""Several leads on one device against the circuit simulator: levels, hum, tie currents.

::

    OMP_NUM_THREADS=1 python -m tests.studies.several --seed 1 --jobs 2 --write

XLR and RCA boxes at once, every option of the XLR output with every kind of stage, options of
the RCA output drawn; in most combinations a third box on the XLR output, through a splitter.
Each box has its own lead and its own ground difference. ``--write`` writes its part of
docs/proof-connections.md.
"""

from __future__ import annotations

import argparse
import sys
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass

import numpy as np

import probe
from probe.advice.figures import Scale, figures
from probe.advice.ground import HARMONICS
from probe.advice.hum import hum_of
from probe.advice.operating import BY_ID
from probe.advice.sampled import sample
from probe.advice.solve import Link, solve_option
from tests.advice.connections import Connection
from tests.advice.several import Heard, simulate_several
from tests.advice.truth_source import source_of
from tests.spice.circuits import draw
from tests.studies.connections import (
    DOCUMENT,
    FULL_VOLTS,
    KINDS,
    LIMITS,
    MAINS_HZ,
    QUIETEST_DB,
    SEVERAL,
    SMALLEST_TIE,
    cell,
    drawn_cable,
    drawn_socket,
    own_rejection,
)

TONES = (20.0, 997.0, 19997.0)
"""Where levels are compared, Hz: tones of the stage's own, so that nothing is interpolated."""

LINES = [n * MAINS_HZ for n in HARMONICS]
FROM_XLR = tuple(i for i, o in BY_ID.items() if o.from_ == "xlr")
FROM_RCA = tuple(i for i, o in BY_ID.items() if o.from_ == "rca")
STAGES = {**KINDS, "differential, resistor shared with RCA": ("shared",)}
"""The kinds, and a stage whose RCA output is not independent of pin 2."""

TIED = ("xlr-to-rca/pin-3-tied-at-source", "xlr-to-rca/pin-3-tied-at-destination")
"""What a balanced lead meets in the third box: the leg it needs is tied there."""

GROUPS = [(kind, option) for kind in STAGES for option in FROM_XLR]
COUNT = len(GROUPS)

Errors = tuple[float, float | None, float | None]
"""Level in dB, hum in dB, tie current in %; None: nothing to compare."""


@dataclass(frozen=True)
class Row:
    """One combination: ``errors`` lead by lead; ``company``: what the others do to the first."""

    index: int
    kind: str
    options: tuple[str, ...]
    metres: tuple[float, ...]
    errors: tuple[Errors, ...]
    company_db: float
    company_hum_db: float

    def worst(self, which: int) -> float | None:
        """The largest error of all leads: 0 level, 1 hum, 2 tie."""
        known = [e for lead in self.errors if (e := lead[which]) is not None]
        return max(known, key=abs) if known else None


def several_of(seed: int, index: int) -> tuple[str, int, list[Connection]]:
    """Kind, the parts' own seed and the leads of combination ``index``."""
    rng = np.random.default_rng([seed, index, 2])
    kind, first = GROUPS[index % COUNT]
    name, parts = str(rng.choice(STAGES[kind])), int(rng.integers(1, 10000))
    options = [first, str(rng.choice(FROM_RCA))]
    if first == "xlr-to-xlr":
        options.append(str(rng.choice(TIED)))
    elif index % 2:
        options.append(str(rng.choice(FROM_XLR)))
    circuit = draw(name, parts)
    return kind, parts, [_lead(rng, circuit, option) for option in options]


def _lead(rng: np.random.Generator, circuit: object, option: str) -> Connection:
    cable, socket = drawn_cable(rng), drawn_socket(rng, BY_ID[option].to)
    mismatch = float(rng.uniform(-0.03, 0.03)) if socket.receiver == "balanced" else 0.0
    return Connection(circuit, option, socket, cable, mismatch)  # type: ignore[arg-type]


def row(seed: int, index: int) -> Row:
    """Solve one combination both ways."""
    kind, parts, leads = several_of(seed, index)
    source = sample(source_of(leads[0].circuit.name, parts))
    links = [Link(BY_ID[c.option], c.socket, c.socket.circuit, c.mismatch, c.cable) for c in leads]
    # source of every expected number: ngspice, one netlist of all leads, tests/advice/several.py
    true = simulate_several(leads, TONES, LINES)
    errors = []
    for k, link in enumerate(links):
        company = tuple(other for other in links if other is not link)
        found = solve_option(link.option, link.socket, link.circuit, link.mismatch, link.cable,
                             source, company)  # fmt: skip
        errors.append(_errors(found, leads, k, true[k]))
    first = links[0]
    alone = solve_option(first.option, first.socket, first.circuit, first.mismatch, first.cable,
                         source)  # fmt: skip
    moved = abs(true[0].level[1]) / abs(alone.level[0, alone.at])
    return Row(index, kind, tuple(c.option for c in leads),
               tuple(c.cable.length_m for c in leads), tuple(errors),
               float(20.0 * np.log10(moved)), _louder_hum(leads, true[0]))  # fmt: skip


def _errors(found: object, leads: list[Connection], k: int, true: Heard) -> Errors:
    response = found
    hz = response.hz  # type: ignore[attr-defined]
    places = [int(np.argmin(np.abs(hz - f))) for f in TONES]
    assert np.allclose(hz[places], TONES)
    ratios = np.abs(response.level[0, places]) / np.abs(true.level)  # type: ignore[attr-defined]
    level = 20.0 * np.log10(ratios)
    tie = None
    current = figures(response, Scale(np.ones(1), np.ones(1)), None, None).tie_current  # type: ignore[arg-type]
    if current is not None and true.tie is not None:
        expected = np.sqrt(2.0) * abs(true.tie[1])
        if expected > SMALLEST_TIE:
            tie = float(100.0 * (current.value / expected - 1.0))
    return float(level[np.argmax(np.abs(level))]), _hum_error(response, leads, k, true), tie


def _louder_hum(leads: list[Connection], first: Heard) -> float:
    """By how much the other leads' differences raise the mains line of the first, dB."""
    volts = np.array([c.socket.ground.difference_volts for c in leads])
    rejection = own_rejection(leads[0].socket)
    passed = (np.abs(first.hum[:, 0]) + rejection * np.abs(first.common[:, 0])) * volts
    return float(20.0 * np.log10(passed.sum() / passed[0]))


def _hum_error(response: object, leads: list[Connection], k: int, true: Heard) -> float | None:
    """The largest error over the lines that lie above the quietest, dB.

    The differences at the leads are not of one phase: their shares are added as magnitudes.
    """
    grounds = [c.socket.ground for c in leads]
    others = tuple(g for j, g in enumerate(grounds) if j != k)
    hum = hum_of(response, leads[k].socket, MAINS_HZ, others)  # type: ignore[arg-type]
    assert hum is not None
    rejection = own_rejection(leads[k].socket)
    volts = np.array([g.difference_volts for g in grounds])[:, None]
    passed = (np.abs(true.hum) + rejection * np.abs(true.common)) * volts
    expected = passed.sum(axis=0) * np.array(list(HARMONICS.values()))
    least = FULL_VOLTS * 10.0 ** (-QUIETEST_DB / 20.0)
    errors = [
        float(20.0 * np.log10(line.value / wanted))
        for line, wanted in zip(hum.lines, expected, strict=True)
        if wanted > least
    ]
    return max(errors, key=abs) if errors else None


def run(seed: int, count: int, jobs: int) -> list[Row]:
    """All combinations, in order."""
    with ProcessPoolExecutor(jobs) as pool:
        return list(pool.map(row, [seed] * count, range(count)))


def section(rows: list[Row], seed: int) -> str:
    """This study's part of the page."""
    leads = sum(len(r.options) for r in rows)
    lines = [
        SEVERAL,
        f"`python -m tests.studies.several --seed {seed} --write`, probe {probe.__version__}: "
        f"{len(rows)} combinations of two or three boxes at once, {leads} leads of "
        f"{min(min(r.metres) for r in rows):.1f} to {max(max(r.metres) for r in rows):.0f} m, "
        "each with its own receiver and ground difference; ngspice solves all of them in one "
        "netlist (tests/advice/several.py). Levels at 20 Hz, 997 Hz and 20 kHz; hum from every "
        "lead's difference, magnitudes added, mains and harmonics; the largest error of the "
        "leads of a row. The last columns: what the other leads do to the level of the first, and "
        "by how much their ground differences raise its hum at mains frequency.",
        "",
        f"Limits: level {LIMITS['level_db']} dB, hum {LIMITS['hum_db']} dB, tie current "
        f"{LIMITS['tie_percent']:g} %.",
        "",
        "| combination | stage | options | level, dB | hum, dB | tie, % "
        "| company, dB | its hum, dB |",
        "|---|---|---|---|---|---|---|---|",
    ]
    for r in rows:
        options = " + ".join(f"`{o}`" for o in r.options)
        cells = " | ".join(cell([r.worst(k)]) for k in range(3))
        company = f"{r.company_db:+.3f} | {r.company_hum_db:+.1f}"
        lines.append(f"| {r.index} | {r.kind} | {options} | {cells} | {company} |")
    worst = " | ".join(cell([r.worst(k) for r in rows]) for k in range(3))
    return "\n".join([*lines, f"| all | | {len(rows)} | {worst} | | |"]) + "\n"


def beyond(found: Row) -> list[str]:
    """Which limits a row does not keep."""
    names = ("level_db", "hum_db", "tie_percent")
    worst = [found.worst(k) for k in range(3)]
    return [n for n, e in zip(names, worst, strict=True) if e is not None and abs(e) > LIMITS[n]]


def main() -> None:
    """Run the study and print or write its part of the page."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--count", type=int, default=COUNT)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--write", action="store_true", help=f"write into {DOCUMENT.name}")
    given = parser.parse_args()
    rows = run(given.seed, given.count, given.jobs)
    for r in rows:
        if beyond(r):
            print(f"beyond {beyond(r)}: {r}", file=sys.stderr)
    text = section(rows, given.seed)
    if given.write:
        DOCUMENT.write_text(DOCUMENT.read_text().split(SEVERAL)[0] + text)
    else:
        print(text)


if __name__ == "__main__":
    main()
