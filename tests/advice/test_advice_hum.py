"""Hum, noise and headroom against published examples, closed forms and what must always hold."""

from __future__ import annotations

import dataclasses
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from probe.advice.destination import Cable, Input
from probe.advice.ground import GroundPath, from_readings, of_preset
from probe.advice.hum import Hum, hum_of
from probe.advice.maximum import Limits, Most
from probe.advice.noise import DeviceNoise, noise_of
from probe.advice.operating import BY_ID
from probe.advice.sampled import sample
from probe.advice.solve import Link, Network, Response, respond, solve_option
from probe.advice.wiring import OPTIONS
from probe.facts.source import Source
from tests.advice.stages import cross_coupled, legs, source, symmetrical, transformer

RCA = Input("rca", "rca", "single-ended", 47e3, sensitivity_volts=1.0)
XLR = Input("xlr", "xlr", "balanced", 10e3, circuit="buffered", impedance_is="each-leg",
            rejection_db=300.0, sensitivity_volts=1.0)  # fmt: skip


def hum(
    option: str, socket: Input, cable: Cable, stage: Source, mismatch: float = 0.0
) -> tuple[Hum, Response]:
    response = solve_option(BY_ID[option], socket, socket.circuit, mismatch, cable, sample(stage))
    found = hum_of(response, socket, 50.0)
    assert found is not None
    return found, response


def behind(socket: Input, volts: float, ohm: float) -> Input:
    return dataclasses.replace(socket, ground=GroundPath(volts, ohm))


# Whitlock, Handbook for Sound Engineers ch. 32 (from memory), arithmetic in the ratio itself: 25 ft
# with a foil shield of 1.0 ohm and 316 uA between the chassis is -60 dB against -10 dBV; a
# braid of 2.6 mohm/ft (the same handbook, p. 1217) is 65 mohm and 24 dB better
@pytest.mark.parametrize(("shield", "below"), [(1.0, 60.006), (0.065, 83.748)])
def test_published_hum_of_an_unbalanced_lead(shield: float, below: float) -> None:
    socket = behind(dataclasses.replace(RCA, sensitivity_volts=0.316228), 316.0, 1e6)
    stage = source(single=1.0, z_single=0.01)
    found, _ = hum("rca-to-rca", socket, Cable(7.62, 0.0, shield, 0.0), stage)
    assert found.below is not None
    assert found.below.value == pytest.approx(below, abs=0.01)
    assert found.ground_current is not None
    assert found.ground_current.value == pytest.approx(316e-6, rel=1e-4)


# Bridge equation Zc/(Zc + Rs1) - Zc/(Zc + Rs2), Rs1 = 100 ohm, exact: columns of the published
# arithmetic of rejection against source imbalance
@pytest.mark.parametrize(
    ("imbalance", "each_leg", "rejection"),
    [(5.0, 18e3, 71.22), (10.0, 5e3, 54.34), (10.0, 10e3, 60.18), (10.0, 50e3, 74.02),
     (100.0, 10e3, 40.26), (600.0, 10e3, 25.11)],
)  # fmt: skip
def test_source_imbalance_turns_ground_voltage_into_hum(
    imbalance: float, each_leg: float, rejection: float
) -> None:
    stage = legs(hot=1.0, cold=-1.0, z=((100.0, 0.0), (0.0, 100.0 + imbalance)))
    socket = behind(dataclasses.replace(XLR, impedance_ohm=each_leg), 2.0, 1.0)
    # half of 2 V stands on a shield of 1 ohm behind 1 ohm
    found, _ = hum("xlr-to-xlr", socket, Cable(0.0, 0.0, 1.0, 0.0), stage)
    assert found.mains is not None
    assert -20.0 * np.log10(found.mains.value) == pytest.approx(rejection, abs=0.02)


def test_the_inputs_own_rejection_adds_to_what_the_impedances_let_through() -> None:
    socket = behind(dataclasses.replace(XLR, rejection_db=60.0), 2.0, 1.0)
    found, _ = hum("xlr-to-xlr", socket, Cable(0.0, 0.0, 1.0, 0.0), symmetrical())
    assert found.mains is not None
    # equal legs: 1 V on both pins less 0.5 % of the divider, 60 dB down
    assert found.mains.value == pytest.approx(1e-3 * 10e3 / 10.05e3, rel=1e-3)


