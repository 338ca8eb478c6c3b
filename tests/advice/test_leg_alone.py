"""A leg that has to swing the whole level of a player: not used as if it worked, and asked about.

Lost: the tied lead was used, and beside it stood "loud passages would distort: take the isolator",
which the same page avoided for its hum.
"""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from probe.advice.advise import advise, ask_together
from probe.advice.answers import joint
from probe.advice.destination import together
from probe.advice.ground import PRESETS
from probe.advice.model import Advice
from probe.advice.one_leg import TIED_MOST
from probe.advice.source_file import read_source
from probe.advice.text import render
from probe.advice.typed import changed, typed_destination
from probe.report.leaflet import leaves_of

SHEET = """
format = "probe-source/1"
kinds = ["electronically-floating"]
differential_level_v = 4.0
{more}
[device]
maker = "Ostrel"
model = "F"
output = "line"
kind = "network player"
connectors = ["xlr"]
{volume}
"""

RCA, XLR, SUB = "rca:47k:0.5V", "xlr:20k/leg:1.2V", "rca:20k:0.5V:sub"
TIED, ISOLATED = "xlr-to-rca/pin-3-tied-at-source", "xlr-to-rca/transformer"


def ask(
    folder: Path, *into: str, more: str = "", volume: bool | None = False, ground: str,
    level: str | None = None,
) -> Advice:  # fmt: skip
    path = folder / "source.toml"
    stated = "" if volume is None else f"volume_control = {json.dumps(volume)}"
    path.write_text(SHEET.format(more=more, volume=stated), "utf-8")
    there = changed(together([typed_destination(x, 50.0) for x in into]), ground=ground,
                    level=level)  # fmt: skip
    return advise(*read_source(path), there)


def named(advice: Advice) -> list[str | None]:
    return [c.option for c in advice.choices]


@pytest.mark.parametrize("ground", list(PRESETS))
@pytest.mark.parametrize("volume", [True, False, None])
@pytest.mark.parametrize("into", [(RCA,), (XLR, SUB)])
@pytest.mark.long
def test_nothing_is_used_of_which_the_page_says_that_something_else_is_taken(
    tmp_path: Path, ground: str, volume: bool | None, into: tuple[str, ...]
) -> None:
    found = ask(tmp_path, *into, volume=volume, ground=ground)
    used = [o for o in found.options if o.verdict == "use"]
    for o in (*used, *(o for one in found.sets[:1] for o in one.options)):
        assert "clips-played" not in {h.code for h in o.hazards}
        assert not [h for h in o.hazards if "take xlr-to" in h.message]
    # by hand: 4 V between the legs are 2 V on each, and pin 2 alone has to swing 4 V
    tied = [o for o in found.options if o.option.id == TIED]
    assert tied
    if volume is False:
        assert {o.verdict for o in tied} <= {"cannot-tell", "avoid"}
    elif volume is None and any(o.verdict == "use" for o in tied):
        assert [s for s in found.would_change if s.code == "volume-control"]


def test_what_one_leg_gives_is_asked_where_nothing_else_does(tmp_path: Path) -> None:
    found = ask(tmp_path, RCA, ground="earthed-and-unearthed")
    assert named(found) == [None]
    assert found.choices[0].best == TIED
    (asked,) = [s for s in found.would_change if s.code == "leg-alone"]
    # by hand: all of the 4 V between the legs stand on the one that is not tied
    assert "by itself, with pin 3 joined to pin 1: with 4 V or more" in asked.what
    assert asked.answers == (TIED,)
    assert asked.what in " ".join(render(found).split())
    (leaf,) = leaves_of(found.to_json())
    assert leaf.chosen == "Not yet: ask the maker of the device for one figure first"
    assert any("undistorted by itself, with pin 3 joined to pin 1" in why for why in leaf.why)
    # the same program with the answer in the file
    again = ask(tmp_path, RCA, more="tied_maximum_v = 4.0", ground="earthed-and-unearthed")
    assert named(again) == [TIED]
    (used,) = [o for o in again.options if o.verdict == "use"]
    assert not used.hazards
    # by hand: 3 V are less than the 4 V that are played, by 20 log 4/3 = 2.5 dB
    short = ask(tmp_path, RCA, more="tied_maximum_v = 3.0", ground="earthed-and-unearthed")
    (tied,) = [o for o in short.options if o.option.id == TIED]
    assert tied.verdict == "avoid"
    assert "from about 3.0 V on" in tied.reasons[0]
    assert not [s for s in short.would_change if s.code == "leg-alone"]
    turned = ask(tmp_path, RCA, more="tied_maximum_v = 3.0\ndifferential_impedance_ohm = 80",
                 volume=True, ground="earthed-and-unearthed")  # fmt: skip
    (used,) = [o for o in turned.options if o.verdict == "use"]
    (mind,) = [h.message for h in used.hazards]
    assert "keep the device's own volume 3 dB below full or lower" in mind


@pytest.mark.parametrize(("level", "needed"), [(None, "4 V"), ("3V", "3 V")])
@pytest.mark.parametrize("into", [(RCA,), (XLR, SUB)])
@pytest.mark.long
def test_what_one_leg_gives_is_asked_before_an_isolator_is_bought(
    tmp_path: Path, into: tuple[str, ...], level: str | None, needed: str
) -> None:
    found = ask(tmp_path, *into, ground="same-strip", level=level)
    box = found.choices[-1].box
    assert named(found)[-1] == ISOLATED
    (asked,) = [s for s in found.would_change if (s.code, s.box) == ("asked-first", box)]
    assert f"joined to pin 1: with {needed} or more" in asked.what
    assert asked.answers == (TIED,)
    # the same program with the answer in the file, and with a little less
    volts = float(needed.split()[0])
    again = ask(tmp_path, *into, more=f"tied_maximum_v = {volts}", ground="same-strip", level=level)
    assert named(again)[-1] == TIED
    less = ask(tmp_path, *into, more=f"tied_maximum_v = {0.8 * volts}", ground="same-strip",
               level=level)  # fmt: skip
    assert named(less)[-1] == ISOLATED


def test_a_stated_maximum_tells_that_the_leg_clips(tmp_path: Path) -> None:
    found = ask(tmp_path, RCA, more="differential_maximum_v = 4.4", ground="same-strip")
    (tied,) = [o for o in found.options if o.option.id == TIED]
    # by hand: half of 4.4 V on a leg, of the 4 V that are played
    assert tied.verdict == "avoid"
    assert "from about 2.2 V on" in tied.reasons[0]
    assert named(found) == [ISOLATED]


def test_what_one_leg_gives_it_gives_to_all_on_the_output(tmp_path: Path) -> None:
    more = "differential_impedance_ohm = 80\ntied_maximum_v = 4.0"
    (path := tmp_path / "source.toml").write_text(SHEET.format(more=more, volume=""), "utf-8")
    there = changed(together([typed_destination(x, 50.0) for x in (XLR, SUB)]), ground="20mV")
    found = ask_together(*read_source(path), there)
    # by hand: pin 2 has 4 V to give and 4 V are played
    assert not [h for one in found.sets[:1] for o in one.options for h in o.hazards
                if h.code.startswith("clips")]  # fmt: skip
    # by definition: of two figures that are asked for the larger one serves both
    assert joint([((TIED_MOST, 3.0),), ((TIED_MOST, 4.0),)]) == ((TIED_MOST, 4.0),)
