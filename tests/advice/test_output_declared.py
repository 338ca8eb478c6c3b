"""An output that looks like headphones or power is asked about before anything hangs on it."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from probe.advice.advise import advise
from probe.advice.model import Advice
from probe.advice.source_file import read_source
from probe.advice.text import render
from probe.advice.typed import typed_destination
from probe.report.alarms import alarms_before
from probe.report.before import first_of
from probe.report.leaflet import leaves_of
from tests.advice.stages import facts, symmetrical

RCA = typed_destination("rca:47k:1.5V", 50.0)

SHEET = """
format = "probe-source/1"
differential_level_v = {pair}
differential_impedance_ohm = {ohm}
[device]
kind = "{kind}"
model = "{model}"
{more}
"""


def sheet(folder: Path, *, pair: float = 4.0, ohm: float = 100.0, kind: str = "", model: str = "",
          more: str = "") -> Advice:  # fmt: skip
    path = folder / "source.toml"
    path.write_text(SHEET.format(pair=pair, ohm=ohm, kind=kind, model=model, more=more), "utf-8")
    return advise(*read_source(path), RCA)


# source: below 5 ohm or above 8 V an output is asked about again; words: common practice
LOOKS: list[dict[str, Any]] = [
    {"kind": "headphone amplifier"},
    {"model": "Siskin Power Amp"},
    {"kind": "Kopfhörerverstärker"},
    {"ohm": 0.1},
]
# the same, of a level: it doubts who has declared nothing, and no studio's output of +24 dBu
HIGH = {"pair": 12.3}


@pytest.mark.parametrize("said", [*LOOKS, HIGH])
def test_nothing_is_advised_until_it_is_declared(tmp_path: Path, said: dict[str, Any]) -> None:
    # lost: "USE rca-to-rca" for a power amplifier's terminals, one of which may be live
    advice = sheet(tmp_path, **said)
    assert advice.chosen is None
    assert advice.options == ()
    assert advice.cautions[0].code == "output-undeclared"
    assert [one.code for one in advice.would_change] == ["output"]
    text = " ".join(render(advice).split())
    assert text.index("FIRST Connect nothing yet: is this a line output?") < text.index("No conn")
    assert 'output = "line" below [device]' in text
    (leaf,) = leaves_of(advice.to_json())
    assert leaf.chosen == "Do not connect yet"
    assert "is this a line output?" in leaf.first[0]


@pytest.mark.parametrize("said", LOOKS)
@pytest.mark.long
def test_one_that_is_declared_is_advised_on_with_the_caution_first(
    tmp_path: Path, said: dict[str, Any]
) -> None:
    advice = sheet(tmp_path, more='output = "line"', **said)
    assert advice.options
    assert advice.cautions[0].code == "output-unlike-line"
    text = " ".join(render(advice).split())
    assert text.index("FIRST Declared as a line output, but") < text.index("USE")
    assert "Declared as a line output" in first_of(advice.to_json())[0]


# common practice, no source: +24 dBu and +28 dBu are what studios' line outputs reach
@pytest.mark.parametrize("pair", [12.3, 19.5])
@pytest.mark.long
def test_a_declared_output_of_a_studio_is_not_doubted(tmp_path: Path, pair: float) -> None:
    # lost: the caution itself, where it is read with every ordinary output
    advice = sheet(tmp_path, pair=pair, more='output = "line"')
    assert advice.options
    assert not [c for c in advice.cautions if c.code.startswith("output-")]


# common practice, no source: loudspeaker lines carry 25, 70.7 or 100 V
@pytest.mark.parametrize("pair", [25.0, 70.7, 100.0])
@pytest.mark.parametrize("more", ['output = "line"', ""])
def test_a_loudspeaker_line_is_no_line_output(tmp_path: Path, pair: float, more: str) -> None:
    # lost: an input, and the resistors in its plug, on 70 V behind a hundred watts
    advice = sheet(tmp_path, pair=pair, more=more)
    assert (advice.chosen, advice.options) == (None, ())
    assert advice.cautions[0].code == "output-beyond-line"
    text = " ".join(render(advice).split())
    assert "FIRST Connect nothing: " in text
    assert [one.code for one in advice.would_change] == ["output"]
    assert "maximum_v" in advice.would_change[0].what
    (leaf,) = leaves_of(advice.to_json())
    assert leaf.chosen == "Never connect this output"
    assert "no level of a line output" in leaf.first[0]


# common practice, no source: valve line stages state 40 V and more before they distort, and
# loudspeaker lines are called 70 V and 100 V by the most they give
@pytest.mark.parametrize("most", [26.0, 40.0, 70.0])
@pytest.mark.parametrize("output", ["differential", "single_ended"])
@pytest.mark.parametrize("more", ['output = "line"', ""])
@pytest.mark.long
def test_a_maximum_beyond_lines_is_asked_about(
    tmp_path: Path, most: float, output: str, more: str
) -> None:
    # lost: "turned up to the 70 V it gives at most" of a line for loudspeakers
    sheet(tmp_path, more=more)
    path = tmp_path / "source.toml"
    figures = f"single_ended_level_v = 2.0\n{output}_maximum_v = {most}\n[device]"
    path.write_text(path.read_text("utf-8").replace("[device]", figures), "utf-8")
    advice = advise(*read_source(path), RCA)
    if more:
        assert advice.options
        assert advice.cautions[0].code == "output-unlike-line"
    else:
        assert advice.options == ()
        assert advice.cautions[0].code == "output-undeclared"
    assert f"t gives up to {most:g} V" in " ".join(render(advice).split())


@pytest.mark.parametrize(
    "said",
    [{}, {"pair": 7.9}, {"ohm": 5.1}, {"kind": "preamplifier"}, {"kind": "integrated amplifier"},
     {"model": "Powerstream"}],
)  # fmt: skip
@pytest.mark.long
def test_line_outputs_are_not_asked_about(tmp_path: Path, said: dict[str, Any]) -> None:
    advice = sheet(tmp_path, **said)
    assert advice.options
    assert not {"output-undeclared", "output-unlike-line"} & {c.code for c in advice.cautions}


@pytest.mark.parametrize(
    ("device", "values"),
    [
        ({"kind": "balanced headphone amplifier"}, {}),
        ({}, {"differential_impedance": {"value": 2.1, "unit": "ohm"}}),
        ({}, {"single_ended_impedance": {"value": 0.4, "unit": "ohm"}}),
    ],
)
def test_what_was_measured_asks_the_same(device: dict[str, Any], values: dict[str, Any]) -> None:
    # lost: a balanced headphone socket measured as a line output, its driven return tied by a lead
    declared = facts(device=device, values=values)
    advice = advise(declared, {"left": symmetrical()}, RCA)
    assert advice.options
    assert advice.cautions[0].code == "output-unlike-line"
    undeclared = facts(device={**device, "output_declared": False}, values=values)
    advice = advise(undeclared, {"left": symmetrical()}, RCA)
    assert advice.chosen is None
    assert advice.cautions[0].code == "output-undeclared"
    assert "session.toml, analysed again" in " ".join(render(advice).split())


def test_what_was_measured_is_asked_about_its_level() -> None:
    # 8 V and more, where nobody has said what the output is; 22 V and more, whatever was said
    values = {"differential_level": {"value": 8.5, "unit": "V"}}
    undeclared = facts(device={"output_declared": False}, values=values)
    advice = advise(undeclared, {"left": symmetrical()}, RCA)
    assert (advice.chosen, advice.cautions[0].code) == (None, "output-undeclared")
    assert advise(facts(values=values), {"left": symmetrical()}, RCA).options
    values = {"differential_level": {"value": 25.0, "unit": "V"}}
    advice = advise(facts(values=values), {"left": symmetrical()}, RCA)
    assert (advice.options, advice.cautions[0].code) == ((), "output-beyond-line")
    assert [a.name for a in alarms_before(facts(values=values))] == ["No line output"]


def test_a_leg_tied_to_ground_is_no_sign_of_power() -> None:
    values = {"hot_impedance": {"value": 100.0}, "cold_impedance": {"value": 0.03}}
    undeclared = facts(device={"output_declared": False}, values=values)
    assert advise(undeclared, {"left": symmetrical()}, RCA).options
