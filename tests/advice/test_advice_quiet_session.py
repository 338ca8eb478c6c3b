"""From recordings with noise, floor and rising level to advice: nothing is provisional."""

from __future__ import annotations

import contextlib
import io
import json
import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from scipy.optimize import brentq

from probe.advice.destination import Cable, Destination
from probe.advice.operating import operating_of
from probe.advice.subject import device_of, side_of
from probe.cli.main import main
from tests.advice.stages import facts

CORE, HOT, COLD, SINGLE = 60.0, 40.0, 50.0, 40.0
"""Put in, nV per root hertz: ahead of all outputs (inverted on cold), and of each terminal."""

CLIP = 8.0
"""Put in: where each leg is flat, V peak."""

A_WEIGHTED = math.sqrt(20e3 - 20.0) * 10.0 ** (-2.05 / 20.0)
"""White noise from 20 Hz to 20 kHz reads 2.05 dB lower A-weighted: mean of the published curve."""

STAGE = f"""
format = "probe-stage/1"
circuit = "core-and-inverter"
phase = "none"
takes = ["open", "load-hot", "load-cold", "load-across", "second-open", "single-ended",
         "single-ended-loaded", "idle", "floor"]
seconds = 3.0
sample = "FLOAT"
device = {{ maker = "Harrowgate", model = "Tern", serial = "HT-0440", connectors = ["xlr", "rca"] }}
bench = {{ input = [{{ volts_full_scale = 17.4, u95_percent = 0.2 }}] }}
truth = {{ input = [{{ noise_nv = 15.0 }}] }}
nonlinear = {{ hot = {{ clip_volts = {CLIP} }}, cold = {{ clip_volts = {CLIP} }} }}
take = [
  {{ name = "idle rca", signal = "idle", channels = ["single-ended"] }},
  {{ name = "floor rca", signal = "floor", channels = ["single-ended"] }},
  {{ name = "rising", signal = "level-steps", channels = ["hot", "cold"], tones_hz = [997.0],
     levels_volts = [1.0, 4.0, 5.5, 5.7, 5.8, 5.9, 6.1, 6.5], step_s = 0.5, seconds = 4.0 }},
  {{ name = "rising rca", signal = "level-steps", channels = ["single-ended"], tones_hz = [997.0],
     levels_volts = [1.0, 3.0, 6.0], step_s = 0.5, seconds = 1.5 }},
]
[device_noise]
core_nv = {CORE}
hot_nv = {HOT}
cold_nv = {COLD}
single_ended_nv = {SINGLE}
""".replace(",\n         ", ", ")

AMPLIFIER = """
format = "probe-destination/1"
name = "amplifier"
[cable]
length_m = 2.0
[ground]
difference_mv = 5.0
source_ohm = 100.0
[[input]]
connector = "xlr"
receiver = "balanced"
circuit = "buffered"
impedance_ohm = 20000.0
impedance_is = "each-leg"
rejection_db = 60.0
sensitivity_v = 2.0
maximum_v = 20.0
[[input]]
connector = "rca"
receiver = "single-ended"
impedance_ohm = 20000.0
sensitivity_v = 1.0
maximum_v = 20.0
"""

BUILD_OUT = 100.0
INTO = 20000.0 / (20000.0 + BUILD_OUT)
"""Each terminal has 100 ohm ahead of it and 20 kohm behind it."""


