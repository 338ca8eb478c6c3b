"""Every kind and every fault is reached; leads and pins exchanged; polarity; what is possible."""

from __future__ import annotations

import numpy as np
import pytest

from probe.session.model import Device
from probe.stage.faults import FAULTS
from probe.stage.kind import KINDS

from .analysed import analysed, with_all_takes
from .forward import (
    ACROSS,
    COLD,
    FULL,
    HOT,
    INJECT_COLD,
    INJECT_HOT,
    LOAD_COLD,
    LOAD_HOT,
    OPEN,
    SE,
    SECOND,
    WITH_SE,
    Errors,
    Plan,
    Stage,
    drawn_errors,
    exchanged,
    floating,
    ground_sensing,
    separate,
    strays,
)
from .stages import KIND, STAGES

QUIET = Errors(noise=1e-6)
UNSTATED = Device("Invented", "Example", "1")

FAULTY: dict[str, tuple[Stage, str, str]] = {
    # source: closed forms of broken stages. Cold held at zero by a network of 20 kohm that feeds
    # half of hot back in phase: its amplifier is dead
    "cold-leg-dead": (separate(2.0, 1.0, 100.0, 20100.0), "faulty", "cold-leg-dead"),
    # Build-out resistor of hot open: hot is strays, cold is driven and inverted against the
    # single-ended output
    "hot-leg-dead": (separate(0.005, -2.0, strays(8e-11), 100.0), "faulty", "hot-leg-dead"),
    "legs-in-phase": (separate(2.0, 2.0), "faulty", "legs-in-phase"),
    "legs-unequal": (separate(2.0, -1.5), "differential", "legs-unequal"),
    "leg-impedances-unequal": (
        separate(2.0, -2.0, 100.0, 150.0),
        "differential",
        "leg-impedances-unequal",
    ),
    "coupling-capacitor-hot": (exchanged(STAGES["dried-cold"]), "differential", ""),
    "coupling-capacitor-cold": (STAGES["dried-cold"], "differential", "coupling-capacitor-cold"),
    "pins-swapped": (exchanged(separate()), "differential", "pins-swapped"),
    # Nothing arrives from the single-ended output, and that says nothing of the legs
    "single-ended-dead": (separate(vs=0.0), "differential", "single-ended-dead"),
}


@pytest.mark.parametrize("name", STAGES)
@pytest.mark.long
def test_every_kind_is_reached_with_all_takes(name):
    found = with_all_takes(name)
    # source: definitions of the kinds by coupling, leg ratio and impedance of the silent leg
    assert found.kind == KIND[name]
    assert found.verdict.confidence >= 0.99
    assert found.next.take is None
    assert found.codes == []


def test_the_kinds_of_the_closed_list_are_all_tried():
    tried = set(KIND.values()) | {"undetermined"}
    assert tried == set(KINDS)


def test_the_faults_of_the_closed_list_are_all_tried():
    assert set(FAULTY) == set(FAULTS)


@pytest.mark.parametrize("fault", FAULTY)
@pytest.mark.long
def test_every_fault_is_reached(fault):
    stage, kind, _ = FAULTY[fault]
    if fault == "coupling-capacitor-hot":
        # the single-ended output follows pin 3 of an exchanged pair: make pin 2 hot again
        stage = Stage(lambda f: FAULTY[fault][0].voc(f) * [-1, -1, 1], stage.z)
    found = analysed(stage, FULL, errors=QUIET)
    assert found.kind == kind
    assert found.faults.found == (fault,)


def test_healthy_stages_have_no_fault():
    healthy = ("separate", "floating-1k", "floating-4k-leaning", "tapped", "ground-sensing")
    healthy += ("silent", "tied", "coupled-capacitors", "transformer")
    assert {name: with_all_takes(name).faults.found for name in healthy} == dict.fromkeys(
        healthy, ()
    )


