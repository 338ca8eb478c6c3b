"""Typed figures that cannot be are refused in one line; unlikely ones are asked about."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from probe.advice.advise import advise
from probe.advice.source_file import TEMPLATE
from probe.advice.typed import typed_destination
from probe.cli.main import main
from probe.facts.shape import shape_complaint
from tests.advice.stages import facts, symmetrical

SOURCE_KEYS = ("differential_maximum_v", "single_ended_maximum_v", "differential_noise_a_v",
               "differential_impedance_ohm", "digital_volts_peak_to_peak")  # fmt: skip


def refused(arguments: list[str], capsys: Any) -> str:
    assert main(["advise", *arguments]) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert err.count("\n") == 1
    return str(err)


@pytest.mark.parametrize("key", SOURCE_KEYS)
def test_a_source_is_no_power_station(key: str, tmp_path: Path, capsys: Any) -> None:
    # common practice, no source: no line output has a million volts, or so many ohms
    path = tmp_path / "source.toml"
    path.write_text(TEMPLATE.replace("single_ended_level_v", f"{key} = 1e30\nsingle_ended_level_v"))
    assert f"{key}: must be " in refused([str(path), "rca:47k:1V"], capsys)


@pytest.mark.parametrize(
    "line",
    ["[operating]\nlevel_v = 1e30",
     "[operating]\nlevel_v = 1e-30", "[ground]\ndifference_mv = 1e30",
     "[ground]\ndifference_mv = 1.0\nsource_ohm = 1e30", "[cable]\nlength_m = 1e-30",
     "[ground]\ndifference_mv = 1.0\nsource_nf = 1e30", "[cable]\ncapacitance_pf_per_m = 1e30"],
)  # fmt: skip
def test_a_destination_is_no_power_station(line: str, tmp_path: Path, capsys: Any) -> None:
    path = tmp_path / "amp.toml"
    path.write_text(f'format = "probe-destination/1"\n[[input]]\nconnector = "rca"\n{line}\n')
    assert ": must be " in refused(["nowhere.json", str(path)], capsys)


@pytest.mark.parametrize("ground", ["1e30V", "20mV/1e30ohm", "1V/1e9uF", "20mV/1000A/1ohm"])
def test_a_typed_ground_is_no_lightning(ground: str, capsys: Any) -> None:
    told = refused(["nowhere.json", "rca:47k:1V", "--ground", ground], capsys)
    assert " is allowed" in told or "is 0 to 1000 V" in told


@pytest.mark.parametrize(
    ("entry", "says"),
    [({"near_limit": -1e308}, "near_limit is not true or false"),
     ({"limited_by_bench": "yes"}, "limited_by_bench is not true or false"),
     ({"limit": -1.0}, "limit is -1 V"), ({"value": 1e30}, "value is not a number within")],
)  # fmt: skip
def test_a_fact_elsewhere_is_checked_as_any(entry: dict[str, Any], says: str) -> None:
    document = facts(values={"hot_level": {"value": 1.0, "unit": "V", "u95": 0.1, **entry}})
    document["sides"]["left"]["curves"] = {"hz": []}
    assert says in str(shape_complaint(document))
    side = document["sides"]["left"]
    side["facts_at"] = [{"volume": "half", "facts": side["facts"]}]
    side["facts"] = {}
    assert says in str(shape_complaint(document))


def test_a_device_of_a_facts_file_gives_no_negative_output() -> None:
    document = facts(device={"full_output_volts": -2.0})
    assert "full_output_volts is not above 0" in str(shape_complaint(document))


@pytest.mark.parametrize(
    ("volts", "asked", "why"),
    [
        ("50mV", True, "phono, tape head or microphone"),
        ("100mV", False, ""),
        ("1V", False, ""),
        ("12.3V", False, ""),
        ("50V", True, "what the amplifier gives is not what it wants"),
    ],
)
def test_an_input_no_line_input_is_like_is_asked_about(volts: str, asked: bool, why: str) -> None:
    # common practice, no source: line inputs want 100 mV and more, and at most +24 dBu (12.3 V)
    advice = advise(facts(), {"left": symmetrical()}, typed_destination(f"rca:47k:{volts}", 50.0))
    told = [c.message for c in advice.cautions if c.code == "unlikely-sensitivity"]
    assert bool(told) == asked
    if asked:
        assert why in told[0]
