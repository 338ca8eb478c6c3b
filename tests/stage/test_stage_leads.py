"""Leads that hold something else than was declared: told where a take has a leg bare."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from probe.facts.other_inputs import held_by_inputs, with_other_leads
from probe.stage.kind import gather
from probe.stage.leads import _reckoned
from probe.stage.observations import holding
from probe.stage.verdict import Verdict, whichever
from probe.stage.way_to_pin1 import below_nothing, room

from .analysed import analysed, from_phasors, judged, true_facts
from .forward import (
    ACROSS,
    FULL,
    INJECT_COLD,
    INJECT_HOT,
    LOAD_COLD,
    LOAD_HOT,
    LOAD_SE,
    OPEN,
    SECOND,
    WITH_SE,
    Errors,
    Stage,
    drawn_errors,
    floating,
    record,
    strays,
)

PAIR = floating(zd=100.0, zcm=1200.0, lean=0.02)
LEVEL = np.log(10.0) / 20.0 * 0.02
"""0.02 dB between takes, what a session that states nothing is taken to have."""
HANGING = ("common_mode_level", "signal_balance", "leg_phase", "leg_ratio", "hot_level")
"""Facts of a pair that hang on what its legs carry."""
CODE = ("lead-not-as-declared", "")


def _longer(farad: float) -> Errors:
    return Errors(farad=dict.fromkeys(range(3), farad), level=LEVEL)


def _outside(found, names=HANGING) -> list[str]:
    true = true_facts(PAIR, 997.1)
    return [n for n in names if not _holds(found.facts[n], true[n])]


def _holds(fact, true) -> bool:
    """The truth is inside twice the interval: a draw in twenty lies outside the interval itself."""
    value, half = fact["value"], fact["u95"]
    assert "bound" not in fact
    true += 360.0 * round((value - true) / 360.0) if fact["unit"] == "deg" else 0.0
    low, high = fact.get("low", value - half), fact.get("high", value + half)
    return value - 2.0 * (value - low) <= true <= value + 2.0 * (high - value)


@pytest.mark.long
def test_a_longer_lead_is_told_by_the_take_that_has_a_leg_bare():
    found = analysed(PAIR, FULL, errors=_longer(1e-9), situation="timebase")
    assert CODE in found.codes
    # closed form: what was put on the legs, 150 pF declared and 1 nF more
    assert "1150 pF" in _rounded(found)
    assert found.kind == "electronically-floating"
    # closed form of the stage (true_facts)
    assert _outside(found) == []


def _rounded(found) -> str:
    """The remark with its farads to the next 10 pF: errors of level leave some pF open."""
    text = next(r.message for r in found.identified.remarks if r.code == CODE[0])
    words = [
        f"{round(float(w), -1):.0f}" if w.isdigit() and len(w) > 2 else w for w in text.split()
    ]
    return " ".join(words)


def test_nothing_tells_of_it_where_every_take_has_both_leads():
    """The same capacitance may be the stage's own."""
    takes = (OPEN, LOAD_HOT, LOAD_COLD, ACROSS, INJECT_COLD, INJECT_HOT, SECOND)
    found = analysed(PAIR, takes, errors=_longer(1e-9), situation="timebase")
    assert CODE not in found.codes


def _with_lead_on_cold(farad: float) -> Stage:
    """The pair with a capacitor from its cold leg to pin 1."""

    def loaded(f, what):
        y = np.zeros((len(f), 3, 3), dtype=complex)
        y[:, 1, 1] = 2j * np.pi * f * farad
        return np.linalg.solve(np.eye(3) + PAIR.z(f) @ y, what)

    return Stage(
        lambda f: loaded(f, PAIR.voc(f)[..., None])[..., 0], lambda f: loaded(f, PAIR.z(f))
    )


@pytest.mark.long
def test_a_lead_left_on_a_leg_that_should_be_bare_is_not_taken_for_the_inputs():
    errors = _longer(0.0)
    session, takes = record(PAIR, FULL, errors=errors, situation="timebase")
    hanging, left_on = record(_with_lead_on_cold(3e-10), FULL, errors=errors, situation="timebase")
    bare = (WITH_SE.name, LOAD_SE.name)
    mixed = tuple(o if p.take.name in bare else p for p, o in zip(takes, left_on, strict=True))
    found = from_phasors(replace(session, takes=hanging.takes), mixed)
    assert CODE in found.codes
    assert "lead was left on cold" in found.identified.remarks[-1].message
    # closed form of the stage (true_facts)
    assert _outside(found) == []


