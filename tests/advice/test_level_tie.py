"""A level within its interval of the wanted one is no reason to buy isolators."""

from __future__ import annotations

from pathlib import Path

import pytest

from probe.advice.advise import advise
from probe.advice.candidate import within
from probe.advice.destination import read_destination
from probe.advice.model import Advice
from probe.advice.quantity import Quantity
from probe.advice.source_file import read_source
from probe.advice.typed import changed

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

PLAYER = """
format = "probe-source/1"
single_ended_level_v = 2.0
single_ended_impedance_ohm = 300.0
[device]
output = "line"
connectors = ["rca"]
"""

AMPLIFIER = """
format = "probe-destination/1"
name = "power amplifier"
[[input]]
connector = "rca"
impedance_ohm = 47000.0
sensitivity_v = 1.0
[[input]]
connector = "xlr"
impedance_ohm = 10000.0
impedance_is = "each-leg"
sensitivity_v = {sensitivity}
rejection_db = 60.0
[cable]
length_m = 1.0
[ground]
difference_mv = 20.0
across_mv = 16.0
through_ohm = 1.0
"""


def ask(folder: Path, sheet: str, level: str | None = None, sensitivity: float = 2.0) -> Advice:
    source, there = folder / "source.toml", folder / "amplifier.toml"
    source.write_text(sheet, "utf-8")
    there.write_text(AMPLIFIER.format(sensitivity=sensitivity), "utf-8")
    return advise(*read_source(source), changed(read_destination(there), level=level))


@pytest.mark.parametrize(
    ("level", "says"), [(None, "as loud as the RCA link"), ("2V", "as loud as the RCA link"),
                        ("0.5V", "")],
)  # fmt: skip
def test_who_turns_down_keeps_the_xlr_lead(tmp_path: Path, level: str | None, says: str) -> None:
    """Two XLR leads of 38 EUR became isolators of 232 EUR by turning down."""
    advice = ask(tmp_path, CONVERTER, level)
    # closed form: twice the volts into an input that needs twice as many, 0 dB but for what
    # 200 ohm lose into 10 and 47 kohm (0.1 dB); 5 % of each level of a sheet are 0.6 dB
    assert advice.chosen == "xlr-to-xlr"
    assert says in "; ".join(advice.choices[0].why)


def test_a_tie_in_full_output_buys_no_isolator(tmp_path: Path) -> None:
    advice = ask(tmp_path, PLAYER)
    # closed form: 2 V into an input that needs 2 V, 0.1 to 0.3 dB lost before 10 kohm, 5 % (0.4 dB)
    # of doubt: short or not, nobody hears it
    assert advice.chosen == "rca-to-xlr/pin-3-tied-at-source"
    assert "reaches full output within what is known" in "; ".join(advice.choices[0].why)


def test_what_is_surely_short_is_no_tie(tmp_path: Path) -> None:
    # closed form: 2 V where 3 V are needed, 3.5 dB
    advice = ask(tmp_path, PLAYER, sensitivity=3.0)
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
