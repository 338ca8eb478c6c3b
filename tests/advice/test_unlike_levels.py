"""Two amplifiers of unlike sensitivity on one device: what stands between them is said."""

from __future__ import annotations

import math
from pathlib import Path

import pytest

from probe.advice.advise import advise
from probe.advice.destination import together
from probe.advice.model import Advice
from probe.advice.source_file import read_source
from probe.advice.text import render
from probe.advice.typed import changed, typed_destination
from probe.report.leaflet import leaves_of

SHEET = """
format = "probe-source/1"
kinds = ["differential"]
differential_level_v = 5.2
single_ended_level_v = 2.6
differential_impedance_ohm = 100.0
single_ended_impedance_ohm = 50.0
separate_outputs = true
[device]
maker = "Harrowgate"
connectors = ["xlr", "rca"]
"""


def told(folder: Path, *boxes: str) -> tuple[list[str], Advice]:
    path = folder / "source.toml"
    path.write_text(SHEET, "utf-8")
    into = [changed(typed_destination(b, 50.0), ground="same-strip", cable="1m") for b in boxes]
    advice = advise(*read_source(path), together(into))
    return [c.message for c in advice.cautions if c.code == "unlike-levels"], advice


@pytest.mark.parametrize(
    ("boxes", "apart"),
    [
        # closed form: 775 mV over 0.5 V; the inputs of 47 kohm take 0.01 dB alike
        (("rca:47k:0.5V", "rca:47k:0.775V"), 20.0 * math.log10(0.775 / 0.5)),
        # 5.2 V over 1 V against 2.6 V over 0.775 V, less 0.02 dB on 40 kohm and 47 kohm
        (("xlr:20k/leg:1V:buffered", "rca:47k:0.775V"), 20.0 * math.log10(5.2 * 0.775 / 2.6)),
        (("rca:47k:0.5V:sub", "rca:47k:0.775V:sub"), 20.0 * math.log10(0.775 / 0.5)),
        # a tenth less is 0.9 dB: nothing that anybody balances
        (("rca:47k:0.9V", "rca:47k:1.0V"), None),
        # what is not meant to be as loud
        (("rca:47k:0.5V", "rca:47k:0.775V:sub"), None),
        (("rca:47k:0.5V:other", "rca:47k:0.775V:other"), None),
        # nothing is known of one of them
        (("rca:47k:0.5V", "rca:47k"), None),
    ],
)
@pytest.mark.long
def test_what_stands_between_two_boxes_of_one_kind(
    tmp_path: Path, boxes: tuple[str, str], apart: float | None
) -> None:
    """Bass and treble of a pair of amplifiers came 3.8 dB apart, and nobody was told."""
    found, advice = told(tmp_path, *boxes)
    assert len(found) == (apart is not None)
    for text in found:
        assert f"{apart:.1f} dB before" in text
        assert "level controls" in text
        assert text.split()[0] in " ".join(render(advice).split())


def test_of_one_box_there_is_nothing_to_balance(tmp_path: Path) -> None:
    assert told(tmp_path, "rca:47k:0.5V")[0] == []


@pytest.mark.long
def test_the_sheets_of_both_boxes_say_it_and_no_other(tmp_path: Path) -> None:
    """Lost: who fits a pair for bi-amping from the sheets alone hears one half over the other."""
    _, advice = told(tmp_path, "rca:47k:0.5V", "rca:47k:0.775V", "xlr:20k/leg:1V:sub")
    sheets = [" ".join(leaf.before) for leaf in leaves_of(advice.to_json())]
    # closed form: 775 mV over 0.5 V are 3.8 dB
    assert ["3.8 dB before" in sheet for sheet in sheets] == [True, True, False]
    assert ["level controls" in sheet for sheet in sheets] == [True, True, False]
