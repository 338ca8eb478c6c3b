"""Keys pressed while a take is recorded.

Lost without it: an Enter too many says that the next take is plugged, and it is recorded as it is
not.
"""

from __future__ import annotations

import sys
from pathlib import Path

import pexpect
import pytest

from tests.bench.guided.driven import command, environment, kit_file
from tests.house.readme import ROOT


@pytest.mark.long
def test_an_enter_too_many_does_not_begin_the_next_take(tmp_path: Path) -> None:
    words = [
        "--virtual",
        "core-and-inverter",
        "--fast",
        "--plain",
        "--kit",
        str(kit_file(tmp_path)),
    ]
    child = pexpect.spawn(
        sys.executable, command(tmp_path / "s", *words), env=environment(tmp_path / "data"),
        cwd=str(ROOT), encoding="utf-8", timeout=60, dimensions=(40, 80), echo=False,
    )  # fmt: skip
    child.delaybeforesend = None
    try:
        while True:
            child.expect(" > $")
            heard = str(child.before).rstrip()
            if "Nothing to plug" in heard:  # the second take of the side is asked for
                break
            asked = heard.splitlines()[-1]
            if asked.startswith("r/s"):
                child.send("\r\r\r")
            elif "Check it now" in heard:
                child.send("s\r")
            else:
                child.send("y\r" if asked.startswith("y/n") and "[" not in asked else "\r")
        # the take before took its Enter; those behind it were not kept for this question, nor
        # for any other: it still waits
        assert child.expect([pexpect.TIMEOUT, "Now recording", "Kept"], timeout=2.0) == 0
    finally:
        child.close(force=True)
    assert [p.name for p in (tmp_path / "s").glob("*.wav")] == ["left-open.wav"]
