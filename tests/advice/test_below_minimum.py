"""All on an output together below what its maker states, though above half: what helps is named.

Two inputs of 10 kohm on an output for 10 kohm stood under "To mind" without a word of what to do,
though the boxes had 9 dB to spare.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from probe.advice.advise import advise
from probe.advice.basket import lists
from probe.advice.destination import together
from probe.advice.model import Advice, OptionAdvice
from probe.advice.shelf import read_shelf
from probe.advice.source_file import read_source
from probe.advice.text import render
from probe.advice.typed import changed, typed_destination
from probe.report.leaflet import leaves_of

SHEET = """
format = "probe-source/1"
single_ended_level_v = {level}
single_ended_maximum_v = {most}
single_ended_impedance_ohm = {own}
[device]
maker = "Fenwick"
model = "Alder"
kind = "preamplifier"
output = "line"
connectors = ["rca"]
minimum_load_ohm = {least}
"""


def ask(folder: Path, into: list[str], least: float, *, ground: Any = None,
        level: Any = 1.0, most: Any = 6.0, own: Any = 150.0,
        pads: tuple[float, ...] = (), cable: Any = "1m") -> Advice:  # fmt: skip
    path = folder / "source.toml"
    path.write_text(SHEET.format(level=level, most=most, own=own, least=least), "utf-8")
    there = together([typed_destination(one, 50.0) for one in into])
    there = replace(there, pads_at_hand=tuple(("rca", db) for db in pads))
    return advise(*read_source(path), changed(there, ground=ground, cable=cable))


def helps(advice: Advice) -> str:
    (told,) = [c.message for c in advice.cautions if c.code == "together-load"]
    return told


def test_resistors_that_bring_it_to_the_minimum_are_named(tmp_path: Path) -> None:
    advice = ask(tmp_path, ["rca:10k:1V", "rca:10k:1V"], 10e3)
    told = helps(advice)
    # closed form: 10k || 10k are 5k; each of 20k, so 10k before each, make it 10k;
    # (20 + 0.15 * 2) / (10 + 0.15 * 2) and half of that behind them: 5.96 dB
    assert "Against the 5 kohm together on the RCA output" in told
    assert "10.0 kohm in the lead to the centre (6.0 dB) in the plugs at" in told
    assert "it is 10 kohm, and every box still reaches full output" in told
    assert "or ask its maker whether 5 kohm are allowed" in told
    # only named: what is used is the plain lead as before
    assert {(c.option, c.attenuator) for c in advice.choices} == {("rca-to-rca", False)}
    assert "Against the 5 kohm together" in " ".join(render(advice).split())


def test_as_few_plugs_as_may_do(tmp_path: Path) -> None:
    """Behind attenuators against hum two boxes are light; the third is what loads the output."""
    advice = ask(tmp_path, ["rca:10000:0.1V", "rca:2000:0.2V:sub", "rca:1000:1V"], 1e3,
                 ground="same-strip", level=4.0, most=4.0, own=50.0)  # fmt: skip
    told = helps(advice)
    # closed form: 8.87k + (825 || 10k) = 9.63k, 8.45k + (6.98k || 2k) = 10.0k and 1k are 831 ohm;
    # 1 / (1/1000 - 1/9632 - 1/10004) = 1256, so 256 ohm before the third, 270 of E24, which take
    # 20 log(1.32 / 1.05) = 2.0 dB of its 11.5 dB
    assert "Against the 831 ohm together" in told
    assert "with 270 ohm in the lead to the centre (2.0 dB) in the plug at rca:1000:1V" in told
    assert "in the plugs at" not in told


@pytest.mark.parametrize("most", [1.0, 1.9])
def test_without_level_to_spare_the_maker_is_asked(tmp_path: Path, most: float) -> None:
    # closed form: 6.0 dB are needed; 1 V (0 dB) or 1.9 V (5.6 dB) into an input of 1 V spare less
    told = helps(ask(tmp_path, ["rca:10k:1V", "rca:10k:1V"], 10e3, most=most))
    assert "ask its maker whether 5 kohm are allowed; else fewer boxes on it at once" in told
    assert "a line driver with 10 kohm or more at its input" in told
    assert "resistor" not in told
    assert "in the lead to" not in told


def test_no_more_than_a_turn_of_the_volume_is_given_away(tmp_path: Path) -> None:
    two = ["rca:2k:0.2V", "rca:10k:0.2V"]
    # closed form: 1 / (1/2800 - 1/10k) = 3889, so 1.89k before the 2 kohm, 2.0k of E24, which take
    # 20 log(4.15 / 2.15) = 5.7 dB
    told = helps(ask(tmp_path, two, 2800.0))
    assert "with 2.00 kohm in the lead to the centre (5.7 dB) in the plug at rca:2k:0.2V" in told
    # closed form: 1 / (1/3200 - 1/10k) = 4706 would take 7.1 dB before it, and 9.7 in both plugs
    assert "at least: ask its maker" in helps(ask(tmp_path, two, 3200.0))


HEAVY = ["rca:10000:0.1V", "rca:1000:0.1V"]


def seen_ohm(option: OptionAdvice, load: float) -> float:
    pad = option.used.option.pad
    assert pad is not None
    # closed form: the series resistor, and behind it the shunt beside the input
    return pad.series_ohm + 1.0 / (1.0 / pad.shunt_ohm + 1.0 / load)


def test_pads_that_are_there_anyway_are_made_of_more_ohms(tmp_path: Path) -> None:
    """Two pads against hum, each of 10 kohm, were 4.9 kohm on an output for 5 kohm."""
    of: dict[str, Any] = {"ground": "same-strip", "level": 4.0, "most": 8.0, "own": 300.0}
    light = ask(tmp_path, HEAVY, 1000.0, **of)
    advice = ask(tmp_path, HEAVY, 5e3, **of)
    used = [o for o in advice.options if o.verdict == "use"]
    # closed form: in parallel no less than the 5 kohm that are stated
    assert 1.0 / sum(1.0 / seen_ohm(o, z) for o, z in zip(used, (1e4, 1e3), strict=True)) >= 5e3
    assert "together-load" not in {c.code for c in advice.cautions}
    # with as much attenuation as before, within what preferred values come to
    for now, before in zip(used, (o for o in light.options if o.verdict == "use"), strict=True):
        assert now.attenuator is not None
        assert before.attenuator is not None
        assert now.attenuator.attenuation_db == pytest.approx(
            before.attenuator.attenuation_db, abs=0.2
        )
        # the others draw less now: full output as before, or better
        assert now.used.figures.full_output_margin_db is not None
        assert now.used.figures.full_output_margin_db.low > 0.0
    assert all(c.attenuator for c in advice.choices)
    # what it is for stays its reason: it is not put in against the load
    assert not any("too heavy together" in why for c in advice.choices for why in c.why)


SHELF = """
format = "probe-shelf/1"
currency = "EUR"
[[part]]
name = "RCA attenuator {of:g} dB"
kind = "attenuator"
from = "rca-female"
to = "rca-male"
attenuation_db = {of}
price = 14.0
stock = 6
"""


def test_no_ready_made_one_is_taken_for_them(tmp_path: Path) -> None:
    into = changed(together([typed_destination(one, 50.0) for one in HEAVY]), ground="same-strip")
    of: dict[str, Any] = {"ground": "same-strip", "level": 4.0, "most": 8.0, "own": 300.0}
    path = tmp_path / "shelf.toml"
    path.write_text(SHELF.format(of=22.0), "utf-8")
    for least, taken in ((1000.0, True), (5000.0, False)):
        first, *_ = lists(ask(tmp_path, HEAVY, least, **of), into, read_shelf(path)).own
        assert bool(first.taken) == taken


@pytest.mark.parametrize(
    ("least", "takes", "ohm"),
    [
        # the pad of the shelf, of 10 kohm by itself, with 30 kohm are 7.5 kohm: enough here
        (7e3, 6.0, 10e3),
        # 15 kohm with 30 are 10; 3 dB before 20 kohm are up to 1.41 * 20.2 - 0.2 = 28.3 kohm
        (10e3, 3.0, 15e3),
        # 30 kohm with 30 are 15, which 3 dB do not come to, and 6 dB do: 2.00 * 20.2 - 0.2 = 40
        (14.9e3, 6.0, 29.6e3),
    ],
)
def test_one_that_is_made_takes_off_no_more_than_is_needed(
    tmp_path: Path, least: float, takes: float, ohm: float
) -> None:
    """Lost: "3 dB would do, on the shelf are 6", and a pad of 6 dB to be made by hand."""
    advice = ask(tmp_path, ["rca:30k:1V", "rca:20k:0.3V:sub"], least, ground="same-strip",
                 level=2.0, most=8.0, own=200.0, pads=(6.0,), cable="3m")  # fmt: skip
    (sub,) = [o for o in advice.options if o.verdict == "use" and o.role == "subwoofer"]
    assert sub.attenuator is not None
    assert sub.attenuator.attenuation_db == pytest.approx(takes, abs=0.1)
    # closed form: above
    assert ohm * 0.97 <= seen_ohm(sub, 20e3) <= ohm * 1.2
    assert ("on the shelf are 6" in sub.attenuator.why) == (takes == 6.0)
    assert "together-load" not in {c.code for c in advice.cautions}


def test_the_sheet_of_each_box_says_what_helps(tmp_path: Path) -> None:
    advice = ask(tmp_path, ["rca:10k:1V", "rca:10k:1V"], 10e3)
    for leaf in leaves_of(advice.to_json()):
        told = [line for line in leaf.before if line.startswith("Against the 5")]
        assert len(told) == 1
        assert "and every box still reaches full output" in told[0]
        assert "rca:" not in told[0]


def test_nothing_is_said_where_the_minimum_is_met(tmp_path: Path) -> None:
    codes = {c.code for c in ask(tmp_path, ["rca:10k:1V", "rca:10k:1V"], 5e3).cautions}
    assert "together-load" not in codes


def test_it_is_told_too_where_something_else_is_not_settled(tmp_path: Path) -> None:
    """Lost: 996 ohm on an output for 1000, told in the middle of what is not settled."""
    advice = ask(tmp_path, ["rca:1900:4.3V", "rca:1900:4.3V"], 1e3, level=5.0, most=5.0, own=50.0)
    # closed form: 91 ohm (E24) before each are as much as full output allows; half of 1991 ohm.
    # 5 V peak into 50 + 995.5 are 6.76 mA, with 5 % more beyond the 7 mA that are the limit
    assert {o.verdict for o in advice.sets[0].options} == {"cannot-tell"}
    assert "Against the 996 ohm together on the RCA output, whose maker states 1 kohm" in helps(
        advice
    )


@pytest.mark.parametrize(("needs", "told"), [(0.93, True), (0.85, False)])
def test_full_output_that_is_lost_by_little_to_the_others_is_told(
    tmp_path: Path, needs: float, told: bool
) -> None:
    """Lost: "reaches full output" of a box that with the other one plugged in does not."""
    into = [f"rca:10k:{needs}V", "rca:10k:0.5V"]
    advice = ask(tmp_path, into, 1e3, level=1.0, most=1.0, own=200.0)
    alone = next(o.figures for o in advice.options if o.option.id == "rca-to-rca")
    together = advice.sets[0].options[0].figures
    assert alone.full_output_margin_db is not None
    assert together.full_output_margin_db is not None
    # closed form: 1 V behind 200 ohm into 10 kohm are 0.980 V, into 5 kohm 0.962 (0.17 dB less);
    # less 5 % of sheet and 0.4 (0.8) % of impedance 0.931 and 0.913 V
    assert alone.full_output_margin_db.low > 0.0
    assert (together.full_output_margin_db.low < 0.0) == told
    assert {c.option for c in advice.choices} == {"rca-to-rca"}  # nothing is bought for that
    says = "level -0.17 dB by the other leads, up to 0.2 dB short of full output then"
    assert (says in " ".join(render(advice).split())) == told
