"""Some sessions of docs/proof-same-answer.md, answered again."""

from __future__ import annotations

import re

import numpy as np
import pytest

from tests.chosen import of_this_code
from tests.studies.same_answer import DOCUMENT, LIMITS, beyond, row

pytestmark = pytest.mark.long

TEXT = DOCUMENT.read_text()
SEED = int(re.search(r"--seed (\d+)", TEXT)[1])  # type: ignore[index]
KEPT = re.findall(
    r"^\| (\d+) \| [^|]+ \| [^|]+ \| (\d+) \| (\d+) \| ([\d.]+) \| (\d+) "
    r"\| ([\d.]+) \| ([^|]+) \|$",
    TEXT, re.M,
)  # fmt: skip


def test_the_table_covers_what_it_says_and_keeps_its_limits() -> None:
    assert len(KEPT) == int(re.search(r"--sessions (\d+)", TEXT)[1])  # type: ignore[index]
    # an answer without levels would be the same in any case
    assert sum(int(levels) for _, _, levels, *_ in KEPT) > 5 * len(KEPT)
    for index, _, _, level, _, interval, said in KEPT:
        assert float(level) <= LIMITS["level_db"], index
        assert float(interval) <= LIMITS["interval_percent"], index
        assert said == "the same", index


@pytest.mark.parametrize("which", range(5))
def test_a_session_is_answered_the_same_again(which: int) -> None:
    chosen = np.random.default_rng([of_this_code("same answer"), which]).integers(len(KEPT))
    index, _, levels, *_ = KEPT[int(chosen)]
    found = row(SEED, int(index))
    assert beyond(found) == []
    # regression only: as many levels were known in the table
    assert found.levels == int(levels)
