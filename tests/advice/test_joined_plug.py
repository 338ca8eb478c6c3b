"""An XLR output whose pin 3 is connected to nothing, at an input that wants both pins.

The customer was told that nothing works; an XLR lead with pins 1 and 3 joined in one plug does.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest

from probe.advice.advise import advise
from probe.advice.joined_plug import joined, unconnected
from probe.advice.model import Advice
from probe.advice.source_file import read_source
from probe.advice.text import render
from probe.advice.typed import changed, typed_destination
from probe.report.other_ways import why_nothing
from tests.advice.stages import TONES, facts, legs

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


def named_in(advice: Advice) -> str:
    """Return what is said of the joint: no plain lead is tried before it.

    Here one loses the signal into a transformer, and hums at 40 to 47 dB into every other circuit.
    """
    told = advice.choices[0].why[0]
    assert told.startswith("have an XLR lead made with pins 1 an")
    return told


@pytest.mark.parametrize("circuit", [":transformer", ":difference-amplifier", ""])
def test_a_joint_in_the_plug_is_named(tmp_path: Path, circuit: str) -> None:
    advice = ask(tmp_path, OPEN, f"xlr:20k/leg:1V{circuit}")
    assert advice.chosen is None
    told = named_in(advice)
    assert told.endswith("with that lead xlr-to-xlr works")
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
@pytest.mark.long
def test_nothing_is_joined_on_a_pin_that_may_be_driven(tmp_path: Path, stated: str) -> None:
    advice = ask(tmp_path, stated)
    told = [s.what for s in advice.would_change] + list(advice.choices[0].why)
    assert not any("joined" in says for says in told)


# --- a measured device


RECORDED = {
    "hot_recorded": {"value": 1.99}, "cold_recorded": {"value": 0.01},
    "cold_impedance": {"value": 160e3, "bound": "above"},
    "hot_level": {"value": 2.0}, "differential_level": {"value": 2.0, "bound": "below"},
}  # fmt: skip


def measured(folder: Path, to: str, kind: str = "pin-3-unconnected", **stage: Any) -> Advice:
    document = facts(kind, driven="one-leg", connectors=("xlr",), values=RECORDED, stage=stage,
                     device={"full_output_volts": 2.0})  # fmt: skip
    # no one mains strip reaches so far: that would come first, with a plain lead
    there = changed(typed_destination(to, 50.0), ground="two-rooms", cable="4m")
    return advise(document, {"left": OPEN_STAGE}, there)


# pin 3 hangs on nothing: 50 pF to its surroundings, 30 pF to pin 2
STRAY = 1.0 / (2j * np.pi * TONES * 80e-12)
OPEN_STAGE = legs(hot=2.0, cold=0.75, z=((100.0, 37.5), (37.5, STRAY)))


@pytest.mark.parametrize("circuit", [":transformer", ":difference-amplifier", ":buffered", ""])
def test_it_is_named_for_a_measured_device_too(tmp_path: Path, circuit: str) -> None:
    # the user had a dead end where a joint in the plug does
    advice = measured(tmp_path, f"xlr:20k/leg:1V{circuit}")
    assert advice.chosen is None
    assert named_in(advice).endswith("with that lead xlr-to-xlr works")


def test_the_joint_of_a_measured_device_is_solved(tmp_path: Path) -> None:
    document = facts("pin-3-unconnected", driven="one-leg", connectors=("xlr",), values=RECORDED,
                     device={"full_output_volts": 2.0})  # fmt: skip
    assert unconnected(document)
    there = changed(typed_destination("xlr:20k/leg:1V:transformer", 50.0), ground="two-rooms",
                    cable="3m")  # fmt: skip
    with_joint = advise(*joined(document, {"left": OPEN_STAGE}), there)
    inside = facts("unbalanced", driven="one-leg", connectors=("xlr",),
                   device={"full_output_volts": 2.0})  # fmt: skip
    grounded = legs(hot=2.0, cold=0.0, z=((100.0, 0.0), (0.0, 0.0)))
    as_inside = advise(inside, {"left": grounded}, there)
    got, same = ({o.option.id: o for o in a.options}["xlr-to-xlr"] for a in (with_joint, as_inside))
    assert got.verdict == "use"
    # closed form: 2 V behind 100 ohm into 40 kohm between the legs
    assert got.figures.level is not None
    assert got.figures.level.value == pytest.approx(2.0 * 40e3 / 40.1e3, rel=1e-3)
    # the same circuit by another name: pin 3 at pin 1 inside the device
    assert got.figures.hum is not None
    assert same.figures.hum is not None
    assert got.figures.hum.value == pytest.approx(same.figures.hum.value, rel=0.02)


@pytest.mark.parametrize(
    ("kind", "stage"),
    [
        # pin 2 is the open one: the joint would short the driven pin
        ("pin-3-unconnected", {"polarity": "pin-3-hot"}),
        ("pin-3-unconnected", {"also_possible": [{"kind": "differential", "confidence": None}]}),
        ("impedance-balanced", {}),
    ],
)
def test_no_driven_pin_of_a_measured_device_is_joined(
    tmp_path: Path, kind: str, stage: dict[str, Any]
) -> None:
    advice = measured(tmp_path, "xlr:20k/leg:1V:transformer", kind, **stage)
    assert "joined-plug" not in {s.code for s in advice.would_change}
