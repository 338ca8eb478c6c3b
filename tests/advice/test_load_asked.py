"""The minimum load that is asked for: whoever gets that answer loses nothing by it.

An adviser who telephones the maker, and types what he hears, would find a box without a lead that
had one before.
"""

from __future__ import annotations

import math
import re
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from probe.advice.advise import advise
from probe.advice.advise import ask as ask_alone
from probe.advice.ask_maker import with_asked
from probe.advice.destination import together
from probe.advice.memory import Memory
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
        (XLR, "xlr:600/between:3.5V xlr:10k/leg:1V:sub", NEAR, 582.0),
        (RCA, "rca:1k:1V rca:47k:1V", FAR, 979.0),
        # closed form: on outputs of their own each works into its own alone
        (RCA + XLR, "xlr:600/between:0.5V rca:600:0.5V", NEAR, 600.0),
    ],
)
@pytest.mark.long
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


# no impedance and no circuit is stated, so that hum lies between far ends
UNKNOWN = """
differential_level_v = 4.0
differential_maximum_v = 16
"""
ROOMS = {"ground": "two-rooms", "cable": "1m"}
QUIET_DB = 75.0  # our own limit, no source


def hum_of(advice: Advice, box: str) -> float:
    held = [o.figures.hum_below_full_output_db for one in advice.sets[:1] for o in one.options
            if o.box == box]  # fmt: skip
    held = held or [o.used.figures.hum_below_full_output_db for o in advice.options
                    if o.box == box and o.verdict == "use"]  # fmt: skip
    return min(hum.low for hum in held if hum is not None)


def test_resistors_against_hum_are_as_large_as_it_takes(tmp_path: Path) -> None:
    """What the maker allows took a box its lead: the pad was a tenth of a decibel too small."""
    boxes = "xlr:1k/between:0.5V:sub"
    advice = ask(tmp_path, UNKNOWN, boxes, 375.0, **ROOMS)
    (choice,) = advice.choices
    assert choice.option == "xlr-to-xlr"
    assert choice.attenuator
    (used,) = [o for o in advice.options if o.verdict == "use"]
    assert hum_of(advice, choice.box) >= QUIET_DB
    left = used.used.figures.full_output_margin_db
    assert left is not None
    # closed form: 16 V into 1 kohm behind 2200 ohm at most, 0.5 V needed: 20 dB, of which no more
    # is taken than what is missing of hum and a decibel or two
    assert left.low >= 20.0 * math.log10(16.0 / 3.2 / 0.5) - 7.0


@pytest.mark.long
def test_with_the_answer_no_box_loses_its_lead(tmp_path: Path) -> None:
    """The maker said 375 ohm; the box that had a lead with resistors had none then."""
    boxes = "xlr:1k/between:0.5V xlr:300/leg:2V"
    advice = ask(tmp_path, UNKNOWN, boxes, None, **ROOMS)
    # closed form: 600 and 1000 ohm side by side
    assert asked(advice) == 375.0
    answered = ask(tmp_path, UNKNOWN, boxes, 375.0, **ROOMS)
    assert left_out(answered) < left_out(advice)
    assert not left_out(answered)
    for choice in answered.choices:
        relieves = any("too heavy together" in why for why in choice.why)
        # what relieves the output is not to be left away to hear whether it hums
        assert not (relieves and any("try first" in why for why in choice.why))


@pytest.mark.long
def test_what_the_volume_never_goes_to_is_not_asked_about(tmp_path: Path) -> None:
    """A telephone call about 17 mA at 16 V, where 0.3 mA flow at the amplifier's full output."""
    boxes = "xlr:1k/leg:0.2V xlr:10k/between:1V:sub"
    advice = ask(tmp_path, UNKNOWN, boxes, None, **ROOMS)
    assert asked(advice) is None
    assert not left_out(advice)
    assert advice.choices[0].attenuator  # against hum
    assert all(o.verdict == "works" for o in advice.sets[0].options)


@pytest.mark.long
def test_a_promise_that_is_not_kept_is_not_made(tmp_path: Path) -> None:
    """Of boxes of unknown circuit a way was said to be opened that the answer took from another."""
    boxes = "xlr:300/leg:2V xlr:1k/between:0.5V"
    advice = ask(tmp_path, UNKNOWN, boxes, None, **ROOMS)
    facts, sources = read_source(tmp_path / "source.toml")
    none = replace(advice, choices=tuple(replace(c, option=None) for c in advice.choices))
    there = changed(together([typed_destination(b, 50.0) for b in boxes.split()]), **ROOMS)
    bare = replace(
        advice,
        choices=tuple(replace(c, why=()) for c in advice.choices),
        would_change=(),
    )

    def by_itself(facts: Any, sources: Any, among: Any) -> Advice:
        return ask_alone(facts, sources, there, Memory(among=among))

    promised = with_asked(bare, facts, sources, by_itself, None)
    assert "minimum-load" in {s.code for s in promised.would_change}
    found = with_asked(bare, facts, sources, by_itself, lambda *_: none)
    # the rule: with the answer nothing has a way, so nothing is promised for it
    assert "minimum-load" not in {s.code for s in found.would_change}
