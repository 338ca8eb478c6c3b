"""The list follows the question that is told first, where there are several."""

from __future__ import annotations

from pathlib import Path

from probe.advice.advise import advise, own_leads
from probe.advice.basket import baskets
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
    (listed,) = baskets(found, there, read_shelf(tmp_path / "shelf.toml"), solve=leads.solved)
    # docs/advice.md: the list of a box begins with what the lead takes that an answer opens; with
    # the reading that is asked for (typed as 3 V, 0.3 mA) it is the plain one
    assert [lead.option for lead in listed.first][:1] == ["rca-to-rca"]
