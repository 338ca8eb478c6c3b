"""What a balanced input is made of: asked where the answer spares resistors or a transformer."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from probe.advice.advise import advise
from probe.advice.model import Advice
from probe.advice.source_file import read_source
from probe.advice.typed import changed, typed_destination

SOURCE = """
format = "probe-source/1"
kinds = ["differential"]
differential_level_v = {level}
differential_maximum_v = {most}
differential_impedance_ohm = 200.0
single_ended_level_v = 2.0
single_ended_maximum_v = 6.0
single_ended_impedance_ohm = 100.0
[device]
model = "X"
kind = "{kind}"
output = "line"
connectors = ["xlr", "rca"]
minimum_load_ohm = 5000.0
"""


def ask(
    folder: Path, into: str, circuit: str = "unknown", kind: str = "DAC", most: float = 8.0,
    level: float = 4.0,
) -> Advice:  # fmt: skip
    path = folder / "source.toml"
    path.write_text(SOURCE.format(kind=kind, most=most, level=level), "utf-8")
    there = changed(typed_destination(into, 50.0), ground="same-strip", cable="5m")
    inputs = tuple(replace(s, circuit=circuit) for s in there.inputs)  # type: ignore[arg-type]
    return advise(*read_source(path), replace(there, inputs=inputs))


@pytest.mark.parametrize("most", [8.0, 12.0])
@pytest.mark.long
def test_the_input_is_asked_about_before_parts_are_bought(tmp_path: Path, most: float) -> None:
    # the user bought parts for an input that may well take no more than its ohms say; of a device
    # with a volume control none are needed, whatever the input is
    played: dict[str, Any] = {"kind": "CD player", "most": most, "level": 8.0}
    advice = ask(tmp_path, "xlr:2k/leg:1V", **played)
    (settled,) = [s for s in advice.would_change if s.code == "asked-first"]
    assert "what its balanced input is: if it is a buffered one or a transformer" in settled.what
    assert settled.answers == ("xlr-to-xlr",)
    assert any(settled.what in why for why in advice.choices[0].why)
    # each answer, by its key: the lead as it is; and the parts with the one that was left out
    for circuit in ("buffered", "transformer"):
        (choice,) = ask(tmp_path, "xlr:2k/leg:1V", circuit, **played).choices
        assert (choice.option, choice.attenuator) == ("xlr-to-xlr", False)
    (choice,) = ask(tmp_path, "xlr:2k/leg:1V", "difference-amplifier", **played).choices
    assert choice.attenuator or str(choice.option).endswith("/transformer")


def test_which_input_the_resistors_are_for_stands_beside_them(tmp_path: Path) -> None:
    # the user saw resistors for 2 kohm on each leg, and none for the 4 kohm between them
    path = tmp_path / "source.toml"
    said = SOURCE.format(kind="DAC", most=12.0, level=8.0)
    lines = [one for one in said.splitlines() if not one.startswith("single")]
    path.write_text("\n".join(lines).replace(', "rca"', ""), "utf-8")
    there = changed(typed_destination("xlr:2k/leg:1V", 50.0), ground="same-strip", cable="5m")
    advice = advise(*read_source(path), there)
    (choice,) = advice.choices
    assert (choice.option, choice.attenuator) == ("xlr-to-xlr", True)
    assert any("without it, if the input is a difference amplifier, so heavy an input takes more "
               "current" in why for why in choice.why)  # fmt: skip
    assert any("a buffered one or a transformer xlr-to-xlr does without resistors" in why
               for why in choice.why)  # fmt: skip
    # the answer, by its key
    inputs = tuple(replace(s, circuit="buffered") for s in there.inputs)
    (choice,) = advise(*read_source(path), replace(there, inputs=inputs)).choices
    assert (choice.option, choice.attenuator) == ("xlr-to-xlr", False)


def test_nothing_is_asked_where_a_lead_is_used_whatever_the_input_is(tmp_path: Path) -> None:
    for into, kind in (("xlr:2k/leg:1V", "preamplifier"), ("xlr:10k/leg:1V", "DAC")):
        advice = ask(tmp_path, into, kind=kind)
        assert advice.chosen == "xlr-to-xlr"
        assert not any("balanced input is" in s.what for s in advice.would_change)
