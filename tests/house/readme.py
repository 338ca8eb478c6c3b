"""The README's commands and examples.

    python -m tests.house.readme    writes the examples anew from what the commands print

An example is a fenced block under ``<!-- output of: COMMAND -->``; shortened under
``<!-- output of, N lines: COMMAND -->``; of a command whose exit status says something under
``<!-- output of, exit status 1, N lines: COMMAND -->``.
"""

from __future__ import annotations

import re
import shlex
import subprocess
import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).parents[2]
README = ROOT / "README.md"

EXAMPLE = re.compile(
    r"(?P<head><!-- output of(?:, exit status (?P<status>\d))?(?:, (?P<lines>\d+) lines)?: "
    r"(?P<command>.+?) -->\n```text\n)(?P<said>.*?)(?P<foot>\n```)",
    re.S,
)

KEPT = ["captures/trade-in-dried-capacitor", "--note", "trade-in, before repair"]
"""What the archive of the examples holds: the README adds it in the line before."""


def quick_start(text: str) -> list[str]:
    """The commands of the one fenced block under the heading "Quick start"."""
    after = text.split("\n## Quick start\n", 1)[1]
    section = re.split(r"^## ", after, maxsplit=1, flags=re.M)[0]
    (block,) = re.findall(r"^```sh\n(.*?)^```", section, re.M | re.S)
    return [line for line in block.splitlines() if line.strip()]


def commands(text: str) -> list[list[str]]:
    """Every ``probe`` command in a shell block of ``text``, as words after ``probe``."""
    found = []
    for block in re.findall(r"^```sh\n(.*?)^```", text, re.M | re.S):
        for line in block.splitlines():
            for part in line.split("&&"):
                words = shlex.split(part.split(">")[0], comments=True)
                if words and words[0].rsplit("/", 1)[-1] == "probe":
                    found.append(words[1:])
    return found


def examples(text: str) -> list[tuple[str, int, str]]:
    """Each example: its command, its exit status and what it is said to print."""
    return [(m["command"], int(m["status"] or 0), m["said"]) for m in EXAMPLE.finditer(text)]


def printed(command: str, status: int = 0) -> list[str]:
    """What the command prints, run from the top of the project with its files kept apart.

    It is an error if its exit status is not the one said.
    """
    with tempfile.TemporaryDirectory() as scratch:
        words = shlex.split(command)[1:]
        if words[0] == "analyse":
            words += ["--out", scratch]
        if words[0] == "advise":
            template = _run(["advise", "--template"])
            words[-1] = str(Path(scratch, words[-1]))
            Path(words[-1]).write_text(template, "utf-8")
        if words[0] == "verify":
            words[words.index("specification.toml")] = "docs/trade-in/specification.toml"
        if words[0] == "archive":
            kept = ["--archive", str(Path(scratch, "archive.sqlite"))]
            _run(["archive", "add", *KEPT, *kept])
            words += kept
        lines = _run(words, status).splitlines()
    return [line for line in lines if not line.startswith("written:")]


def _run(words: list[str], status: int = 0) -> str:
    done = subprocess.run(
        [sys.executable, "-m", "probe", *words],
        cwd=ROOT, capture_output=True, encoding="utf-8", timeout=120, check=False,
    )  # fmt: skip
    if done.returncode != status:
        raise RuntimeError(f"probe {' '.join(words)}: exit status {done.returncode}: {done.stderr}")
    return done.stdout


def shortened(lines: list[str], most: str | None) -> str:
    """An example of bearable length; what is left out is said to be."""
    kept = lines if most is None or len(lines) <= int(most) else [*lines[: int(most)], "..."]
    return "\n".join(kept).strip("\n")


def main() -> None:
    """Write the examples anew."""

    def renewed(match: re.Match[str]) -> str:
        lines = printed(match["command"], int(match["status"] or 0))
        return match["head"] + shortened(lines, match["lines"]) + match["foot"]

    README.write_text(EXAMPLE.sub(renewed, README.read_text("utf-8")), "utf-8")


if __name__ == "__main__":
    main()
