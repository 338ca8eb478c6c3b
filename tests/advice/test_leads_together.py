"""Leads that are each too little worse to be told, beside each other: what is told is with all."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from probe.cli.main import main

SHEET = """\
format = "probe-source/1"
kinds = ["transformer"]
floating_winding = true
differential_level_v = 2.0
differential_impedance_ohm = 100
device = { maker = "Ostrey", model = "Quill", connectors = ["xlr"], output = "line" }
"""

BOXES = """\
format = "probe-destination/1"
ground = {{ difference_mv = {millivolt}, source_ohm = 0.2 }}
cable = {{ length_m = 2.0{data} }}
"""

BOX = """
[[input]]
box = "{name}"
connector = "rca"
impedance_ohm = {ohm}
sensitivity_v = 0.9
"""

SHELF = """\
format = "probe-shelf/1"
[[part]]
name = "XR 2 m"
kind = "lead"
from = "xlr-female"
to = "rca-male"
wires = ["2-centre", "1-shell", "3-shell"]
price = 20
stock = 20
length_m = 2.0
capacitance_pf_per_m = 90.0
shield_milliohm_per_m = 50.0
contact_milliohm = 20.0
"""

Asked = Callable[[float, str], dict[str, Any]]


@pytest.fixture
def asked(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> Asked:
    """Return the document of three boxes, with usual leads or with ``data`` of them."""

    def of(millivolt: float, data: str = "") -> dict[str, Any]:
        source, there, shelf = (tmp_path / f"{name}.toml" for name in ("s", "d", "shelf"))
        source.write_text(SHEET)
        boxes = [BOX.format(name=name, ohm=ohm)
                 for name, ohm in (("one", 20e3), ("two", 22e3), ("three", 24e3))]  # fmt: skip
        there.write_text(BOXES.format(millivolt=millivolt, data=data) + "".join(boxes))
        shelf.write_text(SHELF)
        assert main(["advise", str(source), str(there), "--shelf", str(shelf), "--json"]) == 0
        found: dict[str, Any] = json.loads(capsys.readouterr().out)
        return found

    return of


def hum(document: dict[str, Any]) -> list[float]:
    return [o["hum_below_full_output_db"]["value"] for o in document["sets"][0]["options"]]


def test_the_hum_of_a_set_is_with_all_the_leads_that_are_taken(asked: Asked) -> None:
    """Lost: 77.7 dB told of three leads with which it is 76.0, since none by itself makes 1 dB."""
    told = asked(0.4, "")
    # the one lead that the shelf has, for each box
    assert [len(b["parts"]) for b in told["shelf"][:3]] == [1, 1, 1]
    # the same with the data of these leads below [cable]: 2 x 50 and 20 mohm of contacts
    solved = asked(0.4, ", shield_milliohm_per_m = 50.0, contact_milliohm = 20.0, "
                   "capacitance_pf_per_m = 90.0")  # fmt: skip
    assert hum(told) == pytest.approx(hum(solved), abs=0.01)
    (minded,) = [c["message"] for c in told["cautions"] if c["code"] == "together-mind"]
    # what is to be minded of all at once is told with the same leads: the same figures
    assert re.findall(r"hum ([\d.]+) dB", minded)
    assert set(re.findall(r"hum ([\d.]+) dB", minded)) <= {f"{one:.1f}" for one in hum(told)}


@pytest.mark.long
def test_leads_that_hum_too_much_together_are_not_all_taken(asked: Asked) -> None:
    """Lost: three leads sold at 74.6 dB, where 75 are the limit, as 76.3."""
    told = asked(0.47, "")
    assert sum(bool(b["parts"]) for b in told["shelf"][:3]) < 3
    # docs/advice.md: the limit of hum, 75 dB below full output
    assert min(hum(told)) >= 75.0
    # what was refused beside the others is not named as in stock all the same
    assert not any(b["instead"] for b in told["shelf"][:3])
