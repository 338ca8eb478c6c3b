"""Drift, contradicting takes, settings that differ between takes, and takes to be left out."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from probe.session.model import MeterReading
from probe.stage import limits
from probe.stage.identify import identify

from .analysed import analysed, from_phasors, judged
from .forward import (
    ACROSS,
    COLD,
    FULL,
    HOT,
    INJECT_COLD,
    INJECT_HOT,
    INPUT,
    LOAD_COLD,
    LOAD_HOT,
    LOAD_SE,
    OPEN,
    SE,
    SECOND,
    WITH_SE,
    Errors,
    G,
    Plan,
    Stage,
    drawn_errors,
    floating,
    injection,
    load,
    record,
    separate,
)
from .stages import STAGES

QUIET = Errors(noise=1e-6)
LOADS = (OPEN, LOAD_HOT, LOAD_COLD, ACROSS, SECOND)


def coupled(share: float) -> Stage:
    """Driven legs, each of which takes that share of what is put on the other.

    A kilohm each: a pair that hangs together below some hundred ohm is joined, not floating.
    """

    def z(f):
        out = np.zeros((len(f), 3, 3), dtype=complex)
        out[:, 0, 0] = out[:, 1, 1] = out[:, 2, 2] = 1000.0
        out[:, 0, 1] = out[:, 1, 0] = share * 1000.0
        return out

    return Stage(separate().voc, z)


# thresholds, decided on draws ----------------------------------------------------------------


@pytest.mark.parametrize(
    ("share", "kind"),
    [
        # source: the kinds' definition: above 0.8 floating, within 0.08 separate, below -0.1
        # tapped, between: no kind fits
        (0.0, "differential"),
        (0.05, "differential"),
        (-0.05, "differential"),
        (0.2, "undetermined"),
        (0.5, "undetermined"),
        (0.9, "electronically-floating"),
        (-0.2, "transformer-coupled"),
        (-0.6, "transformer-coupled"),
    ],
)
@pytest.mark.long
def test_the_coupling_decides(share, kind):
    found = analysed(coupled(share), FULL, errors=QUIET)
    # source: closed form: Z_hc/Z_cc is the share itself
    assert found.facts["coupling_cold_into_hot"]["value"] == pytest.approx(share, abs=2e-3)
    assert found.kind == kind
    if kind == "undetermined":
        assert any("no kind" in reason for reason in found.verdict.reasons)
        assert "differential" in found.possible


@pytest.mark.parametrize("limit", [limits.COUPLING_SEPARATE, limits.COUPLING_FIRM])
def test_a_coupling_on_a_limit_is_undetermined(limit):
    """An interval that crosses a limit names no kind."""
    found = analysed(coupled(limit), LOADS, errors=Errors(level=0.0023), repeatability_db=0.02)
    assert found.kind == "undetermined"
    assert 0.0 < found.verdict.confidence < 1.0


def test_the_share_of_draws_is_the_confidence():
    """All shares, with that of undetermined, are one."""
    found = analysed(coupled(0.078), LOADS, errors=Errors(level=0.001), draws=1000)
    listed = [p.confidence for p in found.verdict.also_possible if p.confidence is not None]
    total = found.verdict.confidence + sum(listed)
    # source: a kind is listed from one draw in a thousand on
    assert total == pytest.approx(1.0, abs=2 * limits.MENTIONED_SHARE)


def test_more_drift_lowers_the_confidence():
    """The same voltages, declared to move more and more between takes."""
    plans = (OPEN, LOAD_HOT, LOAD_COLD)
    shares = []
    for db in (0.002, 0.02, 0.1, 0.3):
        found = analysed(coupled(0.06), plans, errors=QUIET, repeatability_db=db, draws=1000)
        share = {found.kind: found.verdict.confidence}
        share |= {p.kind: p.confidence or 0.0 for p in found.verdict.also_possible}
        shares.append(share.get("differential", 0.0))
    assert shares[0] > 0.99
    assert shares[0] >= shares[1] >= shares[2] >= shares[3]
    assert shares[3] < 0.9


def test_fewer_takes_widen_the_intervals():
    few = analysed(separate(), (OPEN, LOAD_HOT), errors=QUIET, draws=1000).facts
    many = analysed(
        separate(), (OPEN, LOAD_HOT, SECOND, replace(OPEN, name="third")), errors=QUIET,
        repeatability_db=0.02, draws=1000,
    ).facts  # fmt: skip
    assert few["hot_impedance"]["u95"] > many["hot_impedance"]["u95"]


def test_the_interval_is_the_closed_form_of_one_loaded_take():
    """Z = RL (Vo/VL - 1): two levels with 0.02 dB each, one resistor with 0.05 %."""
    found = analysed(separate(), (OPEN, LOAD_HOT), errors=QUIET, draws=3000, repeatability_db=0.02)
    # source: closed form, dZ = (RL + Z) sqrt(2) d (+) Z dRL, d = 0.02 dB: 2.29 ohm, R 0.05 ohm
    d = np.log(10) / 20 * 0.02
    u = np.hypot((604 + 100) * np.sqrt(2) * d, 100 * 0.0005)
    assert found.facts["hot_impedance"]["u95"] == pytest.approx(1.96 * u, rel=0.06)


def test_the_interval_is_the_closed_form_of_one_injection():
    """Z = R V/(U - V): the recorder's gain over the injected volts, and the resistor between."""
    plans = (OPEN, INJECT_COLD)
    known = {"errors": QUIET, "repeatability_db": 0.02, "draws": 3000}
    entry = analysed(separate(), plans, **known).facts["cold_impedance"]
    # source: closed form for Z << R: gain 0.25 %, volts 0.25 %, resistor 0.05 %, level 0.02 dB, in
    # squares (the unknown angle counts in second order only)
    u = 100.0 * np.sqrt(0.0025**2 + 0.0025**2 + 0.0005**2 + 0.0023**2)
    assert entry["u95"] == pytest.approx(1.96 * u, rel=0.08)


