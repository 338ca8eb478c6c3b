"""The take list on paper: every take the kit can make, its wiring, its cautions, its blanks."""

from __future__ import annotations

import re
import shutil
import subprocess
import xml.etree.ElementTree as ET
from pathlib import Path

import pytest

from probe.bench.planned.able import Known, Setting, able
from probe.bench.planned.cautions import before, before_connecting
from probe.bench.planned.kit import usual
from probe.bench.shown import takelist
from probe.bench.shown.drawing import terminal
from probe.cli.main import main
from probe.session.model import Device
from tests.report import browser

DEVICE = Device("", "")


def test_every_take_stands_with_wiring_cautions_box_and_blanks():
    setting = Setting(DEVICE, usual(), "left")
    shown = takelist.text(takelist.take_list((setting,)))
    flat = " ".join(shown.split())
    steps = able(setting, Known())
    assert len(steps) > 8
    for step in steps.values():
        assert step.name in shown
        for line in terminal(step).splitlines():
            assert line.strip() in shown
        for caution in before(step):
            assert " ".join(caution.text.split()) in flat
    for caution in before_connecting(setting):
        assert " ".join(caution.text.split()) in flat
    assert shown.count("[ ] ") > len(steps) * 2
    assert shown.count("    file: ____") == len(steps)
    # the order of danger: the meter before leads, leads before tones, injections before loads
    order = [
        flat.index(w) for w in ("Multimeter first", "phantom", "left inject cold", "left load cold")
    ]
    assert order == sorted(order)
    assert max(map(len, shown.splitlines())) <= 82


def test_a_load_the_maker_forbids_is_left_out_and_named(capsys):
    assert main(["takes", "--minimum-load", "1000"]) == 0
    shown = capsys.readouterr().out
    assert "left load cold" not in shown
    assert "below the maker's minimum load of 1000 ohm" in " ".join(shown.split())


def test_the_page_is_whole_and_its_names_are_its_own(tmp_path: Path, capsys):
    place = tmp_path / "takes.html"
    assert main(["takes", "--html", "--side", "both", "--out", str(place)]) == 0
    page = place.read_text("utf-8")
    # the two void elements of its head are all that keeps it from being XML
    root = ET.fromstring(re.sub(r"<!doctype html>|<meta[^>]*>", "", page))
    ids = [e.get("id") for e in root.iter() if e.get("id")]
    assert len(ids) == len(set(ids)) > 20
    pictures = list(root.iter("svg"))
    assert len(pictures) == len(list(root.iter("section"))) > 16
    for picture in pictures:
        named = str(picture.get("aria-labelledby")).split()
        assert set(named) <= set(ids)
    assert "http" not in page


@pytest.mark.long
@pytest.mark.browser
def test_printed_two_takes_or_three_share_a_side_of_paper(tmp_path: Path):
    program = browser.find()
    if program is None or shutil.which("pdftotext") is None:
        pytest.skip("no Chromium or no pdftotext on the path")
    place, paper = tmp_path / "takes.html", tmp_path / "takes.pdf"
    assert main(["takes", "--html", "--out", str(place)]) == 0
    with browser.Browser(program, tmp_path / "profile") as shown:
        shown.show(place, 900, 1200)
        paper.write_bytes(shown.paper())
    done = subprocess.run(["pdftotext", "-layout", paper, "-"], capture_output=True, check=True)
    pages = done.stdout.decode("utf-8").split("\f")[:-1]
    steps = able(Setting(DEVICE, usual(), "left"), Known())
    began = [len(re.findall(r"^\s*\d+\. left ", page, re.MULTILINE)) for page in pages]
    assert sum(began) == len(steps)
    # as the changelog promises; the first side has the cautions that come once
    assert all(count in (2, 3) for count in began[1:])
    # no take is cut: each has its last line on the page where it begins
    assert [len(re.findall("remarks:", page)) for page in pages] == began


@pytest.mark.parametrize(
    "words",
    [["--minimum-load", "0"], ["--kit", "no.toml"], ["--side", "up"], ["--html", "--text"]],
)
def test_rubbish_is_refused(words, capsys):
    assert main(["takes", *words]) == 2
    out = capsys.readouterr()
    assert out.out == ""
    assert out.err.count("\n") == 1


def test_labels_stand_inside_the_frame_of_the_device():
    # lost: "device's input" stands over the frame's line on paper
    shown = takelist.html(takelist.take_list((Setting(DEVICE, usual(), "left"),)))
    for drawing in re.findall(r"<svg.*?</svg>", shown, re.S):
        svg = ET.fromstring(drawing)
        left = float(next(r for r in svg.iter("rect") if r.get("class") == "box").get("x", ""))
        for text in svg.iter("text"):
            if text.get("text-anchor") == "end":
                # common practice, no source: letters of 18.5 px (print) are 0.65 em wide at most
                assert float(text.get("x", "")) - 0.65 * 18.5 * len(text.text or "") > left
