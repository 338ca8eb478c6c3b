"""What is said in short where a maker decides has all that is bought, and what must not be done."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import pytest

from probe.advice.advise import advise
from probe.advice.destination import together
from probe.advice.model import Advice
from probe.advice.source_file import read_source
from probe.advice.text import render
from probe.advice.typed import changed, typed_destination
from probe.cli.main import main
from probe.report.leaflet import leaves_of
from tests.advice.test_less_to_buy import OPEN, PHONO, THROUGH, TIED, part, shelf_of

DEVICE = """format = "probe-source/1"
{said}
[device]
maker = "Quell"
model = "Fallow"
output = "line"
connectors = {connectors}
{more}
"""

FIXED = "volume_control = false"

SHELF = shelf_of(
    part("open", "adapter", "xlr-female rca-female", OPEN, 10.0),
    part("tie", "adapter", "xlr-female rca-female", TIED, 11.0),
    part("phono 1 m", "lead", "rca-male rca-male", PHONO, 8.0, length_m=1.0),
    part("XLR 1 m", "lead", "xlr-female xlr-male", THROUGH, 14.0, length_m=1.0),
    part("isolator", "transformer", "xlr-female rca-female", [], 80.0, transformer="alder")
    .replace("wires = []\n", ""),
)  # fmt: skip


def written(
    folder: Path, said: str, more: str = "", connectors: tuple[str, ...] = ("xlr",)
) -> Path:  # fmt: skip
    path = folder / "source.toml"
    text = DEVICE.format(said=said, more=more, connectors=json.dumps(connectors))
    path.write_text(text, "utf-8")
    return path


def ask(path: Path, *into: str, ground: str = "same-strip", cable: str = "1m") -> Advice:
    boxes = [typed_destination(one, 50.0) for one in into]
    there = together(boxes) if len(boxes) > 1 else boxes[0]
    return advise(*read_source(path), changed(there, ground=ground, cable=cable))


def listed(
    path: Path, capsys: pytest.CaptureFixture[str], *args: str
) -> tuple[str, str]:  # fmt: skip
    """Return what is taken from the shelf, in short and at length."""
    (shelf := path.with_name("shelf.toml")).write_text(SHELF, "utf-8")
    said = []
    for more in ((), ("--details",)):
        line = ["advise", str(path), *args, "--ground", "same-strip", "--cable", "1m"]
        assert main([*line, "--shelf", str(shelf), *more]) == 0
        said.append(" ".join(capsys.readouterr().out.split()).partition("From the shelf ")[2])
    return said[0], said[1]


UNKNOWN = 'kinds = ["balanced"]\ndifferential_level_v = {}\ndifferential_impedance_ohm = 150.0'


@pytest.mark.long
def test_what_is_not_on_the_shelf_is_not_left_out_of_a_price(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Lost: two leads before two isolators to be ordered were cheaper than what does without."""
    path = written(tmp_path, UNKNOWN.format(6.0))
    short, whole = listed(path, capsys, "rca:22k:1V:max=2V")
    (answer,) = [a for a in short.split(" - ") if a.startswith("if it is for certain cross-coup")]
    # arithmetic: two leads of 14; of the isolator and its attenuator two each are to be ordered,
    # for the isolator of this shelf takes 5 V at 20 Hz, and 6 V come
    without = "28.00 EUR, without 4 pieces to be ordered, whose price is not known"
    asks = "without a volume control (one more question then may spare the isolator): "
    assert asks in answer
    assert without in answer
    assert "without 4 pieces to be ordered" in whole
    # how resistors are made is for who makes them
    assert "kohm" not in short
    assert "kohm in the lead to the centre" in whole


