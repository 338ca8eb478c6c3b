"""A recorder input that is not what was declared: what it leaves behind passes for no stage."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from probe.stage.inputs import input_doubt

from .analysed import analysed
from .forward import (
    ACROSS,
    FULL,
    HOT,
    INJECT_COLD,
    INJECT_HOT,
    INPUT,
    LOAD_COLD,
    LOAD_HOT,
    OPEN,
    SECOND,
    Errors,
    Plan,
    floating,
)
from .stages import KIND, STAGES

HALF = Errors(ohm={0: -0.5, 1: -0.5, 2: -0.5}, noise=1e-6)
QUIET = Errors(noise=1e-6)
BOTH_HEARD = (OPEN, LOAD_HOT, LOAD_COLD, ACROSS, INJECT_COLD, INJECT_HOT, SECOND)
"""No take in which a leg has no input on it."""


def test_a_winding_with_inputs_half_of_what_is_declared_is_not_named():
    found = analysed(STAGES["transformer"], BOTH_HEARD, errors=HALF)
    assert found.kind == "undetermined"
    assert found.possible == {"electronically-floating", "transformer-coupled"}
    assert "one leg alone" in found.next.reason
    doubt = input_doubt(found.identified)
    # source: closed form: 20 kohm declared, half of it true
    assert doubt.would_be == pytest.approx(0.5 * INPUT.impedance_ohm, rel=0.01)
    assert any("probe calibrate" in reason for reason in found.verdict.reasons)


def test_an_open_pin_with_inputs_half_of_what_is_declared_is_not_faulty():
    found = analysed(STAGES["open"], FULL, errors=HALF)
    assert found.kind == "undetermined"
    assert "pin-3-unconnected" in found.possible
    assert found.next.take is None
    # source: closed form: 1/(1/10k - 1/20k) = 20 kohm stays behind where nothing is connected
    assert found.facts["cold_impedance"]["value"] == pytest.approx(20e3, rel=0.02)
    assert "10 kohm in truth" in " ".join(found.verdict.reasons)


@pytest.mark.parametrize("name", ["silent", "ground-sensing", "floating-4k-leaning"])
def test_other_kinds_keep_their_name_whatever_the_inputs(name):
    """Some hundred ohm, or some kilohm of a pair, are not made by an input of 10 kohm."""
    assert analysed(STAGES[name], BOTH_HEARD, errors=HALF).kind == KIND[name]


@pytest.mark.parametrize("name", ["transformer", "open", "floating-20k"])
def test_inputs_as_declared_name_the_kind(name):
    assert analysed(STAGES[name], BOTH_HEARD, errors=QUIET).kind == KIND[name]


def test_a_leg_without_an_input_tells_the_pair_from_the_inputs():
    """10 kohm with 600 pF from the pair to pin 1: what a winding leaves with inputs of 10 kohm."""
    stage = floating(zd=90.0, zcm=lambda f: 1.0 / (1e-4 + 2j * np.pi * f * 6e-10))
    assert analysed(stage, BOTH_HEARD, errors=QUIET).kind == "undetermined"
    alone = Plan("hot alone", (HOT,))
    assert analysed(stage, (*BOTH_HEARD, alone), errors=QUIET).kind == "electronically-floating"
    assert analysed(stage, FULL, errors=QUIET).kind == "electronically-floating"


def test_a_pair_that_gives_current_back_is_no_kind():
    """Inputs of twice the declared ohms take more off than is there."""
    errors = Errors(ohm=dict.fromkeys(range(3), 1.0), noise=1e-6)
    declared = replace(INPUT, impedance_ohm=10e3)
    found = analysed(STAGES["floating-20k"], BOTH_HEARD, errors=errors, recorder=declared)
    # source: closed form: 1/20k of the pair and 2/20k of the inputs, less 2/10k declared
    assert found.facts["common_mode_impedance"]["value"] == pytest.approx(20e3, rel=0.02)
    assert found.identified.legs.theta[0, 6, 1, 2].real < 0.0
    assert found.kind == "undetermined"