@pytest.mark.parametrize(
    ("name", "possible"),
    [
        # source: classes that are one at their terminals: a live amplifier stuck at zero, a broken
        # leg against a never-wired one, a stuck amplifier without a resistor
        ("silent", {"cold-leg-dead"}),
        ("open", {"cold-leg-dead"}),
        ("tied", {"cold-leg-dead"}),
        ("separate", set()),
    ],
)
def test_what_the_terminals_cannot_tell_is_named_with_what_can(name, possible):
    found = with_all_takes(name)
    assert {t.fault for t in found.faults.possible} == possible
    assert all(len(t.message) > 30 for t in found.faults.possible)


# exchanged pins ------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["silent", "tied", "floating-4k-leaning"])
def test_a_kind_is_judged_up_to_exchanging_the_pins(name):
    found = analysed(exchanged(STAGES[name]), FULL, errors=QUIET, device=UNSTATED)
    assert found.kind == KIND[name]
    # source: definition: pin 3 goes with the single-ended output
    assert found.polarity.value == "pin-3-hot"
    # nobody said what pin 2 is, so nothing is swapped
    assert "pins-swapped" not in found.faults.found


def test_pins_swapped_needs_the_makers_statement():
    stage = exchanged(separate())
    stated = analysed(stage, FULL, errors=QUIET)
    other = Device("Invented", "Example", "1", stated_polarity="pin-3-hot")
    assert "pins-swapped" in stated.faults.found
    assert "pins-swapped" not in analysed(stage, FULL, errors=QUIET, device=other).faults.found


def test_against_the_drive_alone_it_may_be_the_device_that_inverts():
    found = analysed(exchanged(separate()), (OPEN, LOAD_HOT, SECOND), errors=QUIET)
    assert found.polarity.value == "pin-3-hot"
    assert "drive alone" in found.polarity.against
    assert found.faults.found == ()
    assert [t.fault for t in found.faults.possible] == ["pins-swapped"]


def test_without_single_ended_output_and_drive_there_is_no_polarity():
    found = analysed(separate(), (OPEN, LOAD_HOT, SECOND), errors=QUIET, situation="none")
    assert found.polarity.value == "undetermined"


# exchanged leads -----------------------------------------------------------------------------


@pytest.mark.parametrize("situation", ["reference", "timebase", "none"])
def test_a_take_with_its_leads_exchanged_is_read_by_its_channels(situation):
    """Declared ``["cold", "hot"]``: the recorder's own channels change legs, nothing else does."""
    stage = separate(2.0, -1.9, 100.0, 120.0)
    plans = (OPEN, LOAD_HOT, LOAD_COLD, Plan("exchanged", (COLD, HOT)), WITH_SE)
    found = analysed(stage, plans, errors=QUIET, situation=situation)
    assert found.kind == "differential"
    # source: the stage's own numbers
    assert found.facts["hot_level"]["value"] == pytest.approx(2.0, rel=1e-4)
    assert found.facts["cold_level"]["value"] == pytest.approx(1.9, rel=1e-4)
    assert found.facts["cold_impedance"]["value"] == pytest.approx(120.0, rel=2e-3)
    assert found.polarity.value == "pin-2-hot"


def test_exchanged_leads_halve_the_doubt_of_the_leg_ratio():
    """One leg through both channels: their gain ratio cancels, as it does in any substitution."""
    plans = (OPEN, LOAD_HOT, LOAD_COLD, SECOND)
    crossed = (OPEN, LOAD_HOT, LOAD_COLD, Plan("exchanged", (COLD, HOT)))
    known = {"errors": QUIET, "repeatability_db": 0.001, "draws": 1000}
    # source: closed form: 0.5 % (k = 2) of each channel, both in the ratio
    plain = analysed(separate(), plans, **known).facts["leg_ratio"]["u95"]
    assert plain == pytest.approx(8.686 * 1.96 * 0.0025 * 2**0.5, rel=0.08)
    # source: closed form: of four equal takes one exchanged leaves (3 - 1)/4 of it, any more weight
    # on the exchanged one less
    assert analysed(separate(), crossed, **known).facts["leg_ratio"]["u95"] < 0.55 * plain


