"""A lead of which only the hum is not known is tried before isolators are bought.

It harms nothing, costs a tenth of them, and whether it hums is heard at once.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from probe.advice.advise import advise
from probe.advice.model import Advice
from probe.advice.source_file import read_source
from probe.advice.text import render
from probe.advice.typed import changed, typed_destination
from probe.report.leaflet import leaves_of

MIXER = """
format = "probe-source/1"
kinds = ["ground-sensing"]
differential_level_v = 1.228
differential_maximum_v = 8.7
hot_impedance_ohm = 50.0
cold_impedance_ohm = 50.0
[device]
maker = "Quell"
model = "Tally"
kind = "mixer"
output = "line"
connectors = ["xlr"]
"""

TELEVISION = """
format = "probe-source/1"
single_ended_level_v = 0.7
single_ended_impedance_ohm = 600.0
[device]
maker = "Quell"
model = "Pane"
kind = "television"
output = "line"
connectors = ["rca"]
"""


def ask(folder: Path, sheet: str, typed: str, ground: str, cable: str = "15m") -> Advice:
    path = folder / "source.toml"
    path.write_text(sheet, "utf-8")
    there = changed(typed_destination(typed, 50.0), ground=ground, cable=cable)
    return advise(*read_source(path), there)


def tried(advice: Advice) -> list[tuple[str, ...]]:
    return [s.answers for s in advice.would_change if s.code == "lead-first"]


def test_a_sense_input_is_given_what_it_is_made_for_before_isolators_are_bought(
    tmp_path: Path,
) -> None:
    # two isolators of 9.5 V were to be ordered, and that lead was one line of "cannot tell"
    advice = ask(tmp_path, MIXER, "rca:10k:0.775V", "two-rooms")
    assert advice.chosen == "xlr-to-rca/transformer"
    lead = "xlr-to-rca/pin-3-tied-at-destination"
    assert tried(advice) == [(lead,)]
    # the rule: only its hum is not known
    (side,) = [o for o in advice.options if o.option.id == lead]
    assert (side.verdict, side.against) == ("cannot-tell", {"hum"})
    assert not any("just short" in why for why in advice.choices[0].why)
    said = " ".join(render(advice).split())
    assert f"Why try first, before a transformer is bought, {lead}: it harms nothing" in said
    # the limit of "avoid" (docs/advice.md): 75 dB
    assert "75 dB are quiet enough; if it is quiet, nothing else is needed" in said
    (leaf,) = leaves_of(advice.to_json())
    (told,) = leaf.asked
    assert told.startswith("Before a transformer is bought, try this: XLR to RCA: pin 3 on its own")
    # the sheet warns of tying pin 3 just to try it, and must not forbid what it draws
    assert leaf.chosen.startswith("Try first: XLR to RCA: pin 3 on its own conductor")
    assert "3 at the device to shell at the destination" in str(leaf.drawing)
    (never,) = [s for s in leaf.never if "Never join pin 3" in s]
    assert "only where the drawing has it" in never


def test_a_lead_just_short_of_the_limit_is_tried_before_a_large_transformer_is_ordered(
    tmp_path: Path,
) -> None:
    # one of 60 H stood first, for 0.2 dB of figures that nobody read
    advice = ask(tmp_path, TELEVISION, "rca:20k:0.2V:sub", "unearthed")
    assert advice.chosen is None
    assert tried(advice) == [("rca-to-rca",)]
    first, second = advice.choices[0].why[:2]
    assert first.startswith("try first, before a transformer is bought, rca-to-rca")
    assert "two readings of a meter tell, too" in first
    assert "--transformer larch" in second
    (leaf,) = leaves_of(advice.to_json())
    assert leaf.chosen == "Try first: RCA lead, single-ended to single-ended"
    assert any("RCA lead, single-ended to single-ended. It harms nothing" in s for s in leaf.asked)


PLAYER = TELEVISION.replace("0.7", "1.0").replace("600.0", "100.0")


def test_a_lead_that_hums_a_little_by_typical_figures_is_tried_before_isolators_are_bought(
    tmp_path: Path,
) -> None:
    # lost: two isolators for a hum of 72 dB that nobody read or heard
    advice = ask(tmp_path, PLAYER, "rca:47k:0.2V", "same-strip", "1.5m")
    assert advice.chosen == "rca-to-rca/transformer"  # what is chosen is as it was
    assert tried(advice) == [("rca-to-rca",)]
    (side,) = [o for o in advice.options if o.option.id == "rca-to-rca"]
    hum = side.figures.hum_below_full_output_db
    # closed form: 0.2 mV behind 0.2 ohm leave 49.1 uV on 0.065 ohm of shield and contacts, of
    # which 0.2 V are 72.2 dB
    assert hum is not None
    assert hum.value == pytest.approx(72.2, abs=0.2)
    said = " ".join(render(advice).split())
    assert "by typical figures of the situation, short of the 75 dB that are quiet enough" in said
    (leaf,) = leaves_of(advice.to_json())
    assert leaf.chosen == "Try first: RCA lead, single-ended to single-ended"
    # as readings the same figures are sure
    assert tried(ask(tmp_path, PLAYER, "rca:47k:0.2V", "0.2mV/0.2ohm", "1.5m")) == []
    # between outlets far apart it is loud by any figures
    assert tried(ask(tmp_path, PLAYER, "rca:47k:0.2V", "two-rooms", "8m")) == []


@pytest.mark.parametrize(
    ("sheet", "typed", "ground"),
    [
        # the same figures as readings: what they say is sure
        (TELEVISION, "rca:20k:0.2V:sub", "115V/2.2nF"),
        # closed form: 2 V behind 2 ohm and 0.47 ohm of shield are 0.8 A from chassis to chassis
        (MIXER, "rca:10k:0.775V", "2V/2ohm"),
        # an amplifier on pin 3 would work into a short circuit
        (MIXER.replace("ground-sensing", "differential"), "rca:10k:0.775V", "two-rooms"),
        # nothing hums
        (MIXER, "rca:10k:0.775V", "same-strip"),
    ],
)
def test_nothing_is_tried_that_hurts_or_is_known(
    tmp_path: Path, sheet: str, typed: str, ground: str
) -> None:
    assert tried(ask(tmp_path, sheet, typed, ground)) == []


HEAVY = """
format = "probe-source/1"
single_ended_level_v = 2.0
single_ended_maximum_v = 8.0
[device]
model = "Quill"
kind = "preamplifier"
output = "line"
connectors = ["rca"]
{more}
"""


def into_600(folder: Path, more: str) -> Advice:
    return ask(folder, HEAVY.format(more=more), "rca:600:0.5V", "same-strip", "5m")


@pytest.mark.parametrize("least", [300, 600])
def test_more_that_the_maker_allows_takes_no_lead_away(tmp_path: Path, least: int) -> None:
    # an output that drives 600 ohm got nothing, one of which that is not known a lead
    assert into_600(tmp_path, "").chosen == "rca-to-rca"
    advice = into_600(tmp_path, f"minimum_load_ohm = {least}")
    assert advice.chosen == "rca-to-rca"
    assert advice.choices[0].attenuator
    (side,) = [o for o in advice.options if o.option.id == "rca-to-rca"]
    bare, used = side.figures, side.used.figures
    assert bare.hum_below_full_output_db is not None
    # closed form: 0.2 mV behind 0.2 ohm leave 91.9 uV on 0.17 ohm of shield and contacts, of which
    # 600 ohm get all behind an output of 0 ohm, and 600/2800 behind the largest of 2200
    assert bare.hum_below_full_output_db.low == pytest.approx(74.7, abs=0.1)
    assert bare.hum_below_full_output_db.high == pytest.approx(74.7 + 13.4, abs=0.1)
    assert used.hum_below_full_output_db is not None
    assert used.hum_below_full_output_db.low >= 75.0
    assert used.full_output_margin_db is not None
    assert used.full_output_margin_db.low >= 0.0
    # and without the resistor it is tried first
    assert tried(advice) == [("rca-to-rca",)]
    assert advice.choices[0].why[0].startswith("try first, without resistors, rca-to-rca")
    (leaf,) = leaves_of(advice.to_json())
    assert any(s.startswith("Before resistors are put in, try this as it is") for s in leaf.asked)


def test_an_attenuator_that_is_asked_for_takes_no_lead_to_try_away(tmp_path: Path) -> None:
    # lost: with 10 dB asked for nothing was to be tried, and isolators were bought unheard
    path = tmp_path / "source.toml"
    path.write_text(MIXER, "utf-8")
    there = changed(typed_destination("rca:10k:0.775V", 50.0), ground="two-rooms", cable="2m")
    advice = advise(*read_source(path), replace(there, attenuation_db=10.0))
    assert tried(advice) == [("xlr-to-rca/pin-3-tied-at-destination",)]
    said = " ".join(render(advice).split())
    # as asked for
    assert "Why try first, before a transformer is bought, xlr-to-rca/pin-3-tied" in said
    assert "tied-at-destination: with an attenuator of 10.0 dB in its plug it harms nothing" in said
    (leaf,) = leaves_of(advice.to_json())
    assert any(s.startswith("Before a transformer is bought, try this") for s in leaf.asked)


@pytest.mark.long
def test_no_lead_is_tried_without_the_attenuator_that_the_input_needs(tmp_path: Path) -> None:
    # lost: "it harms nothing", of 10 V (20 V turned up) into an input that accepts 2 V
    dac = TELEVISION.replace("0.7", "10.0\nsingle_ended_maximum_v = 20.0").replace(
        'kind = "television"', 'kind = "DAC"').replace(
        "single_ended_impedance_ohm = 600.0\n", "")  # fmt: skip
    advice = ask(tmp_path, dac, "xlr:10k/between:0.5V:max=2V", "computer", "2m")
    assert advice.choices[0].attenuator
    assert tried(advice) == []
    assert "it harms nothing" not in " ".join(render(advice).split())


LOUD_PLAYER = TELEVISION.replace("0.7", "2.0").replace("600.0", "300.0").replace(
    "television", "CD player")  # fmt: skip


@pytest.mark.parametrize(
    ("sensitivity", "ground", "first"),
    [
        ("0.2V", "same-strip", True),  # 74.2 dB: lost were two attenuators for 0.8 dB
        ("0.1V", "same-strip", True),  # 68.2 dB, and 26 dB more than is needed: a volume control
        ("0.2V", "0.2mV/0.2ohm", False),  # as readings the same figures are sure
    ],
)
def test_no_attenuator_is_sold_against_a_hum_nobody_heard(
    tmp_path: Path, sensitivity: str, ground: str, first: bool
) -> None:
    advice = ask(tmp_path, LOUD_PLAYER, f"rca:10k:{sensitivity}", ground, "1m")
    (choice,) = advice.choices
    assert (choice.option, choice.attenuator) == ("rca-to-rca", True)  # what is chosen stays
    (side,) = advice.options[:1]
    hum = side.figures.hum_below_full_output_db
    # closed form: 0.2 mV behind 0.2 ohm leave 40 uV on 0.05 ohm of shield and contacts, of which
    # 10 of 10.3 kohm arrive: 0.2 V are 74.2 dB of it
    assert hum is not None
    assert hum.value == pytest.approx(74.2 + (0.0 if sensitivity == "0.2V" else -6.02), abs=0.1)
    assert tried(advice) == ([("rca-to-rca",)] if first else [])
    (leaf,) = leaves_of(advice.to_json())
    assert leaf.chosen.startswith("Try first: RCA lead") is first
    then = "Only then buy what comes next: RCA lead, single-ended to single-ended, with an attenu"
    assert any(line.startswith(then) for line in leaf.hum) is first


def test_an_attenuator_that_is_asked_for_is_no_guess_about_hum(tmp_path: Path) -> None:
    # lost: "without resistors", of the 10 dB that somebody asked for
    path = tmp_path / "source.toml"
    path.write_text(LOUD_PLAYER, "utf-8")
    there = changed(typed_destination("rca:10k:0.2V", 50.0), ground="same-strip", cable="1m")
    advice = advise(*read_source(path), replace(there, attenuation_db=10.0))
    assert advice.choices[0].attenuator
    assert tried(advice) == []
