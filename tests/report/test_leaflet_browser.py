"""The half page in a real browser: one side of paper, widths, the order it is read aloud in."""

from __future__ import annotations

import shutil
import subprocess
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import pytest

from probe.advice.advise import advise
from probe.advice.basket import with_shelf_parts
from probe.advice.destination import Destination, Input, together
from probe.advice.from_shelf import from_shelf
from probe.advice.in_all import all_in_all
from probe.advice.shelf import TEMPLATE, read_shelf
from probe.advice.source_file import read_source
from probe.advice.typed import changed, typed_destination
from probe.report import render_leaflet
from tests.advice.stages import cross_coupled, facts, symmetrical, transformer
from tests.report.browser import Browser

pytestmark = pytest.mark.browser

LONG = "an amplifier whose name goes on and on, as makers of amplifiers like it, mark two"
XLR = Input("xlr", "xlr", "balanced", 20e3, circuit="unknown", impedance_is="each-leg",
            sensitivity_volts=2.0, maximum_volts=3.0)  # fmt: skip
RCA = Input("rca", "rca", "single-ended", 47e3, sensitivity_volts=1.5, maximum_volts=2.0)


def made(*inputs: Input, stage: Any, kind: str, connectors: tuple[str, ...] = ("xlr", "rca"),
         volts: float = 10.0, name: str = LONG) -> dict[str, Any]:  # fmt: skip
    found = facts(kind, connectors=connectors)
    sides = dict.fromkeys(("left", "right"), found["sides"]["left"])
    destination = Destination(name, inputs, operating_volts=volts)
    advice = advise({**found, "sides": sides}, dict.fromkeys(sides, stage), destination)
    return advice.to_json()


def crowded() -> dict[str, Any]:
    """An answer with more cautions and more to mind than any has, and all the ways there are."""
    document = made(RCA, XLR, stage=symmetrical(), kind="differential")
    long = "what a dealer has to know before anything is connected, "
    more = [{"code": "unlikely-sensitivity", "message": f"{n} {long * 4}"} for n in range(4)]
    for option in document["options"]:
        option["hazards"] = [{"code": f"mind-{k}", "message": long * 3} for k in range(2)]
    return {**document, "cautions": [*document["cautions"], *more]}


SHEET = """
format = "probe-source/1"
differential_level_v = 5.2
single_ended_level_v = 2.6
differential_impedance_ohm = 94.0
single_ended_impedance_ohm = 47.0
differential_noise_a_v = 3e-6
single_ended_noise_a_v = 2e-6
[device]
maker = "Harrowgate"
model = "Siskin"
connectors = ["xlr", "rca"]
minimum_load_ohm = 10000.0
"""


def heads_full() -> dict[str, Any]:
    """A loudspeaker and a subwoofer on one output, with seven sentences at the head."""
    boxes = [
        changed(typed_destination(text, 50.0), ground="two-rooms", cable="10m")
        for text in ("xlr:10k/leg:1V", "rca:20k:0.3V:sub")
    ]
    with TemporaryDirectory() as folder:
        path = Path(folder) / "source.toml"
        path.write_text(SHEET, "utf-8")
        return advise(*read_source(path), together(boxes)).to_json()


def asked_first() -> dict[str, Any]:
    """A question in the headline, and much to say of what is used beside little that is needed."""
    valve = """
format = "probe-source/1"
single_ended_level_v = 1.0
single_ended_maximum_v = 14.0
single_ended_impedance_ohm = 1800.0
[device]
maker = "Quell"
model = "valve"
kind = "preamplifier"
output = "line"
connectors = ["rca"]
"""
    there = changed(typed_destination("rca:600:0.5V", 50.0), ground="same-strip", cable="2m")
    with TemporaryDirectory() as folder:
        path = Path(folder) / "source.toml"
        path.write_text(valve, "utf-8")
        return advise(*read_source(path), there).to_json()


BALANCED = """
format = "probe-source/1"
kinds = ["balanced"]
differential_level_v = 4.2
[device]
maker = "Quell and Daughters of Upper Harrowgate"
model = "Siskin Reference, mark four"
kind = "DAC"
output = "line"
connectors = ["xlr"]
"""


