"""Of a measured device an output that was left out is measured before anything is bought."""

from __future__ import annotations

import numpy as np
import pytest

from probe.advice.advise import advise
from probe.advice.destination import Cable, Destination, Input
from probe.advice.ground import of_preset
from probe.advice.model import Advice
from probe.advice.text import render
from probe.facts.source import Source
from probe.report.leaflet import leaves_of
from tests.advice.stages import facts, source, symmetrical

LEVEL = {"differential_level": {"value": 2.0, "unit": "V", "u95": 0.01}}


def connected(stage: Source, measured: dict[str, object], *, kind: str = "differential") -> Advice:
    ground = of_preset("same-strip")
    socket = Input("rca", "rca", "single-ended", 33e3, sensitivity_volts=1.0, ground=ground)
    there = Destination("amplifier", (socket,), Cable(1.5, 150e-12, 0.045, 0.02))
    return advise(facts(kind, values=measured), {"left": stage}, there)


@pytest.mark.parametrize("kind", ["differential", "undetermined"])
def test_the_plain_leads_output_is_measured_before_a_special_lead_is_bought(kind: str) -> None:
    """Lost: a transformer is ordered, and an RCA lead did; the take stood in the last line."""
    stage = source(diff=2.0, z_diff=100.0, z_common=25.0, single=np.nan)
    advice = connected(stage, LEVEL, kind=kind)
    (choice,) = advice.choices
    # the rule: what is missing of the plain lead's own output is one take more
    assert choice.why[0].startswith(
        "before anything is bought, measure the RCA output, too (a take"
    )
    assert choice.why[0].endswith("rca-to-rca, a plain lead, may do")
    screen = " ".join(render(advice).split())
    assert screen.index("measure the RCA output, too") < screen.index("dB hum down")
    (leaf,) = leaves_of(advice.to_json())
    assert any("have the RCA output of the device measured" in line for line in leaf.asked)


def test_nobody_measures_what_is_measured() -> None:
    advice = connected(
        symmetrical(), LEVEL | {"single_ended_level": {"value": 1.0, "unit": "V", "u95": 0.01}}
    )
    (choice,) = advice.choices
    # the rule: a plain lead that is used, or judged, waits for nothing
    assert choice.option == "rca-to-rca"
    assert "measure the" not in " ".join(choice.why)
