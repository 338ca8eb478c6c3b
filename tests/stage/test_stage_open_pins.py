"""Legs that carry nothing or hang high: the level of an open pin, and what is no open pin."""

from __future__ import annotations

import numpy as np
import pytest

from .analysed import analysed, judged
from .forward import (
    ACROSS,
    FULL,
    LOAD_COLD,
    LOAD_HOT,
    OPEN,
    Errors,
    drawn_errors,
    floating,
    separate,
    strays,
)

QUIET = Errors(noise=1e-6)


@pytest.mark.parametrize("seed", [3, 7])
def test_the_level_of_an_open_leg_is_never_bounded_below_its_truth(seed):
    # 67 mV on a pin held by 71 pF: 11 Mohm less 1 % of 20 kohm is nothing the takes can tell, so
    # what stands there without the recorder is known to no better than its strays
    dead = separate(0.067, -0.25, strays(7.1e-11), 100.0, 0.25, 100.0)
    found = analysed(
        dead, FULL, errors=drawn_errors(seed, FULL), seed=seed, rng=np.random.default_rng(seed)
    )
    # source: definition of the stage; errors of the bench drawn from what is declared of it
    judgements = judged(found.facts, dead)
    assert [str(j) for j in judgements if not j.holds] == []
    assert found.kind == "faulty"
    assert len(judgements) >= 10


def test_a_leg_on_a_resistor_is_not_said_to_be_open():
    # source: definition of the kind: an open pin is strays, a quarter turn; this is 47 kohm
    found = analysed(separate(2.0, 0.0, 47.0, 47.0e3), FULL, errors=QUIET)
    assert found.kind == "undetermined"
    assert found.possible == {"pin-3-unconnected", "faulty"}
    # an input that passes 1/20k + 1/47k more than nothing is one of 14 kohm (closed form)
    assert "14" in found.verdict.reasons[-1]


def test_a_pair_that_gives_back_more_than_it_takes_is_of_no_kind():
    # source: a passive way to pin 1 has a positive real part; one of -2.7 kohm is not stable
    found = analysed(
        floating(zd=50.0, zcm=-2.7e3), (OPEN, LOAD_HOT, LOAD_COLD, ACROSS), errors=QUIET
    )
    assert found.kind == "undetermined"
    assert found.possible == {"electronically-floating", "transformer-coupled", "faulty"}
    assert "give back" in " ".join(found.verdict.reasons)


def test_a_silent_leg_behind_a_small_capacitor_is_not_called_broken_for_certain():
    # source: closed form, 100 ohm in series with 10 nF: 16 kohm at 1 kHz, a quarter turn behind
    behind = separate(2.0, 0.0, 100.0, lambda f: 100.0 + 1.0 / (2j * np.pi * f * 1e-8))
    found = analysed(behind, FULL, errors=QUIET)
    assert found.codes == []
    assert found.kind == "undetermined"
    assert found.possible == {"impedance-balanced", "pin-3-unconnected", "faulty"}
    assert "10 nF" in " ".join(found.verdict.reasons)
