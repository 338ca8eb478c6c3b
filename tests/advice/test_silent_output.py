"""An output that gave nothing when it was measured is never used, and nothing is held against it.

A customer would be sold an RCA lead for an output of which 65 dB are missing.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from probe.advice.advise import advise
from probe.advice.destination import Destination, Input
from probe.advice.ground import of_preset
from probe.advice.model import Advice
from tests.advice.stages import facts, source

DEAD = {"faults": ["single-ended-dead"]}
GROUND = of_preset("same-strip")


def boxes(*volts: float) -> Destination:
    """Return RCA inputs of so many volts, each a box of its own."""
    return Destination("both", tuple(
        Input(f"rca {n}", "rca", "single-ended", impedance_ohm=47e3, sensitivity_volts=v,
              ground=GROUND, box=f"box {n}")
        for n, v in enumerate(volts)))  # fmt: skip


def told(single: float, stage: dict[str, Any], *volts: float, **more: Any) -> Advice:
    document = facts(stage=stage, device={"full_output_volts": 4.0})
    made = source(diff=2.0, z_diff=200.0, z_common=50.0, single=single, z_single=100.0, **more)
    return advise(document, {"left": made}, boxes(*volts))


@pytest.mark.parametrize("volts", [(1.5,), (1.5, 1.0)])
@pytest.mark.parametrize("named", [True, False])
def test_an_rca_output_without_signal_is_never_used(volts: tuple[float, ...], named: bool) -> None:
    """It was chosen, as "an output without the fault", 65 to 120 dB short of full output."""
    found = told(1e-5, DEAD if named else {}, *volts)
    from_rca = [o for o in found.options if o.option.from_ == "rca"]
    # closed form: 10 uV against 1 V on a leg are 100 dB; so are they without the name of the fault
    assert {o.verdict for o in from_rca} == {"never"}
    assert {c.option for c in found.choices} == {"xlr-to-rca/pin-3-open"}
    assert not any("RCA link" in why for c in found.choices for why in c.why)
    if named:
        (note,) = [c.message for c in found.cautions if c.code == "stage-fault"]
        assert "lead was plugged in" in note
        assert "take it again" in note


def test_an_xlr_output_without_signal_scales_nothing() -> None:
    """The 4 V that are declared of the XLR output made 84 MV of an RCA output of 0.25 V."""
    document = facts(device={"full_output_volts": 4.0})
    made = source(diff=2e-5, z_diff=200.0, z_common=50.0, single=0.25, z_single=100.0)
    found = advise(document, {"left": made}, boxes(1.5))
    assert {o.verdict for o in found.options if o.option.from_ == "xlr"} == {"never"}
    (used,) = [o for o in found.options if o.option.id == found.choices[0].option]
    assert used.option.id == "rca-to-rca"
    # closed form: 0.25 V behind 100 ohm into 47 kohm are 0.249 V, at the measured level
    assert used.figures.level is not None
    assert used.figures.level.value == pytest.approx(0.25 * 47.0 / 47.1, rel=1e-3)


def test_an_output_silent_in_one_take_is_not_judged_yet() -> None:
    found = told(1.0, {"possible_faults": ["single-ended-dead"]}, 1.5)
    from_rca = [o for o in found.options if o.option.from_ == "rca"]
    assert {o.verdict for o in from_rca} == {"cannot-tell"}
    assert all("take it again" in o.reasons[0] for o in from_rca)
    assert found.choices[0].option == "xlr-to-rca/pin-3-open"


@pytest.mark.parametrize("db", [0.0, 6.0, 12.0, 20.0])
def test_levels_are_held_against_an_rca_output_that_is_only_quieter(db: float) -> None:
    # source: as far as +4 dBu on the XLR and -10 dBV on the RCA output, 12 dB, and 8 dB beyond
    found = told(2.0 * 10.0 ** (-db / 20.0), {}, 0.1)
    assert {o.reference for o in found.options} == {"rca-link"}
    assert "never" not in {o.verdict for o in found.options if o.option.id == "rca-to-rca"}


def test_left_dead_and_right_sound_do_not_use_it_either() -> None:
    document = facts(stage=DEAD, device={"full_output_volts": 4.0})
    right = facts(device={"full_output_volts": 4.0})["sides"]["left"]
    document["sides"]["right"] = right
    sides = {
        side: source(diff=2.0, z_diff=200.0, z_common=50.0, single=one, z_single=100.0)
        for side, one in (("left", 1e-5), ("right", 1.0))
    }
    found = advise(document, sides, boxes(1.5))
    assert found.choices[0].option == "xlr-to-rca/pin-3-open"
    held = {o.side: o.verdict for o in found.options if o.option.id == "rca-to-rca"}
    assert held["left"] == "never"
    assert np.isfinite([o.figures.level.value for o in found.options if o.figures.level]).all()
