"""Where an isolator is used because a tie would carry too much at a maximum nobody may play.

A desk of +4 dBu with a maximum of +27 dBu got two isolators of 18.5 V to order, and the adapter
for which its output is made lay in the drawer.
"""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from probe.advice.advise import advise
from probe.advice.model import Advice
from probe.advice.source_file import read_source
from probe.advice.typed import changed, typed_destination
from probe.report.leaflet import leaves_of

DESK = """
format = "probe-source/1"
kinds = ["{kind}"]
differential_level_v = 1.228
differential_maximum_v = {most}
differential_impedance_ohm = 50.0
[device]
maker = "Corrin"
model = "Desk 9"
kind = "mixing desk"
output = "line"
connectors = ["xlr"]
"""


def ask(
    folder: Path,
    most: float = 17.4,
    kind: str = "electronically-floating",
    level: str | None = None,
) -> Advice:
    path = folder / "source.toml"
    path.write_text(DESK.format(most=most, kind=kind), "utf-8")
    there = typed_destination("rca:47k:1V", 50.0)
    return advise(*read_source(path), changed(there, ground="same-strip", cable="2m", level=level))


def told(advice: Advice) -> tuple[str, float]:
    (one,) = [s for s in advice.would_change if s.code == "asked-first"]
    found = re.search(r"never turned up beyond ([0-9.]+) V", one.what)
    assert found is not None
    return one.answers[0], float(found[1])


def test_the_cheaper_way_is_named_with_the_level_it_hangs_on(tmp_path: Path) -> None:
    advice = ask(tmp_path)
    assert advice.chosen == "xlr-to-rca/transformer"
    way, volts = told(advice)
    assert way == "xlr-to-rca/pin-3-tied-at-source"
    why = "; ".join(advice.choices[0].why)
    assert "ask the maker of Corrin Desk 9 whether pin 3 may be joined to pin 1" in why
    assert "17.4 V" in why
    # the rule: up to that level it is what is used, and at the maximum it is not
    assert ask(tmp_path, level=f"{volts}V").chosen == way
    assert ask(tmp_path, level="17.4V").chosen == "xlr-to-rca/transformer"
    # the sheet has it above the choice
    (leaf,) = leaves_of(advice.to_json())
    assert any("Before anything is bought, ask the maker of Corrin Desk 9" in s for s in leaf.asked)


def test_nothing_is_asked_where_nothing_hangs_on_it(tmp_path: Path) -> None:
    # the rule: at 2.4 V less than 7 mA peak flow (our judgement), and the adapter is used as it is
    small = ask(tmp_path, 2.4)
    assert small.chosen == "xlr-to-rca/pin-3-tied-at-source"
    # an amplifier on pin 3 is short-circuited at any level: no maker is asked for that
    for advice in (small, ask(tmp_path, kind="differential")):
        assert "asked-first" not in {one.code for one in advice.would_change}


FIXED = """
format = "probe-source/1"
kinds = ["electronically-floating"]
differential_level_v = 4.0
differential_maximum_v = 8.0
differential_impedance_ohm = 200.0
{more}
[device]
maker = "Corrin"
model = "Player 2"
kind = "DAC"
output = "line"
connectors = ["xlr"]
{control}
"""


@pytest.mark.parametrize(
    ("more", "control", "used", "asks"),
    [
        # closed form: 4 V behind 200 ohm are 28 mA peak of a short, 8 V twice that; what hangs on
        # it is which of the two ever comes: of a device nobody can turn up its stated level
        ("", "", "xlr-to-rca/transformer", True),
        ("", "volume_control = false", "xlr-to-rca/pin-3-tied-at-source", False),
        # a maker's yes to all that comes, and to half of it
        ("tied_maximum_v = 8.0", "", "xlr-to-rca/pin-3-tied-at-source", False),
        ("tied_maximum_v = 4.0", "", "xlr-to-rca/transformer", True),
    ],
)
def test_a_tie_is_judged_at_what_comes_and_a_makers_yes_is_typed(
    tmp_path: Path, more: str, control: str, used: str, asks: bool
) -> None:
    path = tmp_path / "source.toml"
    path.write_text(FIXED.format(more=more, control=control), "utf-8")
    there = changed(typed_destination("rca:47k:0.5V", 50.0), ground="same-strip", cable="2m")
    advice = advise(*read_source(path), there)
    assert advice.chosen == used
    assert ("turned up to 8 V" in "; ".join(advice.choices[0].why)) is asks


