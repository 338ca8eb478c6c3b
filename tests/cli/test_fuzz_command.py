"""Whole commands on sessions, facts and destinations as accident or malice leave them.

Each case asserts: status 0 or 2, at most three lines of complaint and no traceback, nothing
printed where the command failed, no file left behind, within the time limit. The cases are the
same in every run.
"""

from __future__ import annotations

import copy
import io
import json
import os
import random
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import redirect_stderr, redirect_stdout
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile

import probe
from probe.advice.destination_template import TEMPLATE as DESTINATION
from probe.cli import main as frame
from probe.simulate.template import TEMPLATE as STAGE
from tests.cost import at_most

ROOT = Path(probe.__file__).parents[1]

LONGEST_S = 30.0
"""Of one case, processor time; common practice, no source."""

RATE = 48_000
FRAMES = 14_400
TONES = (41.0, 997.0, 3469.2, 12437.0)
INJECTED = (209.2, 1431.9, 4766.8)

HEAD = """\
format = "probe-session/1"
[device]
maker = "Harrowgate"
model = "Tern"
serial = "HT-0231"
kind = "preamplifier"
output = "line"
connectors = ["xlr", "rca"]
[bench]
interface = "two-channel interface"
mains_hz = 50
recorded_on = 2026-03-14
repeatability_db = 0.02
"""
INPUT = """\
[[bench.input]]
volts_full_scale = 8.7
u95_percent = 0.5
impedance_ohm = 20000.0
impedance_u95_percent = 1.0
capacitance_pf = 150.0
capacitance_u95_pf = 20.0
"""
TAKE = """\
[[take]]
name = "{name}"
file = "{name}.wav"
side = "left"
channels = ["hot", "cold"]
signal = "multitone"
tones_hz = [41.0, 997.0, 3469.2, 12437.0]
phases_deg = [0.0, 90.0, 45.0, 120.0]
timebase = "run"
start_frame = {start}
{more}
"""
TAKES = {
    "open": "",
    "load hot": 'load = [{from = "hot", to = "ground", ohm = 604.0, part = "R1"}]',
    "load cold": 'load = [{from = "cold", to = "ground", ohm = 604.0, part = "R1"}]',
    "inject cold": (
        'inject = [{into = "cold", through_ohm = 10000.0, volts = 0.1, '
        "tones_hz = [209.2, 1431.9, 4766.8]}]"
    ),
    "second open": "",
}
FACTORS = {  # how much of each leg is left: two legs of 100 ohm, some noise on everything
    "open": (1.0, 1.0),
    "load hot": (604 / 704, 1.0),
    "load cold": (1.0, 604 / 704),
    "inject cold": (1.0, 10_000 / 10_100),
    "second open": (1.0, 1.0),
}


def recording(name: str) -> np.ndarray:
    """Return one take, frames x channels; the stream runs on from take to take."""
    rng = np.random.default_rng(len(name))
    start = list(TAKES).index(name) * 2 * FRAMES
    t = (start + np.arange(FRAMES)) / RATE
    phases = np.radians([0.0, 90.0, 45.0, 120.0])
    tones = sum(np.cos(2 * np.pi * f * t + p) for f, p in zip(TONES, phases, strict=True))
    legs = 0.05 * np.outer(tones, np.array([1.0, -1.0]) * FACTORS[name])
    if name == "inject cold":
        legs[:, 1] += 1.6e-4 * sum(np.cos(2 * np.pi * f * t) for f in INJECTED)
    return legs + rng.normal(0.0, 1e-6, legs.shape)


def text() -> str:
    starts = {name: 2 * FRAMES * k for k, name in enumerate(TAKES)}
    return (
        HEAD
        + 2 * INPUT
        + "".join(TAKE.format(name=n, more=m, start=starts[n]) for n, m in TAKES.items())
    )


@pytest.fixture
def session(tmp_path: Path) -> Path:
    folder = tmp_path / "session"
    folder.mkdir()
    for name in TAKES:
        soundfile.write(folder / f"{name}.wav", recording(name), RATE, subtype="PCM_24")
    (folder / "session.toml").write_text(text(), encoding="utf-8")
    return folder


def listed(folder: Path) -> list[tuple[str, int]]:
    """Names and sizes of all that stands in a folder."""
    return sorted((str(p.relative_to(folder)), p.lstat().st_size) for p in folder.rglob("*"))


