"""A heavy input behind a sheet with neither impedance nor minimum load: both are asked at once.

A transformer of 60 H was named, 10 dB short of full output, and nobody asked the maker.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from probe.advice.advise import advise
from probe.advice.model import Advice
from probe.advice.source_file import read_source
from probe.advice.typed import changed, typed_destination

SHEET = """
format = "probe-source/1"
differential_level_v = 2.0
single_ended_level_v = 1.0
{more}
[device]
maker = "Corrin"
model = "Pre 4"
output = "line"
connectors = ["xlr", "rca"]
{load}
"""


def ask(folder: Path, more: str = "", load: str = "") -> Advice:
    path = folder / "source.toml"
    path.write_text(SHEET.format(more=more, load=load), "utf-8")
    there = changed(typed_destination("xlr:600/between:2V", 50.0), cable="3m")
    return advise(*read_source(path), there)


@pytest.mark.long
def test_both_figures_are_asked_before_a_transformer_is_named(tmp_path: Path) -> None:
    advice = ask(tmp_path)
    assert advice.chosen is None
    first = advice.choices[0].why[0]
    assert first.startswith("ask the maker of Corrin Pre 4 for the output impedance of the XLR")
    assert "and for the minimum load it allows: with 600 ohm or less xlr-to-xlr works" in first
    (asked,) = [s for s in advice.would_change if s.code == "output-impedance"]
    assert asked.answers == ("xlr-to-xlr",)
    # the rule: with such an answer it is so, at both ends of what was asked
    for ohm in ("1000", "100"):
        both = ask(tmp_path, f"differential_impedance_ohm = {ohm}.0", "minimum_load_ohm = 600.0")
        assert both.chosen == "xlr-to-xlr"


@pytest.mark.long
def test_one_figure_is_asked_where_one_will_do(tmp_path: Path) -> None:
    (asked,) = [
        s for s in ask(tmp_path, load="minimum_load_ohm = 600.0").would_change
        if s.code == "output-impedance"
    ]  # fmt: skip
    assert "minimum load" not in asked.what
