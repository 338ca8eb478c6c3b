"""Levels against published tables and closed forms; no simulator, no recordings."""

from __future__ import annotations

import dataclasses
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from probe.advice.advise import BY_ID
from probe.advice.destination import Cable, Input
from probe.advice.figures import Figures, Scale, figures
from probe.advice.network import Circuit, TwoPort, reduce
from probe.advice.parts import CONDUCTOR_OHM_PER_M, CONTACT_OHM, TIE_OHM
from probe.advice.sampled import sample
from probe.advice.solve import Response, pin_voltages, solve_option
from probe.decibels import ratio_to_db
from probe.facts.source import Source
from tests.advice.stages import (
    TONES,
    WIDE,
    cross_coupled,
    ground_sensing,
    impedance_balanced,
    legs,
    source,
    symmetrical,
    transformer,
)

SHORT = Cable(0.0, 0.0, 0.0, 0.02)
BRIDGING = Input("rca", "rca", "single-ended", 1e9)


def heard(stage: Source, option: str, socket: Input = BRIDGING, cable: Cable = SHORT) -> Response:
    circuit = socket.circuit
    return solve_option(BY_ID[option], socket, circuit, 0.0, cable, sample(stage))


def level(stage: Source, option: str, socket: Input = BRIDGING, cable: Cable = SHORT) -> float:
    response = heard(stage, option, socket, cable)
    return float(abs(response.level[0, response.at]))


def seen(stage: Source, option: str, socket: Input = BRIDGING, cable: Cable = SHORT) -> Figures:
    return figures(heard(stage, option, socket, cable), Scale(np.ones(1), np.ones(1)), None, None)


def loaded(
    stage: Source, hot: tuple[float, ...], cold: tuple[float, ...]
) -> tuple[complex, complex]:
    """Leg voltages with resistors to pin 1 on either leg."""
    circuit = Circuit()
    for leg, ohms in (("hot", hot), ("cold", cold)):
        for i, ohm in enumerate(ohms):
            circuit.resistor(f"{leg}{i}", leg, "0", ohm)
    sampled = sample(stage)
    reduced = reduce(circuit, sampled.hz, ("hot", "cold"))
    v = pin_voltages(sampled, ("hot", "cold"), reduced.y)[0, sampled.at]
    return complex(v[0]), complex(v[1])


def floating(to_ground: float) -> Source:
    """2 V behind 100 ohm between the legs, ``to_ground`` ohm from each leg to pin 1."""
    share = 2 * to_ground / (2 * to_ground + 100.0)
    return source(diff=2.0 * share, z_diff=100.0 * share, z_common=to_ground / 2)


ONE_LEG = legs(hot=2.0, cold=0.0, z=((100.0, 0.0), (0.0, 100.0)))
GROUNDED = legs(hot=2.0, cold=0.0, z=((100.0, 0.0), (0.0, 0.001)))
UNCONNECTED = legs(hot=2.0, cold=0.0, z=((100.0, 0.0), (0.0, 1e12)))
DEAD = legs(hot=1.0, cold=0.0, z=((50.0, 0.0), (0.0, 1e9)))
SAME = legs(hot=1.0, cold=1.0, z=((50.0, 0.0), (0.0, 50.0)))
GROUND_REFERENCED = source(diff=2.0, z_diff=100.0, z_common=25.0)

