"""Resistors and a splitter are not bought where another way on the free output serves as well."""

from __future__ import annotations

from pathlib import Path

import pytest

from probe.advice.advise import advise
from probe.advice.destination import together
from probe.advice.model import Advice
from probe.advice.source_file import read_source
from probe.advice.typed import changed, typed_destination

SHEET = """
format = "probe-source/1"
kinds = ["impedance-balanced"]
differential_level_v = 2
differential_impedance_ohm = 1200
single_ended_level_v = 4
single_ended_impedance_ohm = 50
separate_outputs = true
[device]
maker = "Wexcombe"
model = "Ockley"
output = "line"
connectors = ["xlr", "rca"]
kind = "DAC"
volume_control = true
minimum_load_ohm = {least}
"""

AMPLIFIER, SUB = "rca:2000ohm:0.2V:max=0.6V", "xlr:600ohm/leg:2V:buffered:mismatch=1%:max=6V:sub"


def ask(folder: Path, least: float) -> Advice:
    path = folder / "source.toml"
    path.write_text(SHEET.format(least=least), "utf-8")
    there = together([typed_destination(x, 50.0) for x in (AMPLIFIER, SUB)])
    return advise(*read_source(path), changed(there, ground="100mV/1ohm", cable="1m"))


@pytest.mark.long
def test_each_box_has_a_socket_of_its_own(tmp_path: Path) -> None:
    """Lost: a splitter and resistors of 23 and 4 dB, for an output left free."""
    advice = ask(tmp_path, 2000.0)
    best = {o.box: o for o in advice.sets[0].options}
    # by definition: two outputs for two boxes need no splitter
    assert {o.option.from_ for o in best.values()} == {"xlr", "rca"}
    # closed form: the inputs alone, of the XLR one between its legs
    assert [o.works_into_ohm for o in best.values()] == [2000.0, 1200.0]
    assert all(o.option.pad is None or not o.option.pad.in_series for o in best.values())
    for o in best.values():
        margin = o.figures.full_output_margin_db
        assert margin is not None
        assert margin.low >= 0.0


@pytest.mark.long
def test_resistors_stay_where_they_leave_nothing_to_be_minded(tmp_path: Path) -> None:
    """Lost: a load below what the maker allows, where resistors bring it above that."""
    held = ask(tmp_path, 1900.0).sets[0].options
    # by the rule: the way on the free output has 1 kohm on each leg to be asked about
    assert all("load" not in {h.code for h in o.hazards} for o in held)
    for o in held:
        assert o.works_into_ohm is not None
        assert o.works_into_ohm >= 1900.0


def test_no_splitter_is_spared_for_full_output(tmp_path: Path) -> None:
    """Lost: loudspeakers on the RCA output, half as loud and short of their full output."""
    path = tmp_path / "source.toml"
    path.write_text(
        'format = "probe-source/1"\nkinds = ["differential"]\ndifferential_level_v = 4.0\n'
        'single_ended_level_v = 2.0\n[device]\nmaker = "Quell"\nmodel = "Rowan"\n'
        'output = "line"\nconnectors = ["xlr", "rca"]\nkind = "player"\nvolume_control = true\n',
        "utf-8",
    )
    into = ("xlr:10k/leg:1.5V", "rca:20k:0.5V:sub+xlr:20k/leg:1V:sub")
    there = together([typed_destination(one, 50.0) for one in into])
    advice = advise(*read_source(path), changed(there, ground="same-strip", cable="5m"))
    # the sheet: 2 V behind what nobody states, into what wants 1.5 V, may fall short of it
    assert advice.choices[0].option == "xlr-to-xlr"
    (buys,) = [c.message for c in advice.cautions if c.code == "splitter-buys"]
    assert "xlr:10k/leg:1.5V stays short of full output" in buys
