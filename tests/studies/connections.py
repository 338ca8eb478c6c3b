"""Complete connections against the circuit simulator: level, hum, tie current, -3 dB points.

::

    OMP_NUM_THREADS=1 python -m tests.studies.connections --seed 1 --jobs 2 --write

Every option with every kind of stage at least five times; circuits with drawn parts, receivers,
leads and grounds drawn from what is met. ``--write`` writes docs/proof-connections.md.
"""

from __future__ import annotations

import argparse
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from pathlib import Path

import numpy as np

import probe
from probe.advice.destination import Cable, Input
from probe.advice.figures import Scale, figures
from probe.advice.ground import HARMONICS, GroundPath
from probe.advice.hum import hum_of
from probe.advice.operating import BY_ID
from probe.advice.sampled import sample
from probe.advice.solve import solve_option
from tests.advice.connections import Connection, simulate, simulate_hum
from tests.advice.truth_source import corners, source_of
from tests.spice.circuits import draw

DOCUMENT = Path(__file__).parents[2] / "docs" / "proof-connections.md"

KINDS = {
    "differential": ("1", "1b", "2"),
    "electronically-floating": ("3", "3b"),
    "transformer-coupled": ("4", "4b"),
    "ground-sensing": ("9",),
    "impedance-balanced": ("5", "5b"),
    "unbalanced": ("6",),
    "pin-3-unconnected": ("7",),
}
"""Circuits of tests/spice/netlists by the kind they are."""

TIMES = 5
MAINS_HZ = 50.0
FULL_VOLTS = 1.0
FINE = np.unique(np.concatenate([[997.0], np.geomspace(20.0, 80000.0, 97)]))
LIMITS = {"level_db": 0.1, "hum_db": 0.5, "tie_percent": 1.0, "corner_percent": 2.0}
QUIETEST_DB = 140.0
"""Hum is compared down to this far below full output."""

GROUPS = [(kind, option) for kind in KINDS for option in BY_ID]


@dataclass(frozen=True)
class Row:
    """Errors of one connection; None where there is nothing to compare."""

    index: int
    kind: str
    option: str
    circuit: str
    level_db: float
    hum_db: float | None
    tie_percent: float | None
    corner_percent: float | None
    hum_below_db: float


def connection_of(seed: int, index: int) -> tuple[str, Connection]:
    """The drawn connection ``index``; its kind is ``index`` modulo the groups."""
    rng = np.random.default_rng([seed, index])
    kind, option = GROUPS[index % len(GROUPS)]
    name = str(rng.choice(KINDS[kind]))
    circuit = draw(name, int(rng.integers(1, 10000)))
    cable = drawn_cable(rng)
    socket = drawn_socket(rng, BY_ID[option].to)
    mismatch = 0.0
    if socket.receiver == "balanced":
        mismatch = float(rng.uniform(-0.03, 0.03))
    return kind, Connection(circuit, option, socket, cable, mismatch)


def drawn_cable(rng: np.random.Generator) -> Cable:
    """A lead of 0.5 to 200 m as they are met."""
    length = float(np.exp(rng.uniform(np.log(0.5), np.log(200.0))))
    return Cable(
        length,
        length * float(rng.uniform(50e-12, 300e-12)),
        length * float(rng.uniform(0.01, 0.1)),
        float(rng.uniform(0.005, 0.1)),
    )


def drawn_socket(rng: np.random.Generator, connector: str) -> Input:
    """An input of a kind that is met, and how its box is earthed."""
    volts = float(np.exp(rng.uniform(np.log(1e-3), np.log(1.0))))
    if rng.random() < 0.3:
        ground = GroundPath(100.0 * volts, farad=float(rng.uniform(0.5e-9, 20e-9)))
    else:
        ground = GroundPath(volts, ohm=float(np.exp(rng.uniform(np.log(0.1), np.log(1000.0)))))
    ohm = float(np.exp(rng.uniform(np.log(5e3), np.log(1e5))))
    if connector == "rca":
        return Input("rca", "rca", "single-ended", ohm, ground=ground,
                     sensitivity_volts=FULL_VOLTS)  # fmt: skip
    circuit = str(rng.choice(["difference-amplifier", "buffered", "transformer"]))
    is_ = str(rng.choice(["each-leg", "between-legs"]))
    pin_3 = str(rng.choice(["input", "input", "input", "ground", "open"]))
    return Input("xlr", "xlr", "balanced", ohm, circuit=circuit, impedance_is=is_, pin_3=pin_3,  # type: ignore[arg-type]
                 rejection_db=float(rng.uniform(40.0, 90.0)), ground=ground,
                 sensitivity_volts=FULL_VOLTS)  # fmt: skip


def row(seed: int, index: int) -> Row:
    """Solve one connection both ways."""
    kind, c = connection_of(seed, index)
    name = c.circuit.name
    part_seed = int(_part_seed(seed, index))
    sampled = sample(source_of(name, part_seed))
    response = solve_option(
        BY_ID[c.option], c.socket, c.socket.circuit, c.mismatch, c.cable, sampled
    )
    # source of every expected number: ngspice, netlist from tests/advice/connections.py
    true = simulate(c, FINE.tolist())
    k = int(np.argmin(np.abs(FINE - 997.0)))
    level = 20.0 * np.log10(abs(response.level[0, response.at]) / abs(true.level[k]))
    found = figures(response, Scale(np.ones(1), np.ones(1)), None, None)
    tie = None
    if found.tie_current is not None and true.tie is not None:
        expected = np.sqrt(2.0) * abs(true.tie[k])
        if expected > SMALLEST_TIE:
            tie = 100.0 * (found.tie_current.value / expected - 1.0)
    hum, below = _hum_error(c, response)
    return Row(index, kind, c.option, name, float(level), hum, tie,
               _corner_error(found, true.level), below)  # fmt: skip


