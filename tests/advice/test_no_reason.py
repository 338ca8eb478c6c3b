"""What is no reason is not said as one: a tie, and a comparison with a lead nobody may use."""

from __future__ import annotations

from pathlib import Path

import pytest

from probe.advice.advise import advise
from probe.advice.destination import Destination, Input
from probe.advice.model import Advice
from probe.advice.source_file import read_source
from probe.advice.text import render
from probe.advice.typed import changed, typed_destination
from probe.report.leaflet import leaves_of

SHEET = """
format = "probe-source/1"
differential_level_v = {pair}
single_ended_level_v = {single}
differential_impedance_ohm = {pair_ohm}
single_ended_impedance_ohm = 50
device = {{ maker = "Harrowgate", model = "Brook", output = "line", connectors = ["xlr", "rca"] }}
{more}
"""


def ask(folder: Path, there: Destination, **keys: object) -> Advice:
    path = folder / "source.toml"
    path.write_text(SHEET.format(**{"more": "", **keys}), encoding="utf-8")
    return advise(*read_source(path), there)


def test_a_tie_of_level_and_hum_goes_to_what_has_nothing_to_mind(tmp_path: Path) -> None:
    """Lost: a hum close to the loudspeaker, kept since the silent lead is "0.5 dB quieter"."""
    both = (
        Input("rca", "rca", "single-ended", 33e3, sensitivity_volts=1.4),
        Input("xlr", "xlr", "balanced", 20e3, impedance_is="each-leg", sensitivity_volts=2.8),
    )
    there = changed(Destination("amp", both), ground="same-strip", cable="1.5m")
    advice = ask(tmp_path, there, pair=8.0, single=4.0, pair_ohm=100)
    # closed form: twice the volts into half the sensitivity is 0 dB; 0.2 mV over 0.065 of
    # 0.265 ohm is 89.1 dB below 1.4 V: less than a decibel from 90, from where on all are alike
    hums = {o.option.id: o.figures.hum_below_full_output_db for o in advice.options}
    rca = hums["rca-to-rca"]
    assert rca is not None
    assert 89.0 < rca.value < 90.0
    assert advice.chosen == "xlr-to-xlr"
    assert "between 0." not in " ".join(advice.choices[0].why)


@pytest.mark.long
def test_no_loudness_is_told_against_a_lead_that_is_not_to_be_used(tmp_path: Path) -> None:
    """Lost: "between 6.7 dB quieter and 40.9 dB louder" than a lead that perhaps ruins an output"""
    there = changed(typed_destination("xlr:20k/between:1.5V:pin-3-ground", 50.0),
                    ground="same-strip", cable="1.5m")  # fmt: skip
    advice = ask(tmp_path, there, pair=4.4, single=2.2, pair_ohm=150)
    (link,) = [o for o in advice.options if o.option.id == "xlr-to-xlr"]
    assert link.used.verdict not in ("use", "works")
    assert advice.chosen is not None
    assert advice.chosen.startswith("rca-to-xlr/")
    # the rule: what may be louder or quieter than that tells nobody anything
    why = " ".join(" ".join(render(advice).partition("Gives")[0].split()).split("Why")[1:])
    assert "louder" not in why.partition("an isolating")[0]
    (leaf,) = leaves_of(advice.to_json())
    assert not any(line.startswith("Between") for line in leaf.gains)


def test_what_a_figure_is_about_keeps_its_capitals(tmp_path: Path) -> None:
    """Lost: "28 V on the RCA centre (rCA)" on the sheet in the customer's hand."""
    there = changed(typed_destination("rca:47k:1V", 50.0), ground="same-strip")
    advice = ask(tmp_path, there, pair=28.0, single=28.0, pair_ohm=100)
    for leaf in leaves_of(advice.to_json()):
        told = " ".join((*leaf.first, *leaf.asked))
        # common practice, no source: names in capitals have them in the middle of a sentence
        assert "28.0 V" in told
        assert "(rCA" not in told


def test_a_maximum_that_nobody_can_play_is_no_alarm(tmp_path: Path) -> None:
    """Lost: "up to 9.9 dB too much" of a record player's stage that plays 0.4 V."""
    path = tmp_path / "source.toml"
    path.write_text("""
format = "probe-source/1"
single_ended_level_v = 0.4
single_ended_maximum_v = 9.0
single_ended_impedance_ohm = 100
device = { maker = "Lyster", model = "Groove", output = "line", kind = "phono stage" }
""")
    there = changed(typed_destination("rca:47k:0.5V:max=3V", 50.0), ground="same-strip")
    (lead, _) = advise(*read_source(path), there).options
    (says,) = [h.message for h in lead.used.hazards if h.code == "overload"]
    # by hand: 0.4 V play, 3 V are accepted; 9 V are what the stage could give and never does
    assert "too much" not in says
    assert "would be more than the 3 V that the input accepts, and do not come" in says
