"""An XLR output whose pin 3 is connected to nothing, at an input that wants both pins.

The customer was told that nothing works; an XLR lead with pins 1 and 3 joined in one plug does.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from probe.advice.advise import advise
from probe.advice.model import Advice
from probe.advice.source_file import read_source
from probe.advice.text import render
from probe.advice.typed import changed, typed_destination
from probe.report.other_ways import why_nothing

SHEET = """
format = "probe-source/1"
{stated}
[device]
output = "line"
"""
OPEN = 'kinds = ["pin-3-unconnected"]\ndifferential_level_v = 2.0\nhot_impedance_ohm = 100.0'
INSIDE = OPEN.replace("pin-3-unconnected", "unbalanced")
RCA = "single_ended_level_v = 2.0\nsingle_ended_impedance_ohm = 100.0"


def ask(folder: Path, stated: str, to: str = "xlr:20k/leg:1V:transformer") -> Advice:
    path = folder / "source.toml"
    path.write_text(SHEET.format(stated=stated), "utf-8")
    there = changed(typed_destination(to, 50.0), ground="two-rooms", cable="3m")
    return advise(*read_source(path), there)


@pytest.mark.parametrize("circuit", [":transformer", ":difference-amplifier", ""])
def test_a_joint_in_the_plug_is_named(tmp_path: Path, circuit: str) -> None:
    advice = ask(tmp_path, OPEN, f"xlr:20k/leg:1V{circuit}")
    assert advice.chosen is None
    assert advice.choices[0].why[0].startswith("have an XLR lead made with pins 1 and 3 joined")
    assert advice.choices[0].why[0].endswith("with that lead xlr-to-xlr works")
    assert [(s.code, s.answers) for s in advice.would_change if s.code == "joined-plug"] == [
        ("joined-plug", ("xlr-to-xlr",))
    ]
    assert "pins 1 and 3 joined" in " ".join(render(advice).split())
    told = " ".join(why_nothing(advice.to_json(), advice.to_json()["options"]))
    assert "pins 1 and 3 joined" in told


def test_it_is_the_circuit_of_a_three_conductor_lead(tmp_path: Path) -> None:
    """What it is judged as: a conductor from the device's ground to pin 3 of the input."""
    joined, three = (
        {o.option.id: o.figures for o in ask(tmp_path, stated).options}[option]
        for stated, option in ((INSIDE, "xlr-to-xlr"), (RCA, "rca-to-xlr/pin-3-tied-at-source"))
    )
    # the same circuit by another name, which is held against the circuit simulator
    assert joined.level is not None
    assert three.level is not None
    assert joined.level.value == pytest.approx(three.level.value, rel=1e-4)
    # closed form: 2 V behind 100 ohm into 40 kohm between the legs
    assert joined.level.value == pytest.approx(2.0 * 40e3 / 40.1e3, rel=1e-4)
    assert joined.hum is not None
    assert three.hum is not None
    assert joined.hum.value == pytest.approx(three.hum.value, rel=0.02)


@pytest.mark.parametrize(
    "stated",
    # on a driven pin 3 the joint is a short circuit; what may be driven is not joined
    [
        'kinds = ["pin-3-unconnected", "differential"]\ndifferential_level_v = 2.0',
        "differential_level_v = 2.0",
        'kinds = ["differential"]\ndifferential_level_v = 2.0',
    ],
)
def test_nothing_is_joined_on_a_pin_that_may_be_driven(tmp_path: Path, stated: str) -> None:
    advice = ask(tmp_path, stated)
    told = [s.what for s in advice.would_change] + list(advice.choices[0].why)
    assert not any("joined" in says for says in told)
