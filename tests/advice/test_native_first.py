"""The XLR lead of two XLR sockets is tried before anybody is asked, where it harms nothing."""

from __future__ import annotations

from dataclasses import replace
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


@pytest.mark.long
def test_a_balanced_output_and_a_balanced_input_are_given_their_lead(tmp_path: Path) -> None:
    """Lost: the plainest sale there is ends in "use nothing yet" and a letter to the maker."""
    advice = into_xlr(tmp_path)
    assert tried(advice) == [LEAD]
    # the rule: all that may rule it out is a loss, which harms nothing
    (side,) = [o for o in advice.options if o.option.id == "xlr-to-xlr"]
    assert (side.verdict, side.doubt, side.loses_at_most) == ("cannot-tell", "never", True)
    first, second = advice.choices[0].why[:2]
    assert first.startswith("try first: xlr-to-xlr: with the volume down first it harms nothing")
    assert second.startswith("or, in place of trying it, ask the maker of Quell Tally")
    assert "if it plays full and as loud" in " ".join(render(advice).split())
    (leaf,) = leaves_of(advice.to_json())
    assert leaf.chosen == "Try first: XLR lead, pins 1, 2 and 3 straight through"
    (told,) = leaf.asked
    assert told.startswith("Before anybody is asked, try this: XLR lead, pins 1, 2 and 3 straight")
    assert any(line.startswith("Or, in place of trying it, ask the maker") for line in leaf.why)


@pytest.mark.long
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
@pytest.mark.long
def test_no_lead_is_tried_that_is_used_or_may_harm(tmp_path: Path, sheet: str, ground: str) -> None:
    assert tried(into_xlr(tmp_path, sheet, ground)) == []


@pytest.mark.long
def test_a_subwoofer_is_given_the_lead_of_the_amplifier(tmp_path: Path) -> None:
    """Lost: the same lead to be tried into one box and waited for at the other."""
    path = tmp_path / "source.toml"
    path.write_text(BALANCED, "utf-8")
    boxes = together([typed_destination("xlr:20k/leg:1.23V" + role, 50.0) for role in ("", ":sub")])
    advice = advise(*read_source(path), changed(boxes, ground="same-strip", cable="5m"))
    assert tried(advice) == [LEAD, LEAD]


BOTH = """
format = "probe-source/1"
kinds = ["balanced"]
differential_level_v = 4.0
single_ended_level_v = 4.0
differential_impedance_ohm = 300
single_ended_impedance_ohm = 150
"""

DEVICE = """
[device]
maker = "Quell"
model = "Lyde"
output = "line"
connectors = ["xlr", "rca"]
kind = "preamplifier"
"""

SHELF = (
    'format = "probe-shelf/1"\ncurrency = "EUR"\n'
    + lead("XLR lead", '["1-1", "2-2", "3-3"]', 36.0, 6, "xlr-male")
    + lead("cross lead", '["centre-2", "shell-3", "shell-1"]', 46.0, 6, "xlr-male").replace(
        "xlr-female", "rca-male"
    )
    + lead("RCA lead", '["centre-centre", "shell-shell"]', 27.0, 6).replace(
        "xlr-female", "rca-male"
    )
    + '[[part]]\nname = "Y"\nkind = "splitter"\nfrom = "rca-male"\nto = "rca-female"\n'
    + 'wires = ["centre-centre", "shell-shell"]\nprice = 8.0\nstock = 4\n'
)


