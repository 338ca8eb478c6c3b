"""Devices that are not straight, or not alike on both sides, measured by commands to the end."""

from __future__ import annotations

import json
from math import hypot, sqrt
from pathlib import Path

import pytest

from probe.cli.main import main
from probe.facts import analyse_session
from probe.session.read import read_session
from probe.simulate.build import read_stage
from probe.simulate.network import recorded
from tests.bench.guided.driven import drive, kit_file

METERED = {"Direct volts": "0.002", "Alternating volts": "0.001"}
SECOND, THIRD = 2e-3, -1e-3
STAGE = f"""
format = "probe-stage/1"
circuit = "core-and-inverter"
seed = 1
sides = ["left"]
takes = ["full"]
[device]
maker = "Invented"
model = "bent"
[bench]
repeatability_db = 0.005
[nonlinear]
hot = {{ second = {SECOND}, third = {THIRD} }}
cold = {{ second = {SECOND}, third = {THIRD} }}
single_ended = {{ second = {SECOND}, third = {THIRD} }}
"""
TONE = """
[[take]]
name = "tone {1}"
signal = "tone"
channels = ["hot", "{1}"]
tones_hz = [997.0]
drive_volts = {0}
seconds = 2.0
"""
VOLTS = 2.0


@pytest.mark.long
def test_a_stage_that_distorts_from_its_circuit_to_its_facts(tmp_path: Path, capsys) -> None:
    stage, session = tmp_path / "stage.toml", tmp_path / "session"
    stage.write_text(STAGE + TONE.format(VOLTS, "cold") + TONE.format(VOLTS, "single-ended"))
    assert main(["simulate", str(stage), str(session)]) == 0
    assert main(["analyse", str(session)]) == 0
    capsys.readouterr()
    side = json.loads((session / "facts.json").read_text("utf-8"))["sides"]["left"]
    # source: the circuit's own description in the library
    assert side["stage"]["kind"] == "differential"
    assert side["stage"]["faults"] == []
    spec = read_stage(stage)
    heard = {t.name.split()[-1]: recorded(spec, t).from_device[0] for t in spec.takes[-2:]}
    hot, cold = (sqrt(2.0) * abs(v) for v in heard["cold"])
    single = sqrt(2.0) * abs(heard["single-ended"][1])
    # closed form: of A cos through y = v + a v^2 + b v^3 the second harmonic is a A^2/2, the third
    # b A^3/4, the tone A + 3/4 b A^3; between legs in opposite phase the third ones add, and of the
    # second ones the difference is left
    tone = single + 0.75 * THIRD * single**3
    true = 100.0 * hypot(SECOND * single**2 / 2.0, THIRD * single**3 / 4.0) / tone
    facts = side["facts"]
    _holds(facts["single_ended_thd"], true)
    both = hot + cold + 0.75 * THIRD * (hot**3 + cold**3)
    second, third = SECOND * (hot**2 - cold**2) / 2.0, THIRD * (hot**3 + cold**3) / 4.0
    _holds(facts["differential_thd"], 100.0 * hypot(second, third) / both)


def _holds(entry: dict[str, float], true: float) -> None:
    assert entry["value"] == pytest.approx(true, rel=0.05)
    assert abs(entry["value"] - true) <= entry["u95"]
    assert entry["u95"] < true


@pytest.mark.long
def test_a_stage_that_distorts_is_guided_to_its_kind(tmp_path: Path) -> None:
    stage, session = tmp_path / "stage.toml", tmp_path / "session"
    # closed form: a v^2 of twelve tones of 0.4 V rms in all is a 0.4 sqrt 2 = 0.9 % beside them,
    # three times what a load is refused for where the device is clean without it
    stage.write_text(STAGE.replace(f"second = {SECOND}", "second = 1.6e-2"))
    kit = kit_file(tmp_path)
    words = ("--virtual", str(stage), "--fast", "--kit", str(kit))
    passed = {**METERED, "y/s": "s", "n/y [n]": "n"}
    run = drive(session, *words, answers=passed)
    assert run.status == 0, run.text[-2000:]
    # the take of one tone says so, above 1 %: it is the device, and that take is kept
    assert run.alarms == ["distorted"]
    assert "The load is refused" not in run.text
    assert "Kept: left inject single ended" in run.text
    found = analyse_session(session, draws=400)["sides"]["left"]
    # source: the circuit's own description in the library
    assert found["stage"]["kind"] == "differential"
    assert found["stage"]["confidence"] > 0.9
    assert found["stage"]["faults"] == []


@pytest.mark.long
@pytest.mark.parametrize(
    ("side", "code", "seen"),
    [
        ("right", "other-side", "this looks like the other side, not like right"),
        # nobody has met the right side yet, and it is not alike at all tones
        ("left", "not-as-before", "against the open take, plugged alike, hot"),
    ],
)
def test_the_other_sides_leads_are_told_and_the_take_is_made_again(
    tmp_path: Path, side: str, code: str, seen: str
) -> None:
    stage, session = tmp_path / "stage.toml", tmp_path / "session"
    text = STAGE.split("[nonlinear]")[0].replace('["left"]', '["left", "right"]')
    stage.write_text(text.replace('["full"]', '["open"]') + OTHER)
    kit = kit_file(tmp_path, 'format = "probe-kit/1"\n')

    def ready(heard: str) -> str:
        if "Part: right: takes" in heard:
            return "q" if side == "left" else "r"
        asked = heard[heard.rfind("Part: Take:") :]
        return "s" if side == "right" and "once more" in asked else "r"

    run = drive(
        session, "--virtual", str(stage), "--fast", "--kit", str(kit), "--mishap",
        "left-for-right@second-open", answers={**METERED, "r/s": ready, "l/r/b/m": "b"},
    )  # fmt: skip
    assert run.status == (0 if side == "right" else 3), run.text[-2000:]
    assert run.alarms == [code]
    text = " ".join(run.text.split())
    assert f"{seen}" in text
    # what to do names the way back, and the take made again is the one that stays
    assert "make the take again" in text[text.index(seen) :][:400]
    takes = {t.name: t for t in read_session(session).takes}
    assert f"{side} second open" in takes
    assert not list(session.glob("*.old"))


OTHER = """
[side.right]
circuit = "cross-coupled"
"""
