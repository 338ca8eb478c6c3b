"""The stage as a source over the whole band: what nothing shows is carried on and harms nothing."""

from __future__ import annotations

import numpy as np
import pytest

from probe.stage.as_source import source_of

from .analysed import analysed
from .forward import FULL, LOAD_SE, Errors
from .stages import STAGES

WITHOUT_LOAD_ON_SE = tuple(p for p in FULL if p is not LOAD_SE)


@pytest.mark.parametrize("plans", [FULL, WITHOUT_LOAD_ON_SE], ids=["with", "without"])
@pytest.mark.parametrize("seed", [1, 2])
def test_a_winding_keeps_its_differential_impedance_at_the_lowest_tones(plans, seed):
    """Millions of ohms there made an adapter's level rise by 50 dB at 20 Hz, its hum vanish."""
    stage = STAGES["transformer"]
    errors = Errors(noise=1e-6, level=3e-4)
    source = source_of(analysed(stage, plans, errors=errors, seed=seed).identified)
    low = source.hz < 300.0
    z = source.z[low, 0, 0]
    # source: the stage itself: 90 ohm between the legs at every tone
    assert z == pytest.approx(90.0, abs=2.0)
    # own choice: the load across tells it to a few percent, whatever the common mode is
    assert np.all(np.std(source.z_draws[:, low, 0, 0], axis=0) < 3.0)
    # source: the stage itself: 4 V between the legs
    assert np.abs(source.voc[low, 0]) == pytest.approx(4.0, rel=0.02)