SMALLEST_TIE = 1e-8
"""A for 1 V of drive; the silent legs of one-leg stages carry less, which is the simulator's
own leakage."""


def _part_seed(seed: int, index: int) -> int:
    rng = np.random.default_rng([seed, index])
    kind, _ = GROUPS[index % len(GROUPS)]
    rng.choice(KINDS[kind])
    return int(rng.integers(1, 10000))


def _hum_error(c: Connection, response: object) -> tuple[float | None, float]:
    """The largest error over the lines that lie above the quietest, dB; mains below full output."""
    hum = hum_of(response, c.socket, MAINS_HZ)  # type: ignore[arg-type]
    assert hum is not None
    assert c.socket.ground.difference_volts is not None
    lines = [n * MAINS_HZ for n in HARMONICS]
    true = simulate_hum(c, lines)
    rejection = own_rejection(c.socket)
    heard = (abs(true.heard) + rejection * abs(true.common)) * c.socket.ground.difference_volts
    errors = []
    for line, expected, (_, share) in zip(hum.lines, heard, HARMONICS.items(), strict=True):
        if expected > FULL_VOLTS * 10.0 ** (-QUIETEST_DB / 20.0):
            errors.append(20.0 * np.log10(line.value / (expected * share)))
    worst = max(errors, key=abs) if errors else None
    below = -20.0 * np.log10(heard[0] / FULL_VOLTS)
    return (None if worst is None else float(worst)), float(below)


def own_rejection(socket: Input) -> float:
    """Share of the mean of its pins that a balanced input hears by itself."""
    if socket.receiver != "balanced" or socket.pin_3 != "input":
        return 0.0
    return float(10.0 ** (-(socket.rejection_db or 0.0) / 20.0))


def _corner_error(found: object, level: object) -> float | None:
    low, high = corners(FINE, level)  # type: ignore[arg-type]
    errors = []
    for name, true in (("low_corner", low), ("high_corner", high)):
        point = getattr(found, name)
        if (point is None or point.bound is not None) != (true is None):
            errors.append(100.0)
        elif true is not None:
            errors.append(100.0 * (point.value / true - 1.0))
    return max(errors, key=abs) if errors else None


def run(seed: int, count: int, jobs: int) -> list[Row]:
    """All connections, in order."""
    with ProcessPoolExecutor(jobs) as pool:
        return list(pool.map(row, [seed] * count, range(count), chunksize=5))


def document(rows: list[Row], seed: int) -> str:
    """The table."""
    lines = [
        "# Proof: complete connections against a circuit simulator",
        "",
        f"`python -m tests.studies.connections --seed {seed} --write`, probe {probe.__version__}: "
        f"{len(rows)} connections, every option with every kind of stage {TIMES} times. Circuits "
        "of tests/spice/netlists with drawn parts; receivers, mismatches, leads of 0.5 to 200 m "
        "and grounds drawn. ngspice solves the whole connection from one netlist, written by hand "
        "for each option in tests/advice/connections.py; the project solves its own network on the "
        "source at its terminals. Largest error of each group; hum over mains and harmonics, down "
        f"to {QUIETEST_DB:.0f} dB below full output; a dash: nothing to compare.",
        "",
        f"Limits: level {LIMITS['level_db']} dB, hum {LIMITS['hum_db']} dB, tie current "
        f"{LIMITS['tie_percent']:g} %, -3 dB points {LIMITS['corner_percent']:g} %.",
        "",
        "| option | stage | level, dB | hum, dB | tie, % | -3 dB, % | hum below full output, dB |",
        "|---|---|---|---|---|---|---|",
    ]
    for kind, option in sorted(GROUPS, key=lambda g: g[1]):
        held = [r for r in rows if (r.kind, r.option) == (kind, option)]
        cells = [cell([getattr(r, name) for r in held]) for name in LIMITS]
        span = f"{min(r.hum_below_db for r in held):.0f} to {max(r.hum_below_db for r in held):.0f}"
        lines.append(f"| `{option}` | {kind} | " + " | ".join(cells) + f" | {span} |")
    total = " | ".join(cell([getattr(r, name) for r in rows]) for name in LIMITS)
    lines += [f"| all | all {len(rows)} | {total} | |", "", "Rows as computed again by the tests:",
              "", "| connection | level, dB | hum, dB |", "|---|---|---|"]  # fmt: skip
    lines += [f"| {r.index} | {r.level_db:.4f} | {cell([r.hum_db])} |" for r in rows]
    return "\n".join(lines) + "\n"


SEVERAL = "\n## Several leads on one device\n"
"""Begins the part of the page that `tests.studies.several` writes."""


def several_leads(page: str) -> str:
    """The part of the page about several leads, which this study leaves as it is."""
    return page[page.index(SEVERAL) :] if SEVERAL in page else ""


def cell(errors: list[float | None]) -> str:
    known = [abs(e) for e in errors if e is not None]
    return f"{max(known):.4f}" if known else "-"


def main() -> None:
    """Run the study and print or write its table."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--count", type=int, default=TIMES * len(GROUPS))
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--write", action="store_true", help=f"write {DOCUMENT.name}")
    given = parser.parse_args()
    rows = run(given.seed, given.count, given.jobs)
    for r in rows:
        for name, limit in LIMITS.items():
            error = getattr(r, name)
            if error is not None and abs(error) > limit:
                print(f"beyond: {r}")
                break
    text = document(rows, given.seed)
    if given.write:
        DOCUMENT.write_text(text + several_leads(DOCUMENT.read_text()))
    else:
        print(text)


if __name__ == "__main__":
    main()
