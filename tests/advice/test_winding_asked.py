"""Whether a winding floats decides between a lead and another transformer, and is asked first.

A line stage with a transformer of its own got two isolators of 12 V at 20 Hz to order; joined to
ground at one end its floating winding feeds an RCA input as its maker meant it to.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from probe.advice.advise import advise
from probe.advice.destination import together
from probe.advice.model import Advice
from probe.advice.source_file import read_source
from probe.advice.text import render
from probe.advice.typed import changed, typed_destination
from probe.errors import BadInput
from probe.report.leaflet import leaves_of

SHEET = """
format = "probe-source/1"
kinds = ["{kind}"]
differential_level_v = 3.0
differential_maximum_v = 12.0
differential_impedance_ohm = 600.0
{more}
[device]
maker = "Quell"
model = "Larder"
kind = "line stage"
output = "line"
connectors = ["xlr"]
"""


def ask(
    folder: Path, more: str = "", kind: str = "transformer-coupled", typed: str = "rca:47k:1V"
) -> Advice:
    path = folder / "source.toml"
    path.write_text(SHEET.format(kind=kind, more=more), "utf-8")
    there = changed(typed_destination(typed, 50.0), ground="same-strip", cable="2m")
    return advise(*read_source(path), there)


def asked(advice: Advice) -> list[tuple[str, tuple[str, ...]]]:
    return [(s.what, s.answers) for s in advice.would_change if s.code == "asked-first"]


# as cheap as it gets, and with an input that a whole winding overdrives
@pytest.mark.parametrize("typed", ["rca:47k:1V", "rca:10k:1V:max=3V"])
@pytest.mark.long
def test_the_winding_is_asked_for_before_a_transformer_is_bought(
    tmp_path: Path, typed: str
) -> None:
    advice = ask(tmp_path, typed=typed)
    assert advice.chosen == "xlr-to-rca/transformer"
    ((what, answers),) = asked(advice)
    assert "ask the maker of Quell Larder whether the winding of its XLR output floats" in what
    # what is promised is what comes out with either answer in the file, and nothing is asked then
    for stated, option in zip(("true", "false"), answers, strict=True):
        then = ask(tmp_path, f"floating_winding = {stated}", typed=typed)
        assert then.chosen == option
        assert asked(then) == []
    floating, tapped = answers
    assert floating == "xlr-to-rca/pin-3-tied-at-destination"
    assert tapped == "xlr-to-rca/pin-3-open"
    said = " ".join(render(advice).split())
    assert f"if it floats {floating} is used instead, if not {tapped}" in said
    (leaf,) = leaves_of(advice.to_json())
    (told,) = leaf.asked
    assert "whether the winding of its XLR output floats" in told
    assert "is used instead; if not, “XLR to RCA: pin 2 to the centre" in told


def test_a_floating_winding_gives_all_of_its_level_with_one_end_at_ground(tmp_path: Path) -> None:
    advice = ask(tmp_path, "floating_winding = true")
    by_id = {o.option.id: o for o in advice.options}
    for end in ("source", "destination"):
        level = by_id[f"xlr-to-rca/pin-3-tied-at-{end}"].figures.level
        assert level is not None
        # closed form: 3 V behind 600 ohm into 47 kohm, all of it whatever holds the winding
        assert level.value == pytest.approx(3.0 * 47e3 / 47.6e3, rel=2e-3)


@pytest.mark.parametrize("kind", ["differential", "electronically-floating"])
def test_nobody_is_asked_for_a_winding_that_is_none(tmp_path: Path, kind: str) -> None:
    assert not any("winding" in what for what, _ in asked(ask(tmp_path, kind=kind)))


def test_a_winding_is_stated_of_a_transformer_alone(tmp_path: Path) -> None:
    with pytest.raises(BadInput, match=r"floating_winding.*said of a transformer"):
        ask(tmp_path, "floating_winding = true", "differential")


BESIDE = """
format = "probe-source/1"
kinds = ["transformer-coupled"]
differential_level_v = 2.5
differential_maximum_v = 8.0
differential_impedance_ohm = 300.0
{more}
[device]
kind = "preamplifier"
output = "line"
connectors = ["xlr"]
"""
SUB = "rca:20k:0.5V:sub"


def beside(folder: Path, amplifier: str, more: str = "") -> Advice:
    path = folder / "source.toml"
    path.write_text(BESIDE.format(more=more), "utf-8")
    boxes = [typed_destination(words, 50.0) for words in (amplifier, SUB)]
    return advise(*read_source(path), changed(together(boxes), ground="same-strip", cable="2m"))


@pytest.mark.long
def test_a_winding_is_not_asked_for_where_the_answer_costs_another_box_more(tmp_path: Path) -> None:
    """Lost: 120 more, and three pieces to order, for an answer that was to spare 120."""
    amplifier = "xlr:600/between:1V"
    advice = beside(tmp_path, amplifier)
    assert [c.option for c in advice.choices] == ["xlr-to-xlr", "xlr-to-rca/transformer"]
    # closed form: 8 V rms into 600 ohm are 8 * 2**0.5 / 600 = 18.9 mA peak, through a tied pin with
    # 5 and 20 percent of doubt (levels, impedances) and the other leads more than 20 mA perhaps
    assert asked(advice) == []
    # by definition: one isolator for the one lead of a subwoofer is less than two for a pair
    for stated in ("true", "false"):
        typed = beside(tmp_path, amplifier, f"floating_winding = {stated}")
        assert [c.option for c in typed.choices] == [c.option for c in advice.choices]


@pytest.mark.long
def test_a_winding_is_asked_for_where_all_boxes_are_served_with_the_answer(tmp_path: Path) -> None:
    advice = beside(tmp_path, "xlr:10k/leg:1V")
    ((_, answers),) = asked(advice)
    typed = beside(tmp_path, "xlr:10k/leg:1V", "floating_winding = true")
    assert [c.option for c in typed.choices] == ["xlr-to-xlr", answers[0]]