# subsets -------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "name", ["separate", "floating-1k", "tapped", "silent", "tied", "open", "ground-sensing"]
)
def test_the_open_take_alone_never_decides(name):
    found = analysed(STAGES[name], (OPEN,), errors=QUIET)
    assert found.kind == "undetermined"
    assert len(found.verdict.also_possible) >= 2
    # what was not measured has no share
    assert all(p.confidence is None for p in found.verdict.also_possible)
    # source: definition of driven_legs: which legs show signal in the open take
    silent = name in ("silent", "tied", "open", "ground-sensing")
    assert found.verdict.driven_legs == ("one-leg" if silent else "both-legs")


def test_a_silent_cold_leg_stays_unknown_under_any_load_to_pin_1():
    """A leg that carries no signal draws no current through a load: no figure may come of it."""
    found = analysed(STAGES["silent"], (OPEN, LOAD_HOT, LOAD_COLD, SECOND), errors=QUIET)
    assert found.kind == "undetermined"
    absent = {"cold_impedance", "coupling_cold_into_hot", "common_mode_impedance"}
    absent |= {"differential_impedance", "impedance_mismatch", "hot_level_pin_3_tied"}
    assert not absent & set(found.facts)


def test_no_take_hears_both_legs():
    found = analysed(separate(), (Plan("hot", (HOT, SE)),), errors=QUIET)
    assert found.kind == "undetermined"
    assert found.next.take == "second-open"
    assert "leg_ratio" not in found.facts


def test_floating_legs_far_apart_are_no_fault():
    """In a healthy floating stage the legs may sit many dB apart: coupling before leg ratio."""
    # source: closed form: hot = vd (1/2 + lean), cold = vd (lean - 1/2): 13.98 dB apart
    found = analysed(floating(lean=1.0 / 3.0), FULL, errors=QUIET)
    assert found.facts["leg_ratio"]["value"] == pytest.approx(-13.98, abs=0.01)
    assert found.kind == "electronically-floating"
    assert found.faults.found == ()


def test_coupling_decides_whatever_an_unbuffered_sense_pin_shows():
    """A ground-sensing pin 3 shows some signal through the recorder's own load, in phase."""
    stage = ground_sensing()
    sense = np.array([0.0, 0.01, 0.0])
    leaking = Stage(lambda f: stage.voc(f) + sense, stage.z)
    assert analysed(leaking, FULL, errors=QUIET).kind == "ground-sensing"


@pytest.mark.parametrize("zc", [47e3, 220e3, 1e6])
@pytest.mark.parametrize("across", [False, True])
@pytest.mark.long
def test_a_sense_pin_of_many_kilohms_is_no_open_pin(zc, across):
    """Called unconnected, pin 3 would be left open, and hum picked up there comes out of pin 2."""
    plans = tuple(p for p in FULL if across or p is not ACROSS)
    # source: closed form: strays of an open pin leave a share of |Z_hh| w C on the other, 1e-3
    assert analysed(ground_sensing(zc=zc), plans, errors=QUIET).kind == "ground-sensing"


@pytest.mark.parametrize("zc", [47e3, 220e3, 1e6])
@pytest.mark.parametrize("situation", ["reference", "none"])
@pytest.mark.long
def test_a_pin_the_driven_leg_follows_is_not_unconnected_where_that_leg_was_not_loaded(
    zc, situation
):
    """The hot leg's impedance unknown, its following was heard: neither kind can be stated."""
    few = analysed(
        ground_sensing(zc=zc), (OPEN, INJECT_COLD, SECOND), errors=QUIET, situation=situation
    )
    # source: closed form: 10 kohm at hot and strays of 100 pF to it carry 0.006 at 1 kHz, not 1
    assert few.kind == "undetermined"
    assert {"ground-sensing", "pin-3-unconnected"} <= few.possible
    assert few.next.take in ("inject-hot", "load-hot")
    more = analysed(
        ground_sensing(zc=zc),
        (OPEN, INJECT_COLD, INJECT_HOT, SECOND),
        errors=QUIET,
        situation=situation,
    )
    assert more.kind == "ground-sensing"


