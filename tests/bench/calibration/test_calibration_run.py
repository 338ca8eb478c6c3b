"""The guided calibration through the recorder, on the practice interface."""

from __future__ import annotations

import functools
from dataclasses import replace
from datetime import date
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

from probe.bench.calibration.document import (
    bench_text,
    read_bench,
    session_tables,
    write_bench,
)
from probe.bench.calibration.figures import BenchFigures
from probe.bench.calibration.live import LivePlayer
from probe.bench.calibration.meter import accuracy_of
from probe.bench.calibration.practice import PracticeBench, PracticeCard
from probe.bench.calibration.run import METER_HZ, Wanted, _read_meter, calibrate
from probe.bench.calibration.solve import KnownResistor
from probe.bench.stream.card import StreamFormat
from probe.bench.stream.recorder import Recorder
from probe.errors import NotUsable
from probe.session.document import BenchTable

WANTED = Wanted(
    "practice interface",
    KnownResistor(10000.0, 0.001),
    KnownResistor(604.0, 0.001),
    accuracy_of("0.5%+2"),
    gain="line",
    leads="A",
)
TODAY = date(2026, 3, 14)


class Somebody:
    """Plugs what is asked for, with the slips of a list; reads the meter off the truth."""

    def __init__(self, card: PracticeCard, *, slips: dict[str, str] | None = None, meter=True):
        self.card, self.slips, self.meter = card, dict(slips or {}), meter
        self.heard: list[str] = []

    def plug(self, wiring, number, count):
        assert 1 <= number <= count
        assert wiring.plug
        assert wiring.caution
        word = {"meter": "straight", "straight-again": "straight"}.get(wiring.word, wiring.word)
        self.right = word
        self.card.plug(self.slips.pop(wiring.word, word))

    def read_meter(self, problem):
        if not self.meter:
            return None
        if not problem:
            return "twelve"
        assert "no reading" in problem
        return f"{self.card.meter_volts(METER_HZ):.4f} V"

    def again(self, problem):
        self.heard.append(problem)
        self.card.plug(self.right)
        return True

    def say(self, text):
        self.heard.append(text)


def run(bench=None, wanted=WANTED, seed=1, **kwargs) -> tuple[BenchFigures, Somebody]:
    card = PracticeCard(bench or PracticeBench(), seed=seed)
    somebody = Somebody(card, **kwargs)
    with Recorder(card, StreamFormat(48000, 2, 2)) as recorder:
        return calibrate(LivePlayer(recorder), somebody, wanted, TODAY), somebody


@functools.cache
def plain_run() -> tuple[BenchFigures, Somebody]:
    return run()


def inside(figure, truth):
    return abs(figure.value - truth) <= 1.5 * figure.u95


class Typing:
    """Types these readings, one after the other, and keeps what was said between them."""

    def __init__(self, *typed):
        self.typed, self.problems = list(typed), []

    def read_meter(self, problem):
        self.problems.append(problem)
        return self.typed.pop(0)


def typed(*readings):
    person = Typing(*readings)
    # a tone of half of full scale at the output
    desk = SimpleNamespace(person=person, wanted=WANTED, peak=0.5)
    return _read_meter(desk), person


def test_a_slip_of_the_decimal_point_is_asked_about():
    # 14.14 V rms are 20 V peak, and full scale twice that; with the point right it is 4.0 V
    reading, person = typed("14.142", "1.4142")
    assert reading.volts == 1.4142
    assert "full scale of output 1 would be 40.0 V peak" in person.problems[1]
    # the same once more is taken: somebody looked
    assert typed("14.142", "14.142")[0].volts == 14.142
    assert typed("1.4142")[0].volts == 1.4142


def test_enter_alone_does_not_give_the_volts_away():
    reading, person = typed(None, "1.4142")
    assert reading.volts == 1.4142
    assert "No reading" in person.problems[1]
    assert typed(None, None)[0] is None