def test_one_resistor_on_both_legs_cancels_in_the_mismatch():
    plans = (OPEN, LOAD_HOT, LOAD_COLD, SECOND)
    one = load(HOT, G, 604.0, "R1", 0.05), load(COLD, G, 604.0, "R1", 0.05)
    two = load(HOT, G, 604.0, "R1", 0.05), load(COLD, G, 604.0, "R2", 0.05)
    u95 = []
    for a, b in (one, two):
        plans = (OPEN, Plan("a", loads=(a,)), Plan("b", loads=(b,)), SECOND)
        stage = separate(2.0, -2.0, 100.0, 120.0)
        facts = analysed(stage, plans, errors=QUIET, repeatability_db=0.0005, draws=1000).facts
        u95.append(facts["impedance_mismatch"]["u95"])
        # the impedances themselves know their resistor to 5 % only
        assert facts["hot_impedance"]["u95"] == pytest.approx(0.05 * 0.98 * 100.0, rel=0.1)
    # source: closed form: one part, 20 ohm * 5 %; two parts, 100 and 120 ohm * 5 % in squares
    assert u95[0] == pytest.approx(0.98 * 20.0 * 0.05, rel=0.15)
    assert u95[1] == pytest.approx(0.98 * np.hypot(100.0, 120.0) * 0.05, rel=0.1)


# contradicting takes -------------------------------------------------------------------------

FORGOTTEN = {
    "load hot": replace(LOAD_HOT, plugged=()),
    "load cold": replace(LOAD_COLD, plugged=()),
    "load across": replace(ACROSS, plugged=()),
}


@pytest.mark.parametrize(
    ("forgotten", "situation"),
    [
        ("load hot", "reference"),
        pytest.param("load across", "reference", marks=pytest.mark.long),
        pytest.param("load cold", "timebase", marks=pytest.mark.long),
        ("load hot", "none"),
    ],
)
@pytest.mark.long
def test_a_resistor_that_was_not_plugged_is_found(forgotten, situation):
    wrong = FORGOTTEN[forgotten]
    plans = tuple(wrong if p.name == wrong.name else p for p in (*LOADS, WITH_SE, INJECT_COLD))
    stage = separate(2.0, -2.0, 100.0, 110.0)
    found = analysed(stage, plans, errors=drawn_errors(3, plans), situation=situation)
    assert ("contradicting-take", wrong.name) in found.codes
    # what is still stated is true (99.9 % of a normal error lies within 1.68 half-widths)
    assert [str(j) for j in judged(found.facts, stage) if j.off > 1.68] == []
    assert found.kind in ("differential", "undetermined")


