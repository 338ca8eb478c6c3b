"""Takes of one running stream whose declared start is not where they begin."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from .analysed import analysed, true_facts
from .forward import FULL, LOAD_HOT, OPEN, WITH_SE, Errors, separate
from .stages import KIND, STAGES

CODE = "start-not-as-declared"
ERRORS = Errors(noise=1e-6, level=np.log(10.0) / 20.0 * 0.005)
FRAMES, RATE = 480000, 48000
"""What the takes of the tests are apart, and their sample rate (`forward.record`)."""


def _late(names, samples):
    """All takes, the tones so many samples later in some of them than their starts say."""
    return tuple(
        replace(p, delay=(samples - FRAMES * k) / RATE) if p.name in names else p
        for k, p in enumerate(FULL)
    )


def _named(found):
    return {r.take: r.message for r in found.identified.remarks if r.code == CODE}


@pytest.mark.parametrize(
    ("stage", "name", "samples"),
    [("separate", LOAD_HOT.name, 1), ("silent", OPEN.name, -2)],
)
@pytest.mark.long
def test_a_start_that_is_samples_off_is_named_and_put_right(stage, name, samples):
    found = analysed(STAGES[stage], _late([name], samples), errors=ERRORS, situation="timebase")
    assert found.kind == KIND[stage]
    assert list(_named(found)) == [name]
    declared = FRAMES * [p.name for p in FULL].index(name)
    # closed form: where the tones come n samples later, the take begins n frames earlier
    assert f"begins at {declared - samples}." in _named(found)[name]
    assert {r.code for r in found.identified.remarks} == {CODE}


@pytest.mark.long
def test_most_starts_off_alike_name_the_rest():
    moved = [p.name for p in FULL if p.name not in (OPEN.name, WITH_SE.name)]
    stage = separate(zh=100.0, zc=110.0)
    found = analysed(stage, _late(moved, 7), errors=ERRORS, situation="timebase")
    assert set(_named(found)) == {OPEN.name, WITH_SE.name}
    cold, true = found.facts["cold_impedance"], true_facts(stage, 997.1)["cold_impedance"]
    # closed form of the stage; a draw in twenty lies outside the interval, none outside two
    assert abs(cold["value"] - true) < 2.0 * cold["u95"]


@pytest.mark.long
def test_half_a_sample_is_no_start():
    found = analysed(
        STAGES["separate"], _late([LOAD_HOT.name], 0.5), errors=ERRORS, situation="timebase"
    )
    assert _named(found) == {}
    assert ("contradicting-take", LOAD_HOT.name) in found.codes
