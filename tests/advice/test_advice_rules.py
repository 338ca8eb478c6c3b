"""What is chosen, avoided and refused; the rules and their limits, on analytic stages."""

from __future__ import annotations

import dataclasses
import json
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from probe.advice import rules
from probe.advice.advise import BY_ID, advise
from probe.advice.destination import Cable, Destination, Input
from probe.advice.figures import Figures
from probe.advice.ground import GroundPath
from probe.advice.model import Advice, OptionAdvice
from probe.advice.note import Note
from probe.advice.quantity import Quantity
from probe.advice.sampled import sample
from probe.advice.solve import solve_option
from probe.advice.text import WIDTH, render
from probe.advice.transformers import find_transformer
from probe.errors import BadInput
from probe.facts.source import Source
from probe.report.other_ways import why_nothing
from tests.advice.stages import (
    cross_coupled,
    facts,
    ground_sensing,
    impedance_balanced,
    legs,
    source,
    symmetrical,
    transformer,
)

RCA = Input("rca input", "rca", "single-ended", 47e3)
XLR = Input(
    "xlr input", "xlr", "balanced", 20e3, circuit="difference-amplifier", impedance_is="each-leg"
)


def ask(
    document: dict[str, Any], stage: Source | dict[str, Source], *inputs: Input, **more: Any
) -> Advice:
    sources = stage if isinstance(stage, dict) else {"left": stage}
    return advise(document, sources, Destination("amp", inputs or (RCA,), **more))


def of(advice: Advice, option: str, side: str = "left") -> OptionAdvice:
    (found,) = [o for o in advice.options if o.option.id == option and o.side == side]
    return found


def verdicts(advice: Advice) -> dict[str, str]:
    return {o.option.id: o.verdict for o in advice.options}


def codes(option: OptionAdvice) -> set[str]:
    return {h.code for h in option.hazards}


def changed(socket: Input, **more: Any) -> Input:
    return dataclasses.replace(socket, **more)


# --- which options there are


@pytest.mark.parametrize(
    ("connectors", "inputs", "expected"),
    [
        (("xlr", "rca"), (RCA,), 6),
        (("xlr",), (RCA,), 4),
        (("rca",), (RCA,), 2),
        (("xlr", "rca"), (XLR,), 6),
        (("rca",), (XLR,), 4),
        (("xlr",), (XLR,), 2),
        (("xlr", "rca"), (RCA, XLR), 12),
    ],
)
def test_only_what_the_connectors_allow(
    connectors: tuple[str, ...], inputs: tuple[Input, ...], expected: int
) -> None:
    advice = ask(facts(connectors=connectors), symmetrical(), *inputs)
    assert len(advice.options) == expected
    assert all(o.option.from_ in connectors for o in advice.options)


@pytest.mark.parametrize("output", ["headphone", "speaker"])
def test_headphone_and_speaker_outputs_get_no_adapter(output: str) -> None:
    advice = ask(facts(device={"output": output}), symmetrical(), RCA, XLR)
    assert advice.chosen is None
    assert advice.options == ()
    assert [c.code for c in advice.cautions] == [f"{output}-output"]
    document = advice.to_json()
    assert document["chosen"] is None
    assert document["options"] == []
    assert "No connection is advised" in render(advice)


def test_direct_voltage_stops_everything_or_the_output_it_was_metered_on() -> None:
    volts = {"hot_direct_voltage": {"value": -2.5, "unit": "V"}}
    assert ask(facts(values=volts), symmetrical()).options == ()
    volts = {"hot_direct_voltage": {"value": 0.15, "unit": "V"},
             "single_ended_direct_voltage": {"value": 0.01, "unit": "V"}}  # fmt: skip
    advice = ask(facts(values=volts), symmetrical())
    assert of(advice, "xlr-to-rca/pin-3-open").verdict == "never"
    assert of(advice, "xlr-to-rca/transformer").verdict == "never"
    assert advice.chosen == "rca-to-rca"
    (told,) = [c.message for c in advice.cautions if c.code == "direct-voltage-not-metered"]
    assert "pin 3 against pin 1" in told
    assert "pin 2" not in told
    assert "RCA" not in told
    volts["cold_direct_voltage"] = {"value": 0.0, "unit": "V"}
    advice = ask(facts(values=volts), symmetrical())
    assert "direct-voltage-not-metered" not in {c.code for c in advice.cautions}


def test_a_simulated_session_says_so() -> None:
    document = facts()
    assert "simulated" not in {c.code for c in ask(document, symmetrical()).cautions}
    document["made"] = {"bench": {"interface": "Simulated bench, two inputs"}}
    assert "A simulated session" in render(ask(document, symmetrical()))


def test_terminals_nobody_metered_are_named_by_side() -> None:
    document = facts(values={"single_ended_direct_voltage": {"value": 0.0, "unit": "V"}})
    document["sides"]["right"] = facts()["sides"]["left"]
    advice = ask(document, {"left": symmetrical(), "right": symmetrical()})
    told = [c.message for c in advice.cautions if c.code == "direct-voltage-not-metered"]
    assert len(told) == 2
    assert "(left) on: pin 2 against pin 1, pin 3 against pin 1." in told[0]
    assert "(right) on: the RCA centre against its shell, pin 2" in told[1]
    # an RCA input fed from an RCA output alone: nothing to meter on pins that do not exist
    only = ask(facts(connectors=("rca",)), symmetrical())
    (said,) = [c.message for c in only.cautions if c.code == "direct-voltage-not-metered"]
    assert "pin" not in said


