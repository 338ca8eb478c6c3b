"""Carrying what injected tones show to tones that are not injected."""

from __future__ import annotations

import numpy as np
import pytest

from probe.bench.tones.sets import DEVICE, INJECTED
from probe.stage.inject import carry


@pytest.mark.parametrize("farad", [1e-6, 10e-6, 100e-6, 1.0])
def test_a_leg_behind_its_capacitor_is_known_at_the_lowest_tone(farad: float) -> None:
    def impedance(hz: np.ndarray) -> np.ndarray:
        # closed form: a resistor with a capacitor in series
        return 100.0 + 1.0 / (2j * np.pi * hz * farad)

    injected, played = np.array(INJECTED.hz), np.array(DEVICE.hz)
    found, doubt = carry(injected, impedance(injected)[None, :, None], played)
    assert np.all(np.isfinite(doubt))
    assert np.all(np.abs(found[0, :, 0] - impedance(played)) <= 1e-9 * np.abs(found[0, :, 0]))


def test_what_follows_another_law_lies_within_the_doubt() -> None:
    def impedance(hz: np.ndarray) -> np.ndarray:
        # closed form: 22 uF and 100 ohm, a bleeder of 47 kohm across both
        branch = 100.0 + 1.0 / (2j * np.pi * hz * 22e-6)
        return 1.0 / (1.0 / branch + 1.0 / 47e3)

    injected, played = np.array(INJECTED.hz), np.array(DEVICE.hz)
    found, doubt = carry(injected, impedance(injected)[None, :, None], played)
    assert np.all(np.abs(found[0, :, 0] - impedance(played)) <= doubt)


def test_nothing_is_carried_far_beyond_the_tones() -> None:
    # by design: 0.7 octaves; 32 over 19 is 0.75, 32 over 20.5 is 0.64
    doubt = carry(np.array([32.0, 70.0, 200.0]), np.ones((1, 3, 1)), np.array([19.0, 20.5]))[1]
    assert np.isinf(doubt).tolist() == [True, False]
