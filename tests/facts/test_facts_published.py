"""Published worked examples against the statements: GUM H.2, its supplement 9.4, balance tables."""

from __future__ import annotations

import math

import numpy as np
import pytest

from probe.decibels import db_to_ratio, ratio_to_db, volts_to_dbu, volts_to_dbv
from probe.measures.statement import (
    decibel_entry,
    impedance_entry,
    interval,
    level_entry,
    reaching,
)
from tests.stage.analysed import analysed
from tests.stage.forward import FULL, Errors, separate

# source: JCGM 100:2008 (GUM) H.2, simultaneous resistance and reactance: volts, amperes, radians
VOLTS = np.array([5.007, 4.994, 5.005, 4.990, 4.999])
AMPERES = 1e-3 * np.array([19.663, 19.639, 19.640, 19.685, 19.678])
PHASE = np.array([1.0456, 1.0438, 1.0468, 1.0428, 1.0433])

# standard deviations of a normal variable that hold 95 % of it (general reference: erf)
NORMAL_95 = 1.959964


def draws_of_the_means(count: int, *, correlated: bool) -> np.ndarray:
    """Draws of (V, I, phi): their means first, then normal with the covariance of the means."""
    data = np.array([VOLTS, AMPERES, PHASE])
    covariance = np.cov(data) / data.shape[1]
    if not correlated:
        covariance = np.diag(np.diag(covariance))
    rng = np.random.default_rng(20)
    drawn = rng.multivariate_normal(data.mean(axis=1), covariance, count)
    return np.vstack([data.mean(axis=1), drawn])


def resistance(correlated: bool = True) -> dict[str, np.ndarray]:
    volts, amperes, phase = draws_of_the_means(400_000, correlated=correlated).T
    z = volts / amperes
    return {"R": z * np.cos(phase), "X": z * np.sin(phase), "Z": z}


def test_means_and_their_correlations():
    data = np.array([VOLTS, AMPERES, PHASE])
    # source: GUM H.2, table of the data: means 4.9990 V, 19.6610 mA, 1.04446 rad
    assert data.mean(axis=1) == pytest.approx([4.9990, 19.6610e-3, 1.04446], rel=1e-9)
    # source: GUM H.2: r(V,I) = -0.36, r(V,phi) = +0.86, r(I,phi) = -0.65
    r = np.corrcoef(data)
    assert [r[0, 1], r[0, 2], r[1, 2]] == pytest.approx([-0.36, 0.86, -0.65], abs=0.005)


@pytest.mark.parametrize(
    ("name", "value", "u"),
    [
        # source: GUM H.2, approach 1, table of the results; to 1e-3 ohm, because its own u(X),
        # worked out without rounding, is 0.29558
        ("R", 127.732, 0.071),
        ("X", 219.847, 0.295),
        ("Z", 254.260, 0.236),
    ],
)
def test_values_and_intervals_from_draws(name, value, u):
    draws = resistance()[name]
    entry = interval(float(draws[0]), draws[1:])
    assert entry["value"] == pytest.approx(value, abs=1e-3)
    assert entry["u95"] / NORMAL_95 == pytest.approx(u, abs=1.5e-3)
    # a nearly normal quantity is not lopsided: the interval needs no ends of its own
    assert "low" not in entry


def test_correlations_of_the_results():
    found = resistance()
    r = np.corrcoef([found[k][1:] for k in "RXZ"])
    # source: GUM H.2: r(R,X) = -0.588, r(R,Z) = -0.485, r(X,Z) = +0.993
    assert [r[0, 1], r[0, 2], r[1, 2]] == pytest.approx([-0.588, -0.485, 0.993], abs=3e-3)


@pytest.mark.parametrize(
    ("name", "wrong"),
    [
        # source: arithmetic of GUM H.2 with the correlations left out: 0.1945, 0.2009, 0.2041
        ("R", 0.1945),
        ("X", 0.2009),
        ("Z", 0.2041),
    ],
)
def test_leaving_the_correlations_out_is_wrong(name, wrong):
    right, draws = resistance()[name], resistance(correlated=False)[name]
    without = interval(float(draws[0]), draws[1:])["u95"] / NORMAL_95
    assert without == pytest.approx(wrong, abs=1.5e-3)
    assert abs(without - interval(float(right[0]), right[1:])["u95"] / NORMAL_95) > 0.03


