"""On the screen beside the choice: hum of every option, why not the XLR lead, faults."""

from __future__ import annotations

import re

import pytest

from probe.advice.advise import ask
from probe.advice.destination import Destination, Input
from probe.advice.ground import of_preset
from probe.advice.model import Advice
from probe.advice.quantity import Quantity
from probe.advice.rows import table
from probe.advice.text import render
from probe.advice.typed import looks_typed, typed_destination
from probe.advice.words import decibels, figure
from probe.errors import BadInput
from tests.advice.stages import facts, ground_sensing, impedance_balanced, source, symmetrical

FAR = of_preset("two-rooms")
RCA = Input("rca", "rca", "single-ended", 47e3, sensitivity_volts=1.0, ground=FAR)
XLR = Input("xlr", "xlr", "balanced", 20e3, circuit="buffered", impedance_is="each-leg",
            sensitivity_volts=2.0, ground=FAR)  # fmt: skip


def asked(kind: str, source: object, *inputs: Input, **more: object) -> Advice:
    driven = "both-legs" if kind == "differential" else "one-leg"
    document = facts(kind, driven=driven, **more)  # type: ignore[arg-type]
    return ask(document, {"left": source}, Destination("amp", inputs))  # type: ignore[dict-item]


def why(advice: Advice) -> str:
    return "; ".join(advice.choices[0].why)


def test_the_hum_of_every_option_stands_in_its_line() -> None:
    advice = asked("differential", symmetrical(), XLR, RCA)
    lines = render(advice).splitlines()
    assert max(map(len, lines)) <= 80
    assert sum("dB hum down" in line for line in lines) == 2
    for option in advice.options:
        hum = option.figures.hum_below_full_output_db
        assert hum is not None
        (row,) = [t for t in lines if re.match(rf"\S+(, but)? +{option.option.id} ", t)]
        # the figure itself, in whole decibels
        shown = ">120" if hum.low > 120.0 else f"{hum.low:.0f}"
        assert shown in row.split(option.option.id)[1]


def test_why_not_the_plain_xlr_lead_is_always_said() -> None:
    # the RCA lead hums; the silent leg makes the XLR lead 6 dB quieter, which the volume makes up
    advice = asked("impedance-balanced", impedance_balanced(), XLR, RCA)
    assert advice.chosen == "xlr-to-xlr"
    assert why(advice).startswith("6.0 dB quieter than the RCA link at the same volume setting")
    # at rest in one room the RCA lead wins, and the XLR lead is named all the same
    near = [Input(s.name, s.connector, s.receiver, s.impedance_ohm, circuit=s.circuit,
                  impedance_is=s.impedance_is, sensitivity_volts=s.sensitivity_volts)
            for s in (XLR, RCA)]  # fmt: skip
    quiet = asked("impedance-balanced", impedance_balanced(), *near)
    assert quiet.chosen == "rca-to-rca"
    assert "xlr-to-xlr works too, but" in why(quiet)


def test_a_figure_in_the_reasons_is_that_of_the_chosen_one() -> None:
    near = Input("rca", "rca", "single-ended", 22e3, sensitivity_volts=1.0,
                 ground=of_preset("same-strip"))  # fmt: skip
    advice = asked("ground-sensing", ground_sensing(), near)
    (chosen,) = [o for o in advice.options if o.verdict == "use"]
    hum = chosen.figures.hum_below_full_output_db
    assert hum is not None
    assert f"hum is out of hearing: {decibels(hum)} below full output" in why(advice)


def test_a_fault_stands_before_the_choice() -> None:
    faulty = {"faults": ["coupling-capacitor-cold"]}
    text = render(asked("differential", symmetrical(), RCA, stage=faulty))
    assert text.index("FIRST  The balanced output has a fault: dried coupling") < text.index("USE")
    told = " ".join(text.split())
    assert told.count("dried coupling capacitor on the cold leg (left)") == 1


@pytest.mark.parametrize(
    ("typed", "says"),
    [
        ("xlr:20k/leg:0V", "the level for full output: must be above 0"),
        ("rca:47k/leg:1V", "an RCA input has one impedance, centre to shell: write 47k"),
        ("rca:47k:1.5V:max=0.5V", "max=: 0.5 V is below the level for full output"),
        ("rca:47k:1.5V:pin-3-ground", "what pin 3 does: belongs to an xlr input"),
        ("rca:47k:1V:mismatch=1%", "mismatch=: belongs to an xlr input; rca has no pin 3"),
        ("xlr:20k/leg:mismatch=300", "mismatch=: must be below 100"),
        ("rca:47k:1V:1V", "the level for full output is given twice"),
    ],
)
def test_complaints_about_what_was_typed_name_no_key_of_a_file(typed: str, says: str) -> None:
    with pytest.raises(BadInput) as complaint:
        typed_destination(typed, 50.0)
    assert says in str(complaint.value)
    assert not re.search(r"input\[|line \d|sensitivity_v|maximum_v", str(complaint.value))


@pytest.mark.parametrize("digits", [400, 5000])
def test_more_digits_than_a_file_name_holds_are_typed_ones(digits: int) -> None:
    text = f"rca:{'9' * digits}:1V"
    assert looks_typed(text)
    with pytest.raises(BadInput) as complaint:
        typed_destination(text, 50.0)
    # a line of a screen or two, whatever was typed
    assert len(str(complaint.value)) < 250


def test_an_impedance_no_line_input_has_is_asked_about() -> None:
    # common practice, no source: nothing below the matched lines of 600 ohm
    for ohm, codes in ((47.0, {"unlikely-impedance"}), (600.0, set())):
        advice = asked("differential", symmetrical(), Input("rca", "rca", "single-ended", ohm))
        assert {c.code for c in advice.cautions} & {"unlikely-impedance"} == codes


@pytest.mark.parametrize(
    ("quantity", "said"),
    [
        # the ends themselves: a +/- would lie about one of them
        (Quantity(3.9630, "V", 3.9623, 3.9815), "3.9623 to 3.9815 V"),
        (Quantity(2.113, "V", 2.101, 2.125), "2.113 +/- 0.012 V"),
    ],
)
def test_lopsided_volts_are_told_by_their_ends(quantity: Quantity, said: str) -> None:
    assert figure(quantity) == said


def test_the_worse_of_what_may_be_is_not_said_twice() -> None:
    assert decibels(Quantity(-0.1, "dB", -0.1, 0.2)) == "-0.1 to 0.2 dB"
    assert decibels(Quantity(97.5, "dB", 78.7, 103.2)) == "97.5 dB (78.7 to 103.2)"


def test_sides_that_differ_in_digits_stand_in_one_row() -> None:
    document = facts()
    document["sides"] = dict.fromkeys(("left", "right"), document["sides"]["left"])
    left = symmetrical()
    right = source(diff=2.4, z_diff=100.0, z_common=25.0, single=1.0, z_single=50.0)
    found = ask(document, {"left": left, "right": right}, Destination("amp", (RCA,)))
    (row,) = [line for line in table(found.options) if "xlr-to-rca/pin-3-open" in line]
    # closed form: half of 2.0 and of 2.4 V against 1.0 V of the RCA
    assert "0.0 to +1.6" in row
