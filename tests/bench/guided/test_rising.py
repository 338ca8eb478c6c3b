"""The maximum of an output: how far a rising tone may go, what ends it, what is found."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from probe.bench.guided.rising import _told, alike, exchanged, rise_of
from probe.bench.judged.rising import Rung, Watching, distortion_of
from probe.bench.planned.able import Known, Refused, Setting, able, step_for
from probe.bench.planned.kit import Kit, usual
from probe.bench.planned.plan import SoFar, next_step
from probe.bench.stream.wav import WavWriter
from probe.facts import analyse_session
from probe.phasors import measure_take
from probe.session.model import BenchOutput, Device, RecorderInput, Take
from probe.session.read import read_session
from tests.bench.guided.driven import drive, kit_file

INPUT = RecorderInput(8.7, 0.005, 20e3, 0.01, 150e-12, 20e-12)
DEVICE = Device("Invented", "one")
RATE, STEP_S = 48000, 0.5
BODY = {"conditions": {"drive_volts": 0.1}, "facts": {"differential_level": {"value": 0.4}}}


def plugged_alike(*gains: float) -> Any:
    take = SimpleNamespace(
        channels=("hot", "cold"), inputs=(INPUT, INPUT), drive_volts=0.1,
    )  # fmt: skip
    return SimpleNamespace(
        take=take, played=np.array([True]), hz=np.array([997.0]),
        volts=0.1 * np.array([gains], dtype=complex),
    )  # fmt: skip


@pytest.mark.parametrize(
    ("full", "most", "end", "top"),
    [
        # closed form: nine tenths of 3 V peak, as rms
        (3.0, None, "output", 0.9 * 3.0 / math.sqrt(2.0)),
        # closed form: 0.97 of 8.7 V peak less 3 dB on a leg of twice the drive
        (20.0, None, "input", 0.97 * 8.7 * 10 ** (-3 / 20) / math.sqrt(2.0) / 2.0),
        # closed form: 3 V between legs of four times the drive together
        (20.0, 3.0, "asked", 0.75),
    ],
)
def test_how_far_it_may_rise(full: float, most: float | None, end: str, top: float) -> None:
    bench: Any = SimpleNamespace(inputs=(INPUT, INPUT), outputs=(BenchOutput(full, 100.0),))
    rise = rise_of(plugged_alike(2.0, -2.0), bench, BODY, 0.2, most)
    assert (rise.end, rise.levels[-1]) == (end, pytest.approx(top, rel=1e-4))
    steps = 20.0 * np.diff(np.log10(rise.levels))
    assert np.all((steps > 0.0) & (steps < 0.5 + 1e-3))
    # closed form: the first one is half a decibel below what the output was given before
    assert rise.levels[0] == pytest.approx(0.2 * 10 ** (-0.5 / 20), rel=1e-4)
    assert rise.expected["hot"] == pytest.approx(2.0 * rise.levels[0])


def watched(tmp_path: Path, *steps: tuple[float, float], bend: float = 0.0) -> tuple[Any, list]:
    """Steps of hot and cold peaks, second harmonic ``bend`` alike on both legs."""
    take = Take(
        name="rising", file="", path=Path(), side="left", channels=("hot", "cold"),
        inputs=(INPUT, INPUT), signal="level-steps", tones_hz=(997.0,), phases_rad=None,
        drive_volts=None, drive_dbfs=None, volume="", state="play", driven_input_leg="both",
        timebase=None, start_frame=None, loads=(), injections=(), sample_rate=RATE, frames=0,
    )  # fmt: skip
    path = tmp_path / "rising.wav"
    writer = WavWriter(path, RATE, 2)
    turns = 2.0 * np.pi * 997.0 * np.arange(round(STEP_S * RATE)) / RATE
    for hot, cold in steps:
        second = bend * hot * np.cos(2.0 * turns)
        both = np.stack([hot * np.cos(turns) + second, cold * np.cos(turns) + second], axis=1)
        writer.write((both / INPUT.volts_full_scale).astype(np.float32))
    writer.close(durable=False)
    levels = tuple(0.1 * 1.06**k for k in range(len(steps)))
    rms = 1.0 / math.sqrt(2.0)
    watching = Watching(take, levels, STEP_S, {"hot": rms, "cold": rms})
    return watching, [watching(k, path) for k in range(len(steps))]


@pytest.mark.parametrize("percent", [0.9, 1.9])
def test_a_limit_passed_at_the_last_step_is_no_bound(percent: float) -> None:
    # convention of a rated maximum: 1 % THD
    rung = Rung(2.0, {"single_ended": 2.49}, {"single_ended": percent})
    take: Any = SimpleNamespace(channels=("hot", "single-ended"))
    watching = Watching(take, (2.0,), STEP_S, {}, [rung])
    rise: Any = SimpleNamespace(end="output")
    said = " ".join(_told(rise, watching, SimpleNamespace(ended=None)))  # type: ignore[arg-type]
    assert ("did not clip" in said) == (percent < 1.0)


def test_what_is_not_plugged_as_before_does_not_rise(tmp_path: Path) -> None:
    watching, said = watched(tmp_path, (1.0, -0.86))
    # closed form: 0.86 is -1.3 dB, a forgotten resistor of 604 ohm on 100 ohm
    assert said == ["cold is -1.3 dB against the take plugged alike"]
    assert watching.wrong.code == "not-as-before"


def test_an_output_that_does_not_follow_ends_it(tmp_path: Path) -> None:
    peaks = [(1.0, -1.0)] * 8
    # closed form: 1.06 to the sixth is 3.04 dB
    assert watched(tmp_path, *peaks)[1] == [
        *[None] * 6, *["the voltage between the legs does not follow its drive any more"] * 2,
    ]  # fmt: skip


def test_a_leg_that_bends_ends_it_though_it_cancels_between_them(tmp_path: Path) -> None:
    watching, said = watched(tmp_path, (1.0, -1.0), (1.06, -1.06), bend=0.04)
    assert said == [None, "pin 2 distorts by 4 %"]
    # closed form: 0.04 over the root of 1 + 0.04 squared; alike on both legs, nothing between
    assert watching.rungs[1].percent["hot"] == pytest.approx(3.997, abs=0.01)
    assert watching.rungs[1].percent["differential"] < 0.01


def test_it_is_made_only_where_it_was_asked_for_and_after_gentler_takes() -> None:
    setting = Setting(DEVICE, usual(), "left")
    assert not {"maximum", "single-ended-maximum"} & set(able(setting, Known()))
    setting = Setting(replace(DEVICE, connectors=("xlr", "rca")), Kit(single_ended=True), "left",
                      maximum=True)  # fmt: skip
    made: list[str] = []
    while True:
        step = next_step(setting, Known(), SoFar(tuple(made)), lambda _: (None, None))
        if not hasattr(step, "take"):
            break
        made.append(step.take)
    assert made[-3:] == ["maximum", "single-ended-maximum", "second-open"]
    assert step.open_[-2:] == ("the maximum between the legs",
                               "the maximum of the single-ended output")  # fmt: skip
    files = step_for("maximum", replace(setting, plays_files=True), Known())
    assert isinstance(files, Refused)


CLIPPING = """\
format = "probe-stage/1"
circuit = "symmetrical-dual"
takes = ["open"]
[device]
maker = "Invented"
model = "clipping"
[nonlinear]
hot = { clip_volts = 2.5 }
cold = { clip_volts = 2.5 }
single_ended = { clip_volts = 9.0 }
"""


def rms_at_one_percent(clip: float) -> float:
    """V rms, harmonics included, of a sine that is cut at ``clip`` and distorts by 1 %."""
    turns = 2.0 * np.pi * (np.arange(4096) + 0.5) / 4096
    low, high = clip, 2.0 * clip
    for _ in range(60):
        peak = 0.5 * (low + high)
        lines = np.abs(np.fft.rfft(np.clip(peak * np.sin(turns), -clip, clip))) ** 2
        thd = np.sqrt(lines[2:21].sum() / lines[1:21].sum())
        low, high = (peak, high) if thd < 0.01 else (low, peak)
    return float(np.sqrt(2.0 * lines[1:21].sum()) / 4096)


@pytest.mark.long
def test_a_guided_run_states_the_maximum_or_that_it_is_above(tmp_path: Path) -> None:
    stage = tmp_path / "stage.toml"
    stage.write_text(CLIPPING, "utf-8")
    leads = 'format = "probe-kit/1"\nsingle_ended = true\n'
    kit = kit_file(tmp_path, leads)
    run = drive(
        tmp_path / "session", "--virtual", str(stage), "--fast", "--kit", str(kit), "--maximum",
        answers={"Direct volts": "0.002", "Alternating volts": "0.001"},
    )  # fmt: skip
    assert run.status == 0, run.text[-2000:]
    assert run.alarms == []
    text = " ".join(run.text.split())
    assert "Before the output is driven until it clips" in text
    assert "something else gave way first" in text
    steps = [t for t in read_session(tmp_path / "session").takes if t.signal == "level-steps"]
    assert [t.name for t in steps] == ["left maximum", "left single ended maximum"]
    facts = analyse_session(tmp_path / "session", draws=400)["sides"]["left"]["facts"]
    both, single = facts["differential_maximum"], facts["single_ended_maximum"]
    # closed form: a sine cut at 2.5 V; what the inputs take off (100 ohm into 20 kohm, half a
    # percent) is in the interval, which knows no impedance
    assert both["low"] <= 2.0 * rms_at_one_percent(2.5) * 1.005 <= both["high"]
    assert both["first"] == "together"
    # closed form: its gain is that of pin 2, which is cut at 2.5 V peak and must not be cut harder
    # than by 3 % (1.15 times the peak) and a step
    assert single["bound"] == "above"
    assert 2.5 < math.sqrt(2.0) * single["value"] < 2.5 * 1.15 * 1.06 < 9.0


def test_distortion_of_one_tone_is_that_of_the_wave(tmp_path: Path) -> None:
    watching, _ = watched(tmp_path, (1.0, -1.0), (1.06, -1.06), bend=0.04)
    take = replace(watching.take, frames=round(STEP_S * RATE))
    # closed form: 0.04 over the root of 1 + 0.04 squared; alike on both legs, nothing between
    found = distortion_of(take, tmp_path / "rising.wav")
    assert found["hot"] == pytest.approx(3.997, abs=0.01)
    assert found["differential"] < 0.01


def test_the_start_is_reckoned_from_the_take_that_bends_least() -> None:
    def made(drive: float, *channels: str) -> Any:
        one = plugged_alike(2.0, -2.0)
        one.take = SimpleNamespace(channels=channels, loads=(), injections=(), drive_volts=drive)
        return one

    step: Any = SimpleNamespace(plugged=SimpleNamespace(channels=("hot", "single-ended")))
    quiet, loud = (made(v, "hot", "single-ended") for v in (0.1, 2.0))
    again, legs = made(0.1, "hot", "single-ended"), made(0.05, "hot", "cold")
    # by definition: the one driven least, the latest of like ones
    assert alike(step, [quiet, legs, loud]) is quiet
    assert alike(step, [quiet, again, loud]) is again
    assert alike(step, [legs]) is None


@pytest.mark.parametrize("turned", [False, True])
def test_legs_that_are_alike_and_changed_places_are_told_by_the_tone(turned: bool) -> None:
    def taken(start: int, sign: float) -> tuple[Take, Any]:
        """A tone of one stream from a frame on, hot and cold alike and opposite."""
        take = Take(
            name="one", file="", path=Path(), side="left", channels=("hot", "cold"),
            inputs=(INPUT, INPUT), signal="level-steps", tones_hz=(997.0,), phases_rad=(0.0,),
            drive_volts=0.5, drive_dbfs=None, volume="", state="play", driven_input_leg="both",
            timebase="run-1", start_frame=start, loads=(), injections=(), sample_rate=RATE,
            frames=RATE,
        )  # fmt: skip
        frames = np.arange(start, start + RATE)
        tone = 0.1 * sign * np.cos(2.0 * np.pi * 997.0 * frames / RATE)
        noise = 1e-6 * np.random.default_rng(start).standard_normal((RATE, 2))
        return take, (np.stack([tone, -tone], axis=1) + noise).astype(np.float32)

    before, samples = taken(11_000, 1.0)
    good = measure_take(replace(before, signal="tone"), 50.0, pieces=[samples])
    rising, heard = taken(480_000, 1.0)
    piece = heard[12_000:] if not turned else heard[12_000:, ::-1]
    # closed form: legs of opposite sign exchanged turn the tone by half
    assert exchanged(rising, 12_000, piece, 50.0, good) == turned
    assert not exchanged(replace(rising, timebase="run-2"), 12_000, piece, 50.0, good)