@pytest.mark.long
def test_the_practice_bench_is_found():
    figures, somebody = plain_run()
    truth = PracticeBench()
    # the truth is the circuit of the practice interface; half again the 95 % interval is left by
    # one figure in three hundred
    for k in (0, 1):
        assert inside(figures.inputs[k].volts_full_scale, truth.in_volts[k])
        assert inside(figures.inputs[k].impedance_ohm, truth.in_ohm[k])
        assert inside(figures.inputs[k].capacitance_farad, truth.in_farad[k])
        assert inside(figures.outputs[k].volts_full_scale, truth.out_volts[k])
        assert inside(figures.outputs[k].impedance_ohm, truth.out_ohm[k])
        assert inside(figures.loop_gain[k], truth.out_volts[k] / truth.in_volts[k])
        # white noise of 20 uV over half of 48 kHz, of which 20 Hz to 20 kHz is heard
        noise = truth.noise_volts * np.sqrt(19980 / 24000)
        assert inside(figures.inputs[k].noise_volts, noise)
        assert inside(figures.inputs[k].hum_volts, truth.hum_volts)
        # second and third order of a sine of peak p: p/2 and p²/4 of the shares
        assert 0 < figures.thd_percent[k].value < 0.02
        assert figures.crosstalk_db[k].value == pytest.approx(
            20 * np.log10(truth.crosstalk), abs=1.0
        )
    assert figures.absolute
    assert somebody.heard == []
    assert abs(figures.clock_ppm.value) <= figures.clock_ppm.u95 + 0.01
    at = int(np.argmin(np.abs(np.array(figures.match.hz) - 1000)))
    assert figures.match.db[at] == pytest.approx(20 * np.log10(8.76 / 8.71), abs=0.01)


@pytest.mark.long
def test_the_file_says_the_same_and_a_session_takes_it_over(tmp_path: Path):
    figures, _ = plain_run()
    path = tmp_path / "data" / "bench.toml"
    write_bench(figures, path)
    again = read_bench(path)
    assert bench_text(again) == bench_text(figures)
    tables = session_tables(again)
    checked = BenchTable.model_validate(tables)
    # as declared: V peak, percent of it, and picofarads
    assert checked.input[0].volts_full_scale == pytest.approx(
        figures.inputs[0].volts_full_scale.value, rel=1e-5
    )
    assert 0.3 < checked.input[0].u95_percent < 1.0
    assert checked.input[1].capacitance_pf == pytest.approx(149, abs=15)
    # what the meter's doubt is to all inputs; the rest is each input's own
    common = 100 * figures.common_u95_relative
    assert 0.1 < common <= checked.input[0].u95_percent + 1e-3  # three digits of it
    assert checked.common_u95_percent == pytest.approx(common, abs=1e-3)


@pytest.mark.long
def test_without_a_meter_every_volt_says_so():
    figures, _ = run(wanted=replace(WANTED, accuracy=None))
    assert not figures.absolute
    assert {i.volts_full_scale.how for i in figures.inputs} == {"assumed"}
    assert "NO METER" in bench_text(figures)
    assert figures.inputs[0].impedance_ohm.how == "series"
    assert inside(figures.inputs[0].impedance_ohm, PracticeBench().in_ohm[0])


@pytest.mark.long
def test_no_meter_after_all():
    figures, _ = run(meter=False)
    assert not figures.absolute


@pytest.mark.long
def test_forgotten_plugs_are_noticed_and_done_again():
    figures, somebody = run(
        slips={
            "straight": "nothing",
            "shunt-1": "check-one",
            "series-1": "straight",
            "series-2": "series-1",
            "crossed": "straight",
        }
    )
    said = iter(somebody.heard)
    assert "setting level: no channel carries any of the tones" in next(said)
    assert "shunt-1: input 2 hears next to nothing" in next(said)
    assert "series-1: the series resistor made no difference at input 1" in next(said)
    assert "series-2: the series resistor made no difference at input 2" in next(said)
    assert "crossed-first: output 1 alone is not heard at input 2 alone" in next(said)
    assert list(said) == []
    assert inside(figures.inputs[0].impedance_ohm, PracticeBench().in_ohm[0])


@pytest.mark.long
def test_whoever_does_not_want_to_try_again_gets_words_not_figures():
    class Tired(Somebody):
        def again(self, problem):
            return False

    card = PracticeCard(PracticeBench())
    tired = Tired(card, slips={"straight": "crossed"})
    with (
        Recorder(card, StreamFormat(48000, 2, 2)) as recorder,
        pytest.raises(NotUsable, match="output 1 alone is not heard at input 1"),
    ):
        calibrate(LivePlayer(recorder), tired, WANTED, TODAY)
