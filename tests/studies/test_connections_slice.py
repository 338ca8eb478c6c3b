"""Some rows of docs/proof-connections.md, computed again."""

from __future__ import annotations

import re

import numpy as np
import pytest

from tests.chosen import of_this_code
from tests.spice import ngspice
from tests.studies.connections import DOCUMENT, LIMITS, row

pytestmark = [
    pytest.mark.long,
    pytest.mark.spice,
    pytest.mark.skipif(not ngspice.available(), reason="ngspice is not installed"),
]

TEXT = DOCUMENT.read_text()
KEPT = {
    int(index): (float(level), None if hum == "-" else float(hum))
    for index, level, hum in re.findall(r"^\| (\d+) \| (-?[\d.]+) \| (-|[\d.]+) \|$", TEXT, re.M)
}
SEED = int(re.search(r"--seed (\d+)", TEXT)[1])  # type: ignore[index]


def test_the_table_covers_what_it_says() -> None:
    assert len(KEPT) >= 300


@pytest.mark.parametrize("which", range(15))
def test_a_row_comes_out_again(which: int) -> None:
    index = int(np.random.default_rng([of_this_code("connections"), which]).integers(len(KEPT)))
    print(f"row {index}, draw {which}")
    found = row(SEED, index)
    level, hum = KEPT[index]
    # regression only: the table's own row, to its last digit
    assert found.level_db == pytest.approx(level, abs=1e-4)
    assert (found.hum_db is None) == (hum is None)
    # limits: what a connection must agree with the simulator to
    for name, limit in LIMITS.items():
        error = getattr(found, name)
        assert error is None or abs(error) <= limit, name