def test_what_no_input_can_hold_is_not_reckoned_with():
    found = analysed(PAIR, FULL, errors=_longer(0.0), situation="timebase").identified
    # closed form: 150 pF declared less 200 pF, with no room for a lead that was left on
    assert _reckoned(found.aligned.group, {0: -2e-10}, 0.0) is None


@pytest.mark.parametrize("seed", range(2))
def test_leads_within_what_is_declared_raise_nothing(seed):
    errors = drawn_errors(seed, FULL)
    found = analysed(
        PAIR, FULL, errors=errors, situation="timebase", rng=np.random.default_rng(seed)
    )
    assert found.identified.remarks == ()


WINDING = floating(zd=100.0, zcm=strays(9e-10), lean=0.02)
"""A winding of 900 pF to pin 1, half of it on each leg."""


def _declared_with_more(farad: float, plans) -> tuple:
    """The winding, its inputs declared to hold so much more than they do."""
    session, takes = record(WINDING, plans, errors=Errors(level=LEVEL), situation="timebase")
    more = dict.fromkeys(range(3), farad)
    takes = tuple(holding(p, more) for p in takes)
    return replace(session, takes=tuple(p.take for p in takes)), takes


@pytest.mark.long
def test_inputs_declared_too_high_make_no_electronic_stage_of_a_winding():
    """Less than no capacitance is left: 900 pF less twice what is declared too much."""
    session, takes = _declared_with_more(
        1e-9, (OPEN, LOAD_HOT, LOAD_COLD, ACROSS, INJECT_COLD, INJECT_HOT, SECOND)
    )
    found = from_phasors(session, takes)
    assert CODE in found.codes
    # closed form: the stage is a winding
    assert "transformer-coupled" in found.possible
    assert found.kind != "electronically-floating"


def test_a_capacitance_below_nothing_is_told_from_an_inductance():
    hz = np.array([4000.0, 9000.0, 19000.0])
    w = 2.0 * np.pi * hz
    # closed form: 1/(jwC) of -1 nF, jwL of 0.1 H, 1 nF beside 1 kohm
    ways = np.array([1.0 / (-1e-9j * w), 0.1j * w, 1.0 / (1e-3 + 1e-9j * w)])
    assert below_nothing(hz, ways).tolist() == [True, False, False]
    assert room(hz, ways[:1])[0] == pytest.approx(-1e-9)


def test_kinds_that_differ_by_what_leads_hold_leave_the_kind_open():
    one = Verdict("transformer-coupled", 1.0, (), "both-legs", "", ())
    other = replace(one, kind="electronically-floating")
    assert whichever(one, [one]) == one
    found = whichever(one, [one, other])
    assert found.kind == "undetermined"
    assert {p.kind for p in found.also_possible} == {one.kind, other.kind}


@pytest.mark.long
def test_leads_far_from_declared_are_found_from_other_starts():
    session, takes = _declared_with_more(2e-9, FULL)
    found = from_phasors(session, takes)
    assert CODE in found.codes
    # closed form: 150 pF were on the legs, 2 nF more declared
    assert "150 pF with its lead, 2150 pF declared" in _rounded(found)
    assert found.kind == "transformer-coupled"


@pytest.mark.long
def test_facts_hold_where_the_lead_no_take_tells_of_is_another():
    errors = Errors(farad={0: 6.5e-10, 1: 1.5e-10, 2: 0.0}, level=LEVEL)
    session, takes = record(WINDING, FULL, errors=errors, situation="reference")
    found = from_phasors(session, takes)
    led = with_other_leads(session, found.identified)
    evidence = gather(found.identified, found.polarity.value)
    facts, _ = held_by_inputs(session, led, evidence, found.verdict, found.facts)
    assert CODE in found.codes
    assert found.kind == "transformer-coupled"
    # closed form of the stage (true_facts)
    assert [str(one) for one in judged(facts, WINDING) if one.off > 2.0] == []
