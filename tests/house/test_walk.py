"""The walk-through of the Python calls runs, prints what it says, and leaves no block untried."""

from __future__ import annotations

import pytest

from . import walk

TEXT = walk.PAGE.read_text("utf-8")


def test_every_block_is_run_and_says_what_it_prints() -> None:
    assert TEXT.count("```python") == len(walk.blocks(TEXT)) > 5


@pytest.mark.long
def test_the_blocks_print_what_the_page_says() -> None:
    found = walk.blocks(TEXT)
    # regression only: the figures are held by the tests of the rooms they come from
    assert walk.printed([code for code, _ in found]) == [said for _, said in found]
