"""The table of the study: what is wanted, what was found, and a row for every session."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.stats import binom

import probe

from .judged import Judged
from .run import Row

RARE = 0.001
"""Single facts and small slices are held against the limits of 99.9 % of all such runs."""

STATED = 0.9
SURE = 0.99

HEAD = """\
# How often intervals hold the truth

A seeded study over random simulated sessions: every circuit of the simulator's library in turn,
parts drawn within their tolerances, a random bench, random takes, five phase situations. Every
figure the session declares (recorder scale, input impedance and capacitance, each resistor, the
injected voltage) is off by a normal error whose two standard deviations are the stated expanded
uncertainty; the level of every take and leg moves by a normal error with the repeatability the
session states (0.02 dB, the default, where it states none). Crosstalk between recorder channels,
which no session declares, is drawn in three sessions of four as large as the analysis reckons
with (-80 dB, rising above 10 kHz), and left out in the fourth.

The truth is the circuit's: open-circuit voltages and impedance matrix from the simulator's own
solver, the definitions of the facts applied to them. Most sessions are made of phasors with noise
of the stated covariance; one in 25 is written as WAV files and read back.

    OMP_NUM_THREADS=1 python -m tests.studies.coverage --sessions {sessions} --seed {seed} --write

Version {version}, seed {seed}, {sessions} sessions{broken}. Continuous integration makes rows
again, others for each change of the code, and holds this table and a fresh slice against binomial
limits.

