"""A damaged facts file is told by its key in plain words, not by a traceback or another library."""

from __future__ import annotations

import copy
import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from probe.cli.main import main

CAPTURE = Path(__file__).parents[2] / "captures" / "dac-own-clock"


@pytest.fixture(scope="module")
def sound(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Any]:
    folder = tmp_path_factory.mktemp("facts")
    assert main(["analyse", str(CAPTURE), "--out", str(folder)]) == 0
    found: dict[str, Any] = json.loads((folder / "facts.json").read_text("utf-8"))
    return found


Edit = Callable[[dict[str, Any]], object]
EDITS: dict[str, tuple[Edit, str]] = {
    # common practice, no source: the line names the key that was damaged here
    "list": (lambda s: s["facts"].update(hot_recorded=[1, 2]), "facts.hot_recorded"),
    "imag": (lambda s: s["curves"]["hot_recorded"].pop("imag"), "hot_recorded.imag is missing"),
    "count": (lambda s: s["curves"]["draws"].update(count=[1]), "draws.count"),
    "values": (lambda s: s["curves"]["draws"].pop("values"), "draws.values"),
    "text": (lambda s: s["curves"]["draws"].update(differences=["!"] * 4), "cannot be unpacked"),
    "draws": (lambda s: s["curves"].update(draws=[]), "draws is missing or not an object"),
}


@pytest.mark.parametrize("name", EDITS)
@pytest.mark.long
def test_one_plain_line(
    name: str, sound: dict[str, Any], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Two lines were a traceback and the words of Python."""
    edit, key = EDITS[name]
    damaged = copy.deepcopy(sound)
    edit(damaged["sides"]["right"])
    file = tmp_path / "facts.json"
    file.write_text(json.dumps(damaged), "utf-8")
    assert main(["advise", str(file), "rca:47k:1.5V", "--ground", "same-strip"]) == 2
    told = capsys.readouterr()
    assert told.out == ""
    assert len(told.err.splitlines()) == 1
    assert key in told.err
    assert not any(word in told.err for word in ("Error", "argument must", "NoneType", "dict"))


@pytest.mark.long
def test_two_pages_are_both_written_or_neither(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """One page was left new beside a sheet that could not be written."""
    page, sheet = tmp_path / "advice.html", tmp_path / "sheet.html"
    page.write_text("before", "utf-8")
    words = ["advise", str(CAPTURE), "rca:47k:1.5V", "--ground", "same-strip", "--html", str(page)]
    assert main([*words, "--page", "/proc/sheet.html"]) == 2
    assert "--page: /proc/sheet.html cannot be written" in capsys.readouterr().err
    assert page.read_text("utf-8") == "before"
    assert main([*words, "--page", str(sheet)]) == 0
    assert page.read_text("utf-8").startswith("<!DOCTYPE html>")
    assert sorted(p.name for p in tmp_path.iterdir()) == ["advice.html", "sheet.html"]
