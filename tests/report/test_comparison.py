"""Two sides beside each other: the difference carries its doubt."""

from __future__ import annotations

import pytest

from probe.report.comparison import _difference


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
