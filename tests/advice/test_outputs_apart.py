"""Whether the outputs of a typed device share a resistor: where it decides, the maker is asked."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from probe.advice.advise import advise
from probe.advice.destination import Destination, together
from probe.advice.ground import of_preset
from probe.advice.model import Advice
from probe.advice.noise import DeviceNoise, Noise, noise_of
from probe.advice.note import Note
from probe.advice.outputs_apart import with_outputs_apart
from probe.advice.source_file import read_source
from probe.advice.typed import changed, typed_destination
from probe.report.leaflet import leaves_of

CODE = "outputs-shared"

SHEET = """
format = "probe-source/1"
kinds = ["differential"]
differential_level_v = 4.4
single_ended_level_v = 2.2
differential_impedance_ohm = 150.0
single_ended_impedance_ohm = 75.0
{more}
[device]
maker = "Harrowgate"
connectors = ["xlr", "rca"]
"""


def asked(folder: Path, more: str = "", sub: str = "rca:20k:0.3V:sub") -> Advice:
    path = folder / "source.toml"
    path.write_text(SHEET.format(more=more), "utf-8")
    boxes = [
        changed(typed_destination(text, 50.0), ground="computer", cable="10m")
        for text in ("xlr:10k/leg:1.2V:difference-amplifier", sub)
    ]
    return advise(*read_source(path), together(boxes))


def hum_of_sub(advice: Advice, output: str = "") -> float:
    """Return the hum of the best set, or of the first with the subwoofer on an output."""
    ways = [o for one in advice.sets for o in one.options if "sub" in o.box]
    found = next(o for o in ways if output in ("", o.option.from_))
    hum = found.figures.hum_below_full_output_db
    assert hum is not None
    return hum.low


def test_the_question_that_decides_is_asked(tmp_path: Path) -> None:
    """An engineer asked why the subwoofer may hum, and found no answer and no question."""
    advice = asked(tmp_path)
    ground = of_preset("computer")
    assert ground.difference_volts is not None
    assert ground.ohm is not None
    shield = 0.34  # ten metres of 30 mohm and two contacts of 20
    volts = ground.difference_volts * shield / (shield + ground.ohm)
    # closed form: through 10 kohm of a leg into 75 ohm that pin 2 and the RCA centre share, and a
    # fifth more that a data sheet is wrong by
    heard = volts / 10e3 * 75.0
    expected = 20.0 * math.log10(0.3 / heard)
    assert hum_of_sub(advice, "rca") == pytest.approx(expected, abs=2.0)
    # so that set is not the one to use
    assert hum_of_sub(advice) > expected + 10.0
    (note,) = [c.message for c in advice.cautions if c.code == CODE]
    assert "ask the maker of Harrowgate" in note
    assert "rca:20k:0.3V:sub: rca-to-rca/transformer, hum more than 120 dB" in note
    for leaf in leaves_of(advice.to_json()):
        assert any("ask its maker" in line for line in leaf.before)


def test_the_answer_of_the_maker_is_taken(tmp_path: Path) -> None:
    advice = asked(tmp_path, "separate_outputs = true")
    assert hum_of_sub(advice) > 120.0
    assert CODE not in {c.code for c in advice.cautions}


def test_nothing_is_asked_where_it_decides_nothing(tmp_path: Path) -> None:
    near = asked(tmp_path, sub="rca:20k:3V:sub")
    assert CODE not in {c.code for c in near.cautions} or hum_of_sub(near) < 90.0


PREAMPLIFIER = """
format = "probe-source/1"
kinds = ["differential"]
differential_level_v = 2.0
single_ended_level_v = 1.0
differential_maximum_v = 14.0
single_ended_maximum_v = 7.0
differential_impedance_ohm = 100.0
single_ended_impedance_ohm = 50.0
{more}
[device]
kind = "preamplifier"
connectors = ["xlr", "rca"]
"""


LIVING_ROOM = ("rca:47k:1V", "same-strip", "1m")
KITCHEN = ("rca:47k:1V", "two-rooms", "14m")
STUDY = ("xlr:10k/leg:0.775V:max=6V", "30mV/22mV/1ohm", "9m")


def house(folder: Path, *rooms: tuple[str, str, str], more: str = "") -> tuple[Destination, Path]:
    """What stands in each room: box, ground, cable."""
    path = folder / "source.toml"
    path.write_text(PREAMPLIFIER.format(more=more), "utf-8")
    boxes = [
        changed(typed_destination(text, 50.0), ground=ground, cable=cable)
        for text, ground, cable in rooms
    ]
    return together(boxes), path


@pytest.mark.long
def test_decibels_that_change_nothing_are_not_asked_for(tmp_path: Path) -> None:
    """The customer's sheet had a letter to the maker and new sheets in it, for the same lead."""
    there, path = house(tmp_path, LIVING_ROOM, STUDY)
    facts, sources = read_source(path)
    advice = advise(facts, sources, there)
    hums = []

    def whole(facts: Any, sources: Any) -> Advice:
        again = advise(facts, sources, there)
        for one in (advice, again):
            side = next(o for o in one.sets[0].options if o.box.startswith("rca"))
            assert side.option.id == "rca-to-rca"
            assert [h.code for h in side.hazards] == ["hum"]
            assert side.figures.hum_below_full_output_db is not None
            hums.append(side.figures.hum_below_full_output_db.low)
        return again

    # as where a third box makes them go together
    minded = replace(advice, cautions=(*advice.cautions, Note("together", "")))
    found = with_outputs_apart(minded, facts, whole)
    # the rule: all of 75 to 90 dB may be heard close to the loudspeaker
    assert 75.0 < hums[0] < hums[1] - 3.0 < 87.0
    assert CODE not in {c.code for c in found.cautions}


