"""Another host interface than the sound server: ALSA, with its plugin that needs no hardware."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest
import soundfile

from tests.house.readme import ROOT

RC = """pcm.probenull {
  type null
  hint { show on
    description "probenull" }
}
"""


@pytest.mark.portaudio
@pytest.mark.long
@pytest.mark.skipif(sys.platform != "linux", reason="ALSA is Linux's")
def test_a_take_through_alsa(tmp_path: Path) -> None:
    (tmp_path / ".asoundrc").write_text(RC, "utf-8")
    done = subprocess.run(
        [sys.executable, "-m", "tests.bench.cards.through_alsa", str(tmp_path)],
        cwd=ROOT, env={**os.environ, "HOME": str(tmp_path)},
        capture_output=True, text=True, timeout=60, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr[-2000:]
    said = json.loads(done.stdout)
    # source: the plugin writes nothing into what is heard: that memory is as allocated, here zeros
    # (mallopt(3), M_PERTURB: the complement of 255 in every byte)
    assert max(said.pop("peaks")) < 1e-30
    # source: 0.3 s at 48 kHz
    assert said == {"complete": True, "frames": 14400, "api": "ALSA"}
    assert soundfile.info(tmp_path / "take.wav").frames == 14400
