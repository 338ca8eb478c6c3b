"""What comes before any choice stands first and large: never connect, do not connect, repair."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import Any

import pytest

from probe.advice import text
from probe.advice.advise import advise
from probe.advice.model import Advice
from probe.advice.note import Note
from probe.advice.typed import typed_destination
from probe.report import before, render_html, render_leaflet
from probe.report.leaflet import leaves_of
from probe.report.summary import render_summary
from tests.advice.stages import facts, symmetrical

FAULT = {"stage": {"faults": ["coupling-capacitor-cold"]}}


def asked(document: dict[str, Any], typed: str = "rca:47k:1.5V") -> Advice:
    return advise(document, {"left": symmetrical()}, typed_destination(typed, 50.0))


def metered(volts: float, *terminals: str) -> dict[str, Any]:
    return facts(values={f"{t}_direct_voltage": {"value": volts, "unit": "V"} for t in terminals})


@pytest.mark.parametrize(
    ("document", "says", "chosen"),
    [
        # our own words; limits of 0.1 V and 2 V: common practice, no source
        (facts(**FAULT), "Have it repaired first", True),
        (metered(0.6, "hot"), "600 mV on pin 2 (left)", False),
        (metered(-0.6, "cold"), "-600 mV on pin 3 (left)", False),
        (metered(0.6, "single_ended"), "600 mV on the RCA centre (left)", False),
        (metered(3.0, "hot", "cold"), "3.00 V on pin 2 (left), 3.00 V on pin 3 (left)", False),
        (facts(device={"output": "speaker"}), "both terminals may be live", False),
        (facts(device={"output": "headphone"}), "shorts two amplifiers together", False),
    ],
)
def test_first_on_screen_page_and_sheet(document: dict[str, Any], says: str, chosen: bool) -> None:
    advice = asked(document)
    assert (advice.chosen is not None) is chosen
    screen = " ".join(text.render(advice).split())
    assert screen.count(says) == 1
    assert says in screen.partition(" FIRST ")[2][: len(says) + 250]
    sheet = render_leaflet(advice.to_json())
    (box,) = re.findall(r'<div class="first".*?</div>', sheet, re.DOTALL)
    assert says in box
    assert sheet.index(box) < sheet.index('<p class="chosen">')
    page = render_html(document, advice=advice.to_json())
    (listed,) = re.findall(r"First</h3>\s*<ul>\s*<li>.*?</li>", page, re.DOTALL)
    assert says in listed


def test_nothing_first_where_nothing_is_wrong() -> None:
    for document in (facts(), metered(0.05, "hot", "cold", "single_ended")):
        advice = asked(document)
        assert advice.chosen == "rca-to-rca"
        assert "FIRST" not in text.render(advice)
        assert 'class="first"' not in render_leaflet(advice.to_json())


def test_the_box_is_set_larger_than_the_rest() -> None:
    sheet = render_leaflet(asked(facts(**FAULT)).to_json())
    printed = sheet.partition("@media print")[2]
    (size,) = re.findall(r"\.first\{font-size:([\d.]+)pt", printed)
    (body,) = re.findall(r"body\{background:#fff;font-size:([\d.]+)pt", printed)
    assert float(size) > 1.5 * float(body)


@pytest.mark.parametrize("code", before.ASKED)
def test_a_doubted_figure_is_asked_about_before_anything_is_bought(code: str) -> None:
    advice = asked(facts())
    advice = replace(
        advice,
        cautions=(*advice.cautions, Note(code, "25 V (hot_level_v). Look the figure up again.")),
    )
    screen = text.render(advice)
    # the rule: a question that doubts a figure stands before what rests on it, and once
    assert screen.index("FIRST  25 V (hot_level_v). Look") < screen.index("USE")
    assert screen.count("Look the figure up") == 1
    sheet = render_leaflet(advice.to_json())
    assert sheet.index("Look the figure up again.") < sheet.index('<p class="chosen">')
    assert sheet.count("Look the figure up") == 1
    # the keys of a file are no words of a customer
    assert "hot_level_v" not in sheet
    # it forbids nothing: not in the print of what does
    assert leaves_of(advice.to_json())[0].first == ()


def test_sheet_and_screen_hold_the_same_first() -> None:
    # the sheet of a box has it from what is said of the box's own way
    assert tuple(code for code in text.FIRST if code != "digital-one-input") == before.FIRST


@pytest.mark.parametrize(("volts", "clean"), [(0.05, True), (0.6, False), (-3.0, False)])
def test_no_clean_bill_beside_direct_voltage(volts: float, clean: bool) -> None:
    told = render_summary(metered(volts, "hot"))
    # source: common practice, no source: more than 0.1 V direct is looked at
    assert ("no warnings" in told) is clean
    assert ("direct voltage metered: suspect a fault" in told) is not clean
    assert clean or "no fault found" not in told


def test_what_stands_in_large_print_takes_more_room() -> None:
    (leaf,) = leaves_of(asked(facts(**FAULT)).to_json())
    plain = replace(leaf, first=())
    # own choice: 14 pt in a box beside text of 8.8 pt
    assert leaf.characters - plain.characters == 3 * sum(len(t) for t in leaf.first) > 0


@pytest.mark.parametrize("code", ["ground-fault", "ground-high"])
def test_an_output_is_not_blamed_for_the_wiring_of_the_house(code: str) -> None:
    cautions = [{"code": code, "message": "140 V between the chassis"}]
    (leaf,) = leaves_of({"options": [], "cautions": cautions})
    # what is said first is about the boxes' grounds; nothing is wrong with the output
    assert leaf.chosen == "Do not connect these boxes"