# Reference table of ideal output classes, E = 2 V differential, 10 kohm meters from each leg to
# pin 1: derived from the ideal models printed with it (no citation needed beyond them).
TABLE = [
    ("symmetrical", GROUND_REFERENCED,
     (0.99502, -0.99502), (0.94787, -0.99502), (0.99502, -0.94787), (0.94787, -0.94787), 0.99502),
    ("transformer", floating(10e6),
     (0.99502, -0.99502), (0.16529, -1.81653), (1.81653, -0.16529), (0.94786, -0.94786), 1.98018),
    ("cross-coupled", floating(10e3),
     (0.99010, -0.99010), (0.28090, -1.68539), (1.68539, -0.28090), (0.94340, -0.94340), 1.96078),
    ("impedance-balanced", ONE_LEG,
     (1.98020, 0.0), (1.80180, 0.0), (1.98020, 0.0), (1.80180, 0.0), 1.98020),
    ("pin 3 grounded", GROUNDED,
     (1.98020, 0.0), (1.80180, 0.0), (1.98020, 0.0), (1.80180, 0.0), 1.98020),
    ("pin 3 open", UNCONNECTED,
     (1.98020, 0.0), (1.80180, 0.0), (1.98020, 0.0), (1.80180, 0.0), 1.98020),
    ("one leg dead", DEAD,
     (0.99502, 0.0), (0.94787, 0.0), (0.99502, 0.0), (0.94787, 0.0), 0.99502),
    ("legs in phase", SAME,
     (0.99502, 0.99502), (0.94787, 0.99502), (0.99502, 0.94787), (0.94787, 0.94787), 0.99502),
]  # fmt: skip


@pytest.mark.parametrize("row", TABLE, ids=[row[0] for row in TABLE])
def test_reference_table_of_loaded_legs(row: tuple) -> None:  # type: ignore[type-arg]
    _, stage, bridging, on_hot, on_cold, both, tied = row
    meter, extra = (10e3,), (10e3, 1e3)
    # the table's figures are rounded to five decimals
    for loads, expected in (
        ((meter, meter), bridging),
        ((extra, meter), on_hot),
        ((meter, extra), on_cold),
        ((extra, extra), both),
    ):
        got = loaded(stage, *loads)
        assert np.real(got) == pytest.approx(expected, abs=1.2e-5)
    # a real tie of 1 uohm stands for the ideal one of the table
    assert loaded(stage, meter, (1e-6,))[0].real == pytest.approx(tied, abs=1.2e-5)


# Levels against the open differential level, by topology: symmetrical with pin 3 open -6.02 dB
# (prosoundweb column on balanced outputs: "'free' 6 dB gain"); cross-coupled and transformer
# tied 0 dB (same column; Handbook for Sound Engineers p. 355); impedance-balanced open or tied
# 0 dB (all the signal is on pin 2); ground-cancelling tied 0 dB (Self, p. 510).
TOPOLOGIES = [
    (symmetrical(), "xlr-to-rca/pin-3-open", -6.0206),
    (floating(1e7), "xlr-to-rca/pin-3-tied-at-source", 0.0),
    (floating(1e7), "xlr-to-rca/pin-3-tied-at-destination", 0.0),
    (transformer(), "xlr-to-rca/pin-3-tied-at-source", 0.0),
    (cross_coupled(), "xlr-to-rca/pin-3-tied-at-source", 0.0),
    (impedance_balanced(), "xlr-to-rca/pin-3-open", 0.0),
    (impedance_balanced(), "xlr-to-rca/pin-3-tied-at-source", 0.0),
    (ground_sensing(), "xlr-to-rca/pin-3-tied-at-source", 0.0),
    (GROUNDED, "xlr-to-rca/pin-3-open", 0.0),
    (UNCONNECTED, "xlr-to-rca/pin-3-tied-at-source", 0.0),
]


@pytest.mark.parametrize(("stage", "option", "expected"), TOPOLOGIES)
def test_level_of_each_topology(stage: Source, option: str, expected: float) -> None:
    open_level = abs(sample(stage).voc[0, sample(stage).at, 0])
    # 0.05 dB: a common-mode impedance of 4 kohm costs a cross-coupled stage 0.03 dB
    assert float(ratio_to_db(level(stage, option) / open_level)) == pytest.approx(
        expected, abs=0.05
    )


def test_transformer_with_pin_3_open_passes_treble_only() -> None:
    # "open pin 3 = no signal / treble leakage only" (transformer row of the same guidance)
    socket = Input("rca", "rca", "single-ended", 47e3)
    found = seen(transformer(), "xlr-to-rca/pin-3-open", socket)
    assert found.connection_loss_at_20_hz is not None
    assert found.connection_loss_at_20_hz.value > 30.0


