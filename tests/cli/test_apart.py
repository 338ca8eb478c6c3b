"""A slip of one argument costs no recording: outputs are apart from all that is read."""

from __future__ import annotations

import argparse
import importlib
import os
from pathlib import Path

import pytest

from probe.cli import apart
from probe.cli.main import COMMANDS, main

SOURCE = 'format = "probe-source/1"\ndifferential_level_v = 4.0\nsingle_ended_level_v = 2.0\n'

DESTINATION = """format = "probe-destination/1"
[[input]]
connector = "rca"
[parts]
transformer = "mine.toml"
"""

SESSION = """format = "probe-session/1"
[[take]]
file = "open.wav"
"""


@pytest.fixture
def desk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder with one of everything that may be lost."""
    (tmp_path / "session").mkdir()
    for name, text in (
        ("s.toml", SOURCE), ("d.toml", DESTINATION), ("mine.toml", "part"),
        ("shelf.toml", "shelf"), ("kit.toml", "kit"), ("facts.json", "{}"), ("spec.toml", "spec"),
        ("bench.toml", "bench"), ("kept.db", "kept"), ("session/session.toml", SESSION),
        ("session/open.wav", "RIFF"),
    ):  # fmt: skip
        (tmp_path / name).write_text(text, encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    return tmp_path


def everything(folder: Path) -> dict[str, bytes]:
    return {str(p): p.read_bytes() for p in sorted(folder.rglob("*")) if p.is_file()}


@pytest.mark.parametrize(
    ("line", "lost"),
    [
        ("advise s.toml rca:20k:1V --page s.toml", "s.toml"),
        ("advise s.toml d.toml --html ./session/../d.toml", "d.toml"),
        ("advise s.toml rca:20k --to d.toml --page d.toml", "d.toml"),
        ("advise s.toml d.toml --html mine.toml", "mine.toml"),
        ("advise s.toml rca:20k --transformer mine.toml --html mine.toml", "mine.toml"),
        ("advise s.toml rca:20k --shelf shelf.toml --page shelf.toml", "shelf.toml"),
        ("advise facts.json rca:20k --html facts.json", "facts.json"),
        ("advise session rca:20k --page session/open.wav", "recording of the session"),
        ("advise session/session.toml rca:20k --html session/open.wav", "open.wav"),
        ("advise archive:1 rca:20k --archive kept.db --html kept.db", "is the archive"),
        ("compare facts.json session --html session/session.toml", "session.toml"),
        ("verify facts.json spec.toml --html spec.toml", "spec.toml"),
        ("verify session spec.toml --before facts.json --html facts.json", "facts.json"),
        ("batch session --csv session/open.wav", "recording of the session"),
        ("batch session --csv session/report.html", "report.html"),
        ("batch session --out out --csv out/session/facts.json", "facts.json"),
        ("archive show 1 --archive kept.db --report kept.db", "is the archive"),
        ("archive show 1 --archive kept.db --facts x --report x", "--facts is written, too"),
        ("archive drift 1 --archive kept.db --html kept.db", "is the archive"),
        ("archive export kept.db --archive kept.db", "is the archive"),
        ("measure session --kit session/guide.json", "guide.json"),
        ("calibrate --kit kit.toml --out kit.toml", "kit.toml"),
        ("takes --kit kit.toml --out kit.toml", "kit.toml"),
        ("figures captions.txt --out .", "captions.txt"),
        ("advise s.toml rca:20k --html x.html --page ./x.html", "--html is written, too"),
    ],
)
def test_nothing_is_written_over_what_is_read(
    desk: Path, capsys: pytest.CaptureFixture[str], line: str, lost: str
) -> None:
    """A user who mistypes one name loses a recording, a description or an archive."""
    for name in ("session/guide.json", "captions.txt"):
        (desk / name).write_text("mine", encoding="utf-8")
    before = everything(desk)
    assert main(line.split()) == 2
    said = capsys.readouterr()
    assert said.out == ""
    assert lost in said.err
    assert "nothing was done, choose another name" in said.err
    assert said.err.count("\n") == 1
    assert everything(desk) == before


@pytest.mark.parametrize("link", [os.symlink, os.link])
def test_another_name_of_the_same_file(
    desk: Path, capsys: pytest.CaptureFixture[str], link: object
) -> None:
    """A link to a recording is the recording."""
    assert callable(link)
    link(desk / "session" / "open.wav", desk / "page.html")
    assert main(["advise", "session", "rca:20k", "--page", "page.html"]) == 2
    assert "is a recording of the session" in capsys.readouterr().err
    assert (desk / "session" / "open.wav").read_text() == "RIFF"


def test_what_only_passes_it_on_is_nobodys_file(desk: Path) -> None:
    """Somebody who wants neither page sends both nowhere."""
    nowhere = os.devnull
    line = ["advise", "s.toml", "rca:20k:1V", "--html", nowhere, "--page", nowhere]
    assert main(line) == 0


def test_an_earlier_page_is_written_again(desk: Path) -> None:
    """A page made once can be made anew."""
    line = ["advise", "s.toml", "rca:20k:1V", "--page", "p.html"]
    assert main(line) == 0
    assert main(line) == 0


def test_folders_that_know_no_case(desk: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Where capitals do not count, x.html and X.HTML are one page and the first would be lost."""
    line = ["advise", "s.toml", "rca:20k:1V", "--html", "x.html", "--page", "X.HTML"]
    assert main(line) == 0
    for name in ("x.html", "X.HTML"):
        (desk / name).unlink()
    monkeypatch.setattr(apart, "_knows_no_case", lambda folder: True)
    assert main(line) == 2


IN_NO_DANGER = {
    ("advise", "archive"), ("archive", "archive"), ("compare", "archive"), ("figures", "archive"),
    ("verify", "archive"), ("calibrate", "show"), ("check", "bench"), ("check", "kit"),
    ("draft", "bench"), ("draft", "kit"), ("draft", "folder"), ("kit", "file"), ("tones", "file"),
    ("simulate", "rebuild"), ("archive", "session"),
}  # fmt: skip
"""The archive is named in one place; the rest writes nothing that was named, or something new."""


def test_every_file_that_a_command_takes_is_known() -> None:
    """A new command or option is guarded like the others."""
    assert list(apart.COMMANDS) == list(COMMANDS)
    for name, (module, _) in COMMANDS.items():
        parser = argparse.ArgumentParser()
        importlib.import_module(module).add_arguments(parser)
        files = apart.COMMANDS[name]
        known = {*files.measured, *files.read, *files.written, *files.into, files.below}
        for action in _actions(parser):
            if str(action.metavar) in ("FILE", "DIR", "FOLDER", "PLACE"):
                assert action.dest in known or (name, action.dest) in IN_NO_DANGER


def _actions(parser: argparse.ArgumentParser) -> list[argparse.Action]:
    found: list[argparse.Action] = []
    for action in parser._actions:
        if isinstance(action, argparse._SubParsersAction):
            for inner in action.choices.values():
                found += _actions(inner)
        else:
            found.append(action)
    return found
