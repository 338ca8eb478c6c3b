"""Some combinations of docs/proof-connections.md, computed again."""

from __future__ import annotations

import re

import numpy as np
import pytest

from tests.chosen import of_this_code
from tests.spice import ngspice
from tests.studies.connections import DOCUMENT, SEVERAL
from tests.studies.several import beyond, row

pytestmark = [
    pytest.mark.long,
    pytest.mark.spice,
    pytest.mark.skipif(not ngspice.available(), reason="ngspice is not installed"),
]

TEXT = DOCUMENT.read_text().split(SEVERAL)[1]
KEPT = {
    int(index): (len(options.split(" + ")), float(level), float(company), float(louder))
    for index, options, level, company, louder in re.findall(
        r"^\| (\d+) \| [^|]+ \| (`[^|]+`) \| ([\d.]+) \|.*\| ([-+][\d.]+) \| ([-+][\d.]+) \|$",
        TEXT,
        re.M,
    )
}
SEED = int(re.search(r"--seed (\d+)", TEXT)[1])  # type: ignore[index]


def test_the_table_covers_what_it_says() -> None:
    assert len(KEPT) >= 20
    # leads that change nothing for each other would prove nothing of the solution in common
    assert sum(abs(company) > 0.05 for _, _, company, _ in KEPT.values()) >= 5
    assert sum(louder > 1.0 for *_, louder in KEPT.values()) >= 5


@pytest.mark.parametrize("which", range(6))
def test_a_combination_comes_out_again(which: int) -> None:
    index = int(np.random.default_rng([of_this_code("several"), which]).integers(40))
    print(f"row {index}, draw {which}")
    found = row(SEED, index)
    leads, level, company, louder = KEPT[index]
    assert len(found.options) == leads
    # regression only: the table's own row, to its last digit
    assert abs(found.worst(0) or 0.0) == pytest.approx(level, abs=1e-4)
    assert found.company_db == pytest.approx(company, abs=1e-3)
    assert found.company_hum_db == pytest.approx(louder, abs=0.1)
    # limits: what a connection must agree with the simulator to
    assert beyond(found) == []
