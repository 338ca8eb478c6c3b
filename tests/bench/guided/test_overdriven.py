"""An output that clips at the level the run chose: told from an input that does, made lower."""

from __future__ import annotations

from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from probe.advice.cautions import seen_clipping
from probe.bench.guided.taking import Taker
from probe.bench.judged.judge import _clipped, _distorted
from probe.bench.judged.judgement import Heard, Judgement
from probe.bench.shown.what_now import choices
from probe.facts.kept import kept_warnings
from probe.session.read import read_session
from tests.bench.guided.driven import drive, kit_file


def heard(*peaks: float, percent: float = 0.0) -> Heard:
    take = SimpleNamespace(channels=("hot", "single-ended"))
    told: Any = SimpleNamespace(take=take)
    step: Any = None
    return Heard(step, told, peaks, peaks, percent={"single_ended": percent, "hot": 9.0})


def test_flat_tops_far_below_full_scale_are_the_devices() -> None:
    # common practice, no source: an input clips within 6 dB of its full scale, and not below
    assert _clipped(heard(0.2, 0.3), "flat").code == "device-clips"
    assert _clipped(heard(0.2, 0.6), "flat").code == "clipped"
    assert "10 dB" in _clipped(heard(0.2, 0.3), "flat").seen  # closed form: 20 log 0.3 is -10.5
    assert "less input gain does not help" in _clipped(heard(0.2, 0.3), "flat").do


def test_one_tone_above_one_percent_is_asked_about() -> None:
    # convention of a rated maximum: 1 % THD; of the output that the take is of, not of pin 2
    assert _distorted(heard(0.2, 0.2, percent=0.9)) == []
    (one,) = _distorted(heard(0.2, 0.2, percent=6.46))
    assert (one.code, one.again) == ("distorted", False)
    assert "the single-ended output distorts by 6.5 %" in one.seen


def test_a_lower_level_is_offered_where_it_may_help() -> None:
    clips, hum = Judgement("device-clips", "", ""), Judgement("hum", "", "")
    assert [choices((clips,), False, k, False, lower=True)[1] for k in (1, 2, 3)] == ["l", "l", "s"]
    assert "l" not in choices((clips,), False, 1, False)[0]  # a device that plays files itself
    assert "l" not in choices((hum,), True, 1, False, lower=True)[0]
    offered, usual = choices((Judgement("clipped", "", ""),), True, 1, False, lower=True)
    assert ("l" in offered, usual) == (True, "a")
    asked = Judgement("distorted", "", "", again=False)
    assert choices((asked,), True, 1, False, lower=True)[1] == "k"


def step(name: str, take: str, *channels: str, signal: str = "multitone") -> Any:
    plugged = SimpleNamespace(side="left", volume="", channels=channels)
    return SimpleNamespace(name=name, take=take, signal=signal, plugged=plugged)


def test_takes_of_one_output_are_lowered_together() -> None:
    nothing: Any = None
    bench: Any = SimpleNamespace(outputs=())
    taker = Taker(nothing, bench, nothing, 3.0, {("left", ""): 0.1}, nothing)
    rca = step("left single ended", "single-ended", "hot", "single-ended")
    load = step("left single ended loaded", "single-ended-loaded", "hot", "single-ended")
    tone = step("left single ended tone", "single-ended-tone", "hot", "single-ended", signal="tone")
    legs = step("left inject hot", "inject-hot", "hot", "cold")
    loud = taker._driven(tone)[1]
    taker.lower(rca)
    # closed form: 6 dB are a half, for every take of that output and for no other
    assert [taker._driven(s)[1] for s in (rca, load, legs)] == [0.05, 0.05, 0.1]
    assert taker._driven(tone)[1] == pytest.approx(loud / 2.0, rel=1e-4)
    taker.tone_drive[tone.name] = 1.0
    taker.lower(tone)
    assert [taker._driven(s)[1] for s in (tone, rca)] == [0.5, 0.05]
    # going on later: the level is that of the open take, whatever came last
    taker.take_up("left", "", {"open": 0.2, "single-ended": 0.05, "load-cold": 0.1})
    assert [taker._driven(s)[1] for s in (legs, rca)] == [0.2, 0.05]


STAGE = """
format = "probe-stage/1"
circuit = "core-and-inverter"
[device]
maker = "Invented"
model = "one"
[nonlinear]
single_ended = { clip_volts = %s }
"""


@pytest.mark.long
@pytest.mark.parametrize(("volts", "lower"), [("1.1", 1), ("0.2", 2)])
def test_an_output_that_clips_is_measured_lower_or_noted(
    tmp_path: Path, volts: str, lower: int
) -> None:
    stage = tmp_path / "stage.toml"
    stage.write_text(STAGE % volts, "utf-8")
    kept = iter(["r"] * 40)
    run = drive(
        tmp_path / "session", "--virtual", str(stage), "--fast", "--seconds", "1",
        "--kit", str(kit_file(tmp_path)),
        answers={
            "rising": "q", "interface's own output": "q", "y/s": "s",
            "r/s": lambda heard: _until_rca_is_settled(heard, next(kept)),
        },
    )  # fmt: skip
    assert run.alarms[:lower] == ["device-clips"] * lower
    session = read_session(tmp_path / "session")
    by_name = {t.name: t.drive_volts or 0.0 for t in session.takes}
    if lower == 1:
        # closed form: 6 dB
        assert by_name["left single ended"] == pytest.approx(by_name["left open"] / 2.0)
        assert session.kept_although == ()
    else:
        assert "left single ended" not in by_name
        (warning,) = kept_warnings(session)
        assert (warning["code"], warning["side"]) == ("output-clips", "left")
        assert warning["take"] == "left single ended"
        assert "single-ended" in warning["message"]
        assert seen_clipping({"warnings": [warning]})[0].message.startswith("An output was seen")


def _until_rca_is_settled(heard: str, answer: str) -> str:
    take = heard.rsplit("Take: ", 1)[-1].splitlines()[0]
    if take not in ("both legs open", "pin 2 and the single-ended output"):
        return "s"
    settled = heard.count("Kept: left single ended.") or heard.count("a/l/k/s [s]")
    return "q" if settled or heard.count("a/l/s [s]") else answer