def test_a_capacitive_source_gives_buzz() -> None:
    socket = dataclasses.replace(RCA, ground=GroundPath(115.0, farad=1e-9))
    found, _ = hum("rca-to-rca", socket, Cable(8.0, 0.0, 0.24, 0.02), symmetrical())
    # 115 V at 50 Hz through 1 nF is 36.1 uA, on 0.26 ohm 9.39 uV; the 25th, 1.5 % of the voltage,
    # is let through 25 times as well
    assert found.mains is not None
    assert found.mains.value == pytest.approx(36.13e-6 * 0.26, rel=2e-3)
    last = found.lines[-1]
    assert last.at_hz == 1250.0
    assert last.value == pytest.approx(0.015 * 25 * 36.13e-6 * 0.26, rel=5e-3)


# Closed form: |Z + R| = U/I
@pytest.mark.parametrize(
    ("volts", "ampere", "through", "expected"),
    [(0.020, 0.1e-3, 100.0, GroundPath(ohm=100.0)), (0.1, 1e-3, 99.0, GroundPath(ohm=1.0)),
     (115.0, 36.13e-6, 100.0, GroundPath(farad=1e-9)), (0.1, 1e-3, 100.0, GroundPath(ohm=0.05)),
     # 20 mV, of which 16 mV stand across 1 ohm: 4 mV at 16 mA, 0.25 ohm
     (0.020, 16e-3, 1.0, GroundPath(ohm=0.25))],
)  # fmt: skip
def test_two_readings_give_the_source(
    volts: float, ampere: float, through: float, expected: GroundPath
) -> None:
    found = from_readings(volts, ampere, through, 50.0)
    assert found.difference_volts == volts
    assert found.ohm == (None if expected.ohm is None else pytest.approx(expected.ohm, rel=1e-6))
    assert found.farad == (
        None if expected.farad is None else pytest.approx(expected.farad, rel=1e-3)
    )


def test_readings_that_cannot_be_are_refused() -> None:
    with pytest.raises(ValueError, match="at most"):
        from_readings(0.02, 1e-3, 100.0, 50.0)


# --- what must always hold

OHMS = st.floats(0.5, 2000.0)
SHIELDS = st.floats(0.01, 10.0)
# a transformer's primary keeps the shield of its lead away from the destination
WITH_A_SHIELD = [o.id for o in OPTIONS if o.pin_3 != "transformer"]


@settings(max_examples=40)
@given(option=st.sampled_from(WITH_A_SHIELD), hot=OHMS, cold=OHMS, shield=SHIELDS,
       more=st.floats(1.01, 20.0), nano=st.booleans())  # fmt: skip
def test_more_shield_resistance_never_lowers_hum(
    option: str, hot: float, cold: float, shield: float, more: float, nano: bool
) -> None:
    stage = legs(hot=1.0, cold=-1.0, z=((hot, 0.0), (0.0, cold)), single=1.0, z_single=hot)
    ground = GroundPath(100.0, farad=2e-9) if nano else GroundPath(0.02, 1.0)
    base = RCA if option.endswith("rca") or "-to-rca/" in option else XLR
    socket = dataclasses.replace(base, ground=ground)
    values = []
    for ohm in (shield, shield * more):
        found, _ = hum(option, socket, Cable(1.0, 100e-12, ohm, 0.0), stage, 0.01)
        assert found.mains is not None
        values.append(found.mains.value)
    assert values[1] >= values[0] * (1.0 - 1e-9)


@settings(max_examples=40)
@given(hot=OHMS, cold=OHMS, mismatch=st.floats(0.001, 0.2), share=st.floats(0.0, 1.0),
       circuit=st.sampled_from(["difference-amplifier", "buffered", "transformer"]))  # fmt: skip
@pytest.mark.long
def test_a_better_matched_receiver_never_hums_more(
    hot: float, cold: float, mismatch: float, share: float, circuit: Any
) -> None:
    stage = legs(hot=1.0, cold=-1.0, z=((hot, 0.0), (0.0, cold)))
    socket = behind(dataclasses.replace(XLR, circuit=circuit), 0.1, 1.0)

    def worse_sign(amount: float) -> float:
        found = [hum("xlr-to-xlr", socket, Cable(), stage, s * amount)[0] for s in (1.0, -1.0)]
        return max(f.mains.value for f in found if f.mains is not None)

    assert worse_sign(share * mismatch) <= worse_sign(mismatch) * (1.0 + 1e-9)


