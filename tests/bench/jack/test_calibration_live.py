"""The guided calibration and the check through a real PortAudio, leads as a JACK client."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from datetime import date

import numpy as np
import pytest

from probe.bench.calibration import run
from probe.bench.calibration.check import CheckParts, check
from probe.bench.calibration.live import LivePlayer
from probe.bench.calibration.practice import PracticeBench
from probe.bench.calibration.run import METER_HZ, calibrate
from probe.bench.calibration.solve import KnownResistor
from probe.bench.cards.portaudio import PortAudioCard
from probe.bench.stream.card import StreamFormat
from probe.bench.stream.recorder import Recorder
from tests.bench.calibration.test_calibration_run import WANTED
from tests.bench.jack.device import Device
from tests.bench.jack.server import RATE, JackServer

pytestmark = [pytest.mark.jack, pytest.mark.portaudio, pytest.mark.long]

BENCH = PracticeBench()


@pytest.fixture
def leads(jack_server: JackServer) -> Iterator[Device]:
    new = Device(module="tests.bench.jack.leads")
    yield new
    new.close()


class Hands:
    """Plugs what is asked for; reads the meter off the circuit; tries again after dropouts."""

    def __init__(self, leads: Device) -> None:
        self.leads, self.said = leads, []
        self.peak = 0.0

    def plug(self, wiring, number, count):
        same = {"meter": "straight", "straight-again": "straight"}
        self.leads.plug(same.get(wiring.word, wiring.word))

    def read_meter(self, problem):
        share = abs(complex(BENCH.heard("straight", np.array([METER_HZ]))[0, 0, 0]))
        return f"{share * BENCH.in_volts[0] * self.peak / 2**0.5:.4f}"

    def again(self, problem):
        self.said.append(problem)
        return True

    def say(self, text):
        self.said.append(text)


class Watching(LivePlayer):
    """Remembers the peak of what output 1 plays, for the meter."""

    hands: Hands

    def play(self, sounds):
        if sounds[0] is not None and len(sounds[0].hz) == 1:
            self.hands.peak = sounds[0].peaks[0]
        super().play(sounds)


def test_calibration_and_check_through_portaudio(
    card: PortAudioCard, leads: Device, monkeypatch: pytest.MonkeyPatch
) -> None:
    # in real time: shorter recordings than at a bench, where nobody counts the seconds
    monkeypatch.setattr(run, "SECONDS", 1.2)
    monkeypatch.setattr(run, "QUIET_SECONDS", 1.2)
    # a busy machine loses samples often; each loss is noticed and that recording made again
    monkeypatch.setattr(run, "TRIES", 25)
    hands = Hands(leads)
    with Recorder(card, StreamFormat(RATE, 2, 2)) as recorder:
        player = Watching(recorder)
        player.hands = hands
        figures = calibrate(player, hands, WANTED, date(2026, 3, 14))
        parts = CheckParts(KnownResistor(10000.0, 0.001), KnownResistor(100.0, 0.001), both=True)
        fine = check(player, hands, figures, parts)
        leads.plug("check-crossed")
        hands.plug = lambda wiring, number, count: None
        exchanged = check(player, hands, figures, replace(parts))
    # the truth is the circuit of the practice interface, solved in the other process
    for k in (0, 1):
        for figure, truth in (
            (figures.inputs[k].volts_full_scale, BENCH.in_volts[k]),
            (figures.inputs[k].impedance_ohm, BENCH.in_ohm[k]),
            (figures.inputs[k].capacitance_farad, BENCH.in_farad[k]),
            (figures.outputs[k].volts_full_scale, BENCH.out_volts[k]),
            (figures.outputs[k].impedance_ohm, BENCH.out_ohm[k]),
        ):
            assert abs(figure.value - truth) <= 1.5 * figure.u95
    assert abs(figures.clock_ppm.value) < 0.1
    assert fine.fine, fine.findings
    assert any("exchanged" in f for f in exchanged.findings)
