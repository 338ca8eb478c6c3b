"""A disk that takes nothing more, at any write of a run: it says how to go on and leaves no rest.

Lost without it: a run that ended as if its command had been wrong, and nobody told how it goes on.
"""

from __future__ import annotations

import errno
from pathlib import Path
from typing import Any

import pytest

from probe.bench.shown.follow import FollowPage, Shown
from probe.bench.stream.wav import WavWriter
from probe.cli.main import main

FULL = OSError(errno.ENOSPC, "No space left on device")


def test_a_page_that_cannot_be_written_leaves_nothing(tmp_path: Path, monkeypatch: Any) -> None:
    page = FollowPage(tmp_path)
    page.show(Shown("One", "Open", "plug this"))
    before = page.path.read_text("utf-8")

    def half(self: Path, text: str, **_: object) -> None:
        self.write_bytes(text[:10].encode())
        raise FULL

    monkeypatch.setattr(Path, "write_text", half)
    page.show(Shown("One", "Open", "recording"))
    assert page.path.read_text("utf-8") == before
    assert [p.name for p in tmp_path.iterdir()] == ["follow.html"]


def test_a_recording_that_cannot_be_begun_leaves_nothing(tmp_path: Path, monkeypatch: Any) -> None:
    def full(_self: object, _raw: bytes) -> None:
        raise FULL

    monkeypatch.setattr(WavWriter, "_whole", full)
    with pytest.raises(OSError, match="No space"):
        WavWriter(tmp_path / "a.wav.part", 48000, 2)
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    ("name", "writes"),
    [
        ("guide.json", 0),  # the answers, once the session is begun
        ("session.toml", 1),  # the outcome of the check
        ("unfinished.toml", 0),  # the first take, before it is recorded
        ("left-open.wav.part", 0),
        ("session.toml", 3),  # keeping a take
    ],
)
@pytest.mark.long
def test_a_run_whose_disk_is_full_says_how_to_go_on(
    tmp_path: Path, monkeypatch: Any, capsys: pytest.CaptureFixture[str], name: str, writes: int
) -> None:
    monkeypatch.setenv("PROBE_DATA", str(tmp_path / "data"))
    opened = Path.open
    left = [writes]

    def open_(self: Path, mode: str = "r", *rest: Any, **more: Any) -> Any:
        if self.name in (name, f".{name}.new") and mode[0] in "wx":
            left[0] -= 1
            if left[0] < 0:
                raise FULL
        return opened(self, mode, *rest, **more)

    monkeypatch.setattr(Path, "open", open_)
    folder = tmp_path / "s"
    words = ["--virtual", "core-and-inverter", "--fast", "--plain", "--answers", "-"]
    # source: docs/live.md: 3 is stopped and can be continued
    assert main(["measure", str(folder), *words]) == 3
    said = capsys.readouterr().out
    assert "No space left on device" in said
    assert f"go on with: probe measure {folder}" in said
    assert not [p.name for p in folder.iterdir() if p.name.startswith(".")]