@pytest.mark.parametrize(
    ("document", "stage", "listed"),
    [
        (facts("electronically-floating"), cross_coupled(), True),
        (facts("impedance-balanced", driven="one-leg"), impedance_balanced(), True),
        (facts("differential"), symmetrical(), False),
        (facts("transformer-coupled", also=({"kind": "differential", "confidence": 0.2},)),
         transformer(), False),
    ],
)  # fmt: skip
def test_joining_pin_3_is_forbidden_only_where_it_is_not_listed(
    document: dict[str, Any], stage: Source, listed: bool
) -> None:
    (told,) = [c.message for c in ask(document, stage).cautions if c.code == "pin-3-tie"]
    assert ("only as listed above" in told) is listed
    assert ("Do not join" in told) is not listed


def test_not_metered_is_a_caution_on_everything() -> None:
    assert "direct-voltage-not-metered" in {c.code for c in ask(facts(), symmetrical()).cautions}


@pytest.mark.parametrize("connector", ["digital-75", "digital-110"])
def test_nothing_analogue_into_a_digital_socket(connector: Any) -> None:
    advice = ask(facts(), symmetrical(), Input("in", connector, "single-ended", 75.0))
    assert advice.options == ()
    assert advice.chosen is None
    assert {"digital", "no-input"} <= {c.code for c in advice.cautions}


def test_nothing_digital_into_an_analogue_socket() -> None:
    advice = ask(facts(connectors=("digital-75",)), symmetrical())
    assert advice.options == ()
    assert {"digital", "no-output"} <= {c.code for c in advice.cautions}


# --- separate legs


def test_separate_legs_into_rca() -> None:
    advice = ask(facts(), symmetrical())
    # 10 V assumed: 5 V behind 50 ohm is 141 mA peak, closed form
    tied = of(advice, "xlr-to-rca/pin-3-tied-at-source")
    assert tied.verdict == "never"
    assert tied.figures.tie_current is not None
    assert tied.figures.tie_current.value == pytest.approx(2**0.5 * 5.0 / 50.02, rel=1e-4)
    assert "assumed 10 V" in tied.reasons[0]
    assert "tie-current" in codes(tied)
    # half the balanced level is what the RCA output gives: fewer parts win
    opened = of(advice, "xlr-to-rca/pin-3-open")
    assert opened.verdict == "works"
    assert opened.figures.level_vs_reference_db is not None
    assert opened.figures.level_vs_reference_db.value == pytest.approx(0.0, abs=1e-3)
    assert advice.chosen == "rca-to-rca"
    assert any("fewest parts" in r for r in of(advice, "rca-to-rca").reasons)


@pytest.mark.parametrize(
    # peak mA of volts/2 behind 50 ohm: 14.1 between 7 and 20, 2.8 below 7
    ("volts", "verdict", "code"),
    [(1.0, "avoid", "tie-current"), (0.2, "avoid", "tie-pointless"), (1.6, "never", "tie-current")],
)
def test_tie_current_at_the_declared_level(volts: float, verdict: str, code: str) -> None:
    advice = ask(facts(), symmetrical(), operating_volts=volts)
    tied = of(advice, "xlr-to-rca/pin-3-tied-at-source")
    assert tied.verdict == verdict
    assert code in codes(tied)


def test_what_is_the_same_at_the_terminals_is_judged_too_and_not_as_a_short_circuit() -> None:
    """Lost: the published way to unbalance a stage, for a kind whose network is the very same."""
    coupled = {"value": 0.94, "unit": "1", "u95": 0.01, "imag": 0.0}
    values = {"coupling_cold_into_hot": coupled, "coupling_hot_into_cold": coupled}
    also = ({"kind": "differential", "confidence": None},)
    told = facts("electronically-floating", also=also, values=values)
    tied = of(ask(told, cross_coupled(), operating_volts=0.2), "xlr-to-rca/pin-3-tied-at-source")
    # closed form: 1 kohm legs and 60 ohm from pin to pin, no amplifier sees less than 1 kohm
    assert tied.verdict in ("use", "works")
    assert "tie-pointless" not in codes(tied)
    assert "tie-pointless" in codes(
        of(ask(facts("electronically-floating", also=also), cross_coupled(), operating_volts=0.2),
           "xlr-to-rca/pin-3-tied-at-source")
    )  # fmt: skip


def test_a_limit_inside_the_interval_cannot_be_told() -> None:
    # 20 mA peak behind 50.02 ohm: 1.4148 V differential; 3 % of doubt spans the limit
    stage = symmetrical(draws=400, spread=0.03)
    advice = ask(facts(), stage, operating_volts=1.415)
    tied = of(advice, "xlr-to-rca/pin-3-tied-at-source")
    assert tied.verdict == "cannot-tell"
    assert "second open take" in tied.reasons[0]


# --- floating stages


def test_electronically_floating_stage_is_tied_at_the_source() -> None:
    advice = ask(facts("electronically-floating"), cross_coupled(), wanted_gain_db=6.0)
    assert verdicts(advice) == {
        "rca-to-rca": "works",
        "xlr-to-rca/pin-3-open": "avoid",
        "xlr-to-rca/pin-3-tied-at-source": "use",
        "xlr-to-rca/pin-3-tied-at-destination": "avoid",
        "xlr-to-rca/transformer": "works",
        "rca-to-rca/transformer": "works",
    }
    used = of(advice, "xlr-to-rca/pin-3-tied-at-source")
    assert "clips-earlier" in codes(used)
    assert used.figures.level_vs_reference_db is not None
    assert used.figures.level_vs_reference_db.value == pytest.approx(6.0, abs=0.05)
    assert "instability" in codes(of(advice, "xlr-to-rca/pin-3-tied-at-destination"))


