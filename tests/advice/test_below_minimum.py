"""All on an output together below what its maker states, though above half: what helps is named.

Two inputs of 10 kohm on an output for 10 kohm stood under "To mind" without a word of what to do,
though the boxes had 9 dB to spare.
"""

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

SHEET = """
format = "probe-source/1"
single_ended_level_v = {level}
single_ended_maximum_v = {most}
single_ended_impedance_ohm = {own}
[device]
maker = "Fenwick"
model = "Alder"
kind = "preamplifier"
output = "line"
connectors = ["rca"]
minimum_load_ohm = {least}
"""


def ask(folder: Path, into: list[str], least: float, *, ground: str | None = None,
        level: float = 1.0, most: float = 6.0, own: float = 150.0) -> Advice:  # fmt: skip
    path = folder / "source.toml"
    path.write_text(SHEET.format(level=level, most=most, own=own, least=least), "utf-8")
    there = together([typed_destination(one, 50.0) for one in into])
    return advise(*read_source(path), changed(there, ground=ground, cable="1m"))


def helps(advice: Advice) -> str:
    (told,) = [c.message for c in advice.cautions if c.code == "together-load"]
    return told


def test_resistors_that_bring_it_to_the_minimum_are_named(tmp_path: Path) -> None:
    advice = ask(tmp_path, ["rca:10k:1V", "rca:10k:1V"], 10e3)
    told = helps(advice)
    # closed form: 10k || 10k are 5k; each of 20k, so 10k before each, make it 10k;
    # (20 + 0.15 * 2) / (10 + 0.15 * 2) and half of that behind them: 5.96 dB
    assert "Against the 5 kohm together on the RCA output" in told
    assert "10.0 kohm in the lead to the centre (6.0 dB) in the plugs at" in told
    assert "it is 10 kohm, and every box still reaches full output" in told
    assert "or ask its maker whether 5 kohm are allowed" in told
    # only named: what is used is the plain lead as before
    assert {(c.option, c.attenuator) for c in advice.choices} == {("rca-to-rca", False)}
    assert "Against the 5 kohm together" in " ".join(render(advice).split())


def test_as_few_plugs_as_may_do(tmp_path: Path) -> None:
    """Behind attenuators against hum two boxes are light; the third is what loads the output."""
    advice = ask(tmp_path, ["rca:10000:0.1V", "rca:2000:0.2V:sub", "rca:1000:1V"], 1e3,
                 ground="same-strip", level=4.0, most=4.0, own=50.0)  # fmt: skip
    told = helps(advice)
    # closed form: 8.87k + (825 || 10k) = 9.63k, 8.45k + (6.98k || 2k) = 10.0k and 1k are 831 ohm;
    # 1 / (1/1000 - 1/9632 - 1/10004) = 1256, so 256 ohm before the third, 270 of E24, which take
    # 20 log(1.32 / 1.05) = 2.0 dB of its 11.5 dB
    assert "Against the 831 ohm together" in told
    assert "with 270 ohm in the lead to the centre (2.0 dB) in the plug at rca:1000:1V" in told
    assert "in the plugs at" not in told


@pytest.mark.parametrize("most", [1.0, 1.9])
def test_without_level_to_spare_the_maker_is_asked(tmp_path: Path, most: float) -> None:
    # closed form: 6.0 dB are needed; 1 V (0 dB) or 1.9 V (5.6 dB) into an input of 1 V spare less
    told = helps(ask(tmp_path, ["rca:10k:1V", "rca:10k:1V"], 10e3, most=most))
    assert "ask its maker whether 5 kohm are allowed; else fewer boxes on it at once" in told
    assert "a line driver with 10 kohm or more at its input" in told
    assert "resistor" not in told
    assert "in the lead to" not in told


def test_no_more_than_a_turn_of_the_volume_is_given_away(tmp_path: Path) -> None:
    two = ["rca:2k:0.2V", "rca:10k:0.2V"]
    # closed form: 1 / (1/2800 - 1/10k) = 3889, so 1.89k before the 2 kohm, 2.0k of E24, which take
    # 20 log(4.15 / 2.15) = 5.7 dB
    told = helps(ask(tmp_path, two, 2800.0))
    assert "with 2.00 kohm in the lead to the centre (5.7 dB) in the plug at rca:2k:0.2V" in told
    # closed form: 1 / (1/3200 - 1/10k) = 4706 would take 7.1 dB before it, and 9.7 in both plugs
    assert "at least: ask its maker" in helps(ask(tmp_path, two, 3200.0))


def test_the_sheet_of_each_box_says_what_helps(tmp_path: Path) -> None:
    advice = ask(tmp_path, ["rca:10k:1V", "rca:10k:1V"], 10e3)
    for leaf in leaves_of(advice.to_json()):
        told = [line for line in leaf.before if line.startswith("Against the 5")]
        assert len(told) == 1
        assert "and every box still reaches full output" in told[0]
        assert "rca:" not in told[0]


def test_nothing_is_said_where_the_minimum_is_met(tmp_path: Path) -> None:
    codes = {c.code for c in ask(tmp_path, ["rca:10k:1V", "rca:10k:1V"], 5e3).cautions}
    assert "together-load" not in codes
