"""A valid session on disk, small, and the means to bend it."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
import soundfile

RATE = 48000
FRAMES = 4800

SESSION = """\
format = "probe-session/1"

[device]
maker = "Harrowgate"
model = "Tern"
serial = "HT-0231"
kind = "preamplifier"
output = "line"
connectors = ["xlr", "rca"]
firmware = ""
stated_polarity = "pin-2-hot"
minimum_load_ohm = 600.0
full_output = { volts = 8.0 }

[bench]
interface = "two-channel USB interface"
mains_hz = 50
recorded_on = 2026-03-14
repeatability_db = 0.02

[[bench.input]]
volts_full_scale = 8.70
u95_percent = 0.5
impedance_ohm = 20000.0
impedance_u95_percent = 1.0
capacitance_pf = 150.0
capacitance_u95_pf = 20.0

[[bench.input]]
volts_full_scale = 8.80
u95_percent = 0.5
impedance_ohm = 20000
impedance_u95_percent = 1
capacitance_pf = 150
capacitance_u95_pf = 20

[[bench.output]]
volts_full_scale = 4.0
impedance_ohm = 100.0

[[meter]]
side = "left"
between = ["hot", "ground"]
volts_dc = 0.004
volts_ac = 0.0

[[take]]
name = "left open"
file = "left-open.wav"
side = "left"
channels = ["hot", "cold"]
signal = "multitone"
tones_hz = [20.0, 41.0, 997.0]
phases_deg = [0.0, 90.0, 31.5]
drive_volts = 0.25
volume = "12 o'clock"
state = "play"
driven_input_leg = "both"
volts_full_scale = [8.70, 4.35]
timebase = "run-1"
start_frame = 480000

[[take]]
name = "left loaded"
file = "left-loaded.wav"
side = "left"
channels = ["cold", "hot"]
signal = "multitone"
tones_hz = [20.0, 41.0, 997.0]
load = [
  { from = "hot", to = "ground", ohm = 604.0, u95_percent = 0.1, part = "R1" },
  { from = "hot", to = "cold", ohm = 1210.0, u95_percent = 0.1, part = "R3" },
]

[[take]]
name = "left injected"
file = "left-injected.wav"
side = "left"
channels = ["hot", "cold"]
signal = "tone"
tones_hz = [997.0]
inject = [
  { into = "hot", through_ohm = 10000.0, u95_percent = 0.1, part = "R4", volts = 0 },
  { into = "cold", through_ohm = 10000.0, u95_percent = 0.1, part = "R2", volts = 0.3, \
volts_u95_percent = 0.5, tones_hz = [71.0, 883.0], phases_deg = [0.0, 10.0] },
]
"""

FILES = ("left-open.wav", "left-loaded.wav", "left-injected.wav")


def samples(channels: int = 2, frames: int = FRAMES) -> np.ndarray:
    """Return noise of a tenth of full scale, shape (frames, channels), the same every time."""
    return 0.1 * np.random.default_rng(1).uniform(-1.0, 1.0, (frames, channels))


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A folder holding the valid session and its files."""
    for name in FILES:
        soundfile.write(tmp_path / name, samples(), RATE, subtype="PCM_24")
    (tmp_path / "session.toml").write_text(SESSION, encoding="utf-8")
    return tmp_path


@pytest.fixture
def bend(folder: Path) -> Callable[..., Path]:
    """Replace pieces of the valid session.toml; each must be there."""

    def change(*pairs: tuple[str, str]) -> Path:
        text = SESSION
        for old, new in pairs:
            assert old in text
            text = text.replace(old, new, 1)
        (folder / "session.toml").write_text(text, encoding="utf-8")
        return folder

    return change