def test_pin_3_grounded_inside_the_destination_is_a_tie_at_the_far_end() -> None:
    advice = ask(facts("electronically-floating"), cross_coupled(), changed(XLR, pin_3="ground"))
    link = of(advice, "xlr-to-xlr")
    assert (link.verdict, link.pin_3) == ("avoid", "tied-inside-destination")
    differential = ask(facts(), symmetrical(), changed(XLR, pin_3="ground"))
    assert of(differential, "xlr-to-xlr").verdict == "never"


def test_transformer_with_pin_3_open_is_found_lost_by_the_solve() -> None:
    advice = ask(facts("transformer-coupled"), transformer())
    opened = of(advice, "xlr-to-rca/pin-3-open")
    assert opened.verdict == "never"
    assert "signal-lost" in codes(opened)
    for end in ("source", "destination"):
        assert of(advice, f"xlr-to-rca/pin-3-tied-at-{end}").verdict == "works"


# --- ground-sensing


def test_ground_sensing_with_pin_3_open() -> None:
    advice = ask(facts("ground-sensing", driven="one-leg"), ground_sensing())
    assert of(advice, "xlr-to-rca/pin-3-open").verdict == "avoid"
    assert of(advice, "xlr-to-rca/pin-3-tied-at-destination").verdict == "works"
    high = legs(hot=2.0, cold=0.0, z=((100.0, 10e3), (0.0, 10e3)), single=2.0, z_single=100.0)
    opened = of(ask(facts("ground-sensing"), high), "xlr-to-rca/pin-3-open")
    assert opened.verdict == "never"
    assert "sense-open" in codes(opened)


def test_ground_sensing_whose_level_changes_with_the_tie() -> None:
    # 10 % of the signal on the sense pin: hot rises from 2.0 to 2.2 V, 0.83 dB, when it is tied
    stage = legs(hot=2.0, cold=-0.2, z=((100.0, 500.0), (0.0, 500.0)), single=2.0, z_single=100.0)
    opened = of(ask(facts("ground-sensing"), stage), "xlr-to-rca/pin-3-open")
    assert opened.verdict == "never"
    assert "0.8 dB" in opened.reasons[0]


# --- into a balanced input


@pytest.mark.parametrize(
    ("circuit", "verdict"),
    [("difference-amplifier", "avoid"), ("buffered", "works"), ("transformer", "never"),
     ("unknown", "never")],
)  # fmt: skip
def test_rca_into_a_balanced_input_with_pin_3_open(circuit: Any, verdict: str) -> None:
    advice = ask(facts(connectors=("rca",)), symmetrical(), changed(XLR, circuit=circuit))
    assert of(advice, "rca-to-xlr/pin-3-open").verdict == verdict


def test_an_unknown_input_circuit_gives_a_range_with_the_worse_kept() -> None:
    advice = ask(facts(connectors=("rca",)), symmetrical(), changed(XLR, circuit="unknown"))
    opened = of(advice, "rca-to-xlr/pin-3-open")
    level = opened.figures.level
    assert level is not None
    # buffered: nearly the whole 1 V; transformer: next to nothing (closed forms elsewhere)
    assert level.high == pytest.approx(1.0, abs=0.01)
    assert level.low == level.value < 0.01
    assert any(r.startswith("if the input is a transformer") for r in opened.reasons)


# 5 ohm of imbalance behind a receiver of 18 kohm each leg: "a CMRR of 71 dB" (Analog Devices,
# SSM2143 data sheet, p. 7); the other rows are the bridge equation
# Zc/(Zc + Rs1) - Zc/(Zc + Rs2), exact
@pytest.mark.parametrize(
    ("circuit", "each_leg", "first", "imbalance", "expected", "within"),
    [
        ("difference-amplifier", 18e3, 0.0, 5.0, 71.13, 0.05),
        ("buffered", 18e3, 0.0, 5.0, 71.13, 0.01),
        ("buffered", 18e3, 100.0, 5.0, 71.22, 0.01),
        ("buffered", 10e3, 0.0, 10.0, 60.01, 0.01),
        ("buffered", 10e3, 100.0, 10.0, 60.18, 0.01),
        ("buffered", 5e3, 0.0, 10.0, 54.00, 0.01),
        ("buffered", 10e3, 0.0, 600.0, 24.94, 0.01),
        ("buffered", 50e3, 100.0, 10.0, 74.02, 0.01),
        ("buffered", 10e6, 0.0, 10.0, 120.0, 0.01),
    ],
)
def test_input_rejects_what_the_bridge_equation_says(
    circuit: Any, each_leg: float, first: float, imbalance: float, expected: float, within: float
) -> None:
    stage = legs(hot=1.0, cold=1.0, z=((first, 0.0), (0.0, first + imbalance)))
    socket = changed(XLR, circuit=circuit, impedance_ohm=each_leg)
    # no lead to speak of: its conductors would add to the imbalance only if unequal
    response = solve_option(
        BY_ID["xlr-to-xlr"], socket, circuit, 0.0, Cable(0.0, 0.0), sample(stage)
    )
    rejection = -20.0 * np.log10(abs(response.level[0, response.at]))
    assert rejection == pytest.approx(expected, abs=within)


