"""The most a device gives, where its sheet states a maximum beyond its nominal full output.

What is not judged there reaches the customer as a distorting input, or as a transformer that is
too small.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from probe.advice.advise import advise
from probe.advice.destination import read_destination
from probe.advice.model import Advice, OptionAdvice
from probe.advice.source_file import read_source
from probe.advice.typed import changed, typed_destination
from probe.report.gains import gains

DESK = """
format = "probe-source/1"
kinds = ["impedance-balanced"]
differential_level_v = 1.228
differential_maximum_v = 9.76
differential_impedance_ohm = 150.0
[device]
maker = "Corrin"
model = "Desk 12"
output = "line"
connectors = ["xlr"]
"""

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


def test_no_more_is_ordered_than_comes(tmp_path: Path) -> None:
    core = of(ask(tmp_path, STUDIO.format(volts=2.0), "rca:47k:1.5V"), "xlr-to-rca/transformer")
    # 2 V with the 5 % of a sheet are 2.1 V
    assert core.part_needed.volts_at_20_hz == 2.5
    assert core.to_json()["transformer"]["larger_than_meant"] is False


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


@pytest.mark.parametrize("sensitivity", ["1.49", "1.55"])
def test_what_a_leg_accepts_is_held_against_what_the_leg_carries(
    tmp_path: Path, sensitivity: str
) -> None:
    """One amplifier had its balanced input avoided, for an RCA lead with the same overload."""
    source, there = tmp_path / "source.toml", tmp_path / "amplifier.toml"
    source.write_text(BOTH.format(maxima="").replace("4.0", "8.0"), "utf-8")
    there.write_text(
        'format = "probe-destination/1"\nname = "amplifier"\n[[input]]\nconnector = "xlr"\n'
        'circuit = "buffered"\nimpedance_ohm = 10000.0\nimpedance_is = "each-leg"\n'
        f"sensitivity_v = {sensitivity}\nmaximum_per_leg_v = 3.0\n",
        "utf-8",
    )
    used = of(advise(*read_source(source), read_destination(there)), "xlr-to-xlr")
    # closed form: of 1.49 or 1.55 V each leg carries half, 11.7 or 12.1 dB below 3 V; 4 V come
    assert used.verdict in ("use", "works")
    assert "overload" in codes(used)


def test_a_leg_that_carries_all_is_near_to_its_limit(tmp_path: Path) -> None:
    there = tmp_path / "amplifier.toml"
    there.write_text(
        'format = "probe-destination/1"\nname = "amplifier"\n[[input]]\nconnector = "xlr"\n'
        'circuit = "buffered"\nimpedance_ohm = 10000.0\nimpedance_is = "each-leg"\n'
        "sensitivity_v = 1.6\nmaximum_per_leg_v = 3.0\n",
        "utf-8",
    )
    source = tmp_path / "source.toml"
    source.write_text(DESK, "utf-8")
    # of an impedance-balanced output pin 2 carries all: 5.5 dB below 3 V, and 9.76 V may come
    assert (
        of(advise(*read_source(source), read_destination(there)), "xlr-to-xlr").verdict == "avoid"
    )
