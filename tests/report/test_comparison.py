"""Two sides beside each other: the difference carries its doubt."""

from __future__ import annotations

import pytest

from probe.bench.planned.plan import WANTED
from probe.report.comparison import _difference, _drives
from probe.report.missing import MISSING, missing


@pytest.mark.parametrize(
    ("left", "right", "unit", "expected"),
    [
        # JCGM 100:2008, 5.1.2: hypot(0.03, 0.04) = 0.05
        ((1.00, 0.03), (1.20, 0.04), "dB", "+0.200 ± 0.050 dB"),
        # 20 lg 2 = 6.0206 dB; -20 lg(1 - hypot(0.003, 0.004)) = 0.0435 dB (closed form)
        ((1.0, 0.003), (2.0, 0.008), "V", "+6.021 ± 0.044 dB"),
        # half the ohms: -50 %; hypot(0.03, 0.04) of what is left, 2.5 % (closed form)
        ((100.0, 3.0), (50.0, 2.0), "ohm", "−50.0 ± 2.5 %"),
    ],
)
def test_a_difference_of_sides_carries_its_doubt(left, right, unit, expected) -> None:
    entries = [{"value": v, "u95": u, "unit": unit} for v, u in (left, right)]
    assert _difference("some_fact", *entries) == expected


@pytest.mark.parametrize(
    ("left", "right", "expected"),
    [
        # closed form: a stage of one gain at 125 and 127 mV gives levels 20 lg(127/125) = 0.138 dB
        # apart, and no difference of the sides
        ((0.125, ""), (0.127, ""), "0.000 ± 0.044 dB, the drive’s +0.138 dB taken out"),
        ((0.127, ""), (0.127, ""), "+0.138 ± 0.044 dB"),
        ((None, ""), (None, ""), "+0.138 ± 0.044 dB"),
        ((0.127, ""), (None, ""), "not driven alike: no difference of the sides"),
        ((0.127, "full"), (0.127, "half"), "at another volume: no difference of the sides"),
    ],
)
def test_levels_of_sides_driven_apart_are_compared_by_their_gains(left, right, expected) -> None:
    driven = _drives(*({"drive_volts": v, "volume": at} for v, at in (left, right)))
    entries = [{"value": v, "u95": 0.00359 * v, "unit": "V"} for v in (0.125, 0.127)]
    assert _difference("hot_level", *entries, driven) == expected
    # an impedance does not go with the drive; closed form: (1.27 - 1.25) / 1.25 = 1.6 %
    ohms = [{**e, "value": 1e3 * e["value"], "u95": 0.1, "unit": "ohm"} for e in entries]
    assert _difference("hot_impedance", *ohms, driven).startswith("+1.6")


def test_what_the_guided_run_calls_open_the_report_does_too() -> None:
    # two lists, one truth: what a run may end with as still open
    assert {fact for fact, _, _ in WANTED} <= {m.fact for m in MISSING}
    heard = {"single_ended_level": {"value": 1.0, "unit": "V", "u95": 0.01}}
    told = [m.fact for m in missing("differential", heard)]
    assert "single_ended_impedance" in told
    assert "single_ended_impedance" not in [m.fact for m in missing("differential", {})]