def test_an_unconnected_pin_3_into_a_difference_amplifier_is_avoided() -> None:
    stage = legs(hot=2.0, cold=0.0, z=((100.0, 0.0), (0.0, 1e7)), single=2.0, z_single=100.0)
    advice = ask(facts("pin-3-unconnected", driven="one-leg"), stage, XLR)
    link = of(advice, "xlr-to-xlr")
    assert link.verdict == "avoid"
    assert advice.chosen in (
        "rca-to-xlr/pin-3-tied-at-source",
        "rca-to-xlr/pin-3-tied-at-destination",
    )


def test_impedance_balanced_output() -> None:
    advice = ask(facts("impedance-balanced", driven="one-leg"), impedance_balanced(), RCA, XLR)
    opened = of(advice, "xlr-to-rca/pin-3-open").figures.level
    tied = of(advice, "xlr-to-rca/pin-3-tied-at-source").figures.level
    assert opened is not None
    assert tied is not None
    assert opened.value == pytest.approx(tied.value, rel=1e-4)
    assert any("rejects ground noise" in r for r in of(advice, "xlr-to-xlr").reasons)


def test_an_input_that_needs_both_legs_prefers_the_pair() -> None:
    both = changed(XLR, both_legs_required=True)
    advice = ask(facts(), symmetrical(), both)
    assert "one-half-undriven" in codes(of(advice, "rca-to-xlr/pin-3-tied-at-source"))
    assert "one-half-undriven" not in codes(of(advice, "rca-to-xlr/transformer"))
    assert advice.chosen == "xlr-to-xlr"


# --- loudness, wanted gain, choice


def test_loudness_counts_the_sensitivities() -> None:
    rca, xlr = changed(RCA, sensitivity_volts=1.0), changed(XLR, sensitivity_volts=2.0)
    link = of(ask(facts(), symmetrical(), rca, xlr), "xlr-to-xlr").figures
    # twice the volts into half the sensitivity: level +6.0 dB, loudness 0 dB
    assert link.level_vs_reference_db is not None
    assert link.loudness_vs_reference_db is not None
    assert link.level_vs_reference_db.value == pytest.approx(6.02, abs=0.05)
    assert link.loudness_vs_reference_db.value == pytest.approx(0.0, abs=0.05)


def test_without_sensitivities_loudness_is_absent_and_named() -> None:
    link = of(ask(facts(), symmetrical(), RCA, XLR), "xlr-to-xlr")
    assert link.figures.loudness_vs_reference_db is None
    assert "loudness_vs_rca_db" not in link.to_json()
    assert any("sensitivity_v" in r for r in link.reasons)


def test_without_an_rca_link_the_native_xlr_link_is_the_reference() -> None:
    advice = ask(facts(), symmetrical(), XLR)
    option = of(advice, "rca-to-xlr/pin-3-tied-at-destination")
    assert option.reference == "xlr-link"
    assert option.figures.level_vs_reference_db is not None
    assert option.figures.level_vs_reference_db.value == pytest.approx(-6.0, abs=0.1)
    assert any("native XLR link" in r for r in option.reasons)
    assert advice.chosen == "xlr-to-xlr"


def test_without_any_link_nothing_is_claimed_against_one() -> None:
    option = of(ask(facts(connectors=("xlr",)), symmetrical()), "xlr-to-rca/pin-3-open")
    assert "level_vs_rca_db" not in option.to_json()
    assert any("no comparison" in r for r in option.reasons)


def test_a_gain_nobody_gives_is_said() -> None:
    advice = ask(facts(), symmetrical(), wanted_gain_db=12.0, operating_volts=1.0)
    assert advice.chosen == "xlr-to-rca/transformer"
    gain = of(advice, "xlr-to-rca/transformer").figures.level_vs_reference_db
    assert gain is not None
    # regression only: the figure said is that of the option chosen
    assert f"+12 dB is not reached: this gives {gain.value:+.1f} dB" in advice.choices[0].why[0]


def test_a_tie_in_gain_tells_the_gain_of_the_one_chosen() -> None:
    """The RCA output is 0.7 dB softer than pin 2: a tie, won by the fewest parts."""
    stage = legs(hot=1.084, cold=-1.084, z=((50.0, 0.0), (0.0, 50.0)), single=1.0, z_single=50.0)
    advice = ask(facts(), stage, wanted_gain_db=12.0)
    assert advice.chosen == "rca-to-rca"
    assert "not reached: this gives 0.0 dB" in advice.choices[0].why[0]


def test_out_of_reach_a_hazard_buys_nothing() -> None:
    # at the 10 V assumed, the transformer is beyond its 5 V at 20 Hz (part data of the advice)
    advice = ask(facts(), symmetrical(), wanted_gain_db=12.0)
    assert "saturation" in codes(of(advice, "xlr-to-rca/transformer"))
    assert advice.chosen == "rca-to-rca"


def test_an_overloaded_option_is_not_used_while_a_clean_one_works() -> None:
    socket = changed(RCA, maximum_volts=3.0, sensitivity_volts=1.0)
    advice = ask(facts(), symmetrical(), socket, wanted_gain_db=6.0, operating_volts=4.0)
    # 4 V between the legs: 4 V through the transformer, 2 V on the RCA output
    assert "overload" in codes(of(advice, "xlr-to-rca/transformer"))
    assert of(advice, "xlr-to-rca/transformer").verdict == "works"
    assert advice.chosen == "rca-to-rca"
    assert "does not overload" in " ".join(advice.choices[0].why)