@settings(max_examples=30)
@given(hot=OHMS, cold=st.floats(0.5, 1e6), load=st.floats(1e3, 1e6))
def test_tied_and_open_agree_for_a_silent_uncoupled_pin_3(
    hot: float, cold: float, load: float
) -> None:
    stage = legs(hot=2.0, cold=0.0, z=((hot, 0.0), (0.0, cold)))
    socket = behind(dataclasses.replace(RCA, impedance_ohm=load), 0.1, 1.0)
    (opened, one), (tied, two) = (
        hum(f"xlr-to-rca/pin-3-{how}", socket, Cable(), stage) for how in ("open", "tied-at-source")
    )
    assert abs(one.level[0, one.at]) == pytest.approx(abs(two.level[0, two.at]), rel=1e-9)
    assert opened.mains is not None
    assert tied.mains is not None
    assert opened.mains.value == pytest.approx(tied.mains.value, rel=1e-9)


def test_names_of_options_are_stable() -> None:
    # the list that other people's files rely on
    assert [o.id for o in OPTIONS] == [
        "rca-to-rca", "xlr-to-xlr", "xlr-to-xlr/transformer",
        "xlr-to-rca/pin-3-open", "xlr-to-rca/pin-3-tied-at-source",
        "xlr-to-rca/pin-3-tied-at-destination", "xlr-to-rca/transformer",
        "rca-to-xlr/pin-3-tied-at-source", "rca-to-xlr/pin-3-tied-at-destination",
        "rca-to-xlr/pin-3-open", "rca-to-xlr/transformer", "rca-to-rca/transformer",
    ]  # fmt: skip


# --- two leads on one device


def test_a_second_input_loads_the_same_output() -> None:
    stage = sample(source(single=1.0, z_single=1000.0))
    first, second = (
        Link(BY_ID["rca-to-rca"], Input(n, "rca", "single-ended", 10e3), "unknown", 0.0,
             Cable(0.001, 0.0, 1e-4, 0.0))
        for n in ("amplifier", "subwoofer")
    )  # fmt: skip
    found = solve_option(first.option, first.socket, "unknown", 0.0, first.cable, stage, (second,))
    # 1 kohm into two inputs of 10 kohm: 5/6 V
    assert abs(found.level[0, found.at]) == pytest.approx(5.0 / 6.0, rel=1e-4)


def test_a_tie_for_one_box_takes_half_from_the_other() -> None:
    stage = sample(symmetrical())
    tied = Link(BY_ID["xlr-to-rca/pin-3-tied-at-source"], RCA, "unknown", 0.0, Cable())
    alone, beside = (
        solve_option(BY_ID["xlr-to-xlr"], XLR, "buffered", 0.0, Cable(), stage, company)
        for company in ((), (tied,))
    )
    fall = abs(beside.level[0, beside.at]) / abs(alone.level[0, alone.at])
    # the cold leg is shorted: what is left is pin 2 alone, half the difference
    assert 20.0 * np.log10(fall) == pytest.approx(-6.02, abs=0.05)


def test_ground_current_of_one_lead_hums_in_the_other() -> None:
    stage = sample(source(single=1.0, z_single=1000.0))
    other = behind(Input("subwoofer", "rca", "single-ended", 10e3), 2.0, 1.0)
    shield = Cable(0.001, 0.0, 1.0, 0.0)
    company = (Link(BY_ID["rca-to-rca"], other, "unknown", 0.0, shield),)
    own = behind(RCA, 0.0, 1.0)
    found = solve_option(BY_ID["rca-to-rca"], own, "unknown", 0.0, shield, stage, company)
    ((heard, _),) = found.hum_from_company
    # 1 V of the 2 V on the other shield, through its 10 kohm into 1 kohm beside 47 kohm
    parallel = 1.0 / (1.0 / 1000.0 + 1.0 / 47e3)
    assert 2.0 * abs(heard[0, found.at]) == pytest.approx(parallel / (10e3 + parallel), rel=1e-3)