@pytest.mark.long
def test_a_level_that_moved_is_found():
    """Somebody touched the volume: one take of many is half a decibel up.

    The loads say so of each other, the injections which of them it is.
    """
    plans = tuple(replace(p, drive=1.06) if p is LOAD_COLD else p for p in FULL)
    found = analysed(separate(), plans, errors=drawn_errors(4, plans))
    assert found.codes == [("contradicting-take", "load cold")]
    assert found.kind == "differential"
    assert [str(j) for j in judged(found.facts, separate()) if j.off > 1.68] == []


def test_takes_that_are_suspect_alike_are_all_named():
    """With few takes the removal of any of three mends the rest: no kind until one is repeated."""
    plans = (OPEN, LOAD_HOT, replace(LOAD_COLD, drive=1.06), ACROSS, WITH_SE, SECOND)
    found = analysed(separate(), plans, errors=drawn_errors(4, plans))
    assert ("contradicting-take", "load cold") in found.codes
    assert found.kind == "undetermined"
    assert [str(j) for j in judged(found.facts, separate()) if j.off > 1.68] == []


def test_a_contradiction_that_cannot_be_located_widens_what_is_said():
    """Two takes disagree and nothing tells which is wrong."""
    plans = (OPEN, LOAD_HOT, replace(SECOND, drive=1.06))
    found = analysed(separate(), plans, errors=drawn_errors(4, plans))
    assert found.codes
    # source: closed form: 6 % between two levels, half of it either way, of 4 V
    assert found.facts["differential_level"]["u95"] > 0.5 * 0.06 / 2 * 4.0


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.long
def test_clean_takes_raise_no_remark(seed):
    names = ("separate", "floating-4k-leaning", "transformer", "ground-sensing", "tied", "sharing")
    found = analysed(STAGES[names[seed]], FULL, errors=drawn_errors(seed, FULL), draws=200)
    assert found.codes == []


# settings that differ between takes ----------------------------------------------------------


def test_takes_of_another_drive_are_scaled():
    plans = (
        replace(OPEN, drive_volts=0.25),
        replace(LOAD_HOT, drive=0.5, drive_volts=0.125),
        replace(LOAD_COLD, drive=2.0, drive_volts=0.5),
        replace(SECOND, drive_volts=0.25),
    )
    found = analysed(separate(2.0, -2.0, 100.0, 150.0), plans, errors=QUIET)
    # source: the stage's own numbers, at the drive of the first take
    assert found.codes == []
    assert found.facts["hot_level"]["value"] == pytest.approx(2.0, rel=1e-5)
    assert found.facts["hot_impedance"]["value"] == pytest.approx(100.0, abs=0.02)
    assert found.facts["cold_impedance"]["value"] == pytest.approx(150.0, abs=0.02)


def test_volumes_are_not_mixed():
    plans = (
        replace(OPEN, volume="12 o'clock"),
        replace(LOAD_HOT, volume="12 o'clock"),
        replace(LOAD_COLD, volume="full", drive=4.0),
        replace(SECOND, volume="12 o'clock"),
    )
    found = analysed(separate(), plans, errors=QUIET)
    assert found.identified.volume == "12 o'clock"
    left_out = {u.name: u.why_not for u in found.identified.uses if not u.used}
    assert set(left_out) == {"load cold"}
    assert "volume" in left_out["load cold"]
    assert "load cold.wav" not in found.facts["hot_impedance"]["takes"]
    assert found.facts["hot_impedance"]["value"] == pytest.approx(100.0, abs=0.02)
    assert "cold_impedance" not in found.facts


