"""Published guidance for XLR-to-RCA adapters, row by row: what the solve and the rules make of it.

Each row: a kind of stage, the adapter the guidance names for it and the level it states against
the open differential level, then the adapter it warns of. The level comes out of the solve, into
1 Mohm; the verdict out of the rules. What the guidance says of distortion, failing drivers and
instability is not solved: docs/advice.md says so.
"""

from __future__ import annotations

import numpy as np
import pytest

from probe.advice.advise import ask
from probe.advice.destination import Cable, Destination, Input
from probe.advice.ground import of_preset
from probe.advice.model import OptionAdvice
from probe.facts.source import Source
from tests.advice.stages import (
    cross_coupled,
    facts,
    ground_sensing,
    impedance_balanced,
    legs,
    source,
    symmetrical,
    transformer,
)

OPEN, NEAR, FAR = (f"xlr-to-rca/pin-3-{how}" for how in ("open", "tied-at-source",
                                                         "tied-at-destination"))  # fmt: skip
INPUT = Input("rca", "rca", "single-ended", 1e6)
SHORT = Cable(0.1, 1e-12, 0.003, 0.02)

DUAL_LOOP = source(diff=2.0, z_diff=50.0, z_common=1e4, single=1.0, z_single=50.0)
ON_XLR = legs(hot=2.0, cold=0.0, z=((100.0, 0.0), (0.0, 0.001)), single=2.0, z_single=100.0)

# (kind, stage, driven legs, named adapter, its level in dB, warned-of adapter, its code)
GUIDANCE = {
    # "leave (-) unconnected": a console installation manual, section 13.7; level: "'free' 6 dB
    # gain" of the balanced link, prosoundweb column on balanced outputs
    "symmetrical": ("differential", symmetrical(), "both-legs", OPEN, -6.0206, NEAR,
                    "tie-current"),
    # "unbalance at the source", not at the far end: the same column; Handbook for Sound
    # Engineers p. 355
    "cross-coupled": ("electronically-floating", cross_coupled(), "both-legs", NEAR, 0.0, FAR,
                      "instability"),
    # features of a dual-loop floating driver: the level moves to the other leg; wiring from memory
    "dual-loop": ("electronically-floating", DUAL_LOOP, "both-legs", NEAR, 0.0, OPEN,
                  "floating-open"),
    # pin 3 is the return of the winding: the same column; open "treble leakage only", from memory
    "transformer": ("transformer-coupled", transformer(), "both-legs", FAR, 0.0, OPEN,
                    "signal-lost"),
    # all the signal is on pin 2, so that open and tied give one level: derived
    "impedance-balanced": ("impedance-balanced", impedance_balanced(), "one-leg", OPEN, 0.0, None,
                           ""),
    # the sense pin is tied, never open: Self, Small Signal Audio Design, p. 510 (in part)
    "ground-cancelling": ("ground-sensing", ground_sensing(), "one-leg", FAR, 0.0, OPEN,
                          "sense-unused"),
    # "advise same as RCA": derived
    "unbalanced": ("unbalanced", ON_XLR, "one-leg", OPEN, 0.0, None, ""),
}  # fmt: skip


def options(kind: str, stage: Source, driven: str, **more: object) -> dict[str, OptionAdvice]:
    destination = Destination("amp", (INPUT,), SHORT, operating_volts=4.0)
    advice = ask(facts(kind, driven=driven), {"left": stage}, destination)
    return {o.option.id: o for o in advice.options}


def decibels(found: OptionAdvice, stage: Source) -> float:
    level = found.figures.level
    assert level is not None
    # 4 V of operating level stand for the open differential level
    assert abs(stage.voc[0, 0]) > 0.0
    return float(20.0 * np.log10(level.value / 4.0))


@pytest.mark.parametrize("row", GUIDANCE)
def test_the_named_adapter_works_at_the_level_stated(row: str) -> None:
    kind, stage, driven, named, level, _, _ = GUIDANCE[row]
    found = options(kind, stage, driven)[named]
    # the figures above; 0.05 dB: the common-mode impedance of a real floating stage costs 0.03
    assert decibels(found, stage) == pytest.approx(level, abs=0.05)
    assert found.verdict in ("works", "use")


@pytest.mark.parametrize("row", [r for r, held in GUIDANCE.items() if held[5] is not None])
def test_what_the_guidance_warns_of_is_not_advised(row: str) -> None:
    kind, stage, driven, _, _, warned, code = GUIDANCE[row]
    found = options(kind, stage, driven)[str(warned)]
    assert found.verdict in ("avoid", "never")
    assert code in {h.code for h in found.hazards}


def test_open_and_tied_are_one_level_where_pin_3_is_silent() -> None:
    # derived: no signal and no current in pin 3
    for row in ("impedance-balanced", "unbalanced"):
        kind, stage, driven, *_ = GUIDANCE[row]
        found = options(kind, stage, driven)
        levels = [decibels(found[o], stage) for o in (OPEN, NEAR, FAR)]
        assert np.ptp(levels) < 0.001


def test_a_cross_coupled_stage_with_pin_3_open_rests_on_its_common_mode_loop() -> None:
    # "real: about -6 dB", from memory; closed form with 4 kohm of common mode into 1 Mohm
    found = options("electronically-floating", cross_coupled(), "both-legs")[OPEN]
    assert decibels(found, cross_coupled()) == pytest.approx(-6.02, abs=0.1)
    assert found.verdict == "avoid"


def test_hum_beyond_what_is_tolerated_is_isolated_at_the_receiving_end() -> None:
    # isolators belong at the receiving end (Whitlock, from memory)
    loud = Input("rca", "rca", "single-ended", 47e3, sensitivity_volts=1.0,
                 ground=of_preset("two-rooms"))  # fmt: skip
    destination = Destination("amp", (loud,), Cable(9.0, 9e-10, 0.27, 0.02))
    advice = ask(facts(), {"left": symmetrical()}, destination)
    held = {o.option.id: o for o in advice.options}
    below = {id_: o.figures.hum_below_full_output_db for id_, o in held.items()}
    plain, isolated = below["rca-to-rca"], below["xlr-to-rca/transformer"]
    assert plain is not None
    assert isolated is not None
    assert isolated.low > plain.high + 20.0
    for id_ in ("xlr-to-rca/transformer", "rca-to-rca/transformer"):
        assert "at the destination" in str(held[id_].option.adapter)