def test_a_leg_that_moves_the_other_by_half_is_not_unconnected():
    def z(f):
        out = ground_sensing(zc=1e6).z(f)
        out[:, 0, 1] *= 0.5
        return out

    # source: closed form, as above: no stray moves a leg of 100 ohm by half
    found = analysed(Stage(ground_sensing().voc, z), FULL, errors=QUIET)
    assert found.kind == "undetermined"


def _flat(volts: np.ndarray, z: np.ndarray) -> Stage:
    return Stage(
        lambda f: np.tile(volts.astype(np.complex128), (len(f), 1)),
        lambda f: np.tile(z.astype(np.complex128), (len(f), 1, 1)),
    )


def _bridged(build_out: float, bridge: float) -> Stage:
    """Two separate legs of +-1 V with a resistor from pin 2 to pin 3, beside a 2 V output."""
    own, between = 1.0 / build_out, 1.0 / bridge
    y = np.array([[own + between, -between, 0.0], [-between, own + between, 0.0], [0.0, 0.0, 0.01]])
    z = np.linalg.inv(y)
    volts = z @ np.array([own, -own, 0.02])
    return _flat(volts, z)


@pytest.mark.parametrize(("build_out", "bridge"), [(100.0, 5.0), (50.0, 0.5), (600.0, 5.0)])
@pytest.mark.long
def test_joined_legs_are_no_floating_pair(build_out, bridge):
    found = analysed(_bridged(build_out, bridge), FULL, errors=QUIET)
    # closed form: coupling R/(R + r) is above 0.95 as in a floating pair, but R/2 lies to pin 1
    assert found.kind == "faulty"
    assert any("joined to each other" in reason for reason in found.verdict.reasons)


def test_a_faint_floating_pair_may_be_joined_legs():
    # closed form: 600 ohm legs joined by 100 ohm couple by 6/7 and have 323 ohm to pin 1, as a
    # loose floating design; only the level, a thirteenth of the other output's, tells
    found = analysed(_bridged(600.0, 100.0), FULL, errors=QUIET)
    assert found.kind == "undetermined"
    assert {p.kind for p in found.verdict.also_possible} == {
        "differential",
        "electronically-floating",
        "faulty",
    }


def test_legs_behind_a_pad_are_not_stated_to_float():
    # closed form: 600 ohm legs bridged by 130 ohm couple by 600/730 and have 300 ohm to pin 1; the
    # single-ended output stands behind a like pad, so that no level tells
    z = np.zeros((3, 3), dtype=complex)
    z[:2, :2] = np.linalg.inv(
        np.array([[1 / 600 + 1 / 130, -1 / 130], [-1 / 130, 1 / 600 + 1 / 130]])
    )
    z[2, 2] = 90.0
    volts = np.array([0.2, -0.2, 0.2])
    found = analysed(_flat(volts, z), FULL, errors=QUIET)
    assert found.kind == "undetermined"
    assert {"differential", "electronically-floating"} <= found.possible
    assert any("attenuator" in reason for reason in found.verdict.reasons)
    assert found.next.take is None


def _joined_winding(between, level, plans):
    """A winding of 600 pF to pin 1 with so many ohm and so much of 4 V between its legs."""
    zcm = STAGES["transformer"].z(np.array([1e3]))[0, 0, 1]
    assert abs(zcm) > 2e5
    stage = floating(vd=4.0 * level, zd=between, zcm=lambda f: zcm * 1e3 / f)
    return analysed(stage, plans, errors=QUIET)


@pytest.mark.parametrize("plans", [FULL, tuple(p for p in FULL if SE not in p.channels)])
def test_joined_legs_behind_a_winding_are_no_winding_found_good(plans):
    # closed form: 5 ohm across a winding of 90 ohm leave 5/95 of its level and 4.7 ohm
    found = _joined_winding(90.0 * 5.0 / 95.0, 5.0 / 95.0, plans)
    assert found.kind == "undetermined"
    assert {p.kind for p in found.verdict.also_possible} == {"transformer-coupled", "faulty"}
    assert any("joined to each other" in reason for reason in found.verdict.reasons)


