"""What the command does besides: shelf, page, what if; and what it refuses."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from probe.advice.shelf import TEMPLATE
from probe.cli.main import main

SOURCE = """\
format = "probe-source/1"
device = { maker = "Lindqueen", model = "Disc 3", connectors = ["rca"], output = "line" }
single_ended_level_v = 2.0
single_ended_maximum_v = 2.0
single_ended_impedance_ohm = 100.0
"""


@pytest.fixture
def asked(tmp_path: Path) -> list[str]:
    source, shelf = tmp_path / "player.toml", tmp_path / "shelf.toml"
    source.write_text(SOURCE)
    shelf.write_text(TEMPLATE)
    return ["advise", str(source), "rca:47k:1.5V", "--shelf", str(shelf)]


def test_shelf_and_page(
    asked: list[str], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    page = tmp_path / "page.html"
    assert main([*asked, "--system-price", "1000", "--page", str(page)]) == 0
    said = capsys.readouterr().out
    assert "From the shelf" in said
    assert "2.4 % of a system" in said
    assert f"written: {page}" in said
    assert "RCA lead 1 m, pair" in page.read_text("utf-8")
    assert {p.name for p in tmp_path.iterdir()} == {"page.html", "player.toml", "shelf.toml"}


def test_everything_is_in_the_json(asked: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    assert main([*asked, "--json", "--vary", "cable-length=1..2"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert found["shelf"][0]["total"] == 24.0
    assert found["vary"]["what"] == "cable-length"
    assert found["options"][0]["wiring"]["wires"] == ["centre-centre", "shell-shell"]


@pytest.mark.parametrize(
    ("more", "expected"),
    [
        (["--attenuate", "99"], "1 to 60"),
        (["--attenuate", "nan"], "1 to 60"),
        (["--system-price", "0"], "--system-price"),
        (["--transformer", "allder"], "alder"),
        (["--vary", "cabel=1..2"], "cannot be varied"),
        (["--page", ""], "--page"),
        (["--page", "."], "--page"),
        (["--page", "/proc/none/page.html"], "--page"),
        (["--page", "no-such-folder/page.html"], 'there is no folder "no-such-folder"'),
    ],
)
def test_refused_in_one_line(
    asked: list[str], more: list[str], expected: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main([*asked, *more]) == 2
    said = capsys.readouterr()
    assert said.out == ""
    assert expected in said.err
    assert said.err.count("\n") == 1


def test_a_shelf_that_is_not_there_is_refused(
    asked: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    at = asked.index("--shelf") + 1
    assert main([*asked[:at], "none.toml", *asked[at + 1 :]]) == 2
    said = capsys.readouterr()
    assert (said.out, said.err.count("\n")) == ("", 1)
    assert "no such file" in said.err