def test_the_impedance_itself_is_stated_so():
    volts, amperes, phase = draws_of_the_means(400_000, correlated=True).T
    entry = impedance_entry(volts / amperes * np.exp(1j * phase))
    # source: GUM H.2: Z = 254.260 ohm, u = 0.236 ohm
    assert entry is not None
    assert entry["value"] == pytest.approx(254.260, abs=1e-3)
    assert entry["u95"] / NORMAL_95 == pytest.approx(0.236, abs=1.5e-3)
    assert "bound" not in entry


def near_zero(x1: float, count: int = 200_000) -> np.ndarray:
    """Complex draws (value first) of x1 + j x2, x2 = 0, u(x1) = u(x2) = 0.005, uncorrelated."""
    rng = np.random.default_rng(94)
    drawn = x1 + 0.005 * (rng.standard_normal(count) + 1j * rng.standard_normal(count))
    return np.concatenate([[x1], drawn])


@pytest.mark.parametrize(
    ("x1", "mean", "u"),
    [
        # source: JCGM 101:2008 9.4, y = x1^2 + x2^2: mean x1^2 + 2u^2, u^2 = 4u^2 x1^2 + 4u^4
        # (closed form; what the supplement prints, 50, 150 and 2550e-6, is from memory)
        (0.000, 50e-6, 50e-6),
        (0.010, 150e-6, 111.8e-6),
        (0.050, 2550e-6, 502.5e-6),
    ],
)
def test_the_example_near_zero_is_the_published_one(x1, mean, u):
    squared = np.abs(near_zero(x1)[1:]) ** 2
    assert squared.mean() == pytest.approx(mean, rel=0.01)
    assert squared.std() == pytest.approx(u, rel=0.01)


@pytest.mark.parametrize("x1", [0.0, 0.005, 0.010])
def test_a_magnitude_near_zero_is_a_bound(x1):
    entry = level_entry(near_zero(x1))
    # source: JCGM 101:2008 9.4: first-order propagation fails here (at 0 it says u = 0)
    assert entry["bound"] == "below"
    # source: closed form, Rayleigh: 95 % of a circular scatter lies below 2.4477 sigma
    assert entry["value"] >= 0.99 * 2.4477 * 0.005
    assert entry["value"] <= 1.01 * (x1 + 2.4477 * 0.005)


def test_a_magnitude_far_from_zero_is_a_value():
    entry = level_entry(near_zero(0.050))
    # source: JCGM 101:2008 9.4 at x1 = 0.050: u(y)/(2 x1) = 502.5e-6/0.1 = 5.02e-3
    assert "bound" not in entry
    assert entry["value"] == pytest.approx(0.050, abs=1e-12)
    assert entry["u95"] / NORMAL_95 == pytest.approx(5.02e-3, rel=0.02)


def test_a_bound_is_rarely_wrong_and_a_value_as_often_as_said():
    """The statement itself, over many realisations of a magnitude that is really nothing."""
    rng = np.random.default_rng(3)
    wrong = 0
    for _ in range(400):
        measured = 0.005 * complex(*rng.standard_normal(2))
        white = rng.standard_normal((2, 500))
        draws = np.concatenate([[measured], measured + 0.005 * (white[0] + 1j * white[1])])
        wrong += "bound" not in level_entry(draws)
    # source: closed form: |v| > 2.5 times the root mean square scatter of 2 sigma^2 happens once
    # in exp(2.5^2) = 518; binomial, 400 trials, 99.9 %: at most 5
    assert wrong <= 5


def test_an_impedance_known_only_from_below():
    rng = np.random.default_rng(4)
    white = rng.standard_normal((2, 2000))
    # an open pin through its inverse: 0.2 +- 1 microsiemens cannot be told from nothing, so that
    # there is no upper end to its impedance
    own = 1.0 / np.concatenate([[0.2e-6], 0.2e-6 + 1e-6 * (white[0] + 1j * white[1])])
    entry = impedance_entry(own, inverse=True)
    assert entry is not None
    assert entry["bound"] == "above"
    # source: closed form: 97.5 % of |y| lies below about 2.72 sigma of a Rayleigh
    assert entry["value"] == pytest.approx(1e6 / 2.72, rel=0.1)
    assert entry["limited_by_bench"] is True


