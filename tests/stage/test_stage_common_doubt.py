"""The doubt that all inputs share acts on levels and cancels from ratios."""

from __future__ import annotations

from dataclasses import replace

import pytest

from probe.session.model import RecorderInput

from .analysed import analysed
from .forward import INPUT, LOAD_COLD, LOAD_HOT, LOAD_SE, OPEN, SECOND, WITH_SE, Errors, separate

PLANS = (OPEN, WITH_SE, LOAD_HOT, LOAD_COLD, LOAD_SE, SECOND)
U95 = 0.02


def facts(common: float):
    recorder: RecorderInput = replace(INPUT, u95_relative=U95, common_u95_relative=common)
    return analysed(
        separate(), PLANS, errors=Errors(noise=1e-6), recorder=recorder, repeatability_db=0.002,
        draws=1000,
    ).facts  # fmt: skip


def test_what_all_inputs_share_widens_levels_and_not_ratios():
    apart, shared = facts(0.0), facts(U95)
    # source: closed form: two channels with doubts of their own, the mean of both
    relative = apart["differential_level"]["u95"] / apart["differential_level"]["value"]
    assert relative == pytest.approx(0.98 * U95 / 2**0.5, rel=0.08)
    # source: closed form: one doubt for both channels is the doubt of their difference
    relative = shared["differential_level"]["u95"] / shared["differential_level"]["value"]
    assert relative == pytest.approx(0.98 * U95, rel=0.08)
    # source: closed form: 20 log10 of a quotient of two channels, 8.686 dB per unit
    assert apart["leg_ratio"]["u95"] == pytest.approx(8.686 * 0.98 * U95 * 2**0.5, rel=0.08)
    # source: a common factor cancels from a quotient; 0.002 dB between takes and crosstalk remain
    for name in ("leg_ratio", "gain_difference"):
        assert shared[name]["u95"] < 0.05 * apart[name]["u95"]
    # source: an impedance found by a load is a quotient of one channel's readings
    one, other = shared["hot_impedance"]["u95"], apart["hot_impedance"]["u95"]
    assert one == pytest.approx(other, rel=0.1)


def test_a_part_shared_leaves_the_rest_to_each_input():
    inlet = replace(INPUT, u95_relative=0.05, common_u95_relative=0.03)
    # source: variances add: 0.05 squared less 0.03 squared is 0.04 squared
    assert inlet.own_u95_relative == pytest.approx(0.04)
