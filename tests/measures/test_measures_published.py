"""Published examples: a quantity near zero, the four-parameter sine fit; a slice of a study."""

from __future__ import annotations

import math
from collections import defaultdict

import numpy as np
import pytest
import scipy.optimize
import soundfile
from scipy.stats import binom

from probe.measures.harmonic import Harmonics, of_output
from probe.measures.loading import DRAWS
from probe.measures.outputs import Output
from probe.measures.own_harmonics import OwnHarmonics
from probe.measures.projected import ANCHORS_HZ, Projection
from probe.phasors.measure import measure_take
from probe.session.read import read_session
from probe.simulate.write import simulate
from tests.studies.measures import document, kind_of, session

from .made import stage

HOT = Output("hot", (0,), (1.0,), (0,))
PLAIN = Projection(HOT, (0,), np.ones((1 + DRAWS, len(ANCHORS_HZ), 1), dtype=complex), True)


def harmonic_of(volts: complex, sd: float) -> float:
    """Power of one harmonic as stated, noise taken off."""
    hz = np.array([1000.0, 2000.0])
    lines = np.array([[1.0 + 0j], [volts]])
    nothing = np.zeros((2, 1))
    noise = np.array([[1e-9], [sd]])
    own = OwnHarmonics(nothing, nothing + 0j, nothing, np.ones(1), 1.0, False, 1.0, None)
    found = Harmonics(None, hz, lines, noise, own)
    return float(of_output(found, PLAIN).power[0, 1])


def test_a_power_near_zero_is_not_raised_by_its_noise():
    # JCGM 101:2008 9.4: y = x1² + x2², u = 0.005 each; x1 = 0.010 has the mean 150e-6 and
    # u = 111.8e-6, where first-order propagation says 100e-6
    rng = np.random.default_rng(3)
    seen = 0.010 + 0.005 * (rng.standard_normal(4000) + 1j * rng.standard_normal(4000))
    raw = np.abs(seen) ** 2
    error = 111.8e-6 / math.sqrt(4000)
    assert abs(raw.mean() - 150e-6) < 4 * error
    assert raw.std() == pytest.approx(111.8e-6, rel=0.08)
    stated = np.array([harmonic_of(z, 0.005 * math.sqrt(2.0)) for z in seen[:1000]])
    assert abs(stated.mean() - 100e-6) < 4 * 111.8e-6 / math.sqrt(1000)


def test_four_parameter_fit_of_a_sine(tmp_path):
    tone = {"signal": "tone", "channels": ["hot", "cold"], "tones_hz": [997.0], "drive_volts": 1.0}
    simulate(stage(takes=[], take=[tone], seconds=1.0), tmp_path / "s")
    take = read_session(tmp_path / "s").takes[0]
    rng = np.random.default_rng(4)
    n = np.arange(48000)
    wave = 0.3 * np.cos(2 * np.pi * 997.0 * (1 - 40e-6) * n / 48000 + 0.7)
    wave = np.stack([wave, -wave], axis=1) + 1e-4 * rng.standard_normal((48000, 2))
    soundfile.write(take.path, wave, 48000, "DOUBLE")

    def sine(at, a, b, hz, c):
        turn = 2 * np.pi * hz * at / 48000
        return a * np.cos(turn) + b * np.sin(turn) + c

    # IEEE 1057 four-parameter fit, by a general least-squares library
    fit, _ = scipy.optimize.curve_fit(sine, n, wave[:, 0], p0=[0.2, -0.2, 997.0, 0.0])
    found = measure_take(take, 50.0)
    ours = abs(found.volts[0, 0]) * math.sqrt(2.0) / 8.7
    # its own bound: sd of an amplitude is s sqrt(2 / N)
    assert abs(ours - math.hypot(fit[0], fit[1])) < 3 * 1e-4 * math.sqrt(2.0 / 48000)
    assert found.clock_error == pytest.approx(997.0 / fit[2] - 1.0, abs=2e-7)


SLICE = 20
"""Sessions that fit into half a minute of one core."""


@pytest.mark.long
def test_a_slice_of_the_study():
    results = [session(7042, index) for index in range(SLICE)]
    every = [f for found in results for f in found]
    held = [f.holds for f in every if f.form == "interval"]
    assert len(held) > 20 * SLICE
    # wanted: 95 %, neither less nor more; binomial, 99.9 %, three outputs of a session hanging
    # together and counting as one
    least, most = binom.ppf([0.0005, 0.9995], len(held) // 3, 0.95) / (len(held) // 3)
    assert least <= sum(held) / len(held) <= most
    kinds = defaultdict(list)
    for fact in every:
        kinds[kind_of(fact.fact), fact.form].append(fact.holds)
    for (name, form), some in kinds.items():
        # binomial, 99.9 %; three outputs of a session hang together and count as one
        count = max(1, len(some) // 3)
        assert sum(some) / len(some) >= binom.ppf(0.0005, count, 0.95) / count, (name, form)
    assert "| `noise` |" in document(results, 7042, 0)
