"""Takes that contradict each other: the one thing that explains it, or all that would."""

from __future__ import annotations

from dataclasses import replace

import pytest

from probe.facts.document import _side

from .analysed import analysed, judged
from .forward import (
    ACROSS,
    HOT,
    INJECT_COLD,
    INJECT_HOT,
    LOAD_COLD,
    LOAD_HOT,
    LOAD_SE,
    OPEN,
    SECOND,
    WITH_SE,
    Errors,
    G,
    Plan,
    drawn_errors,
    load,
    separate,
)
from .stages import STAGES

TESTED = (OPEN, LOAD_HOT, LOAD_COLD, ACROSS, INJECT_COLD, INJECT_HOT)


@pytest.mark.long
def test_a_resistor_of_other_ohms_costs_the_takes_that_hold_it():
    """The one that loads both legs is a kilohm and not 604 ohm: loads and the rest disagree."""
    errors = drawn_errors(5, TESTED)
    errors.part["R1"] = 1000.0 / 604.0 - 1.0
    found = analysed(separate(2.0, -2.0, 100.0, 110.0), TESTED, errors=errors)
    assert set(found.codes) == {("contradicting-take", n) for n in ("load hot", "load cold")}
    assert "R1" in found.identified.remarks[0].message
    assert found.kind == "differential"
    # source: the stage's own numbers; injected volts and gain are good to 0.25 % each
    assert found.facts["hot_impedance"]["value"] == pytest.approx(100.0, rel=0.015)
    assert found.facts["cold_impedance"]["value"] == pytest.approx(110.0, rel=0.015)


def test_what_nothing_tests_is_not_left_out():
    """Load and injection give the cold leg twice, and differ: either may be the wrong one."""
    stage = separate(2.0, -2.0, 100.0, 100.0)
    plans = (OPEN, LOAD_HOT, replace(LOAD_COLD, drive=0.94), INJECT_COLD)
    found = analysed(stage, plans, errors=drawn_errors(4, plans))
    suspect = {("contradicting-take", n) for n in ("load cold", "inject cold")}
    assert suspect <= set(found.codes)
    assert found.kind == "undetermined"
    rest = found.identified.standing
    assert {u.name for u in rest.uses if u.used} == {"open"}


def test_what_needs_no_suspect_take_stands():
    """Any of three loads may be the wrong one; levels and the gain difference need none of them."""
    plans = (OPEN, LOAD_HOT, replace(LOAD_COLD, drive=1.06), ACROSS, WITH_SE, LOAD_SE, SECOND)
    found = analysed(separate(), plans, errors=drawn_errors(4, plans))
    assert {t for _, t in found.codes} == {"load hot", "load cold", "across"}
    standing = found.identified.standing
    left = {u.name for u in standing.uses if u.used}
    assert left == {"open", "with single-ended", "load single-ended", "second open"}
    facts = _side(found.session, found.identified)["facts"]
    # source: closed form: 4 V between the legs over 2 V is 6.02 dB
    assert facts["gain_difference"]["value"] == pytest.approx(6.02, abs=0.25)
    assert "hot_impedance" not in facts
    assert [str(j) for j in judged(facts, separate()) if j.off > 1.68] == []


def test_inputs_that_explain_it_are_named_and_no_take_is_left_out():
    """Half the declared ohms: with one leg bare the winding contradicts what both legs say."""
    errors = Errors(ohm=dict.fromkeys(range(3), -0.5), noise=1e-6)
    plans = (OPEN, LOAD_HOT, LOAD_COLD, Plan("hot alone", (HOT,)))
    found = analysed(STAGES["transformer"], plans, errors=errors)
    assert found.kind == "undetermined"
    assert found.identified.standing is None
    # source: closed form: half of the 20 kohm declared
    assert any("inputs of 10 kohm" in r.message for r in found.identified.remarks)


def test_two_opens_that_differ_are_both_named():
    plans = (OPEN, LOAD_HOT, replace(SECOND, drive=1.06))
    found = analysed(separate(), plans, errors=drawn_errors(4, plans))
    assert {t for _, t in found.codes} == {"open", "second open"}
    assert found.kind == "undetermined"


@pytest.mark.parametrize(
    ("wrong", "left_out"),
    [
        # both loads of one leg agree with injections; the resistor across is twice what was typed
        ({"R3": 1.0}, {"across"}),
        # loads of each leg and across agree; the volts at the injector are half of what was typed
        pytest.param({"injected": -0.5}, {"inject cold", "inject hot"}, marks=pytest.mark.long),
    ],
)
def test_the_one_figure_that_is_typed_wrong_costs_no_kind(wrong, left_out):
    errors = drawn_errors(5, TESTED)
    errors.injected = wrong.get("injected", errors.injected)
    errors.part |= {k: v for k, v in wrong.items() if k != "injected"}
    found = analysed(separate(2.0, -2.0, 100.0, 110.0), TESTED, errors=errors)
    assert {t for c, t in found.codes if c == "contradicting-take"} == left_out
    assert found.kind == "differential"
    # source: the stage's own numbers
    assert found.facts["hot_impedance"]["value"] == pytest.approx(100.0, rel=0.03)


@pytest.mark.long
def test_a_resistor_that_is_far_from_what_was_typed_makes_no_fault_of_a_floating_stage():
    """604 ohm declared as 6 Mohm: hot would have to give back what the recorder takes."""
    typed = Plan("load hot", loads=(load(HOT, G, 6.04e6, "R9"),), plugged=LOAD_HOT.loads)
    plans = (OPEN, typed, LOAD_COLD, INJECT_COLD, SECOND)
    found = analysed(STAGES["floating-4k-leaning"], plans, errors=drawn_errors(5, plans), draws=60)
    assert ("contradicting-take", "load hot") in found.codes
    # closed form: v (1 + Z Y) = Voc leaves v free only where Z Y = -1, which nothing built has
    assert found.kind == "undetermined"
    facts = _side(found.session, found.identified)["facts"]
    assert not {"hot_impedance", "hot_level", "cold_level"} & set(facts)
