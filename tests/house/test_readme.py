"""The README is true: its commands parse, its quick start is two commands, its links lead there."""

from __future__ import annotations

import re
import subprocess
from pathlib import Path

import pytest

from probe.cli import main as frame
from tests.house import readme

TEXT = readme.README.read_text("utf-8")
PAGES = [readme.README, readme.ROOT / "DEVELOPERS.md", *sorted((readme.ROOT / "docs").glob("*.md"))]


def test_quick_start_is_two_commands_that_install_and_run() -> None:
    first, second = readme.quick_start(TEXT)
    for line in (first, second):
        assert line.startswith("python3 -m venv .venv && .venv/bin/pip install ")
    assert re.search(r"&& \.venv/bin/probe analyse captures/\S+$", first)
    assert ".venv/bin/pytest" in second


def test_quick_start_demo_exists() -> None:
    folder = readme.quick_start(TEXT)[0].split()[-1]
    assert (readme.ROOT / folder / "session.toml").is_file()


@pytest.mark.parametrize("page", PAGES, ids=lambda p: p.name)
def test_commands_parse(page: Path) -> None:
    for words in readme.commands(page.read_text("utf-8")):
        parser, run = frame._parser(words[0])
        assert run is not None
        parser.parse_args(words)


def test_readme_shows_every_command() -> None:
    assert {words[0] for words in readme.commands(TEXT)} == set(frame.COMMANDS)


@pytest.mark.parametrize("page", PAGES, ids=lambda p: p.name)
def test_links_lead_somewhere(page: Path) -> None:
    links = re.findall(r"\]\(([^)#\s]+)(#[^)\s]*)?\)", page.read_text("utf-8"))
    for target, _ in links:
        if not target.startswith("http"):
            assert (page.parent / target).exists(), f"{page.name}: {target}"


def test_the_map_of_the_advice_names_modules_that_are_there() -> None:
    """Or who looks for a rule is sent to a module that has another name by now."""
    text = (readme.ROOT / "DEVELOPERS.md").read_text("utf-8")
    rows = text.split("Inside `probe/advice/`")[1].split("\n\n")[1].splitlines()[2:]
    named = [name for row in rows for name in re.findall(r"`(\w+)`", row)]
    assert len(named) > 50
    for name in named:
        assert (readme.ROOT / "probe" / "advice" / f"{name}.py").is_file(), name


@pytest.mark.parametrize("page", PAGES, ids=lambda p: p.name)
def test_named_files_exist(page: Path) -> None:
    """Paths and modules that a page names in code marks are there."""
    text = page.read_text("utf-8")
    for path in re.findall(r"`((?:probe|tests|docs|captures|\.ci)/[\w./-]+)`", text):
        assert (readme.ROOT / path).exists(), f"{page.name}: {path}"
    for module in re.findall(r"python -m (tests[\w.]+)", text):
        place = readme.ROOT / Path(*module.split("."))
        assert place.with_suffix(".py").is_file(), f"{page.name}: {module}"


SLOW = ("advise", "verify", "archive")
"""Commands whose examples analyse a session once more: of the long tests."""


@pytest.mark.parametrize(
    ("command", "status", "said"),
    [
        pytest.param(
            *example,
            id=example[0],
            marks=[pytest.mark.long] if example[0].split()[1] in SLOW else [],
        )
        for example in readme.examples(TEXT)
    ],
)
def test_examples_say_what_the_commands_print(command: str, status: int, said: str) -> None:
    """Word by word, figures aside; python -m tests.house.readme writes the examples anew."""
    words = re.findall(r"[A-Za-z]{3,}", "\n".join(readme.printed(command, status)))
    told = [w for w in re.findall(r"[A-Za-z]{3,}", said) if w.lower() not in ("ohm", "kohm")]
    assert len(told) > 8
    assert set(told) - set(words) == set()


def test_an_example_with_another_exit_status_is_refused() -> None:
    # docs/formats.md: 2 is bad input
    with pytest.raises(RuntimeError, match="exit status 2"):
        readme.printed("probe simulate --list --nonsense", 0)


@pytest.mark.parametrize("page", PAGES, ids=lambda p: p.name)
def test_rows_of_tables_fit_their_heads(page: Path) -> None:
    """A bar inside a cell, code or not, would split it."""
    for block in re.findall(r"(?:^\|.*\n)+", page.read_text("utf-8"), re.M):
        rows = block.splitlines()
        assert {len(re.findall(r"(?<!\\)\|", row)) for row in rows} == {rows[0].count("|")}, block


def test_top_level_holds_what_it_should() -> None:
    listed = subprocess.run(
        ["git", "-C", str(readme.ROOT), "ls-files"], capture_output=True, text=True, check=False
    ).stdout.splitlines()
    # an unpacked archive has no git: then everything that lies there counts
    names = {line.split("/")[0] for line in listed} or {p.name for p in readme.ROOT.iterdir()}
    allowed = {"README.md", "DEVELOPERS.md", "pyproject.toml", "probe", "tests", "captures", "docs"}
    assert allowed <= names
    assert {name for name in names - allowed if not name.startswith(".")} == set()
