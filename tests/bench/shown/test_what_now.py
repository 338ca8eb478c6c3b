"""What Enter does after a take that was judged or stopped."""

from __future__ import annotations

import pytest

from probe.bench.judged.judgement import Judgement
from probe.bench.shown.dialogue import Quit
from probe.bench.shown.what_now import NOT_STORED, choices
from probe.cli.dialogue import PlainDialogue


def test_a_disk_that_takes_nothing_stops_the_run_and_passes_nothing_over() -> None:
    full = (Judgement(NOT_STORED, "", ""),)
    # regression only: once more after room was made, then the run stops and can be continued
    assert [choices(full, False, k, False)[1] for k in (1, 2, 3)] == ["a", "q", "q"]


def test_enter_stops_where_stopping_is_what_is_offered(monkeypatch: pytest.MonkeyPatch) -> None:
    talk = PlainDialogue()
    monkeypatch.setattr("builtins.input", lambda _: "")
    with pytest.raises(Quit):
        talk.choose("judged", "What now?", {"a": "again"}, "q")


def test_yes_and_no_may_be_typed_in_full(monkeypatch: pytest.MonkeyPatch) -> None:
    """Else a person is told that there is no 'yes' at a question whose answer is yes."""
    talk = PlainDialogue()
    asked = {"y": "yes", "n": "not yet"}
    for typed, key in (("yes", "y"), ("No", "n"), ("y", "y")):
        monkeypatch.setattr("builtins.input", lambda _, typed=typed: typed)
        assert talk.choose("ready", "Done?", asked, "") == key
    # after a judgement n begins the side anew: "no" is asked again, and does not do that
    said = iter(["no", "k"])
    monkeypatch.setattr("builtins.input", lambda _: next(said))
    assert talk.choose("judged", "What now?", {"k": "keep", "n": "begin anew"}, "") == "k"
