"""The most a device gives, where its sheet states a maximum beyond its nominal full output.

What is not judged there reaches the customer as a distorting input, or as a transformer that is
too small.
"""

from __future__ import annotations

import math
from pathlib import Path

import pytest

from probe.advice.advise import advise
from probe.advice.model import Advice, OptionAdvice
from probe.advice.source_file import read_source
from probe.advice.text import render
from probe.advice.typed import changed, typed_destination
from probe.report.gains import gains
from tests.advice.sheets import DESK, from_files

BOTH = """
format = "probe-source/1"
kinds = ["differential"]
differential_level_v = 4.0
single_ended_level_v = 2.0
differential_impedance_ohm = 100.0
single_ended_impedance_ohm = 50.0
{maxima}
[device]
output = "line"
connectors = ["xlr", "rca"]
minimum_load_ohm = 600.0
kind = "preamplifier"
"""


def ask(folder: Path, sheet: str, to: str, level: str | None = None) -> Advice:
    path = folder / "source.toml"
    path.write_text(sheet, "utf-8")
    there = changed(typed_destination(to, 50.0), ground="same-strip", cable="1m", level=level)
    return advise(*read_source(path), there)


def of(advice: Advice, option: str) -> OptionAdvice:
    (found,) = [o for o in advice.options if o.option.id == option]
    return found


def codes(option: OptionAdvice) -> set[str]:
    return {h.code for h in option.used.hazards}


def test_the_stated_maximum_overloads(tmp_path: Path) -> None:
    advice = ask(tmp_path, DESK, "rca:47k:0.775V:max=2V")
    used = of(advice, "xlr-to-rca/pin-3-open")
    # closed form: 9.76 V behind 75 ohm into 47 kohm
    assert used.figures.level_at_maximum is not None
    assert used.figures.level_at_maximum.value == pytest.approx(9.744, abs=0.01)
    assert "overload" in codes(used)
    assert used.attenuator is not None
    # closed form: 20 log(9.744 (1 + 5 % of doubt) / 2 V) is 14.2 dB, and no less may be taken off
    assert used.attenuator.attenuation_db >= 14.2
    # the customer hears full output at +4 dBu: it is not soldered in for a maximum
    assert not used.attenuator.fitted
    # closed form: 1.228 V into 47 kohm; what is played is not the maximum
    assert used.figures.level is not None
    assert used.figures.level.value == pytest.approx(1.226, abs=0.002)


def test_the_stated_maximum_reaches_the_core(tmp_path: Path) -> None:
    core = of(ask(tmp_path, DESK, "rca:47k:0.775V"), "xlr-to-rca/transformer")
    # closed form: 9.76 V less what 150 and 60 ohm of winding take before 47 kohm: under 2 %
    assert core.figures.core_20_hz_at_maximum is not None
    assert core.figures.core_20_hz_at_maximum.value == pytest.approx(9.66, abs=0.1)


STUDIO = """
format = "probe-source/1"
kinds = ["transformer-coupled"]
differential_level_v = {volts}
differential_impedance_ohm = 50.0
[device]
output = "line"
connectors = ["xlr"]
"""


@pytest.mark.parametrize("level", [None, "12.3V"])
def test_the_transformer_to_order_stands_what_reaches_it(tmp_path: Path, level: str | None) -> None:
    """A converter has no volume: an isolator of 5 V distorts with it all evening."""
    advice = ask(tmp_path, STUDIO.format(volts=12.3), "rca:47k:1.5V", level=level)
    core = of(advice, "xlr-to-rca/transformer")
    # +24 dBu, 12.3 V, with the 5 % of a sheet are 12.9 V; parts in steps of 0.5 V
    assert core.part_needed.volts_at_20_hz == 13.0
    (told,) = [h.message for h in core.hazards if h.code.startswith("saturation")]
    assert "an ordinary one takes 5 V, so one of 13 V is to be ordered" in told
    assert core.to_json()["transformer"]["larger_than_meant"] is True
    assert not any("distorts" in said for said in gains(core.to_json()))