def test_options_with_different_figures_are_told_apart() -> None:
    """Two options lose level for one reason, by different amounts."""
    advice = ask(facts(), symmetrical())
    lossy = [
        dataclasses.replace(o, verdict="avoid", reasons=(f"{k}.7 dB is lost at 20 Hz",),
                            hazards=(Note("loss", f"{k}.7 dB is lost at 20 Hz"),))
        for k, o in enumerate(advice.options)
    ]  # fmt: skip
    text = render(dataclasses.replace(advice, options=tuple(lossy)))
    for k, o in enumerate(lossy):
        assert f"- {o.option.id} (avoid): {k}.7 dB is lost" in text


def test_the_table_shows_hazards_of_what_works() -> None:
    advice = ask(facts("electronically-floating"), cross_coupled())
    lines = render(advice).splitlines()
    row = next(i for i, t in enumerate(lines) if "pin-3-tied-at-source" in t)
    assert lines[row].startswith("works, but")
    assert "clips earlier" in lines[row]


def test_a_level_that_cannot_be_carried_is_not_said_to_be_the_declared_one() -> None:
    stage = legs(hot=1.0, cold=-1.0, z=((50.0, 0.0), (0.0, 50.0)), single=1.0, z_single=50.0)
    voc, drawn, pins = stage.voc.copy(), stage.voc_draws.copy(), stage.legs_voc.copy()
    pins_drawn = stage.legs_voc_draws.copy()
    for array in (voc, drawn, pins, pins_drawn):
        array[..., :2] = np.nan
    bare = dataclasses.replace(
        stage, voc=voc, voc_draws=drawn, legs_voc=pins, legs_voc_draws=pins_drawn
    )
    advice = ask(facts(), bare, operating_volts=4.0)
    level = of(advice, "rca-to-rca").figures.level
    assert level is not None
    # closed form: 1 V behind 50 ohm into 47 kohm, where it was measured
    assert level.value == pytest.approx(47e3 / 47.05e3, rel=1e-3)
    text = render(advice)
    assert "at the measured level" in text
    assert "at the declared 4 V," not in text
    assert any("cannot be carried" in r for r in of(advice, "rca-to-rca").reasons)


def test_a_declared_level_stands_on_the_driven_leg_where_the_other_is_only_a_bound() -> None:
    """An open pin 3 that strays fill to a third of pin 2 makes the difference two thirds."""
    stage = legs(hot=1.0, cold=0.33, z=((100.0, 0.0), (0.0, 2e6)), single=1.0, z_single=100.0)
    values = {"differential_level": {"value": 0.67, "unit": "V", "limited_by_bench": True}}
    document = facts("pin-3-unconnected", driven="one-leg", values=values)
    level = of(ask(document, stage, operating_volts=4.0), "xlr-to-rca/pin-3-open").figures.level
    assert level is not None
    # closed form: 4 V on pin 2 behind 100 ohm into 47 kohm
    assert level.value == pytest.approx(4.0 * 47e3 / 47.1e3, rel=2e-3)


def test_a_long_run_prefers_what_rejects_ground_differences() -> None:
    near = ask(facts(), symmetrical(), RCA, XLR)
    far = ask(facts(), symmetrical(), RCA, XLR, cable=Cable(8.0, 800e-12, 0.24, 0.02))
    assert (near.chosen, far.chosen) == ("rca-to-rca", "xlr-to-xlr")
    assert near.choices[0].why[0].startswith("it is the RCA link itself")
    assert far.choices[0].why[1] == "rejects ground differences over 8 m"
    # 6 dB more than is wanted are no reason (regression only)
    assert far.choices[0].why[-1] == "at least as loud as the RCA link"
    assert "long-run" in codes(of(far, "rca-to-rca"))
    # with an RCA input alone length by itself buys no transformer; into a balanced input the
    # three-conductor lead is preferred (common practice, no source)
    only_rca = ask(facts(), symmetrical(), RCA, cable=Cable(8.0, 800e-12, 0.24, 0.02))
    from_rca = ask(facts(connectors=("rca",)), symmetrical(), XLR,
                   cable=Cable(8.0, 800e-12, 0.24, 0.02))  # fmt: skip
    assert only_rca.chosen == "rca-to-rca"
    assert from_rca.chosen == "rca-to-xlr/pin-3-tied-at-source"


def test_full_output_margin_needs_an_operating_level() -> None:
    socket = changed(RCA, sensitivity_volts=1.5)
    assert (
        of(ask(facts(), symmetrical(), socket), "rca-to-rca").figures.full_output_margin_db is None
    )
    advice = ask(facts(), symmetrical(), socket, operating_volts=4.0)
    margin = of(advice, "rca-to-rca").figures.full_output_margin_db
    assert margin is not None
    # 4 V differential is 2 V single-ended: 20 log10(2/1.5) less the bridging loss of 0.01 dB
    assert margin.value == pytest.approx(2.499 - 0.0092, abs=2e-3)


def test_full_output_of_the_device_is_the_operating_point() -> None:
    advice = ask(facts(device={"full_output_volts": 8.0}), symmetrical())
    level = of(advice, "rca-to-rca").figures.level
    assert level is not None
    assert level.value == pytest.approx(4.0, rel=2e-3)
    assert "8 V" in advice.operating


