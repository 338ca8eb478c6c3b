"""A heavy input: the current it draws is judged, its maker asked, and nothing bought on a guess."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from probe.advice.advise import advise
from probe.advice.destination import Destination
from probe.advice.model import Advice, OptionAdvice
from probe.advice.source_file import read_source
from probe.advice.text import render
from probe.advice.typed import typed_destination
from probe.facts.refused import drawn_currents
from probe.report.leaflet import leaves_of
from tests.advice.stages import cross_coupled, facts, symmetrical

HEAVY = "xlr:600/between:4.4V:transformer"
"""It needs all that 5.2 V give it: no resistor in the plug can spare the output anything."""

STUDIO = {"differential_level_v": 5.2, "differential_impedance_ohm": 100.0}
RADIO = {"single_ended_level_v": 2.0, "single_ended_impedance_ohm": 100.0}


def destination(words: str, **more: Any) -> Destination:
    found = typed_destination(words, 50.0)
    return replace(found, inputs=tuple(replace(s, **more) for s in found.inputs))


def typed(
    folder: Path, into: str, least: float | None = None, kinds: str = "", **levels: float
) -> Advice:
    path = folder / "source.toml"
    said = "".join(f"{key} = {value}\n" for key, value in levels.items())
    load = "" if least is None else f"minimum_load_ohm = {least}\n"
    path.write_text(f'format = "probe-source/1"\n{said}{kinds}\n[device]\nmodel = "X"\n'
                    f'output = "line"\n{load}')  # fmt: skip
    document, sources = read_source(path)
    return advise(document, sources, destination(into))


def way(advice: Advice, id_: str) -> OptionAdvice:
    return next(o for o in advice.options if o.option.id == id_)


def codes(option: OptionAdvice) -> set[str]:
    return {h.code for h in option.hazards}


DRIVEN = 'kinds = ["differential"]\n'


def test_a_heavy_input_whose_load_nobody_allows_is_not_promised_to_work(tmp_path: Path) -> None:
    # the user would hear the output distort where the advice had nothing to mind
    advice = typed(tmp_path, HEAVY, kinds=DRIVEN, **STUDIO)
    lead = way(advice, "xlr-to-xlr")
    current = lead.figures.drive_current
    assert current is not None
    # closed form: 5.2 V behind 100 ohm into 600 ohm and two conductors of 0.09 ohm
    assert current.value == pytest.approx(math.sqrt(2.0) * 5.2 / 700.2, rel=2e-3)
    assert (lead.verdict, lead.doubt) == ("cannot-tell", "avoid")
    assert "load-current" in codes(lead)
    assert advice.chosen is None
    first = advice.choices[0].why[0]
    assert first.startswith("ask the maker of X for the minimum load of its output: with 600 ohm")
    assert "xlr-to-xlr works" in first
    (leaf,) = leaves_of(advice.to_json())
    assert "Ask the maker of X for the minimum load" in leaf.why[0]
    assert "ask the maker" in leaf.chosen


@pytest.mark.parametrize(
    ("ohm", "doubted"),
    # closed form: 5.2 V in all, 5 % more and impedances 20 % less at the unfavourable end, are
    # 7.1 mA peak through 1000 ohm and 80, and 6.5 mA through 1100
    [(1000.0, True), (1150.0, False)],
)
def test_the_limits_are_those_of_a_tied_leg(tmp_path: Path, ohm: float, doubted: bool) -> None:
    advice = typed(tmp_path, f"xlr:{ohm:g}/between:1.55V:transformer", kinds=DRIVEN, **STUDIO)
    assert ("load-current" in codes(way(advice, "xlr-to-xlr"))) is doubted


def test_what_the_maker_allows_is_no_hard_work(tmp_path: Path) -> None:
    allowed = typed(tmp_path, HEAVY, least=600.0, kinds=DRIVEN, **STUDIO)
    assert allowed.chosen == "xlr-to-xlr"
    assert "load-current" not in codes(way(allowed, "xlr-to-xlr"))
    # below what he allows it is judged: 10.5 mA, by closed form as above
    below = typed(tmp_path, HEAVY, least=1000.0, kinds=DRIVEN, **STUDIO)
    assert way(below, "xlr-to-xlr").verdict == "avoid"
    assert {"load", "load-current"} <= codes(way(below, "xlr-to-xlr"))
    assert "minimum-load" not in {s.code for s in below.would_change}


def test_no_transformer_is_bought_for_the_resistance_of_its_windings(tmp_path: Path) -> None:
    # closed form: 4 V behind 200 ohm into 600 ohm are 7.07 mA peak, with 120 ohm of windings 6.15
    levels = {"differential_level_v": 4.0, "differential_impedance_ohm": 200.0}
    advice = typed(tmp_path, HEAVY, kinds=DRIVEN, **levels)
    isolated = way(advice, "xlr-to-xlr/transformer")
    assert isolated.figures.drive_current is not None
    assert isolated.figures.drive_current.value == pytest.approx(6.15e-3, rel=0.02)
    assert isolated.verdict == "cannot-tell"
    assert advice.chosen is None


def test_more_than_common_amplifiers_deliver_is_avoided(tmp_path: Path) -> None:
    # closed form: 12 V behind 100 ohm into 600 ohm are 24 mA peak
    all_of_it = "xlr:600/between:10V:transformer"
    advice = typed(tmp_path, all_of_it, kinds=DRIVEN, differential_level_v=12.0,
                   differential_impedance_ohm=100.0)  # fmt: skip
    assert way(advice, "xlr-to-xlr").verdict == "avoid"
    assert "xlr-to-xlr works" in advice.choices[0].why[0]


@pytest.mark.parametrize(("drawn", "verdict"), [(11e-3, "use"), (5e-3, "cannot-tell")])
def test_a_current_that_was_measured_is_one_the_output_gives(drawn: float, verdict: str) -> None:
    # closed form: 5.2 V behind 100 ohm into 600 ohm are 10.5 mA peak
    stage = {"drawn": {"xlr": drawn}}
    document = facts(connectors=("xlr",), stage=stage, device={"full_output_volts": 5.2})
    advice = advise(document, {"left": symmetrical()}, destination(HEAVY))
    assert way(advice, "xlr-to-xlr").verdict == verdict


def test_the_loads_of_the_takes_say_what_was_drawn() -> None:
    volts = np.array([[3.0 + 0j, 0j, 0j], [4.0j, 0j, 0j]])
    y = np.zeros((2, 3, 3), dtype=complex)
    y[:, 0, 0] = 1.0 / 500.0
    loaded = SimpleNamespace(phasors=SimpleNamespace(take=SimpleNamespace(loads=("R1",))),
                             volts=volts, y=y)  # fmt: skip
    open_ = SimpleNamespace(phasors=SimpleNamespace(take=SimpleNamespace(loads=())),
                            volts=10.0 * volts, y=y)  # fmt: skip
    group: Any = SimpleNamespace(takes=(loaded, open_))
    # closed form: 3 V and 4 V of two tones are 5 V together, 10 mA in 500 ohm, 14.1 mA peak
    assert drawn_currents(group)["drawn"] == {"xlr": pytest.approx(14.142e-3, rel=1e-4)}
    assert drawn_currents(None) == {}


@pytest.mark.parametrize(
    ("ohm", "doubted"),
    # closed form: 1 / (2 pi 10 uF R), R with the output's own 100 ohm, and 10 lg(1 + (f0/20 Hz)^2)
    # are 3.6 dB with 600 ohm, 1.1 dB with 1400 and 0.9 dB with 1550; 10 uF: common practice, no
    # source
    [(600.0, "3.6 dB"), (1400.0, "1.1 dB"), (1550.0, "")],
)
def test_a_heavy_input_may_starve_an_rca_output_of_bass(
    tmp_path: Path, ohm: float, doubted: str
) -> None:
    advice = typed(tmp_path, f"xlr:{ohm:g}/between:1.9V:transformer", **RADIO)
    lead = way(advice, "rca-to-xlr/pin-3-tied-at-source")
    assert (lead.verdict == "cannot-tell") is bool(doubted)
    told = [h.message for h in lead.hazards if h.code == "coupling-capacitor"]
    assert len(told) == bool(doubted)
    assert all(f"up to {doubted}" in t and "common practice" in t for t in told)
    # not as a figure of the device: what was solved has the bass
    loss = lead.figures.connection_loss_at_20_hz
    assert loss is not None
    assert loss.value == pytest.approx(0.0, abs=0.05)
    assert "rca-to-xlr/pin-3-tied-at-source works" in advice.choices[0].why[0] or not doubted


@pytest.mark.long
def test_the_maker_is_asked_about_pin_3_with_it(tmp_path: Path) -> None:
    advice = typed(tmp_path, HEAVY, **STUDIO)
    first = advice.choices[0].why[0]
    assert "minimum load" in first
    assert "pin 3 of its XLR output connected inside, xlr-to-xlr works" in " ".join(first.split())
    assert "USE NOTHING YET" in render(advice)


def test_nothing_is_bought_for_a_level_that_merely_is_assumed() -> None:
    # the user would buy an isolator for an input transformer because 10 V were assumed
    document = facts("electronically-floating", device={"minimum_load_ohm": 300.0})
    into = destination("xlr:600/between:1.55V:transformer", maximum_volts=8.0)
    advice = advise(document, {"left": cross_coupled()}, into)
    lead = way(advice, "xlr-to-xlr")
    # closed form: 10 V, less the divider, are more than the 8 V that the input accepts
    assert "overload" in codes(lead)
    assert advice.chosen == "xlr-to-xlr"
    assert lead.attenuator is None
    # of a device that surely gives as much it is a reason: more than what the input accepts
    sure = {**document, "device": {**document["device"], "full_output_volts": 12.0}}
    assert way(advise(sure, {"left": cross_coupled()}, into), "xlr-to-xlr").attenuator is not None


def test_a_current_at_an_assumed_level_is_minded() -> None:
    advice = advise(facts(connectors=("xlr",)), {"left": symmetrical()}, destination(HEAVY))
    lead = way(advice, "xlr-to-xlr")
    # closed form: 10 V behind 100 ohm into 600 ohm are 20 mA peak, where 10 V are assumed
    assert lead.figures.drive_current is not None
    assert lead.figures.drive_current.value == pytest.approx(20.2e-3, rel=0.01)
    assert "load-current" in codes(lead)
    assert advice.chosen == "xlr-to-xlr"


def test_what_helps_an_input_that_is_too_heavy_is_told_first(tmp_path: Path) -> None:
    # the user had a dead end: everything is avoided, and nothing says what to buy
    advice = typed(tmp_path, HEAVY, least=10e3, kinds=DRIVEN, **STUDIO)
    assert {o.verdict for o in advice.options} == {"avoid"}
    first = advice.choices[0].why[0]
    assert first.startswith("what would help: a line driver between")
    # closed form: the root of 10000 / 600 is 4.08, the next tenth 4.1, and 600 times its square
    # 10.1 kohm
    assert "4.1:1" in first
    assert "10.1 kohm: 1/4.1 of the volts" in first
    # closed form: 5.2 V through 100 ohm and a winding of 250 to a core of 100 kohm, beside it
    # 10086 ohm behind a winding of 15, seen as 252; a 4.1th of that against 4.4 V
    core = 1.0 / (1.0 / 100e3 + 1.0 / 10338.0)
    volts = 5.2 * core / (core + 350.0) * 10086.0 / 10338.0 / 4.1
    short = -20.0 * math.log10(volts / 4.4)
    assert f"{short:.1f} dB" in first
    assert first.endswith("short of full output (xlr-to-xlr/transformer)")
    (settled,) = [s for s in advice.would_change if s.code == "line-driver"]
    assert settled.answers == ("xlr-to-xlr/transformer",)
    (leaf,) = leaves_of(advice.to_json())
    assert leaf.why[0].startswith("What would help: a line driver")
    assert "xlr-to-xlr" not in leaf.why[0]


def test_where_the_maker_may_allow_it_he_is_asked_before_anything_is_bought(
    tmp_path: Path,
) -> None:
    advice = typed(tmp_path, HEAVY, kinds=DRIVEN, **STUDIO)
    first, second = advice.choices[0].why[:2]
    assert first.startswith("ask the maker")
    assert second.startswith("what would help: a line driver")
    # a transformer of the library does, so that no other one is made up
    assert "bridging" not in second
    assert any("with another transformer, 2:1" in why for why in advice.choices[0].why)


def test_no_help_is_offered_where_a_lead_works(tmp_path: Path) -> None:
    advice = typed(tmp_path, "xlr:20k/leg:1V", least=10e3, kinds=DRIVEN, **STUDIO)
    assert advice.chosen == "xlr-to-xlr"
    assert "line-driver" not in {s.code for s in advice.would_change}


@pytest.mark.long
def test_an_input_that_is_only_in_doubt_for_another_reason_wants_no_driver(tmp_path: Path) -> None:
    # of an XLR output whose impedance nobody states the level is what is open, not its load
    advice = typed(tmp_path, "xlr:600/between:1V", differential_level_v=1.0,
                   single_ended_level_v=0.5)  # fmt: skip
    assert advice.chosen is None
    assert "load-current" not in codes(way(advice, "xlr-to-xlr"))
    assert "line-driver" not in {s.code for s in advice.would_change}


def test_the_load_asked_for_is_that_of_the_lead_it_names(tmp_path: Path) -> None:
    # one conductor against the shell sees half of 600 ohm between the legs, the XLR lead all of it
    advice = typed(tmp_path, "xlr:600/between:4.4V", kinds=DRIVEN, single_ended_level_v=2.6,
                   single_ended_impedance_ohm=50.0, **STUDIO)  # fmt: skip
    assert "with 600 ohm or less xlr-to-xlr works" in advice.choices[0].why[0]


@pytest.mark.parametrize(
    ("into", "doubted"),
    # closed form: 1 / (2 pi 2.2 uF (1800 ohm + R)) and 10 lg(1 + (f0/20 Hz)^2) are 0.0 dB with 47
    # kohm, 0.4 dB with 10 kohm, 1.2 dB with 4.7 kohm and 5.1 dB with 600 ohm; 2.2 uF: common
    # practice, no source
    [
        ("rca:47k:1V", ""),
        ("rca:10k:0.5V", ""),
        ("rca:4.7k:0.5V", "1.2 dB"),
        ("rca:600:0.5V", "5.1 dB"),
    ],
)
def test_behind_a_high_impedance_the_bass_of_a_valve_stage_is_doubted(
    tmp_path: Path, into: str, doubted: str
) -> None:
    # the user would lose the bass for which the sheet of the lead promised that it arrives
    valve = {"single_ended_level_v": 1.0, "single_ended_maximum_v": 14.0,
             "single_ended_impedance_ohm": 1800.0}  # fmt: skip
    advice = typed(tmp_path, into, **valve)
    lead = way(advice, "rca-to-rca")
    told = [h.message for h in lead.hazards if h.code == "coupling-capacitor"]
    assert len(told) == bool(doubted)
    if not doubted:
        assert advice.chosen == "rca-to-rca"
        return
    assert f"up to {doubted}" in told[0]
    assert "2.2 uF, an ordinary size behind 1.8 kohm" in told[0]
    # by itself, or with resistors in the plug, which the loop below holds to the same rule
    assert lead.verdict == "cannot-tell" or lead.used.works_into_ohm != lead.works_into_ohm
    # with resistors in the plug the same capacitor is held against what is then worked into
    for o in advice.options:
        seen = o.used.works_into_ohm
        if seen is not None and o.option.from_ == "rca" and o.used.verdict in ("use", "works"):
            corner = 1.0 / (2.0 * math.pi * 2.2e-6 * (1800.0 + seen))
            assert 10.0 * math.log10(1.0 + (corner / 20.0) ** 2) < 1.0
    assert "minimum load" in " ".join(advice.choices[0].why)
    # what the maker allows is not doubted
    stated = typed(tmp_path, into, least=600.0, **valve)
    assert "coupling-capacitor" not in codes(way(stated, "rca-to-rca"))


@pytest.mark.parametrize(
    ("own", "least", "aimed"),
    [
        # common practice, no source: ten times the output's own, and 10 kohm at least
        (1800.0, None, "18 kohm"),
        (600.0, None, "10 kohm"),
        # the maker's own figure
        (1800.0, 12e3, "12 kohm"),
    ],
)
def test_a_line_driver_behind_a_weak_output_is_ten_times_its_ohms(
    tmp_path: Path, own: float, least: float | None, aimed: str
) -> None:
    """Lost: a line driver of 10 kohm behind a valve stage takes 1.4 dB before it drives a line."""
    levels = {"single_ended_level_v": 2.0, "single_ended_impedance_ohm": own}
    advice = typed(tmp_path, "rca:600:1.3V", least=least, **levels)
    (told,) = [s for s in advice.would_change if s.code == "line-driver"]
    assert f"a buffered amplifier stage with {aimed} or more at its input" in told.what


def preamplifier(folder: Path, into: str, least: float, kind: str = "preamplifier") -> Advice:
    path = folder / "source.toml"
    path.write_text(f"""format = "probe-source/1"