@pytest.mark.long
def test_the_xlr_lead_is_tried_before_a_lead_from_the_rca_output(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Lost: of two XLR boxes an RCA-XLR lead is sold, dearer, and the XLR lead not even named."""
    place = ("--ground", "same-strip")
    screen, ((first, then, *_),), ((need, *_),) = said(
        tmp_path, capsys, BOTH, "xlr:20k/leg:2V", *place, shelf=SHELF, device=DEVICE
    )
    # by hand from the shelf: two of 36 EUR
    assert first == "first: 2 x XLR lead, 72.00 EUR for both sides of a stereo device"
    assert then == "only if that does not do: 2 x cross lead"
    assert need == f"F{first[1:]}"
    assert screen.startswith(f"- {first} - {then}")
    advice = ask(tmp_path, BOTH + DEVICE, "xlr:20k/leg:2V", "same-strip", "2m")
    assert (tried(advice), advice.chosen) == ([LEAD], "rca-to-xlr/pin-3-tied-at-source")
    shown = " ".join(render(advice).split())
    assert "TRY FIRST xlr-to-xlr: " in shown
    assert "IF THAT DOES NOT DO rca-to-xlr/pin-3-tied-at-source: " in shown
    assert "USE " not in shown
    (leaf,) = leaves_of(advice.to_json())
    assert leaf.chosen == "Try first: XLR lead, pins 1, 2 and 3 straight through"
    assert any(
        line.startswith("Before another lead is bought, try this: XLR") for line in leaf.asked
    )


@pytest.mark.parametrize(
    ("sheet", "ground"),
    [
        # both legs driven: the lead is used as it is
        (BOTH.replace("balanced", "differential"), "same-strip"),
        # closed form: 2 V behind 2 ohm and some 0.1 ohm of shield are 0.9 A from chassis to chassis
        (BOTH, "2V/2ohm"),
    ],
)
@pytest.mark.long
def test_nothing_is_tried_before_another_lead_that_may_harm(
    tmp_path: Path, sheet: str, ground: str
) -> None:
    assert tried(ask(tmp_path, sheet + DEVICE, "xlr:20k/leg:2V", ground, "2m")) == []


@pytest.mark.long
def test_no_splitter_is_sold_for_the_lead_that_follows(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Lost: a Y lead on the RCA output of which the XLR socket beside it stays free."""
    boxes = ("xlr:20k/leg:2V", "rca:20k:2V:sub", "--ground", "same-strip")
    _, (main_box, _, shared, *_), _ = said(
        tmp_path, capsys, BOTH, *boxes, shelf=SHELF, device=DEVICE
    )
    assert main_box[0].startswith("first: 2 x XLR lead")
    assert shared[0] == "only if a lead that is tried first (above) does not do; " + (
        "only where the device has one such socket a side"
    )


ONE_LEG = """\
format = "probe-source/1"
kinds = ["pin-3-unconnected"]
hot_level_v = 2.1
cold_level_v = 0.0
hot_impedance_ohm = 220.0
single_ended_level_v = 2.1
single_ended_impedance_ohm = 220.0
[device]
maker = "Osk"
model = "Dell"
output = "line"
connectors = ["xlr", "rca"]
kind = "player"
"""


@pytest.mark.parametrize("ground", ["20mV/2ohm", "same-strip"])
@pytest.mark.long
def test_a_lead_that_hums_into_every_input_that_passes_it_is_not_tried(
    tmp_path: Path, ground: str
) -> None:
    """Lost: "at worst it plays thin", of a lead that hums at 51 dB where it plays."""
    path = tmp_path / "source.toml"
    path.write_text(ONE_LEG, "utf-8")

    def verdict(circuit: str) -> str:
        there = changed(typed_destination("xlr:10k/leg:1V", 50.0), ground=ground, cable="10m")
        (socket,) = there.inputs
        there = replace(there, inputs=(replace(socket, circuit=circuit),))
        found = advise(*read_source(path), there).options
        (side,) = [o for o in found if o.option.id == "xlr-to-xlr"]
        return side.used.verdict

    each = {c: verdict(c) for c in ("difference-amplifier", "buffered", "transformer")}
    # closed form: 20 mV across 10 m of 30 mohm/m and two contacts of 20 mohm, beside 2 ohm,
    # 10 kohm behind 220 ohm: 51 dB below 1 V into a buffered input; 75 dB is the limit
    some = any(v in ("use", "works") for v in each.values())
    assert some == (ground == "same-strip")
    unknown = verdict("unknown")
    assert unknown == ("cannot-tell" if some else "never")
    advice = ask(tmp_path, ONE_LEG, "xlr:10k/leg:1V", ground, "10m")
    assert tried(advice) == ([LEAD] if some else [])