def test_decibels():
    # source: sqrt(0.6) V is 1 mW in 600 ohm; the figures are arithmetic from it
    assert volts_to_dbu(math.sqrt(0.6)) == pytest.approx(0.0, abs=1e-12)
    assert volts_to_dbu(1.0) == pytest.approx(2.2185, abs=5e-5)
    # source: +4 dBu is 1.22765 V ("1.23 V"), -10 dBV is 0.316228 V = -7.7815 dBu
    assert math.sqrt(0.6) * db_to_ratio(4.0) == pytest.approx(1.22765, abs=5e-6)
    assert volts_to_dbu(db_to_ratio(-10.0)) == pytest.approx(-7.7815, abs=5e-5)
    # source: mixer data sheet, "12 dB, the casual observer would say 14": 11.7815 exactly
    assert 4.0 - volts_to_dbu(db_to_ratio(-10.0)) == pytest.approx(11.7815, abs=5e-5)
    # source: arithmetic: 2.0 V is +8.239 dBu and +6.021 dBV, 4.0 V is +14.260 dBu
    assert volts_to_dbu(2.0) == pytest.approx(8.239, abs=5e-4)
    assert volts_to_dbv(2.0) == pytest.approx(6.021, abs=5e-4)
    assert volts_to_dbu(4.0) == pytest.approx(14.260, abs=5e-4)
    # source: application note on line levels, "+-11 volts peak (+20 dBu)": 10.954 V
    peak = math.sqrt(2.0) * math.sqrt(0.6) * db_to_ratio(20.0)
    assert peak == pytest.approx(10.954, abs=5e-4)
    # source: bridging losses, 20 log10(RL/(RL + Rs)), arithmetic
    for rs, rl, db in ((50, 1e4, -0.043), (100, 600, -1.339), (2200, 22000, -0.828)):
        assert ratio_to_db(rl / (rl + rs)) == pytest.approx(db, abs=5e-4)


@pytest.mark.parametrize(
    ("short", "mean_db", "sum_db"),
    [
        # source: arithmetic, (2-e)/(e/2): one leg smaller by e; the last column divides by the sum
        (0.001, 72.04, 66.02),
        (0.01, 52.00, 45.98),
        (0.02, 45.93, 39.91),
        (0.05, 37.84, 31.82),
        (0.10, 31.60, 25.58),
    ],
)
@pytest.mark.long
def test_signal_balance_divides_by_the_mean_of_the_legs(short, mean_db, sum_db):
    stage = separate(2.0, -2.0 * (1.0 - short), 100.0, 100.0)
    facts = analysed(stage, FULL, errors=Errors(noise=1e-7)).facts
    balance = facts["signal_balance"]
    if short > 0.005:
        assert "bound" not in balance
        assert balance["value"] == pytest.approx(mean_db, abs=0.006)
        # the trap: the sum instead of the mean is exactly 6.02 dB less
        assert balance["value"] - sum_db == pytest.approx(6.02, abs=0.012)
    elif "bound" in balance:
        assert balance["bound"] == "above"
        assert balance["value"] <= mean_db
    else:
        assert abs(balance["value"] - mean_db) <= balance["u95"]


def test_all_the_signal_on_one_leg_reads_6_02():
    facts = analysed(separate(2.0, 0.0), FULL, errors=Errors(noise=1e-7)).facts
    # source: output-balance definition of a differential amplifier's data sheet, |Vdm| over the
    # midpoint: a single leg always gives 20 log10 2 = 6.0206 dB, not 0 and not infinity
    assert facts["signal_balance"]["value"] == pytest.approx(6.0206, abs=2e-4)
    assert "bound" not in facts["signal_balance"]


def test_an_interval_holds_that_of_a_recorder_that_takes_nothing_off():
    lopsided = {"value": 5.966, "u95": 0.4, "low": 5.167, "high": 5.967, "unit": "dB"}
    found = reaching(lopsided, {"value": 5.966, "u95": 0.04, "unit": "dB"})
    # closed form: what may be anywhere below its edge, 0.04 dB of doubt around that edge
    assert (found["low"], found["high"]) == pytest.approx((5.167, 6.006))
    assert found["u95"] == pytest.approx((6.006 - 5.167) / 2.0)
    bound = {"value": 1.0, "u95": 0.0, "bound": "below", "unit": "V"}
    assert reaching(bound, lopsided) == bound


def test_a_ratio_of_nothing_is_a_bound_on_the_right_side():
    rng = np.random.default_rng(8)
    white = rng.standard_normal((2, 1000))
    nothing = 1e-5 * np.concatenate([[0.5], white[0] + 1j * white[1]])
    # a vanishing numerator bounds the ratio from above, a vanishing denominator from below
    below = decibel_entry(nothing / 2.0, small=nothing)
    above = decibel_entry(2.0 / nothing, small=nothing)
    # source: closed form, Rayleigh, 95 % below 2.4477 sigma: 20 log10(2.4477e-5/2) = -98.25 dB
    assert below["bound"] == "below"
    assert below["value"] == pytest.approx(-98.25, abs=0.4)
    assert above["bound"] == "above"
    assert above["value"] == pytest.approx(98.25, abs=0.4)
