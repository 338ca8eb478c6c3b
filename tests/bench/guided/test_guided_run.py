"""Complete guided runs on the virtual bench, as somebody at a terminal makes them."""

from __future__ import annotations

import json
import re
import subprocess
import sys
import tomllib
from dataclasses import replace
from pathlib import Path

import pytest

from probe.bench.guided.continued import refuse_another
from probe.bench.stored.storage import SessionFolder
from probe.bench.stored.tables import bench_table, device_table
from probe.bench.virtual.equipment import virtual_equipment
from probe.cli.main import main
from probe.errors import BadInput
from probe.facts import analyse_session
from probe.report import render_summary
from probe.session.model import Device
from probe.session.read import read_session
from probe.simulate.library import load
from tests.bench.guided.driven import Answer, Run, drive, kit_file

METERED = {"Direct volts": "0.002", "Alternating volts": "0.001"}


def guided(tmp_path: Path, circuit: str, *words: str, **more: object) -> Run:
    kit = kit_file(tmp_path)
    return drive(
        tmp_path / "session", "--virtual", circuit, "--fast", "--kit", str(kit), *words,
        answers={**METERED, **more.pop("answers", {})}, **more,  # type: ignore[arg-type, dict-item]
    )  # fmt: skip


def kind_of(tmp_path: Path, side: str = "left") -> tuple[str, float]:
    stage = analyse_session(tmp_path / "session", draws=400)["sides"][side]["stage"]
    return stage["kind"], stage["confidence"]


@pytest.mark.long
def test_from_unplugged_device_to_session(tmp_path: Path) -> None:
    run = guided(tmp_path, "cross-coupled")
    assert run.status == 0, run.text[-2000:]
    assert run.alarms == []
    side = analyse_session(tmp_path / "session", draws=400)["sides"]["left"]
    # source: the circuit's own description in the library
    assert side["stage"]["kind"] == load("cross-coupled").kind
    assert side["stage"]["confidence"] > 0.9
    noise = side["facts"]
    heard = noise["differential_noise"]
    # closed form: two virtual inputs of 30 nV per root hertz each read 6.0 uV from 20 Hz to 20 kHz;
    # the device has no noise, and the floor take tells that most of it is the inputs' own
    assert (heard["bound"], heard["limited_by_bench"]) == ("below", True)
    assert heard["value"] < 0.3 * 6.0e-6
    assert "left-floor.wav" in heard["takes"]
    thd = noise["differential_thd"]
    # the device adds nothing; source of 0.03 %: what is taken where the bench did not hear itself
    assert (thd["bound"], thd["limited_by_bench"]) == ("below", True)
    assert thd["value"] < 0.001
    assert thd["takes"] == ["left-tone.wav", "left-loop-back.wav"]
    assert "single_ended_thd" in noise
    assert "Nothing to plug: leave everything as it is." in run.text
    page = (tmp_path / "session" / "follow.html").read_text("utf-8")
    assert "refresh" not in page
    assert "The session is complete" in run.text.replace("\n", " ")
    for danger in ("48 V phantom", "Grounds first", "Loudspeakers", "10 kohm", "electrical codes"):
        assert danger in run.text


BENT = """\
format = "probe-stage/1"
circuit = "symmetrical-dual"
takes = ["open"]
[device]
maker = "Invented"
model = "bent"
[nonlinear]
hot = { second = 1e-3 }
cold = { third = 1e-4 }
"""


