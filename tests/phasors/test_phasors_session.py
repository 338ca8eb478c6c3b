"""Whole sessions on disk: which takes are measured, in what order, how fast."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
import soundfile
from numpy.typing import NDArray

from probe.errors import BadInput
from probe.phasors import carries_tones, measure, stands_on_mains
from probe.session.read import read_session

from .recordings import phasors

RATE = 48000
HEAD = """\
format = "probe-session/1"
[device]
maker = "Harrowgate"
model = "Tern"
[bench]
interface = "two-channel USB interface"
mains_hz = 50
[[bench.input]]
volts_full_scale = 8.0
impedance_ohm = 20000.0
[[bench.input]]
volts_full_scale = 4.0
impedance_ohm = 20000.0
"""


def take_table(name: str, signal: str, extra: str = "") -> str:
    return f"""
[[take]]
name = "{name}"
file = "{name}.wav"
side = "left"
channels = ["hot", "cold"]
signal = "{signal}"
{extra}
"""


def write(folder: Path, name: str, x: NDArray[np.float64]) -> None:
    soundfile.write(folder / f"{name}.wav", x, RATE, subtype="PCM_24")


def tones(hz: list[float], v: NDArray[np.complex128], seconds: float) -> NDArray[np.float64]:
    t = np.arange(round(seconds * RATE)) / RATE
    volts = sum(
        np.sqrt(2.0) * (row[None, :] * np.exp(2j * np.pi * f * t)[:, None]).real
        for f, row in zip(hz, v, strict=True)
    )
    return np.asarray(volts) / np.array([8.0, 4.0])


def test_a_session_of_many_kinds_of_takes(tmp_path: Path) -> None:
    rng = np.random.default_rng(1)
    hz, injected = [41.0, 997.0, 9973.0], [71.0, 883.0]
    every = sorted(hz + injected)
    v = phasors(rng, 3, (0.5, 0.4))
    w = phasors(rng, 5, (0.3, 0.2))
    source = (
        'inject = [{ into = "cold", through_ohm = 10000.0, volts = 0.3, tones_hz = [71.0, 883.0] }]'
    )
    text = HEAD + take_table("quiet", "idle")
    text += take_table("open", "multitone", f"tones_hz = {hz}")
    text += take_table("floor", "floor")
    text += take_table("inject", "multitone", f"tones_hz = {hz}\n{source}")
    text += take_table("off", "idle", f'state = "off"\n{source}')
    (tmp_path / "session.toml").write_text(text)
    noise = 1e-6 * rng.standard_normal((RATE, 2))
    write(tmp_path, "quiet", noise)
    write(tmp_path, "floor", noise)
    write(tmp_path, "open", tones(hz, v, 1.0))
    write(tmp_path, "inject", tones(every, w, 1.0))
    write(tmp_path, "off", tones(injected, w[:2], 1.0))
    session = read_session(tmp_path)
    seen: list[tuple[int, int, str]] = []
    found = measure(session, progress=lambda *at: seen.append(at))
    # the definition: takes with tones, in the session's order
    assert [p.take.name for p in found] == ["open", "inject", "off"]
    assert seen == [(0, 3, "open"), (1, 3, "inject"), (2, 3, "off"), (3, 3, "")]
    assert [carries_tones(t) for t in session.takes] == [False, True, False, True, True]
    # closed form: the files hold these phasors, each channel at its own scale
    assert np.abs(found[0].volts / v - 1.0).max() < 1e-5
    assert np.abs(found[1].volts / w - 1.0).max() < 1e-5
    assert np.abs(found[2].volts / w[:2] - 1.0).max() < 1e-5
    assert list(found[1].played) == [f in hz for f in every]
    assert all(p.usable and not p.remarks for p in found)


def test_hum_of_the_idle_take_counts_for_tones_on_it(tmp_path: Path) -> None:
    rng = np.random.default_rng(2)
    hz = [50.0, 997.0]
    v = phasors(rng, 2, (0.5, 0.4))
    text = HEAD + take_table("quiet", "idle") + take_table("open", "multitone", f"tones_hz = {hz}")
    (tmp_path / "session.toml").write_text(text)
    t = np.arange(4 * RATE) / RATE
    # hum of one line only: nothing beside it could tell
    hum = np.sqrt(2.0) * 0.01 * np.cos(2 * np.pi * 50.02 * t + 1.0)[:, None] / np.array([8.0, 4.0])
    noise = 1e-6 * rng.standard_normal((4 * RATE, 2))
    write(tmp_path, "quiet", hum + noise)
    write(tmp_path, "open", tones(hz, v, 4.0) + hum - noise)
    (found,) = measure(read_session(tmp_path))
    # closed form: hum of 10 mV in the idle take is 10 mV of doubt, and the error is about that
    sd = np.sqrt(np.diagonal(found.noise[0]).real)
    assert sd == pytest.approx([0.01, 0.01], rel=0.05)
    assert np.all(np.abs(found.volts[0] - v[0]) < np.sqrt(3.0) * sd)
    assert list(found.hum_limited) == [True, False]
    assert [r.code for r in found.remarks] == ["tone-on-hum"]


def test_which_tones_stand_on_mains() -> None:
    # closed form: multiples of 50 Hz, give or take 0.25 % and 1/T
    assert stands_on_mains(np.array([997.0, 1000.0]), 50.0, 4.0)
    assert stands_on_mains(np.array([50.6]), 50.0, 1.0)
    assert not stands_on_mains(np.array([20.0, 41.0, 83.0, 4999.0]), 50.0, 4.0)
    assert not stands_on_mains(np.array([50.0]), 60.0, 4.0)


def test_damaged_audio_is_bad_input(tmp_path: Path) -> None:
    text = HEAD + take_table("open", "tone", "tones_hz = [997.0]")
    (tmp_path / "session.toml").write_text(text)
    write(tmp_path, "open", tones([997.0], np.array([[0.5, 0.4]]) + 0j, 1.0))
    session = read_session(tmp_path)
    whole = (tmp_path / "open.wav").read_bytes()
    (tmp_path / "open.wav").write_bytes(whole[:1000])
    with pytest.raises(BadInput):
        measure(session)


SPEED = """
import json, sys, time
import numpy as np, soundfile
from probe.phasors import measure
from probe.session.read import read_session

