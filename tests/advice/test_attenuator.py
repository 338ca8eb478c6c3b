"""Attenuators in the plug: preferred values, attenuation, tolerance."""

from __future__ import annotations

import dataclasses
import json
import math
from typing import Any

import numpy as np
import pytest

from probe.advice.advise import advise
from probe.advice.attenuator import (
    Pad,
    attenuation_db,
    design,
    input_ohm_for,
    rating_watt,
    sizes,
)
from probe.advice.destination import Cable, Destination, Input
from probe.advice.ground import GroundPath, of_preset
from probe.advice.model import Advice, OptionAdvice
from probe.advice.preferred import VALUES, around, nearest
from probe.advice.text import render
from probe.report.leaflet import leaves_of
from tests.advice.stages import facts, source, symmetrical


def test_series_are_those_of_the_standard() -> None:
    # IEC 60063, tables of E24 and E96 (from memory): counts, and values off a plain rounding
    assert (len(VALUES["E24"]), len(VALUES["E96"])) == (24, 96)
    assert {2.7, 3.0, 3.3, 3.6, 3.9, 4.3, 4.7, 8.2} <= set(VALUES["E24"])
    # the same: first and last of the decade, and some between
    assert VALUES["E96"][:4] == (1.00, 1.02, 1.05, 1.07)
    assert VALUES["E96"][-3:] == (9.31, 9.53, 9.76)
    assert {1.96, 2.49, 4.99, 6.04, 8.66} <= set(VALUES["E96"])


@pytest.mark.parametrize(
    ("ohm", "series", "expected"),
    [
        # closed form: neighbours in the tables above
        (999.0, "E24", (910.0, 1000.0)),
        (1000.0, "E24", (1000.0, 1100.0)),
        (9900.0, "E24", (9100.0, 10000.0)),
        (9760.0, "E96", (9760.0, 10000.0)),
        (0.47, "E24", (0.47, 0.51)),
    ],
)
def test_neighbours(ohm: float, series: str, expected: tuple[float, float]) -> None:
    assert around(ohm, series) == pytest.approx(expected)  # type: ignore[arg-type]


def test_nearest_is_nearest_in_ratio() -> None:
    # closed form: sqrt(10 x 11) = 10.488
    assert (nearest(10.48, "E24"), nearest(10.50, "E24")) == (10.0, 11.0)


def test_attenuation_of_a_divider() -> None:
    # closed form: 9k over 1k from nothing into nothing is a tenth
    assert attenuation_db(Pad(9e3, 1e3, False), 1e-9, 1e12) == pytest.approx(20.0, abs=1e-6)
    # closed form: two of 4.5k are 9k
    assert attenuation_db(Pad(4.5e3, 1e3, True), 1e-9, 1e12) == pytest.approx(20.0, abs=1e-6)
    # closed form: 1k between 1k and 1k: 1/2 before, 500/(2000 + 500) = 1/5 after
    assert attenuation_db(Pad(1e3, 1e3, False), 1e3, 1e3) == pytest.approx(
        20.0 * np.log10(2.5), abs=1e-9
    )


@pytest.mark.parametrize("series", ["E24", "E96"])
@pytest.mark.parametrize("balanced", [False, True])
@pytest.mark.parametrize("wanted", [1.0, 3.0, 10.0, 20.0, 40.0])
@pytest.mark.parametrize(("source", "load"), [(1.0, 47e3), (100.0, 10e3), (2200.0, 22e3)])
def test_preferred_values_come_close(
    series: str, balanced: bool, wanted: float, source: float, load: float
) -> None:
    found = design(wanted, source, load, balanced=balanced, series=series)  # type: ignore[arg-type]
    steps = np.array(VALUES[series])  # type: ignore[index]
    for ohm in (found.pad.series_ohm, found.pad.shunt_ohm):
        mantissa = ohm / 10.0 ** np.floor(np.log10(ohm))
        assert np.abs(steps - mantissa).min() < 1e-6
    # closed form: of a grid with steps of 1.1 (1.024) the best pair is off by less than a step
    assert abs(found.error_db) < {"E24": 0.5, "E96": 0.1}[series]
    assert found.least_db < found.attenuation_db < found.most_db
    seen = found.pad.total_series_ohm + 1.0 / (1.0 / found.pad.shunt_ohm + 1.0 / load)
    # closed form: within two steps of the aim
    assert seen == pytest.approx(input_ohm_for(wanted, source, load), rel=0.25)