def test_a_device_that_is_turned_down_needs_no_larger_core(tmp_path: Path) -> None:
    """A core of 8.5 V was ordered, and one of 5 V in stock refused, for what nobody listens to."""
    sheet = BOTH.format(maxima="single_ended_maximum_v = 8.0")
    there = ask(tmp_path, sheet, "rca:47k:1V")
    core = of(there, "rca-to-rca/transformer")
    # the sheet: 1 V is the input's full output, a fifth of what an ordinary core takes
    assert core.part_needed.volts_at_20_hz == 5.0
    (told,) = [h.message for h in core.hazards if h.code.startswith("saturation")]
    assert "clean with the volume of the device set for the input's full output" in told
    # of a converter nobody knows whether it is turned down: 8 V at most, 8.4 V with the 5 % of a
    # sheet; parts in steps of 0.5 V
    other = ask(tmp_path, sheet.replace('"preamplifier"', '"DAC"'), "rca:47k:1V")
    assert of(other, "rca-to-rca/transformer").part_needed.volts_at_20_hz == 8.5


def test_no_more_is_ordered_than_comes(tmp_path: Path) -> None:
    core = of(ask(tmp_path, STUDIO.format(volts=2.0), "rca:47k:1.5V"), "xlr-to-rca/transformer")
    # 2 V with the 5 % of a sheet are 2.1 V
    assert core.part_needed.volts_at_20_hz == 2.5
    assert core.to_json()["transformer"]["larger_than_meant"] is False


def test_a_part_is_not_passed_by_for_a_digit_no_sheet_has(tmp_path: Path) -> None:
    """A core of 5 V in stock was passed by for one of 5.5 V to order, for 5.03 V."""
    core = of(ask(tmp_path, STUDIO.format(volts=4.9), "rca:10k:0.3V"), "xlr-to-rca/transformer")
    most = core.figures.core_20_hz_at_maximum
    assert most is not None
    # common practice, no source: the figures of parts are good to 5 %; a shop is asked for 5 V
    assert 5.0 < most.high < 5.25
    assert core.part_needed.volts_at_20_hz == 5.0
    assert not any(h.code.startswith("saturation") for h in core.hazards)
    # from 5.25 V on it is larger, in steps of half a volt
    large = of(ask(tmp_path, STUDIO.format(volts=5.3), "rca:10k:0.3V"), "xlr-to-rca/transformer")
    assert large.part_needed.volts_at_20_hz == 5.5


def test_the_maximum_may_be_what_is_played(tmp_path: Path) -> None:
    advice = ask(tmp_path, DESK, "rca:47k:0.775V:max=2V", level="9.76V")
    assert "unlikely-level" not in [c.code for c in advice.cautions]
    used = of(advice, advice.choices[0].option or "")
    assert used.attenuator is not None
    assert used.attenuator.fitted
    level = used.used.figures.level_at_maximum
    assert level is not None
    # the input accepts 2 V
    assert level.high <= 2.0
    assert advice.operating == "at the declared 9.76 V"


def test_more_than_the_maximum_is_asked_about(tmp_path: Path) -> None:
    advice = ask(tmp_path, DESK, "rca:47k:0.775V", level="14V")
    (told,) = [c.message for c in advice.cautions if c.code == "unlikely-level"]
    assert "more than the 9.76 V that the device gives at most" in told
    assert advice.operating == "at the device's maximum of 9.76 V"


@pytest.mark.parametrize(
    ("maxima", "single", "pair"),
    [
        ("differential_maximum_v = 16.0\nsingle_ended_maximum_v = 6.0", 6.0, 16.0),
        # what one output has in hand the other may have, too: four times the level, 12 dB
        ("differential_maximum_v = 16.0", 8.0, 16.0),
        ("single_ended_maximum_v = 8.0", 8.0, 16.0),
        # a sheet that states none: its level is the most
        ("", 2.0, 4.0),
    ],
)
def test_each_output_has_its_maximum(
    tmp_path: Path, maxima: str, single: float, pair: float
) -> None:
    advice = ask(tmp_path, BOTH.format(maxima=maxima), "rca:1M:1V+xlr:1M/leg:1V")
    for option, volts in (("rca-to-rca", single), ("xlr-to-xlr", pair)):
        at_most = of(advice, option).figures.level_at_maximum
        assert at_most is not None
        # 1 Mohm behind 100 ohm and less: the open level within 0.02 %
        assert at_most.value == pytest.approx(volts, rel=1e-3)


