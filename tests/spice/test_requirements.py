"""The checks themselves: they pass the truth and catch what is just too far from it."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import pytest

from . import ngspice
from .circuits import ALL, draw
from .compare import CURVES, DECIBELS, IMPEDANCES, LEVELS, PLAIN
from .expected import EXPECTED
from .requirements import curve_failures, full_session_failures, wrong_kind
from .sessions import DEVICE_TONES, Written
from .truth import solve_truth

pytestmark = [
    pytest.mark.spice,
    pytest.mark.skipif(not ngspice.available(), reason="ngspice is not installed"),
]

DRIVE = 0.25


def written(name: str) -> Written:
    circuit = draw(name, 1)
    truth = solve_truth(circuit, DEVICE_TONES)
    return Written(Path(), circuit, truth, DRIVE, (), DEVICE_TONES, {}, {})


def perfect(w: Written) -> dict[str, Any]:
    """A document that says exactly the truth, with intervals of a thousandth."""
    t, index = w.truth, DEVICE_TONES.index(997.1)
    values: dict[str, float] = {n: abs(d(t, index)) * DRIVE for n, d in LEVELS.items()}
    values |= {n: abs(d(t, index)) for n, d in IMPEDANCES.items()}
    values |= {n: float(d(t, index)) for n, d in {**DECIBELS, **PLAIN}.items()}
    facts = {
        n: {"value": v, "u95": 1e-3 * abs(v), "at_hz": 997.1}
        for n, v in values.items()
        if math.isfinite(v)
    }
    curves: dict[str, Any] = {"hz": list(DEVICE_TONES)}
    for name, definition in CURVES.items():
        scale = DRIVE if name.endswith("open_circuit") else 1.0
        points = [complex(definition(t, i)) * scale for i in range(len(DEVICE_TONES))]
        curves[name] = {
            "real": [p.real for p in points],
            "imag": [p.imag for p in points],
            "u95": [1e-3 * abs(p) for p in points],
        }
    answer = EXPECTED[w.circuit.name][0]
    stage = {
        "kind": answer.kind, "confidence": 1.0, "faults": sorted(answer.faults),
        "possible_faults": sorted(answer.possible)[:1], "polarity": answer.polarity,
        "driven_legs": answer.driven,
    }  # fmt: skip
    return {"sides": {"left": {"stage": stage, "facts": facts, "curves": curves}}}


@pytest.mark.parametrize("name", ALL)
def test_the_truth_passes(name: str) -> None:
    w = written(name)
    document = perfect(w)
    assert full_session_failures(document, w, "reference") == []
    assert curve_failures(document, w) == []
    assert wrong_kind(document, w) is None


@pytest.mark.parametrize(
    ("fact", "factor", "complaint"),
    [
        # The limits of requirements.py, exceeded by a tenth.
        ("differential_level", 1 + 1.1 * 5e-4, "differential level"),
        ("hot_impedance", 1 - 1.1e-3, "hot_impedance"),
        ("cold_impedance", 1 + 1.1e-3, "cold_impedance"),
        ("single_ended_impedance", 1 + 1.1e-3, "single_ended_impedance"),
        ("differential_impedance", 1 + 2.2e-3, "differential_impedance"),
        ("hot_level_pin_3_tied", 10 ** (0.022 / 20), "pin 3 tied"),
    ],
)
@pytest.mark.parametrize("name", ["1", "3", "4"])
def test_a_value_just_too_far_is_caught(
    name: str, fact: str, factor: float, complaint: str
) -> None:
    w = written(name)
    document = perfect(w)
    facts = document["sides"]["left"]["facts"]
    facts[fact] |= {"value": facts[fact]["value"] * factor, "u95": 1.0 * facts[fact]["value"]}
    failures = full_session_failures(document, w, "reference")
    assert len(failures) == 1
    assert complaint in failures[0]


def test_a_dried_capacitor_without_reference_has_a_limit_of_its_own() -> None:
    w = written("8f")
    document = perfect(w)
    fact = document["sides"]["left"]["facts"]["cold_impedance"]
    fact |= {"value": fact["value"] * (1 + 2.5e-3), "u95": fact["value"]}
    assert full_session_failures(document, w, "none") == []
    assert full_session_failures(document, w, "reference") != []


def test_missing_narrow_and_misjudged_are_caught() -> None:
    w = written("3")
    left = perfect(w)
    del left["sides"]["left"]["facts"]["cold_impedance"]
    assert full_session_failures(left, w, "none") == ["cold_impedance is absent"]

    narrow = perfect(w)
    narrow["sides"]["left"]["facts"]["hot_level"] |= {"low": 9.0, "high": 10.0}
    assert "hot_level" in full_session_failures(narrow, w, "none")[0]

    bound = perfect(w)
    fact = bound["sides"]["left"]["facts"]["cold_impedance"]
    fact |= {"value": 1.1 * fact["value"], "bound": "above"}
    assert "cold_impedance" in full_session_failures(bound, w, "none")[0]

    curve = perfect(w)
    curve["sides"]["left"]["curves"]["hot_impedance"]["real"][3] *= 1.01
    assert "171.3 Hz" in curve_failures(curve, w)[0]


@pytest.mark.parametrize(
    ("change", "complaint"),
    [
        ({"kind": "differential"}, "kind"),
        ({"faults": ["legs-unequal"]}, "faults"),
        ({"possible_faults": ["cold-leg-dead"]}, "accuse"),
        ({"polarity": "undetermined"}, "polarity"),
        ({"driven_legs": "one-leg"}, "driven legs"),
        ({"confidence": 0.89}, "confidence"),
    ],
)
def test_a_wrong_judgement_is_caught(change: dict[str, Any], complaint: str) -> None:
    # A cross-coupled stage: floating, no faults, both legs, pin 2 hot.
    w = written("3b")
    document = perfect(w)
    document["sides"]["left"]["stage"] |= change
    failures = full_session_failures(document, w, "none")
    assert len(failures) == 1
    assert complaint in failures[0]
    assert (wrong_kind(document, w) is not None) == ("kind" in change)


def test_undetermined_is_never_a_wrong_kind() -> None:
    w = written("3b")
    document = perfect(w)
    document["sides"]["left"]["stage"]["kind"] = "undetermined"
    assert wrong_kind(document, w) is None