@pytest.mark.long
def test_what_has_to_be_in_the_plug_is_on_the_short_list(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Lost: 4 V that nothing turns down into an input that accepts 1 V, and no attenuator."""
    path = written(tmp_path, 'kinds = ["balanced"]\ndifferential_level_v = 4.0', FIXED)
    short, _ = listed(path, capsys, "rca:20k:0.5V:max=1V")
    first = short.split(" - ")[0]
    assert "against the overload, order, 2 x: attenuator" in first
    # arithmetic: two adapters of 10, two leads of 8
    assert "36.00 EUR, without 2 pieces to be ordered, whose price is not known" in first
    advice = ask(path, "rca:20k:0.5V:max=1V")
    minds = "mind: more may come than the input accepts, and nothing turns it down"
    assert minds in " ".join(render(advice).split())
    assert any(minds in line for line in leaves_of(advice.to_json())[0].why)


@pytest.mark.long
def test_a_question_behind_an_answer_is_on_the_short_list(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Lost: isolators alone, where one more question sells an adapter."""
    path = written(tmp_path, 'kinds = ["balanced"]\ndifferential_level_v = 4.0', FIXED)
    short, _ = listed(path, capsys, "rca:22k:1V:max=8V")
    (answer,) = [a for a in short.split(" - ") if a.startswith("if it is for certain cross-coup")]
    # arithmetic: two ties of 11 and two leads of 8; two XLR leads of 14, isolators of 80, and leads
    assert "one more question then, and if so: 2 x tie; 2 x phono 1 m, 38.00 EUR" in answer
    assert "without such an answer: 2 x XLR 1 m; 2 x isolator; 2 x phono 1 m, 204.00 EUR" in answer


@pytest.mark.long
def test_a_lead_with_resistors_is_told_as_one(tmp_path: Path) -> None:
    """Lost: "works" of a lead from 4 V that nothing turns down into an input that accepts 2 V."""
    path = written(tmp_path, 'kinds = ["balanced"]\ndifferential_level_v = 4.0', FIXED)
    advice = ask(path, "xlr:20k/leg:1V:difference-amplifier:max=2V")
    (asked,) = [s for s in advice.would_change if s.code == "legs-alike"]
    assert "xlr-to-xlr is used, with resistors in its plug" in asked.then
    told = path.read_text().replace('"balanced"', '"differential", "impedance-balanced"')
    path.write_text(told, "utf-8")
    (choice,) = ask(path, "xlr:20k/leg:1V:difference-amplifier:max=2V").choices
    assert (choice.option, choice.attenuator) == ("xlr-to-xlr", True)


BEFORE_KNOWN = "before it is known what drives pins 2 and 3, and with which impedance"


@pytest.mark.parametrize(
    ("said", "verdict", "why"),
    [
        # one kind by name: each leg has a driver, and pin 3 of the input is at ground
        # what flows then hangs on an impedance that is not stated
        ('kinds = ["differential"]', "cannot-tell", BEFORE_KNOWN),
        ('kinds = ["balanced"]', "cannot-tell", BEFORE_KNOWN),
        # closed form: 2 V behind half of 200 ohm are 28 mA peak: more than an amplifier gives
        ('kinds = ["differential"]\ndifferential_impedance_ohm = 200', "never", "mA peak flow"),
    ],
)
@pytest.mark.long
def test_a_driven_pin_3_is_told_not_to_be_joined(
    tmp_path: Path, said: str, verdict: str, why: str
) -> None:
    """Lost: the lead that shorts a driver, as a cure for hum, and not one word against it."""
    path = written(
        tmp_path, f"{said}\ndifferential_level_v = 4.0\nsingle_ended_level_v = 2.0",
        connectors=("xlr", "rca"),
    )  # fmt: skip
    advice = ask(path, "xlr:22k/leg:1V:pin-3-ground")
    (lead,) = [o for o in advice.options if o.option.id == "xlr-to-xlr"]
    assert lead.verdict == verdict
    shown = " ".join(render(advice).split())
    _, _, never = shown.partition("Do not - ")
    assert never.startswith("xlr-to-xlr")
    assert why in never.partition("Before you connect")[0]
    assert "xlr-to-xlr" not in [c.option for c in advice.cures]
    (leaf,) = leaves_of(advice.to_json())
    assert any(line.startswith("Never plug a plain XLR lead in here") for line in leaf.never)


@pytest.mark.parametrize("ground", ["same-strip", "two-rooms"])
@pytest.mark.long
def test_a_lead_that_only_perhaps_loses_half_is_tried(tmp_path: Path, ground: str) -> None:
    """Lost: the plainest lead is avoided, because more is known of what it goes to."""
    path = written(tmp_path, 'kinds = ["balanced"]\ndifferential_level_v = 4.0')
    for circuit in ("", ":difference-amplifier"):
        advice = ask(path, f"xlr:20k/leg:1V{circuit}", ground=ground)
        assert [s.answers for s in advice.would_change if s.code == "lead-first"] == [
            ("xlr-to-xlr",)
        ]
        # what is tried is not among what is not to be done
        _, _, never = render(advice).partition("Do not\n")
        assert "- xlr-to-xlr" not in never.partition("\n\n")[0]


@pytest.mark.long
def test_half_of_an_amplifier_may_stay_idle_by_a_kind_that_is_possible(tmp_path: Path) -> None:
    """Lost: the trial of a lead with which one half may get nothing says that all is well."""
    path = written(tmp_path, UNKNOWN.format(4.0))
    there = typed_destination("xlr:20k/leg:1V", 50.0)
    socket = changed(there, ground="same-strip", cable="1m").inputs[0]
    both = replace(there, inputs=(replace(socket, both_legs_required=True),))
    advice = advise(*read_source(path), both)
    (lead,) = [o for o in advice.options if o.option.id == "xlr-to-xlr"]
    # closed form: half of the voltage for each half of the amplifier, 20 log 2 = 6 dB less
    assert "one-half-undriven" in {h.code for h in lead.hazards}
    (tried,) = [s for s in advice.would_change if s.code == "lead-first"]
    assert "both halves of what is fed" in tried.what
    path.write_text(path.read_text().replace('"balanced"', '"differential"'), "utf-8")
    (lead,) = [o for o in advise(*read_source(path), both).options if o.option.id == "xlr-to-xlr"]
    assert "one-half-undriven" not in {h.code for h in lead.hazards}


DESK = """kinds = ["electronically-floating"]
differential_level_v = 1.23
differential_impedance_ohm = 100.0
differential_maximum_v = 12.0"""


@pytest.mark.parametrize(("most", "first"), [(True, "asked-first"), (False, "lead-first")])
def test_a_tie_with_a_hum_just_short_is_offered_before_an_isolator(
    tmp_path: Path, most: bool, first: str
) -> None:
    """Lost: an isolator, with no word, where at 4 m the maker was asked."""
    said = DESK if most else DESK.replace("differential_maximum_v = 12.0", "")
    path = written(tmp_path, said, 'kind = "mixing desk"')
    there = changed(typed_destination("rca:47k:0.5V:sub", 50.0), ground="same-strip", cable="5m")
    advice = advise(*read_source(path), there)
    tied = "xlr-to-rca/pin-3-tied-at-source"
    assert advice.chosen == "xlr-to-rca/transformer"
    (one,) = [s for s in advice.would_change if s.box and s.code == first]
    assert tied in (*one.answers, *one.then.split())
    why = "; ".join(advice.choices[0].why)
    assert "clips about 6 dB earlier than the pair" in why
    # "with resistors in its plug" is said once
    assert why.count("with resistors in its plug") <= 1


def test_of_leads_that_hum_alike_the_plain_one_is_tried(tmp_path: Path) -> None:
    """Lost: an adapter, and a socket that another box needs, for a hum of the same 74.8 dB."""
    said = (
        'kinds = ["impedance-balanced"]\nhot_level_v = 2.0\ncold_level_v = 0.0\n'
        "hot_impedance_ohm = 100.0\ncold_impedance_ohm = 100.0\n"
        "single_ended_level_v = 2.0\nsingle_ended_impedance_ohm = 100.0"
    )
    advice = ask(written(tmp_path, said, connectors=("xlr", "rca")), "rca:20k:0.5V:sub", cable="5m")
    (tried,) = [s for s in advice.would_change if s.code == "lead-first"]
    assert tried.answers == ("rca-to-rca",)


@pytest.mark.long
def test_what_an_answer_moves_elsewhere_is_told_there(tmp_path: Path) -> None:
    """Lost: two XLR leads bought for the box of which nothing is asked, and not used then."""
    said = (
        'kinds = ["differential", "impedance-balanced"]\ndifferential_level_v = 6.0\n'
        "single_ended_level_v = 3.0\nsingle_ended_impedance_ohm = 2000.0"
    )
    more = 'volume_control = true\nkind = "valve preamplifier"'
    path = written(tmp_path, said, more, connectors=("xlr", "rca"))
    boxes = [
        changed(typed_destination(into, 50.0), ground=ground, cable=cable)
        for into, ground, cable in (
            ("xlr:15k/leg:1.5V", "same-strip", "5m"), ("rca:10k:0.5V:sub", "two-rooms", "10m"),
        )
    ]  # fmt: skip
    advice = advise(*read_source(path), together(boxes))
    (moved,) = [s for s in advice.would_change if s.code == "asked-elsewhere"]
    (asked,) = [s for s in advice.would_change if s.code == "output-impedance"]
    was, _ = advice.choices
    assert moved.box == was.box
    assert moved.answers[0] in was.why[0]
    ((key, ohm),) = asked.typed
    path.write_text(
        path.read_text().replace("single_ended_imp", f"{key} = {ohm}\nsingle_ended_imp")
    )
    # typed, it is what is used there
    assert advise(*read_source(path), together(boxes)).choices[0].option == moved.answers[0]
    assert moved.answers[0] != was.option
    sheet = leaves_of(advice.to_json())[0]
    assert any("is used here instead: buy nothing" in line for line in sheet.asked)


def test_what_a_box_is_holds_for_all_of_its_inputs() -> None:
    """Lost: a subwoofer with two sockets became a subwoofer and an amplifier, with leads each."""
    joined = typed_destination("rca:20k:0.5V+xlr:20k/leg:1V:sub", 50.0)
    assert [(s.role, s.box) for s in joined.inputs] == [("subwoofer", "subwoofer")] * 2


def test_half_an_amplifier_does_not_reach_full_output(tmp_path: Path) -> None:
    """Lost: "reaches its full output" above, and "6 dB lower" in the small print below."""
    said = (
        'kinds = ["impedance-balanced"]\nhot_level_v = 2.0\ncold_level_v = 0.0\n'
        "hot_impedance_ohm = 100.0\ncold_impedance_ohm = 100.0"
    )
    advice = ask(written(tmp_path, said), "xlr:30k/leg:1.4V:both-legs", cable="3m")
    tried = advice.options[0]
    assert "one-half-undriven" in {h.code for h in tried.hazards}
    advice = replace(
        advice,
        options=tuple(replace(o, verdict="use" if o is tried else "works") for o in advice.options),
        choices=(replace(advice.choices[0], option="xlr-to-xlr"),),
    )
    # closed form: half of the voltage for each half of the amplifier, 20 log 2 = 6 dB less
    shown = " ".join(render(advice).split())
    assert "drives one half of the input: its maximum is 6 dB below full output" in shown
    assert ", reaches full output" not in shown
    told = " ".join(leaves_of(advice.to_json())[0].gains)
    assert "One half of the amplifier stays idle: its maximum is 6 dB lower" in told
    assert "reaches its full output" not in told


def test_no_figure_is_asked_for_to_sell_an_isolator(tmp_path: Path) -> None:
    """Lost: with 100 ohm an isolator of 205 that hums more, in place of an adapter of 39."""
    said = 'kinds = ["electronically-floating"]\ndifferential_level_v = 1.23'
    advice = ask(written(tmp_path, said, 'kind = "mixer"'), "rca:22k:1V", ground="unearthed",
                 cable="3m")  # fmt: skip
    assert advice.chosen == "xlr-to-rca/pin-3-tied-at-source"
    assert "transformer" not in "; ".join(advice.choices[0].why)