@pytest.mark.parametrize(
    ("spoilt", "reason"),
    [
        ({"usable": False, "drive": 3.0}, "not usable"),
        ({"driven_input_leg": "hot", "drive": 0.5}, "one leg"),
        ({"channels": ("difference",)}, "difference"),
    ],
)
def test_takes_that_may_not_be_used_are_not_used(spoilt, reason):
    plans = (OPEN, LOAD_HOT, replace(LOAD_COLD, **spoilt), SECOND)
    found = analysed(separate(), plans, errors=QUIET)
    without = analysed(separate(), (OPEN, LOAD_HOT, SECOND), errors=QUIET)
    left_out = {u.name: u.why_not for u in found.identified.uses if not u.used}
    assert set(left_out) == {"load cold"}
    assert reason in left_out["load cold"]
    assert set(found.facts) == set(without.facts)
    assert found.facts["hot_impedance"]["value"] == pytest.approx(100.0, abs=0.02)


def test_no_usable_take_at_all():
    found = analysed(separate(), (replace(OPEN, usable=False),), errors=QUIET)
    assert found.kind == "undetermined"
    assert found.facts == {}


def test_a_take_with_its_own_full_scale_has_a_gain_error_of_its_own():
    """Another gain setting is another calibration: its error does not cancel between takes."""
    plans = (OPEN, replace(LOAD_HOT, full_scale=(4.0, 8.7)))
    precise = {"errors": QUIET, "repeatability_db": 0.0005, "draws": 1000}
    same = analysed(separate(), (OPEN, LOAD_HOT), **precise).facts["hot_impedance"]
    other = analysed(separate(), plans, **precise).facts["hot_impedance"]
    # source: closed form: one channel throughout cancels its gain in an impedance found by loads;
    # two independent gains of 0.25 % leave (RL + Z) sqrt(2) 0.0025
    assert same["u95"] < 0.3
    assert other["u95"] == pytest.approx(1.96 * 704 * np.sqrt(2) * 0.0025, rel=0.1)
    assert other["value"] == pytest.approx(100.0, abs=0.05)


def test_a_gain_error_cancels_in_what_loads_show_and_scales_levels():
    errors = Errors(gain={0: 0.004, 1: 0.004}, noise=1e-6)
    facts = analysed(separate(), (OPEN, LOAD_HOT, LOAD_COLD, SECOND), errors=errors).facts
    # source: closed form: every voltage times 1.004
    assert facts["hot_level"]["value"] == pytest.approx(2.0 * 1.004, rel=1e-5)
    assert facts["hot_impedance"]["value"] == pytest.approx(100.0, abs=0.02)


# states --------------------------------------------------------------------------------------


def off_stage(z_off: float) -> Stage:
    stage = separate(2.0, 0.0)
    return Stage(stage.voc, stage.z, separate(0.0, 0.0, 5000.0, z_off).z)


@pytest.mark.parametrize("z_off", [100.0, 12000.0])
def test_an_injection_while_off_says_nothing_about_playing(z_off):
    off = Plan("off", injections=(injection(COLD),), played=False, state="off")
    off_hot = replace(off, name="off hot", injections=(injection(HOT),))
    found = analysed(off_stage(z_off), (OPEN, LOAD_HOT, off, off_hot), errors=QUIET)
    # source: the stage's own numbers; injected volts are good to 0.25 %
    assert found.facts["cold_impedance_off"]["value"] == pytest.approx(z_off, rel=0.02)
    assert found.facts["hot_impedance_off"]["value"] == pytest.approx(5000.0, rel=0.02)
    assert "cold_impedance" not in found.facts
    assert found.facts["hot_impedance"]["value"] == pytest.approx(100.0, abs=0.05)
    assert found.kind == "undetermined"


def test_states_are_never_crossed_by_muted_takes():
    muted = replace(INJECT_COLD, played=False, state="mute")
    found = analysed(off_stage(100.0), (OPEN, LOAD_HOT, muted), errors=QUIET)
    assert "cold_impedance" not in found.facts
    assert "cold_impedance_off" not in found.facts
    assert found.kind == "undetermined"


def test_a_device_that_only_was_injected_into():
    plans = tuple(replace(p, played=False) for p in (INJECT_COLD, INJECT_HOT))
    found = analysed(separate(zh=100.0, zc=130.0), plans, errors=QUIET)
    assert found.kind == "undetermined"
    assert found.facts["hot_impedance"]["value"] == pytest.approx(100.0, rel=0.005)
    assert found.facts["cold_impedance"]["value"] == pytest.approx(130.0, rel=0.005)
    assert not {"hot_level", "leg_ratio", "differential_level"} & set(found.facts)


