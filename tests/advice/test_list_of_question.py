"""The list follows the question that is told first, where there are several."""

from __future__ import annotations

from pathlib import Path

from probe.advice.advise import advise, own_leads
from probe.advice.basket import lists
from probe.advice.shelf import TEMPLATE, read_shelf
from probe.advice.source_file import read_source
from probe.advice.typed import changed, typed_destination

PLAYER = """format = "probe-source/1"
single_ended_level_v = 2.0
[device]
output = "line"
connectors = ["rca"]
kind = "CD player"
"""


def test_the_list_begins_with_the_answer_to_the_first_question(tmp_path: Path) -> None:
    """Lost: two isolators under "if so", where that answer takes a plain lead."""
    (tmp_path / "source.toml").write_text(PLAYER, "utf-8")
    (tmp_path / "shelf.toml").write_text(TEMPLATE, "utf-8")
    there = changed(typed_destination("rca:10k:0.5V:max=2.5V", 50.0), ground="3V", cable="1m")
    facts, sources = read_source(tmp_path / "source.toml")
    found = advise(facts, sources, there)
    (choice,) = found.choices
    assert "take the second reading of the meter" in choice.why[0]
    assert "output impedance" in choice.why[1]
    leads = own_leads(facts, sources, there, found)
    (listed,) = lists(found, there, read_shelf(tmp_path / "shelf.toml"), solve=leads.solved).own
    # docs/advice.md: the list of a box begins with what the lead takes that an answer opens; with
    # the reading that is asked for (typed as 3 V, 0.3 mA) it is the plain one
    assert [lead.option for lead in listed.first][:1] == ["rca-to-rca"]


def test_the_answer_about_pin_3_opens_the_lead_that_is_used_with_it(tmp_path: Path) -> None:
    """Lost: two isolators to order after an answer with which the plain XLR lead is used."""
    text = """format = "probe-source/1"
kinds = [{kinds}]
differential_level_v = 1.0
differential_maximum_v = 1.0
[device]
output = "line"
connectors = ["xlr"]
kind = "preamplifier"
"""
    there = typed_destination("xlr:10k/between:2V:difference-amplifier:max=6V", 50.0)
    there = changed(there, ground="0.1mV/0.2ohm", cable="1m")
    (path := tmp_path / "source.toml").write_text(
        text.format(kinds='"differential", "pin-3-unconnected"'), "utf-8"
    )
    found = advise(*read_source(path), there)
    # only half of the level may be lost with it: it is tried before anybody is asked
    (tried, asked) = [s for s in found.would_change if s.box]
    assert (tried.code, tried.answers) == ("lead-first", ("xlr-to-xlr",))
    path.write_text(text.format(kinds='"differential"'), "utf-8")
    # what is used once the answer stands in the file
    (used,) = advise(*read_source(path), there).choices
    assert asked.code == "pin-3"
    assert asked.answers == (used.option,) == ("xlr-to-xlr",)