def test_the_tied_leg_works_at_the_maximum(tmp_path: Path) -> None:
    sheet = BOTH.format(maxima="differential_maximum_v = 16.0")
    tied = of(ask(tmp_path, sheet, "rca:47k:1V"), "xlr-to-rca/pin-3-tied-at-source")
    assert tied.figures.tie_current is not None
    # Ohm's law: 8 V rms of the cold leg behind 50 ohm, 0.226 A peak (and 20 mohm of join)
    assert tied.figures.tie_current.value == pytest.approx(0.226, abs=0.001)


LEG = """
format = "probe-destination/1"
name = "amplifier"
[[input]]
connector = "xlr"
circuit = "buffered"
impedance_ohm = 10000.0
impedance_is = "each-leg"
sensitivity_v = {}
maximum_per_leg_v = 3.0
"""


@pytest.mark.parametrize("sensitivity", ["1.49", "1.55"])
def test_what_a_leg_accepts_is_held_against_what_the_leg_carries(
    tmp_path: Path, sensitivity: str
) -> None:
    """One amplifier had its balanced input avoided, for an RCA lead with the same overload."""
    sheet = BOTH.format(maxima="").replace("4.0", "8.0")
    used = of(from_files(tmp_path, sheet, LEG.format(sensitivity)), "xlr-to-xlr")
    # closed form: of 1.49 or 1.55 V each leg carries half, 11.7 or 12.1 dB below 3 V; 4 V come
    assert used.verdict in ("use", "works")
    assert "overload" in codes(used)


def test_a_leg_that_carries_all_is_near_to_its_limit(tmp_path: Path) -> None:
    used = of(from_files(tmp_path, DESK, LEG.format(1.6)), "xlr-to-xlr")
    # of an impedance-balanced output pin 2 carries all: 5.5 dB below 3 V, and 9.76 V may come
    assert used.against == {"overload"}
    # arithmetic: the sheet's 9.76 V and 5 % against 3 V
    assert used.turn_down_db == pytest.approx(20 * math.log10(9.76 * 1.05 / 3.0), abs=0.1)


LEVELS = """
format = "probe-source/1"
kinds = ["{kind}"]
differential_level_v = {level}
{maximum}
differential_impedance_ohm = 200.0
[device]
kind = "mixing desk"
output = "line"
connectors = ["xlr"]
"""


def sheet(level: float, most: float | None = None, kind: str = "impedance-balanced") -> str:
    maximum = "" if most is None else f"differential_maximum_v = {most}"
    return LEVELS.format(kind=kind, level=level, maximum=maximum)


def margin_of(option: OptionAdvice) -> float:
    margin = option.used.figures.full_output_margin_db
    assert margin is not None
    return margin.value


def test_full_output_is_reached_with_the_faders_up(tmp_path: Path) -> None:
    """A desk with 15 dB in hand was said to leave its amplifier short of full output."""
    used = of(ask(tmp_path, sheet(1.228, 8.7), "xlr:10k/leg:1.4V"), "xlr-to-xlr").used
    # closed form: 20 log(8.7/1.4) is 15.87 dB; 200 ohm before the 10 kohm between the legs of a
    # difference amplifier take 0.17 of them
    assert margin_of(used) == pytest.approx(15.70, abs=0.02)
    assert used.figures.headroom_db is not None
    assert margin_of(used) == pytest.approx(used.figures.headroom_db.value, abs=0.05)
    (said,) = [s for s in gains(used.to_json()) if "its full output" in s]
    assert "reaches its full output with the device turned up to the 8.7 V" in said
    # the level shown is the nominal one: +4 dBu, 1.228 V, into 10 kohm each leg
    assert used.figures.level is not None
    assert used.figures.level.value == pytest.approx(1.216, abs=0.015)


