"""When levels that differ between takes deserve a word: not where chance alone does that."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from probe.stage.agreement import Repeatability, repeatability_remarks

STATED = 0.0006


@pytest.mark.parametrize(
    ("spare", "times", "said"),
    [
        # source: tables of the normal distribution: 3.891 standard deviations are passed, either
        # way, once in 10,000; tables of chi-square: 18.421 with two degrees of freedom, over two
        (1.0, 3.85, False),
        (1.0, 3.95, True),
        (2.0, 3.00, False),
        (2.0, 3.10, True),
        # with many rows chance does not reach 3, which is the least that is told
        (12.0, 2.9, False),
        (12.0, 3.1, True),
    ],
)
def test_few_spare_rows_need_a_larger_difference(spare: float, times: float, said: bool) -> None:
    solved: Any = SimpleNamespace(
        whitener=np.ones((2, 1, 1, 1)), residual=np.array([[[1.0]], [[2.0]]])
    )
    group: Any = SimpleNamespace(takes=[SimpleNamespace(name="one"), SimpleNamespace(name="two")])
    repeat = Repeatability(STATED, 0, times * STATED, spare)
    found = repeatability_remarks(repeat, STATED, solved, group)
    assert [r.take for r in found] == ["two"] * said
