"""Guided runs of a device that plays files itself, on the virtual bench through a terminal."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pytest
import soundfile

from probe.facts import analyse_session
from probe.session.read import read_session
from probe.simulate.library import load
from tests.bench.guided.driven import Run, drive, kit_file

INJECTOR = 'format = "probe-kit/1"\n[injector]\nohm = 10000.0\nu95_percent = 0.1\n'
BY_FILE = {"Direct volts": "0.002", "Alternating volts": "0.001", "i/f": "f"}


def guided(tmp_path: Path, *words: str, **answers: object) -> Run:
    kit = () if "--kit" in words else ("--kit", str(kit_file(tmp_path, INJECTOR)))
    return drive(
        tmp_path / "session", "--virtual", "core-and-inverter", "--fast", *kit, *words,
        answers={**BY_FILE, **answers},  # type: ignore[dict-item]
    )  # fmt: skip


@pytest.mark.long
def test_a_device_that_plays_files(tmp_path: Path) -> None:
    run = guided(tmp_path)
    assert run.status == 0, run.text[-2000:]
    assert run.alarms == []
    said = re.sub(r"\s+", " ", run.text)
    assert "Begin with the volume LOW" in said
    assert "polarity: fine. Upright" in said
    assert "SEEN" not in said
    folder = tmp_path / "session"
    assert "# Path, left: gaps: fine" in (folder / "session.toml").read_text("utf-8")
    assert soundfile.info(folder / "play" / "tones.wav").samplerate == 48000
    takes = read_session(folder).takes
    playing = [t for t in takes if t.tones_hz]
    assert all(t.drive_volts is None for t in playing)
    assert {t.drive_dbfs for t in playing if t.signal == "multitone"} == {-30.0}
    # what is promised: one tone has the peak of all together
    peak = 20.0 * np.log10(np.max(np.abs(soundfile.read(folder / "play" / "tones.wav")[0])))
    for take in (t for t in playing if t.signal == "tone"):
        assert take.drive_dbfs == pytest.approx(peak, abs=0.02)
    assert all(t.phases_rad is not None and t.timebase is None for t in playing)
    side = analyse_session(folder, draws=400)["sides"]["left"]
    # source: the circuit's own description in the library
    assert side["stage"]["kind"] == load("core-and-inverter").kind
    # source: the circuit's build-out resistors, 100 ohm, drawn with a tolerance (2 ohm
    # allowed)
    for leg in ("hot_impedance", "cold_impedance"):
        fact = side["facts"][leg]
        assert fact["value"] == pytest.approx(100.0, abs=fact["u95"] + 2.0)
    assert side["facts"]["hot_impedance"]["u95"] < 3.0
    assert "0.03 %" in side["facts"]["differential_thd"]["note"]


@pytest.mark.long
@pytest.mark.parametrize(
    ("mishap", "code"),
    [("player-converts", "conversion"), ("player-levels", "levelling"), ("player-gaps", "gaps")],
)
def test_what_a_player_does_to_the_file_is_seen(tmp_path: Path, mishap: str, code: str) -> None:
    run = guided(tmp_path, "--mishap", mishap, **{"y/n": "y", "a/k": "k", "r/s": _twice()})
    assert re.findall(r"Path \[([a-z]+)\]", run.text) == [code]
    assert f"# Path, left: {code}: SEEN" in (tmp_path / "session" / "session.toml").read_text()
    (kept,) = read_session(tmp_path / "session").kept_although
    assert (kept.about, kept.side, kept.seen.split(":")[0]) == ("player-path", "left", code)


LOADS = """format = "probe-kit/1"
[[load]]
part = "R1"
ohm = 604.0
u95_percent = 0.1
watt = 0.25
between = ["leg"]
"""


@pytest.mark.long
@pytest.mark.parametrize("take", ["load-cold", "load-hot"])
def test_leads_exchanged_at_a_load_are_told_though_the_player_stands_anywhere(
    tmp_path: Path, take: str
) -> None:
    """Lost: every take was said to contradict the others, and no kind came of the run."""
    (tmp_path / "loads.toml").write_text(LOADS, "utf-8")
    words = ["--kit", str(tmp_path / "loads.toml"), "--mishap", f"exchanged-leads@{take}"]
    run = guided(tmp_path, *words)
    assert run.alarms == ["legs-exchanged"]
    side = analyse_session(tmp_path / "session", draws=400)["sides"]["left"]
    # source: the circuit's own description in the library
    assert side["stage"]["kind"] == load("core-and-inverter").kind


def _twice():  # type: ignore[no-untyped-def]
    said = iter(["r", "q"])
    return lambda _heard: next(said, "q")
