"""Guard bands: closed forms of JCGM 106, and that the stated risks are the rates that happen."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats

from probe.verify.conformity import (
    BOUND_RISK,
    SIGMAS,
    Belief,
    Limits,
    all_of,
    any_reading,
    as_bound,
    belief,
    decide,
)


@pytest.mark.parametrize(
    ("value", "u", "low", "high"),
    [(-5.47, 0.05, -math.inf, -5.4), (509.7, 8.6, 490.0, math.inf), (10.0, 0.3, 9.5, 10.4)],
)
def test_probability_of_conformity_is_that_of_a_normal_distribution(value, u, low, high) -> None:
    # closed form, JCGM 106:2012, 7.2 and 7.4; reference library: scipy.stats.norm
    inside = stats.norm.cdf(high, value, u) - stats.norm.cdf(low, value, u)
    found = decide(Belief(value, u, u), Limits(low, high))
    assert found.wrong_acceptance == pytest.approx(1.0 - inside, abs=1e-12)
    assert found.wrong_rejection == pytest.approx(inside, abs=1e-12)


def test_examples_of_the_standard() -> None:
    # JCGM 106:2012, 7.3.3, examples 1 and 2, printed to two digits; from memory
    diode = decide(Belief(-5.47, 0.05, 0.05), Limits(high=-5.40))
    assert round(diode.wrong_rejection, 2) == 0.92
    # the same
    vessel = decide(Belief(509.7, 8.6, 8.6), Limits(low=490.0))
    assert round(vessel.wrong_rejection, 2) == 0.99


@pytest.mark.parametrize("risk", [0.025, 0.05, 0.01])
def test_guard_band_of_one_limit_is_z_times_u(risk: float) -> None:
    u, limit = 1.3, 100.0
    # closed form: acceptance limit A = T - z u, JCGM 106:2012, 8.3.2
    edge = limit - stats.norm.ppf(1.0 - risk) * u
    just_in = decide(Belief(edge - 1e-9, u, u), Limits(high=limit), risk=risk)
    just_out = decide(Belief(edge + 1e-9, u, u), Limits(high=limit), risk=risk)
    assert (just_in.outcome, just_out.outcome) == ("meets", "cannot-tell")
    assert just_in.guard_high == pytest.approx(edge)
    # closed form: the same on the far side of the limit
    far = 2.0 * limit - edge
    beyond = decide(Belief(far + 1e-9, u, u), Limits(high=limit), risk=risk)
    assert beyond.outcome == "fails"


def test_an_interval_inside_its_limit_meets_and_across_it_cannot_tell() -> None:
    # closed form: the guard band at 2.5 % is the expanded uncertainty itself
    for value, expected in ((97.9, "meets"), (98.1, "cannot-tell"), (102.1, "fails")):
        known = belief({"value": value, "unit": "ohm", "u95": 2.0})
        assert known is not None
        assert decide(known, Limits(high=100.0)).outcome == expected


def test_a_lopsided_interval_keeps_its_own_quantiles() -> None:
    known = belief({"value": 10.0, "unit": "dB", "u95": 2.0, "low": 9.0, "high": 13.0})
    assert known is not None
    # closed form: the ends of a 95 % interval leave 2.5 % on either side
    assert known.below(9.0) == pytest.approx(0.025)
    assert 1.0 - known.below(13.0) == pytest.approx(0.025)
    assert known.below(10.0) == pytest.approx(0.5)


@pytest.mark.parametrize(
    ("bound", "limits", "outcome"),
    [
        ("above", Limits(low=40.0), "meets"),
        ("above", Limits(low=60.0), "cannot-tell"),
        ("above", Limits(high=40.0), "fails"),
        ("above", Limits(high=60.0), "cannot-tell"),
        ("below", Limits(high=60.0), "meets"),
        ("below", Limits(low=60.0), "fails"),
        ("below", Limits(high=40.0), "cannot-tell"),
    ],
)
def test_bounds(bound: str, limits: Limits, outcome: str) -> None:
    known = belief({"value": 50.0, "unit": "dB", "u95": 0.0, "bound": bound})
    assert known is not None
    # closed form: a half-line lies in the tolerance, outside it, or across its end
    found = decide(known, limits)
    assert found.outcome == outcome
    if outcome == "meets":
        # closed form: 10 dB inside, 3.162 times 1.645 standard deviations
        assert found.wrong_acceptance == pytest.approx(stats.norm.sf(3.16228 * 1.644854), rel=1e-3)


@pytest.mark.parametrize(
    ("bound", "limits"), [("below", Limits(high=100.0)), ("above", Limits(low=25.0))]
)
def test_a_bound_at_twice_its_limit(bound: str, limits: Limits) -> None:
    known = belief({"value": 50.0, "unit": "ohm", "u95": 0.0, "bound": bound})
    assert known is not None
    # closed form: twice 1.645 standard deviations, of the quantity or of its reciprocal
    assert decide(known, limits).wrong_acceptance == pytest.approx(stats.norm.sf(3.28971), rel=1e-3)
    # at the limit itself: one in twenty, as the bound is stated
    at = Limits(low=50.0) if bound == "above" else Limits(high=50.0)
    assert decide(known, at).wrong_acceptance == pytest.approx(BOUND_RISK)
    # which is more than 2.5 %, and within 6 %
    assert decide(known, at).outcome == "cannot-tell"
    assert decide(known, at, risk=0.06).outcome == "meets"


def test_no_doubt_stated_is_no_knowledge() -> None:
    assert belief({"value": 1.0, "unit": "V"}) is None


def test_several_figures_and_several_meanings() -> None:
    good = decide(Belief(1.0, 0.1, 0.1), Limits(high=2.0))
    bad = decide(Belief(3.0, 0.1, 0.1), Limits(high=2.0))
    # closed form: all must keep their limits; every meaning must say the same
    assert all_of([good, bad]).outcome == "fails"
    assert any_reading([good, bad]).outcome == "cannot-tell"
    assert any_reading([good, good]).outcome == "meets"


@pytest.mark.parametrize("bound", ["", "above", "below"])
@pytest.mark.parametrize("risk", [0.001, 0.025, 0.05, 0.2])
def test_no_line_is_decided_at_more_than_the_risk_agreed_on(bound: str, risk: float) -> None:
    """Or a device is sent back, or let pass, at a risk that the foot of the sheet rules out."""
    for share in np.geomspace(0.2, 5.0, 41):
        for limits in (Limits(high=50.0 * share), Limits(low=50.0 * share)):
            entry = {"value": 50.0, "unit": "ohm", "u95": 0.0 if bound else 12.0}
            known = belief(entry | ({"bound": bound} if bound else {}))
            assert known is not None
            for found in (decide(known, limits, risk=risk),
                          all_of([decide(known, limits, risk=risk)] * 2, risk=risk)):  # fmt: skip
                # definition: JCGM 106:2012, 8.3 and 9.3
                assert found.outcome != "meets" or found.wrong_acceptance <= risk
                assert found.outcome != "fails" or found.wrong_rejection <= risk


def test_a_bound_of_a_figure_has_the_risk_of_the_figure() -> None:
    figure = {"value": 1.5, "unit": "V", "u95": 0.03}
    most = belief(as_bound(figure, "below"))
    assert most is not None
    assert most.value == pytest.approx(1.53)
    # closed form: what is no more than 1.5 V with 0.03/1.96 V is above 1.6 V no oftener than that;
    # reference library: scipy.stats.norm
    risk = stats.norm.sf(1.6, 1.5, 0.03 / 1.959964)
    failed = decide(most, Limits(low=1.6))
    assert (failed.outcome, failed.wrong_rejection) == ("fails", pytest.approx(risk, rel=1e-4))
    least = belief(as_bound(figure, "above"))
    assert least is not None
    # the same mirrored
    met = decide(least, Limits(low=1.4))
    assert (met.outcome, met.wrong_acceptance) == ("meets", pytest.approx(risk, rel=1e-4))


@pytest.mark.parametrize("lopsided", [False, True])
def test_stated_risks_are_the_rates_that_happen(lopsided: bool) -> None:
    """Truths spread evenly over far more than the doubt: what is believed is then calibrated."""
    rng = np.random.default_rng(11)
    count, low, high = 40_000, 9.0, 11.0
    truth = rng.uniform(5.0, 15.0, count)
    down, up = (0.2, 0.5) if lopsided else (0.3, 0.3)
    # the measured value is off so that, seen from it, the truth is spread as the belief says
    side = rng.random(count) < 0.5
    spread = np.abs(rng.standard_normal(count))
    measured = truth + np.where(side, down * spread, -up * spread)
    kinds: dict[str, list[tuple[float, bool]]] = {"meets": [], "fails": [], "cannot-tell": []}
    for value, true in zip(measured, truth, strict=True):
        found = decide(Belief(value, down, up), Limits(low, high))
        kinds[found.outcome].append((found.wrong_acceptance, not low <= true <= high))
    for outcome in kinds:
        stated = np.array([p for p, _ in kinds[outcome]])
        wrong = np.array([w for _, w in kinds[outcome]])
        assert len(stated) > 500
        # closed form: a sum of Bernoulli variables; 4.5 standard deviations
        sd = math.sqrt(float(np.sum(stated * (1.0 - stated))))
        assert abs(float(wrong.sum() - stated.sum())) < 4.5 * sd + 1.0
    # closed form: rates of wrong acceptance and rejection stay below the risk agreed on
    assert np.mean([w for _, w in kinds["meets"]]) < 0.025
    assert np.mean([not w for _, w in kinds["fails"]]) < 0.025
    # closed form: half a 95 % interval of a normal distribution
    assert pytest.approx(1.959964, abs=1e-6) == SIGMAS