def test_overload_is_a_caution_and_avoided_where_normal_use_runs_close() -> None:
    roomy = changed(RCA, maximum_volts=3.0, sensitivity_volts=1.0)
    tight = changed(RCA, maximum_volts=3.0, sensitivity_volts=2.0)
    works = ask(facts(), symmetrical(), roomy)
    assert (works.chosen, works.choices[0].attenuator) == ("rca-to-rca", False)
    assert "overload" in codes(of(works, "rca-to-rca"))
    # of a device that gives so much nothing else works either: chosen, but only with the
    # attenuator (8 V between the legs are 4 V on the RCA output, above the 3 V)
    loud = facts(device={"full_output_volts": 8.0})
    avoid = ask(loud, symmetrical(), tight)
    assert (avoid.chosen, avoid.choices[0].attenuator) == ("rca-to-rca", True)
    assert of(avoid, "xlr-to-rca/pin-3-open").verdict == "avoid"
    assert any("attenuator" in r for r in of(avoid, "rca-to-rca").reasons)
    # a most that merely is assumed is minded, and nothing is soldered for it
    assumed = ask(facts(), symmetrical(), tight)
    assert (assumed.chosen, assumed.choices[0].attenuator) == ("rca-to-rca", False)
    assert "overload" in codes(of(assumed, "rca-to-rca"))
    assert of(assumed, "rca-to-rca").attenuator is None


@pytest.mark.parametrize(
    "more",
    [
        {"values": {"hot_direct_voltage": {"value": 0.15, "unit": "V"}}},
        {"stage": {"refused": [{"from": "hot", "to": "ground", "ohm": 47e3, "seen": "x"}]}},
    ],
    ids=["direct voltage", "a load it did not drive"],
)  # fmt: skip
def test_what_may_do_harm_is_not_the_least_bad(more: dict[str, Any]) -> None:
    # safety: whoever reads that a lead is the least bad tries it
    advice = ask(facts(connectors=("xlr",), **more), cross_coupled())
    assert advice.chosen is None
    assert advice.choices[0].best is None
    assert "USE NOTHING YET" in render(advice)
    assert "least bad: xlr" not in render(advice)


def test_what_only_has_a_drawback_is_the_least_bad() -> None:
    # closed form: 100 mV across 1 ohm and the lead's shield: far less than 75 dB below 1 V
    loud = changed(RCA, sensitivity_volts=1.0, ground=GroundPath(0.1, ohm=1.0))
    advice = ask(facts(connectors=("rca",)), symmetrical(), loud,
                 transformer=find_transformer("sorrel"))  # fmt: skip
    assert advice.chosen is None
    # closed form: 1.5 H (188 ohm at 20 Hz) beside 160 ohm: some dB of bass, no hum that is loud
    assert advice.choices[0].best == "rca-to-rca/transformer"


def test_a_subwoofer_is_judged_on_bass_only() -> None:
    # 2.2 kohm into 10 nF: -2.8 dB at 20 kHz, nothing at 200 Hz
    stage = source(single=1.0, z_single=2200.0)
    lead = Cable(100.0, 10e-9, 3.0, 0.02)
    document = facts(connectors=("rca",))
    amplifier = of(ask(document, stage, RCA, cable=lead), "rca-to-rca")
    subwoofer = of(ask(document, stage, changed(RCA, role="subwoofer"), cable=lead), "rca-to-rca")
    assert (amplifier.verdict, subwoofer.verdict) == ("avoid", "use")


# --- doubt about the stage


def test_every_kind_still_possible_is_evaluated_and_the_worst_kept() -> None:
    also = ({"kind": "differential", "confidence": 0.6},
            {"kind": "electronically-floating", "confidence": 0.4})  # fmt: skip
    document = facts("undetermined", also=also, next_take="load-cold")
    advice = ask(document, symmetrical())
    opened = of(advice, "xlr-to-rca/pin-3-open")
    assert opened.verdict == "avoid"
    assert opened.reasons[0].startswith("if the stage is electronically floating")


def test_a_kind_of_small_share_is_not_evaluated() -> None:
    also = ({"kind": "electronically-floating", "confidence": 0.01},)
    assert of(ask(facts(also=also), symmetrical()), "xlr-to-rca/pin-3-open").verdict == "works"


def test_single_ended_level_not_measured_names_the_take() -> None:
    advice = ask(facts(), source(z_diff=100.0, z_common=25.0))
    link = of(advice, "rca-to-rca")
    assert link.verdict == "cannot-tell"
    assert "level" not in link.to_json()
    assert "a take of the RCA output" in link.reasons[0]


def test_single_ended_impedance_not_measured_widens_the_interval() -> None:
    advice = ask(facts(), source(z_diff=100.0, z_common=25.0, single=1.0))
    link = of(advice, "rca-to-rca")
    level = link.figures.level
    assert link.verdict == "use"
    assert level is not None
    # 0 to 2.2 kohm (IEC 61938, largest of a line output) into 47 kohm, closed form
    assert level.low == pytest.approx(47.0 / 49.2, rel=1e-4)
    assert level.high == pytest.approx(1.0, rel=1e-4)
    assert any("0 to 2200 ohm" in r for r in link.reasons)