@pytest.mark.long
def test_a_device_that_bends_states_its_distortion(tmp_path: Path) -> None:
    stage, kit = tmp_path / "stage.toml", 'format = "probe-kit/1"\nloop_back = true\n'
    stage.write_text(BENT, "utf-8")
    path = kit_file(tmp_path, kit)
    run = drive(
        tmp_path / "session", "--virtual", str(stage), "--fast", "--kit", str(path),
        answers=METERED,
    )  # fmt: skip
    assert (run.status, run.alarms) == (0, []), run.text[-2000:]
    side = analyse_session(tmp_path / "session", draws=100)["sides"]["left"]
    facts, top = side["facts"], 2.0**0.5 * side["facts"]["hot_thd"]["at_volts"]
    # closed form: v + a v² of a cosine of peak A has a second harmonic of a A / 2; v + b v³ a
    # third of b A² / 4, over a tone raised by 3 b A² / 4; the recorder's 20 kohm takes 0.5 %
    for name, percent in (("hot", 50e-3 * top), ("cold", 25e-4 * top**2)):
        entry = facts[f"{name}_thd"]
        assert "bound" not in entry
        assert entry["value"] == pytest.approx(percent, rel=0.02)
        assert entry["takes"] == ["left-tone.wav", "left-loop-back.wav"]


def valves(heard: str) -> str:
    return "y" if "stage have valves" in heard[-120:] else ""


@pytest.mark.long
def test_valves_are_metered_after_their_caution_or_nothing_is_connected(tmp_path: Path) -> None:
    run = guided(
        tmp_path,
        "valve-followers",
        answers={"y/n [n]": valves, "Direct volts": "", "Alternating volts": ""},
    )
    assert run.status == 2
    assert 0 < run.text.index("100 to 300 V") < run.text.index("The meter, before anything")
    text = " ".join(run.text.split())
    assert "the direct volts" in text
    assert "were not read, and an output with valves is not connected before" in text
    assert not list((tmp_path / "session").glob("*.wav"))


@pytest.mark.long
def test_the_bench_is_checked_first_and_what_was_found_stays(tmp_path: Path) -> None:
    mishaps = ("--mishap", "clipping@check", "--mishap", "hum@load-cold")
    run = guided(tmp_path, "core-and-inverter", *mishaps, answers={"r/s": "q"})
    assert run.status == 3
    assert run.alarms == ["not-as-calibrated"]
    text = " ".join(run.text.split())
    # source: the mishap's own figure, 20 dB, within what plugs do
    found = re.findall(r"Input 1: ([+-][0-9.]+) dB from its calibration", text)
    assert [float(db) for db in found] == [
        pytest.approx(20.0, abs=0.05),
        pytest.approx(0, abs=0.05),
    ]
    assert "its gain knob or a pad was moved" in text
    session = (tmp_path / "session" / "session.toml").read_text("utf-8")
    assert re.search(r"^# Bench checked with the reference: .* as calibrated\.$", session, re.M)
    assert "The mishap hum@load-cold never came up" in text


@pytest.mark.long
@pytest.mark.parametrize(
    "circuit",
    ["impedance-balanced", "pin-3-grounded", "ground-sensing", "floating-transformer"],
)
def test_every_kind(tmp_path: Path, circuit: str) -> None:
    run = guided(tmp_path, circuit)
    assert run.status == 0, run.text[-2000:]
    assert kind_of(tmp_path) == (load(circuit).kind, pytest.approx(1.0, abs=0.1))
    # "nothing is heard on pin 3" is a question there, not a false alarm: nothing is
    assert set(run.alarms) <= {"pin-3-silent", "injector-missing"}


@pytest.mark.long
@pytest.mark.parametrize(
    ("mishap", "codes"),
    [
        ("hum", {"hum"}),
        ("exchanged-leads", {"legs-exchanged"}),
        ("forgotten-switch@inject-cold", {"injector-missing"}),
        ("moved-volume", {"volume-moved"}),
        ("crept-volume", {"contradiction"}),
        ("clipping", {"stopped", "clipped"}),
        ("mute-relay", {"level-moved", "nothing-heard"}),
        ("dropped-blocks", {"samples-lost"}),
        ("lost-samples", {"samples-lost", "level-moved", "hum"}),
        ("lead-out", {"pin-3-silent"}),
        ("unplugged-device", {"level-moved", "nothing-heard"}),
        ("unplugged-interface", {"interface-gone"}),
        ("foreign-clock", set()),
    ],
)
def test_every_mishap(tmp_path: Path, mishap: str, codes: set[str]) -> None:
    run = guided(tmp_path, "core-and-inverter", "--mishap", mishap)
    assert run.status == 0, run.text[-2000:]
    assert set(run.alarms) <= codes
    assert bool(run.alarms) == bool(codes)
    assert kind_of(tmp_path)[0] == "differential"