# sides and meters ----------------------------------------------------------------------------


def test_metered_direct_voltages():
    meters = (
        MeterReading("left", (HOT, G), 0.004, 0.0),
        MeterReading("left", (G, COLD), 0.25, None),
        MeterReading("left", (SE, G), None, 0.1),
        MeterReading("left", (HOT, COLD), 1.0, None),
        MeterReading("right", (HOT, G), 9.0, None),
    )
    facts = analysed(separate(), (OPEN,), errors=QUIET, meters=meters).facts
    assert facts["hot_direct_voltage"]["value"] == 0.004
    # measured from ground to pin 3, so pin 3 itself is negative
    assert facts["cold_direct_voltage"]["value"] == -0.25
    assert facts["cold_direct_voltage"]["unit"] == "V"
    assert "single_ended_direct_voltage" not in facts


@pytest.mark.parametrize("side", ["left", "right", "mono"])
def test_each_side_by_itself(side):
    assert analysed(separate(), LOADS, errors=QUIET, side=side).kind == "differential"


def test_two_sides_do_not_see_each_other():
    plans = (OPEN, LOAD_HOT, LOAD_COLD, SECOND)
    left, a = record(separate(2.0, -2.0), plans, errors=QUIET, side="left")
    _, b = record(floating(), plans, errors=QUIET, side="right")
    session = replace(left, takes=tuple(p.take for p in (*a, *b)))
    assert from_phasors(session, (*a, *b), side="left").kind == "differential"
    assert from_phasors(session, (*a, *b), side="right").kind == "electronically-floating"
    alone = from_phasors(left, a, side="left").facts
    assert from_phasors(session, (*a, *b), side="left").facts == alone


# the draws -----------------------------------------------------------------------------------


def test_the_same_seed_gives_the_same_facts_and_another_nearly_the_same():
    session, phasors = record(separate(), LOADS, errors=drawn_errors(1, LOADS))
    one = from_phasors(session, phasors, seed=3, draws=500).facts
    assert from_phasors(session, phasors, seed=3, draws=500).facts == one
    other = from_phasors(session, phasors, seed=4, draws=500).facts
    assert other != one
    for name, entry in one.items():
        if "bound" not in entry:
            # the value does not depend on the draws; its interval does, by a few percent
            assert other[name]["value"] == pytest.approx(entry["value"], rel=1e-9)
            assert other[name]["u95"] == pytest.approx(entry["u95"], rel=0.25)


def test_more_draws_change_the_interval_little_and_the_value_not_at_all():
    session, phasors = record(separate(), LOADS, errors=drawn_errors(1, LOADS))
    few = from_phasors(session, phasors, draws=300).facts["hot_impedance"]
    many = from_phasors(session, phasors, draws=3000).facts["hot_impedance"]
    assert many["value"] == pytest.approx(few["value"], rel=1e-9)
    # source: closed form: a 2.5 % quantile of 300 normal draws scatters by 2.4 % of u95
    assert many["u95"] == pytest.approx(few["u95"], rel=0.2)
    found = identify(session, phasors, "left", draws=700)
    assert found.legs.theta.shape[0] == 701


def test_single_ended_level_without_a_load_on_it_is_as_recorded():
    facts = analysed(separate(), (OPEN, WITH_SE), errors=QUIET).facts
    entry = facts["single_ended_level"]
    # source: closed form: 2 V behind 100 ohm into 20 kohm || 150 pF
    y = 1 / INPUT.impedance_ohm + 2j * np.pi * 997.1 * INPUT.capacitance_farad
    assert entry["value"] == pytest.approx(abs(2.0 / (1 + 100.0 * y)), rel=1e-5)
    assert entry["limited_by_bench"] is True
    assert "single_ended_impedance" not in facts
    full = analysed(separate(), (OPEN, WITH_SE, LOAD_SE), errors=QUIET).facts
    assert "limited_by_bench" not in full["single_ended_level"]
    assert full["single_ended_level"]["value"] == pytest.approx(2.0, rel=1e-5)
    assert full["single_ended_impedance"]["value"] == pytest.approx(100.0, abs=0.02)
