"""What is on disk: readable at every moment, and nothing of it lost by a kill."""

from __future__ import annotations

import errno
import signal
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile

from probe.bench.stored import storage
from probe.bench.stored.storage import SessionFolder
from probe.bench.stream.card import StreamFormat
from probe.bench.stream.recorder import Recorder
from probe.bench.stream.wav import HEADER_BYTES, WavWriter, header, mend
from probe.errors import BadInput
from probe.facts.kept import kept_warnings
from probe.facts.refused import refused_warnings
from probe.session.read import read_session
from tests.bench.stored.counting import BENCH, DEVICE, RATE, counted, settle_cut, take
from tests.bench.stream.played import Kept


def recorded_session(folder: Path, takes: int) -> SessionFolder:
    session = SessionFolder.create(folder, DEVICE, BENCH, head=["# by hand"])
    with Recorder(Kept(counted).card, StreamFormat(RATE, 2, 2)) as recorder:
        for _ in range(takes):
            session.keep(recorder.record(session.begin(take(session.free_file("idle"))), 0.2))
    return session


def test_a_session_reads_back_as_it_was_recorded(tmp_path: Path) -> None:
    recorded_session(tmp_path / "s", 3)
    session = read_session(tmp_path / "s")
    assert [t.file for t in session.takes] == ["idle.wav", "idle-2.wav", "idle-3.wav"]
    for one in session.takes:
        samples = soundfile.read(one.path)[0]
        assert one.timebase == "run-1"
        # Closed form: each sample is the number of its frame.
        assert np.array_equal(
            samples[:, 1] * 2.0**24, one.start_frame + np.arange(one.frames, dtype=np.float64)
        )
    assert sorted(p.name for p in (tmp_path / "s").iterdir()) == [
        *("idle-2.wav", "idle-3.wav", "idle.wav", "session.toml"),
    ]


def test_resuming_keeps_what_stood_there(tmp_path: Path) -> None:
    first = recorded_session(tmp_path, 2)
    first.add_meter({"side": "left", "between": ["hot", "ground"], "volts_dc": 0.004})
    text = (tmp_path / "session.toml").read_text("utf-8")
    second = SessionFolder.resume(tmp_path)
    assert (second.next_run, second.cut, second.gain_raised) == (2, None, None)
    second.add_meter({"side": "left", "between": ["cold", "ground"], "volts_dc": 0.001})
    assert (tmp_path / "session.toml").read_text("utf-8").startswith("# by hand\n")
    second.meters.pop()
    second.forget("idle-2.wav")
    assert (tmp_path / "idle-2.wav.old").exists()
    assert len(read_session(tmp_path).takes) == 1
    assert text.count("[[take]]") == 2


def test_a_take_stopped_before_its_first_byte_is_taken_again(tmp_path: Path) -> None:
    """Lost: the session could not be continued, for a file with nothing in it was not a take."""
    final = recorded_session(tmp_path, 1).begin(take("idle-2.wav"))
    path = final.with_name(final.name + ".part")
    path.touch()
    again = SessionFolder.resume(tmp_path)
    assert again.cut is None
    assert not path.exists()
    with Recorder(Kept(counted).card, StreamFormat(RATE, 2, 2)) as recorder:
        again.keep(recorder.record(again.begin(take("idle-2.wav")), 0.2))
    assert [t["file"] for t in again.takes] == ["idle.wav", "idle-2.wav"]


def test_a_refused_load_stays_until_it_is_kept(tmp_path: Path) -> None:
    load = [{"from": "hot", "to": "cold", "ohm": 1210.0, "u95_percent": 0.1, "part": "R3"}]
    tried = {**take("load.wav"), "load": load}
    recorded_session(tmp_path, 1).refuse(tried, "the level falls behind the drive by 3.8 dB")
    again = SessionFolder.resume(tmp_path)
    again.refuse(tried, "the level falls behind the drive by 3.7 dB")
    (refused,) = read_session(tmp_path).refused_loads
    assert (refused.side, refused.loads[0].ohm) == (tried["side"], 1210.0)
    assert refused.seen == "the level falls behind the drive by 3.7 dB"
    (warning,) = refused_warnings(read_session(tmp_path))
    assert "a load of 1.21 k\u03a9 from hot to cold was refused" in warning["message"]
    assert warning["side"] == tried["side"]
    again._add(tried)
    assert again.refused == []