@pytest.mark.long
def test_leads_exchanged_at_an_injection_of_a_floating_stage(tmp_path: Path) -> None:
    """Levels tell nothing there, and no take is spare: the voltage between the legs does."""
    run = guided(tmp_path, "floating-transformer", "--mishap", "exchanged-leads@inject-hot")
    assert run.status == 0, run.text[-2000:]
    assert run.alarms == ["legs-exchanged"]
    assert kind_of(tmp_path)[0] == "transformer-coupled"


@pytest.mark.long
def test_a_contradiction_that_is_kept_is_not_called_settled(tmp_path: Path) -> None:
    kept = {"a/k": "k"}
    run = guided(tmp_path, "core-and-inverter", "--mishap", "exchanged-leads", answers=kept)
    assert run.status == 0, run.text[-2000:]
    assert run.alarms == ["legs-exchanged", "contradiction"]
    text = " ".join(run.text.split())
    assert "everything asked for is settled" not in text
    assert "Still open: left inject cold: " in text
    assert "The session is complete, but takes do not fit the others: left inject cold" in text


@pytest.mark.long
def test_two_volumes_are_two_rounds_of_one_session(tmp_path: Path) -> None:
    path = kit_file(tmp_path, 'format = "probe-kit/1"\nsingle_ended = true\n')
    run = drive(
        tmp_path / "session", "--virtual", "core-and-inverter", "--fast", "--kit", str(path),
        answers={**METERED, "Volume positions": "half, full"},
    )  # fmt: skip
    assert run.status == 0, run.text[-2000:]
    assert run.alarms == []
    takes = read_session(tmp_path / "session").takes
    words = ["open", "tone", "idle", "single ended", "single ended tone", "second open"]
    assert [t.name for t in takes] == [f"left at {v} {w}" for v in ("half", "full") for w in words]
    assert {t.volume for t in takes} == {"half", "full"}
    asked = [line for line in run.text.splitlines() if "Set the device's volume to" in line]
    assert [line.split(".")[0].split()[-1] for line in asked] == ["half", "full"]


@pytest.mark.long
def test_a_stage_that_cannot_drive_a_load_is_not_loaded_at_full_level(tmp_path: Path) -> None:
    run = guided(tmp_path, "cross-coupled", "--mishap", "weak-stage")
    assert run.status == 0, run.text[-2000:]
    text = " ".join(run.text.split())
    assert "The load is refused. The level falls behind the drive by" in text
    assert "Kept: left load across" not in text
    assert "Still open: the impedance between the legs" in text
    assert not (tmp_path / "session" / "left-load-across.wav").exists()
    facts = analyse_session(tmp_path / "session", draws=100)
    (told,) = [w for w in facts["warnings"] if w["code"] == "load-refused"]
    assert "the level falls behind the drive by" in told["message"]
    summary = " ".join(render_summary(facts).split())
    assert "no fault found" not in summary
    assert "under the load that was refused" in summary


@pytest.mark.long
def test_forgotten_load(tmp_path: Path) -> None:
    """Without an injector the load decides, so a missing one must be noticed."""
    kit = 'format = "probe-kit/1"\nload = [ { part = "R1", ohm = 604.0, u95_percent = 0.1 } ]\n'
    path = kit_file(tmp_path, kit)
    run = drive(
        tmp_path / "session", "--virtual", "core-and-inverter", "--fast", "--kit", str(path),
        "--mishap", "forgotten-switch", answers=METERED,
    )  # fmt: skip
    assert run.status == 0, run.text[-2000:]
    assert run.alarms == ["load-missing"]
    assert kind_of(tmp_path)[0] == "differential"


