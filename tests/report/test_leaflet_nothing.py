"""A sheet on which nothing is recommended says why, what would change it, and has the list."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

import pytest

from probe.cli.main import main
from probe.report.leaflet import Leaf, leaves_of

SHEET = """
format = "probe-source/1"
single_ended_level_v = {level}
single_ended_maximum_v = {most}
single_ended_impedance_ohm = {own}
{more}
[device]
maker = "Wendle"
model = "Alcove"
kind = "{kind}"
output = "line"
connectors = ["rca"]
"""

SHELF = """
format = "probe-shelf/1"
currency = "EUR"
[[part]]
name = "Long RCA"
kind = "lead"
from = "rca-male"
to = "rca-male"
wires = ["centre-centre", "shell-shell"]
length_m = 14.0
capacitance_pf_per_m = 180.0
price = 19.0
stock = 6
"""


class Told:
    """What one question comes to: the document, the screen's list in one line, the sheet."""

    def __init__(self, folder: Path, capsys: pytest.CaptureFixture[str], *args: str,
                 level: float = 2.0, most: float = 6.0, own: float = 200.0, more: str = "",
                 kind: str = "preamplifier", device: str = "") -> None:  # fmt: skip
        source, shelf = folder / "source.toml", folder / "shelf.toml"
        sheet = SHEET.format(level=level, most=most, own=own, more=more, kind=kind)
        source.write_text(f"{sheet}{device}\n")
        shelf.write_text(SHELF)
        line = ["advise", str(source), *args, "--shelf", str(shelf)]
        assert main(line) == 0
        screen = capsys.readouterr().out
        self.screen = " ".join(screen.split("From the shelf")[1].split())
        assert main([*line, "--json"]) == 0
        self.document: dict[str, Any] = json.loads(capsys.readouterr().out)
        self.leaf: Leaf
        (self.leaf,) = leaves_of(self.document)
        assert self.document["chosen"] is None


def same_list(told: Told) -> None:
    """The sheet has every line of the screen, in a customer's words."""
    (basket,) = told.document["shelf"]
    assert len(told.leaf.needs) == len(basket["says"])
    assert told.screen == " ".join(f"- {line}" for line in basket["says"])


