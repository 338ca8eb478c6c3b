"""Hum that comes in by a lead that is no audio lead: what keeps it out there."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from probe.advice.advise import advise
from probe.advice.destination import Cable, Destination, Input, together
from probe.advice.ground import GroundPath, of_preset
from probe.advice.model import Advice
from probe.advice.source_file import read_source
from probe.advice.text import render
from probe.advice.typed import changed, typed_destination
from probe.report.leaflet import leaves_of
from tests.advice.stages import facts, symmetrical

BY_ANTENNA = of_preset("antenna-or-network")


def hummed(ground: GroundPath, *, connectors: tuple[str, ...] = ("rca",), **more: Any) -> Advice:
    socket = Input("rca", "rca", "single-ended", 22e3, sensitivity_volts=0.25, ground=ground)
    if connectors == ("xlr",):
        socket = Input("xlr", "xlr", "balanced", 20e3, circuit="difference-amplifier",
                       impedance_is="each-leg", sensitivity_volts=1.0, ground=ground)  # fmt: skip
    there = Destination("amplifier", (socket,), Cable(1.5, 150e-12, 0.045, 0.02), **more)
    return advise(facts(connectors=connectors), {"left": symmetrical()}, there)


def test_hum_by_the_aerial_is_kept_out_where_it_comes_in() -> None:
    """Whoever is not told buys two audio isolators where one in the aerial lead would do."""
    (cure,) = [c for c in hummed(BY_ANTENNA).cures if c.code == "at-origin"]
    assert "galvanic isolator in the antenna or network lead" in cure.says
    assert "not calculated" in cure.says
    # common practice, no source: no decibels are claimed of what was not solved
    told = cure.to_json()
    assert (told["option"], told["better_by_db"], told["verdict"]) == (None, None, None)
    # of another situation nothing usual keeps it out where it comes in
    assert "at-origin" not in {c.code for c in hummed(of_preset("two-rooms")).cures}
    # a balanced link that does not hum needs none
    assert hummed(BY_ANTENNA, connectors=("xlr",)).cures == ()


def test_the_sheet_of_an_aerial_names_its_isolator() -> None:
    advice = hummed(BY_ANTENNA)
    assert advice.chosen == "rca-to-rca/transformer"
    (leaf,) = leaves_of(advice.to_json())
    assert any(line.startswith("A galvanic isolator in the antenna") for line in leaf.hum)
    assert "galvanic isolator" in render(advice).split("If it hums")[1]
    # which lead it is was not said: whatever ends the hum when it is unplugged
    (other,) = leaves_of(hummed(of_preset("two-rooms")).to_json())
    assert any("isolator made for the lead that brings the hum" in line for line in other.hum)


def test_the_aerial_comes_before_the_transformer_that_is_sold() -> None:
    """The aerial's isolator stood at the foot of the sheet, a large transformer at its head."""
    advice = hummed(BY_ANTENNA)
    (choice,) = advice.choices
    assert choice.option == "rca-to-rca/transformer"
    said = "unplug the antenna or network lead and listen: if the hum goes with it, the first thing"
    assert said in choice.why[0]
    assert choice.why[0].endswith("with which rca-to-rca may do instead")
    (leaf,) = leaves_of(advice.to_json())
    assert any(f"Before anything else is bought, {said}" in line for line in leaf.asked)
    # the rule: of what was not solved nothing more is claimed than that it may do
    assert any("may do instead." in line for line in leaf.asked)
    # of another ground, or of a link that needs no transformer, nobody is sent to the aerial
    for other in (hummed(of_preset("two-rooms")), hummed(BY_ANTENNA, connectors=("xlr",))):
        assert "origin-first" not in {one.code for one in other.would_change}


def test_the_computer_comes_before_the_isolators_that_are_sold() -> None:
    """Lost: 134 EUR of isolators for a hum that a notebook on its battery does not have."""
    advice = hummed(of_preset("computer"))
    (choice,) = advice.choices
    assert choice.option == "rca-to-rca/transformer"  # what is chosen is as it was
    # common practice, no source
    assert "before anything else is bought, run a notebook on its battery" in choice.why[0]
    assert "(common practice: another power supply, USB or network isolator)" in choice.why[0]
    assert choice.why[0].endswith("and rca-to-rca may do instead")
    # the rule: never lift a protective earth against hum
    assert "plug a desktop into the amplifier's strip (its earth stays)" in choice.why[0]
    (leaf,) = leaves_of(advice.to_json())
    # to hear whether it hums the plain lead has to be plugged in
    assert choice.why[0].startswith("first plug in rca-to-rca; before anything else is bought, ")
    assert leaf.chosen == "Try first, as above: RCA lead, single-ended to single-ended"
    (asked,) = [line for line in leaf.asked if "a notebook on its battery" in line]
    assert asked.startswith("First plug in “RCA lead, single-ended to single-ended”. Before ")
    assert asked.endswith("USB or network isolator), and that lead may do instead.")
    assert "…" not in asked + " ".join(leaf.hum)
    assert any(line.startswith("Another power supply for the computer") for line in leaf.hum)
    # a balanced link that does not hum sends nobody to the computer
    quiet = hummed(of_preset("computer"), connectors=("xlr",))
    assert "origin-first" not in {one.code for one in quiet.would_change}


