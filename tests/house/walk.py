"""The walk-through of docs/python.md: its blocks, run in order, and what they print.

python -m tests.house.walk    writes the printed blocks anew
"""

from __future__ import annotations

import contextlib
import io
import os
import re
from pathlib import Path

ROOT = Path(__file__).parents[2]
PAGE = ROOT / "docs" / "python.md"
BLOCK = re.compile(r"```python\n(.*?)```\n\n```text\n(.*?)```", re.S)


def blocks(text: str) -> list[tuple[str, str]]:
    """Each block of the page: its code and what it is said to print."""
    return [(m[1], m[2]) for m in BLOCK.finditer(text)]


def printed(codes: list[str]) -> list[str]:
    """What each block prints, run one after the other in one namespace from the top."""
    names: dict[str, object] = {"__name__": "walk"}
    out = []
    with contextlib.chdir(ROOT):
        for i, code in enumerate(codes):
            said = io.StringIO()
            with contextlib.redirect_stdout(said):
                exec(compile(code, f"{PAGE.name}, block {i + 1}", "exec"), names)
            out.append(said.getvalue())
    return out


def main() -> None:
    """Write the page anew."""
    text = PAGE.read_text("utf-8")
    said = iter(printed([code for code, _ in blocks(text)]))
    text = BLOCK.sub(lambda m: f"```python\n{m[1]}```\n\n```text\n{next(said)}```", text)
    PAGE.write_text(text, "utf-8", newline="\n")


if __name__ == "__main__":
    os.environ.setdefault("OMP_NUM_THREADS", "1")
    main()
