"""Noise and hum of a silent recording, against drawn noise and a line put in."""

import numpy as np
import pytest

from probe.bench.calibration.readings import quiet

RATE = 8000
SECONDS = 4
DRAWS = 100


@pytest.mark.parametrize("line", [4e-6, 0.5e-6])
def test_the_spread_of_the_hum_is_the_one_stated(line):
    rng = np.random.default_rng(3)
    t = np.arange(SECONDS * RATE) / RATE
    hum, stated, noise, noise_stated = [], [], [], []
    for phase in rng.uniform(0.0, 2.0 * np.pi, DRAWS):
        tone = np.sqrt(2.0) * line * np.sin(2.0 * np.pi * 50.0 * t + phase)
        found = quiet(rng.normal(0.0, 8e-6, (len(t), 1)) + tone[:, None], RATE, 50.0)
        hum.append(found.hum[0])
        stated.append(found.hum_sd[0] * found.hum[0])
        noise.append(found.noise[0])
        noise_stated.append(found.noise_sd * found.noise[0])
    # closed form: the line put in; a spread of 100 draws is known to 1/sqrt(200) = 7 %, three times
    assert np.mean(hum) == pytest.approx(line, abs=4.0 * np.std(hum) / np.sqrt(DRAWS) + 0.02 * line)
    assert np.std(hum) == pytest.approx(np.mean(stated), rel=0.21)
    # closed form: white noise of sd s over half the rate, of which 20 Hz to half the rate is heard
    assert np.mean(noise) == pytest.approx(8e-6 * np.sqrt(1.0 - 20.0 / 4000.0), rel=0.005)
    assert np.std(noise) == pytest.approx(np.mean(noise_stated), rel=0.21)
