"""Sisters and years: chance of a false alarm, odd examples, conditions, rates."""

from __future__ import annotations

import random
from pathlib import Path

import numpy as np
import pytest

from probe.archive.entry import Entry
from probe.archive.family import FACTORS, family
from probe.archive.years import Look, drift
from tests.archive.made import example
from tests.verify.documents import entry

IMPEDANCE = ["hot_impedance"]


def outside(own: float, sisters: list[float], **more: object) -> bool | None:
    facts = example(1, ohm=own)
    facts["sides"]["mono"]["facts"]["hot_impedance"] = entry(own, "ohm", 0.01, **more)
    kin = []
    for number, ohm in enumerate(sisters):
        one = example(number + 2, ohm=ohm)
        one["sides"]["mono"]["facts"]["hot_impedance"] = entry(ohm, "ohm", 0.01)
        kin.append(one)
    (row,) = family(facts, kin, IMPEDANCE)
    assert row.sisters == len(sisters)
    return row.outside


def test_an_odd_one_is_outside_and_a_healthy_one_is_not() -> None:
    rng = random.Random(3)
    sisters = [rng.gauss(100.0, 1.0) for _ in range(12)]
    assert outside(100.5, sisters) is False
    assert outside(130.0, sisters) is True
    # one odd sister does not hide another: the median and its spread are unmoved
    assert outside(130.0, [*sisters, 500.0]) is True
    assert outside(50.0, sisters, bound="above") is None
    assert outside(500.0, sisters, bound="above") is True


def test_below_five_sisters_nothing_is_judged() -> None:
    # by the stated rule
    assert outside(500.0, [100.0, 101.0, 99.0, 100.5]) is None
    assert outside(500.0, [100.0, 101.0, 99.0, 100.5, 99.7]) is True


def test_sisters_alike_to_the_last_digit_do_not_make_an_outsider() -> None:
    # closed form: a spread is no smaller than the sisters' own standard uncertainty, 0.0051 ohm
    assert outside(100.03, [100.0] * 6) is False


@pytest.mark.parametrize("sisters", [5, 6, 7, 8, 9, 11, 14, 20, 40])
def test_healthy_examples_are_outside_one_in_a_hundred(sisters: int) -> None:
    rng = np.random.default_rng(sisters)
    count = 60_000
    kin = rng.standard_normal((count, sisters))
    middle = np.median(kin, axis=1)
    spread = 1.4826 * np.median(np.abs(kin - middle[:, None]), axis=1)
    factor = next(k for n, k in reversed(FACTORS) if n <= sisters)
    rate = float(np.mean(np.abs(rng.standard_normal(count) - middle) > factor * spread))
    # the stated rule; four standard deviations of a share of 60,000
    assert rate < 0.01 + 4.0 * (0.01 / count) ** 0.5
    assert rate > 0.003


def test_levels_at_another_volume_are_no_sisters() -> None:
    own = example(1)
    kin = [example(n) for n in range(2, 10)]
    for one in kin:
        one["sides"]["mono"]["conditions"]["volume"] = "maximum"
    rows = {row.fact: row for row in family(own, kin)}
    assert rows["differential_level"].sisters == 0
    assert rows["hot_impedance"].sisters == 8


def look(number: int, on: str, ohm: float, u95: float = 0.5) -> Look:
    facts = example(1, on=on)
    facts["sides"]["mono"]["facts"]["hot_impedance"] = entry(ohm, "ohm", u95)
    return Look(
        Entry(number, str(number), "Larkfield", "LP-1", "S-1", on, "", "", "", "", False), facts
    )


def test_drift_over_the_years() -> None:
    looks = [
        look(1, "2020-01-01", 100.0), look(2, "2022-01-01", 104.0), look(3, "2024-01-01", 108.0),
    ]  # fmt: skip
    rows = {row.fact: row for row in drift(looks)}
    moved = rows["hot_impedance"]
    assert moved.moved
    assert moved.rate is not None
    # closed form: 2 ohm a year, two leap days within a thousandth
    assert moved.rate[0] == pytest.approx(2.0, rel=2e-3)
    # closed form: slope of three equal weights over -2, 0, 2 years: 1.96 sd / sqrt(8)
    assert moved.rate[1] == pytest.approx(0.5 / 8.0**0.5, rel=2e-3)
    assert not rows["cold_impedance"].moved
    (row,) = drift(looks[:2], IMPEDANCE)
    assert row.rate is None


def test_scatter_beyond_the_doubts_widens_the_rate() -> None:
    steady = [look(k, f"20{20 + k}-01-01", 100.0) for k in range(4)]
    wild = [look(k, f"20{20 + k}-01-01", 100.0 + 5.0 * (-1) ** k) for k in range(4)]
    (calm,), (rough,) = drift(steady, IMPEDANCE), drift(wild, IMPEDANCE)
    assert calm.rate is not None
    assert rough.rate is not None
    assert rough.rate[1] > 5.0 * calm.rate[1]


def test_years_at_another_volume_are_marked() -> None:
    looks = [look(1, "2020-01-01", 100.0), look(2, "2021-01-01", 100.0)]
    looks[1].facts["sides"]["mono"]["conditions"]["volume"] = "maximum"
    (row,) = drift(looks, ["differential_level"])
    assert (row.apart[1], row.moved) == (("volume",), False)


def test_place_is_the_users_own() -> None:
    from probe.archive.place import default_place

    assert default_place().name == "archive.sqlite"
    assert isinstance(default_place(), Path)
