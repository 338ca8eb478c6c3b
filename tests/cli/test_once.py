"""What is typed twice, or in figures that others cannot read, is refused in one line."""

from __future__ import annotations

from pathlib import Path

import pytest

from probe.cli.main import main
from tests.advice.sheets import PLAYER


@pytest.mark.parametrize(
    ("more", "says"),
    [
        # the rules of every refusal: what was seen, where, what is allowed; status 2
        (("--shelf", "a.toml", "--shelf", "b.toml"), "--shelf: given twice; give it once"),
        (("--ground=3mV", "--ground", "same-strip"), "--ground: given twice"),
        (("--attenuate", "\u0667"), "--attenuate: invalid float value"),
        (("--attenuate", "1_0"), "--attenuate: invalid float value"),
        (("--gain", "\u0666"), "is no digit that is taken here; write figures with 0 to 9"),
        (("--ground", "\u0662mV"), "write figures with 0 to 9"),
        (("--to", "rca:\u0664\u0667k:1V"), "write figures with 0 to 9"),
        (("--page", "page.html", "--date", "9" * 10_000), "--date: 10000 characters; at most 80"),
        (("--page", "page.html", "--customer", "C" * 81), "--customer: 81 characters"),
    ],
)
def test_refused_in_one_line(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str],
    more: tuple[str, ...], says: str,
) -> None:  # fmt: skip
    """Lost: one of two shelves is left out, or a date is cut off, and nobody is told."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "player.toml").write_text(PLAYER, "utf-8")
    assert main(["advise", "player.toml", "rca:47k:1V", *more]) == 2
    told = capsys.readouterr()
    assert says in told.err
    assert (told.out, told.err.count("\n")) == ("", 1)
    assert not (tmp_path / "page.html").exists()


def test_what_may_be_named_again_still_may(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Lost: the second box of a device; --to is there to be given again."""
    (tmp_path / "player.toml").write_text(PLAYER, "utf-8")
    boxes = ("rca:47k:1V", "--to", "rca:22k:1V", "--to", "rca:33k:1V", "--ground", "same-strip")
    assert main(["advise", str(tmp_path / "player.toml"), *boxes]) == 0
    assert "rca:33k:1V" in capsys.readouterr().out
