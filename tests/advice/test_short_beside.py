"""A box that just misses full output by itself misses it by more beside heavier ones: by how much.

Screen, sheet and JSON say the same.
"""

from __future__ import annotations

from math import log10
from pathlib import Path

import pytest

from probe.advice.advise import advise
from probe.advice.destination import together
from probe.advice.source_file import read_source
from probe.advice.text import render
from probe.advice.typed import changed, typed_destination
from probe.report.gains import gains

SHEET = """
format = "probe-source/1"
single_ended_level_v = 3.0
single_ended_impedance_ohm = 1000
[device]
maker = "Wexcombe"
model = "Ockley"
output = "line"
connectors = ["rca"]
volume_control = false
minimum_load_ohm = 600
"""

LIGHT, HEAVY = "rca:20k:3V", "rca:1000ohm:3V:sub"


def full_output_db(load_ohm: float) -> float:
    """Return decibels above 3 V of 3 V behind 1 kohm into a load (closed form)."""
    return 20.0 * log10(load_ohm / (load_ohm + 1000.0))


def test_the_screen_says_how_short_a_set_leaves_a_box(tmp_path: Path) -> None:
    """The user read 0.4 dB short, and the amplifier was 6.4 dB short with all plugged in."""
    path = tmp_path / "source.toml"
    path.write_text(SHEET, "utf-8")
    boxes = [typed_destination(x, 50.0) for x in (LIGHT, HEAVY)]
    advice = advise(*read_source(path), changed(together(boxes), ground="same-strip"))
    alone, both = full_output_db(20e3), full_output_db(1.0 / (1.0 / 20e3 + 1.0 / 1e3))
    told = " ".join(render(advice).split())
    own = told[told.index(f"USE ({LIGHT})") : told.index(f"USE ({HEAVY})")]
    by_itself, beside = own.split("with all plugged in:")
    # closed form, above: 3 V behind 1 kohm into 20 kohm, and into both of them
    assert f"{-alone:.1f} dB (" in by_itself
    assert f"{-both:.1f} dB (" in beside.split(" short of full output then")[0]
    margin = next(o for o in advice.sets[0].options if o.box == LIGHT).figures.full_output_margin_db
    assert margin is not None
    assert margin.value == pytest.approx(both, abs=0.05)
    # by definition: the sheet has the ends that stand on the screen
    ends = f"{-margin.high:.1f} to {-margin.low:.1f}"
    assert f"({ends}) short of full output then" in beside
    figures = {"low": margin.low, "high": margin.high, "value": margin.value}
    assert f"stays {ends} dB short" in " ".join(gains({"full_output_margin_db": figures}))


def test_a_set_that_changes_nothing_is_not_said_to_miss_more(tmp_path: Path) -> None:
    path = tmp_path / "source.toml"
    path.write_text(SHEET.replace("= 1000\n", "= 100\n"), "utf-8")
    boxes = [typed_destination(x, 50.0) for x in ("rca:20k:4V", "rca:1M:1V:sub")]
    advice = advise(*read_source(path), changed(together(boxes), ground="same-strip"))
    told = " ".join(render(advice).split())
    # closed form: 1 Mohm beside 20 kohm takes 0.001 dB; 3 V are 2.5 dB below 4 V with or without
    assert "short of full output" in told
    assert "short of full output then" not in told
