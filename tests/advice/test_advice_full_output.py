"""Full output is promised by the unfavourable end of its interval, and by nothing else."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import pytest

from probe.advice.case import Finding
from probe.advice.quantity import Quantity
from probe.advice.rules import _full_output, _level_unknown
from probe.advice.words import full_output


def judged(low: float, high: float, pad: object = None) -> list[Finding]:
    margin = Quantity((low + high) / 2.0, "dB", low, high)
    case: Any = SimpleNamespace(
        figures=SimpleNamespace(full_output_margin_db=margin),
        option=SimpleNamespace(pad=pad),
        settles="a take of the RCA output with a resistor on it",
    )
    return list(_full_output(case))


@pytest.mark.parametrize(
    ("low", "high", "open_"),
    [
        # closed form: 20 log10 of one leg instead of two is -6.02 dB, which a volume control makes
        # up; a divider of 1200 ohm behind 600 to 3000 ohm lies 3.5 to 10.9 dB down
        (-6.02, 0.5, False),
        (-10.9, -3.5, False),
        (-10.9 + 4.0, -3.5 + 4.0, True),
        (-9.4, 2.3, True),
        (0.0, 9.0, False),
    ],
)
def test_what_may_fall_far_short_of_full_output_cannot_be_told(
    low: float, high: float, open_: bool
) -> None:
    found = judged(low, high)
    assert [(f.verdict, f.code, f.doubt) for f in found] == [
        ("cannot-tell", "full-output-open", "avoid")
    ] * open_
    assert all("a take of the RCA output with a resistor on it" in f.message for f in found)
    assert judged(low, high, pad=object()) == []


@pytest.mark.parametrize(
    ("low", "high", "says"),
    [
        # regression only: the words of the ends
        (0.1, 0.4, "reaches full output"),
        (-0.4, 0.4, "just about reaches full output"),
        # half a decibel counts as reached, and so is not short either
        (-0.2, -0.1, "just about reaches full output"),
        (-3.0, -2.0, "2.5 dB (2.0 to 3.0) short of full output"),
        (-6.0, 2.0, "from 6.0 dB short of full output to reaching it"),
    ],
)
def test_the_words_stand_on_the_unfavourable_end(low: float, high: float, says: str) -> None:
    assert full_output(Quantity((low + high) / 2.0, "dB", low, high)) == says


@pytest.mark.parametrize(("clipped", "lower"), [(set(), False), ({"xlr"}, False), ({"rca"}, True)])
def test_a_take_that_clipped_is_asked_for_at_a_lower_level(clipped: set[str], lower: bool) -> None:
    case: Any = SimpleNamespace(
        figures=SimpleNamespace(level=None),
        option=SimpleNamespace(from_="rca"),
        stage=SimpleNamespace(clipped=clipped),
        settles="a take of the RCA output (single-ended)",
    )
    (found,) = _level_unknown(case)
    # the same take at the same level would clip again
    assert ("at a lower level" in found.message) == lower