kinds = ["differential"]
differential_level_v = 4.0
differential_maximum_v = 12.0
differential_impedance_ohm = 200.0
[device]
model = "X"
output = "line"
kind = "{kind}"
connectors = ["xlr"]
minimum_load_ohm = {least}
""")
    return advise(*read_source(path), destination(into))


def test_a_volume_that_stays_down_needs_no_resistors(tmp_path: Path) -> None:
    # the user had series resistors to order for a current that flows at 12 V, into an amplifier
    # that gives its all at 1 V
    advice = preamplifier(tmp_path, "xlr:2k/leg:1V", 5000.0)
    (choice,) = advice.choices
    assert (choice.option, choice.attenuator) == ("xlr-to-xlr", False)
    lead = way(advice, "xlr-to-xlr")
    assert "load-current-beyond-full-output" in codes(lead)
    assert {"load", "load-current"} & codes(lead) == {"load"}
    (told,) = [h.message for h in lead.hazards if h.code == "load-current-beyond-full-output"]
    # closed form: a difference amplifier of 2 kohm at each input is four resistors of 1 kohm, whose
    # cold one ends at half of what pin 2 has. With e on each leg behind 100 ohm pin 2 has e/1.05,
    # the cold one draws (e + e/2.1) / 1100, and 1 V between them are e = 0.55 V: 1.044 mA peak
    current = lead.figures.drive_current_at_full_output
    assert current is not None
    assert current.value == pytest.approx(1.044e-3, rel=2e-3)
    assert "do with its volume set for the input's full output" in told


def test_what_flows_at_full_output_is_judged(tmp_path: Path) -> None:
    # closed form: 8 V at full output are eight times as much, 8.5 mA
    advice = preamplifier(tmp_path, "xlr:2k/leg:8V", 5000.0)
    assert "load-current" in codes(way(advice, "xlr-to-xlr"))
    # what nobody knows to have a volume control is judged at the most it gives
    unknown = preamplifier(tmp_path, "xlr:2k/leg:1V", 5000.0, "DAC")
    assert "load-current" in codes(way(unknown, "xlr-to-xlr"))


def test_what_plays_at_its_level_is_judged_there(tmp_path: Path) -> None:
    # closed form: 4 V where 12 are stated and never come: 1.5 x 2 V over 1 kohm, 4.2 mA peak
    advice = preamplifier(tmp_path, "xlr:2k/leg:1V", 5000.0, "CD player")
    assert not {"load-current", "load-current-beyond-full-output"} & codes(
        way(advice, "xlr-to-xlr")
    )
