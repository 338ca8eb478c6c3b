"""An output found faulty beside one that was not measured: nothing is bought around the fault.

A customer would order a special lead, or a large transformer, and have it left over once the
output is repaired.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from probe.advice.advise import advise
from probe.advice.destination import Destination, Input
from probe.cli.main import main
from probe.report.leaflet import leaves_of
from tests.advice.stages import facts, symmetrical

DRIED = Path(__file__).parents[2] / "captures" / "trade-in-dried-capacitor"


@pytest.fixture(scope="module")
def dried(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Any]:
    """Return the advice for an amplifier and a subwoofer on the output with the dried capacitor."""
    file = tmp_path_factory.mktemp("advice") / "advice.json"
    words = ["advise", str(DRIED), "rca:47k:1V", "xlr:10k/leg:1V:sub"]
    with pytest.MonkeyPatch.context() as patch, file.open("w", encoding="utf-8") as out:
        patch.setattr("sys.stdout", out)
        assert main([*words, "--ground", "same-strip", "--cable", "2m", "--json"]) == 0
    document: dict[str, Any] = json.loads(file.read_text("utf-8"))
    return document


@pytest.mark.long
def test_a_sound_output_that_nobody_measured_comes_before_a_faulty_one(
    dried: dict[str, Any],
) -> None:
    amplifier, _ = dried["choices"]
    # the rule: what is repaired, or one take, may make the plain RCA lead the one
    assert amplifier["option"] is None
    told = "; ".join(amplifier["why"])
    assert "have it repaired first, and buy nothing for it" in told
    assert "rca-to-rca comes from the sound output, and cannot be judged yet" in told
    assert "a take of the RCA output" in told


def test_no_transformer_is_named_around_a_fault(dried: dict[str, Any]) -> None:
    """It was 60 H for the lost bass of a capacitor that costs a few cents."""
    assert "transformer" not in {one["code"] for one in dried["would_change"]}
    assert not any("another transformer" in why for c in dried["choices"] for why in c["why"])


def test_the_sheet_says_repair_and_not_that_the_boxes_clash(dried: dict[str, Any]) -> None:
    (leaf,) = leaves_of(dried)  # one for the boxes for which nothing is used
    assert leaf.chosen == "Not yet: have the device repaired first"
    assert any("have the RCA output of the device measured" in line for line in leaf.asked)


def test_an_output_found_faulty_is_used_where_there_is_no_other() -> None:
    rca = Input("rca", "rca", "single-ended", 47e3, sensitivity_volts=1.0)
    document = facts(stage={"faults": ["coupling-capacitor-cold"]}, connectors=("xlr",))
    advice = advise(document, {"left": symmetrical()}, Destination("amp", (rca,)))
    # common practice, no source: who has no other output hears it until it is repaired
    assert (advice.chosen or "").startswith("xlr-to-rca")


def one_side(*hazards: str) -> dict[str, Any]:
    """A way that works on the left and is to be avoided on the right, into the only box."""
    way = {"id": "xlr-to-xlr", "destination": "amp", "input": "input", "to": "xlr", "from": "xlr"}
    bad = {**way, "side": "right", "verdict": "avoid", "reasons": ["4.5 dB is lost at 20 Hz"],
           "hazards": [{"code": code, "message": code} for code in hazards]}  # fmt: skip
    return {
        "device": "a device", "destination": "amp",
        "options": [{**way, "side": "left", "verdict": "works", "hazards": []}, bad],
        "choices": [{"destination": "amp", "input": None, "option": None, "why": []}],
    }  # fmt: skip


def test_one_box_clashes_with_no_other() -> None:
    """Lost: "not together with the other boxes" over the only box; what is wrong is the device."""
    (leaf,) = leaves_of(one_side("loss", "stage-fault"))
    # the rule: of a pair of sides the worse one counts, and what is faulty there is repaired
    assert leaf.chosen == "Not yet: have the device repaired first"
    assert "4.5 dB is lost at 20 Hz" in leaf.why[0]
    (without_fault,) = leaves_of(one_side("loss"))
    for sheet in (leaf, without_fault):
        told = " ".join((sheet.chosen, *sheet.why))
        assert "other boxes" not in told
        assert "by itself it works" not in told.lower()
