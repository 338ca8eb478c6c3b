"""Hum that one take of one tone has and the others do not: seen, named, no figure of the device."""

from __future__ import annotations

import math
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
import soundfile

from probe.bench.judged.judge import judge
from probe.facts import analyse_session
from probe.measures.tone_hum import hum_volts
from probe.phasors import measure_take
from probe.session.read import read_session
from probe.simulate.write import simulate

from .made import stage

TONE = {
    "name": "left tone", "signal": "tone", "channels": ["hot", "cold"], "tones_hz": [997.0],
    "drive_volts": 1.0, "seconds": 4.0,
}  # fmt: skip
HUM = {50.0: 60e-3, 150.0: 20e-3}
"""V rms at each frequency."""


def session(folder: Path, *, hummed: tuple[str, ...]) -> Path:
    """A device without hum; hum is added to the files of some takes."""
    simulate(stage(takes=("open", "idle", "floor"), take=[TONE]), folder)
    for take in read_session(folder).takes:
        if any(word in take.name for word in hummed):
            data, rate = soundfile.read(take.path)
            t = np.arange(len(data)) / rate
            hum = sum(v * math.sqrt(2.0) * np.cos(2.0 * np.pi * f * t) for f, v in HUM.items())
            full = [i.volts_full_scale for i in take.inputs]
            soundfile.write(take.path, data + hum[:, None] / full, rate, "PCM_24")
    return folder


@pytest.mark.long
def test_hum_of_the_tone_take_alone_is_a_bound_with_its_lines(tmp_path: Path) -> None:
    folder = session(tmp_path / "s", hummed=("tone",))
    document = analyse_session(folder, draws=50)
    entry = document["sides"]["left"]["facts"]["hot_thd_n"]
    assert (entry["bound"], entry["limited_by_bench"]) == ("below", True)
    # closed form: THD+N of a tone with hum alone is the hum over the root of both squares
    hum = math.hypot(*HUM.values())
    assert entry["value"] == pytest.approx(
        100.0 * hum / math.hypot(hum, entry["at_volts"]), rel=1e-2
    )
    assert "(50, 150 Hz) of mains hum in it, which" in entry["note"]
    told = [w for w in document["warnings"] if w["code"] == "hum-beside-tone"]
    assert [w["take"] for w in told] == ["left tone"]

    bench = read_session(folder)
    tone = next(t for t in bench.takes if t.name == "left tone")
    opened = next(t for t in bench.takes if "open" in t.name)
    heard = hum_volts(tone, bench.bench.mains_hz, np.arange(1.0, 21.0) * 997.0)
    # closed form: the hum that was added
    assert heard == pytest.approx((hum, hum), rel=1e-2)
    step = SimpleNamespace(
        plugged=SimpleNamespace(state="play", loads=(), injector=None),
        plays=True,
        signal="tone",
        take="tone",
    )
    phasors = [measure_take(t, bench.bench.mains_hz) for t in (opened, tone)]
    for volts, alarms in ((heard, ["hum"]), ((0.0, 0.0), [])):
        made: Any = SimpleNamespace(
            step=step,
            phasors=phasors[1],
            peaks=(0.3, 0.3),
            rms=(0.1, 0.1),
            lost=False,
            hum=volts,
            percent={},
        )
        assert [j.code for j in judge(made, phasors[:1])] == alarms


@pytest.mark.long
def test_hum_that_the_idle_take_has_too_is_the_devices(tmp_path: Path) -> None:
    document = analyse_session(session(tmp_path / "s", hummed=("tone", "idle")), draws=50)
    entry = document["sides"]["left"]["facts"]["hot_thd_n"]
    assert "bound" not in entry
    # closed form: as above
    hum = math.hypot(*HUM.values())
    assert entry["value"] == pytest.approx(
        100.0 * hum / math.hypot(hum, entry["at_volts"]), rel=1e-2
    )
    assert not [w for w in document["warnings"] if w["code"] == "hum-beside-tone"]
