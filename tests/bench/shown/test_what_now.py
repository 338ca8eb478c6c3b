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