# Bridging loss 20 log10(RL / (RL + Rs)), closed form
@pytest.mark.parametrize(
    ("rs", "rl", "expected"),
    [(50, 10e3, -0.043), (100, 10e3, -0.086), (200, 10e3, -0.172), (1e3, 47e3, -0.183),
     (2.2e3, 22e3, -0.828), (100, 600, -1.339), (600, 600, -6.021)],
)  # fmt: skip
def test_bridging_loss(rs: float, rl: float, expected: float) -> None:
    stage = source(single=1.0, z_single=rs)
    got = level(stage, "rca-to-rca", Input("rca", "rca", "single-ended", rl))
    assert float(ratio_to_db(got)) == pytest.approx(expected, abs=2e-3)


def _lead(farad: float) -> Cable:
    return Cable(0.0, farad, 0.0, 1e-3)


@pytest.mark.parametrize(
    ("rs", "farad", "expected"),
    [
        # Handbook for Sound Engineers p. 1217: 200 ft of 17 pF/ft on 1 kohm, "50 kHz"; exact 46.81
        (1e3, 200 * 17e-12, 46.81e3),
        # McGregor, Driving Looong Cables: 500 ft of 32 pF/ft on 100 ohm, "100 kHz"; exact 99.47
        (100.0, 500 * 32e-12, 99.47e3),
    ],
)
def test_bandwidth_of_a_cable(rs: float, farad: float, expected: float) -> None:
    stage = source(single=1.0, z_single=rs, hz=WIDE)
    found = seen(stage, "rca-to-rca", BRIDGING, _lead(farad))
    assert found.high_corner is not None
    assert found.high_corner.bound is None
    # 0.5 %: straight lines between points of the response
    assert found.high_corner.value == pytest.approx(expected, rel=5e-3)


@pytest.mark.parametrize(
    ("rs", "farad", "expected"),
    # -10 log10(1 + (f/fc)^2) at 20 kHz, closed form
    [(100, 1e-9, 0.0007), (600, 1e-9, 0.0246), (1e3, 1e-9, 0.0680), (2.2e3, 1e-9, 0.3199),
     (100, 10e-9, 0.0680)],
)  # fmt: skip
def test_loss_of_a_cable_at_20_khz(rs: float, farad: float, expected: float) -> None:
    found = seen(source(single=1.0, z_single=rs), "rca-to-rca", BRIDGING, _lead(farad))
    assert found.loss_at_20_khz is not None
    # the loss is told against 997 Hz, where it is 0.0008 dB at most
    assert found.loss_at_20_khz.value == pytest.approx(expected, abs=1e-3)


def test_corner_of_a_coupling_capacitor() -> None:
    # first-order high-pass 1/(2 pi (Rs + RL) C), closed form
    hz = np.geomspace(20.0, 20000.0, 25)
    z = 100.0 + 1.0 / (2j * np.pi * hz * 0.33e-6)
    stage = source(single=1.0, z_single=z, hz=hz)
    found = seen(stage, "rca-to-rca", Input("rca", "rca", "single-ended", 10e3))
    assert found.low_corner is not None
    assert found.low_corner.value == pytest.approx(1 / (2 * np.pi * 10.1e3 * 0.33e-6), rel=5e-3)


def test_response_beyond_the_tones_is_a_bound() -> None:
    found = seen(symmetrical(), "rca-to-rca", Input("rca", "rca", "single-ended", 47e3))
    assert found.high_corner is not None
    assert found.low_corner is not None
    assert (found.high_corner.bound, found.high_corner.value) == ("above", 20000.0)
    assert (found.low_corner.bound, found.low_corner.value) == ("below", 20.0)


@pytest.mark.parametrize("option", ["xlr-to-rca/pin-3-tied-at-source",
                                    "xlr-to-rca/pin-3-tied-at-destination"])  # fmt: skip
def test_current_of_a_tied_leg(option: str) -> None:
    # |Voc_c| / (Z_cc + what joins it to ground), peak: closed form for separate legs
    cable = Cable(2.0, 0.0, 0.0, 1e-4)
    stage = source(diff=5.0, z_diff=94.0, z_common=23.5)
    joined = TIE_OHM
    if option.endswith("destination"):
        joined += CONTACT_OHM + 2.0 * CONDUCTOR_OHM_PER_M + 1e-4
    found = seen(stage, option, BRIDGING, cable)
    assert found.tie_current is not None
    # the bench's stress test: 2.5 V / 47 ohm = 53 mA rms
    assert found.tie_current.value == pytest.approx(2**0.5 * 2.5 / (47.0 + joined), rel=1e-6)
    assert found.tie_current.value / 2**0.5 == pytest.approx(0.053, rel=0.01)


