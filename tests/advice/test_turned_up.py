"""Devices without a volume control: what they state is what comes, and their maximum never does.

Who is told that a record deck fills his amplifier "turned up" buys a pad, or nothing, and it stays
too quiet for good.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from probe.advice.advise import advise
from probe.advice.destination import Destination, Input
from probe.advice.model import Advice, OptionAdvice
from probe.advice.source_file import read_source
from probe.advice.text import render
from probe.advice.typed import changed, typed_destination
from probe.advice.volume import volume_of
from probe.advice.way_parts import may_overload
from probe.report.gains import gains
from probe.report.leaflet import leaves_of
from tests.advice.stages import facts, symmetrical

SHEET = """
format = "probe-source/1"
single_ended_level_v = {level}
single_ended_maximum_v = {most}
single_ended_impedance_ohm = 100.0
[device]
{kind}
output = "line"
connectors = ["rca"]
"""


def ask(folder: Path, kind: str, to: str, level: float = 2.0, most: float = 6.0) -> Advice:
    path = folder / "source.toml"
    said = f'kind = "{kind}"' if kind else ""
    path.write_text(SHEET.format(level=level, most=most, kind=said), "utf-8")
    return advise(
        *read_source(path),
        changed(typed_destination(to, 50.0), ground="same-strip", cable="2m"),
    )


def lead(advice: Advice, id_: str = "rca-to-rca") -> OptionAdvice:
    (found,) = [o for o in advice.options if o.option.id == id_]
    return found


@pytest.mark.parametrize(
    ("kind", "volume"),
    [
        # common practice, no source: what of these has a volume control
        ("CD player", "none"),
        ("tuner", "none"),
        ("phono preamplifier", "none"),
        ("phono stage", "none"),
        ("phono and line preamplifier", "own"),
        ("line and phono preamplifier", "own"),
        ("preamplifier without phono stage, with volume", "own"),
        ("CD player, variable output, no remote", "own"),
        ("CD player with fixed and variable outputs", "own"),
        ("CD player without a variable output", "none"),
        ("fixed installation mixer", "own"),
        ("DAC with fixed level", "none"),
        ("record player with built-in preamplifier", "none"),
        ("turntable", "none"),
        ("cassette deck", "none"),
        ("television", "none"),
        ("DAC with fixed output", "none"),
        ("DAC without volume control", "none"),
        ("DAC with volume control", "own"),
        ("CD player with variable output", "own"),
        ("preamplifier", "own"),
        ("valve preamplifier with phono input", "own"),
        ("mixing desk", "own"),
        ("preamplifier with tuner", "own"),
        ("AV receiver", "own"),
        ("satellite receiver", "unknown"),
        ("portable player", "unknown"),
        ("network player", "unknown"),
        ("portable music player", "unknown"),
        ("network player with fixed output", "none"),
        ("CD player with network streaming", "none"),
        ("Super Audio CD player", "none"),
        ("CD player with headphone amplifier", "unknown"),
        ("DAC", "unknown"),
        ("streamer", "unknown"),
        ("", "unknown"),
    ],
)
def test_what_a_kind_says_of_its_volume(kind: str, volume: str) -> None:
    assert volume_of(kind) == volume


def test_a_player_is_not_turned_up(tmp_path: Path) -> None:
    advice = ask(tmp_path, "CD player", "rca:47k:3V")
    margin = lead(advice).used.figures.full_output_margin_db
    assert margin is not None
    # closed form: 20 log(2 x 47000/47100 / 3) is -3.54 dB, less or more by 5 % of a sheet
    assert margin.value == pytest.approx(-3.54, abs=0.02)
    assert margin.high < 0.0
    assert "turned up" not in render(advice)


def test_a_desk_is_turned_up(tmp_path: Path) -> None:
    margin = lead(ask(tmp_path, "mixing desk", "rca:47k:3V")).used.figures.full_output_margin_db
    assert margin is not None
    # closed form: 20 log(6 x 47000/47100 / 3) is 6.00 dB
    assert margin.value == pytest.approx(6.0, abs=0.02)


@pytest.mark.parametrize("kind", ["", "DAC", "portable player"])
def test_of_what_may_have_a_volume_control_nothing_is_promised(tmp_path: Path, kind: str) -> None:
    advice = ask(tmp_path, kind, "rca:47k:3V")
    used = lead(advice).used
    margin = used.figures.full_output_margin_db
    assert margin is not None
    # closed form, as above: with 5 % of a sheet 3.98 dB short where it stays, 6.4 dB over turned up
    assert (margin.low, margin.high) == pytest.approx((-3.98, 6.44), abs=0.05)
    told = " ".join(render(advice).split())
    assert (
        "up to 4.0 dB short of full output, which is reached only if the device has a volume"
        in told
    )
    (said,) = [s for s in gains(used.to_json()) if "its full output" in s]
    assert "stays up to 4.0 dB short of its full output: reached only if the device has" in said
    # nothing hangs on it where the level does by itself
    assert "volume control, turned up" not in render(ask(tmp_path, kind, "rca:47k:1V"))


def test_no_pad_makes_a_phono_stage_too_quiet(tmp_path: Path) -> None:
    """14 dB of resistors against hum were fitted, and left it 14 dB short for ever."""
    advice = ask(tmp_path, "phono preamplifier", "rca:47k:0.3V:speaker=100dB", 0.3, 9.0)
    assert not any(o.attenuator is not None and o.attenuator.fitted for o in advice.options)
    margin = lead(advice).used.figures.full_output_margin_db
    assert margin is not None
    # closed form: 0.3 V behind 100 ohm into 47 kohm: -0.02 dB
    assert margin.value == pytest.approx(-0.02, abs=0.01)


def test_nothing_is_bought_for_a_maximum_nobody_turns_up_to(tmp_path: Path) -> None:
    advice = ask(tmp_path, "CD player", "rca:47k:1V:max=2.5V")
    used = lead(advice)
    (told,) = [h for h in used.used.hazards if h.code == "overload"]
    # 6 V into an input that accepts 2.5 V is told, and a pad of it would cost full output
    assert told.assumed
    assert "no volume control" in told.message
    assert used.attenuator is None
    # nor does a list or a sheet have a pad "against the overload" for it
    assert not may_overload(advice, advice.choices[0])
    core = lead(advice, "rca-to-rca/transformer")
    # 2 V with the 5 % of a sheet are 2.1 V; parts in steps of 0.5 V
    assert core.part_needed.volts_at_20_hz == 2.5
    assert not any(h.code.startswith("saturation") for h in core.used.hazards)


def test_what_a_player_plays_may_be_too_much(tmp_path: Path) -> None:
    tight = lead(ask(tmp_path, "CD player", "rca:47k:0.5V:max=1.2V", 3.0))
    (told,) = [h for h in tight.hazards if h.code == "overload"]
    assert "put an attenuator before it" in told.message
    assert tight.attenuator is not None
    assert tight.attenuator.fitted  # nobody can turn it down
    # closed form: 20 log(3 x 1.05 / 1.2) is 8.4 dB; of the 6 V nobody plays it would be 14.4 dB
    assert 8.4 <= tight.attenuator.attenuation_db < 10.0


def test_the_sheet_of_a_player_that_cannot_overload_does_not_say_that_it_can(
    tmp_path: Path,
) -> None:
    """Lost: a customer told of an overload that the part in his plug has cured."""
    fitted = ask(tmp_path, "CD player", "rca:47k:1V:max=1.5V", most=8.0)
    # 2 V into an input that accepts 1.5 V: the pad is in the plug, and nothing turns it up
    assert fitted.choices[0].attenuator
    (leaf,) = leaves_of(fitted.to_json())
    assert not any("can overload" in line for line in leaf.before)
    # the same of a maximum beyond the input where what is played is not, and no pad is there
    (leaf,) = leaves_of(ask(tmp_path, "CD player", "rca:47k:1V:max=2.5V").to_json())
    assert not any("can overload" in line for line in leaf.before)
    # a preamplifier is turned up: there it stays at the head
    (leaf,) = leaves_of(ask(tmp_path, "preamplifier", "rca:47k:1V:max=2.5V").to_json())
    assert leaf.before[0].startswith("The output can overload this input: ")


def test_an_output_is_turned_up_to_its_own_volts(tmp_path: Path) -> None:
    """An RCA output of at most 8 V was "turned up to the 16 V it gives at most"."""
    path = tmp_path / "both.toml"
    path.write_text(
        'format = "probe-source/1"\ndifferential_level_v = 2.0\nsingle_ended_level_v = 1.0\n'
        "differential_maximum_v = 16.0\nsingle_ended_maximum_v = 8.0\n"
        "differential_impedance_ohm = 200.0\nsingle_ended_impedance_ohm = 100.0\n[device]\n"
        'kind = "preamplifier"\noutput = "line"\nconnectors = ["xlr", "rca"]\n',
        "utf-8",
    )
    margin = lead(advise(*read_source(path), typed_destination("rca:47k:1.5V", 50.0)))
    told = margin.used.figures.full_output_margin_db
    assert told is not None
    # the sheet: 8 V of the RCA output
    assert told.note == "turned up to the 8 V it gives at most"


@pytest.mark.parametrize(
    ("kind", "promised"), [("phono preamplifier", False), ("preamplifier", True)]
)
def test_where_a_measured_phono_stage_clips_is_not_what_it_plays(
    kind: str,
    promised: bool,
) -> None:
    """Its maximum, found with a generator at its input, passed for its level."""
    document = facts(
        "unbalanced", connectors=("rca",), device={"kind": kind},
        values={"single_ended_maximum": {"value": 9.0, "unit": "V", "u95": 0.1}},
    )  # fmt: skip
    socket = Input("rca", "rca", "single-ended", 47e3, sensitivity_volts=3.0)
    advice = advise(document, {"left": symmetrical()}, Destination("amp", (socket,)))
    used = lead(advice).used
    # closed form: 9 V into an input of 3 V, 9.5 dB over: of a preamplifier a turn of the volume
    assert (used.figures.full_output_margin_db is not None) == promised
    # the rule: what it may do to an input is judged at its maximum all the same
    most = used.figures.level_at_maximum
    assert most is not None
    assert most.value == pytest.approx(9.0, rel=0.01)
