"""A set's answer depends on what the boxes are, never on the order in which they are typed."""

from __future__ import annotations

import random
from pathlib import Path
from typing import Any

import pytest

from probe.advice.advise import ask_together
from probe.advice.destination import together
from probe.advice.model import Advice, OptionAdvice
from probe.advice.source_file import read_source
from probe.advice.typed import changed, typed_destination

SHEET = """
format = "probe-source/1"
kinds = ["differential"]
differential_level_v = 4.0
single_ended_level_v = 2.0
single_ended_maximum_v = 8
differential_maximum_v = 16
differential_impedance_ohm = 100
single_ended_impedance_ohm = 100
[device]
model = "Q"
output = "line"
kind = "preamplifier"
connectors = ["xlr", "rca"]
minimum_load_ohm = 2000
"""

Box = tuple[str, str, str]
"""As typed, its ground and its cable."""


def in_plug(option: OptionAdvice) -> tuple[float, ...]:
    """What is soldered into the plug: ohms of each design."""
    made = option.attenuator
    if made is None or not made.fitted:
        return ()
    return tuple(d.pad.total_series_ohm for d in made.designs)


def answer(folder: Path, boxes: list[Box]) -> dict[str, Any]:
    """For each box what is used, every way's verdict and parts, and what the set makes of it."""
    path = folder / "source.toml"
    path.write_text(SHEET, "utf-8")
    there = [
        changed(typed_destination(typed, 50.0), ground=ground, cable=cable)
        for typed, ground, cable in boxes
    ]
    found = ask_together(*read_source(path), together(there))
    return {c.box: (c.socket.split()[-2:] if c.socket else None, c.option, c.attenuator,
                    *judged(found, c.box)) for c in found.choices}  # fmt: skip


def judged(found: Advice, box: str) -> list[Any]:
    ways = sorted((o.option.id, o.verdict, in_plug(o)) for o in found.options if o.box == box)
    held = [(o.option.id, o.verdict, sorted(h.code for h in o.hazards))
            for one in found.sets[:1] for o in one.options if o.box == box]  # fmt: skip
    return [ways, sorted(held)]


def drawn(seed: int) -> list[Box]:
    """Two or three boxes that differ, some too heavy, some that hum."""
    rng = random.Random(seed)
    found: dict[str, Box] = {}
    while len(found) < rng.choice((2, 3)):
        ohm = rng.choice(("600", "1k", "2k", "4.7k", "10k", "47k"))
        volts = rng.choice(("0.2V", "0.5V", "1V"))
        more = rng.choice(("", "", ":sub", ":max=3V"))
        typed = f"rca:{ohm}:{volts}{more}"
        if rng.random() < 0.5:
            leg = rng.choice(("between", "leg"))
            typed = f"xlr:{ohm}/{leg}:{volts}:difference-amplifier{more}"
        ground = rng.choice(("same-strip", "two-rooms", "computer"))
        found[typed] = (typed, ground, rng.choice(("1m", "5m")))
    return list(found.values())


HEAVY_AND_BUFFERED: list[Box] = [
    ("rca:600:0.5V:max=3V", "two-rooms", "1m"),
    ("rca:10k:0.2V", "computer", "1m"),
    ("xlr:1k/leg:1V:buffered", "two-rooms", "5m"),
]

ONE_ISOLATOR_FOR_FOUR: list[Box] = [
    ("xlr:10k/between:0.5V:difference-amplifier:sub", "two-rooms", "1m"),
    ("xlr:20k/leg:0.5V:difference-amplifier", "two-rooms", "1m"),
    ("rca:1k:0.2V:sub", "same-strip", "5m"),
    ("xlr:47k/between:1V:difference-amplifier", "same-strip", "5m"),
]


@pytest.mark.parametrize(
    "boxes",
    [HEAVY_AND_BUFFERED, ONE_ISOLATOR_FOR_FOUR, *map(drawn, range(20))],
)
@pytest.mark.long
def test_the_order_of_the_boxes_decides_nothing(tmp_path: Path, boxes: list[Box]) -> None:
    """Whoever typed the same boxes in another order had to buy an isolator for another one."""
    first = answer(tmp_path, boxes)
    for other in {tuple(boxes[::-1]), tuple(boxes[-1:] + boxes[:-1])}:
        # the rule: the same boxes are the same set
        assert answer(tmp_path, list(other)) == first


@pytest.mark.long
def test_what_needs_least_to_be_bought_is_used(tmp_path: Path) -> None:
    """In one order three isolators were to be bought, in the other two."""
    for boxes in (HEAVY_AND_BUFFERED, HEAVY_AND_BUFFERED[::-1]):
        used = [held[1] for held in answer(tmp_path, boxes).values()]
        # the rule: of sets that work and are as far from each box's own best, that with fewer parts
        assert sum(option.endswith("/transformer") for option in used) == 2
