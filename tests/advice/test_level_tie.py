"""A level within its interval of the wanted one is no reason to buy isolators."""

from __future__ import annotations

from pathlib import Path

import pytest

from probe.advice.candidate import within
from probe.advice.quantity import Quantity
from tests.advice.sheets import PLAYER, amplifier, from_files

CONVERTER = """
format = "probe-source/1"
differential_level_v = 4.0
single_ended_level_v = 2.0
differential_impedance_ohm = 200.0
single_ended_impedance_ohm = 200.0
[device]
output = "line"
connectors = ["xlr", "rca"]
"""


@pytest.mark.parametrize(
    ("level", "says"), [(None, "as loud as the RCA link"), ("2V", "as loud as the RCA link"),
                        ("0.5V", "")],
)  # fmt: skip
@pytest.mark.long
def test_who_turns_down_keeps_the_xlr_lead(tmp_path: Path, level: str | None, says: str) -> None:
    """Two XLR leads of 38 EUR became isolators of 232 EUR by turning down."""
    advice = from_files(tmp_path, CONVERTER, amplifier(2.0), level)
    # closed form: twice the volts into an input that needs twice as many, 0 dB but for what
    # 200 ohm lose into 10 and 47 kohm (0.1 dB); 5 % of each level of a sheet are 0.6 dB
    assert advice.chosen == "xlr-to-xlr"
    assert says in "; ".join(advice.choices[0].why)


def test_a_tie_in_full_output_buys_no_isolator(tmp_path: Path) -> None:
    advice = from_files(tmp_path, PLAYER, amplifier(2.0))
    # closed form: 2 V into an input that needs 2 V, 0.1 to 0.3 dB lost before 10 kohm, 5 % (0.4 dB)
    # of doubt: short or not, nobody hears it
    assert advice.chosen == "rca-to-xlr/pin-3-tied-at-source"
    assert "reaches full output within what is known" in "; ".join(advice.choices[0].why)


def test_what_is_surely_short_is_no_tie(tmp_path: Path) -> None:
    # closed form: 2 V where 3 V are needed, 3.5 dB
    advice = from_files(tmp_path, PLAYER, amplifier(3.0))
    assert advice.chosen != "rca-to-xlr/pin-3-tied-at-source"


@pytest.mark.parametrize(
    ("value", "low", "high", "tie"),
    [
        # the limits of docs/advice.md: below 1 dB, inside the interval
        (-0.1, -0.7, 0.6, True),
        (-0.9, -1.5, -0.2, True),
        (-0.9, -0.95, -0.85, False),
        (-3.0, -6.0, 0.5, False),
        # what may be more than half the volts short is promised to nobody
        (-0.5, -20.0, 0.7, False),
    ],
)
def test_what_a_tie_is(value: float, low: float, high: float, tie: bool) -> None:
    assert within(Quantity(value, "dB", low, high), 0.0) is tie