def test_a_sheet_without_a_way_says_what_to_do_about_hum() -> None:
    """The leads lie there and hum: the sheet is all there is in hand."""
    nothing = {"id": "rca-to-rca", "destination": "amp", "verdict": "cannot-tell",
               "hum_below_full_output_db": {"value": 44.0, "unit": "dB"}}  # fmt: skip
    cure = {"cure": "at-origin", "destination": "amp", "says": "an isolator", "option": None}
    (leaf,) = leaves_of({"options": [nothing], "cures": [cure]})
    assert leaf.hum[-1] == "An isolator."
    assert any("Unplug aerial" in line for line in leaf.hum)
    # 120 dB down nothing hums (the limit of the advice is 75)
    heard = {"best": "not", "worst": "not"}
    hum = {"value": 119.0, "unit": "dB", "heard": heard}
    quiet = {**nothing, "hum_below_full_output_db": hum}
    (leaf,) = leaves_of({"options": [quiet], "cures": []})
    assert leaf.hum == ()
    # an output that nothing may hang on is not made to hum less
    never = {"code": "headphone-output", "message": "never"}
    (leaf,) = leaves_of({"options": [nothing], "cautions": [never]})
    assert leaf.hum == ()


CD_PLAYER = """format = "probe-source/1"
single_ended_level_v = {level}
single_ended_impedance_ohm = 300
[device]
output = "line"
connectors = ["rca"]
kind = "{kind}"
"""


@pytest.mark.parametrize(
    ("kind", "level", "tried"),
    [("CD player", 8.0, False), ("CD player", 1.2, True), ("preamplifier", 8.0, True)],
)
def test_nothing_is_plugged_in_to_listen_that_overloads_with_nothing_to_turn_down(
    tmp_path: Path, kind: str, level: float, tried: bool
) -> None:
    """Lost: "first plug in" 14 dB more than the input accepts, to hear whether the hum goes."""
    path = tmp_path / "source.toml"
    path.write_text(CD_PLAYER.format(kind=kind, level=level), "utf-8")
    there = typed_destination("rca:47k:0.2V:max=1.5V", 50.0)
    advice = advise(*read_source(path), changed(there, ground="computer", cable="3m"))
    # closed form: 8 V of a player that nobody turns down are 14.5 dB above 1.5 V, 1.2 V are below
    assert ("origin-first" in {s.code for s in advice.would_change}) is tried


PREAMPLIFIER = CD_PLAYER.format(kind="preamplifier", level=4.0)


def strip_first(tmp_path: Path, boxes: list[str], **typed: str) -> Advice:
    path = tmp_path / "source.toml"
    path.write_text(PREAMPLIFIER, "utf-8")
    sockets = [typed_destination(b, 50.0) for b in boxes]
    there = sockets[0] if len(sockets) == 1 else together(sockets)
    return advise(*read_source(path), changed(there, **typed))


@pytest.mark.parametrize(
    ("boxes", "ground", "cable", "first"),
    [
        (["rca:30k:1.5V"], "30mV/25mV/1ohm", "1.5m", ["amplifier"]),
        (["rca:30k:1.5V"], "two-rooms", "1.5m", ["amplifier"]),
        # a first reading alone may mean as much
        (["rca:30k:1.5V"], "30mV", "1.5m", ["amplifier"]),
        # several boxes: of each that is in reach
        (["rca:30k:1.5V", "rca:15k:1V:sub"], "30mV/25mV/1ohm", "1.5m",
         ["rca:30k:1.5V", "rca:15k:1V:sub"]),
        # common practice, no source: a strip does not reach so far
        (["rca:30k:1.5V"], "30mV/25mV/1ohm", "9m", []),
        # closed form: 0.2 mV * 65 / 265 on 0.25 V are 74 dB, less than the 75 dB of the rule
        (["rca:30k:0.25V"], "30mV/25mV/1ohm", "1.5m", []),
        # boxes on one strip already, or one of them without an earth: it helps nothing
        (["rca:30k:0.2V"], "same-strip", "1.5m", []),
        (["rca:30k:0.2V"], "earthed-and-unearthed", "1.5m", []),
        # the rule: where so much may flow between the chassis nothing is plugged in to listen
        (["rca:30k:1.5V"], "700mV/350mV/1ohm", "1.5m", []),
    ],
)  # fmt: skip
def test_one_mains_strip_comes_before_the_isolators_where_it_is_in_reach(
    tmp_path: Path, boxes: list[str], ground: str, cable: str, first: list[str]
) -> None:
    """Lost: 165 or 259 EUR of isolators, with a strip that costs nothing at the sheet's foot."""
    advice = strip_first(tmp_path, boxes, ground=ground, cable=cable)
    told = [s for s in advice.would_change if s.code == "origin-first"]
    assert [s.box for s in told] == first
    for one in told:
        assert one.answers == ("rca-to-rca",)
        # where it is said that they stand in two rooms it may not reach
        can = "both can be" if len(boxes) == 1 else "all can be"
        assert f"into one mains strip, if {can} (all off first" in one.what
        assert "earths kept" in one.what
        assert "within its rating and the electrical code" in one.what
    if not told:
        return
    # closed form: 0.2 mV * 65 / 265 mohm = 49 uV, 89.7 dB below 1.5 V
    hum = float(told[0].what.split("typical hum ")[1].split(" dB")[0])
    assert hum == pytest.approx(89.7, abs=0.5)
    assert all(c.option == "rca-to-rca/transformer" for c in advice.choices)
    assert all(c.why[0].startswith("first plug in rca-to-rca; before") for c in advice.choices)
    screen = render(advice)
    assert screen.index("mains strip") < screen.index("If it hums")
    for leaf in leaves_of(advice.to_json()):
        assert leaf.chosen == "Try first, as above: RCA lead, single-ended to single-ended"
        # no line about it is cut off, and it is not told twice against hum
        assert leaf.asked[0].endswith("below full output, with which that lead may do instead.")
        assert sum("one mains strip" in line for line in leaf.hum) == 1