def balanced(circuit: str, ohm: float = 20e3, is_: str = "each-leg", pin_3: str = "input") -> Input:
    return Input("xlr", "xlr", "balanced", ohm, circuit=circuit, impedance_is=is_, pin_3=pin_3)  # type: ignore[arg-type]


def test_inputs_as_seen_by_a_pair_of_separate_legs() -> None:
    stage = source(diff=2.0, z_diff=2000.0, z_common=500.0)
    # buffered, 20 kohm each leg behind 1 kohm each: divider 20/21, closed form
    assert level(stage, "xlr-to-xlr", balanced("buffered")) == pytest.approx(2 * 20 / 21, rel=1e-5)
    # 20 kohm between the legs is 10 kohm each for a buffered pair: 10/11
    between = balanced("buffered", is_="between-legs")
    assert level(stage, "xlr-to-xlr", between) == pytest.approx(2 * 10 / 11, rel=1e-5)
    # difference amplifier of four 10 kohm: node equations (1 - v2)/1k = v2/20k and
    # (-1 - v3)/1k = (v3 - v2/2)/10k, closed form
    v2 = 20 / 21
    v3 = (-10 + v2 / 2) / 11
    assert level(stage, "xlr-to-xlr", balanced("difference-amplifier")) == pytest.approx(
        v2 - v3, rel=1e-5
    )


def test_difference_amplifier_as_seen_by_a_floating_source() -> None:
    # a floating source sees the two input resistors in series: 2R = 20 kohm; 2 * 20/(20 + 0.1)
    got = level(floating(1e9), "xlr-to-xlr", balanced("difference-amplifier", is_="between-legs"))
    assert got == pytest.approx(2 * 20 / 20.1, rel=1e-4)


@pytest.mark.parametrize(
    ("circuit", "expected"),
    # pin 3 open: a difference amplifier's cold input follows half the hot one (no current in its
    # resistor), a buffered one rests at ground; closed forms
    [("difference-amplifier", 0.5), ("buffered", 1.0)],
)
def test_single_ended_source_into_open_pin_3(circuit: str, expected: float) -> None:
    stage = source(single=1.0, z_single=1.0)
    got = level(stage, "rca-to-xlr/pin-3-open", balanced(circuit, 1e6))
    assert got == pytest.approx(expected, rel=1e-4)


def test_input_transformer_with_open_pin_3_passes_next_to_nothing() -> None:
    stage = source(single=1.0, z_single=1.0)
    got = level(stage, "rca-to-xlr/pin-3-open", balanced("transformer", 10e3, "between-legs"))
    # 27 pF from the open end to ground under 10 kohm: w R C, closed form
    assert got == pytest.approx(2 * np.pi * 997.0 * 10e3 * 27e-12, rel=1e-3)


def test_pin_3_grounded_inside_the_destination_is_a_tie() -> None:
    inside = balanced("buffered", 1e9, pin_3="ground")
    response = heard(symmetrical(), "xlr-to-xlr", inside)
    assert response.tie is not None
    assert abs(response.level[0, response.at]) == pytest.approx(1.0, rel=1e-3)
    # 1 V behind 50 ohm into the join (conductor contact and tie)
    assert abs(response.tie[0]) == pytest.approx(1.0 / 50.05, rel=1e-3)


def test_pin_3_open_inside_the_destination_hears_pin_2_alone() -> None:
    got = level(symmetrical(), "xlr-to-xlr", balanced("buffered", 1e9, pin_3="open"))
    assert got == pytest.approx(1.0, rel=1e-4)


