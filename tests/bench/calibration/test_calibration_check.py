"""The check before a session finds what was moved, by one take."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import date

import pytest

from probe.bench.calibration.check import CheckParts, CheckResult, check
from probe.bench.calibration.figures import (
    BenchFigures,
    Figure,
    InputFigures,
    Match,
    OutputFigures,
)
from probe.bench.calibration.live import LivePlayer
from probe.bench.calibration.practice import PracticeBench, PracticeCard
from probe.bench.calibration.solve import KnownResistor
from probe.bench.stream.card import StreamFormat
from probe.bench.stream.recorder import Recorder
from probe.errors import BadInput

TRUTH = PracticeBench()
PARTS = CheckParts(KnownResistor(10000.0, 0.001), KnownResistor(100.0, 0.001), both=True)


def figures(truth: PracticeBench = TRUTH) -> BenchFigures:
    """The practice bench as a calibration of it says."""

    def one(value, relative, how="loop-back"):
        return Figure(value, value * relative, how)

    return BenchFigures(
        "practice interface", "", "", 50.0, 48000, date(2026, 3, 14), "",
        tuple(
            InputFigures(one(v, 0.01, "metered"), one(o, 0.007, "series"), one(c, 0.1, "series"))
            for v, o, c in zip(truth.in_volts, truth.in_ohm, truth.in_farad, strict=True)
        ),
        tuple(
            OutputFigures(one(v, 0.01, "metered"), one(o, 0.01, "shunt"))
            for v, o in zip(truth.out_volts, truth.out_ohm, strict=True)
        ),
        tuple(one(o / i, 0.001) for o, i in zip(truth.out_volts, truth.in_volts, strict=True)),
        Match((), (), (), (), ()),
        0.01,
    )  # fmt: skip


class Plugger:
    def __init__(self, card, really):
        self.card, self.really = card, really

    def plug(self, wiring, number, count):
        assert "reference" in wiring.title
        self.card.plug(self.really)

    def read_meter(self, problem):
        raise AssertionError

    def again(self, problem):
        return False

    def say(self, text):
        raise AssertionError


def run(bench=TRUTH, really="check", parts=PARTS, seed=3) -> CheckResult:
    card = PracticeCard(bench, seed=seed)
    with Recorder(card, StreamFormat(48000, 2, 2)) as recorder:
        return check(LivePlayer(recorder), Plugger(card, really), figures(), parts)


def test_an_untouched_bench_passes():
    result = run()
    assert result.fine, result.findings
    # true parts of the practice bench: 10004 and 100.02 ohm, 0.002 dB apart from nominal
    assert [abs(r.deviation_db) < 0.02 for r in result.rows] == [True, True]


@pytest.mark.parametrize(
    ("bench", "really", "said"),
    [
        (replace(TRUTH, gain=(1.0, 10 ** (-3 / 20))), "check", "input 2 reads -3.0"),
        (replace(TRUTH, gain=(10 ** (6 / 20), 1.0)), "check", "input 1 reads \\+6.0.*gain knob"),
        (replace(TRUTH, gain=(0.9, 0.9)), "check", "both inputs read -0.9"),
        # 1 ohm in 100: 0.086 dB
        (replace(TRUTH, contact_ohm=1.0), "check", "both inputs read \\+0.0[89].*dirty"),
        (TRUTH, "check-crossed", "leads are exchanged"),
        (TRUTH, "nothing", "output 1 is not heard"),
        (TRUTH, "series-1", "reference resistor is not plugged"),
        # 2 nF more on 100 ohm is nothing; a longer lead shows by its capacitance at 100 ohm only
        # from some 20 nF on: (2 pi 19.5 kHz 100 ohm 20 nF)²/2 = 0.26 dB
        (replace(TRUTH, in_farad=(20e-9, 149e-12)), "check", "another lead"),
    ],
)
@pytest.mark.long
def test_what_was_moved_is_found_in_one_take(bench, really, said):
    result = run(bench, really)
    assert not result.fine
    assert any(re.search(said, f) for f in result.findings), result.findings


def test_with_one_injector_the_first_input_is_checked():
    result = run(parts=replace(PARTS, both=False), really="check")
    assert result.fine
    assert [r.input for r in result.rows] == [1]


def test_a_calibration_without_loop_gain_is_refused():
    card = PracticeCard(TRUTH)
    with (
        Recorder(card, StreamFormat(48000, 2, 2)) as recorder,
        pytest.raises(BadInput, match="loop_gain"),
    ):
        check(LivePlayer(recorder), Plugger(card, "check"), replace(figures(), loop_gain=()), PARTS)
