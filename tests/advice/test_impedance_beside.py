"""An output impedance that is asked for opens a way for all boxes plugged in at once.

Who loses where these fail: a customer who asks the maker, buys for the answer, and then has nothing
for the second box on the same output.
"""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from probe.advice.advise import advise
from probe.advice.ask_maker import NOT_BESIDE
from probe.advice.destination import together
from probe.advice.model import Advice
from probe.advice.source_file import read_source
from probe.advice.typed import changed, typed_destination

SHEET = """format = "probe-source/1"
single_ended_level_v = 2.0
{impedance}
[device]
output = "line"
connectors = ["rca"]
minimum_load_ohm = {load}.0
"""


def ask(folder: Path, *to: str, ohm: float | None = None, load: int = 600) -> Advice:
    path = folder / "source.toml"
    said = "" if ohm is None else f"single_ended_impedance_ohm = {ohm}"
    path.write_text(SHEET.format(impedance=said, load=load), "utf-8")
    boxes = [changed(typed_destination(t, 50.0), ground="2V", cable="5m") for t in to]
    return advise(*read_source(path), together(boxes))


def asked(advice: Advice) -> list[float]:
    """What is asked for, box by box."""
    return [float(found[1]) for c in advice.choices
            if (found := re.search(r"with (\d+) ohm or less", "; ".join(c.why)))]  # fmt: skip


@pytest.mark.parametrize("load", [600, 3000])
@pytest.mark.parametrize(
    "boxes", [("rca:4.7k:0.5V", "rca:47k:1V:sub"), ("rca:10k:0.5V", "rca:10k:1V")]
)
@pytest.mark.long
def test_with_what_is_asked_for_each_box_has_a_way_beside_the_other(
    tmp_path: Path, boxes: tuple[str, ...], load: int
) -> None:
    ohms = asked(ask(tmp_path, *boxes, load=load))
    assert len(ohms) == len(boxes)
    # by definition: what works with so many ohm or less works with so many, and with one
    for ohm in (min(ohms), 1.0):
        answered = ask(tmp_path, *boxes, ohm=ohm, load=load)
        assert all(c.option is not None for c in answered.choices)
    told = "; ".join(why for c in answered.choices for why in c.why)
    assert NOT_BESIDE not in told


@pytest.mark.long
def test_what_opens_a_way_for_one_of_two_alone_is_told_as_that(tmp_path: Path) -> None:
    # closed form: 4.7 kohm are more than half of the 5 kohm that are allowed, two of them less;
    # with 1.9 of 2 V needed no resistors can be put before them
    alike = ask(tmp_path, "rca:4.7k:1.9V", "rca:4.7k:1.9V", load=5000)
    assert len(asked(alike)) == 2
    assert sum(NOT_BESIDE in "; ".join(c.why) for c in alike.choices) == 1
    answered = ask(tmp_path, "rca:4.7k:1.9V", "rca:4.7k:1.9V", load=5000, ohm=min(asked(alike)))
    assert sum(c.option is None for c in answered.choices) == 1