def test_a_level_given_as_recorded_may_have_been_higher_open() -> None:
    values = {"single_ended_level": {"value": 1.0, "unit": "V", "limited_by_bench": True}}
    document = facts(values=values) | {"made": {"bench": {"input": [{"impedance_ohm": 20e3}]}}}
    level = of(ask(document, source(z_diff=100.0, z_common=25.0, single=1.0)), "rca-to-rca")
    assert level.figures.level is not None
    # 2.2 kohm under the recorder's 20 kohm: 1 + 2.2/20 open, times 47/49.2 into the input
    assert level.figures.level.high == pytest.approx(1.11 * 47.0 / 49.2, rel=1e-4)


def _cold_unknown(stage: Source) -> Source:
    """The same stage with no current ever drawn from pin 3."""
    z, legs_z = stage.z.copy(), stage.legs_z.copy()
    z[:, :2, :2] = np.nan
    legs_z[:, :2, 1] = np.nan
    return dataclasses.replace(stage, z=z, legs_z=legs_z)


def test_pin_3_never_loaded_leaves_what_uses_pin_2_alone() -> None:
    document = facts("impedance-balanced", driven="one-leg")
    whole, partial = (
        of(ask(document, stage), "xlr-to-rca/pin-3-open").figures.level
        for stage in (impedance_balanced(), _cold_unknown(impedance_balanced()))
    )
    assert whole is not None
    assert partial is not None
    assert partial.value == pytest.approx(whole.value, rel=1e-9)


def test_a_silent_pin_3_of_unknown_impedance_still_gives_the_tied_level() -> None:
    document = facts("impedance-balanced", driven="one-leg")
    tied = of(ask(document, _cold_unknown(impedance_balanced())), "xlr-to-rca/pin-3-tied-at-source")
    assert tied.verdict == "works"
    assert tied.figures.level is not None
    # no signal on pin 3: whatever its impedance, 2 V behind 100 ohm into 47 kohm
    assert tied.figures.level.value == pytest.approx(2.0 * 47.0 / 47.1, rel=1e-4)
    assert tied.figures.level.u95 < 1e-4
    assert any(r.startswith("assumed: ") for r in tied.reasons)


def test_a_driven_pin_3_of_unknown_impedance_cannot_be_told() -> None:
    document = facts(also=(), next_take=None)
    tied = of(ask(document, _cold_unknown(symmetrical())), "xlr-to-rca/pin-3-tied-at-source")
    # 0 to 2.2 kohm under 5 V: from 3 mA to amperes
    assert tied.verdict == "cannot-tell"
    assert "resistor from pin 3" in " ".join(tied.reasons)


def test_a_fault_without_a_model_and_without_measurement_cannot_be_told() -> None:
    document = facts("faulty", stage={"faults": ["cold-leg-dead"]})
    advice = ask(document, _cold_unknown(symmetrical()))
    tied = of(advice, "xlr-to-rca/pin-3-tied-at-source")
    assert tied.verdict == "cannot-tell"
    assert "stage-fault" in codes(tied)


def test_legs_in_phase_do_not_blow_up_the_drive() -> None:
    stage = legs(hot=1.0, cold=0.999, z=((50.0, 0.0), (0.0, 50.0)), single=1.0, z_single=50.0)
    advice = ask(facts("faulty", stage={"faults": ["legs-in-phase"]}), stage, RCA, XLR)
    assert of(advice, "xlr-to-xlr").verdict == "never"
    level = of(advice, "xlr-to-rca/pin-3-open").figures.level_at_maximum
    assert level is not None
    assert level.value < 11.0


def test_signal_on_pin_3_alone_makes_pin_2_useless() -> None:
    stage = legs(hot=0.0, cold=2.0, z=((100.0, 0.0), (0.0, 100.0)), single=2.0, z_single=100.0)
    document = facts("impedance-balanced", driven="one-leg", stage={"polarity": "pin-3-hot"})
    advice = ask(document, stage)
    assert of(advice, "xlr-to-rca/pin-3-open").verdict == "never"
    assert "polarity" in codes(of(advice, "xlr-to-rca/transformer"))


# --- both sides, several boxes, the form of the answer


def _stereo(left: str, right: str) -> dict[str, Any]:
    document = facts(left)
    document["sides"]["right"] = facts(right)["sides"]["left"]
    return document


def test_both_sides_are_connected_alike() -> None:
    document = _stereo("electronically-floating", "transformer-coupled")
    advice = ask(document, {"left": cross_coupled(), "right": transformer()}, wanted_gain_db=0.0,
                 cable=Cable(1.0))  # fmt: skip
    assert {o.option.id for o in advice.options if o.verdict == "use"} == {advice.chosen}
    assert sum(o.verdict == "use" for o in advice.options) == 2
    only_left = of(advice, "xlr-to-rca/pin-3-tied-at-destination", "right")
    assert only_left.verdict == "works"


def test_what_one_side_forbids_is_not_chosen() -> None:
    document = _stereo("differential", "differential")
    none = {f"{leg}_direct_voltage": {"value": 0.0} for leg in ("hot", "cold")}
    document["sides"]["left"]["facts"] = dict(none)
    document["sides"]["right"]["facts"] = {**none, "single_ended_direct_voltage": {"value": 0.2}}
    advice = ask(document, {"left": symmetrical(), "right": symmetrical()})
    assert advice.chosen == "xlr-to-rca/pin-3-open"
    # source: common practice, no source: a terminal not metered is not trusted beside one that
    # carries direct voltage
    del document["sides"]["left"]["facts"]["cold_direct_voltage"]
    advice = ask(document, {"left": symmetrical(), "right": symmetrical()})
    assert advice.chosen is None
    text = " ".join(render(advice).split())
    assert text.index("FIRST Do not connect this output (RCA)") < text.index("USE NOTHING YET")
    assert "200 mV on the RCA centre (right)" in text


