"""Signals to a guided run that is recording: it ends in order, and nothing is lost."""

from __future__ import annotations

import signal
import sys
import tomllib
from pathlib import Path

import pexpect
import pytest
import soundfile

from probe.bench.stream.wav import HEADER_BYTES
from tests.bench.guided.driven import command, drive, environment, kit_file
from tests.house.readme import ROOT

WORDS = ("--virtual", "core-and-inverter", "--plain")
RECORDED_S = 2.0


def until_recording(child: pexpect.spawn) -> None:
    """Answer what is asked until the first take is being recorded."""
    while child.expect([r" > $", "Now recording"]) == 0:
        question = "\n".join((child.before or "").splitlines()[-3:])
        last = question.splitlines()[-1]
        if "volts" in last:
            child.sendline("0.002")
        else:
            child.sendline("y" if last.startswith("y/n") and "[" not in last else "")


def on_disk(folder: Path) -> int:
    """Return the frames of a take that is being recorded, 0 before there is one."""
    parts = [p for p in folder.glob("*.part") if p.stat().st_size > HEADER_BYTES]
    return max((soundfile.info(str(p)).frames for p in parts), default=0)


@pytest.mark.long
@pytest.mark.parametrize("asked", [signal.SIGINT, signal.SIGTERM])
def test_a_signal_ends_in_order_and_keeps_what_was_recorded(
    tmp_path: Path, asked: signal.Signals
) -> None:
    folder, kit = tmp_path / "session", kit_file(tmp_path)
    words = command(folder, *WORDS, "--kit", str(kit), "--seconds", "30")
    child = pexpect.spawn(
        sys.executable, words, env=environment(tmp_path / "data"), cwd=str(ROOT),
        encoding="utf-8", timeout=90, dimensions=(40, 80), echo=False,
    )  # fmt: skip
    try:
        until_recording(child)
        while (recorded := on_disk(folder)) < RECORDED_S * 48000:
            assert child.expect([pexpect.TIMEOUT, pexpect.EOF], timeout=0.1) == 0
        child.kill(asked)
        child.expect(pexpect.EOF)
        child.close()
    finally:
        child.close(force=True)
    # source: 128 + the number of the signal, the convention of shells
    assert child.exitstatus == 128 + asked
    last = (child.before or "").replace("\r\n", " ")
    assert "Traceback" not in last
    # else somebody who pressed Ctrl-C does not know that the session can be continued
    assert f"go on with: probe measure {folder} --virtual core-and-inverter" in last
    left = tomllib.loads((folder / "unfinished.toml").read_text("utf-8"))["take"]["file"]
    part = folder / f"{left}.part"
    # what stood on the disk before the signal stands there after it
    assert soundfile.info(str(part), verbose=False).frames >= recorded
    again = drive(folder, *WORDS, "--fast", "--kit", str(kit), plain=False, answers={"r/s": "q"})
    assert again.status == 3
    title = left.removesuffix(".wav").replace("-", " ")
    assert f"The take {title} was cut" in again.text.replace("\n", " ")
    assert (folder / f"{left}.cut").is_file()
