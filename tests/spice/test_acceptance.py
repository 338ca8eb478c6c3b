"""Whole sessions: what the analysis says about stages whose truth ngspice solved.

Every expected number is the simulator's own (``Written.truth``: ngspice, the netlist named in the
case); every expected kind and fault stands in ``expected.py``.
"""

from __future__ import annotations

import json
import subprocess
import sys
from collections import defaultdict
from pathlib import Path

import pytest
from scipy.stats import binom

from probe.facts import analyse_session

from . import ngspice
from .analysed import analysed
from .cases import Case, write
from .circuits import ALL
from .compare import compare, side_of
from .expected import EXPECTED
from .requirements import (
    curve_failures,
    full_session_failures,
    outside,
    wrong_kind,
)
from .sessions import SITUATIONS, SUBSETS

pytestmark = [
    pytest.mark.spice,
    pytest.mark.skipif(not ngspice.available(), reason="ngspice is not installed"),
]

# Every circuit once, the situations rotated; then where the situation itself is the difficulty.
CLEAN = [
    Case(name, SITUATIONS[i % 4], seed=i % 3, exchanged=i % 5 == 4) for i, name in enumerate(ALL)
] + [
    Case("8f", "none"),
    Case("8f", "foreign-clock", seed=1),
    Case("driedhot", "none", seed=2),
    Case("3", "foreign-clock", seed=1),
    Case("4", "none", seed=2),
]
ROUGH = [
    Case(name, SITUATIONS[(i + 1) % 4], seed=1 + i % 3, rough=True, drift_db=0.03, errors=True)
    for i, name in enumerate(ALL)
]
PARTIAL = [
    Case(name, SITUATIONS[(i + j) % 4], seed=j, takes=takes, drift_db=0.005, errors=True)
    for i, takes in enumerate(n for n in SUBSETS if n != "full")
    for j, name in enumerate(("2", "3b", "4", "5", "9"))
]


def test_the_table_is_complete() -> None:
    assert set(EXPECTED) == set(ALL)
    answers = [answer for accepted in EXPECTED.values() for answer in accepted]
    # The closed lists of kinds and faults; undetermined is reached by sessions with one take.
    assert {a.kind for a in answers} == {
        "differential", "electronically-floating", "transformer-coupled", "ground-sensing",
        "impedance-balanced", "unbalanced", "pin-3-unconnected", "faulty",
    }  # fmt: skip
    assert frozenset().union(*(a.faults for a in answers)) == {
        "hot-leg-dead", "cold-leg-dead", "legs-in-phase", "legs-unequal",
        "leg-impedances-unequal", "coupling-capacitor-hot", "coupling-capacitor-cold",
        "pins-swapped",
    }  # fmt: skip


# Every fifth one is quick, the rest are `long`; the gate runs them all.
@pytest.mark.parametrize(
    "case",
    [
        pytest.param(c, marks=[pytest.mark.long] * (i % 5 > 0), id=str(c))
        for i, c in enumerate(CLEAN)
    ],
)
@pytest.mark.long
def test_clean_session(case: Case) -> None:
    document, written = analysed(case)
    assert not (said := full_session_failures(document, written, case.situation)), lines(said)
    assert not (said := curve_failures(document, written)), lines(said)
    # At most one clean take in a hundred may be warned about: of these not one is.
    assert {w.get("take") for w in document["warnings"]} <= {None}


@pytest.mark.long
@pytest.mark.parametrize("case", ROUGH, ids=str)
def test_kind_of_a_rough_session(case: Case) -> None:
    document, written = analysed(case)
    assert wrong_kind(document, written) is None


@pytest.mark.long
def test_intervals_of_rough_sessions_hold_the_truth() -> None:
    assert not (said := too_few_hits(ROUGH)), lines(said)


@pytest.mark.long
@pytest.mark.parametrize("case", PARTIAL, ids=str)
def test_partial_session(case: Case) -> None:
    document, written = analysed(case)
    assert wrong_kind(document, written) is None
    stage = side_of(document)["stage"]
    if stage["kind"] == "undetermined":
        possible = {entry["kind"] for entry in stage["also_possible"]}
        assert possible & {answer.kind for answer in EXPECTED[case.circuit]}
        assert stage["next_take"] is not None


@pytest.mark.parametrize("name", ["2", "3b", "5"])
def test_one_take_decides_nothing(name: str) -> None:
    document, _ = analysed(Case(name, "none", takes="open only"))
    assert side_of(document)["stage"]["kind"] == "undetermined"


@pytest.mark.long
def test_intervals_of_partial_sessions_hold_the_truth() -> None:
    assert not (said := too_few_hits(PARTIAL)), lines(said)


def lines(failures: list[str]) -> str:
    return "\n".join(failures)


def too_few_hits(cases: list[Case]) -> list[str]:
    """Facts whose 95 % intervals hold the truth less often than chance allows (99.9 %)."""
    missed: dict[str, list[str]] = defaultdict(list)
    count: dict[str, int] = defaultdict(int)
    for case in cases:
        facts = compare(*analysed(case))
        for fact in facts.values():
            # a bound or an interval far beyond a mere 5 % chance counts alike
            count[fact.name] += 1
        for line in outside(facts, case.circuit):
            missed[line.split()[0]].append(f"{case}: {line}")
    return [
        line
        for name, lines in missed.items()
        if count[name] - len(lines) < binom.ppf(0.001, count[name], 0.95)
        for line in lines
    ]


@pytest.mark.long
def test_the_command_says_the_same(tmp_path: Path) -> None:
    case = Case("3b", "reference")
    write(case, tmp_path)
    done = subprocess.run(
        [sys.executable, "-m", "probe", "analyse", str(tmp_path), "--json"],
        capture_output=True, text=True, timeout=60, check=True,
    )  # fmt: skip
    document = analyse_session(tmp_path)
    said = json.loads(done.stdout)
    stage = side_of(document)["stage"]
    for key in ("kind", "faults", "possible_faults", "polarity", "driven_legs", "next_take"):
        assert said["sides"]["left"]["stage"][key] == stage[key]
    facts = side_of(document)["facts"]
    assert said["sides"]["left"]["facts"].keys() == facts.keys()
    for name, fact in facts.items():
        # The same program on the same files.
        assert said["sides"]["left"]["facts"][name]["value"] == pytest.approx(fact["value"])
