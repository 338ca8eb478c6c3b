"""What stands for a measured device on a command line, where it is not there."""

from __future__ import annotations

from pathlib import Path

import pytest

from probe.cli.main import main
from probe.cli.source import facts_of
from probe.errors import BadInput


def test_a_source_that_is_not_there_is_answered_with_what_may_stand_there(tmp_path: Path) -> None:
    # lost: a user who mistyped a folder was told to give a file of facts, which he has not got
    with pytest.raises(BadInput, match="there is no such file or folder; give a session folder"):
        facts_of(tmp_path / "captures" / "preamp")


def test_what_is_advised_may_be_typed_and_is_named_among_what_may_stand_there(
    capsys: pytest.CaptureFixture[str],
) -> None:
    # lost: an adviser who mistyped his own source file was told to bring a session
    assert main(["advise", "nosuch.toml", "rca:47k:1V"]) == 2
    assert "archive:ENTRY; or a source typed from a data sheet" in capsys.readouterr().err


def test_a_file_that_is_no_json_is_told_where_in_our_words(tmp_path: Path) -> None:
    path = tmp_path / "facts.json"
    path.write_text('{"format": \n oops', "utf-8")
    # by hand: the o of oops is the second character of the second line
    with pytest.raises(BadInput, match=r"not a facts file \(no JSON at line 2, column 2\)"):
        facts_of(path)
