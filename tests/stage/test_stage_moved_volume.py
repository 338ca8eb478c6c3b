"""A volume moved between takes that are declared as they were plugged: no kind from it."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest
import soundfile

from probe.cli.main import main

CAPTURE = Path(__file__).parents[2] / "captures" / "dac-own-clock"
TAKES = ("right-open", "right-load-across", "right-load-hot")


@pytest.mark.parametrize(
    ("decibels", "kind"),
    [
        # the demo's circuit is symmetrical-dual (its stage.toml): both legs driven
        (0.0, "differential"),
        # the loaded take 1 dB up: hot would be louder with a load on it than without
        (1.0, "undetermined"),
    ],
)
def test_a_loaded_take_at_a_higher_volume_makes_no_kind(
    tmp_path: Path, capsys, decibels: float, kind: str
):
    text = (CAPTURE / "session.toml").read_text("utf-8")
    head, *blocks = re.split(r"(?=\[\[take\]\])", text)
    kept = [b for b in blocks if any(f'"{name}.flac"' in b for name in TAKES)]
    (tmp_path / "session.toml").write_text(head + "".join(kept), "utf-8")
    for name in TAKES:
        samples, rate = soundfile.read(CAPTURE / f"{name}.flac", always_2d=True)
        gain = 10.0 ** (decibels / 20.0) if name == "right-load-hot" else 1.0
        soundfile.write(tmp_path / f"{name}.flac", gain * samples, rate, "PCM_24")
    assert main(["analyse", str(tmp_path), "--json"]) == 0
    facts = json.loads(capsys.readouterr().out)
    assert facts["sides"]["right"]["stage"]["kind"] == kind
    told = [w["take"] for w in facts["warnings"] if w["code"] == "contradicting-take"]
    assert bool(told) == (kind == "undetermined")
