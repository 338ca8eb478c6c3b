"""What asking a maker would open is told where something else is used, if it would win."""

from __future__ import annotations

from pathlib import Path

import pytest

from probe.advice.advise import advise
from probe.advice.model import Advice
from probe.advice.source_file import read_source
from probe.advice.text import render
from probe.advice.typed import changed, typed_destination
from probe.report.leaflet import leaves_of

SHEET = """
format = "probe-source/1"
differential_level_v = 4.4
single_ended_level_v = 2.2
single_ended_impedance_ohm = 75.0
{more}
[device]
maker = "Harrowgate"
model = "Brook"
output = "line"
connectors = ["xlr", "rca"]
minimum_load_ohm = 600.0
"""


def ask(folder: Path, typed: str, more: str = "", ground: str = "same-strip") -> Advice:
    path = folder / "source.toml"
    path.write_text(SHEET.format(more=more), encoding="utf-8")
    there = changed(typed_destination(typed, 50.0), ground=ground)
    return advise(*read_source(path), there)


def ohms_of(advice: Advice) -> tuple[float, str] | None:
    for one in advice.would_change:
        if one.code == "asked-first":
            figure = one.what.partition(": with ")[2].partition(" ohm")[0]
            return float(figure), one.answers[0]
    return None


def test_one_figure_of_the_maker_spares_a_transformer(tmp_path: Path) -> None:
    """A transformer was bought where the plain XLR lead does, for a figure that costs a letter."""
    advice = ask(tmp_path, "xlr:600/between:1V")
    assert advice.chosen == "rca-to-xlr/transformer"
    found = ohms_of(advice)
    assert found is not None
    ohm, option = found
    assert option == "xlr-to-xlr"
    # what is promised is what comes out with that figure in the file, and with a smaller one
    for stated in (ohm, 50.0):
        then = ask(tmp_path, "xlr:600/between:1V", f"differential_impedance_ohm = {stated}")
        assert then.chosen == "xlr-to-xlr"
        # nothing is asked of a figure that is stated
        assert ohms_of(then) is None
    # said in the reasons, and above the choice on the sheet
    assert "before anything is bought, ask the maker" in " ".join(render(advice).split())
    (leaf,) = leaves_of(advice.to_json())
    assert any("ask the maker of Harrowgate Brook" in line for line in leaf.asked)


@pytest.mark.parametrize("typed", ["rca:47k:1.5V", "xlr:20k/leg:1V"])
def test_what_cannot_win_is_not_asked_for(tmp_path: Path, typed: str) -> None:
    advice = ask(tmp_path, typed)
    # the rule: a lead that works is used whatever the impedance of the other output is
    assert advice.chosen in ("rca-to-rca", "xlr-to-xlr")
    assert ohms_of(advice) is None
    (leaf,) = leaves_of(advice.to_json())
    assert leaf.asked == ()
