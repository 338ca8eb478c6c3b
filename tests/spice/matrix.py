"""Every circuit in every phase situation with several draws of its parts, as a table.

``python -m tests.spice.matrix --out docs/proof-circuit-simulator.md`` writes it;
``python -m tests.spice.matrix --recheck 2 --against docs/proof-circuit-simulator.md`` recomputes
two rows, others for each change of the code, and fails where they say something else.
"""

from __future__ import annotations

import argparse
import random
import re
import sys
from collections.abc import Iterable, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from tests.chosen import of_this_code

from .analysed import analysed
from .cases import Case
from .circuits import ALL
from .compare import IN_PHASE, Compared, compare, side_of
from .expected import kind_is_right
from .requirements import full_session_failures, is_exact, missing_facts, outside, wrong_kind
from .sessions import SITUATIONS

DRAWS = 3


@dataclass(frozen=True)
class Run:
    """One analysed session in figures; errors relative, None where it does not apply."""

    case: Case
    right: bool
    wrong: str | None
    confidence: float
    level: float | None
    legs: float | None
    differential: float | None
    tied: float | None
    facts: int
    held: int
    failures: tuple[str, ...]


def run(case: Case) -> Run:
    """Write, analyse and compare one case; an analysis that breaks off is a failure too."""
    try:
        document, written = analysed(case)
    except (ArithmeticError, LookupError, ValueError, np.linalg.LinAlgError) as error:
        return Run(case, False, None, 0.0, None, None, None, None, 0, 0, (repr(error),))
    finally:
        analysed.cache_clear()
    stage, facts = side_of(document)["stage"], compare(document, written)
    if case.rough:
        failures = [*missing_facts(case.circuit, facts), *outside(facts, case.circuit)]
    else:
        failures = full_session_failures(document, written, case.situation)
    return Run(
        case,
        kind_is_right(case.circuit, stage),
        wrong_kind(document, written),
        stage["confidence"] or 0.0,
        _worst(case.circuit, facts, level_names(case.circuit)),
        _worst(case.circuit, facts, ["hot_impedance", "cold_impedance"], least=1.0),
        _worst(case.circuit, facts, ["differential_impedance"]),
        _worst(case.circuit, facts, ["hot_level_pin_3_tied"], least=1e-4),
        len(facts),
        len(facts) - len(outside(facts, case.circuit)),
        tuple(failures),
    )


def level_names(circuit: str) -> list[str]:
    """Levels whose relative error means something: nothing is left between legs in phase."""
    return [] if circuit in IN_PHASE else ["differential_level"]


def _worst(
    circuit: str, facts: dict[str, Compared], names: Sequence[str], least: float = 0.0
) -> float | None:
    errors = [
        facts[n].relative
        for n in names
        if n in facts and is_exact(facts[n], circuit) and facts[n].truth > least
    ]  # fmt: skip
    return max(errors, default=None)


def cases_of(circuit: str, rough: bool) -> list[Case]:
    """The runs behind one row."""
    more = {"rough": True, "drift_db": 0.03, "errors": True} if rough else {}
    return [
        Case(circuit, situation, seed, seconds=(2.0, 4.0), **more)  # type: ignore[arg-type]
        for situation in SITUATIONS
        for seed in range(DRAWS)
    ]


HEADS = {
    False: (
        "circuit", "kind right", "least confidence", "differential level, %", "leg impedances, %",
        "differential impedance, %", "pin 3 tied, dB", "intervals holding",
    ),
    True: (
        "circuit", "kind right", "cannot tell", "wrong", "differential level, %",
        "leg impedances, %", "differential impedance, %", "intervals holding",
    ),
}  # fmt: skip


def row(circuit: str, rough: bool, runs: Sequence[Run]) -> str:
    """One row of a table: worst errors over its runs."""
    right = f"{sum(r.right for r in runs)}/{len(runs)}"
    held = f"{sum(r.held for r in runs)}/{sum(r.facts for r in runs)}"
    errors = [
        _percent(r.level for r in runs),
        _percent(r.legs for r in runs),
        _percent(r.differential for r in runs),
    ]
    if rough:
        wrong = sum(r.wrong is not None for r in runs)
        unsure = len(runs) - sum(r.right for r in runs) - wrong
        cells = [circuit, right, f"{unsure}", f"{wrong}", *errors, held]
    else:
        least = f"{min(r.confidence for r in runs):.3f}"
        tied = [r.tied for r in runs if r.tied is not None]
        tied_db = f"{8.685889638 * max(tied):.4f}" if tied else "-"
        cells = [circuit, right, least, *errors, tied_db, held]
    return "| " + " | ".join(cells) + " |"


def _percent(errors: Iterable[float | None]) -> str:
    known = [e for e in errors if e is not None]
    return f"{100 * max(known):.4f}" if known else "-"


