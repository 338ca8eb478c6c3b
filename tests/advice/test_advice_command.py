"""The command as a command: template, complaints, and the same answer whoever asks."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from probe.advice.destination_template import TEMPLATE
from probe.cli import source as command
from probe.cli.main import main
from tests.advice.stages import cross_coupled, facts


def run(*arguments: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "probe.cli.main", "advise", *arguments],
        capture_output=True, text=True, timeout=60, check=False,
    )  # fmt: skip


@pytest.fixture
def destination(tmp_path: Path) -> Path:
    path = tmp_path / "amp.toml"
    path.write_text(TEMPLATE)
    return path


@pytest.fixture
def _measured(monkeypatch: pytest.MonkeyPatch) -> None:
    """A facts document and its source, as if read from a file."""
    monkeypatch.setattr(
        command, "facts_of", lambda path, archive=None, *_: facts("electronically-floating")
    )
    monkeypatch.setattr(command, "sources_of", lambda document: {"left": cross_coupled()})


def test_template_is_printed_and_nothing_else() -> None:
    done = run("--template")
    assert (done.returncode, done.stdout, done.stderr) == (0, TEMPLATE, "")


@pytest.mark.parametrize(
    ("arguments", "expected"),
    [((), "--template"), (("nowhere",), "--template"), (("nowhere", "none.toml"), "none.toml")],
)
@pytest.mark.long
def test_complaints_are_one_line_and_status_2(arguments: tuple[str, ...], expected: str) -> None:
    done = run(*arguments)
    assert done.returncode == 2
    assert done.stdout == ""
    assert len(done.stderr.splitlines()) == 1
    assert expected in done.stderr


@pytest.mark.long
def test_missing_session_is_one_line_and_status_2(destination: Path, tmp_path: Path) -> None:
    for subject in ("nowhere", "nowhere.toml", "facts.json"):
        done = run(str(tmp_path / subject), str(destination))
        assert done.returncode == 2
        assert done.stdout == ""
        assert len(done.stderr.splitlines()) == 1
        assert subject in done.stderr


@pytest.mark.usefixtures("_measured")
def test_json_is_all_that_is_printed(destination: Path, capsys: Any) -> None:
    assert main(["advise", "facts.json", str(destination), "--json"]) == 0
    printed = capsys.readouterr()
    assert json.loads(printed.out)["format"] == "probe-advice/1"
    assert printed.err == ""


@pytest.mark.usefixtures("_measured")
def test_text_is_printed(destination: Path, capsys: Any) -> None:
    assert main(["advise", "facts.json", str(destination)]) == 0
    assert "USE  rca-to-rca" in capsys.readouterr().out


def test_a_headphone_output_is_an_answer_not_an_error(
    destination: Path, capsys: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    document = facts(device={"output": "headphone"})
    monkeypatch.setattr(command, "facts_of", lambda path, archive=None, *_: document)
    monkeypatch.setattr(command, "sources_of", lambda document: {"left": cross_coupled()})
    assert main(["advise", "facts.json", str(destination), "--json"]) == 0
    answer = json.loads(capsys.readouterr().out)
    assert answer["chosen"] is None
    assert answer["options"] == []
    assert answer["cautions"][0]["code"] == "headphone-output"