def test_tolerance_band_by_brute_force() -> None:
    found = design(12.0, 150.0, 20e3, balanced=True, series="E24")
    corners = [
        attenuation_db(Pad(found.pad.series_ohm * a, found.pad.shunt_ohm * b, True), 150.0, 20e3)
        for a in (0.95, 1.0, 1.05)
        for b in (0.95, 1.0, 1.05)
    ]
    # source: all nine corners of +-5 %
    assert (found.least_db, found.most_db) == pytest.approx((min(corners), max(corners)))


def test_needed_attenuation_leaves_room() -> None:
    # closed form: 8 over 2 is 12.04 dB, half a dB more, next whole; the next half
    assert sizes(20.0 * math.log10(8.0 / 2.0)) == (13.0, 12.5)
    # 16.6 and a half are beyond 17, which is next; 17.4 leave less for resistors than they are off
    assert sizes(16.6) == (18.0, 17.0, 17.5)
    assert sizes(17.4) == (18.0, 17.5)


@pytest.mark.parametrize("wanted", [0.0, -3.0, 61.0])
def test_no_pad_for_what_is_no_attenuation(wanted: float) -> None:
    with pytest.raises(ValueError, match="attenuation"):
        design(wanted, 100.0, 10e3, balanced=False, series="E96")


# --- offered where it helps


RCA = Input("rca", "rca", "single-ended", 47e3, sensitivity_volts=1.5, maximum_volts=2.0)
BALANCED = Input("xlr", "xlr", "balanced", 20e3, circuit="buffered", impedance_is="each-leg")


def ask(socket: Input, volts: float | None = 10.0, **more: Any) -> Advice:
    destination = Destination("amp", (socket,), operating_volts=volts, **more)
    return advise(facts(), {"left": symmetrical()}, destination)


def of(advice: Advice, option: str) -> OptionAdvice:
    (found,) = [o for o in advice.options if o.option.id == option]
    return found


def test_overload_is_cured_in_the_plug() -> None:
    advice = ask(RCA)
    assert advice.chosen == "rca-to-rca"
    assert advice.choices[0].attenuator
    found = of(advice, "rca-to-rca").attenuator
    assert found is not None
    assert found.advice.figures.level_at_maximum is not None
    # closed form: what is left is at most what the input accepts, and still full output
    assert 1.5 < found.advice.figures.level_at_maximum.high <= 2.0
    assert found.solves
    assert advice.choices[0].why[0].startswith("with an attenuator of 9 dB in its plug")
    assert "it needs" in render(advice)
    json.dumps(advice.to_json(), allow_nan=False)


@pytest.mark.parametrize(
    ("sensitivity", "maximum", "shield_ohm", "taken", "why"),
    [
        # closed form: 2.6 V over 1 V are 8.3 dB, and half a decibel for the resistors: 9; over
        # 0.12 V they are 26.7 dB, of which 10 are left: 17. Hum: 0.2 mV behind 0.2 ohm over a
        # shield of 0.05 ohm are 40 uV, 69.5 dB below 0.12 V: 5.5 dB and a half are less than either
        (0.12, 1.0, 0.05, 17.0, "without it hum 69"),
        # 2.6 V over 2 V are 2.3 dB: 3; hum over 0.17 ohm 91.9 uV, 70.3 dB below 0.3 V: 4.7 dB and
        # a half are 6
        (0.3, 2.0, 0.17, 6.0, "it takes as much off the hum"),
        # and over 1.5 V it is 84 dB down: what comes is all there is against it
        (1.5, 2.0, 0.17, 3.0, "the output can give more than the input accepts"),
    ],
)
def test_the_pad_is_as_large_as_the_largest_need(
    sensitivity: float, maximum: float, shield_ohm: float, taken: float, why: str
) -> None:
    """A maximum on a destination turned a pad of 17 dB into one of 10, and hid the hum."""
    socket = Input("rca", "rca", "single-ended", 20e3, sensitivity_volts=sensitivity,
                   maximum_volts=maximum, ground=of_preset("same-strip"))  # fmt: skip
    into = Destination("amp", (socket,), Cable(1.0, 100e-12, shield_ohm, 1e-4))
    document = facts(connectors=("rca",), device={"full_output_volts": 2.6})
    advice = advise(document, {"left": symmetrical()}, into)
    assert advice.chosen == "rca-to-rca"
    # whether it has a volume control may be asked before
    told = next(w for w in advice.choices[0].why if not w.startswith("before anything"))
    assert f"attenuator of {taken:.0f} dB in its plug" in told
    assert why in told


