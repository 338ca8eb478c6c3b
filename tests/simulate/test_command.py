"""``probe simulate`` as a command: its output folder, its complaints, the demo sessions."""

import os
import re
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
import soundfile

from probe.cli.main import main
from probe.session.read import read_session
from probe.simulate import write
from probe.simulate.build import read_stage
from probe.simulate.sound import samples
from probe.simulate.template import TEMPLATE

CAPTURES = Path(__file__).parents[2] / "captures"
DEMOS = sorted(p.parent.name for p in CAPTURES.glob("*/stage.toml"))

SHORT = """\
format = "probe-stage/1"
circuit = "impedance-balanced"
takes = ["open"]
seconds = 0.1
[device]
maker = "Harrowgate"
model = "Tern"
"""


@pytest.fixture
def stage_file(tmp_path):
    path = tmp_path / "stage.toml"
    path.write_text(SHORT)
    return path


def run(*arguments, **environment):
    command = [sys.executable, "-m", "probe.cli.main", "simulate", *map(str, arguments)]
    return subprocess.run(
        command, capture_output=True, text=True, check=False, env={**os.environ, **environment}
    )


def test_it_makes_a_session_beside_its_stage(tmp_path, stage_file):
    done = run(stage_file, tmp_path / "out")
    assert (done.returncode, done.stderr) == (0, "")
    assert sorted(p.name for p in (tmp_path / "out").iterdir()) == [
        "left-open.wav",
        "session.toml",
        "stage.toml",
    ]
    assert (tmp_path / "out" / "stage.toml").read_text() == SHORT
    text = (tmp_path / "out" / "session.toml").read_text()
    assert "SIMULATED" in text.splitlines()[0]
    assert len(read_session(tmp_path / "out").takes) == 1


def test_an_empty_folder_may_be_filled(tmp_path, stage_file):
    (tmp_path / "out").mkdir()
    assert run(stage_file, tmp_path / "out").returncode == 0


def test_the_template_is_a_stage(tmp_path, capsys):
    assert main(["simulate", "--template"]) == 0
    printed = capsys.readouterr().out
    assert printed == TEMPLATE
    path = tmp_path / "stage.toml"
    path.write_text(printed)
    assert len(read_stage(path).takes) == 9


def test_everything_the_template_offers_is_accepted(tmp_path):
    # every commented line is taken in, apart from the lines that exclude each other
    lines = []
    for line in TEMPLATE.splitlines():
        if line.startswith("# [netlist"):
            break
        offered = line.startswith("# ") and (" = " in line or line.startswith("# ["))
        lines.append(line[2:] if offered else line)
    text = "\n".join(lines)
    text = text.replace('volume = ""', 'volume = "12 o\'clock"')
    text = text.replace("C_BACK = { open = true }", "# ")
    text = text.replace("parts = { R_COLD = 1e7 }", "# ")
    path = tmp_path / "stage.toml"
    path.write_text(text)
    made = read_stage(path)
    assert len(made.takes) == 11
    assert made.true.parts["R1"] == 1.0005


def test_the_list_names_every_circuit(capsys):
    assert main(["simulate", "--list"]) == 0
    printed = capsys.readouterr().out
    for name in ("symmetrical-dual", "cross-coupled", "floating-transformer", "ground-sensing"):
        assert f"{name}\n" in printed