@pytest.mark.long
def test_direct_voltage_stops_before_anything_is_connected(tmp_path: Path) -> None:
    run = guided(tmp_path, "core-and-inverter", answers={"Direct volts": "12"})
    assert run.status == 2
    # source: the limit above which a fault or a bridged stage is suspected, 2 V
    assert "above 2 V suspect" in run.text.replace("\n", " ")
    assert not list((tmp_path / "session").glob("*.wav"))


def metered(tmp_path: Path, pin_2: Answer) -> Run:
    """A run until the first take, with this typed for the direct volts of pin 2."""
    words = ("--virtual", "core-and-inverter", "--fast", "--kit", str(kit_file(tmp_path)))
    answers = {"left, between pin 2 and pin 1": "", "volts": "0.002", "r/s": "q", "y/s": "s"}
    first = {"Direct volts left, between pin 2 and pin 1": pin_2}
    return drive(tmp_path / "session", *words, answers={**first, **answers})


@pytest.mark.long
def test_a_reading_that_forbids_to_connect_is_asked_for_again(tmp_path: Path) -> None:
    """Lost: the session went on the second time as if nothing had been metered."""
    first = metered(tmp_path, "0.3")
    assert first.status == 2
    assert "0.3 V direct between pin 2 and pin 1 of the left output" in " ".join(first.text.split())
    # Enter leaves it as it was; another reading as high is none the better
    for said, volts in (("", "0.3"), ("0.25", "0.25")):
        again = metered(tmp_path, said)
        assert again.status == 2
        assert "Metered before" in again.text
        assert f"probe: {volts} V direct between" in again.text
    assert not list((tmp_path / "session").glob("*.wav"))
    assert metered(tmp_path, "0.003").status == 3
    text = (tmp_path / "session" / "session.toml").read_text("utf-8")
    kept = [m["volts_dc"] for m in tomllib.loads(text)["meter"] if m["between"][0] == "hot"]
    assert kept == [0.003]


@pytest.mark.long
def test_a_reading_typed_wrongly_is_typed_again(tmp_path: Path) -> None:
    typed = iter(["3", "0.003"])
    words = ("--virtual", "core-and-inverter", "--fast", "--kit", str(kit_file(tmp_path)))
    answers: dict[str, Answer] = {
        "Direct volts left, between pin 2": lambda _heard: next(typed),
        "e/a": "a", "volts": "0.002", "r/s": "q", "y/s": "s",
    }  # fmt: skip
    run = drive(tmp_path / "session", *words, answers=answers)
    assert run.status == 3
    assert "above 2 V suspect" in " ".join(run.text.split())


@pytest.mark.parametrize(("key", "word"), [("h", "headphone"), ("s", "loudspeaker")])
@pytest.mark.long
def test_headphone_and_speaker_outputs_are_refused(tmp_path: Path, key: str, word: str) -> None:
    run = guided(tmp_path, "core-and-inverter", answers={"l/h/s": key})
    assert run.status == 2
    assert f"{word} output is not measured here" in run.text.replace("\n", " ")
    assert not (tmp_path / "session").exists()


@pytest.mark.long
def test_a_headphone_amplifier_by_its_name_is_asked_about(tmp_path: Path) -> None:
    # lost: leads go into a headphone socket whose owner took "line output" for it
    run = guided(tmp_path, "core-and-inverter", answers={
        "Model": "Tern headphone amplifier",
        "y/n": lambda heard: "q" if "A line output it is" in heard else "y",
    })  # fmt: skip
    text = run.text.replace("\n", " ")
    assert "Is this really a line output?" in text
    assert 'called "Tern headphone amplifier"' in text
    assert run.status == 3
    assert not (tmp_path / "session").exists()