PREAMPLIFIER = DESK.replace("1.228", "6.0").replace("mixing desk", "{what}")


def of_six_volts(folder: Path, what: str, kind: str, level: str | None = None) -> Advice:
    path = folder / "source.toml"
    path.write_text(PREAMPLIFIER.format(most=12.0, kind=kind, what=what), "utf-8")
    there = changed(typed_destination("rca:47k:1.5V", 50.0), ground="same-strip", cable="2m")
    return advise(*read_source(path), changed(there, level=level))


def test_what_a_preamplifier_is_turned_up_to_is_what_its_amplifier_needs(tmp_path: Path) -> None:
    # lost: the most ordinary of adapters, for 226 in place of 43, with 6 V stated and 1.5 V wanted
    kind = "electronically-floating"
    advice = of_six_volts(tmp_path, "preamplifier", kind)
    assert advice.chosen == "xlr-to-rca/transformer"
    way, volts = told(advice)
    assert way == "xlr-to-rca/pin-3-tied-at-source"
    # the input wants 1.5 V, and more is stated
    assert 1.5 <= volts < 6.0
    # the rule: up to that level it is what is used, and at the stated level it is not
    assert of_six_volts(tmp_path, "preamplifier", kind, f"{volts}V").chosen == way
    assert of_six_volts(tmp_path, "preamplifier", kind, "6V").chosen == "xlr-to-rca/transformer"
    # nothing turns a player down: what it states is what it plays
    assert not asked(of_six_volts(tmp_path, "CD player", kind))


@pytest.mark.long
def test_no_driver_of_its_own_is_tied_at_any_volume(tmp_path: Path) -> None:
    # lost: a driver of pin 3, which works into a short circuit when somebody joins it to pin 1
    for kind in ("differential", "balanced"):
        assert not asked(of_six_volts(tmp_path, "preamplifier", kind))


def asked(advice: Advice) -> list[str]:
    return [s.what for s in advice.would_change if "never turned up" in s.what]


UNSTATED = """
format = "probe-source/1"
kinds = ["electronically-floating"]
differential_level_v = 6.0
differential_impedance_ohm = 100.0
[device]
maker = "Osk"
model = "Tarn"
kind = "{kind}"
output = "line"
connectors = ["xlr"]
minimum_load_ohm = 600.0
"""


def unstated(folder: Path, kind: str, more: str = "") -> Advice:
    path = folder / "source.toml"
    path.write_text(UNSTATED.format(kind=kind).replace("[device]", f"{more}\n[device]"), "utf-8")
    there = changed(typed_destination("rca:22k:1V", 50.0), ground="same-strip", cable="1m")
    return advise(*read_source(path), there)


def test_a_player_that_gives_its_level_is_asked_about_at_that_level(tmp_path: Path) -> None:
    advice = unstated(tmp_path, "CD player")
    assert advice.chosen == "xlr-to-rca/transformer"
    (one,) = [s for s in advice.would_change if s.code == "asked-first"]
    assert "gives undistorted by itself" in one.what
    # it gives its stated level, and nobody turns it down
    assert one.typed == (("tied_maximum_v", 6.0),)
    assert unstated(tmp_path, "CD player", "tied_maximum_v = 6.0").chosen == one.answers[0]


def test_a_level_that_is_turned_down_from_is_asked_about_without_a_maximum(tmp_path: Path) -> None:
    """Lost: two isolators, with no word, for an output whose maker describes the tie."""
    path = tmp_path / "source.toml"
    path.write_text(UNSTATED.format(kind="preamplifier"), "utf-8")
    there = changed(typed_destination("rca:22k:1V", 50.0), ground="same-strip", cable="1m")
    advice = advise(*read_source(path), there)
    assert advice.chosen == "xlr-to-rca/transformer"
    way, volts = told(advice)
    assert way == "xlr-to-rca/pin-3-tied-at-source"
    # the rule: up to that level it is what is used, and the input's full output is within it
    assert 1.0 <= volts < 6.0
    again = advise(*read_source(path), changed(there, level=f"{volts}V"))
    assert again.chosen == way
