"""The minimum load that is asked for: whoever gets that answer loses nothing by it.

An adviser who telephones the maker, and types what he hears, would find a box without a lead that
had one before.
"""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pytest

from probe.advice.advise import advise
from probe.advice.destination import together
from probe.advice.model import Advice
from probe.advice.source_file import read_source
from probe.advice.typed import changed, typed_destination
from probe.numbers import digits_down

SHEET = """
format = "probe-source/1"
kinds = ["differential"]
{levels}
[device]
model = "X"
output = "line"
kind = "preamplifier"
{load}
"""

RCA = """
single_ended_level_v = 2.0
single_ended_maximum_v = 8.0
single_ended_impedance_ohm = 100.0
"""
XLR = """
differential_level_v = 4.0
differential_maximum_v = 16.0
differential_impedance_ohm = 100.0
"""

ASKED = re.compile(r"for the minimum load of its output: with ([\d.]+) (k?)ohm or less")


def ask(folder: Path, levels: str, boxes: str, least: float | None, **where: Any) -> Advice:
    load = "" if least is None else f"minimum_load_ohm = {least}"
    path = folder / "source.toml"
    path.write_text(SHEET.format(levels=levels, load=load), "utf-8")
    there = together([typed_destination(words, 50.0) for words in boxes.split()])
    return advise(*read_source(path), changed(there, **where))


def asked(advice: Advice) -> float | None:
    found = ASKED.search(" ".join(" ".join(c.why) for c in advice.choices))
    return None if found is None else float(found[1]) * (1000.0 if found[2] else 1.0)


def left_out(advice: Advice) -> set[str]:
    return {c.box for c in advice.choices if c.option is None}


NEAR = {"ground": "same-strip", "cable": "2m"}
FAR = {"ground": "two-rooms", "cable": "5m"}


@pytest.mark.parametrize(
    ("levels", "boxes", "where", "ohm"),
    [
        # closed form: 600 and 20000 ohm side by side are 582.5, 600 and 2000 are 461.5
        (RCA, "rca:600:0.5V rca:20k:0.5V", NEAR, 582.0),
        (RCA, "rca:600:0.5V rca:2k:0.5V", NEAR, 461.0),
        # closed form: 600 and 2 x 10000 ohm, and 1000 and 47000
        (XLR, "xlr:600/between:0.5V xlr:10k/leg:1V:sub", NEAR, 582.0),
        (RCA, "rca:1k:1V rca:47k:1V", FAR, 979.0),
        # closed form: on outputs of their own each works into its own alone
        (RCA + XLR, "xlr:600/between:0.5V rca:600:0.5V", NEAR, 600.0),
    ],
)
def test_the_answer_that_is_asked_for_leaves_every_box_its_lead(
    tmp_path: Path, levels: str, boxes: str, where: dict[str, str], ohm: float
) -> None:
    advice = ask(tmp_path, levels, boxes, None, **where)
    assert asked(advice) == ohm
    answered = ask(tmp_path, levels, boxes, ohm, **where)
    assert left_out(answered) <= left_out(advice)
    assert not any(c.attenuator for c in answered.choices)


@pytest.mark.parametrize(
    ("value", "down"),
    # a definition: three digits, never above; a figure of three digits is itself
    [(582.52, 582.0), (979.16, 979.0), (600.0, 600.0), (1000.0, 1000.0), (299.9999, 299.0),
     (3636.4, 3630.0), (0.0123, 0.0123)],
)  # fmt: skip
def test_a_limit_is_rounded_down(value: float, down: float) -> None:
    assert digits_down(value) == pytest.approx(down, rel=1e-12)
