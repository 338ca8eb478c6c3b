"""Takes of one tone at the level a data sheet states its distortion at."""

from __future__ import annotations

import math
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from probe.bench.guided.guide import LOOP_BACK, Guide
from probe.bench.guided.wanted_level import below_maximum, tone_drive, tones_again, words_at
from probe.cli.main import main
from probe.cli.measure import _tone_levels
from probe.errors import BadInput
from probe.session.model import BenchOutput, RecorderInput
from probe.session.read import read_session
from tests.bench.guided.driven import drive, kit_file

INPUT = RecorderInput(8.7, 0.005, 20e3, 0.01, 150e-12, 20e-12)
BODY = {
    "conditions": {"drive_volts": 0.1},
    "facts": {
        "hot_level": {"value": 0.1}, "cold_level": {"value": 0.1},
        "differential_level": {"value": 0.2}, "single_ended_level": {"value": 0.05},
    },
}  # fmt: skip


def asked(wanted: float, *channels: str, full: float = 20.0) -> tuple[float | None, str]:
    bench: Any = SimpleNamespace(inputs=(INPUT, INPUT), outputs=(BenchOutput(full, 100.0),))
    step: Any = SimpleNamespace(plugged=SimpleNamespace(channels=channels))
    return tone_drive(step, BODY, wanted, bench)


def test_the_drive_is_the_level_over_the_gain() -> None:
    # closed form: gains 2 between the legs and 0.5 of the single-ended output
    assert asked(2.0, "hot", "cold") == (pytest.approx(1.0), "")
    assert asked(2.0, "hot", "single-ended") == (pytest.approx(4.0), "")


def test_what_output_or_inputs_do_not_stand_is_refused() -> None:
    # closed form: 8.7 V peak less 3 dB is 4.355 V rms on a leg of half the level
    most = 2.0 * 8.7 * 10.0 ** (-3.0 / 20.0) / math.sqrt(2.0)
    assert asked(0.999 * most, "hot", "cold")[0] is not None
    assert "on one leg is more than the input takes" in asked(1.001 * most, "hot", "cold")[1]
    # closed form: 1 V rms is 1.414 V peak, more than 0.9 of 1.5 V
    assert "more than the interface's output gives" in asked(2.0, "hot", "cold", full=1.5)[1]


@pytest.mark.parametrize(
    ("entry", "wanted", "allowed"),
    [
        # closed form: 1.748 V less 0.5 dB is 1.6502 V
        ({"value": 1.748}, 2.0, 1.748 * 10.0 ** (-0.5 / 20.0)),
        # closed form: 1.6 V is 0.77 dB below 1.748 V
        ({"value": 1.748}, 1.6, 1.6),
        # closed form: a maximum known to be above a level forbids nothing above it
        ({"value": 1.748, "bound": "above"}, 2.0, 2.0),
    ],
)
def test_a_tone_stays_below_the_maximum_that_was_found(
    entry: dict[str, Any], wanted: float, allowed: float
) -> None:
    facts = {**BODY["facts"], "single_ended_maximum": entry}
    level, why = below_maximum({**BODY, "facts": facts}, "single_ended", wanted)
    assert (level, bool(why)) == (pytest.approx(allowed), allowed != wanted)
    assert below_maximum({**BODY, "facts": facts}, "differential", wanted) == (wanted, "")
    bench: Any = SimpleNamespace(inputs=(INPUT, INPUT), outputs=(BenchOutput(20.0, 100.0),))
    step: Any = SimpleNamespace(plugged=SimpleNamespace(channels=("hot", "single-ended")))
    drive, said = tone_drive(step, {**BODY, "facts": facts}, wanted, bench)
    # closed form: the gain of the single-ended output is 0.5
    assert (drive, said) == (pytest.approx(allowed / 0.5, rel=1e-5), why)


def test_what_is_not_known_of_the_level_is_said() -> None:
    # closed form: 4 V of a level of 0.2 V is 20 times it, and so are the ends of its interval
    limited = {"value": 0.2, "low": 0.199, "high": 0.215, "limited_by_bench": True}
    said = words_at(limited, "differential", 4.0, 1.0)
    assert "about 4.00 V of the output between the legs, open circuit" in said
    assert "may be 3.98 V to 4.30 V" in said
    # closed form: lowered by 6 dB
    assert "may be 1.99 V to 2.15 V" in words_at(limited, "differential", 4.0, 0.5)
    known = {"value": 0.2, "u95": 0.001}
    assert words_at(known, "single_ended", 2.0, 1.0) == (
        "The tone is taken at 2.00 V of the single-ended output, open circuit."
    )


STAGE = """
format = "probe-stage/1"
circuit = "symmetrical-dual"
sides = ["left"]
[device]
maker = "Invented"
model = "One"
[parts]
R_HOT = 600.0
R_COLD = 600.0
R_RCA = 600.0
"""