BAD = [
    ("circuit = .*", 'circuit = "cross-couple"', 'did you mean "cross-coupled"'),
    ("circuit = .*", "", "circuit is missing"),
    ("seconds = .*", "seconds = nan", "seconds: must be a finite number"),
    ("seconds = .*", "seconds = 0", "seconds: must be above 0"),
    ("seconds = .*", "second = 1.0", 'did you mean "seconds"'),
    ("seconds = .*", "sides = ['up']", "must be left, right or mono"),
    ("seconds = .*", "sample_rate = 8000", "sample_rate"),
    ("seconds = .*", "seconds = 30000.0", "frames"),
    ("format = .*", 'format = "probe-session/1"', "probe-stage/1"),
    ("takes = .*", 'takes = ["opened"]', "must be full, open"),
    ("takes = .*", 'takes = ["open", "open"]', "two takes have the name"),
    ("takes = .*", "takes = []", "takes is empty"),
    ("takes = .*", "drive = { tones_hz = [] }", "needs tones_hz"),
    ("takes = .*", "parts = { R_HOTT = 3.0 }", 'no part "R_HOTT"'),
    ("takes = .*", "parts = { R_HOT = -3.0 }", "must be above 0"),
    ("takes = .*", "parts = { R_HOT = { farad = 3.0 } }", 'has no "farad"'),
    ("takes = .*", "parts = { R_HOT = { ohm = 'x' } }", "parts.R_HOT.ohm: must be a number"),
    ("takes = .*", "parts = { R_HOT = 'x' }", "parts.R_HOT: must be a number, or a table"),
    ("takes = .*", "parts = { R_HOT = nan }", "must be a finite number"),
    ("takes = .*", "parts = { IN = 3.0 }", "is a source"),
    ("takes = .*", "drive = { tones_hz = [30000.0] }", "30000.0 Hz"),
    ("takes = .*", "drive = { tones_hz = [30.0], phases_deg = [1.0, 2.0] }", "2 phases_deg"),
    ("takes = .*", "drive = { tones_hz = [30.0, 30.0] }", "twice"),
    ("takes = .*", "bench = { input = [{}, {}] }", "bench.input: 2 channels"),
    ("takes = .*", "truth = { input = [{}, {}] }", "truth.input: 2 channels"),
    ("takes = .*", "truth = { parts_percent = { R7 = 1.0 } }", 'no take uses a part "R7"'),
    ("takes = .*", 'take = [{ signal = "multitone" }]', "channels is missing"),
    ("takes = .*", 'take = [{ preset = "open", signal = "sweep" }]', "needs from_hz"),
    ("takes = .*", 'take = [{ preset = "open", file = "../x.wav" }]', "inside the session folder"),
    ("takes = .*", 'take = [{ preset = "open", file = "x.flac" }]', "ending in .wav"),
    ("takes = .*", 'take = [{ preset = "open", side = "right" }]', "is not among sides"),
    ("takes = .*", 'take = [{ preset = "open", level_db = [1.0, 2.0] }]', "level_db"),
    ("takes = .*", "volumes = { loud = 0.0 }", 'volume "" is not in'),
    ("takes = .*", 'container = "flac"\nsample = "FLOAT"', "FLAC holds"),
    (
        "circuit = .*",
        "netlist.terminals = { hot = 'a', cold = 'b' }\n"
        "netlist.parts = { R = { ohm = 1.0, between = ['a', '0'] } }",
        'terminal cold is on node "b"',
    ),
    (
        "circuit = .*",
        "netlist.terminals = { hot = 'a', cold = 'b' }\n"
        "netlist.parts = { R = { ohm = 1.0, between = ['a', 'b'], out = 'x' } }",
        'has no "out"',
    ),
    (
        "circuit = .*",
        "netlist.terminals = { hot = 'a', cold = 'b' }\n"
        "netlist.parts = { R = { ohm = 1.0, between = ['a', 'b'] }, "
        "E = { gain = 1.0, plus = 'c', minus = '0', between = ['a', '0'] } }",
        'node "c" has no path',
    ),
]


@pytest.mark.parametrize(("line", "instead", "says"), BAD, ids=[b[1][:60] or "none" for b in BAD])
def test_bad_stages_get_one_line(tmp_path, capsys, line, instead, says):
    path = tmp_path / "stage.toml"
    changed = re.sub(f"(?m)^{line}$", lambda _: instead, SHORT)
    assert changed != SHORT
    path.write_text(changed)
    assert main(["simulate", str(path), str(tmp_path / "out")]) == 2
    printed = capsys.readouterr()
    assert printed.out == ""
    assert len(printed.err.splitlines()) == 1
    assert says in printed.err
    assert "stage.toml" in printed.err
    assert [p.name for p in tmp_path.iterdir()] == ["stage.toml"]


