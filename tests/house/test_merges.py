"""No file has the marks of a merge that nobody finished."""

from __future__ import annotations

from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
MARKS = ("<" * 7 + " ", ">" * 7 + " ")
"""As git writes them at the start of a line (git-merge, "How conflicts are presented")."""


@pytest.mark.parametrize("folder", ["docs", "probe", "tests", "captures", "."])
def test_no_file_is_half_merged(folder: str) -> None:
    """Lost: a reader of the rules finds two versions of a paragraph, one above the other."""
    paths = (ROOT / folder).glob("*" if folder == "." else "**/*")
    texts = [p for p in paths if p.suffix in (".md", ".py", ".toml", ".html", ".txt")]
    assert texts
    for path in texts:
        for line in path.read_text("utf-8").splitlines():
            assert not line.startswith(MARKS), path
