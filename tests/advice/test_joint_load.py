"""Several heavy inputs on one output: resistors are sized for what all of them are together."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from probe.advice.advise import advise, ask_together
from probe.advice.destination import together
from probe.advice.model import Advice, OptionAdvice
from probe.advice.source_file import read_source
from probe.advice.text import render
from probe.advice.typed import changed, typed_destination
from probe.advice.use import use_of, uses_of

RCA = {"single_ended_level_v": 2.0, "single_ended_maximum_v": 8.0,
       "single_ended_impedance_ohm": 150.0}  # fmt: skip
XLR = {"differential_level_v": 4.0, "differential_maximum_v": 16.0,
       "differential_impedance_ohm": 200.0}  # fmt: skip
BOTH = {**RCA, **XLR}


def ask(
    folder: Path, into: list[str], least: float | None = None, levels: Any = None,
    solve: Any = ask_together,
) -> Advice:  # fmt: skip
    path = folder / "source.toml"
    given = RCA if levels is None else levels
    said = "".join(f"{k} = {v}\n" for k, v in given.items())
    kinds = 'kinds = ["differential"]\n' if "differential_level_v" in given else ""
    load = "" if least is None else f"minimum_load_ohm = {least}\n"
    path.write_text(f'format = "probe-source/1"\n{said}{kinds}\n[device]\nmodel = "X"\n'
                    f'kind = "preamplifier"\noutput = "line"\n{load}')  # fmt: skip
    there = changed(together([typed_destination(x, 50.0) for x in into]), ground="same-strip")
    found = solve(*read_source(path), there)
    assert isinstance(found, Advice)
    return found


def used(advice: Advice) -> list[OptionAdvice]:
    return [o for o in advice.options if o.verdict == "use"]


def ohm_in_plug(option: OptionAdvice) -> float:
    return 0.0 if option.used.option.pad is None else option.used.option.pad.total_series_ohm


TWO = ["rca:1k:0.5V", "rca:1k:0.5V"]


@pytest.mark.parametrize("least", [1100.0, 1500.0, 2000.0, 3000.0, 5000.0])
def test_two_alike_get_what_makes_both_together_light_enough(tmp_path: Path, least: float) -> None:
    # the user had one of two amplifiers left without a lead because the maker allows more
    advice = ask(tmp_path, TWO, least)
    first, second = used(advice)
    s = ohm_in_plug(first)
    assert s == ohm_in_plug(second) > 0.0
    # closed form: two of S + 1000 ohm side by side, and the next value of E24 above (10 %) of 1.1
    # times what is allowed
    joint = (1000.0 + s) / 2.0
    assert least <= joint <= 1.1 * least + 0.05 * s
    for found in advice.sets[0].options:
        assert found.works_into_ohm == pytest.approx(joint)
        assert found.verdict == "works"
        # closed form: 2 V behind 150 ohm into both, divided by S and 1000 ohm
        level = found.figures.level
        assert level is not None
        expected = 2.0 * joint / (joint + 150.0) * 1000.0 / (1000.0 + s)
        assert level.value == pytest.approx(expected, rel=2e-3)
        margin = found.figures.full_output_margin_db
        assert margin is not None
        assert margin.low >= 0.0


def test_what_is_allowed_has_no_resistor(tmp_path: Path) -> None:
    # closed form: two of 1000 ohm are 500
    assert [ohm_in_plug(o) for o in used(ask(tmp_path, TWO, 500.0))] == [0.0, 0.0]


@pytest.mark.parametrize("light", ["rca:47k:1V", "rca:10k:0.5V:sub"])
def test_the_light_one_keeps_its_bare_lead(tmp_path: Path, light: str) -> None:
    # the user lost the lead of a light box for a few ohm, and then would solder twice
    advice = ask(tmp_path, ["rca:600:0.5V", light], 1300.0)
    heavy, other = used(advice)
    assert ohm_in_plug(other) == 0.0
    ohm = {"rca:47k:1V": 47e3, "rca:10k:0.5V:sub": 10e3}[light]
    # closed form: side by side
    assert 1.0 / (1.0 / (600.0 + ohm_in_plug(heavy)) + 1.0 / ohm) >= 1300.0
    assert not any(c.code == "together-not-all" for c in advice.cautions)


def test_the_screen_says_for_what_the_resistors_are(tmp_path: Path) -> None:
    told = " ".join(render(ask(tmp_path, TWO, 1100.0, solve=advise)).split())
    assert "too heavy together" in told
    # closed form: two of 1000 + 1500 ohm, the next value of E24 above 2 x 1.1 x 1100 - 1000, and
    # two of 1000
    assert "the output works into 1.25 kohm in place of 500 ohm, all plugged in" in told
    assert "Not all of these boxes" not in told
    assert "1.50 kohm in the lead to the centre" in told


def test_what_is_used_is_what_was_solved_together(tmp_path: Path) -> None:
    # the user would solder the resistor of the box by itself, too small for both
    advice = ask(tmp_path, TWO, 3000.0)
    for found in advice.sets[0].options:
        (mine,) = [o for o in used(advice) if o.box == found.box]
        assert mine.attenuator is not None
        assert mine.attenuator.fitted
        assert mine.used.option.pad == found.option.pad
    alone = ask(tmp_path, TWO[:1], 3000.0)
    assert ohm_in_plug(used(alone)[0]) < ohm_in_plug(used(advice)[0])


def test_a_bare_way_and_one_behind_resistors_are_two(tmp_path: Path) -> None:
    advice = ask(tmp_path, TWO[:1], 2100.0)
    (mine,) = used(advice)
    socket = typed_destination(TWO[0], 50.0).inputs[0]
    bare = replace(mine, attenuator=None)
    assert use_of(socket, [mine]) != use_of(socket, [bare])
    assert use_of(socket, [mine]).padded
    assert uses_of([replace(socket, name=mine.socket)], advice, advice.choices[0])[0].padded


SETS = [
    (RCA, TWO),
    (RCA, ["rca:600:0.5V", "rca:10k:0.5V:sub"]),
    (RCA, ["rca:600:0.5V", "rca:47k:1V"]),
    (RCA, ["rca:1k:2V", "rca:1k:0.5V"]),
    (RCA, ["rca:1k:0.5V", "rca:2k:0.5V", "rca:600:0.3V"]),
    (RCA, ["rca:10k:0.5V", "rca:10k:0.5V", "rca:10k:0.5V"]),
    (XLR, ["xlr:600/between:0.5V", "xlr:10k/leg:1V:sub"]),
    (XLR, ["xlr:600/between:0.5V", "xlr:600/between:0.5V", "xlr:1k/leg:2V"]),
    (BOTH, ["rca:600:0.5V", "xlr:600/between:0.5V"]),
    (BOTH, ["rca:600:0.5V", "rca:600:0.5V:sub", "xlr:600/between:0.5V"]),
]
LEAST = [10e3, 5e3, 2e3, 1e3, 600.0, 100.0]


@pytest.mark.parametrize(("levels", "into"), SETS)
@pytest.mark.long
def test_an_output_that_drives_more_never_serves_less(
    tmp_path: Path, levels: dict[str, float], into: list[str]
) -> None:
    # the user got less of the better device; the order is the source: what is allowed at a higher
    # minimum is allowed at a lower one
    served: set[str] = set()
    for least in LEAST:
        advice = ask(tmp_path, into, least, levels)
        now = {c.box for c in advice.choices if c.option is not None}
        assert now >= served, f"{least:g} ohm"
        assert {o.verdict for o in advice.sets[0].options} <= {"works"}
        served = now
    unsaid = ask(tmp_path, into, None, levels)
    assert {c.box for c in unsaid.choices if c.option is not None} <= served


@pytest.mark.long
def test_what_would_help_counts_the_boxes_that_hang_there(tmp_path: Path) -> None:
    # the user bought a line driver of 2 kohm, and with the other box the output worked into 1.5
    advice = ask(tmp_path, ["xlr:600/between:0.5V", "xlr:600/between:3.9V"], 2000.0, XLR,
                 solve=advise)  # fmt: skip
    assert [c.option for c in advice.choices] == ["xlr-to-xlr", None]
    (heavy,) = used(advice)
    # closed form: what is left of 1/2000 S by the two resistors and 600 ohm of the other box
    left = 1.0 / (1.0 / 2000.0 - 1.0 / (600.0 + ohm_in_plug(heavy)))
    settled = next(s for s in advice.would_change if s.code == "line-driver")
    named, unit = settled.what.partition(" with ")[2].split()[:2]
    at_least = float(named) * {"ohm": 1.0, "kohm": 1e3}[unit]
    assert left - 0.5 <= at_least <= 1.01 * left
    # a transformer that is named lifts the input to as much
    for into in settled.what.split("the output works into ")[1:]:
        number, unit = into.split()[:2]
        lifted = float(number) * {"ohm": 1.0, "kohm": 1e3}[unit.rstrip(":")]
        assert lifted >= left


def test_where_the_output_has_no_room_left_the_driver_is_for_all(tmp_path: Path) -> None:
    # closed form: 10 kohm beside nothing are what the maker allows; beside it any input is too much
    advice = ask(tmp_path, ["rca:10k:3.8V", "rca:600:7.4V"], 10e3, solve=advise)
    assert [c.option for c in advice.choices] == ["rca-to-rca", None]
    says = next(s.what for s in advice.would_change if s.code == "line-driver")
    assert says.startswith("for all on that output together a line driver")
    assert "bridging" not in says
    # closed form: 600 ohm and 10 kohm in parallel
    assert "whose maker allows 566 ohm at its output" in says


DAC = """\
format = "probe-source/1"
kinds=["differential"]
differential_level_v = 4.2
single_ended_level_v = 2.1
differential_impedance_ohm = 100.0
single_ended_impedance_ohm = 50.0
[device]
maker = "Hessle"
model = "Tor 2"
kind = "DAC with volume control"
output = "line"
connectors = ["xlr","rca"]
"""


def test_outputs_are_not_crossed_where_straight_does_the_same(tmp_path: Path) -> None:
    # the user bought an adapter and a special lead where a plain XLR lead did
    path = tmp_path / "dac.toml"
    path.write_text(DAC)
    boxes = [typed_destination(x, 50.0) for x in ("rca:47k:1V", "xlr:10k/leg:1V:sub")]
    there = changed(together(boxes), ground="computer")
    advice = ask_together(*read_source(path), there)
    # common practice, no source: each box from the output of its own connector
    assert [c.option for c in advice.choices] == ["rca-to-rca/transformer", "xlr-to-xlr"]
