"""A leg that no take hears, not even what is fed into it: tied to pin 1, or its lead is not in."""

from __future__ import annotations

import json
import tomllib
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile

from probe.cli.main import main

CAPTURE = Path(__file__).parents[2] / "captures" / "preamplifier-differential"


def told(folder: Path, capsys: pytest.CaptureFixture[str], rms: float) -> dict[str, Any]:
    """Return the facts of a preamplifier that drives both legs, the cold channel hearing noise."""
    text = (CAPTURE / "session.toml").read_text("utf-8")
    for seed, take in enumerate(tomllib.loads(text)["take"]):
        samples, rate = soundfile.read(CAPTURE / take["file"], always_2d=True)
        if "cold" in take["channels"]:
            noise = np.random.default_rng(seed).normal(0.0, 1.0, len(samples))
            samples[:, take["channels"].index("cold")] = rms * noise
        soundfile.write(folder / take["file"], samples, rate, "PCM_24")
    (folder / "session.toml").write_text(text, "utf-8")
    assert main(["analyse", str(folder), "--json"]) == 0
    return json.loads(capsys.readouterr().out)  # type: ignore[no-any-return]


@pytest.mark.parametrize("rms", [0.0, 1e-5])
@pytest.mark.long
def test_a_cold_lead_that_is_not_in_is_named_beside_a_tied_pin(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], rms: float
) -> None:
    """Lost: "pin 3 grounded", above 99.9 %, of an output that drives it, and no warning."""
    facts = told(tmp_path, capsys, rms)
    # by construction: the device is sound and drives pin 3; only the recorder does not hear it
    (warning,) = [w for w in facts["warnings"] if w["code"] == "unheard-channel"]
    assert "the lead from it to the recorder is not plugged in" in warning["message"]
    assert "ohmmeter from pin 3 to pin 1" in warning["message"]
    assert warning["take"] == "left inject cold"