def test_boxes_are_chosen_for_separately() -> None:
    sub = changed(RCA, name="sub", box="subwoofer", role="subwoofer")
    advice = ask(facts(), symmetrical(), XLR, sub)
    document = advice.to_json()
    (together,) = document["sets"]
    assert [c["destination"] for c in together["choices"]] == ["amplifier", "subwoofer"]
    assert together["solved_together"] is True
    assert [o["destination"] for o in together["options"]] == ["amplifier", "subwoofer"]
    assert sum(o["verdict"] == "use" for o in document["options"]) == 2


@pytest.mark.parametrize("kind", ["differential", "transformer-coupled", "undetermined"])
@pytest.mark.long
def test_json_is_plain_and_complete(kind: str) -> None:
    socket = changed(XLR, circuit="unknown", sensitivity_volts=2.0)
    advice = ask(facts(kind), transformer(draws=100, spread=1e-3), RCA, socket)
    text = json.dumps(advice.to_json(), allow_nan=False)
    document = json.loads(text)
    assert document["format"] == "probe-advice/1"
    assert document["provisional"] is True
    assert sum(o["verdict"] == "use" for o in document["options"]) <= 1
    for option in document["options"]:
        assert {"id", "side", "destination", "from", "to", "adapter", "pin_3", "loss_db",
                "bandwidth_hz", "hazards", "verdict", "reasons"} <= set(option)  # fmt: skip
        assert option["verdict"] in {"use", "works", "avoid", "never", "cannot-tell"}
        for key in ("level", "level_vs_rca_db", "tie_current"):
            if key in option:
                assert {"value", "unit"} <= set(option[key])
                assert "u95" in option[key] or "bound" in option[key]
        assert any("hum" in r for r in option["reasons"])


def test_a_side_that_never_played_is_said() -> None:
    advice = ask(facts(), {})
    assert advice.chosen is None
    assert "nothing-measured" in {c.code for c in advice.cautions}
    assert "open take" in " ".join(render(advice).split())


def test_a_side_whose_takes_contradict_each_other_is_said() -> None:
    said = {"code": "contradicting-take", "take": "left open", "message": "repeat left open"}
    advice = ask(facts() | {"warnings": [said]}, {})
    assert [c.code for c in advice.cautions if "measured" in c.code or "takes" in c.code] == [
        "takes-contradict"
    ]
    assert "repeat left open" in " ".join(render(advice).split())
    assert why_nothing(advice.to_json(), ()) != why_nothing({}, ())


@pytest.mark.parametrize(
    "damage",
    [{"sides": None}, {"sides": {"left": None}}, {"device": "Tern"},
     {"sides": {"left": {"stage": {"also_possible": [{}]}, "facts": {}}}},
     {"sides": {"left": {"stage": {}, "facts": {"hot_direct_voltage": {"value": "x"}}}}}],
)  # fmt: skip
def test_damaged_facts_are_one_line(damage: dict[str, Any]) -> None:
    with pytest.raises(BadInput, match="write them again") as caught:
        ask(facts() | damage, symmetrical())
    assert "\n" not in str(caught.value)


def test_intervals_follow_the_draws() -> None:
    stage = symmetrical(draws=400, spread=0.01)
    level = of(ask(facts(), stage), "rca-to-rca").figures.level
    assert level is not None
    # level and impedance scale by 1 % (1 sd); 1.96 sd of the level within the scatter of 400 draws
    assert level.u95 == pytest.approx(1.96 * 0.01 * level.value, rel=0.15)


def test_a_declared_level_is_not_doubted_again() -> None:
    stage = symmetrical(draws=400, spread=0.01)
    level = of(ask(facts(), stage, operating_volts=4.0), "xlr-to-rca/pin-3-open").figures.level
    assert level is not None
    # 50 ohm into 47 kohm: a doubt of 1 % in both leaves 2 V less 0.1 % +- 0.002 %
    assert level.value == pytest.approx(2.0 * 47.0 / 47.05, rel=1e-5)
    assert level.u95 < 1e-3 * level.value


def test_text_puts_the_choice_first_and_fits_the_screen() -> None:
    text = render(ask(facts("electronically-floating"), cross_coupled(), wanted_gain_db=6.0))
    lines = text.splitlines()
    assert max(map(len, lines)) <= WIDTH
    # two thirds of a screen of 60 lines of 80 columns
    assert len(lines) <= 40
    assert lines[2].startswith("USE  xlr-to-rca/pin-3-tied-at-source")
    assert "provisional" in lines[0]
    order = [text.index(word) for word in ("USE", "Why", "Gives", "Do not", "Before you connect")]
    assert order == sorted(order)
    assert "better sound" not in text


def test_a_rise_is_minded() -> None:
    def minded(loss: float) -> set[str]:
        found = Figures(connection_loss_at_20_hz=Quantity(loss, "dB", loss - 0.1, loss + 0.1))
        case = SimpleNamespace(figures=found)
        return {f.code for f in rules._rise(case)}  # type: ignore[arg-type]

    # our own judgement: 1 dB, as of a loss; the unfavourable end of the interval decides
    assert minded(-1.6) == {"response-rise"}
    assert minded(-0.95) == {"response-rise"}
    assert minded(-0.8) == set()
    assert minded(1.6) == set()