@pytest.mark.long
def test_quit_and_resume(tmp_path: Path) -> None:
    stops = iter(["r", "r", "q"])  # the interface's own noise, the open take
    run = guided(tmp_path, "core-and-inverter", answers={"r/s": lambda _: next(stops)})
    assert run.status == 3
    assert "go on with" in run.text.replace("\n", " ")
    kept = json.loads((tmp_path / "session" / "guide.json").read_text("utf-8"))
    assert kept["sides"] == ["left"]
    again = drive(
        tmp_path / "session", "--virtual", "core-and-inverter", "--fast",
        "--kit", str(tmp_path / "kit.toml"), answers={"r/s": "q"},
    )  # fmt: skip
    assert again.status == 3
    assert "2 takes are in it" in again.text.replace("\n", " ")
    session = (tmp_path / "session" / "session.toml").read_text("utf-8")
    assert "# Bench checked with the reference: " in session
    assert "# Gone on later without checking the bench with the reference again." in session
    assert "not checked with the reference before this session" not in session
    assert "Take: both legs open" not in again.text


@pytest.mark.long
def test_gain_turned_up_for_the_noise_must_be_taken_back(tmp_path: Path) -> None:
    stops = iter(["r", "r", "r", "r", "r", "q"])
    answers = {
        "r/s": lambda _: next(stops),
        "n/y [n]": lambda heard: "y" if "gain up for this take" in heard[-300:] else "n",
    }
    words = ["--mishap", "gain-left-up"]
    run = guided(tmp_path, "core-and-inverter", *words, answers=answers)
    text = run.text.replace("\n", " ")
    assert run.status == 3, run.text[-2000:]
    # source: what the virtual bench's hands turn, 30 dB
    assert re.search(r"hear \+(29\.9|30\.0|30\.1) dB and \+(29\.9|30\.0|30\.1) dB more", text)
    assert run.text.count("gain-not-back") == 1
    assert text.index("gain-not-back") < text.index("The gain is as it was")
    takes = {t.name: t for t in read_session(tmp_path / "session").takes}
    quiet, first = takes["left idle"].inputs, takes["left open"].inputs
    assert takes["left raised floor"].inputs == quiet
    assert takes["left floor"].inputs == first
    for one, other in zip(quiet, first, strict=True):
        # source: 30 dB more gain, 10^(-30/20) of the full scale
        assert one.volts_full_scale / other.volts_full_scale == pytest.approx(0.0316, rel=0.01)


@pytest.mark.long
def test_gain_left_up_over_a_stop_is_insisted_on(tmp_path: Path) -> None:
    answers = {
        "n = not yet": lambda heard: "q" if "back to where it was" in heard[-200:] else "y",
        "n/y [n]": lambda heard: "y" if "gain up for this take" in heard[-300:] else "n",
    }
    run = guided(tmp_path, "core-and-inverter", answers=answers)
    assert run.status == 3, run.text[-2000:]
    assert "gain_raised" in (tmp_path / "session" / "unfinished.toml").read_text("utf-8")
    again = guided(tmp_path, "core-and-inverter", answers={"r/s": "q"})
    assert again.status == 3
    text = again.text
    assert text.index("was turned up when this session was stopped") < text.index("as it was.")
    assert not (tmp_path / "session" / "unfinished.toml").exists()


