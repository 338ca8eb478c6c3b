"""A sheet that says "balanced" and no more: the question whose answer opens a lead comes first."""

from __future__ import annotations

from pathlib import Path

import pytest

from probe.advice.advise import advise
from probe.advice.model import Advice
from probe.advice.source_file import read_source
from probe.advice.text import render
from probe.advice.typed import changed, typed_destination
from probe.report.leaflet import leaves_of

SHEET = """
format = "probe-source/1"
differential_level_v = 1.228
differential_impedance_ohm = 150.0
{kinds}
[device]
model = "X"
output = "line"
"""


def ask(
    folder: Path, kinds: str, to: str = "xlr:10k/leg:+4dBu", ground: str = "same-strip"
) -> Advice:
    path = folder / "source.toml"
    path.write_text(SHEET.format(kinds=kinds), "utf-8")
    return advise(*read_source(path), changed(typed_destination(to, 50.0), ground=ground))


BALANCED = 'kinds = ["balanced"]'


@pytest.mark.long
def test_the_maker_is_asked_whether_the_legs_are_alike(tmp_path: Path) -> None:
    # the user asked for pin 3, and with the answer was sold isolators where a lead does
    advice = ask(tmp_path, BALANCED)
    assert advice.chosen is None
    asked = "ask the maker of X whether pins 2 and 3 of the XLR output have like impedances to "
    assert (
        advice.choices[0].why[1]
        == f"or, in place of trying it, {asked}ground: with like ones xlr-to-xlr works"
    )
    assert [s.code for s in advice.would_change if s.answers == ("xlr-to-xlr",)][-1] == "legs-alike"
    assert "leaves every kind open" in " ".join(render(advice).split())
    (leaf,) = leaves_of(advice.to_json())
    assert "like impedances to ground" in leaf.why[0]
    # the answer: each kind whose legs are alike, by name, with which that lead is used
    alike = '"differential", "electronically-floating", "transformer-coupled", "impedance-balanced"'
    assert ask(tmp_path, f"kinds = [{alike}]").chosen == "xlr-to-xlr"


@pytest.mark.long
def test_nothing_is_ruled_out_by_the_word(tmp_path: Path) -> None:
    # an output of which pin 3 goes nowhere is sold as balanced, too: its lead must not be promised
    said, silent = (ask(tmp_path, kinds) for kinds in (BALANCED, ""))
    assert [(o.option.id, o.verdict) for o in said.options] == [
        (o.option.id, o.verdict) for o in silent.options
    ]
    assert (
        silent.choices[0]
        .why[1]
        .startswith("or, in place of trying it, ask the maker of X whether pin 3")
    )


@pytest.mark.parametrize("kinds", [BALANCED, ""])
@pytest.mark.long
def test_no_more_is_asked_than_the_way_needs(tmp_path: Path, kinds: str) -> None:
    # a transformer before an RCA input works with pin 3 at ground as well
    advice = ask(tmp_path, kinds, "rca:10k:1V", "two-rooms")
    assert advice.choices[0].why[0].startswith("ask the maker of X whether pin 3")
    assert "xlr-to-rca/transformer works" in advice.choices[0].why[0]


@pytest.mark.parametrize("kinds", [BALANCED, ""])
@pytest.mark.long
def test_the_answer_that_opens_a_lead_is_asked_for_before_one_that_sells_isolators(
    tmp_path: Path, kinds: str
) -> None:
    # the user asked for pin 3, and was sold isolators where pin 2 alone feeds the amplifier
    advice = ask(tmp_path, kinds, "rca:10k:0.316V")
    assert advice.chosen is None
    asked = advice.choices[0].why[0]
    assert asked.startswith("ask the maker of X whether pins 2 and 3 of the XLR output are each dr")
    assert asked.endswith("if so xlr-to-rca/pin-3-open works")
    # each kind that the answer leaves, by name: that lead is used
    for kind in ("differential", "impedance-balanced"):
        assert ask(tmp_path, f'kinds = ["{kind}"]', "rca:10k:0.316V").chosen == asked.split()[-2]
    # those that it excludes would lose their level or their bass with it, or their sensing
    for kind in ("electronically-floating", "transformer-coupled", "ground-sensing"):
        assert ask(tmp_path, f'kinds = ["{kind}"]', "rca:10k:0.316V").chosen != asked.split()[-2]
    (leaf,) = leaves_of(advice.to_json())
    assert "neither by a transformer nor cross-coupled" in leaf.why[0]
    assert "pin 2 to the centre, pin 1 to the shell" in leaf.why[0]
