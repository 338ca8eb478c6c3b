"""Files written together: all of them, or nothing new and nothing left over."""

from __future__ import annotations

import errno
import os
import socket
import threading
from pathlib import Path

import pytest

from probe.cli.main import main
from probe.cli.output import write_one, write_together
from probe.errors import BadInput

TEXTS = {"facts.json": "{}", "report.html": "<p>\u03a9</p>"}


def listed(folder: Path) -> list[str]:
    return sorted(p.name for p in folder.rglob("*"))


def test_into_a_folder_that_has_to_be_made(tmp_path: Path) -> None:
    written = write_together(tmp_path / "a" / "b", TEXTS)
    assert [p.read_text(encoding="utf-8") for p in written] == list(TEXTS.values())
    assert listed(tmp_path / "a" / "b") == sorted(TEXTS)


def test_a_second_time_replaces_the_first(tmp_path: Path) -> None:
    write_together(tmp_path, dict.fromkeys(TEXTS, "old"))
    write_together(tmp_path, TEXTS)
    assert (tmp_path / "facts.json").read_text(encoding="utf-8") == "{}"
    assert listed(tmp_path) == sorted(TEXTS)


@pytest.mark.parametrize("name", TEXTS)
def test_a_folder_in_the_place_of_a_file(tmp_path: Path, name: str) -> None:
    (tmp_path / name).mkdir()
    with pytest.raises(BadInput, match=f"{name} is a folder there"):
        write_together(tmp_path, TEXTS)
    assert listed(tmp_path) == [name]


def test_a_file_in_the_place_of_the_folder(tmp_path: Path) -> None:
    (tmp_path / "x").write_text("kept")
    for folder in (tmp_path / "x", tmp_path / "x" / "y"):
        with pytest.raises(BadInput, match="choose another place"):
            write_together(folder, TEXTS)
    assert (tmp_path / "x").read_text() == "kept"


def test_links_are_replaced_and_never_written_through(tmp_path: Path) -> None:
    precious = tmp_path / "precious"
    precious.write_text("kept")
    folder = tmp_path / "session"
    folder.mkdir()
    for name in ("facts.json", ".facts.json.part", ".report.html.part"):
        (folder / name).symlink_to(precious)
    write_together(folder, TEXTS)
    assert precious.read_text() == "kept"
    assert not (folder / "facts.json").is_symlink()


@pytest.mark.parametrize("where", ["", "new", "new/inner"])
def test_a_disk_that_fills_up(tmp_path: Path, where: str, monkeypatch: pytest.MonkeyPatch) -> None:
    honest = Path.write_bytes

    def full(self: Path, data: bytes) -> int:
        if self.name == "report.html":
            honest(self, data[:2])
            raise OSError(errno.ENOSPC, "No space left on device")
        return honest(self, data)

    monkeypatch.setattr(Path, "write_bytes", full)
    with pytest.raises(BadInput, match="No space left on device"):
        write_together(tmp_path / where, TEXTS)
    assert listed(tmp_path) == []


def test_a_device_or_a_pipe_is_written_to_and_not_replaced(tmp_path: Path) -> None:
    with pytest.raises(BadInput, match="/dev/full: cannot be written"):
        write_one("/dev/full", "text")
    assert Path("/dev/full").is_char_device()
    pipe = tmp_path / "pipe"
    os.mkfifo(pipe)
    heard: list[str] = []
    reader = threading.Thread(target=lambda: heard.append(pipe.read_text("utf-8")))
    reader.start()
    write_one(str(pipe), "\u03a9")
    reader.join(60.0)
    assert heard == ["\u03a9"]
    assert pipe.is_fifo()


def test_a_pipe_under_the_name_of_a_result_is_not_replaced(tmp_path: Path) -> None:
    pipe = tmp_path / "report.html"
    os.mkfifo(pipe)
    with pytest.raises(BadInput, match="device or a pipe"):
        write_together(tmp_path, TEXTS)
    assert pipe.is_fifo()
    assert listed(tmp_path) == ["report.html"]


def test_a_socket_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)  # names of sockets are short
    with socket.socket(socket.AF_UNIX) as there:
        there.bind("s")
        with pytest.raises(BadInput, match="is not a file"):
            write_one("s", "text")
    assert Path("s").is_socket()


def test_a_link_that_is_named_stays_and_what_it_leads_to_is_written(tmp_path: Path) -> None:
    real, link, loop = (tmp_path / name for name in ("real.html", "link.html", "loop.html"))
    real.write_text("old", encoding="utf-8")
    link.symlink_to(real.name)
    loop.symlink_to(loop.name)
    write_one(str(link), "new")
    assert link.is_symlink()
    assert real.read_text(encoding="utf-8") == "new"
    with pytest.raises(BadInput, match="leads nowhere"):
        write_one(str(loop), "new")
    assert sorted(p.name for p in tmp_path.iterdir()) == ["link.html", "loop.html", "real.html"]


@pytest.mark.parametrize(
    "words",
    [
        ["advise", "source.toml", "rca:47k", "--html"],
        ["advise", "source.toml", "rca:47k", "--page"],
        ["archive", "drift", "1", "--html"],
        ["archive", "family", "1", "--html"],
        ["archive", "show", "1", "--facts"],
        ["archive", "show", "1", "--report"],
        ["archive", "export"],
        ["batch", ".", "--csv"],
        ["calibrate", "--practice", "--out"],
        ["compare", "one", "other", "--html"],
        ["takes", "--out"],
        ["verify", "source", "specification.toml", "--html"],
    ],
    ids=" ".join,
)
def test_a_slip_in_the_folder_of_a_file_is_told_at_once_and_no_folder_made(
    words: list[str],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    # one rule for all files that are named: the user looks for the page where it was meant to be
    monkeypatch.chdir(tmp_path)
    assert main([*words, "no-such-folder/file"]) == 2
    said = capsys.readouterr()
    assert said.out == ""
    assert said.err.count("\n") == 1
    assert 'there is no folder "no-such-folder"; choose one that is there' in said.err
    if words[-1].startswith("--"):
        assert f"{words[-1]}: " in said.err
    assert listed(tmp_path) == []


def test_a_table_among_results_goes_into_the_folder_that_is_made_for_them(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    # a session that cannot be analysed: its line must not be lost with the folder
    monkeypatch.chdir(tmp_path)
    (tmp_path / "s").mkdir()
    (tmp_path / "s" / "session.toml").write_text("format = 1", encoding="utf-8")
    words = ["batch", "s", "--jobs", "1", "--out", "results", "--csv", "results/all.csv"]
    assert main(words) == 1
    assert "1" in capsys.readouterr().out
    assert listed(tmp_path / "results") == ["all.csv"]