def test_the_transformer_to_order_is_on_the_sheet_with_its_lead(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Lost: the screen names lead and transformer, and who has the sheet goes home with nothing."""
    told = Told(tmp_path, capsys, "rca:20k:0.2V:sub", "--ground", "two-rooms", "--cable", "9m",
                own=1000.0, more='side = "mono"', kind="AV receiver")  # fmt: skip
    same_list(told)
    yet, only = told.leaf.needs
    assert yet.startswith("Take nothing yet")
    assert only.startswith("Only with the transformer named above, “RCA lead through an audio iso")
    # by hand from the shelf: one lead, for a subwoofer has one, of 19 EUR
    assert "1 x Long RCA; order, 1 x: transformer" in only
    assert "19.00 EUR for the subwoofer's one lead, without 1 piece to be ordered" in only
    assert told.leaf.chosen == (
        "Not with an ordinary isolating transformer: with the one named below"
    )
    # what is against the ordinary one, with its figure
    assert any("bass would be lost, 1." in line for line in told.leaf.why)


def test_the_lead_to_order_is_on_the_sheet(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Lost: "nothing to recommend" where a lead of less capacitance is all that is needed."""
    told = Told(tmp_path, capsys, "rca:47k:1V", "--ground", "same-strip", "--cable", "14m",
                own=4700.0, kind="valve preamplifier")  # fmt: skip
    same_list(told)
    only = told.leaf.needs[-1]
    assert only.startswith("Only with such a lead (above), for “RCA lead, single-ended to single")
    assert "order, 2 x: a lead of 14 m that has at most" in only
    assert told.leaf.chosen == "Not with an ordinary lead: with the one named below"
    assert any("treble would be lost, " in line for line in told.leaf.why)


def test_where_the_load_takes_the_level_a_line_driver_helps(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Lost: "do not connect yet", with neither a reason nor a way out."""
    told = Told(tmp_path, capsys, "xlr:600/between:0.775V", "--ground", "same-strip",
                "--cable", "4m", most=15.0, own=2400.0, kind="valve preamplifier")  # fmt: skip
    same_list(told)
    # closed form: 600 ohm behind 2400 (a fifth more or less) and the 120 of both windings leave
    # 600 / 3120 of the open output, 14.3 dB below it; the loss in the core is on top
    lost = re.search(r"most of the level would be lost, ([\d.]+) dB", " ".join(told.leaf.why))
    assert lost is not None
    assert float(lost[1]) == pytest.approx(14.3, abs=0.15)
    # common practice: ten times the ohms of a weak output
    says = told.leaf.why[0].replace("\u00a0", " ")
    assert says.startswith(
        "What would help: a line driver between, a buffered amplifier stage with 24 kΩ or more at"
    )
    assert "whose maker allows 600 Ω at its output" in says
    assert told.leaf.chosen == "Not as it is: what helps stands below"


def test_a_load_that_is_not_allowed_is_told_in_ohms(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Lost: "more than its maker allows", and nobody can tell which other input would do."""
    told = Told(tmp_path, capsys, "rca:10k:1.5V", "--ground", "same-strip", "--cable", "3m",
                level=3.0, most=3.0, own=3000.0, kind="tube line stage",
                device="minimum_load_ohm = 47000.0")  # fmt: skip
    same_list(told)
    # both as they are typed
    assert any("10 kΩ are below the 47000 Ω the maker" in line.replace("\u00a0", " ")
               for line in told.leaf.why)  # fmt: skip


def test_a_way_out_stands_where_nothing_computed_helps() -> None:
    never = {"id": "rca-to-rca", "destination": "amp", "verdict": "never",
             "because": "the output carries direct voltage"}  # fmt: skip
    (leaf,) = leaves_of({"options": [never], "choices": [{"destination": "amp", "option": None}]})
    none, another = leaf.why
    assert none.endswith("without reservation: the output carries direct voltage.")
    assert another.startswith("What would change it: another input of the box, another output")


UNDECIDED = """
format = "probe-source/1"
kinds = ["balanced"]
differential_level_v = 2.0
differential_impedance_ohm = 200.0
[device]
maker = "Wendle"
model = "Alcove"
kind = "preamplifier"
output = "line"
connectors = ["xlr"]
"""


@pytest.mark.parametrize("load", ["10k", "47k"])
@pytest.mark.long
def test_of_two_boxes_without_a_decision_each_has_its_sheet(
    load: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Lost: an XLR plug drawn at an RCA socket, and the box that nothing is used for is gone."""
    source = tmp_path / "source.toml"
    source.write_text(UNDECIDED)
    boxes = ("xlr:20k/leg:1V", f"rca:{load}:0.4V:sub")
    line = ["advise", str(source), *boxes, "--ground", "same-strip", "--cable", "4m", "--json"]
    assert main(line) == 0
    amp, sub = leaves_of(json.loads(capsys.readouterr().out))
    assert (amp.destination, sub.destination) == ("amplifier, XLR input", "subwoofer, RCA input")
    assert amp.chosen.startswith("Try first: XLR lead")
    assert amp.drawing is not None
    assert "subwoofer" not in str(amp.drawing)
    assert sub.drawing is None
    assert sub.chosen.startswith("Not yet: ask the maker of the device about pin 3")
    # what belongs to one box is not on the sheet of the other
    assert "XLR to RCA" not in " ".join((*amp.before, *amp.needs, *amp.why))


def test_what_forbids_the_device_stands_once_for_all_boxes() -> None:
    never = [{"id": f"{box}-way", "destination": box, "verdict": "never"} for box in ("amp", "sub")]
    cautions = [{"code": "headphone-output", "message": "This is a headphone output."}]
    (leaf,) = leaves_of({"options": never, "cautions": cautions})
    assert leaf.drawing is None
    assert leaf.first
