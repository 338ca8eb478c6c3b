"""The story of docs/trade-in.md: its commands, in its order, as the reader would type them."""

from __future__ import annotations

from pathlib import Path

import pytest

from probe.cli.main import main
from tests.house.readme import ROOT, commands

PAGE = ROOT / "docs" / "trade-in.md"


@pytest.mark.long
def test_the_whole_story(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    for name in ("captures", "docs"):
        (tmp_path / name).symlink_to(ROOT / name)
    monkeypatch.chdir(tmp_path)
    told = {}
    for words in commands(PAGE.read_text("utf-8")):
        status = main(words)
        out, err = capsys.readouterr()
        assert err == ""
        told[" ".join(words[:3])] = (status, " ".join(out.split()))
    statuses = {line: status for line, (status, _) in told.items() if status}
    # the page says so: only the first look fails
    assert statuses == {"verify archive:1 docs/trade-in/specification.toml": 1}
    first = told["verify archive:1 docs/trade-in/specification.toml"][1]
    second = told["verify archive:2 docs/trade-in/specification.toml"][1]
    # the circuit of the stand-in: a coupling capacitor of cold, right, dried to 1 uF
    assert "FAULT right" in first
    assert "Dried coupling capacitor of the cold leg" in first
    assert "NOT MEASURED Balanced over single-ended" in first
    assert "FAILS" not in second
    assert "GONE right" in second
    # closed form: 1 uF and 30 ohm beside 100 ohm against 100 ohm and 100 uF, at 1 kHz and 20 Hz
    assert "cold changed by -48" in second
    assert "cold changed by -98" in second
    # found by the words a dealer says, listed with its note and fault
    listed = told["archive search dried"][1]
    assert "trade-in, as it came" in listed
    assert "FAULT right: Dried coupling capacitor of the cold leg" in listed
    drift = told["archive drift F4-00317"][1]
    assert "GONE right Dried coupling capacitor of the cold leg: found 2026-05-21" in drift
    # the leg whose part was replaced, and what follows from it, moved most
    moved = [text.strip() for text in drift.split("MOVED")[1:4]]
    assert any(text.startswith("right Cold leg, pin 3 to pin 1") for text in moved)
    assert any(text.startswith("right Mismatch of the legs") for text in moved)
    # by design: one serial has no sisters
    assert "No sister was measured" in told["archive family 1"][1]
    assert "<>" in told["compare archive:1 --archive"][1]
    assert "<>" in told["compare archive:1 archive:2"][1]
    assert "USE" in told["advise archive:2 rca:47k:1.5V"][1]
    assert "2 entries added" in told["archive export for-the-other-shop.sqlite"][1]
    for page in ("first.html", "second.html", "compared.html", "years.html"):
        assert "F4-00317" in Path(page).read_text("utf-8")
    assert "Fen 4" in Path("page.html").read_text("utf-8")