@pytest.mark.long
def test_the_level_asked_for_is_that_of_the_output_open_circuit(tmp_path: Path) -> None:
    stage = tmp_path / "stage.toml"
    stage.write_text(STAGE, "utf-8")
    words = ["--virtual", str(stage), "--fast", "--tone-level", "2V", "--seed", "3"]
    run = drive(tmp_path / "s", *words, "--kit", str(kit_file(tmp_path)))
    assert run.status == 0
    takes = read_session(tmp_path / "s").takes
    driven = {one.name: one.drive_volts for one in takes if one.signal == "tone"}
    # closed form: unity gain to each leg and to the RCA output; inputs of 20 kohm take 3 % of
    # 600 ohm, and their own full scale is known to 0.5 %
    assert driven["left tone"] == pytest.approx(1.0, rel=0.008)
    assert driven["left single ended tone"] == pytest.approx(2.0, rel=0.008)


def both(volts: float) -> dict[str, float]:
    return {"differential": volts, "single_ended": volts}


def test_takes_at_another_level_are_made_again_where_they_can_be() -> None:
    def step(*channels: str) -> Any:
        return SimpleNamespace(signal="tone", plugged=SimpleNamespace(channels=channels))

    steps = {
        "left tone": step("hot", "cold"),
        "left single ended tone": step("hot", "single-ended"),
    }
    takes = [
        {"name": "left open", "drive_volts": 0.1},
        {"name": "left tone", "drive_volts": 0.4},
        {"name": "left single ended tone", "drive_volts": 0.4},
    ]
    bench: Any = SimpleNamespace(inputs=(INPUT, INPUT), outputs=(BenchOutput(20.0, 100.0),))
    # closed form: gains 2 and 0.5 make 1 V of a drive of 0.5 V and of 2 V
    again, stays = tones_again(takes, steps, BODY, both(1.0), bench)
    assert ([t["name"] for t in again], stays) == (["left tone", "left single ended tone"], [])
    # closed form: 0.8 V is what 0.4 V makes between the legs already
    again, stays = tones_again(takes, steps, BODY, both(0.803), bench)
    assert [t["name"] for t in again] == ["left single ended tone"]
    # closed form: 8 V of the single-ended output take 16 V rms, more than 20 V peak gives
    again, stays = tones_again(takes, steps, BODY, both(8.0), bench)
    assert [t["name"] for t in again] == ["left tone"]
    assert [one.split(":")[0] for one in stays] == ["left single ended tone stays as it is"]


@pytest.mark.parametrize(
    ("loudest", "again"),
    [
        (1.0, False),  # it is there at 1.02 V
        (1.65, True),  # closed form: 1.683 V is louder than 1.02 V
        (30.0, True),  # as loud as an input may hear of it: 2 V
    ],
)
def test_the_interface_is_heard_again_where_a_tone_became_louder(
    loudest: float, again: bool
) -> None:
    forgotten: list[str] = []

    def run(drive: float) -> list[str]:
        take = {"name": "left loop back", "file": "a.wav", "side": "left", "signal": "loop-back"}
        one: Any = SimpleNamespace(made=["open", LOOP_BACK], setting=SimpleNamespace(side="left"))
        guide = Guide.__new__(Guide)
        guide.store = SimpleNamespace(  # type: ignore[assignment]
            takes=[{**take, "drive_volts": drive}], forget=forgotten.append
        )
        taker = SimpleNamespace(loop_volts=lambda volts: min(1.02 * volts, 2.0))
        guide.takes = SimpleNamespace(taker=taker)  # type: ignore[assignment]
        guide._loop_back_again(one, loudest)
        return list(one.made)

    assert (LOOP_BACK not in run(1.02)) == again
    assert forgotten == ["a.wav"] * again
    assert LOOP_BACK in run(2.0)  # it cannot be louder: made once, not for ever


def test_each_output_may_have_its_own_level() -> None:
    # closed form: what is said of one output counts before what is said of both
    assert _tone_levels(["2V", "rca=1V"]) == {"differential": 2.0, "single_ended": 1.0}
    assert _tone_levels(["rca=900mV"]) == {"single_ended": 0.9}
    assert _tone_levels([]) == {}
    for typed in (["1V", "2V"], ["rca=1V", "RCA=2V"], ["sub=1V"], ["xlr=0"]):
        with pytest.raises(BadInput, match="--tone-level"):
            _tone_levels(typed)


@pytest.mark.parametrize("typed", ["2", "2V", "2000mV", "0.001", "2ohm", "x"])
def test_a_level_is_typed_as_figures_are(typed: str, capsys: pytest.CaptureFixture[str]) -> None:
    status = main(["measure", "new", "--virtual", "no-such-circuit", "--tone-level", typed])
    assert status == 2
    # what is wrong with the level is said before the circuit is looked for
    assert ("--tone-level" in capsys.readouterr().err) == (typed in ("0.001", "2ohm", "x"))
