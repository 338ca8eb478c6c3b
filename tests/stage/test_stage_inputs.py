"""A recorder input that is not what was declared: what it leaves behind passes for no stage."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from probe.facts.other_inputs import held_by_inputs, with_other_inputs
from probe.facts.other_sources import source_holding
from probe.stage.as_source import source_of
from probe.stage.inputs import input_doubt
from probe.stage.kind import gather

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


@pytest.mark.long
def test_a_leg_without_an_input_tells_the_pair_from_the_inputs():
    """10 kohm with 600 pF from the pair to pin 1: what a winding leaves with inputs of 10 kohm."""
    stage = floating(zd=90.0, zcm=lambda f: 1.0 / (1e-4 + 2j * np.pi * f * 6e-10))
    assert analysed(stage, BOTH_HEARD, errors=QUIET).kind == "undetermined"
    alone = Plan("hot alone", (HOT,))
    assert analysed(stage, (*BOTH_HEARD, alone), errors=QUIET).kind == "electronically-floating"
    assert analysed(stage, FULL, errors=QUIET).kind == "electronically-floating"


@pytest.mark.long
def test_a_pair_that_gives_current_back_is_no_kind():
    """Inputs of twice the declared ohms take more off than is there."""
    errors = Errors(ohm=dict.fromkeys(range(3), 1.0), noise=1e-6)
    declared = replace(INPUT, impedance_ohm=10e3)
    found = analysed(STAGES["floating-20k"], BOTH_HEARD, errors=errors, recorder=declared)
    # source: closed form: 1/20k of the pair and 2/20k of the inputs, less 2/10k declared
    assert found.facts["common_mode_impedance"]["value"] == pytest.approx(20e3, rel=0.02)
    assert found.identified.legs.theta[0, 6, 1, 2].real < 0.0
    assert found.kind == "undetermined"


def _held(found):
    """Facts that hold whichever inputs are right, and why they are wider."""
    evidence = gather(found.identified, found.polarity.value)
    others = with_other_inputs(found.session, found.identified, evidence, found.verdict)
    return held_by_inputs(found.session, others, evidence, found.verdict, found.facts)


def _reaches(fact, value):
    if fact.get("bound") == "above":
        return value >= fact["value"]
    low = fact.get("low", fact["value"] - fact["u95"])
    return low <= value <= fact.get("high", fact["value"] + fact["u95"])


ONE_WRONG = {-0.5: "undetermined", -0.3: "transformer-coupled"}
"""What one input of two that is less than declared leaves of a winding: the way to pin 1 of an
electronic stage, or a winding's still, with its losses."""


def _one_wrong(share):
    return analysed(STAGES["transformer"], FULL, errors=Errors(ohm={0: share}, noise=1e-6))


@pytest.mark.parametrize("share", [-0.5, pytest.param(-0.3, marks=pytest.mark.long)])
@pytest.mark.long
def test_one_input_that_is_less_than_declared_is_suspected(share):
    """Of one that hangs on the same leg in every take no take tells."""
    found = _one_wrong(share)
    assert found.kind == ONE_WRONG[share]
    doubt = input_doubt(found.identified)
    assert [rival.channels for rival in doubt.rivals] == [{0}]
    # source: closed form: 20 kohm declared, half of it (or 30 % less) true
    assert doubt.would_be == pytest.approx((1.0 + share) * INPUT.impedance_ohm, rel=0.02)


@pytest.mark.long
@pytest.mark.parametrize("share", ONE_WRONG)
def test_one_input_that_is_less_than_declared_leaves_no_wrong_fact(share):
    found = _one_wrong(share)
    facts, why = _held(found)
    assert bool(why) == (found.kind == "transformer-coupled")
    hz = np.array([facts["hot_level"]["at_hz"]])
    # source: the stage itself, in closed form
    volts = np.abs(STAGES["transformer"].voc(hz)[0])
    assert not _reaches(found.facts["hot_level"], volts[0])
    for name, true in (("hot_level", volts[0]), ("cold_level", volts[1])):
        assert name not in facts or _reaches(facts[name], true), name
    assert facts["hot_level"]["limited_by_bench"]
    # source: closed form: 600 pF to pin 1 are 265 kohm at 1 kHz
    assert _reaches(facts["common_mode_impedance"], 1.0 / (2.0 * np.pi * hz[0] * 6e-10))
    # closed form: 10 kohm more or less from one end are 1/900 of the 90 ohm between the legs
    assert facts["differential_impedance"]["value"] == pytest.approx(90.0, rel=0.005)


@pytest.mark.long
@pytest.mark.parametrize("share", ONE_WRONG)
def test_the_source_holds_what_its_facts_hold(share):
    """Curves and connections are solved with the source: its draws reach as far as the facts."""
    found = _one_wrong(share)
    evidence = gather(found.identified, found.polarity.value)
    others = with_other_inputs(found.session, found.identified, evidence, found.verdict)
    alone = source_of(found.identified)
    held = source_holding(alone, [source_of(one) for one in others])
    k = int(np.argmin(np.abs(np.log(held.hz / 1000.0))))
    # source: the stage itself, in closed form
    true = np.abs(STAGES["transformer"].voc(held.hz[[k]])[0])
    for leg in (0, 1):
        low, high = np.quantile(np.abs(held.legs_voc_draws[:, k, leg]), [0.025, 0.975])
        assert low <= true[leg] <= high
        low, high = np.quantile(np.abs(alone.legs_voc_draws[:, k, leg]), [0.025, 0.975])
        assert not low <= true[leg] <= high
    assert len(held.voc_draws) == len(alone.voc_draws)
    np.testing.assert_array_equal(held.legs_voc, alone.legs_voc)


@pytest.mark.long
def test_an_open_pin_on_a_wrong_input_keeps_what_the_hot_leg_shows():
    found = analysed(STAGES["open"], FULL, errors=HALF)
    facts, _ = _held(found)
    hz = np.array([facts["hot_level"]["at_hz"]])
    # source: the stage itself, in closed form: 2 V behind 100 ohm, 30 pF on the pin
    assert _reaches(facts["hot_impedance"], 100.0)
    assert _reaches(facts["cold_impedance"], 1.0 / (2.0 * np.pi * hz[0] * 3e-11))
    assert facts["cold_impedance"]["bound"] == "above"
    # 10 kohm too little beside it is half an ohm of 100: no more than the hot leg moves
    assert facts["hot_impedance"]["value"] == pytest.approx(100.0, rel=0.01)


@pytest.mark.parametrize("name", ["transformer", "floating-20k"])
def test_facts_stay_as_they_are_with_inputs_as_declared(name):
    found = analysed(STAGES[name], FULL, errors=QUIET)
    facts, why = _held(found)
    assert facts == found.facts
    assert not why