def test_what_was_solved_for_one_lead_answers_for_the_other() -> None:
    stage = sample(source(single=1.0, z_single=1000.0))
    links = [
        Link(BY_ID["rca-to-rca"], behind(Input(name, "rca", "single-ended", ohm), 2.0, 1.0),
             "unknown", 0.0, Cable(0.001, 0.0, 1.0, 0.0))
        for name, ohm in (("amplifier", 47e3), ("subwoofer", 10e3))
    ]  # fmt: skip
    network = Network.of(stage, links)
    for own, other in (links, links[::-1]):
        # the same currents flow, whichever lead is asked about
        assert Network.of(stage, [own, other]) is network
        kept = respond(stage, [own, other])
        alone = solve_option(own.option, own.socket, "unknown", 0.0, own.cable, stage, (other,))
        # the same circuit, solved by itself
        for name in ("level", "hum", "ground_current"):
            assert getattr(kept, name) == pytest.approx(getattr(alone, name), rel=1e-12)
        assert kept.hum_from_company[0][0] == pytest.approx(alone.hum_from_company[0][0], rel=1e-12)


# --- noise of the legs used, and clipping

APART = {"hot_noise_a": 2.8e-6, "cold_noise_a": 2.8e-6, "differential_noise_a": 4e-6,
         "single_ended_noise_a": 3e-6}  # fmt: skip


def noise(option: str, socket: Input, stage: Source, facts: dict[str, float]) -> float | None:
    response = solve_option(BY_ID[option], socket, socket.circuit, 0.0, Cable(), sample(stage))
    found = noise_of(
        response, socket, DeviceNoise.of({k: {"value": v, "u95": 0.0} for k, v in facts.items()})
    )
    return None if found is None else found.volts.value


@pytest.mark.parametrize(
    # each option hears the noise of what it uses: the pair, pin 2, or (floating and tied) the pair
    ("option", "socket", "stage", "expected"),
    [("xlr-to-xlr", XLR, symmetrical(), 4e-6),
     ("xlr-to-rca/pin-3-open", RCA, symmetrical(), 2.8e-6),
     ("rca-to-rca", RCA, symmetrical(), 3e-6),
     ("xlr-to-rca/pin-3-tied-at-source", RCA, transformer(), 4e-6)],
)  # fmt: skip
def test_noise_is_that_of_the_legs_used(
    option: str, socket: Input, stage: Source, expected: float
) -> None:
    assert noise(option, socket, stage, APART) == pytest.approx(expected, rel=0.02)


def test_noise_common_to_both_legs_cancels_between_them() -> None:
    together = APART | {"differential_noise_a": 0.1e-6}
    assert noise("xlr-to-xlr", XLR, symmetrical(), together) == pytest.approx(0.1e-6, rel=0.05)


def test_a_leg_whose_noise_was_not_measured_leaves_it_unknown() -> None:
    only = {"differential_noise_a": 4e-6}
    assert noise("xlr-to-rca/pin-3-open", RCA, symmetrical(), only) is None
    assert noise("xlr-to-xlr", XLR, symmetrical(), only) == pytest.approx(4e-6, rel=0.02)


@pytest.mark.parametrize(
    # a cross-coupled pair of 8 V has 4 V on each leg; tied, the other leg's 4 V are all there is.
    # A winding keeps its 8 V. One leg of a driven pair gives half.
    ("kind", "stage", "option", "expected"),
    [("electronically-floating", cross_coupled(), "xlr-to-rca/pin-3-tied-at-source", 4.0),
     ("transformer-coupled", transformer(), "xlr-to-rca/pin-3-tied-at-source", 8.0),
     ("differential", symmetrical(), "xlr-to-rca/pin-3-open", 4.0),
     ("differential", symmetrical(), "rca-to-rca", 4.0)],
)  # fmt: skip
def test_what_clips_first(kind: str, stage: Source, option: str, expected: float) -> None:
    sampled = sample(stage)
    response = solve_option(BY_ID[option], RCA, "unknown", 0.0, Cable(), sampled)
    limits = Limits(Most.declared(8.0), None, np.abs(sampled.voc[:, sampled.at, 0]),
                    np.abs(sampled.leg_voc[:, sampled.at, 2]), kind)  # fmt: skip
    found = limits.at_input(response)
    assert found is not None
    assert found.value == pytest.approx(expected, rel=0.02)


def test_presets_are_marked_as_common_practice() -> None:
    assert "common practice" in of_preset("two-rooms").words
