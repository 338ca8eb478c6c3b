"""Figures of the advice as people read them: none without its doubt."""

from __future__ import annotations

import pytest

from probe.advice.quantity import Quantity
from probe.advice.words import decibels, figure, signed_decibels


@pytest.mark.parametrize(
    ("value", "half", "unit", "expected"),
    [
        # JCGM 100:2008, 7.2.6: two digits of the uncertainty, the value to the same place
        (0.24863, 0.00121, "V", "248.6 +/- 1.2 mV"),
        (12.3456, 0.5, "V", "12.35 +/- 0.50 V"),
        (0.03674, 0.00021, "A", "36.74 +/- 0.21 mA"),
        (18352.0, 250.0, "Hz", "18.35 +/- 0.25 kHz"),
    ],
)
def test_a_figure_carries_its_doubt(value: float, half: float, unit: str, expected: str) -> None:
    assert figure(Quantity(value, unit, value - half, value + half)) == expected


def test_decibels_surer_than_their_last_digit_stand_alone() -> None:
    sure, unsure = Quantity(6.02, "dB", 5.98, 6.06), Quantity(6.02, "dB", 5.5, 6.9)
    # common practice, no source: a last digit that is shown is one that is known
    assert signed_decibels(sure) == "+6.0 dB"
    # common practice, no source
    assert signed_decibels(unsure) == "+6.0 dB (+5.5 to +6.9)"
    # common practice, no source
    assert decibels(unsure) == "6.0 dB (5.5 to 6.9)"


def test_a_gain_counted_as_a_loss() -> None:
    # closed form: a bound from above becomes one from below, the ends change places
    assert -Quantity(-3.0, "dB", -4.0, -2.5, bound="above") == Quantity(
        3.0, "dB", 2.5, 4.0, bound="below"
    )