def test_two_resistors_go_before_two_isolators(tmp_path: Path) -> None:
    """The line on which a maximum is typed must not decide whether isolators are bought."""
    for text in (sheet(1.228, 8.7), sheet(8.7)):
        path = tmp_path / "source.toml"
        path.write_text(text, "utf-8")
        there = typed_destination("rca:10k:0.316V:max=2V", 50.0)
        advice = advise(*read_source(path), changed(there, ground="same-strip", cable="5m"))
        used = of(advice, advice.choices[0].option or "")
        assert used.option.pin_3 != "transformer"
        assert used.attenuator is not None
        assert used.attenuator.fitted
        # closed form: 8.7 V are 28.8 dB above 0.316 V; 0.1 dB is lost before 10 kohm
        in_hand = 28.7 - used.attenuator.attenuation_db
        assert margin_of(used) == pytest.approx(in_hand, abs=0.2)
        assert in_hand > 0.0


def test_volume_is_judged_where_the_level_stands(tmp_path: Path) -> None:
    """The headroom of every desk was no excess of level."""
    advice = ask(tmp_path, sheet(1.228, 12.3), "xlr:10k/leg:1.228V")
    # closed form: 12.3 V are 20.0 dB above +4 dBu, which is what the faders stand at
    assert "excess-level" not in codes(of(advice, "xlr-to-xlr"))
    # 20 log(1.228/0.1) is 21.8 dB, more than the 20 dB of common practice
    nominal = ask(tmp_path, sheet(1.228, 12.3), "xlr:10k/leg:0.1V")
    assert "excess-level" in codes(of(nominal, "xlr-to-xlr"))


def test_a_leg_alone_is_turned_up_no_further_than_it_goes(tmp_path: Path) -> None:
    floats = sheet(1.228, 8.7, "electronically-floating")
    tied = of(ask(tmp_path, floats, "rca:47k:1.4V"), "xlr-to-rca/pin-3-tied-at-source")
    # closed form: half of 8.7 V are 4.35 V, 9.85 dB above 1.4 V (0.04 dB lost into 47 kohm)
    assert margin_of(tied) == pytest.approx(9.8, abs=0.1)
    assert tied.figures.full_output_margin_db is not None
    note = "turned up to just below where the device clips"
    assert tied.figures.full_output_margin_db.note == note


def test_an_outputs_own_maximum_is_the_sure_one(tmp_path: Path) -> None:
    pair = BOTH.format(maxima="differential_maximum_v = 16.0")
    advice = ask(tmp_path, pair, "rca:1M:1V+xlr:1M/leg:1V")
    # closed form: 20 log 16; that the RCA goes as far, 8 V, is not said: 20 log 2
    assert margin_of(of(advice, "xlr-to-xlr")) == pytest.approx(24.1, abs=0.1)
    assert margin_of(of(advice, "rca-to-rca")) == pytest.approx(6.0, abs=0.1)


def test_what_is_ever_played_is_the_most(tmp_path: Path) -> None:
    advice = ask(tmp_path, sheet(1.228, 8.7), "xlr:10k/leg:1.4V", level="1V")
    # closed form: 20 log(1/1.4) is -2.92 dB, less the same 0.17 dB
    assert margin_of(of(advice, "xlr-to-xlr")) == pytest.approx(-3.09, abs=0.02)


def test_a_nominal_level_is_not_called_full_output(tmp_path: Path) -> None:
    """Who reads that a desk gives 1.228 V at most looks for another one."""
    advice = ask(tmp_path, sheet(1.228, 8.7), "xlr:10k/leg:1.4V")
    told = " ".join(render(advice).split())
    assert "at the device's nominal level of 1.228 V" in told
    assert "reaches full output turned up to the 8.7 V it gives at most" in told
    assert "full output of 1.228 V" not in told
    # without a maximum beyond it the level typed is the most that is known
    told = " ".join(render(ask(tmp_path, sheet(8.7), "xlr:10k/leg:1.4V")).split())
    assert "at the device's full output of 8.7 V" in told
