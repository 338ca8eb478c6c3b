"""What stands for a measured device on a command line, where it is not there."""

from __future__ import annotations

from pathlib import Path

import pytest

from probe.cli.source import facts_of
from probe.errors import BadInput


def test_a_source_that_is_not_there_is_answered_with_what_may_stand_there(tmp_path: Path) -> None:
    # lost: a user who mistyped a folder was told to give a file of facts, which he has not got
    with pytest.raises(BadInput, match="there is no such file or folder; give a session folder"):
        facts_of(tmp_path / "captures" / "preamp")