LOUD = """format = "probe-source/1"
kinds = ["differential"]
differential_level_v = 10.0
differential_maximum_v = 18.0
differential_impedance_ohm = 200.0
single_ended_level_v = 5.0
single_ended_maximum_v = 9.0
single_ended_impedance_ohm = 100.0
[device]
output = "line"
connectors = ["xlr", "rca"]
kind = "preamplifier"
"""


@pytest.mark.parametrize(("wanted", "way"), [(6.0, "xlr-to-rca/transformer"), (0.0, "xlr-to-xlr")])
@pytest.mark.long
def test_no_lead_is_tried_in_place_of_a_transformer_that_is_there_for_its_level(
    tmp_path: Path, wanted: float, way: str
) -> None:
    """Lost: 6 dB more are asked for, and "first plug in" a lead without them, that hums besides."""
    path = tmp_path / "source.toml"
    path.write_text(LOUD, "utf-8")
    ground = of_preset("computer")
    inputs = (
        Input("rca", "rca", "single-ended", 12e3, sensitivity_volts=0.35, maximum_volts=3.0,
              ground=ground),
        Input("xlr", "xlr", "balanced", 15e3, impedance_is="each-leg", sensitivity_volts=0.7,
              maximum_volts=5.0, ground=ground),
    )  # fmt: skip
    cable = Cable(5.0, 500e-12, 0.15, 0.02)
    there = Destination("amplifier", inputs, cable, wanted_gain_db=wanted)
    advice = advise(*read_source(path), there)
    # the rule: more level than the plain XLR lead gives, which works and does not hum, is wanted
    assert advice.chosen == way
    assert "origin-first" not in {one.code for one in advice.would_change}
    assert not any("rca-to-rca may do instead" in why for why in advice.choices[0].why)


HALVES = """format = "probe-source/1"
kinds = ["impedance-balanced"]
differential_level_v = 5.0
differential_impedance_ohm = 150.0
[device]
output = "line"
connectors = ["xlr"]
kind = "preamplifier"
"""


@pytest.mark.parametrize("halves", [True, False])
def test_an_isolator_for_both_halves_is_spared_by_no_silence(tmp_path: Path, halves: bool) -> None:
    """Lost: "then the plain lead may do", of one that leaves half of the amplifier idle."""
    path = tmp_path / "source.toml"
    path.write_text(HALVES, "utf-8")
    socket = Input("xlr", "xlr", "balanced", 10e3, impedance_is="each-leg", sensitivity_volts=1.2,
                   both_legs_required=halves, ground=of_preset("computer"))  # fmt: skip
    there = Destination("amplifier", (socket,), Cable(2.0, 200e-12, 0.06, 0.02))
    advice = advise(*read_source(path), there)
    # the rule: one half undriven is worse than a part to buy
    assert advice.chosen == ("xlr-to-xlr/transformer" if halves else "xlr-to-xlr")
    assert not [c for c in advice.cures if "the plain lead may do" in c.says]
    if halves:
        assert "at-origin" not in {c.code for c in advice.cures}


CROSS_COUPLED = """format = "probe-source/1"
kinds = ["electronically-floating"]
differential_level_v = 4.0
differential_impedance_ohm = 100.0
[device]
output = "line"
connectors = ["xlr"]
kind = "preamplifier"
"""


@pytest.mark.parametrize("ground", ["computer", "antenna-or-network"])
def test_the_lead_that_is_tried_is_one_that_would_be_used_without_the_hum(
    tmp_path: Path, ground: str
) -> None:
    """Lost: "try first" a lead whose level rests on tolerances, "avoid" on the same page."""
    path = tmp_path / "source.toml"
    path.write_text(CROSS_COUPLED, "utf-8")
    there = changed(typed_destination("rca:47k:1V", 50.0), cable="2m")
    advice = advise(*read_source(path), changed(there, ground=ground))
    (first,) = [one for one in advice.would_change if one.code == "origin-first"]
    # what is used where nothing hums
    assert first.answers == (
        advise(*read_source(path), changed(there, ground="same-strip")).chosen,
    )
