"""A guided run at which nobody sits comes to an end."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from probe.bench.shown.dialogue import MOST_UNANSWERED, Quit
from probe.cli.dialogue import PlainDialogue

CHOICES = {"y": "yes", "n": "no"}


@pytest.mark.parametrize("typed", ["\n", "n\n", "what\n"])
@pytest.mark.long
def test_the_same_for_ever_stops_the_run(tmp_path: Path, typed: str) -> None:
    """Lost: a disk full of the same question, over a night."""
    done = subprocess.run(
        [sys.executable, "-m", "probe", "measure", "session", "--virtual", "cross-coupled",
         "--plain", "--fast"],
        input=typed * 1000, capture_output=True, text=True, timeout=60, cwd=tmp_path, check=False,
    )  # fmt: skip
    assert done.returncode == 3
    assert done.stdout.count("Done, or understood?") <= MOST_UNANSWERED
    assert "so this stops, as q does" in done.stdout
    assert done.stdout.splitlines()[-1].startswith("Stopped. Everything kept is in session; go on")


def answering(monkeypatch: pytest.MonkeyPatch, said: list[str]) -> PlainDialogue:
    typed = iter(said)
    monkeypatch.setattr("builtins.input", lambda _: next(typed))
    return PlainDialogue()


def test_who_asks_for_help_is_there(monkeypatch: pytest.MonkeyPatch) -> None:
    talk = answering(monkeypatch, ["?"] * 30 + ["y"])
    assert talk.choose("done", "Done?", CHOICES, "") == "y"


def test_slips_between_answers_do_not_add_up(monkeypatch: pytest.MonkeyPatch) -> None:
    """Lost: a long run with a slip now and then is stopped."""
    talk = answering(monkeypatch, ["", "x", "y"] * 20)
    assert [talk.choose("done", "Done?", CHOICES, "") for _ in range(20)] == ["y"] * 20


def test_a_reading_that_is_none_stops_as_well(monkeypatch: pytest.MonkeyPatch) -> None:
    talk = answering(monkeypatch, ["none"] * 30)
    with pytest.raises(Quit):
        talk.number("meter", "What does it show", "V", 0.0, 10.0, None)
    talk = answering(monkeypatch, ["1.5", ""])
    assert talk.number("meter", "What does it show", "V", 0.0, 10.0, None) == 1.5
    assert talk.number("meter", "What does it show", "V", 0.0, 10.0, None) is None