def table(circuits: Sequence[str], rough: bool, jobs: int) -> tuple[list[str], list[Run]]:
    """Rows of one table and the runs behind them."""
    cases = [case for circuit in circuits for case in cases_of(circuit, rough)]
    with ProcessPoolExecutor(jobs) as pool:
        runs = []
        for done in pool.map(run, cases):
            runs.append(done)
            for failure in done.failures:
                print(f"{done.case}: {failure}", file=sys.stderr, flush=True)
            if done.wrong:
                print(f"{done.case}: wrong kind {done.wrong}", file=sys.stderr, flush=True)
    head = HEADS[rough]
    lines = ["| " + " | ".join(head) + " |", "|" + "---|" * len(head)]
    lines += [row(c, rough, [r for r in runs if r.case.circuit == c]) for c in circuits]
    return lines, runs


def page(circuits: Sequence[str], jobs: int) -> tuple[str, list[Run]]:
    """The page of both tables."""
    from probe import __version__

    clean, clean_runs = table(circuits, False, jobs)
    rough, rough_runs = table(circuits, True, jobs)
    text = PAGE.format(
        version=__version__, draws=DRAWS, clean="\n".join(clean), rough="\n".join(rough)
    )
    return text, clean_runs + rough_runs


PAGE = """# Output stages solved by a circuit simulator, recorded, and analysed

Made by `python -m tests.spice.matrix --out docs/proof-circuit-simulator.md`, probe {version}.
The netlists are `tests/spice/netlists/`; ngspice solves them with the recorder's inputs, loads and
injectors in the netlist, `tests/spice/sessions.py` writes the recordings, and the truth of every
quantity is a circuit of its own (`tests/spice/truth.py`). Each row: four phase situations
(drive recorded; one running stream; unknown delays; unknown delays and a recorder clock off by
some hundred parts per million) with draws 0 to {draws_last} of the part values; errors are the
worst of these {runs} runs, near 1 kHz, of values that are neither bounds nor limited by the bench.

## Clean sessions

Nine takes of 2 to 4 s, 12 tones, 24 bit, noise at -115 dB FS, the bench's figures as declared.

{clean}

## Rough sessions

Silence of random length before and after the tone, hum of -50 to -80 dBV at 50 Hz and nine
harmonics on every channel with device tones exactly on 50 and 100 Hz, levels that moved by
0.03 dB (standard deviation, per take and leg), and every declared figure of the bench off by what
its uncertainty allows.

{rough}
"""
PAGE = PAGE.replace("{draws_last}", str(DRAWS - 1)).replace("{runs}", str(DRAWS * len(SITUATIONS)))


def recheck(text: str, count: int, seed: int, jobs: int) -> list[str]:
    """Recompute ``count`` rows of a page chosen at random; says which do not match."""
    rows = re.findall(r"^\| (?!circuit)(\S+) \|.*\|$", text, re.M)
    lines = [line for line in text.splitlines() if re.match(r"\| (?!circuit)\S+ \|", line)]
    half = len(rows) // 2
    differing = []
    for index in random.Random(seed).sample(range(len(rows)), count):
        again, _ = table([rows[index]], index >= half, jobs)
        if not _same(lines[index], again[-1]):
            differing.append(f"stands: {lines[index]}\nfound:  {again[-1]}")
    return differing


def _same(stands: str, found: str) -> bool:
    """Counts alike, figures within what another processor's rounding may change."""
    pairs = zip(stands.split("|"), found.split("|"), strict=True)
    return all(a == b or _close(a, b) for a, b in pairs)


def _close(a: str, b: str) -> bool:
    try:
        return abs(float(a) - float(b)) <= 0.02 * abs(float(b)) + 2e-4
    except ValueError:
        return False


def main() -> int:
    """Command line."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--circuits", nargs="+", default=list(ALL), choices=ALL)
    parser.add_argument("--only", choices=("clean", "rough"), help="one table instead of the page")
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--out", type=Path)
    parser.add_argument("--recheck", type=int, default=0)
    parser.add_argument("--against", type=Path)
    parser.add_argument("--seed", type=int, default=of_this_code("circuit simulator"))
    options = parser.parse_args()
    if options.recheck:
        print(f"rows chosen with --seed {options.seed}")
        differing = recheck(
            options.against.read_text(), options.recheck, options.seed, options.jobs
        )
        print("\n".join(differing) or "the rows stand")
        return 1 if differing else 0
    if options.only:
        lines, runs = table(options.circuits, options.only == "rough", options.jobs)
        text = "\n".join(lines)
    else:
        text, runs = page(options.circuits, options.jobs)
    if options.out:
        options.out.write_text(text)
    else:
        print(text)
    clean_failures = sum(bool(r.failures) for r in runs if not r.case.rough)
    return 1 if clean_failures or any(r.wrong for r in runs) else 0


if __name__ == "__main__":
    sys.exit(main())
