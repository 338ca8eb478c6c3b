"""The angle of an impedance from its size: networks of which the angle is known."""

from __future__ import annotations

import numpy as np
import pytest

from probe.stage.angle import angles, sizes

HZ = np.array([32.2, 70.6, 209.2, 768.0, 1431.9, 2646.2, 4766.8, 14422.1])
"""Tones that a guided run injects."""

S = 2j * np.pi * HZ


def across(a, b):
    return a * b / (a + b)


NETWORKS = {
    # source of every angle: the network itself, by complex arithmetic
    "resistor": 100.0 + 0.0 * S,
    "coupling capacitor": 100.0 + 1.0 / (S * 87e-6),
    "small coupling capacitor": 600.0 + 1.0 / (S * 4.8e-6),
    "coupling capacitor and bleeder": 100.0 + across(10e3, 1.0 / (S * 10e-6)),
    "winding": 40.0 + S * 1e-3 + across(50.0, S * 0.5),
    "capacitor to pin 1": across(600.0, 1.0 / (S * 10e-9)),
    "both capacitors": across(600.0 + 1.0 / (S * 47e-6), 1.0 / (S * 5e-9)),
    "inductive": 1.0 + S * 2e-5,
}


def told(z, noise=0.0, seed=0):
    """Angles as found beside an injector of 10 kohm and an input of 20 kohm and 150 pF."""
    beside = 1.0 / 10e3 + 1.0 / 20e3 + S * 150e-12
    total = np.abs(1.0 / (1.0 / z + beside))
    total = total * (1.0 + noise * np.random.default_rng(seed).standard_normal(len(HZ)))
    return angles(HZ, beside, total)


@pytest.mark.parametrize("name", NETWORKS)
def test_angles_of_networks(name):
    z = NETWORKS[name]
    angle, u = told(z)
    assert np.all(np.abs(angle - np.angle(z)) < 2.0 * u)
    # own choice: by the slope of the size a coupling capacitor was 0.3 rad off at the lowest tone
    assert np.abs(angle - np.angle(z)).max() < 0.03


@pytest.mark.long
@pytest.mark.parametrize("name", NETWORKS)
def test_angles_hold_with_noise(name):
    z = NETWORKS[name]
    # 0.03 %, the noise of an ordinary injection; own choice
    off = []
    for seed in range(10):
        angle, u = told(z, 3e-4, seed)
        off.append(np.abs(angle - np.angle(z)) / u)
    # normal distribution: 95.4 % lie within two standard uncertainties
    assert np.mean(np.array(off) < 2.0) > 0.95


def test_what_no_simple_network_gives_is_doubted():
    # a resonance between two tones: no form of few elements goes through all sizes
    resonant = 100.0 + across(S * 0.02 + 3.0, 1.0 / (S * 1e-7)) + 1.0 / (S * 20e-6)
    angle, u = told(resonant)
    # own choice: three standard uncertainties, 99.7 % of a normal distribution
    assert np.all(np.abs(angle - np.angle(resonant)) < 3.0 * u)


@pytest.mark.parametrize("name", NETWORKS)
def test_size_follows_from_the_angle(name):
    z = NETWORKS[name]
    beside = 1.0 / 10e3 + S * 150e-12
    # source: the network itself, by complex arithmetic
    total = np.abs(1.0 / (1.0 / z + beside))
    np.testing.assert_allclose(sizes(np.angle(z), beside, total), np.abs(z), rtol=1e-9)


def test_one_tone_has_an_angle_as_unsure_as_can_be():
    angle, u = angles(HZ[:1], 0j * HZ[:1], np.array([100.0]))
    assert (angle[0], u[0]) == (0.0, 0.6)  # regression only
