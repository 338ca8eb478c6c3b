"""The take to make next, against a brute-force trial of every take on stages of every kind.

The forward model here is written apart from the one under test: node voltages by Kirchhoff's
current law on Norton equivalents, other stages, other resistor values where they are free.
"""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pytest

from .analysed import analysed
from .forward import (
    INJECT_COLD,
    INJECT_HOT,
    INPUT,
    LOAD_COLD,
    LOAD_HOT,
    OPEN,
    SECOND,
    Errors,
    floating,
    ground_sensing,
    separate,
    strays,
    tapped,
)
from .stages import STAGES

QUIET = Errors(noise=1e-6)
HZ = np.array([997.1, 12411.7])
LEVEL = np.log(10) / 20 * 0.02
"""Repeatability of a session that states none, dB as a ratio."""

CANDIDATES = ("load-hot", "load-cold", "load-across", "inject-hot", "inject-cold")

# What the hot and cold legs of every kind may be, several of each, from the definitions of the
# kinds: separate and driven; floating resistive and capacitive; tapped; sense pin; silent ...
DRIVEN = {
    "differential": [separate(zh=z, zc=z) for z in (47.0, 150.0, 330.0)],
    "electronically-floating": [floating(zcm=m) for m in (800.0, 5e3, 3e4)],
    "transformer-coupled": [floating(zd=80.0, zcm=strays(c)) for c in (3e-10, 2e-9)]
    + [tapped(), tapped(z=60.0, between=-20.0)],
}
ONE_LEG = {
    "impedance-balanced": [separate(vc=0.0, zh=z, zc=z) for z in (47.0, 150.0, 330.0)],
    "unbalanced": [separate(vc=0.0, zh=z, zc=0.02) for z in (47.0, 150.0, 330.0)],
    "pin-3-unconnected": [separate(vc=0.0, zh=z, zc=strays(6e-11)) for z in (47.0, 150.0)],
    "ground-sensing": [ground_sensing(zh=z, zc=z) for z in (47.0, 150.0, 330.0)],
}
IN_PHASE = {
    "faulty": [separate(vc=2.0, zh=z, zc=z) for z in (47.0, 150.0, 330.0)],
    "electronically-floating": DRIVEN["electronically-floating"],
    "transformer-coupled": DRIVEN["transformer-coupled"][:2],
}


def brute(take: str, stage, seen: np.ndarray) -> np.ndarray:
    """Leg voltages (F, 2) of a take on a stage whose open take is made to read ``seen``.

    Norton: the stage is ``Z^-1`` from the legs to pin 1 with short-circuit currents that give
    ``seen`` into the recorder; then anything else is connected and the nodes solved again.
    """
    z = stage.z(HZ)[:, :2, :2]
    inside = np.linalg.inv(z + 1e-9 * np.eye(2))
    recorder = 1 / INPUT.impedance_ohm + 2j * np.pi * HZ * INPUT.capacitance_farad
    nodes = inside + recorder[:, None, None] * np.eye(2)
    short = np.einsum("fij,fj->fi", nodes, seen)
    extra = np.zeros((2, 2))
    inject = np.zeros(2)
    match take:
        case "load-hot":
            extra[0, 0] = 1 / 604.0
        case "load-cold":
            extra[1, 1] = 1 / 604.0
        case "load-across":
            extra = np.array([[1, -1], [-1, 1]]) / 1210.0
        case "inject-hot" | "inject-cold":
            leg = 0 if take.endswith("hot") else 1
            extra[leg, leg] = 1 / 10e3
            inject[leg] = 0.3 / 10e3
            short = np.zeros_like(short)
    return np.linalg.solve(nodes + extra, (short + inject)[..., None])[..., 0]


def apart(take: str, a: np.ndarray, b: np.ndarray) -> float:
    """How many standard deviations two outcomes differ by; the phase of an injector is unknown."""
    if take.startswith("inject"):
        for f in range(len(HZ)):
            turn = np.vdot(b[f], a[f])
            b[f] = b[f] * turn / max(abs(turn), 1e-300)
    largest = np.maximum(np.abs(a), np.abs(b)).max(axis=1, keepdims=True)
    sigma = np.hypot(LEVEL * np.maximum(np.abs(a), np.abs(b)), 5e-6) + 1e-4 * largest
    return float(np.sqrt(np.sum(np.abs((a - b) / sigma) ** 2)))


