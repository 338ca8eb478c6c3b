"""What a device without a volume control plays, where its output may be of several kinds.

What is missed here reaches the customer as a pad too small for what comes, or as no answer at all.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from probe.advice.advise import advise
from probe.advice.model import Advice, OptionAdvice
from probe.advice.source_file import read_source
from probe.advice.typed import changed, typed_destination
from probe.decibels import db_to_ratio

PLAYER = """
format = "probe-source/1"
differential_level_v = 4.0
{more}
[device]
kind = "CD player"
output = "line"
connectors = ["xlr"]
"""

TWO_KINDS = """
differential_impedance_ohm = 100.0
kinds = ["differential", "impedance-balanced"]
"""


def ask(folder: Path, to: str, more: str = "") -> Advice:
    path = folder / "source.toml"
    path.write_text(PLAYER.format(more=more), "utf-8")
    there = changed(typed_destination(to, 50.0), ground="same-strip", cable="1m")
    return advise(*read_source(path), there)


def of(advice: Advice, option: str) -> OptionAdvice:
    (found,) = [o for o in advice.options if o.option.id == option]
    return found


@pytest.mark.parametrize("accepts", [1.2, 2.0, 3.0, 3.9, 4.0, 4.1])
@pytest.mark.long
def test_the_pad_takes_off_what_the_strongest_kind_plays(tmp_path: Path, accepts: float) -> None:
    """Sized by the least of one kind and the most of another it let 10 dB too much through."""
    for option in ask(tmp_path, f"rca:47k:1V:max={accepts}V").options:
        played = option.figures.most_played
        assert played is not None
        # closed form: impedance-balanced pin 2 carries all 4 V, with the 5 % of a sheet 4.2 V, and
        # a lead takes nothing of it; a transformer takes some per cent
        assert played.high == pytest.approx(4.2, rel=0.01)
        if option.attenuator is None:  # less than 1 dB is not worth a soldering iron
            assert accepts >= 3.9
            continue
        # Ohm's law: 4.2 V fall to what the input accepts; behind the plug at most that much comes
        fall = db_to_ratio(option.attenuator.attenuation_db)
        assert played.high / fall <= 1.01 * accepts


def test_a_pad_in_a_lead_goes_before_a_transformer(tmp_path: Path) -> None:
    """A transformer was bought where two resistors in a stock lead do."""
    advice = ask(tmp_path, "rca:47k:0.5V:max=1.5V", TWO_KINDS)
    assert advice.choices[0].option == "xlr-to-rca/pin-3-open"
    used = of(advice, "xlr-to-rca/pin-3-open")
    assert used.attenuator is not None
    assert used.attenuator.fitted
    level = used.used.figures.level
    assert level is not None
    # closed form: 20 log(4.2 V / 1.5 V) is 8.9 dB; 2.0 V of a driven pair and 4.0 V of an
    # impedance-balanced output, each 5 % off, fall by 10 dB to 0.60 and 1.33 V
    assert level.low == pytest.approx(0.60, abs=0.02)
    assert level.high == pytest.approx(1.33, abs=0.03)
