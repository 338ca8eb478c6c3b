"""The XLR lead of two XLR sockets is tried before anybody is asked, where it harms nothing."""

from __future__ import annotations

from pathlib import Path

import pytest

from probe.advice.advise import advise
from probe.advice.destination import together
from probe.advice.model import Advice
from probe.advice.source_file import read_source
from probe.advice.text import render
from probe.advice.typed import changed, typed_destination
from probe.report.leaflet import leaves_of
from tests.advice.test_lead_first import MIXER, ask, tried
from tests.advice.test_shelf_first import lead, said

BALANCED = MIXER.replace("ground-sensing", "balanced")
LEAD = ("xlr-to-xlr",)


def into_xlr(folder: Path, sheet: str = BALANCED, ground: str = "same-strip") -> Advice:
    return ask(folder, sheet, "xlr:10k/leg:1.2V", ground, "5m")


def test_a_balanced_output_and_a_balanced_input_are_given_their_lead(tmp_path: Path) -> None:
    """Lost: the plainest sale there is ends in "use nothing yet" and a letter to the maker."""
    advice = into_xlr(tmp_path)
    assert tried(advice) == [LEAD]
    # the rule: all that may rule it out is a loss, which harms nothing
    (side,) = [o for o in advice.options if o.option.id == "xlr-to-xlr"]
    assert (side.verdict, side.doubt, side.loses_at_most) == ("cannot-tell", "never", True)
    first, second = advice.choices[0].why[:2]
    assert first.startswith("try first: xlr-to-xlr: it harms nothing")
    assert second.startswith("if it does not, ask the maker of Quell Tally")
    assert "if it plays full and as loud" in " ".join(render(advice).split())
    (leaf,) = leaves_of(advice.to_json())
    assert leaf.chosen == "Try first: XLR lead, pins 1, 2 and 3 straight through"
    (told,) = leaf.asked
    assert told.startswith("Before anybody is asked, try this: XLR lead, pins 1, 2 and 3 straight")
    assert any(line.startswith("If it does not, ask the maker") for line in leaf.why)


def test_the_lead_to_try_is_on_the_list(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    shelf = 'format = "probe-shelf/1"\ncurrency = "EUR"\n' + lead(
        "XLR lead", '["1-1", "2-2", "3-3"]', 16.0, 6, "xlr-male"
    )
    source = BALANCED.partition("[device]")[0]
    _, ((first, *_),), ((need, *_),) = said(
        tmp_path, capsys, source, "xlr:10k/leg:1.2V", "--ground", "same-strip", shelf=shelf
    )
    # by hand from the shelf: two of 16 EUR
    assert first == "first: 2 x XLR lead, 32.00 EUR for both sides of a stereo device"
    assert need == f"F{first[1:]}"


@pytest.mark.parametrize(
    ("sheet", "ground"),
    [
        # both legs driven: nothing may be lost, and the lead is used
        (BALANCED.replace("balanced", "differential"), "same-strip"),
        # closed form: 2 V behind 2 ohm and 0.17 ohm of shield are 0.9 A from chassis to chassis
        (BALANCED, "2V/2ohm"),
    ],
)
def test_no_lead_is_tried_that_is_used_or_may_harm(tmp_path: Path, sheet: str, ground: str) -> None:
    assert tried(into_xlr(tmp_path, sheet, ground)) == []


def test_a_subwoofer_is_given_the_lead_of_the_amplifier(tmp_path: Path) -> None:
    """Lost: the same lead to be tried into one box and waited for at the other."""
    path = tmp_path / "source.toml"
    path.write_text(BALANCED, "utf-8")
    boxes = together([typed_destination("xlr:20k/leg:1.23V" + role, 50.0) for role in ("", ":sub")])
    advice = advise(*read_source(path), changed(boxes, ground="same-strip", cable="5m"))
    assert tried(advice) == [LEAD, LEAD]