session = read_session(sys.argv[1])

def floor():
    with soundfile.SoundFile(session.takes[0].path) as file:
        for block in file.blocks(65536, dtype="float64", always_2d=True):
            np.fft.rfft(block, axis=0)

def timed(work):
    begin = time.perf_counter()
    work()
    return time.perf_counter() - begin

# the least of many is what the work costs; beside another test seven may all be disturbed
pairs = []
while len(pairs) < 7 or (len(pairs) < 30 and min(p[1] for p in pairs) > min(p[0] for p in pairs)):
    pairs.append((timed(floor), timed(lambda: measure(session))))
print(json.dumps([min(p[0] for p in pairs), min(p[1] for p in pairs)]))
"""


@pytest.mark.long
def test_long_takes_cost_less_than_one_transform_of_every_sample(tmp_path: Path) -> None:
    hz = [20.0, 41.0, 83.0, 167.0, 331.0, 997.0, 1531.0, 2503.0, 4999.0, 9973.0, 14983.0, 19997.0]
    v = phasors(np.random.default_rng(3), 12, (0.2, 0.1))
    text = HEAD + take_table("open", "multitone", f"tones_hz = {hz}")
    (tmp_path / "session.toml").write_text(text)
    second = tones(hz, v, 1.0)
    write(tmp_path, "open", np.tile(second, (300, 1)))
    # one thread each: what is compared is work, not how many cores are free
    env = {**os.environ, "OPENBLAS_NUM_THREADS": "1", "OMP_NUM_THREADS": "1"}
    done = subprocess.run(
        [sys.executable, "-c", SPEED, str(tmp_path)],
        env=env,
        capture_output=True,
        text=True,
        check=True,
    )
    floor, ours = json.loads(done.stdout)
    # the promise: 1.0 times reading the file in blocks of 65536 frames and one real transform of
    # each, measured in the same run. Five minutes: what a take costs once, however long it is, is
    # not what is promised here (a quarter of two minutes). 0.5 to 0.9, as page faults cost.
    assert ours <= floor