def test_a_winding_that_steps_down_is_named_and_so_is_a_thick_one():
    # source: the definitions: 1/20 of the level from 150 ohm, or all of it from 8 ohm, is a winding
    assert _joined_winding(150.0, 0.05, FULL).kind == "transformer-coupled"
    assert _joined_winding(8.0, 1.0, FULL).kind == "transformer-coupled"


def test_a_leg_held_near_pin_1_hides_a_winding():
    """A winding whose cold end has 1 kohm to pin 1 carries its signal on hot alone."""
    z = np.array([[1090.0, 1000.0, 0.0], [1000.0, 1000.0, 0.0], [0.0, 0.0, 100.0]])
    found = analysed(_flat(np.array([2.0, 0.0, 2.0]), z), FULL, errors=QUIET)
    # source: the definitions: both kinds float, and only the angle of the common mode tells them
    assert found.kind == "undetermined"
    assert {p.kind for p in found.verdict.also_possible} == {
        "electronically-floating",
        "transformer-coupled",
    }
    assert found.next.take is None


def _between(ohm: float, way: float) -> tuple[float, float]:
    """Own impedance and what the other leg sees of it: ``ohm`` each, ``way`` from pin to pin."""
    return ohm * (ohm + way) / (2 * ohm + way), ohm * ohm / (2 * ohm + way)


def padded(single: float) -> Stage:
    """Legs of 1 kohm each behind an attenuator of 60 ohm from pin to pin: coupling 0.94."""
    own, other = _between(1000.0, 60.0)
    plain = separate(0.25, -0.25, own, own, vs=single)

    def z(f):
        out = plain.z(f)
        out[:, 0, 1] = out[:, 1, 0] = other
        return out

    return Stage(plain.voc, z)


WITHOUT_SINGLE = tuple(p for p in FULL if "single-ended" not in p.channels)


@pytest.mark.parametrize(
    ("single", "plans"), [(1.0, FULL), (0.25, WITHOUT_SINGLE)], ids=["behind another", "not heard"]
)
def test_a_firm_attenuator_is_named_beside_electronics(single, plans):
    """Lost: "electronically floating, above 99.9 %" of separate legs, and nothing else possible."""
    found = analysed(padded(single), plans, errors=Errors(noise=1e-6))
    # source: the stage itself, two ends of which its terminals show one
    assert found.kind in ("electronically-floating", "differential")
    assert {"electronically-floating", "differential"} <= found.possible
    assert [p.confidence for p in found.verdict.also_possible if p.kind == "differential"] == [None]
    assert any("attenuator" in reason for reason in found.verdict.reasons)


@pytest.mark.parametrize("seed", range(3))
@pytest.mark.long
def test_nothing_is_named_beside_electronics_where_the_takes_exclude_it(seed):
    """Lost: a stage that floats is never sure again, whatever is measured."""
    errors = drawn_errors(seed, FULL, level_db=0.005)
    stage = floating(zcm=1e3, zd=51.0)
    found = analysed(stage, FULL, errors=errors, seed=seed, repeatability_db=0.005)
    # source: the stage, no capacitance to pin 1 and twice the single-ended level
    assert found.kind == "electronically-floating"
    assert found.verdict.also_possible == ()
    assert not any("alike" in reason for reason in found.verdict.reasons)


def test_a_winding_with_resistors_is_named_where_its_capacitance_shows():
    """Lost: "no winding's capacitance; a winding is alike", and no winding among the possible."""

    def way(f):
        # 3 kohm from each end, 500 pF: closed form, -5 degrees at 20 kHz
        return 1.0 / (1.0 / 1500.0 + 2j * np.pi * f * 5e-10)

    found = analysed(floating(zcm=way, zd=90.0), FULL, errors=Errors(noise=1e-6))
    assert found.kind == "electronically-floating"
    alike = [p for p in found.verdict.also_possible if p.confidence is None]
    assert [p.kind for p in alike] == ["transformer-coupled"]
    assert any("a winding with 3" in reason for reason in found.verdict.reasons)