def answers_listed() -> dict[str, Any]:
    """A question with seven answers, each with its list, for each of three boxes on long leads."""
    boxes = ("rca:20k:1V", "rca:47k:0.5V:sub", "rca:10k:0.7V:other")
    places = [changed(typed_destination(b, 50.0), ground="same-strip", cable="5m") for b in boxes]
    with TemporaryDirectory() as folder:
        sheet, parts = Path(folder) / "source.toml", Path(folder) / "shelf.toml"
        sheet.write_text(BALANCED, "utf-8")
        parts.write_text(TEMPLATE, "utf-8")
        shelf = read_shelf(parts)
        there, subject = with_shelf_parts(together(places), shelf), read_source(sheet)
        found, lists = from_shelf(advise(*subject, there), *subject, there, shelf)
    whole = all_in_all(lists.own, lists.branches)
    listed = {"shelf": [b.to_json() for b in lists.own], "shelf_total": list(whole)}
    return {**found.to_json(), **listed}


CASES = {
    "answers-listed": answers_listed,
    "asked-first": asked_first,
    "heads-full": heads_full,
    "crowded": crowded,
    "attenuator": lambda: made(RCA, stage=symmetrical(), kind="differential"),
    "both": lambda: made(RCA, XLR, stage=symmetrical(), kind="differential"),
    "tied": lambda: made(RCA, stage=cross_coupled(), kind="electronically-floating",
                         connectors=("xlr",), volts=1.0),
    "winding": lambda: made(RCA, stage=transformer(), kind="transformer-coupled",
                            connectors=("xlr",), volts=1.0),
    "nothing": lambda: made(RCA, stage=symmetrical(), kind="differential", connectors=()),
}  # fmt: skip


@pytest.fixture(scope="module")
def files(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    folder = tmp_path_factory.mktemp("leaves")
    pages = {name: folder / f"{name}.html" for name in CASES}
    for name, path in pages.items():
        path.write_text(render_leaflet(CASES[name]()), "utf-8")
    return pages


@pytest.mark.parametrize("name", list(CASES))
def test_one_side_of_a4(
    chromium: Browser, files: dict[str, Path], name: str, tmp_path: Path
) -> None:
    chromium.show(files[name], 900)
    sides = files[name].read_text("utf-8").count("<article")
    paper = tmp_path / "leaf.pdf"
    paper.write_bytes(chromium.paper())
    if shutil.which("pdfinfo") is None:
        # without the reader: every page of such a file is an object of this type
        assert paper.read_bytes().count(b"/Type /Page\n") == sides
        return
    told = subprocess.run(["pdfinfo", str(paper)], capture_output=True, text=True, check=True)
    assert f"Pages:           {sides}\n" in told.stdout
    # ISO 216: A4 is 210 by 297 mm, 595 by 842 points
    assert "A4" in told.stdout


@pytest.mark.parametrize("name", list(CASES))
@pytest.mark.parametrize("width", [360, 900])
@pytest.mark.long
def test_no_sideways_scrolling(
    chromium: Browser, files: dict[str, Path], name: str, width: int
) -> None:
    chromium.show(files[name], width)
    # closed form: nothing is wider than the window
    assert chromium.ask("document.documentElement.scrollWidth") <= width


def test_read_aloud_in_order(chromium: Browser, files: dict[str, Path]) -> None:
    chromium.show(files["attenuator"], 900)
    spoken = chromium.spoken()
    headings = [name for role, name in spoken if role == "heading"]
    assert headings[0].startswith("Harrowgate Tern to")
    assert headings[1:] == ["What you need", "What it gives", "If it hums", "Never",
                            "For the curious"]  # fmt: skip
    roles = [role for role, _ in spoken]
    pictures = [name for role, name in spoken if role in ("image", "img", "graphics-document")]
    # closed form: one drawing, named, before the first list
    assert [p.split(",")[0] for p in pictures] == ["Wiring"]
    assert min(roles.index(r) for r in ("image", "img") if r in roles) < roles.index("list")
