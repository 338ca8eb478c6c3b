"""A bend found from one wave, against waves bent in closed form."""

from __future__ import annotations

import math

import numpy as np
import pytest

from probe.measures.bend import LEAST_DOUBT, Bend

POINTS = 4096


def wave(amplitude, bend):
    """Harmonics 1 to 20 of a bent cosine, V rms, turned by a delay, and its distortion, percent."""
    x = amplitude * np.cos(2.0 * np.pi * np.arange(POINTS) / POINTS)
    lines = np.fft.rfft(bend(x))[1:21] * math.sqrt(2.0) / POINTS
    power = np.abs(lines) ** 2
    percent = 100.0 * math.sqrt(power[1:].sum() / power.sum())
    return lines * np.exp(-0.7j * np.arange(1, 21)), percent, math.sqrt(power.sum())


def passed(bend, top, step):
    low, high = wave(top / step, bend), wave(top, bend)
    return Bend(high[0], 1.0 / step).passes(1.0, low[1], high[1])


def at_one_percent(bend, low, high):
    """Closed form of the bend, halved until it is found: amplitude and level at 1 %."""
    for _ in range(50):
        middle = math.sqrt(low * high)
        low, high = (low, middle) if wave(middle, bend)[1] > 1.0 else (middle, high)
    return low, wave(low, bend)[2]


@pytest.mark.parametrize("step_db", [0.5, 1.0])
@pytest.mark.parametrize("above", [0.1, 0.5, 0.9])
def test_a_hard_corner(step_db, above):
    def clipped(x):
        return np.clip(x + 1e-4 * x**2, -5.0, 5.0)

    # closed form of the clipped wave
    drive, level = at_one_percent(clipped, 4.0, 8.0)
    step = 10.0 ** (step_db / 20.0)
    top = drive * step**above
    found = passed(clipped, top, step)
    assert found.volts == pytest.approx(level, rel=3.0 * LEAST_DOUBT)
    assert found.drive * top == pytest.approx(drive, rel=3.0 * LEAST_DOUBT)
    assert found.doubt < 0.005


@pytest.mark.parametrize("step_db", [0.5, 1.0])
def test_what_a_hard_corner_leaves_is_as_large_as_stated(step_db):
    def clipped(x):
        return np.clip(x, -5.0, 5.0)

    # closed form of the clipped wave
    drive, level = at_one_percent(clipped, 4.0, 8.0)
    step = 10.0 ** (step_db / 20.0)
    found = [passed(clipped, drive * step**above, step) for above in np.linspace(0.02, 0.98, 25)]
    left = np.array([math.log(f.volts / level) for f in found])
    said = np.sqrt(np.mean([f.doubt**2 for f in found]))
    # the root mean square of what is left, neither twice what is said nor half of it
    assert 0.5 * said < np.sqrt(np.mean(left**2)) < 1.1 * said


def test_a_soft_bend_is_exact():
    def soft(x):
        return x - 0.002 * x**3

    # closed form: a cubic has a third harmonic alone, which 20 harmonics hold exactly
    _, level = at_one_percent(soft, 2.0, 8.0)
    found = passed(soft, 5.0, 1.5)
    assert found.volts == pytest.approx(level, rel=1e-4)
    assert found.doubt == pytest.approx(LEAST_DOUBT)


def test_an_output_that_remembers_is_less_sure():
    def soft(x):
        return x - 0.002 * x**3

    high, percent, _ = wave(5.0, soft)
    # the same distortion with its harmonics turned by a right angle: no curve has that
    turned = high * np.where(np.arange(1, 21) > 1, 1j, 1.0)
    below = wave(5.0 / 1.5, soft)[1]
    found = Bend(turned, 1.0 / 1.5).passes(1.0, below, percent)
    level = at_one_percent(soft, 2.0, 8.0)[1]
    assert found.doubt > 10.0 * LEAST_DOUBT
    assert abs(found.volts - level) < 2.0 * found.doubt * level