def no_constant(name: str) -> float:
    raise AssertionError(f"{name} in JSON")


def check(status: int, printed: str, complaints: str, *, as_json: bool) -> None:
    """What holds of every command whatever it was given."""
    assert status in (0, 2), complaints
    assert len(complaints.splitlines()) <= 3
    assert "Traceback" not in complaints
    assert complaints.replace("\n", "").isprintable()
    if status:
        assert printed == ""
        assert complaints.startswith("probe: ")
    elif as_json:
        json.loads(printed, parse_constant=no_constant)


def command(folder: Path, *arguments: object) -> tuple[int, str, str]:
    """Run a command in this process; check what holds of every command, and the time."""
    before = listed(folder)
    printed, complaints = io.StringIO(), io.StringIO()
    with at_most(LONGEST_S), redirect_stdout(printed), redirect_stderr(complaints):
        status = frame.main([str(a) for a in arguments])
    check(status, printed.getvalue(), complaints.getvalue(), as_json="--json" in arguments)
    assert listed(folder) == before
    return status, printed.getvalue(), complaints.getvalue()


def analyse(session: Path) -> tuple[int, str, str]:
    return command(session.parent, "analyse", session, "--json", "--draws", "100")


def test_the_session_itself_is_analysed(session: Path) -> None:
    status, printed, _ = analyse(session)
    assert status == 0
    # The takes are made of two opposite legs of 100 ohm each: both driven, separate.
    assert json.loads(printed)["sides"]["left"]["stage"]["kind"] == "differential"


# --- the recordings ---------------------------------------------------------------------------


def everywhere(change: Callable[[np.ndarray], np.ndarray]) -> Callable[[Path], None]:
    def apply(folder: Path) -> None:
        for name in TAKES:
            rewrite(folder, name, change)

    return apply


def once(name: str, change: Callable[[np.ndarray], np.ndarray]) -> Callable[[Path], None]:
    return lambda folder: rewrite(folder, name, change)


def rewrite(folder: Path, name: str, change: Callable[[np.ndarray], np.ndarray]) -> None:
    soundfile.write(folder / f"{name}.wav", change(recording(name)), RATE, subtype="FLOAT")


def raw(name: str, change: Callable[[bytes], bytes]) -> Callable[[Path], None]:
    def apply(folder: Path) -> None:
        path = folder / f"{name}.wav"
        path.write_bytes(change(path.read_bytes()))

    return apply


def hum(x: np.ndarray) -> np.ndarray:
    return 0.1 * np.sin(2 * np.pi * 50.0 * np.arange(len(x)) / RATE)[:, None] * np.ones(2)


def noise(x: np.ndarray) -> np.ndarray:
    return np.random.default_rng(3).normal(0.0, 0.02, x.shape)


def with_nan(x: np.ndarray) -> np.ndarray:
    return np.where(np.arange(len(x))[:, None] == 1000, np.nan, x)