def test_what_was_found_wrong_and_kept_warns_until_it_is_right(tmp_path: Path) -> None:
    store = recorded_session(tmp_path, 1)
    store.keep_although("bench-check", ("input 1 reads 1.2 dB low",))
    store.keep_although("player-path", ("levelling: 15.5 dB apart", "gaps: 3 jumps"), "left")
    SessionFolder.resume(tmp_path).keep_although(
        "player-path", ("levelling: " + 300 * "x ",), "left"
    )
    told = kept_warnings(read_session(tmp_path))
    assert [w["code"] for w in told] == ["bench-not-as-calibrated", "player-path"]
    assert "input 1 reads 1.2 dB low" in told[0]["message"]
    assert told[1]["side"] == "left"
    assert "levelling: x" in told[1]["message"]
    again = SessionFolder.resume(tmp_path)
    again.keep_although("player-path", (), "left")
    again.keep_although("bench-check", ())
    assert read_session(tmp_path).kept_although == ()


def test_a_raised_gain_is_remembered_over_a_kill(tmp_path: Path) -> None:
    recorded_session(tmp_path, 1).note_gain("the gain of input 1")
    again = SessionFolder.resume(tmp_path)
    assert again.gain_raised == "the gain of input 1"
    again.note_gain(None)
    assert SessionFolder.resume(tmp_path).gain_raised is None
    assert not (tmp_path / "unfinished.toml").exists()


def test_a_take_that_would_not_be_read_is_refused_before_it_is_recorded(tmp_path: Path) -> None:
    session = recorded_session(tmp_path, 1)
    with pytest.raises(BadInput, match="side"):
        session.begin({**take("b.wav"), "side": "middle"})
    assert sorted(p.name for p in tmp_path.iterdir()) == ["idle.wav", "session.toml"]


def test_a_full_disk_at_the_end_of_a_take(tmp_path: Path, monkeypatch: Any) -> None:
    session = recorded_session(tmp_path, 1)
    before = (tmp_path / "session.toml").read_bytes()
    with Recorder(Kept(counted).card, StreamFormat(RATE, 2, 2)) as recorder:
        done = recorder.record(session.begin(take("b.wav")), 0.2)
    with monkeypatch.context() as patch:

        def full(_: int) -> None:
            raise OSError(errno.ENOSPC, "No space left on device")

        patch.setattr(storage.os, "fsync", full)
        with pytest.raises(BadInput, match="No space left"):
            session.keep(done)
    assert (tmp_path / "session.toml").read_bytes() == before
    again = SessionFolder.resume(tmp_path)
    assert again.cut is not None
    assert (again.cut.whole, again.cut.frames) == (True, done.frames)
    again.keep_cut()
    assert [t.file for t in read_session(tmp_path).takes] == ["idle.wav", "b.wav"]


def test_a_full_disk_during_a_take(tmp_path: Path, monkeypatch: Any) -> None:
    written = WavWriter.write
    room = [20]

    def write(self: WavWriter, block: Any) -> None:
        room[0] -= 1
        if room[0] < 0:
            raise OSError(errno.ENOSPC, "No space left on device")
        written(self, block)

    monkeypatch.setattr(WavWriter, "write", write)
    session = SessionFolder.create(tmp_path, DEVICE, BENCH)
    with Recorder(Kept(counted).card, StreamFormat(RATE, 2, 2)) as recorder:
        done = recorder.record(session.begin(take("a.wav")), 60.0)
        assert done.stop is not None
        assert done.stop.reason.value == "disk"
        assert "No space left" in done.stop.message
        assert recorder.listen(0.1).complete
    assert soundfile.info(str(tmp_path / "a.wav.part")).frames == done.frames > 0


