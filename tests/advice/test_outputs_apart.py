"""Whether the outputs of a typed device share a resistor: where it decides, the maker is asked."""

from __future__ import annotations

import math
from pathlib import Path

import pytest

from probe.advice.advise import advise
from probe.advice.destination import together
from probe.advice.ground import of_preset
from probe.advice.model import Advice
from probe.advice.source_file import read_source
from probe.advice.typed import changed, typed_destination
from probe.report.leaflet import leaves_of

CODE = "outputs-shared"

SHEET = """
format = "probe-source/1"
kinds = ["differential"]
differential_level_v = 4.4
single_ended_level_v = 2.2
differential_impedance_ohm = 150.0
single_ended_impedance_ohm = 75.0
{more}
[device]
maker = "Harrowgate"
connectors = ["xlr", "rca"]
"""


def asked(folder: Path, more: str = "", sub: str = "rca:20k:0.3V:sub") -> Advice:
    path = folder / "source.toml"
    path.write_text(SHEET.format(more=more), "utf-8")
    boxes = [
        changed(typed_destination(text, 50.0), ground="computer", cable="10m")
        for text in ("xlr:10k/leg:1.2V:difference-amplifier", sub)
    ]
    return advise(*read_source(path), together(boxes))


def hum_of_sub(advice: Advice) -> float:
    (found,) = [o for o in advice.sets[0].options if "sub" in o.box]
    hum = found.figures.hum_below_full_output_db
    assert hum is not None
    return hum.low


def test_the_question_that_decides_is_asked(tmp_path: Path) -> None:
    """An engineer asked why the subwoofer may hum, and found no answer and no question."""
    advice = asked(tmp_path)
    ground = of_preset("computer")
    assert ground.difference_volts is not None
    assert ground.ohm is not None
    shield = 0.34  # ten metres of 30 mohm and two contacts of 20
    volts = ground.difference_volts * shield / (shield + ground.ohm)
    # closed form: through 10 kohm of a leg into 75 ohm that pin 2 and the RCA centre share, and a
    # fifth more that a data sheet is wrong by
    heard = volts / 10e3 * 75.0
    assert hum_of_sub(advice) == pytest.approx(20.0 * math.log10(0.3 / heard), abs=2.0)
    (note,) = [c.message for c in advice.cautions if c.code == CODE]
    assert "ask the maker of Harrowgate" in note
    assert "rca:20k:0.3V:sub: rca-to-rca/transformer, hum more than 120 dB" in note
    for leaf in leaves_of(advice.to_json()):
        assert any("ask its maker" in line for line in leaf.before)


def test_the_answer_of_the_maker_is_taken(tmp_path: Path) -> None:
    advice = asked(tmp_path, "separate_outputs = true")
    assert hum_of_sub(advice) > 120.0
    assert CODE not in {c.code for c in advice.cautions}


def test_nothing_is_asked_where_it_decides_nothing(tmp_path: Path) -> None:
    near = asked(tmp_path, sub="rca:20k:3V:sub")
    assert CODE not in {c.code for c in near.cautions} or hum_of_sub(near) < 90.0
