"""A lead of the shelf whose shield is better than the usual one: solved where hum is in the way."""

from __future__ import annotations

import json
from math import log10
from pathlib import Path
from typing import Any

import pytest

from probe.advice.advise import advise, only_leads
from probe.advice.destination import together
from probe.advice.model import Advice
from probe.advice.only_lead import OnlyLead, with_only_lead, with_own_leads
from probe.advice.shelf import read_shelf
from probe.advice.source_file import read_source
from probe.advice.typed import changed, typed_destination

TURNTABLE = """format = "probe-source/1"
single_ended_level_v = 0.25
single_ended_impedance_ohm = 600
[device]
output = "line"
connectors = ["rca"]
kind = "turntable with phono stage"
"""


def lead(milliohm: float, stock: int = 5, name: str = "pair") -> str:
    keys: dict[str, Any] = {
        "name": name, "kind": "lead", "from": "rca-male", "to": "rca-male", "length_m": 1.0,
        "wires": ["centre-centre", "shell-shell"], "price": 19.0, "stock": stock, "pieces": 2,
        "capacitance_pf_per_m": 90.0, "shield_milliohm_per_m": milliohm,
        "contact_milliohm": 10.0,
    }  # fmt: skip
    return "\n".join(["[[part]]", *(f"{k} = {json.dumps(v)}" for k, v in keys.items()), ""])


def ask(
    folder: Path, shelf: str, *into: str, source: str = TURNTABLE
) -> tuple[Advice, tuple[OnlyLead, ...]]:  # fmt: skip
    """Return the advice as the command gives it, and the leads that ways have of the shelf."""
    (folder / "source.toml").write_text(source, "utf-8")
    (folder / "shelf.toml").write_text(f'format = "probe-shelf/1"\n{shelf}', "utf-8")
    boxes = [typed_destination(one, 50.0) for one in into or ("rca:47k:0.2V",)]
    there = changed(together(boxes), ground="same-strip", cable="1m")
    facts, sources = read_source(folder / "source.toml")
    first = advise(facts, sources, there)
    held = only_leads(facts, sources, there, first, read_shelf(folder / "shelf.toml"))
    again = advise(facts, sources, with_own_leads(there, held)) if held else first
    return with_only_lead(again, held), held


@pytest.mark.parametrize(("milliohm", "used"), [(20.0, True), (30.0, True), (40.0, False)])
def test_a_lead_with_which_hum_is_quiet_enough_is_used(
    tmp_path: Path, milliohm: float, used: bool
) -> None:
    """Lost: isolators are sold, or a try is asked for, against hum that the lead does not have."""
    advice, held = ask(tmp_path, lead(milliohm))
    (choice,) = advice.choices
    assert (choice.option == "rca-to-rca") is used is bool(held)
    if not used:
        return
    (o,) = [o for o in advice.options if o.option.id == "rca-to-rca"]
    hum = o.figures.hum_below_full_output_db
    assert hum is not None
    # closed form: of 0.2 mV behind 0.2 ohm (docs/advice.md, same strip) shield and contacts take
    # their share, of which 600 ohm leave 47 kohm its part, below 0.2 V
    ohm = (milliohm + 10.0) * 1e-3
    heard = 0.2e-3 * ohm / (0.2 + ohm) * 47.0 / 47.6
    assert hum.value == pytest.approx(20 * log10(0.2 / heard), abs=0.05)
    # closed form: 75 dB are 35.6 uV, on 43.3 mohm; in steps of 5 from what the lead has
    (note,) = [h for h in o.hazards if h.code == "lead-only"]
    assert "at most 40 mohm together" in note.message
    assert choice.why[0].startswith("only with such a lead as pair: 1 m")


def test_what_lies_there_goes_first(tmp_path: Path) -> None:
    shelf = lead(20.0, stock=0, name="away") + lead(30.0, name="here")
    assert "such a lead as here" in ask(tmp_path, shelf)[0].choices[0].why[0]


def test_of_two_boxes_each_has_the_lead_with_which_it_works(tmp_path: Path) -> None:
    advice, held = ask(tmp_path, lead(20.0), "rca:47k:0.2V", "rca:22k:0.19V")
    assert len(held) == 2
    assert [c.option for c in advice.choices] == ["rca-to-rca", "rca-to-rca"]
    # by definition: it works with all plugged in, too
    assert advice.sets
    assert all(o.works for o in advice.sets[0].options)


PLAYER = """format = "probe-source/1"
single_ended_level_v = 2.1
single_ended_impedance_ohm = 50
[device]
output = "line"
connectors = ["rca"]
kind = "{kind}"
{more}
"""


@pytest.mark.parametrize(
    ("source", "milliohm", "padded"),
    [
        (PLAYER.format(kind="DAC", more=""), 20.0, False),
        # closed form: of 50 mohm (40 and 10 of contacts) it is 74.0 dB down, less than the 75
        (PLAYER.format(kind="DAC", more=""), 40.0, True),
        # by definition: 2.1 V that nobody turns down are too much for 1.5 V with any lead
        (PLAYER.format(kind="DAC", more="volume_control = false"), 20.0, True),
    ],
)  # fmt: skip
def test_no_attenuator_is_bought_against_hum_that_the_lead_does_not_have(
    tmp_path: Path, source: str, milliohm: float, padded: bool
) -> None:
    """Lost: 32 EUR of attenuators against 1 dB of hum, beside a lead that has 3 dB less."""
    advice, held = ask(tmp_path, lead(milliohm), "rca:47k:0.2V:max=1.5V", source=source)
    (choice,) = advice.choices
    assert choice.option == "rca-to-rca"
    assert choice.attenuator is padded is not bool(held)
    if padded:
        return
    (o,) = advice.options[:1]
    assert o.used is o
    hum = o.figures.hum_below_full_output_db
    assert hum is not None
    # closed form: of 0.2 mV behind 0.2 ohm (docs/advice.md, same strip) 30 mohm take their share,
    # of which 50 ohm leave 47 kohm all but 0.01 dB
    assert hum.value == pytest.approx(20 * log10(0.2 / (0.2e-3 * 0.03 / 0.23)), abs=0.05)
    # what is too much beside it is a matter of the volume, and is asked about
    assert "volume-control" in {s.code for s in advice.would_change}
    assert choice.why[0].startswith("only with such a lead as pair: 1 m")
    assert choice.why[1].startswith("before anything but the lead is bought, look whether")


def test_of_two_boxes_each_is_spared_its_attenuator(tmp_path: Path) -> None:
    source = PLAYER.format(kind="DAC", more="")
    boxes = "rca:47k:0.2V:max=1.5V", "rca:22k:0.19V:max=1.5V"
    advice, held = ask(tmp_path, lead(20.0), *boxes, source=source)
    assert len(held) == 2
    assert [c.attenuator for c in advice.choices] == [False, False]
    # by definition: each works with all plugged in, too
    assert all(o.works for o in advice.sets[0].options)
