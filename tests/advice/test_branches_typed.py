"""What is told of a device that may have a volume control, beside what comes with the answer typed.

Nobody said what the branch takes off the shelf that its own answer gives once it is typed.
"""

from __future__ import annotations

import random
from collections import Counter
from pathlib import Path

import pytest

from probe.advice.advise import advise
from probe.advice.basket import lists, with_shelf_parts
from probe.advice.shelf import read_shelf
from probe.advice.source_file import read_source
from probe.advice.taken import Basket
from probe.advice.typed import changed, typed_destination
from tests.advice.shelves import HEAD, PAIR, pad

SHEET = """
format = "probe-source/1"
single_ended_level_v = {level}
single_ended_impedance_ohm = {ohm}
[device]
maker = "Quell"
model = "Larder"
kind = "network player"
output = "line"
connectors = ["rca"]
{more}
"""


def basket(folder: Path, sheet: str, to: str, parts: str) -> Basket:
    (folder / "shelf.toml").write_text(HEAD + parts, "utf-8")
    (folder / "source.toml").write_text(sheet, "utf-8")
    shelf = read_shelf(folder / "shelf.toml")
    there = with_shelf_parts(changed(typed_destination(to, 50.0), cable="1.5m"), shelf)
    (found,) = lists(advise(*read_source(folder / "source.toml"), there), there, shelf).own
    return found


def held(*lists: Basket) -> Counter[str]:
    """Return what is taken and what is ordered, each as often as it is listed."""
    return Counter(
        name for one in lists
        for name in (*(f"{t.packages} x {t.part.name}" for t in one.taken),
                     *(p.says for p in one.missing))
    )  # fmt: skip


@pytest.mark.parametrize("seed", range(12))
@pytest.mark.long
def test_each_branch_takes_what_its_answer_takes(tmp_path: Path, seed: int) -> None:
    """Lost: "order 2 dB" without a price, where 6 dB in stock come once the answer is typed."""
    drawn = random.Random(seed)
    level, needs = drawn.choice((1.4, 2.0, 2.2, 3.0)), drawn.choice((0.4, 0.6, 0.9))
    to = f"rca:{drawn.choice((10, 22, 47))}k:{needs}V:max={needs * drawn.choice((2.0, 2.4)):g}V"
    parts = PAIR + "".join(
        pad(f"pad {db}", db, 3 + db, drawn.choice((0, 1, 2, 4))) for db in (3, 6, 10)
    )
    ohm = drawn.choice((50, 100, 300))
    told, *typed = (
        basket(tmp_path, SHEET.format(level=level, ohm=ohm, more=more), to, parts)
        for more in ("", "volume_control = false", "volume_control = true")
    )
    branches = [more for _, more in told.cases] or [told, told]
    # the same program with the answer typed: what is told of it before
    for branch, answer in zip(branches, typed, strict=True):
        lists = (told, branch) if told.cases else (told,)
        assert held(*lists) == held(answer)
        assert sum(b.total for b in lists) == pytest.approx(answer.total)
        assert (branch.or_pad or told.or_pad) == answer.or_pad