RECORDINGS: dict[str, Callable[[Path], None]] = {
    "silence": everywhere(lambda x: 0.0 * x),
    "noise": everywhere(noise),
    "hum only": everywhere(hum),
    "hum on top": everywhere(lambda x: x + hum(x)),
    "direct voltage": everywhere(lambda x: x + 0.4),
    "hot is dead": everywhere(lambda x: x * (0.0, 1.0)),
    "cold is dead": everywhere(lambda x: x * (1.0, 0.0)),
    "both legs the same": everywhere(lambda x: x[:, [0, 0]]),
    "clipped everywhere": everywhere(lambda x: np.clip(40 * x, -1, 1)),
    "a tenth of a second": everywhere(lambda x: x[: RATE // 10]),
    "one frame": everywhere(lambda x: x[:1]),
    "very loud": everywhere(lambda x: 1e5 * x),
    "very quiet": everywhere(lambda x: 1e-30 * x),
    "silent open": once("open", lambda x: 0.0 * x),
    "silent injection": once("inject cold", lambda x: 0.0 * x),
    "clipped load": once("load hot", lambda x: np.clip(x, -0.05, 0.05)),
    "moving level": once("load hot", lambda x: x * np.linspace(1.0, 1.5, len(x))[:, None]),
    "inverted": once("load cold", lambda x: -x),
    "exchanged": once("load cold", lambda x: x[:, ::-1]),
    "not plugged": once("load cold", lambda x: recording("second open")),
    "one channel": once("load cold", lambda x: x[:, :1]),
    "four channels": once("load cold", lambda x: np.hstack([x, x])),
    "not a number": once("open", with_nan),
    "infinite": once("open", lambda x: np.where(x > 0.15, np.inf, x)),
    "cut short": raw("open", lambda b: b[: len(b) // 2]),
    "cut in its header": raw("open", lambda b: b[:30]),
    "empty": raw("open", lambda _: b""),
    "text": raw("open", lambda _: b"a song of sixpence"),
    "another container": raw("open", lambda b: b"FORM" + b[4:]),
    "no channels": raw("open", lambda b: b[:22] + b"\0\0" + b[24:]),
    "no rate": raw("open", lambda b: b[:24] + b"\0\0\0\0" + b[28:]),
    "endless": raw("open", lambda b: b[:40] + b"\xff\xff\xff\xff" + b[44:]),
}


# Every second one is quick, the rest are `long`; the gate runs them all.
@pytest.mark.parametrize(
    "name",
    [pytest.param(n, marks=[pytest.mark.long] * (i % 2)) for i, n in enumerate(RECORDINGS)],
)
@pytest.mark.long
def test_recordings(name: str, session: Path) -> None:
    RECORDINGS[name](session)
    analyse(session)


def test_what_is_no_file(session: Path) -> None:
    path = session / "open.wav"
    for make in (path.mkdir, lambda: os.mkfifo(path), lambda: path.symlink_to("open.wav"),
                 lambda: path.symlink_to("/dev/zero")):  # fmt: skip
        path.unlink(missing_ok=True)
        make()
        assert analyse(session)[0] == 2
        path.rmdir() if path.is_dir() else path.unlink()
    assert analyse(session)[0] == 2


# --- the text ---------------------------------------------------------------------------------

WORDS = (
    *('""', '"hot"', '"\\u202e"', '"\\u001b[2J"', '"../x.wav"', '"/etc/passwd"', '"' + "x" * 5000),
    *("nan", "inf", "-inf", "0", "-1", "1e300", "1e-300", "9" * 400, "true", "[]", "{}", "[[]]"),
    *("2026-02-30", "1,5", "'", '"""', "\x00", "\ufeff", "[1e9]", "[997.0]", "[24000.0]"),
)


def mistreated(document: str, rng: random.Random) -> str:
    """Change a value, or leave out, double or exchange lines."""
    lines = document.splitlines()
    for _ in range(rng.choice((1, 1, 1, 2, 3))):
        k, other = rng.randrange(len(lines)), rng.randrange(len(lines))
        match rng.randrange(6):
            case 0:
                del lines[k]
            case 1:
                lines.insert(other, lines[k])
            case 2:
                lines[k], lines[other] = lines[other], lines[k]
            case _ if "=" in lines[k]:
                lines[k] = f"{lines[k].split('=')[0]}= {rng.choice(WORDS)}"
            case _:
                lines[k] = rng.choice(WORDS)
    return "\n".join(lines)


@pytest.mark.long
def test_session_files(session: Path) -> None:
    rng = random.Random(21)
    statuses = []
    for _ in range(60):
        (session / "session.toml").write_text(mistreated(text(), rng), encoding="utf-8")
        statuses.append(analyse(session)[0])
    assert statuses.count(2) > 20
    assert statuses.count(0) > 3


@pytest.fixture(scope="module")
def facts(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Any]:
    folder = tmp_path_factory.mktemp("made") / "session"
    folder.mkdir()
    for name in TAKES:
        soundfile.write(folder / f"{name}.wav", recording(name), RATE, subtype="PCM_24")
    (folder / "session.toml").write_text(text(), encoding="utf-8")
    return json.loads(analyse(folder)[1])


VALUES: tuple[Any, ...] = (
    *(None, True, 0, -1, 1e308, -1e308, 5e-324, 10**400, float("nan"), float("inf")),
    *("", "x", "\x1b[2J\u202e<script>", [], {}, [[]], [{}], [1], ["x"], {"value": "x"}, ...),
)


def places(node: Any, keys: tuple[Any, ...] = ()) -> Iterator[tuple[Any, ...]]:
    """Yield the way to every value; of a list, to the first two only."""
    inner = node.items() if isinstance(node, dict) else ()
    inner = list(enumerate(node))[:2] if isinstance(node, list) else inner
    for key, value in inner:
        yield (*keys, key)
        yield from places(value, (*keys, key))


def replaced(document: dict[str, Any], keys: tuple[Any, ...], value: Any) -> dict[str, Any]:
    damaged = copy.deepcopy(document)
    node: Any = damaged
    for key in keys[:-1]:
        node = node[key]
    if value is ...:
        del node[keys[-1]]
    else:
        node[keys[-1]] = value
    return damaged


@pytest.mark.long
def test_facts_files(facts: dict[str, Any], tmp_path: Path) -> None:
    rng = random.Random(22)
    path, destination = tmp_path / "facts.json", tmp_path / "destination.toml"
    destination.write_text(DESTINATION, encoding="utf-8")
    path.write_text(json.dumps(facts), encoding="utf-8")
    assert command(tmp_path, "advise", path, destination, "--json")[0] == 0
    everywhere = list(places(facts))
    apart = [keys for keys in everywhere if "curves" not in keys]
    statuses = []
    for case in range(150):
        keys = rng.choice(everywhere if case % 3 == 0 else apart)
        path.write_text(json.dumps(replaced(facts, keys, rng.choice(VALUES))), encoding="utf-8")
        more = ("--json",) if rng.random() < 0.5 else ()
        statuses.append(command(tmp_path, "advise", path, destination, *more)[0])
    assert statuses.count(2) > 50
    assert statuses.count(0) > 5


@pytest.mark.long
def test_destination_files(facts: dict[str, Any], tmp_path: Path) -> None:
    rng = random.Random(23)
    path, destination = tmp_path / "facts.json", tmp_path / "destination.toml"
    path.write_text(json.dumps(facts), encoding="utf-8")
    statuses = []
    for _ in range(60):
        destination.write_text(mistreated(DESTINATION, rng), encoding="utf-8")
        statuses.append(command(tmp_path, "advise", path, destination, "--json")[0])
    assert statuses.count(2) > 15
    assert statuses.count(0) > 5


def test_stage_files(tmp_path: Path) -> None:
    """Only those that cannot be read: a circuit that can be is simulated elsewhere."""
    rng = random.Random(24)
    path = tmp_path / "stage.toml"
    refused = 0
    while refused < 25:
        path.write_text(mistreated(STAGE, rng) + "\nnobody_knows_this = 1\n", encoding="utf-8")
        assert command(tmp_path, "simulate", path, tmp_path / "out")[0] == 2
        refused += 1


# --- the process ------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "more",
    [
        {"LC_ALL": "C", "PYTHONUTF8": "0", "PYTHONCOERCECLOCALE": "0"},
        {"LC_ALL": "xx_YY.none", "PYTHONIOENCODING": "ascii"},
        {"HOME": "/nonexistent", "TMPDIR": "/nonexistent", "COLUMNS": "many", "TERM": ""},
    ],
    ids=["a locale of plain letters", "a locale nobody has", "no home"],
)
@pytest.mark.long
def test_surroundings(more: dict[str, str], session: Path) -> None:
    """A folder whose name is no text, names in many scripts, an environment of no help."""
    odd = os.fsencode(session.parent) + b"/\xff \xce\xa9"
    session.rename(os.fsdecode(odd))
    written = (HEAD + 2 * INPUT).replace('"Tern"', '"T\u00f6rn \u03a9 \u0645\u0631\u062d"')
    document = text().replace(HEAD + 2 * INPUT, written)
    Path(os.fsdecode(odd), "session.toml").write_text(document, encoding="utf-8")
    compressed = io.BytesIO()  # libsndfile opens this one, not our own reader
    soundfile.write(compressed, recording("open"), RATE, "PCM_24", format="FLAC")
    Path(os.fsdecode(odd), "open.wav").write_bytes(compressed.getvalue())
    done = subprocess.run(
        [sys.executable, "-m", "probe", "analyse", odd, "--draws", "100"],
        env={**os.environ, "PYTHONPATH": str(ROOT), **more},
        capture_output=True,
        timeout=60,
        check=False,
    )
    printed, complaints = (s.decode("utf-8", "replace") for s in (done.stdout, done.stderr))
    check(done.returncode, printed, complaints, as_json=False)
    assert done.returncode == 0, complaints
    names = {p.name for p in Path(os.fsdecode(odd)).iterdir()}
    assert names == {f"{n}.wav" for n in TAKES} | {"session.toml", "facts.json", "report.html"}
