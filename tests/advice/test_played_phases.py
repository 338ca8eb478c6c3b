"""Every tone starts at a phase of its own: what is flat stays flat between the tones."""

from __future__ import annotations

import numpy as np
import pytest

from probe.advice.sampled import sample
from tests.advice.stages import TONES, source


@pytest.mark.parametrize("legs", ["none", "some", "all"])
def test_a_flat_output_is_flat_between_tones_whatever_of_the_legs_is_known(legs: str) -> None:
    """A customer read of a flat device: -3 dB at 8.8 kHz, from a session without loads."""
    hz = np.asarray(TONES, dtype=float)
    played = np.exp(1j * np.random.default_rng(4).uniform(-np.pi, np.pi, hz.size))
    pair = 4.0 * played
    if legs != "all":
        pair[:: 2 if legs == "some" else 1] = np.nan
    # a single-ended output against which the pair stands reversed, and shares nothing with it
    found = sample(source(diff=pair, common=0.0, single=-2.0 * played, z_single=100.0))
    # closed form: 2 V at every tone, and so between them
    assert np.abs(found.leg_voc[0, :, 2]) == pytest.approx(2.0, rel=1e-9)
    if legs == "all":
        # closed form: half of a pair of 4 V on pin 2, and what turns them alike keeps them opposed
        assert found.leg_voc[0, :, 2] / found.leg_voc[0, :, 0] == pytest.approx(-1.0, rel=1e-9)
