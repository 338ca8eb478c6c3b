"""The A-weighting against a general signal library's response of the analogue filter."""

from __future__ import annotations

import numpy as np
import pytest
import scipy.signal

from probe.measures.weighting import a_weighting_db

POLES_HZ = (20.598997, 20.598997, 107.65265, 737.86223, 12194.217, 12194.217)


def analogue() -> tuple[np.ndarray, np.ndarray]:
    """Zeros and poles, rad/s: four zeros at 0 Hz (IEC 61672-1, annex E; from memory)."""
    return np.zeros(4), -2.0 * np.pi * np.array(POLES_HZ)


def test_response_of_the_analogue_filter() -> None:
    hz = np.geomspace(10.0, 20e3, 200)
    zeros, poles = analogue()
    _, found = scipy.signal.freqs_zpk(zeros, poles, 1.0, worN=2.0 * np.pi * np.append(hz, 1e3))
    # scipy.signal.freqs_zpk, made 0 dB at 1 kHz
    db = 20.0 * np.log10(np.abs(found[:-1]) / abs(found[-1]))
    np.testing.assert_allclose(a_weighting_db(hz), db, atol=1e-9)


def test_power_of_noise_through_a_digital_filter() -> None:
    rate = 768_000
    zeros, poles = analogue()
    sos = scipy.signal.zpk2sos(*scipy.signal.bilinear_zpk(zeros, poles, 1.0, rate))
    hz = np.arange(20.0, 20001.0)
    _, found = scipy.signal.sosfreqz(sos, worN=np.append(hz, 1e3), fs=rate)
    weight = np.abs(found[:-1]) ** 2 / abs(found[-1]) ** 2
    # scipy's bilinear filter at a rate at which it is not warped by more than 0.01 dB at 20 kHz
    expected = 10.0 * np.log10(np.mean(weight))
    ours = 10.0 * np.log10(np.mean(10.0 ** (a_weighting_db(hz) / 10.0)))
    assert ours == pytest.approx(expected, abs=0.01)