@pytest.mark.parametrize("cut", [0, 1, 5, 7])
def test_mending_a_header(tmp_path: Path, cut: int) -> None:
    path = tmp_path / "a.wav"
    file = WavWriter(path, 44100, 2)
    file.write(np.ones((1000, 2), dtype=np.float32))
    # Killed: the header still says that there is nothing.
    data = path.read_bytes()
    assert data[:HEADER_BYTES] == header(44100, 2, 0)
    path.write_bytes(data[: len(data) - cut])
    # Closed form: two float32 channels are 8 bytes a frame.
    assert mend(path) == (1000 if cut == 0 else 999)
    assert soundfile.info(str(path)).frames == (1000 if cut == 0 else 999)
    file.close()


def test_what_is_not_ours_is_not_mended(tmp_path: Path) -> None:
    path = tmp_path / "a.wav"
    soundfile.write(path, np.zeros((100, 2)), 48000, "PCM_24")
    before = path.read_bytes()
    with pytest.raises(BadInput, match="left as it is"):
        mend(path)
    assert path.read_bytes() == before


def test_beyond_four_gigabytes_the_header_is_rf64(tmp_path: Path) -> None:
    path = tmp_path / "long.wav"
    frames = 2**32 // 8 + 1000
    with path.open("wb") as file:
        file.write(header(48000, 2, frames))
        file.truncate(HEADER_BYTES + frames * 8)  # a file with a hole: takes no room
    info = soundfile.info(str(path))
    # Reference library: libsndfile reads the 64-bit lengths.
    assert (info.format, info.frames, info.channels) == ("RF64", frames, 2)


def kill_once(folder: Path, after_s: float) -> tuple[str, int]:
    """Let the program record into ``folder``, kill it; return its timebase and frames it owed.

    Owed is what it had heard, but for the last second.
    """
    heard = folder.with_name("heard")
    child = subprocess.Popen(
        [sys.executable, "-m", "tests.bench.stored.counting", str(folder), str(heard)],
        stdout=subprocess.PIPE,
        text=True,
    )
    assert child.stdout is not None
    timebase = child.stdout.readline().strip()
    time.sleep(after_s)
    child.send_signal(signal.SIGKILL)
    child.wait()
    child.stdout.close()
    return timebase, int(np.fromfile(heard, np.int64)[0]) - RATE


def frames_of(path: Path) -> Any:
    return np.round(soundfile.read(path, always_2d=True)[0][:, 0] * 2.0**24).astype(int)


def check_kills(folder: Path, kills: int, seed: int) -> None:
    """Kill at random moments, resume each time, and look for every frame that was recorded."""
    random = np.random.default_rng(seed)
    for _ in range(kills):
        known = set(folder.iterdir()) if folder.exists() else set()
        timebase, owed = kill_once(folder, float(random.uniform(0.0, 2.2)))
        session = SessionFolder.resume(folder)
        settle_cut(session)
        new = [p for p in folder.iterdir() if p not in known and p.suffix in (".wav", ".cut")]
        found = np.sort(np.concatenate([frames_of(p) for p in new])) if new else np.array([])
        # All takes follow one another at once: up to a second before the kill only the blocks
        # between two takes may be missing.
        assert np.array_equal(found, np.unique(found))
        assert (found[-1] if found.size else 0) >= owed - 4096, (owed, found.size)
        reread = read_session(folder).takes
        assert {p.name for p in new if p.suffix == ".wav"} <= {t.file for t in reread}
        for one in reread:
            if one.timebase == timebase:
                assert frames_of(one.path)[0] == one.start_frame
                assert np.all(np.diff(frames_of(one.path)) == 1)


@pytest.mark.long
def test_kills_lose_nothing(tmp_path: Path) -> None:
    check_kills(tmp_path / "s", 2, 1)


@pytest.mark.long
def test_twenty_kills_lose_nothing(tmp_path: Path) -> None:
    check_kills(tmp_path / "s", 20, 2)