def separated(take: str, kinds: dict[str, list], seen: np.ndarray) -> set[frozenset[str]]:
    """Pairs of kinds of which no two stages look alike in this take."""
    outcome = {k: [brute(take, s, seen) for s in stages] for k, stages in kinds.items()}
    return {
        frozenset((k, m))
        for k, m in combinations(kinds, 2)
        if min(apart(take, a.copy(), b.copy()) for a in outcome[k] for b in outcome[m]) > 6.0
    }


def seen_in(found) -> np.ndarray:
    """Leg voltages of the open take at the two frequencies of the trial."""
    group = found.identified.group
    rows = [int(np.argmin(np.abs(group.hz - f))) for f in HZ]
    return group.takes[0].volts[rows, :2]


def scores(found, kinds, made=()) -> dict[str, int]:
    seen = seen_in(found)
    still = {k: v for k, v in kinds.items() if k in found.possible}
    assert len(still) >= 2
    return {t: len(separated(t, still, seen)) for t in CANDIDATES if t not in made}


def test_the_forward_model_of_this_test_is_right():
    """Against the closed form of one leg behind 150 ohm: a divider."""
    stage = separate(2.0, -2.0, 150.0, 150.0)
    recorder = 1 / 20000.0 + 2j * np.pi * HZ * 150e-12
    seen = np.stack([2 / (1 + 150 * recorder), -2 / (1 + 150 * recorder)], axis=1)
    # source: closed form, 2 V * 1/(1 + 150 (1/20k + jwC + 1/604))
    loaded = brute("load-hot", stage, seen)
    assert loaded[:, 0] == pytest.approx(2 / (1 + 150 * (recorder + 1 / 604)), rel=1e-9)
    assert loaded[:, 1] == pytest.approx(seen[:, 1], rel=1e-9)


@pytest.mark.parametrize(
    ("name", "kinds"),
    [
        ("separate", DRIVEN),
        ("floating-4k-leaning", DRIVEN),
        ("transformer", DRIVEN),
        ("tapped", DRIVEN),
        ("in-phase", IN_PHASE),
        ("silent", ONE_LEG),
        ("tied", ONE_LEG),
        ("ground-sensing", ONE_LEG),
    ],
)
def test_no_other_take_separates_more_after_the_open_one(name, kinds):
    found = analysed(STAGES[name], (OPEN,), errors=QUIET)
    assert found.kind == "undetermined"
    found_scores = scores(found, kinds)
    assert found.next.take in found_scores
    assert found_scores[found.next.take] == max(found_scores.values()), found_scores


@pytest.mark.parametrize(
    ("made", "takes"),
    [
        ((OPEN, LOAD_HOT), {"load-hot"}),
        ((OPEN, LOAD_COLD), {"load-cold"}),
        ((OPEN, LOAD_HOT, LOAD_COLD, SECOND), {"load-hot", "load-cold"}),
        ((OPEN, INJECT_HOT), {"inject-hot"}),
    ],
)
def test_no_other_take_separates_more_after_some(made, takes):
    """A silent leg stays open under these takes: none of them touches pin 3 with a current."""
    stage = separate(2.0, 0.0, 150.0, 150.0)
    found = analysed(stage, made, errors=QUIET)
    assert found.kind == "undetermined"
    known = {k: v for k, v in ONE_LEG.items() if k in found.possible}
    # hot is known by now: only stages with its 150 ohm are left
    known = {k: [s for s in v if abs(s.z(HZ)[0, 0, 0] - 150.0) < 1.0] for k, v in known.items()}
    found_scores = scores(found, known, takes)
    assert found.next.take not in takes
    assert found_scores[found.next.take] == max(found_scores.values()), found_scores


@pytest.mark.long
def test_the_take_named_does_settle_it():
    """Making the named take, again and again, ends with the right kind within three takes."""
    plans = {
        "load-hot": LOAD_HOT,
        "load-cold": LOAD_COLD,
        "inject-cold": INJECT_COLD,
        "inject-hot": INJECT_HOT,
    }
    for stage, kind in (
        (separate(2.0, 0.0), "impedance-balanced"),
        (separate(2.0, 0.0, 100.0, 0.05), "unbalanced"),
        (separate(), "differential"),
        (ground_sensing(), "ground-sensing"),
        (floating(), "electronically-floating"),
        (STAGES["transformer"], "transformer-coupled"),
    ):
        made = [OPEN]
        found = analysed(stage, made, errors=QUIET)
        while found.kind == "undetermined" and len(made) < 4:
            assert found.next.reason
            assert plans[found.next.take] not in made
            made.append(plans[found.next.take])
            found = analysed(stage, made, errors=QUIET)
        assert found.kind == kind, [p.name for p in made]
        assert found.next.take is None