What counts as what: an *interval* is a value with `u95` (or `low` and `high`); a *bound* says
"above" or "below" and must be true at least 95 times in 100; *limited* values carry
`limited_by_bench` and say what was recorded where the rest hangs on strays or on a loading that no
take shows: they are counted apart and not judged. The *optimum* is the `u95` that follows from the
Jacobian of the forward model at the same tone and the declared uncertainties (finite differences,
no analysis code); a ratio below 1 is a session whose repeatability came out small, or a fact that
injections at other tones show better than this tone does. The optimum separates crosstalk from a
silent leg's own signal, because a load on the leg does not load crosstalk; the analysis does not
try, so the phase and balance of silent legs are wider. A kind is right where the table of accepted
answers (`tests/spice/expected.py`) has it for the circuit.
"""


@dataclass(frozen=True)
class Line:
    """One requirement: what is wanted and what was found."""

    what: str
    wanted: str
    found: str
    met: bool


def _share(held: Sequence[bool]) -> float:
    return float(np.mean(held)) if held else float("nan")


def _percent(held: Sequence[bool]) -> str:
    return f"{100 * _share(held):.1f} % of {len(held)}" if held else "none"


def facts_of(rows: Iterable[Row], form: str) -> list[Judged]:
    """Every fact of one form."""
    return [f for r in rows for f in r.facts if f.form == form]


def stated_kinds(rows: Iterable[Row], least: float = STATED) -> list[Row]:
    """Sessions whose kind was stated with at least this confidence."""
    return [r for r in rows if r.kind != "undetermined" and r.confidence >= least]


def requirements(rows: list[Row]) -> list[Line]:
    """The requirements on the whole study."""
    intervals = [f.holds for f in facts_of(rows, "interval")]
    bounds = [f.holds for f in facts_of(rows, "bound")]
    careful = [r.right for r in stated_kinds(r for r in rows if r.drift_db <= 0.005)]
    usual = [r.right for r in stated_kinds(r for r in rows if 0.005 < r.drift_db < 0.05)]
    warming = [r.right for r in stated_kinds(r for r in rows if r.drift_db >= 0.05)]
    sure = [not r.right for r in stated_kinds(rows, SURE)]
    full = [r for r in rows if r.full]
    named = [r.right and r.confidence >= STATED for r in full]
    absent = [f"{r.index}: {n}" for r in full for n in r.absent]
    ratios = [x for r in full for x in r.optimum.values()]
    takes = sum(r.take_count for r in rows)
    warned = sum(len(_warned_takes(r)) for r in rows)
    middle = float(np.median(ratios)) if ratios else float("nan")
    return [
        Line("intervals that hold the truth, pooled", "93 to 97 %", _percent(intervals),
             0.93 <= _share(intervals) <= 0.97),
        Line("bounds that are true, pooled", "at least 95 %", _percent(bounds),
             _share(bounds) >= 0.95),
        Line("kinds stated at 0.9 or above that are right, drift up to 0.005 dB", "at least 99 %",
             _percent(careful), _share(careful) >= 0.99),
        Line("the same, drift 0.02 dB", "(at least 97 %)", _percent(usual), _share(usual) >= 0.97),
        Line("the same, drift 0.05 dB", "at least 97 %", _percent(warming),
             _share(warming) >= 0.97),
        Line("kinds stated at 0.99 or above that are wrong", "none",
             f"{sum(sure)} of {len(sure)}", not any(sure)),
        Line("full sets of takes: right kind at 0.9 or above", "at least 98 %", _percent(named),
             _share(named) >= 0.98),
        Line("full sets of takes: supported facts left out", "none",
             f"{len(absent)} in {len(full)} sessions", not absent),
        Line("full sets of takes: median u95 over the optimum", "at most 1.3", f"{middle:.2f}",
             middle <= 1.3),
        Line("clean takes with a warning", "at most 1 %",
             f"{100 * warned / max(takes, 1):.2f} % of {takes}", warned <= 0.01 * takes),
    ]  # fmt: skip


def _warned_takes(row: Row) -> set[str]:
    return {w.split(": ", 1)[1] for w in row.warnings}


def limits(count: int, least: float = 0.93, most: float = 0.97) -> tuple[int, int]:
    """How many of ``count`` may hold the truth: 99.9 % binomial limits around 93 to 97 %."""
    return int(binom.ppf(RARE / 2, count, least)), int(binom.ppf(1 - RARE / 2, count, most))


def document(rows: list[Row], seed: int, broken: int = 0) -> str:
    """The whole page."""
    said = f", {broken} of them broke off" if broken else ""
    total = len(rows) + broken
    parts = [
        HEAD.format(sessions=total, seed=seed, version=probe.__version__, broken=said),
        "## What is wanted and what was found\n",
        _table(
            ("", "wanted", "found", "met"),
            [(x.what, x.wanted, x.found, "yes" if x.met else "**no**") for x in requirements(rows)],
        ),
        "## Fact by fact\n",
        _facts(rows),
        "## Where intervals miss\n",
        _groups(rows),
        "## Kinds that were wrong or not named\n",
        _kinds(rows),
        "## Warnings on clean takes, facts left out\n",
        _remarks(rows),
        "## Every session\n",
        "Intervals, bounds: how many hold the truth of how many.\n",
        "```csv",
        *[HEADER, *(csv(r) for r in rows)],
        "```\n",
    ]
    return "\n".join(parts)


def _table(head: Sequence[str], lines: Iterable[Sequence[str]]) -> str:
    out = ["| " + " | ".join(head) + " |", "|" + "---|" * len(head)]
    return "\n".join([*out, *("| " + " | ".join(line) + " |" for line in lines)]) + "\n"


def _facts(rows: list[Row]) -> str:
    forms: dict[str, dict[str, list[Judged]]] = defaultdict(lambda: defaultdict(list))
    for r in rows:
        for f in r.facts:
            forms[f.name][f.form].append(f)
    ratios: dict[str, list[float]] = defaultdict(list)
    for r in rows:
        for name, ratio in r.optimum.items():
            ratios[name].append(ratio)
    lines = []
    for name in sorted(forms):
        held = [f.holds for f in forms[name]["interval"]]
        least, most = limits(len(held))
        fine = least <= sum(held) <= most or not held
        best = f"{np.median(ratios[name]):.2f}" if ratios[name] else ""
        lines.append(
            (
                f"`{name}`",
                _percent(held) + ("" if fine else " **outside**"),
                f"{least} to {most}" if held else "",
                _percent([f.holds for f in forms[name]["bound"]]),
                _percent([f.holds for f in forms[name]["limited"]]),
                best,
            )
        )
    head = ("fact", "intervals", "99.9 % limits", "bounds", "limited", "u95 / optimum")
    return _table(head, lines)


def _groups(rows: list[Row]) -> str:
    groups: dict[str, Callable[[Row], str]] = {
        "circuit": lambda r: r.circuit,
        "takes": lambda r: r.takes,
        "phase": lambda r: r.situation,
        "drift": lambda r: f"{r.drift_db:g} dB" + ("" if r.declared else ", not declared"),
        "crosstalk": lambda r: "as reckoned with" if r.crosstalk else "none",
        "made of": lambda r: "WAV files" if r.audio else "phasors",
    }
    lines = []
    for what, of in groups.items():
        gathered: dict[str, list[Row]] = defaultdict(list)
        for r in rows:
            gathered[of(r)].append(r)
        for name, some in sorted(gathered.items()):
            stated = stated_kinds(some)
            lines.append(
                (
                    what,
                    name,
                    str(len(some)),
                    _percent([f.holds for f in facts_of(some, "interval")]),
                    _percent([f.holds for f in facts_of(some, "bound")]),
                    f"{sum(r.right for r in stated)} of {len(stated)}",
                )
            )
    return _table(("", "", "sessions", "intervals", "bounds", "kinds stated, right"), lines)


def _kinds(rows: list[Row]) -> str:
    lines = []
    for r in rows:
        wrong = not r.right and r in stated_kinds([r])
        missed = r.full and not (r.right and r.confidence >= STATED)
        if wrong or missed:
            lines.append(
                (
                    "**wrong**" if wrong else "not named",
                    str(r.index),
                    r.circuit,
                    r.takes,
                    r.situation,
                    f"{r.drift_db:g} dB",
                    f"{r.kind} {r.confidence:.3f}",
                )
            )
    if not lines:
        return "None.\n"
    return _table(("", "session", "circuit", "takes", "phase", "drift", "said"), lines)


def _remarks(rows: list[Row]) -> str:
    lines = [
        (str(r.index), r.circuit, r.takes, r.situation, f"{r.drift_db:g} dB", what)
        for r in rows
        for what in (*r.warnings, *(f"absent: {n}" for n in r.absent))
    ]
    if not lines:
        return "None.\n"
    return _table(("session", "circuit", "takes", "phase", "drift", ""), lines)


HEADER = "session,circuit,takes,phase,drift_db,kind,confidence,intervals,bounds,warnings"


def csv(row: Row) -> str:
    """One session as a line of the page."""
    counts = []
    for form in ("interval", "bound"):
        held = [f.holds for f in facts_of([row], form)]
        counts.append(f"{sum(held)}/{len(held)}")
    words = (
        str(row.index),
        row.circuit,
        row.takes.replace(",", " +"),
        row.situation.replace(",", " +"),
        f"{row.drift_db:g}",
        row.kind,
        f"{row.confidence:.3f}",
        *counts,
        str(len(row.warnings)),
    )
    return ",".join(words)


def misses(rows: list[Row]) -> str:
    """Every fact that does not hold the truth, fact by fact."""
    return "\n".join(sorted(_miss(r, f) for r in rows for f in r.facts if not f.holds))


def _miss(row: Row, fact: Judged) -> str:
    return (
        f"{fact.form:8s} {fact.name:28s} z {fact.z:+8.2f} true {fact.true:.6g} "
        f"said {fact.value:.6g} ({fact.low:.6g} to {fact.high:.6g}) at {fact.at_hz:g} Hz | "
        f"{row.index} {row.circuit} / {row.takes} / {row.situation} / {row.drift_db:g} dB "
        f"(found {row.repeatability_db:.4f}) {row.kind} {row.confidence:.2f}"
    )