@pytest.mark.parametrize("what", ["full", "file", "no-parent"])
def test_an_output_that_is_in_the_way(tmp_path, stage_file, capsys, what):
    out = tmp_path / "out"
    if what == "full":
        out.mkdir()
        (out / "kept.txt").write_text("kept")
    elif what == "file":
        out.write_text("kept")
    else:
        out = tmp_path / "missing" / "out"
    before = sorted(tmp_path.rglob("*"))
    assert main(["simulate", str(stage_file), str(out)]) == 2
    assert len(capsys.readouterr().err.splitlines()) == 1
    assert sorted(tmp_path.rglob("*")) == before


def test_nothing_is_left_when_writing_fails(tmp_path, stage_file, monkeypatch, capsys):
    def full(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(write, "_encoded", full)
    assert main(["simulate", str(stage_file), str(tmp_path / "out")]) == 2
    assert "No space left" in capsys.readouterr().err
    assert [p.name for p in tmp_path.iterdir()] == ["stage.toml"]


def test_what_stands_alone_stands_alone(stage_file, capsys):
    assert main(["simulate", "--list", str(stage_file)]) == 2
    assert main(["simulate", str(stage_file)]) == 2
    assert main(["simulate", "--rebuild", str(stage_file.parent / "nowhere")]) == 2
    assert main(["simulate", "--rebuild", str(stage_file.parent)]) == 2
    assert len(capsys.readouterr().err.splitlines()) == 4


def test_rebuilding_replaces_what_was_there(tmp_path):
    folder = tmp_path / "all" / "one"
    folder.mkdir(parents=True)
    (folder / "stage.toml").write_text(SHORT)
    (folder / "left-open.wav").write_text("not audio")
    assert run("--rebuild", tmp_path / "all").returncode == 0
    assert soundfile.info(folder / "left-open.wav").frames == 4800
    assert [p.name for p in (tmp_path / "all").iterdir()] == ["one"]


@pytest.mark.parametrize("demo", DEMOS)
def test_demo_sessions_are_what_their_stages_give(demo):
    # regression only: the first take of each, sample for sample
    made = read_stage(CAPTURES / demo / "stage.toml")
    take = made.takes[0]
    read, _ = soundfile.read(CAPTURES / demo / take.file, dtype="int32", always_2d=True)
    np.testing.assert_array_equal(read, samples(made, take))


@pytest.mark.parametrize("processor", [{}, {"OPENBLAS_CORETYPE": "Prescott"}], ids=["own", "old"])
@pytest.mark.long
def test_one_demo_session_rebuilds_bit_for_bit(tmp_path, processor):
    # regression only; also as on a processor whose linear algebra rounds its last bits otherwise
    demo = "dac-own-clock"
    out = tmp_path / "out"
    assert run(CAPTURES / demo / "stage.toml", out, **processor).returncode == 0
    names = sorted(p.name for p in (CAPTURES / demo).iterdir() if p.suffix in (".flac", ".toml"))
    assert sorted(p.name for p in out.iterdir()) == names
    for name in names:
        if name.endswith(".toml"):
            assert (out / name).read_text() == (CAPTURES / demo / name).read_text()
            continue
        new, old = (soundfile.read(f / name, dtype="int32")[0] for f in (out, CAPTURES / demo))
        np.testing.assert_array_equal(new, old)


def test_the_demo_sessions_are_enough_and_small():
    assert len(DEMOS) >= 6
    size = sum(p.stat().st_size for p in CAPTURES.rglob("*") if p.is_file())
    assert size < 30e6
    for demo in DEMOS:
        assert "SIMULATED" in (CAPTURES / demo / "session.toml").read_text().splitlines()[0]
