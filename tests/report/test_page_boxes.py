"""The page of several boxes has of each what screen and sheet have: first, parts, prices."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

import pytest

from probe.advice.shelf import TEMPLATE as SHELF
from probe.cli.main import main
from probe.report.leaflet import leaves_of
from probe.report.step import in_words
from probe.report.text import printed
from tests.advice.sheets import PLAYER
from tests.advice.test_lead_first import MIXER
from tests.advice.test_native_first import BALANCED
from tests.report.test_page import Page

STREAMER = """
format = "probe-source/1"
kinds = ["impedance-balanced"]
differential_level_v = 8.0
differential_impedance_ohm = 200.0
single_ended_level_v = 4.0
single_ended_impedance_ohm = 2200.0
[device]
kind = "DAC"
output = "line"
connectors = ["xlr", "rca"]
"""

WOUND = """
format = "probe-source/1"
kinds = ["transformer-coupled"]
differential_level_v = 4.0
differential_impedance_ohm = 200.0
single_ended_level_v = 2.0
[device]
kind = "preamplifier"
output = "line"
connectors = ["xlr", "rca"]
"""

DIGITAL = """
format = "probe-source/1"
digital_volts_peak_to_peak = 4.0
[device]
model = "Stream"
connectors = ["digital-110"]
"""

TWO = ("rca:10k:0.5V:max=2V", "rca:2k:1V")

FIRST = [
    # that something comes first, and of which box, is what screen, document and sheet have; the
    # words by which it is known: regression only
    (STREAMER, TWO, "computer", "2m", "run a notebook on its battery", (0, 1)),
    (STREAMER, TWO, "computer", "2m", "has a volume control of its own", (0, 1)),
    (WOUND, ("xlr:20k/leg:1V:buffered", "rca:100k:1.5V:max=1.6V"), "20mV/1ohm", "5m",
     "whether the winding of its XLR output floats", (1,)),
    (MIXER, ("rca:10k:0.775V", "rca:12k:0.7V"), "two-rooms", "15m", "it harms nothing", (0, 1)),
    (PLAYER, ("rca:47k:1V:max=4V", "rca:22k:1V:max=4V"), "20mV", "2m",
     "take the second reading of the meter", (0, 1)),
    (BALANCED, ("xlr:20k/between:1V:transformer", "xlr:10k/between:1V:transformer"), "same-strip",
     "2m", "at worst it plays thin", (0, 1)),
    (DIGITAL, ("digital-75:75", "rca:47k:1V"), "same-strip", "2m", "channel-status", (0,)),
]  # fmt: skip


BEFORE = ("before ", "first ", "try first")


def asked(
    folder: Path, capsys: pytest.CaptureFixture[str], sheet: str, *more: str
) -> tuple[dict[str, Any], str]:
    """Return the document and the page of one call."""
    source, page = folder / "source.toml", folder / "page.html"
    source.write_text(sheet, "utf-8")
    assert main(["advise", str(source), *more, "--html", str(page), "--json"]) == 0
    return json.loads(capsys.readouterr().out), page.read_text("utf-8")


def shown(text: str) -> str:
    """Return a line of the advice as the page has it, but for the spaces."""
    return " ".join(in_words(printed(text, 4000)).split())


def sections(page: str) -> list[str]:
    """Return the words of what is said of each box."""
    return [" ".join(Page(s).words.split())
            for s in re.findall(r'<div class="box">.*?</div>', page, re.DOTALL)]  # fmt: skip


@pytest.mark.parametrize(("sheet", "boxes", "ground", "cable", "says", "where"), FIRST)
@pytest.mark.long
def test_what_is_first_of_each_of_several_boxes_is_on_the_page(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], sheet: str, boxes: tuple[str, ...],
    ground: str, cable: str, says: str, where: tuple[int, ...],
) -> None:  # fmt: skip
    """Lost: isolators are bought by the page, where screen and sheet say what to try first."""
    document, page = asked(tmp_path, capsys, sheet, *boxes, "--ground", ground, "--cable", cable)
    told = [i for i, c in enumerate(document["choices"]) if any(says in w for w in c["why"])]
    assert tuple(told) == where
    said = sections(page)
    assert [i for i, text in enumerate(said) if says in text] == told
    for at in told:
        (reason,) = [w for w in document["choices"][at]["why"] if says in w]
        assert shown(reason)[1:] in said[at]
        # first of a box: before the reasons for what is chosen
        last = [w for w in document["choices"][at]["why"] if not w.startswith(BEFORE)][-1:]
        assert all(said[at].index(shown(reason)[1:]) < said[at].index(shown(w)[1:]) for w in last)
    leaves = leaves_of(document)
    assert not leaves[1:] or all(says[1:] in " ".join(leaves[at].asked) for at in told)


def test_no_box_is_told_to_use_what_waits(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Lost: "use this" beside two isolators, though a lead is to be tried before."""
    _, page = asked(tmp_path, capsys, STREAMER, *TWO, "--ground", "computer", "--cable", "2m")
    heads = re.findall(r'<p class="chosen">(.*?)</p>', page)
    # the headline of the sheet, on which the lead that shows it is the headline, too
    assert heads == ["Try first, as below: RCA lead, single-ended to single-ended"] * 2
    assert "use this" not in Page(page).words
    # what the transformer below belongs to, as the sheet has it on its list
    isolated = "XLR to RCA through an audio isolating transformer"
    assert all(f"Only if that does not do: {isolated} " in text for text in sections(page))
    assert Page(page).words.count("not yet") == 2


def test_the_page_has_the_resistors_of_a_plug(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Lost: "an attenuator of 7 dB", and nobody who solders knows of which resistors."""
    sheet = PLAYER.replace("2.0", "4.0").replace("[device]", "[device]\nvolume_control = false")
    document, page = asked(tmp_path, capsys, sheet, "rca:10k:0.5V:max=2V", "--ground", "same-strip",
                           "--cable", "2m")  # fmt: skip
    (pad,) = {o["attenuator"]["says"] for o in document["options"] if o["verdict"] == "use"}
    # the resistors of the document, which the simulator has checked (test_fitted_spice)
    assert re.search(r"kohm in the lead to the centre, .*ohm from the centre to the shell", pad)
    (box,) = sections(page)
    assert f"in the plug at the destination: {shown(pad)}" in box


@pytest.mark.long
def test_the_page_has_parts_and_prices_of_a_shelf(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Lost: a page without what is taken, beside a screen and a sheet that have it."""
    shelf = tmp_path / "shelf.toml"
    shelf.write_text(SHELF, "utf-8")
    document, page = asked(tmp_path, capsys, WOUND, "xlr:20k/leg:1V:buffered",
                           "rca:100k:1.5V:max=1.6V", "--ground", "20mV/1ohm", "--cable", "5m",
                           "--shelf", str(shelf))  # fmt: skip
    amp, other, shared = sections(page)
    # what the document lists for each, whose prices are checked against sums (test_shelf)
    for basket, said in zip(document["shelf"], (amp, other, shared), strict=True):
        assert basket["says"]
        assert all(shown(line) in said for line in basket["says"])
    assert f"All in all: {shown(document['shelf_total'][0])}" in shared
    assert "The transformer: 1:1, at least" in other