@pytest.fixture(scope="module")
def session(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("quiet")
    one_line = STAGE.replace(",\n     levels", ", levels").replace("take = [\n", "take = [")
    (folder / "stage.toml").write_text(one_line)
    (folder / "amplifier.toml").write_text(AMPLIFIER)
    assert main(["simulate", str(folder / "stage.toml"), str(folder / "session")]) == 0
    return folder


@pytest.fixture(scope="module")
def answer(session: Path) -> dict[str, Any]:
    (session / "facts.json").write_text(
        printed("analyse", session / "session", "--json", "--draws", "400")
    )
    found: dict[str, Any] = json.loads(
        printed("advise", session / "facts.json", session / "amplifier.toml", "--json")
    )
    return found


def printed(*words: str | Path) -> str:
    """What a command prints."""
    out = io.StringIO()
    with contextlib.redirect_stdout(out):
        assert main([str(word) for word in words]) == 0
    return out.getvalue()


def option(answer: dict[str, Any], id_: str) -> dict[str, Any]:
    return next(o for o in answer["options"] if o["id"] == id_)


@pytest.mark.long
def test_nothing_is_provisional_with_noise_floor_and_ground_known(answer: dict[str, Any]) -> None:
    assert answer["provisional"] is False
    assert answer["not_computed"] == []
    assert answer["chosen"] == "rca-to-rca"


@pytest.mark.parametrize(
    # closed form: the core's noise is common to the outputs and doubled between the legs, the
    # terminals' own add in power; then the divider into the input
    ("id_", "nano"),
    [("xlr-to-xlr", math.sqrt(4.0 * CORE**2 + HOT**2 + COLD**2)),
     ("xlr-to-rca/pin-3-open", math.hypot(CORE, HOT)),
     ("rca-to-rca", math.hypot(CORE, SINGLE)),
     ("rca-to-xlr/pin-3-tied-at-source", math.hypot(CORE, SINGLE))],
)  # fmt: skip
def test_noise_is_what_was_put_in(answer: dict[str, Any], id_: str, nano: float) -> None:
    found = option(answer, id_)
    volts = nano * 1e-9 * A_WEIGHTED * INTO
    # a take of 3 s scatters by about 0.4 %; three times that
    assert found["noise"]["value"] == pytest.approx(volts, rel=0.012)
    full = 2.0 if id_.endswith("xlr") or "to-xlr" in id_ else 1.0
    below = found["noise_below_full_output_db"]["value"]
    assert below == pytest.approx(20.0 * math.log10(full / volts), abs=0.1)


def test_hum_of_the_rca_link_is_the_closed_form(answer: dict[str, Any]) -> None:
    # 5 mV behind 100 ohm over the shield, 2 x 30 mohm and two contacts of 10 mohm; the input
    # hears it through its divider
    volts = 5e-3 * 0.08 / 100.08 * INTO
    found = option(answer, "rca-to-rca")["hum_below_full_output_db"]["value"]
    assert found == pytest.approx(20.0 * math.log10(1.0 / volts), abs=0.01)


def clipped(drive: float) -> tuple[float, float]:
    """Fundamental (V rms) and distortion, to the twentieth harmonic, of a sine cut off at CLIP."""
    wave = np.clip(drive * np.sin(2.0 * np.pi * np.arange(4096) / 4096), -CLIP, CLIP)
    lines = np.abs(np.fft.rfft(wave)) / 4096 * math.sqrt(2.0)
    return float(lines[1]), float(np.sqrt(np.sum(lines[2:21] ** 2)) / lines[1])


def test_where_it_clips_is_what_was_put_in(answer: dict[str, Any]) -> None:
    # the drive at which a sine that is cut off flat has 1 % distortion, numerically; it is cut off
    # at the terminal, under a recorder that loads it as much as this input does
    drive = brentq(lambda d: clipped(d)[1] - 0.01, CLIP * 1.0001, CLIP * 1.5)
    leg = clipped(drive)[0]
    for id_, volts in (("xlr-to-xlr", 2.0 * leg), ("xlr-to-rca/pin-3-open", leg)):
        clips = option(answer, id_)["clips_at"]
        low, high = clips.get("low"), clips.get("high")
        if low is None:
            low, high = clips["value"] - clips["u95"], clips["value"] + clips["u95"]
        assert low <= volts <= high, id_
        # the doubt of the maximum itself is in it
        assert 0.001 < (high - low) / volts < 0.05, id_
    found = option(answer, "xlr-to-xlr")
    assert found["headroom_db"]["value"] == pytest.approx(20.0 * math.log10(leg), abs=0.1)


def test_an_output_that_never_clipped_has_headroom_of_at_least(answer: dict[str, Any]) -> None:
    found = option(answer, "rca-to-rca")
    # put in: no limit on the RCA output, 6 V the most that was tried
    assert found["clips_at"]["bound"] == "above"
    assert found["clips_at"]["value"] == pytest.approx(6.0 * INTO, rel=0.002)
    assert found["headroom_db"]["bound"] == "above"


def test_half_a_page_says_noise_and_hum(session: Path, answer: dict[str, Any]) -> None:
    assert answer["provisional"] is False
    said = printed("advise", session / "facts.json", session / "amplifier.toml")
    assert "108.0 dB below full output" in said
    assert "(A-weighted)" in said
    assert "provisional" not in said


def test_what_protects_is_not_judged_at_a_level_that_never_clipped() -> None:
    tried = facts(values={"differential_maximum": {"value": 4.0, "unit": "V", "bound": "above"}})
    found = operating_of(device_of(tried), side_of(tried, "left"), Destination("amp", (), Cable()))
    # the rule: levels at the most that was tried; protection at 10 V, as with nothing known
    assert found.volts == 4.0
    assert found.protects_volts == 10.0
    assert "assumed 10 V" in found.maximum_words
