"""The report of an output typed from a data sheet: nothing in it may read as measured."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

import pytest

from probe.advice.advise import advise
from probe.advice.source_file import read_source
from probe.advice.typed import typed_destination
from probe.errors import BadInput
from probe.facts import read_facts
from probe.report import render_html, render_summary
from probe.report.bounded import figure, loss_or_rise
from tests.advice.sheets import DESK
from tests.report.test_page import Page

BARE = """
format = "probe-source/1"
differential_level_v = 2.0
[device]
model = "Unknown"
connectors = ["xlr"]
"""


DIGITAL = """
format = "probe-source/1"
digital_volts_peak_to_peak = 4.0
[device]
model = "Stream"
connectors = ["digital-110"]
"""


def page_of(folder: Path, text: str, to: str = "rca:47k:1V") -> tuple[str, dict[str, Any]]:
    path = folder / "source.toml"
    path.write_text(text, "utf-8")
    facts, sources = read_source(path)
    advice = advise(facts, sources, typed_destination(to, 50.0))
    return render_html(facts, advice=advice.to_json()), facts


@pytest.mark.parametrize(
    ("text", "to"),
    [
        (DESK, "rca:47k:1V"),
        (BARE, "rca:47k:1V"),
        (BARE, "xlr:20k/leg:1V"),
        (DIGITAL, "digital-75:75"),
        (DESK.replace('"line"', '"headphone"'), "rca:47k:1V"),
        (BARE.replace("2.0", "12.0"), "rca:47k:1V"),
    ],
)
@pytest.mark.long
def test_a_reader_is_never_told_that_a_sheet_was_measured(
    tmp_path: Path, text: str, to: str
) -> None:
    html, _ = page_of(tmp_path, text, to)
    words = Page(html).words.replace("ordinary one takes", "")  # the verb, of a transformer's core
    assert "output stage, from a data sheet, nothing measured" in words.split("Skip to")[1][:120]
    # what only takes can show, or a recorder; "take" of a verb stands in the advice
    for said in (
        ", as measured", "Measured values", "equally likely", "the takes", "these takes",
        "other takes", "further takes", "of the take", "recorder",
        "95 % interval", "in 95 of 100", "the measured level", "Confidence", "session.toml",
        "idle take", "Mono", "mono,", "Made by",
    ):  # fmt: skip
        assert said not in words, said


def test_what_was_typed_stands_there_with_what_it_is_taken_as(tmp_path: Path) -> None:
    html, facts = page_of(tmp_path, DESK)
    words = Page(html).words
    # definition of dBu: 0.7746 V times 10^(4/20) is 1.2277 V; practice: 5 % either way
    assert re.search(r"1\.228 V \+4\.00 dBu 1\.167 to 1\.289 V", words)
    # practice: the same 5 %
    assert "9.76 V 9.27 to 10.25 V" in words
    # practice: an impedance to 20 %
    assert "150 Ω 120 to 180 Ω" in words
    assert "Impedance-balanced" in words
    assert "Both sides are taken as alike" in words
    assert facts["taken_within"] == {"levels": 0.05, "impedances": 0.2, "legs_alike": 0.1}
    one, _ = page_of(tmp_path, DESK.replace("[device]", 'side = "mono"\n[device]'))
    assert "It has one channel." in Page(one).words


@pytest.mark.long
def test_every_kind_that_fits_stands_there(tmp_path: Path) -> None:
    words = Page(page_of(tmp_path, BARE)[0]).words
    # a level between the pins says nothing of the kind: all seven of the format
    for kind in ("Both legs driven", "Electronically floating", "Transformer-coupled",
                 "Ground-sensing", "Impedance-balanced", "pin 3 grounded",
                 "pin 3 connected to nothing"):  # fmt: skip
        assert kind in words


def test_the_dangers_of_connecting_stay_on_the_page(tmp_path: Path) -> None:
    words = Page(page_of(tmp_path, DESK)[0]).words
    for caution in ("Never lift a protective mains earth", "above 0.1 V do not connect",
                    "Line outputs only", "Join pin 3 to pin 1 only as listed"):  # fmt: skip
        assert caution in words
    alone = Page(render_html(page_of(tmp_path, DESK)[1])).words
    assert "Never make or keep a connection in which a protective mains earth is lifted" in alone


def test_a_typed_report_is_no_measurement_to_read(tmp_path: Path) -> None:
    html, facts = page_of(tmp_path, DESK)
    (tmp_path / "report.html").write_text(html, "utf-8")
    (tmp_path / "facts.json").write_text(json.dumps(facts), "utf-8")
    for name in ("report.html", "facts.json"):
        with pytest.raises(BadInput, match="typed from a data sheet, nothing in it was measured"):
            read_facts(tmp_path / name)
    assert "nothing was measured" in render_summary(facts)
    assert "confidence" not in render_summary(facts)


def test_what_a_solve_leaves_of_nothing_is_no_figure() -> None:
    # judgement: the limits of a tied pin lie at 7 and 20 mA; picoamperes are what rounding leaves
    assert figure({"value": 0.0, "unit": "A", "u95": 3.9e-15}) == "below 1 µA"
    assert figure({"value": 5e-8, "unit": "A", "low": 4e-8, "high": 6.1e-8}) == "below 1 µA"
    # arithmetic: 589 + 591 uA; a peak is a size and has no end below nothing
    assert figure({"value": 589e-6, "unit": "A", "u95": 591e-6}) == "at most 1.18 mA"


@pytest.mark.parametrize("word", ["Loss", "Lost"])
def test_a_rise_is_called_one(word: str) -> None:
    name, entry = loss_or_rise(f"{word} at 20 kHz", {"value": -0.1, "unit": "dB", "u95": 0.01})
    # arithmetic: minus a loss of -0.1 dB
    assert (name, figure(entry)) == ("Rise at 20 kHz", "0.1 dB")
    # what rounds to nothing stays a loss of nothing
    for db in (-0.04, 0.0, 0.3):
        assert loss_or_rise(f"{word} at 20 kHz", {"value": db})[0] == f"{word} at 20 kHz"
    ends = {"value": -2.0, "unit": "dB", "low": -3.0, "high": -1.5}
    # arithmetic: the ends change places
    assert figure(loss_or_rise("Lost at 20 Hz", ends)[1]) == "1.5 to 3.0 dB"