def test_an_overload_is_told_in_decibels() -> None:
    """A customer saw the headroom of the device, and not by how much it overdrives the input."""
    socket = Input("rca", "rca", "single-ended", 47e3, sensitivity_volts=0.2, maximum_volts=2.0)
    document = facts(connectors=("rca",), device={"full_output_volts": 5.0})
    advice = advise(document, {"left": symmetrical()}, Destination("amp", (socket,)))
    (told,) = [h.message for h in of(advice, "rca-to-rca").hazards if h.code == "overload"]
    # closed form: 5 V over 2 V are 7.96 dB, over 0.2 V 27.96; the lead takes 0.01 dB
    assert "up to 7.9 dB too much (28 dB over its full output)" in told
    (leaf,) = leaves_of(advice.to_json())
    assert "7.9 dB too much" in leaf.before[0]
    assert "Headroom of the device" in dict(leaf.figures)


def test_no_attenuator_where_none_is_needed() -> None:
    advice = ask(RCA, volts=2.0)
    assert all(o.attenuator is None for o in advice.options)
    assert not advice.choices[0].attenuator


def test_asked_for_in_the_destination() -> None:
    found = of(ask(BALANCED, 4.0, attenuation_db=12.0), "xlr-to-xlr").attenuator
    assert found is not None
    # closed form: what was asked for, within the step of the series
    assert found.attenuation_db == pytest.approx(12.0, abs=0.1)
    assert found.designs[0].pad.balanced


def test_never_rescued_from_a_tie() -> None:
    advice = ask(RCA)
    assert of(advice, "xlr-to-rca/pin-3-tied-at-source").verdict == "never"
    assert of(advice, "xlr-to-rca/pin-3-tied-at-source").attenuator is None


def test_less_is_wanted() -> None:
    socket = dataclasses.replace(RCA, maximum_volts=None)
    found = of(ask(socket, 4.0, wanted_gain_db=-10.0), "rca-to-rca").attenuator
    assert found is not None
    # closed form: the RCA link against itself is 0 dB, ten less are wanted
    assert found.attenuation_db == pytest.approx(10.0, abs=0.1)


def test_impedance_and_noise_behind_the_pad() -> None:
    found = of(ask(RCA), "rca-to-rca").attenuator
    assert found is not None
    pad = found.designs[0].pad
    # closed form: the shunt beside series resistor and the stage's 100 ohm
    behind = 1.0 / (1.0 / pad.shunt_ohm + 1.0 / (pad.series_ohm + found.source_ohm))
    assert found.behind_ohm == pytest.approx(behind)
    # closed form: 4 k T R B of a little less than that resistance (what the source makes itself)
    whole = np.sqrt(4.0 * 1.380649e-23 * 300.0 * behind * 19980.0)
    assert 0.97 * whole < found.noise_volts < whole


@pytest.mark.parametrize("series", ["E96", "E24"])
@pytest.mark.parametrize("wanted", [3.0, 10.0, 20.0])
def test_a_pad_keeps_above_the_least_load_the_maker_allows(wanted: float, series: Any) -> None:
    pad = design(wanted, 470.0, 47e3, balanced=False, series=series, least_ohm=10e3).pad
    # closed form: series resistor and, behind it, the shunt beside the input
    assert pad.series_ohm + 1.0 / (1.0 / pad.shunt_ohm + 1.0 / 47e3) >= 10e3


def test_resistors_that_take_power_say_their_rating() -> None:
    """A quarter of a watt, which is what lies in the drawer, chars in a plug on 600 ohm."""
    # Ohm's law: 1 V behind it is 1/100 + 1/600 A through 500 ohm, 68 mW; 10 V are 6.8 W
    pad = Pad(500.0, 100.0, balanced=False)
    assert rating_watt(pad, 600.0, 1.0) == 0.25
    # practice: in a closed plug half of what it is rated for. 2 V: 0.27 W in 500 ohm; 4 V: 1.09 W
    assert rating_watt(pad, 600.0, 2.0) == 1.0
    assert rating_watt(pad, 600.0, 4.0) == 3.0
    # U^2/R of the shunt where that takes more: 3 V over 20 ohm, 0.45 W
    assert rating_watt(Pad(20.0, 20.0, balanced=False), 1e9, 3.0) == 1.0


