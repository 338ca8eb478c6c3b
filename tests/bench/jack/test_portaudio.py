"""Real PortAudio, full duplex: a server without hardware as the card, a circuit behind it."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from probe.bench.cards.portaudio import PortAudioCard
from probe.bench.stored.storage import SessionFolder
from probe.bench.stream.card import StreamFormat
from probe.bench.stream.recorder import Recorder
from probe.bench.stream.sound import InputScale, OutputScale, Part, Purpose, Sound
from probe.bench.stream.stop import Reason
from probe.bench.tones.sets import DEVICE, INJECTED, PERIOD_S, ToneSet
from probe.cli.main import main
from probe.session.read import read_session
from probe.simulate.build import stage_of
from probe.simulate.network import truth
from tests.bench.jack.conftest import leave, need_tools, system_card
from tests.bench.jack.device import Device
from tests.bench.jack.dut import OUT_VOLTS, STAGE
from tests.bench.jack.server import RATE, JackServer

pytestmark = [pytest.mark.jack, pytest.mark.portaudio]

IN_VOLTS, DRIVE_VOLTS, INJECTED_VOLTS, THROUGH_OHM = 8.7, 0.06, 0.1, 10_000.0
TRIES = 5
"""A take is repeated for a detected dropout only, which a busy machine causes."""


def loop(tones: ToneSet, volts: float) -> Sound:
    """Ten seconds of tones of so many V rms each, cosines, as volts."""
    time = np.arange(round(PERIOD_S * RATE)) / RATE
    wave = sum(
        np.cos(2.0 * np.pi * hz * time + np.radians(phase))
        for hz, phase in zip(tones.hz, tones.phases_deg, strict=True)
    )
    return Sound(np.sqrt(2.0) * volts * np.asarray(wave), "volts")


@contextmanager
def opened(card: PortAudioCard, inputs: int = 2) -> Iterator[Recorder]:
    scales = [InputScale(IN_VOLTS)] * inputs
    form = StreamFormat(RATE, inputs, 2)
    with Recorder(card, form, inputs=scales, outputs=[OutputScale(OUT_VOLTS)] * 2) as recorder:
        yield recorder


def until_whole(recorder: Recorder, seconds: float) -> Any:
    for _ in range(TRIES):
        heard = recorder.listen(seconds)
        if heard.usable:
            return heard
    raise AssertionError("every recording lost samples")


def test_full_duplex_through_the_circuit(card: PortAudioCard, device: Device) -> None:
    device.plug("open")
    tone = loop(ToneSet((997.0,), (0.0,)), 0.2)
    with opened(card) as recorder:
        assert recorder.play([Part(0, tone)]) is None
        recorder.wait(0.5)
        heard = until_whole(recorder, 1.0)
    time = np.arange(heard.frames) / RATE
    found = np.sqrt(2.0) * np.abs(np.exp(-2j * np.pi * 997.0 * time) @ heard.samples) / RATE
    # Circuit simulator: this stage's own solution of the same take.
    spec = stage_of({**STAGE, "takes": ["open"], "drive": {"volts": 1.0}})
    ratio = truth(spec, [997.0], "left").voc[0, :2]
    leg = np.abs(ratio) * 0.2 * 20000.0 / 20100.0  # 100 ohm legs into 20 kohm
    assert found * IN_VOLTS == pytest.approx(leg, rel=1e-3)


def bench_tables() -> dict[str, Any]:
    channel = {
        "volts_full_scale": IN_VOLTS,
        "u95_percent": 0.5,
        "impedance_ohm": 20000.0,
        "impedance_u95_percent": 1.0,
        "capacitance_pf": 150.0,
        "capacitance_u95_pf": 20.0,
    }
    output = {"volts_full_scale": OUT_VOLTS, "impedance_ohm": 100.0}
    return {"mains_hz": 50, "repeatability_db": 0.005, "input": [channel] * 3, "output": [output]}


def take_tables() -> dict[str, dict[str, Any]]:
    load = {"to": "ground", "ohm": 604.0, "u95_percent": 0.1, "part": "R1"}
    inject = {
        "through_ohm": THROUGH_OHM,
        "u95_percent": 0.1,
        "part": "R2",
        "volts": INJECTED_VOLTS,
        "volts_u95_percent": 0.5,
        "tones_hz": list(INJECTED.hz),
    }
    legs = ["hot", "cold", "reference"]
    return {
        "open": {"channels": legs},
        "single-ended": {"channels": ["hot", "single-ended", "reference"]},
        "inject-cold": {"channels": legs, "inject": [{**inject, "into": "cold"}]},
        "inject-hot": {"channels": legs, "inject": [{**inject, "into": "hot"}]},
        "load-cold": {"channels": legs, "load": [{**load, "from": "cold"}]},
        "load-hot": {"channels": legs, "load": [{**load, "from": "hot"}]},
        "second-open": {"channels": legs},
    }


def record_session(recorder: Recorder, device: Device, folder: Path) -> int:
    """Record all takes; return how often one was done again."""
    session = SessionFolder.create(folder, {"maker": "Harrowgate", "model": "Tern"}, bench_tables())
    drive = Part(0, loop(DEVICE, DRIVE_VOLTS))
    injector = Part(1, loop(INJECTED, INJECTED_VOLTS), Purpose.INJECT, THROUGH_OHM)
    repeats = 0
    for name, keys in take_tables().items():
        device.plug(dict(keys))
        parts = [drive, injector] if "inject" in keys else [drive]
        entry = {
            "name": name,
            "side": "left",
            "signal": "multitone",
            "tones_hz": list(DEVICE.hz),
            "drive_volts": DRIVE_VOLTS,
            "phases_deg": list(DEVICE.phases_deg),
            **keys,
        }
        for _ in range(TRIES):
            path = session.begin({**entry, "file": session.free_file(name)})
            taken = recorder.take(path, parts, 2.0)
            assert taken.complete, taken.stop
            if taken.usable:
                session.keep(taken)
                break
            session.abandon(taken)
            repeats += 1
        else:
            raise AssertionError(f"{name}: every recording lost samples")
    return repeats


def within(fact: dict[str, Any], true: float) -> None:
    assert abs(fact["value"] - true) <= max(1.5 * fact["u95"], 1e-3 * abs(true)), (fact, true)


@pytest.mark.long
@pytest.mark.parametrize("circuit", ["core-and-inverter", "cross-coupled"])
def test_a_session_through_portaudio_says_what_the_circuit_is(
    card: PortAudioCard,
    device: Device,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    circuit: str,
) -> None:
    device.tell(stage={"circuit": circuit})
    with opened(card, inputs=3) as recorder:
        record_session(recorder, device, tmp_path / "s")
    assert main(["analyse", str(tmp_path / "s"), "--json"]) == 0
    side = json.loads(capsys.readouterr().out)["sides"]["left"]
    kinds = {"core-and-inverter": "differential", "cross-coupled": "electronically-floating"}
    assert side["stage"]["kind"] == kinds[circuit]
    assert side["stage"]["confidence"] > 0.9
    # Circuit simulator: the solution of the same circuit with nothing connected, 997 Hz.
    true = truth(stage_of({**STAGE, "circuit": circuit, "takes": ["open"]}), [997.0], "left")
    volts, ohms = true.voc[0] * DRIVE_VOLTS, true.z[0]
    facts = side["facts"]
    within(facts["differential_level"], abs(volts[0] - volts[1]))
    within(facts["hot_impedance"], abs(ohms[0, 0]))
    within(facts["cold_impedance"], abs(ohms[1, 1]))
    within(facts["single_ended_level"], abs(volts[2]))


def test_an_overload_fades_out_and_is_told(card: PortAudioCard, device: Device) -> None:
    device.plug("open")
    with opened(card) as recorder:
        assert recorder.play([Part(0, loop(ToneSet((997.0,), (0.0,)), 0.5))]) is None
        device.tell(gain=40.0)
        stop = recorder.wait(20.0)
        assert stop is not None
        assert stop.reason is Reason.OVERLOAD
        device.tell(gain=1.0)
        recorder.wait(0.5)
        heard = recorder.listen(0.2)
        assert max(heard.peaks) < 1e-4
        # Afterwards everything goes on.
        assert recorder.play([Part(0, loop(ToneSet((997.0,), (0.0,)), 0.1))]) is None


def test_a_dropout_is_detected_and_only_that_repeats_a_take(
    card: PortAudioCard, device: Device, jack_server: JackServer, tmp_path: Path
) -> None:
    device.plug("open")
    with opened(card) as recorder:
        frozen = False

        def freeze(progress: Any) -> None:
            nonlocal frozen
            if progress.seconds > 0.5 and not frozen:
                frozen = True
                jack_server.freeze(0.5)

        tone = [Part(0, loop(ToneSet((997.0,), (0.0,)), 0.2))]
        done = recorder.take(tmp_path / "a.wav", tone, 2.0, progress=freeze)
        assert done.complete
        assert done.lost
        assert until_whole(recorder, 1.0).timebase != done.timebase


def recording(folder: Path, takes: int) -> subprocess.Popen[str]:
    command = [sys.executable, "-m", "tests.bench.jack.recording", str(folder), str(takes)]
    return subprocess.Popen(command, stdout=subprocess.PIPE, text=True)


@pytest.fixture
def plain_server(monkeypatch: pytest.MonkeyPatch) -> Iterator[JackServer]:
    """A server as it is without being asked to wait for its clients."""
    need_tools()
    for name in ("JACK_DEFAULT_SERVER", "JACK_NO_START_SERVER", "JACK_NO_AUDIO_RESERVATION"):
        monkeypatch.setenv(name, os.environ.get(name, ""))
    server = JackServer(waits=False)
    server.start()
    yield server
    leave(server)


def test_a_killed_device_is_silence_and_the_stream_goes_on(plain_server: JackServer) -> None:
    first = Device()
    first.plug("open")
    found = system_card()
    with opened(PortAudioCard(found.inputs, found.outputs)) as recorder:
        recorder.play([Part(0, loop(ToneSet((997.0,), (0.0,)), 0.2))])
        recorder.wait(0.3)
        assert recorder.listen(0.2).rms[0] > 1e-3
        first.kill()
        recorder.wait(0.5)
        assert recorder.listen(0.2).rms[0] < 1e-6
        second = Device()
        try:
            second.plug("open")
            recorder.wait(0.7)
            assert recorder.listen(0.2).rms[0] > 1e-3
        finally:
            second.close()


def test_a_server_that_a_killed_client_breaks_does_not_take_the_program_along(
    tmp_path: Path,
) -> None:
    need_tools()
    server, folder = JackServer(), tmp_path / "s"
    server.start()
    try:
        first = recording(folder, 1000)
        assert first.stdout is not None
        kept = first.stdout.readline().strip()
        client = Device()
        client.plug("open")
        client.kill()
        try:
            # Such a server often never comes round again: the stream is told as gone.
            said, _ = first.communicate(timeout=12.0)
            assert first.returncode == 0
            assert said.split()[-1] == "gone"
        except subprocess.TimeoutExpired:
            assert first.poll() is None  # it went on
            first.kill()
            first.communicate()
    finally:
        server.stop()
    assert read_session(folder).takes[0].file == kept


def test_a_server_that_dies_and_comes_back(tmp_path: Path) -> None:
    need_tools()
    server, folder = JackServer(), tmp_path / "s"
    server.start()
    try:
        first = recording(folder, 1000)
        assert first.stdout is not None
        kept = first.stdout.readline().strip()
        server.kill()
        # PortAudio itself would wait ten minutes for a server that is gone.
        said, _ = first.communicate(timeout=20.0)
        assert first.returncode == 0
        assert said.split()[-1] == "gone"
        server.start()
        said, _ = recording(folder, len(read_session(folder).takes) + 2).communicate(timeout=60.0)
    finally:
        server.stop()
    takes = read_session(folder).takes
    assert takes[0].file == kept
    assert takes[0].timebase == "run-1"
    assert takes[-1].timebase not in ("run-1", None)