def test_ideal_transformer_transforms() -> None:
    part = TwoPort(0.5, 1e-6, 1e-6, 1e4, 1e-9, 1e12, 0.0, 0.0, 0.0, 10.0)
    circuit = Circuit()
    circuit.transformer("t", ("single-ended", "0"), ("out", "0"), part)
    circuit.resistor("load", "out", "0", 100.0)
    reduced = reduce(circuit, np.array([1000.0]), ("single-ended",))
    # turns ratio n: voltage times n, load seen as R/n^2 = 400 ohm
    assert abs(reduced.across("out", "0")[0, 0]) == pytest.approx(0.5, rel=1e-6)
    assert abs(1 / reduced.y[0, 0, 0]) == pytest.approx(400.0, rel=1e-6)


def test_floating_stage_is_solved_to_rounding() -> None:
    """A common-mode impedance of 13 Mohm beside a differential one of 90 ohm loses no digits."""
    stage = source(diff=4.0, z_diff=90.0, z_common=13e6)
    got = loaded(stage, (47e3,), (0.02,))
    # the same 2 by 2 equations (1 + Z Y) V = Voc in exact rational arithmetic
    zs, zm = Fraction(13_000_000) + Fraction(90, 4), Fraction(13_000_000) - Fraction(90, 4)
    y_hot, y_cold = Fraction(1, 47_000), Fraction(50)
    a, b, c, d = 1 + zs * y_hot, zm * y_cold, zm * y_hot, 1 + zs * y_cold
    det = a * d - b * c
    assert got[0].real == pytest.approx(float((2 * d + 2 * b) / det), rel=1e-9)
    assert got[1].real == pytest.approx(float((-2 * a - 2 * c) / det), rel=1e-7)


@settings(max_examples=40)
@given(
    hot=st.floats(10.0, 2000.0),
    cold=st.floats(0.01, 1e7),
    load=st.floats(600.0, 1e6),
    length=st.floats(0.1, 30.0),
)
@pytest.mark.long
def test_tied_and_open_agree_for_a_silent_uncoupled_pin_3(
    hot: float, cold: float, load: float, length: float
) -> None:
    stage = legs(hot=2.0, cold=0.0, z=((hot, 0.0), (0.0, cold)))
    socket, cable = Input("rca", "rca", "single-ended", load), Cable(length, 1e-10 * length)
    opened = level(stage, "xlr-to-rca/pin-3-open", socket, cable)
    for tied in ("xlr-to-rca/pin-3-tied-at-source", "xlr-to-rca/pin-3-tied-at-destination"):
        # the tie is a second path for the return current beside 50 mohm of shield and contacts:
        # up to 0.08 ohm of 600 ohm (0.001 dB)
        assert level(stage, tied, socket, cable) == pytest.approx(opened, rel=2e-4)


@settings(max_examples=40)
@given(
    rs=st.floats(10.0, 3000.0),
    load=st.floats(600.0, 1e6),
    farad=st.floats(1e-11, 1e-7),
    more=st.floats(1.0, 10.0),
    option=st.sampled_from(["rca-to-rca", "xlr-to-rca/pin-3-open"]),
)
@pytest.mark.long
def test_more_capacitance_never_raises_the_bandwidth(
    rs: float, load: float, farad: float, more: float, option: str
) -> None:
    stage = legs(hot=1.0, cold=-1.0, z=((rs, 0.0), (0.0, rs)), single=1.0, z_single=rs, hz=WIDE)
    socket = Input("rca", "rca", "single-ended", load)
    few, many = (seen(stage, option, socket, _lead(c)).high_corner for c in (farad, farad * more))
    assert few is not None
    assert many is not None
    assert many.value <= few.value * (1 + 1e-9)


@settings(max_examples=40)
@given(common=st.floats(1.0, 1e7), z_diff=st.floats(1.0, 1000.0), load=st.floats(600.0, 1e6))
def test_a_passive_load_never_raises_the_differential_level(
    common: float, z_diff: float, load: float
) -> None:
    stage = source(diff=2.0, z_diff=z_diff, z_common=common)
    assert level(stage, "xlr-to-xlr", balanced("buffered", load)) <= 2.0 * (1 + 1e-9)


