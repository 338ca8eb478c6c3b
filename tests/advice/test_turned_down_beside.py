"""How far a device's own volume stays down: one figure, whichever boxes are plugged in."""

from __future__ import annotations

import math
import re
from pathlib import Path

import pytest

from probe.advice.advise import advise
from probe.advice.destination import together
from probe.advice.source_file import read_source
from probe.advice.typed import changed, typed_destination
from probe.report.leaflet import leaves_of

SHEET = """
format = "probe-source/1"
kinds = ["differential"]
differential_level_v = 4.2
differential_impedance_ohm = 100
[device]
maker = "Ostrey"
model = "Quern"
kind = "preamplifier"
output = "line"
connectors = ["xlr"]
"""


@pytest.mark.long
def test_the_sheet_has_one_figure_of_how_far_to_turn_down(tmp_path: Path) -> None:
    """Lost: 4.9 dB at the head of the sheet and 4.7 four lines on, and with the subwoofer pulled
    the input overloaded."""
    path = tmp_path / "source.toml"
    path.write_text(SHEET, "utf-8")
    boxes = ("xlr:10k/leg:0.8V:max=2.5V", "xlr:2k/leg:1V:sub")
    held = [changed(typed_destination(box, 50.0), cable="1m") for box in boxes]
    advice = advise(*read_source(path), together(held))
    # closed form: 4.2 V and 5 % over 2 x 40 ohm (the least that 20 % less can be) beside 20 kohm,
    # 2.5 V allowed: 4.9 dB; with 4 kohm more beside it 4.7
    most = 20.0 * math.log10(4.2 * 1.05 * 20e3 / 20.08e3 / 2.5)
    expected = f"{math.ceil(10.0 * most) / 10.0:.1f}"
    assert expected == "4.9"
    leaf = leaves_of(advice.to_json())[0]
    told = {
        place: set(re.findall(r"keep the volume (\d+\.\d) dB or more below", str(what)))
        for place, what in (("alone", advice.options), ("beside", advice.sets), ("sheet", leaf))
    }
    assert told == {place: {expected} for place in ("alone", "beside", "sheet")}