@pytest.mark.long
def test_an_answer_that_spares_no_part_is_not_asked_for(tmp_path: Path) -> None:
    """The customer's sheet had new sheets to be made for the isolator that was on it already."""
    there, path = house(tmp_path, LIVING_ROOM, KITCHEN, STUDY)
    found = advise(*read_source(path), there)
    there, path = house(tmp_path, LIVING_ROOM, KITCHEN, STUDY, more="separate_outputs = true")
    answered = advise(*read_source(path), there)
    used = [[c.option for c in one.choices] for one in (found, answered)]
    # the rule: only hum that may be heard close to the loudspeaker goes with the answer
    assert used[0] == used[1] == ["rca-to-rca", "rca-to-rca/transformer", "xlr-to-xlr"]
    assert CODE not in {c.code for c in found.cautions}


@pytest.mark.parametrize(
    ("then", "gains"),
    # the rule: one isolator is one isolator, whichever box has it
    [(("rca-to-rca", "rca-to-rca/transformer"), False), (("rca-to-rca", "rca-to-rca"), True)],
)
@pytest.mark.long
def test_an_isolator_that_moves_to_another_box_is_no_gain(
    tmp_path: Path, then: tuple[str, str], gains: bool
) -> None:
    """A maker was asked, and the other amplifier had the isolator then."""
    there, path = house(tmp_path, LIVING_ROOM, KITCHEN)
    facts, sources = read_source(path)
    advice = advise(facts, sources, there)

    def using(*ways: str) -> Advice:
        held = zip(advice.choices, ways, strict=True)
        return replace(advice, choices=tuple(replace(c, option=way) for c, way in held))

    now = using("rca-to-rca/transformer", "rca-to-rca")
    doubted = replace(now, cautions=(Note("together-mind", ""),))
    found = with_outputs_apart(doubted, facts, lambda *_: using(*then))
    assert (CODE in {c.code for c in found.cautions}) is gains


def beside_an_xlr_box(folder: Path) -> Advice:
    noise = "differential_noise_a_v = 3e-6\nsingle_ended_noise_a_v = 2e-6"
    path = folder / "source.toml"
    path.write_text(SHEET.format(more=noise), "utf-8")
    boxes = [
        changed(typed_destination(text, 50.0), ground="same-strip", cable="2m")
        for text in ("xlr:20k/leg:1V", "rca:47k:0.775V")
    ]
    return advise(*read_source(path), together(boxes))


@pytest.mark.long
def test_hiss_is_known_beside_another_box(tmp_path: Path) -> None:
    """A customer read that nothing is known of hiss, which the screen had."""
    advice = beside_an_xlr_box(tmp_path)
    (found,) = [o for o in advice.sets[0].options if o.box.startswith("rca")]
    assert found.option.id == "rca-to-rca"
    below = found.figures.noise_below_full_output_db
    assert below is not None
    # closed form: 0.775 V over the 2 uV of the RCA; what pin 2 adds through a shared resistor of 75
    # ohm into 20 kohm is 48 dB down, and the lead takes next to nothing
    assert below.value == pytest.approx(20.0 * math.log10(0.775 / 2e-6), abs=0.05)


def heard(shares: dict[str, complex], noise: dict[str, float]) -> Noise | None:
    """The noise of a solved connection that hears so much of each open-circuit voltage."""
    response: Any = SimpleNamespace(weights={k: np.array([v]) for k, v in shares.items()})
    facts = {f"{k}_noise_a": {"value": v, "u95": 0.0} for k, v in noise.items()}
    (socket,) = typed_destination("rca:47k:1V", 50.0).inputs
    return noise_of(response, socket, DeviceNoise.of(facts))


SHEETS = {"single_ended": 4e-6, "differential": 4e-6}


def test_hiss_beside_a_heavy_input_is_a_range() -> None:
    """A customer read that nothing is known of hiss where a thousandth of it is not."""
    # a resistor of 50 ohm that pin 2 and the RCA centre share, of which a leg works into 300 ohm
    share = 50.0 / 350.0
    found = heard({"difference": share / 2.0, "mean": share, "single-ended": 1.0}, SHEETS)
    assert found is not None
    # closed form: a leg makes nothing to all that both make between them, so that its share's
    # square comes on top of the 4 uV or does not
    assert found.volts.low == pytest.approx(4e-6, rel=1e-3)
    assert found.volts.high == pytest.approx(4e-6 * math.hypot(1.0, share), rel=1e-3)


@pytest.mark.parametrize(
    ("share", "known"),
    # closed form: 1 dB is 26 % more power; half of the volts are 25 %, six tenths 36
    [(0.5, True), (0.6, False)],
)
def test_what_may_decide_is_not_told_as_a_range(share: float, known: bool) -> None:
    found = heard({"difference": share / 2.0, "mean": share, "single-ended": 1.0}, SHEETS)
    assert (found is not None) is known


def test_a_leg_alone_of_which_nothing_is_stated_stays_unknown() -> None:
    # pin 2 by itself: the noise between the legs says nothing of it
    assert heard({"difference": 0.5, "mean": 1.0}, {"differential": 4e-6}) is None


def test_the_isolator_goes_into_the_lead_that_is_there(tmp_path: Path) -> None:
    """A customer bought an RCA isolator from the sheet, and an XLR one had been calculated."""
    cures = [c for c in beside_an_xlr_box(tmp_path).cures if c.box.startswith("rca")]
    # the rule: of two that leave less than anybody can check, the one between the same sockets
    assert [c.option for c in cures] == ["rca-to-rca/transformer"]