@pytest.mark.long
def test_a_session_does_not_go_on_with_another_device(tmp_path: Path) -> None:
    """A session file has one device: takes of another among its own would be taken for its."""
    # as `probe measure` begins one, three takes in
    begun = SessionFolder.create(
        tmp_path / "session", device_table(Device("Virtual", "cross-coupled")),
        bench_table(virtual_equipment("cross-coupled", kit=None).bench),
        head=virtual_equipment("cross-coupled", kit=None).head,
    )  # fmt: skip
    before = (begun.folder / "session.toml").read_bytes()
    run = drive(begun.folder, "--virtual", "impedance-balanced", "--fast")
    assert run.status == 2
    said = " ".join(run.text.split())
    assert "begun with the simulated device cross-coupled, parts drawn with seed 1, not" in said
    assert run.asked == []
    assert (begun.folder / "session.toml").read_bytes() == before
    assert sorted(p.name for p in begun.folder.iterdir()) == ["session.toml"]
    refuse_another(begun, virtual_equipment("cross-coupled", kit=None))
    for other, seen in (
        (virtual_equipment("cross-coupled", kit=None, seed=2), "seed 1, not with"),
        (virtual_equipment("cross-coupled", kit=None, inputs=3), "figures of the interface's inp"),
        (replace(virtual_equipment("cross-coupled", kit=None), head=()), "not with a real device"),
    ):
        with pytest.raises(BadInput, match=seen):
            refuse_another(begun, other)


@pytest.mark.long
def test_an_answer_that_is_not_wanted_is_not_given_for_ever(tmp_path: Path) -> None:
    answers = tmp_path / "answers.toml"
    answers.write_text("meter-grounds = 60\n", "utf-8")
    done = subprocess.run(
        [sys.executable, "-m", "probe", "measure", str(tmp_path / "s"), "--virtual", "pin-3-open",
         "--fast", "--plain", "--answers", str(answers)],
        capture_output=True, text=True, timeout=60, check=False,
    )  # fmt: skip
    # regression only
    assert done.returncode == 2
    assert "The grounds are apart" in done.stdout
    assert done.stderr.startswith('probe: --answers: "meter-grounds" was answered')
    assert len(done.stderr.splitlines()) == 1


@pytest.mark.long
def test_answers_file_and_pipe(tmp_path: Path) -> None:
    """Without a terminal at the other end every question is still answered or the run stops."""
    done = subprocess.run(
        [sys.executable, "-m", "probe", "measure", str(tmp_path / "s"), "--virtual", "pin-3-open",
         "--fast", "--plain"],
        stdin=subprocess.DEVNULL, capture_output=True, encoding="utf-8", timeout=60, check=False,
        env={**__import__("os").environ, "PROBE_DATA": str(tmp_path)},
    )  # fmt: skip
    assert done.returncode == 3
    assert "Traceback" not in done.stderr


def test_answers_that_no_question_had_are_named(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Lost: a key written otherwise than asked, and the default taken in silence."""
    monkeypatch.setenv("PROBE_DATA", str(tmp_path / "data"))
    answers = tmp_path / "answers.toml"
    answers.write_text('drivenby = "f"\nready = "q"\ncheck = "s"\n', "utf-8")
    words = ["--virtual", "pin-3-open", "--fast", "--plain", "--answers", str(answers)]
    assert main(["measure", str(tmp_path / "s"), *words]) == 3
    said = capsys.readouterr().out
    assert "Of --answers never asked, so without effect: drivenby." in said


@pytest.mark.parametrize(
    ("words", "what"),
    [
        (["--virtual", "no-such"], "no such circuit"),
        (["--virtual", "pin-3-open", "--mishap", "humm"], "did you mean"),
        (["--virtual", "pin-3-open", "--seconds", "0"], "allowed are 1 to 600"),
    ],
)
@pytest.mark.long
def test_bad_input_is_one_line(tmp_path: Path, words: list[str], what: str) -> None:
    done = subprocess.run(
        [sys.executable, "-m", "probe", "measure", str(tmp_path / "s"), *words],
        capture_output=True, encoding="utf-8", timeout=60, check=False,
    )  # fmt: skip
    assert done.returncode == 2
    assert what in done.stderr
    assert done.stderr.count("\n") == 1
    assert done.stdout == ""
    assert not (tmp_path / "s").exists()