def test_what_is_lost_with_it_in_place_is_all_of_it() -> None:
    """Whoever reads the loss of a pad saw that of the lead alone: a dull output looked flat."""
    # closed form: one pole at 30 kHz in the output takes 10 log(1 + (20/30)^2) at 20 kHz, whatever
    # stands behind it; a lead of 1 m into resistors adds next to nothing
    hz = np.array([20.0, 997.0, 20000.0])
    pole = 1.0 / (1.0 + 1j * hz / 30e3)
    stage = source(single=1.0 * pole, z_single=100.0, hz=hz)
    destination = Destination("amp", (RCA,), operating_volts=10.0)
    advice = advise(facts(connectors=("rca",)), {"left": stage}, destination)
    found = of(advice, "rca-to-rca").attenuator
    assert found is not None
    document = found.to_json()
    expected = 10.0 * np.log10(1.0 + (20.0 / 30.0) ** 2) - 10.0 * np.log10(
        1.0 + (0.997 / 30.0) ** 2
    )
    assert document["loss_at_20_khz"]["value"] == pytest.approx(expected, abs=0.01)
    assert document["loss_db"]["at_20_khz"]["value"] == pytest.approx(expected, abs=0.01)
    assert document["connection_loss_db"]["at_20_khz"]["value"] == pytest.approx(0.0, abs=0.01)
    # the sheet shows what is lost behind the pad
    leaf = dict(leaves_of(advice.to_json())[0].figures)
    assert float(leaf["Lost at 20 kHz"].split()[0]) == pytest.approx(0.0, abs=0.05)


@pytest.mark.parametrize("circuit", ["unknown", "difference-amplifier"])
@pytest.mark.long
def test_the_solved_attenuation_lies_within_its_tolerance(circuit: str) -> None:
    """ "It needs 14.7 dB (14.9 to 15.1)": whoever solders it does not know which."""
    socket = Input("xlr", "xlr", "balanced", 20e3, circuit=circuit, impedance_is="each-leg",  # type: ignore[arg-type]
                   pin_3="ground", sensitivity_volts=0.3, maximum_volts=1.0)  # fmt: skip
    found = [o.attenuator for o in ask(socket).options if o.attenuator is not None]
    assert found
    for pad in found:
        for design_ in pad.designs[:1]:
            assert design_.least_db < pad.attenuation_db < design_.most_db
            assert design_.attenuation_db == pytest.approx(pad.attenuation_db, abs=1e-9)


@pytest.mark.parametrize(("wanted", "leg"), [(10.0, 10e3), (4.0, 2e3), (20.0, 47e3)])
def test_resistors_in_both_legs_differ_by_their_tolerance_and_hum_by_it(
    wanted: float, leg: float
) -> None:
    """Lost: 96 dB promised of a balanced lead whose plug has two resistors 2 % apart: 75 dB."""
    socket = Input("xlr", "xlr", "balanced", leg, circuit="buffered", impedance_is="each-leg",
                   mismatch=0.0, sensitivity_volts=0.5, rejection_db=160.0,
                   ground=GroundPath(0.1, ohm=1.0))  # fmt: skip
    cable = Cable(10.0, 1e-15, 0.3, 0.02)
    there = Destination("amp", (socket,), cable, attenuation_db=wanted)
    advice = advise(facts(connectors=("xlr",)), {"left": symmetrical()}, there)
    lead = next(o for o in advice.options if o.option.id == "xlr-to-xlr")
    assert lead.attenuator is not None
    (design,) = lead.attenuator.designs
    # source: IEC 60063 sells E96 as 1 %
    assert design.series == "E96"
    shield = 0.32 / 1.32 * 0.1  # closed form: the share of the difference that drops on the shield
    worst = 0.0
    for off in (0.0, 0.01, -0.01):
        each = design.pad.series_ohm
        legs = np.array([50.0 + each * (1 + off), 50.0 + each * (1 - off)])
        across = 1.0 / design.pad.shunt_ohm
        # closed form: two nodes, each through its leg from the chassis of the device
        y = np.diag(1 / legs + across + 1 / leg) - across * (1 - np.eye(2))
        v = np.linalg.solve(y, shield / legs)
        worst = max(worst, abs(v[0] - v[1]))
    hum = lead.used.figures.hum_below_full_output_db
    assert hum is not None
    assert hum.low == pytest.approx(-20 * math.log10(worst / 0.5), abs=0.5)
