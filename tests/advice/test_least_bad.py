"""Where nothing can be used the way that is named is none whose hum may be loud, if it can be."""

from __future__ import annotations

from pathlib import Path

import pytest

from probe.advice.advise import advise
from probe.advice.choose import choose
from probe.advice.source_file import read_source
from probe.advice.typed import changed, typed_destination

SHEET = """
format = "probe-source/1"
kinds = ["balanced"]
differential_level_v = 3.0
differential_impedance_ohm = 120.0
[device]
maker = "Ostrel"
model = "X"
kind = "preamplifier"
output = "line"
connectors = ["xlr"]
"""

OPEN, ISOLATED = "xlr-to-rca/pin-3-open", "xlr-to-rca/transformer"


def test_the_least_bad_is_none_whose_hum_may_be_loud(tmp_path: Path) -> None:
    """Lost: 47 EUR for a lead "if it turns out to do", which hums at 28 dB with nearly every kind.

    An isolator stands beside it, which at worst loses the signal and harms nothing.
    """
    source = tmp_path / "source.toml"
    source.write_text(SHEET, "utf-8")
    place = changed(typed_destination("rca:20k:0.5V:sub", 50.0), ground="two-rooms", cable="8m")
    advice = advise(*read_source(source), place)
    assert advice.chosen is None
    ways = {o.option.id: o for o in advice.options}
    heard = {way: ways[way].figures.hum_heard for way in (OPEN, ISOLATED)}
    hum = ways[OPEN].figures.hum_below_full_output_db
    assert hum is not None
    # closed form: 100 mV over 260 of 1260 mohm (8 m of 30 mohm, two contacts of 10, 1 ohm of the
    # ground path) are 20.6 mV: 27.7 dB below 0.5 V; of a winding it may be quiet
    assert hum.low == pytest.approx(27.7, abs=0.1)
    assert heard[OPEN] is not None
    assert heard[ISOLATED] is not None
    assert (heard[OPEN].best, heard[OPEN].worst) != ("loud", "loud")
    assert (heard[OPEN].worst, heard[ISOLATED].worst) == ("loud", "not")
    assert advice.choices[0].best == ISOLATED
    # where there is no other its hum is said with it
    (alone,) = choose([o for o in advice.options if o.option.id != ISOLATED], place)
    assert alone.best == OPEN
    (least,) = [why for why in alone.why if why.startswith("least bad")]
    assert "below half the balanced level" in least
    assert "hum 27.7 to 43.2 dB below full output: loud enough to disturb the music" in least