def test_tones_are_kept_and_nothing_lies_beyond_them() -> None:
    sampled = sample(symmetrical())
    assert set(TONES) <= set(sampled.hz)
    assert (sampled.hz[0], sampled.hz[-1]) == (TONES[0], TONES[-1])
    assert sampled.hz[sampled.at] == 997.0


def test_the_phases_of_the_played_tones_do_not_matter() -> None:
    socket, cable = Input("rca", "rca", "single-ended", 47e3), Cable(20.0, 2e-9, 0.6, 0.02)
    stage = cross_coupled(draws=20, spread=0.01)
    rng = np.random.default_rng(3)
    turn = np.exp(2j * np.pi * rng.random((TONES.size, 1)))
    played = dataclasses.replace(
        stage,
        voc=stage.voc * turn, voc_draws=stage.voc_draws * turn,
        legs_voc=stage.legs_voc * turn, legs_voc_draws=stage.legs_voc_draws * turn,
    )  # fmt: skip
    for option in ("rca-to-rca", "xlr-to-rca/pin-3-open", "xlr-to-rca/pin-3-tied-at-source"):
        plain, turned = (np.abs(heard(s, option, socket, cable).level) for s in (stage, played))
        assert np.allclose(plain, turned, rtol=1e-9)


def test_doubt_at_one_tone_is_not_taken_for_a_loss() -> None:
    """A loss is certain only where some frequency shows it; noise at one tone shows nothing."""
    stage = source(single=1.0, z_single=100.0, draws=400)
    rng = np.random.default_rng(4)
    draws = stage.legs_voc_draws.copy()
    draws[:, 0, 2] *= np.exp(2.0 * rng.standard_normal(400))
    stage = dataclasses.replace(stage, legs_voc_draws=draws)
    response = heard(stage, "rca-to-rca")
    # the output's own response would be taken out: all of it is put down to the connection here
    flat = np.ones_like(response.sampled.voc)
    noisy = dataclasses.replace(response, sampled=dataclasses.replace(response.sampled, voc=flat))
    found = figures(noisy, Scale(np.ones(1), np.ones(1)), None, None).connection_loss_anywhere
    assert found is not None
    assert found.low < 1.0
    assert found.high > 20.0


def test_a_tone_that_leaves_the_level_open_is_bridged_by_its_neighbours() -> None:
    clean = symmetrical(draws=100, spread=1e-3)
    rng = np.random.default_rng(5)
    draws, legs_z = clean.voc_draws.copy(), clean.legs_z.copy()
    draws[:, 4, 0] *= np.exp(rng.standard_normal(100))
    legs_z[4] = 1e6
    doubtful = dataclasses.replace(clean, voc_draws=draws, legs_z=legs_z)
    socket = Input("rca", "rca", "single-ended", 600.0)
    plain, bridged = (
        np.abs(heard(s, "xlr-to-rca/pin-3-open", socket).level[0]) for s in (clean, doubtful)
    )
    # a stage without frequency dependence is the same between its tones
    assert np.allclose(plain, bridged, rtol=1e-9)


def test_interpolation_of_a_capacitive_impedance_is_exact_between_tones() -> None:
    farad = 600e-12
    z = 1.0 / (2j * np.pi * TONES * farad)
    sampled = sample(source(z_common=z))
    # Z = 1/(2 pi f C) is a straight line in log magnitude over log f
    expected = 1.0 / (2j * np.pi * sampled.hz * farad)
    assert np.abs(sampled.z[0, :, 1, 1] / expected - 1.0).max() < 1e-9


def test_interpolation_follows_resistance_and_capacitor_in_series() -> None:
    hz = np.geomspace(20.0, 20000.0, 12)
    stage = source(z_common=resistor_and_capacitor(hz), hz=hz)
    sampled = sample(stage)
    got, expected = sampled.z[0, :, 1, 1], resistor_and_capacitor(sampled.hz)
    # regression only: 12 tones over three decades, corner at 80 Hz
    assert np.abs(got / expected - 1.0).max() < 0.03


def resistor_and_capacitor(hz: np.ndarray) -> np.ndarray:
    return np.asarray(100.0 + 1.0 / (2j * np.pi * hz * 20e-6))
