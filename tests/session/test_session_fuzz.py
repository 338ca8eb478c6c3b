"""Sessions and audio headers as accident or malice leave them: a session, or one clear line.

Each case asserts: a session whose promises hold, or ``BadInput`` with one printable line of
bounded length; no other exception, and no more than the time a case may take. The cases are the
same in every run.
"""

from __future__ import annotations

import copy
import dataclasses
import math
import tempfile
import tomllib
from collections.abc import Iterator
from datetime import date
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from probe.errors import BadInput
from probe.session.audio import blocks
from probe.session.header import AudioFile, read_header
from probe.session.model import Session
from probe.session.read import read_session, session_sha256
from tests.cost import at_most

from .conftest import FILES, RATE, SESSION, samples
from .test_session_audio import take_of

LONGEST_MESSAGE = 1200
"""Characters; common practice, no source: a few lines of a terminal."""

LONGEST_S = 5.0
"""Of processor; common practice, no source: nobody waits longer to be told of a mistake."""

CASE = settings(
    max_examples=150,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)


@pytest.fixture(scope="module")
def place() -> Iterator[Path]:
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        for file in FILES:
            soundfile.write(folder / file, samples(), RATE, subtype="PCM_24")
        yield folder


def read_or_complain(folder: Path) -> Session | None:
    """Read the folder; whatever is wrong must be said as promised."""
    try:
        with at_most(LONGEST_S):
            session = read_session(folder)
    except BadInput as error:
        check_message(str(error))
        return None
    check_session(session)
    return session


def check_message(message: str) -> None:
    assert message.isprintable()
    assert 10 < len(message) < LONGEST_MESSAGE


def check_session(session: Session) -> None:
    """What every later room relies on."""
    assert session.takes
    assert len({t.name for t in session.takes}) == len(session.takes)
    assert_finite(dataclasses.asdict(session))
    folder = session.folder.resolve()
    for take in session.takes:
        assert take.path.is_relative_to(folder)
        assert len(take.inputs) == len(take.channels)
        assert all(i.volts_full_scale > 0 and i.impedance_ohm > 0 for i in take.inputs)
        tones = [*take.tones_hz, *(hz for i in take.injections for hz in i.tones_hz)]
        assert all(0 < hz < take.sample_rate / 2 for hz in tones)
        assert len(set(tones)) == len(tones)
        assert take.phases_rad is None or len(take.phases_rad) == len(take.tones_hz)
        assert all(load.from_ != load.to and load.ohm > 0 for load in take.loads)
        assert take.start_frame >= 0


def assert_finite(value: Any) -> None:
    if isinstance(value, dict):
        value = list(value.values())
    if isinstance(value, list | tuple):
        for inner in value:
            assert_finite(inner)
    elif isinstance(value, float):
        assert math.isfinite(value)


# --- the document, key by key -----------------------------------------------------------------

HOSTILE = [
    "",
    " ",
    "hot",
    "left",
    "ground",
    "Hot ",
    "../session.toml",
    "/etc/passwd",
    "left-open.wav",
    "session.toml",
    "a\x00b",
    "\x1b[2J\x1b[31m",
    "\u202eabc\u2066",
    "two\nlines",
    "x" * 10_000,
    "\U0001f600\u0301",
    "nan",
    "1e3",
]
ODD = st.one_of(
    st.sampled_from(HOSTILE),
    st.text(max_size=20),
    st.sampled_from([0, 1, -1, 2**31, 2**63, -(2**63), 10**30, 10**400, 48000, 24000, True, False]),
    st.sampled_from([0.0, -0.0, 1e-320, 1e308, -1e308, 23999.999, math.nan, math.inf, -math.inf]),
    st.floats(),
    st.integers(),
    st.sampled_from([date(2026, 3, 14), [], {}, [[]], [{}], {"a": 1}, ["hot", "hot"]]),
    st.lists(st.one_of(st.floats(), st.sampled_from(HOSTILE), st.integers()), max_size=4),
)


def paths(value: Any, here: tuple[str | int, ...] = ()) -> Iterator[tuple[str | int, ...]]:
    """Every place of a document, tables and arrays included."""
    if here:
        yield here
    if isinstance(value, dict | list):
        inside = value.items() if isinstance(value, dict) else enumerate(value)
        for key, inner in inside:
            yield from paths(inner, (*here, key))


VALID = tomllib.loads(SESSION)
PLACES = list(paths(VALID))


def text_of(value: Any) -> str:
    """TOML of a value: the inverse of the parser, on one line."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return '"' + "".join(f"\\U{ord(c):08x}" for c in value) + '"'
    if isinstance(value, list):
        return "[" + ", ".join(map(text_of, value)) + "]"
    if isinstance(value, dict):
        return "{" + ", ".join(f"{text_of(k)} = {text_of(v)}" for k, v in value.items()) + "}"
    return str(value)


def test_the_writer_used_here_is_true() -> None:
    text = "".join(f"{text_of(k)} = {text_of(v)}\n" for k, v in VALID.items())
    # General reference library: tomllib.
    assert tomllib.loads(text) == VALID


@st.composite
def documents(draw: st.DrawFn) -> dict[str, Any]:
    """The valid document with one to three things deleted, renamed, retyped or doubled."""
    document = copy.deepcopy(VALID)
    for _ in range(draw(st.integers(1, 3))):
        *parents, last = draw(st.sampled_from(PLACES))
        holder: Any = document
        try:
            for key in parents:
                holder = holder[key]
            holder[last]
        except (KeyError, IndexError, TypeError):
            continue
        mutate(draw, holder, last)
    return document


def mutate(draw: st.DrawFn, holder: Any, key: Any) -> None:
    act = draw(st.sampled_from(["delete", "replace", "replace", "rename", "double", "swap"]))
    if isinstance(holder, str):
        return
    if act == "delete":
        del holder[key]
    elif act == "replace":
        holder[key] = draw(ODD)
    elif act == "rename" and isinstance(holder, dict):
        name = draw(st.sampled_from([key[:-1], key.upper(), key + "s", "zz", *HOSTILE[:8]]))
        holder[name] = holder.pop(key)
    elif act == "double" and isinstance(holder, list):
        holder.insert(key, copy.deepcopy(holder[key]))
    elif act == "swap" and isinstance(holder, list):
        holder[key], holder[0] = holder[0], holder[key]


@CASE
@given(document=documents())
@pytest.mark.long
def test_mutated_documents(place: Path, document: dict[str, Any]) -> None:
    text = "".join(f"{text_of(k)} = {text_of(v)}\n" for k, v in document.items())
    (place / "session.toml").write_bytes(text.encode())
    read_or_complain(place)


# --- the document as text ---------------------------------------------------------------------

LINES = SESSION.splitlines(keepends=True)


@CASE
@given(end=st.integers(0, len(SESSION)))
def test_truncated_text(place: Path, end: int) -> None:
    (place / "session.toml").write_text(SESSION[:end], encoding="utf-8")
    read_or_complain(place)


@CASE
@given(
    first=st.integers(0, len(LINES) - 1),
    second=st.integers(0, len(LINES) - 1),
    act=st.sampled_from(["delete", "double", "swap", "join"]),
)
def test_lines_moved(place: Path, first: int, second: int, act: str) -> None:
    lines = list(LINES)
    if act == "delete":
        del lines[first]
    elif act == "double":
        lines.insert(second, lines[first])
    elif act == "swap":
        lines[first], lines[second] = lines[second], lines[first]
    else:
        lines[first] = lines[first].rstrip("\n")
    (place / "session.toml").write_text("".join(lines), encoding="utf-8")
    read_or_complain(place)


@CASE
@given(
    at=st.integers(0, len(SESSION)),
    cut=st.integers(0, 10),
    put=st.one_of(st.binary(max_size=12), st.text("[]{}=\"'#.,\\\n0e-", max_size=6)),
)
def test_bytes_put_in(place: Path, at: int, cut: int, put: bytes | str) -> None:
    raw = SESSION.encode()
    middle = put.encode() if isinstance(put, str) else put
    (place / "session.toml").write_bytes(raw[:at] + middle + raw[at + cut :])
    read_or_complain(place)


@CASE
@given(raw=st.binary(max_size=300))
def test_random_bytes(place: Path, raw: bytes) -> None:
    (place / "session.toml").write_bytes(raw)
    assert read_or_complain(place) is None


# --- audio headers ----------------------------------------------------------------------------

KINDS = [
    ("WAV", "PCM_16"),
    ("WAV", "PCM_24"),
    ("WAV", "FLOAT"),
    ("WAVEX", "PCM_32"),
    ("RF64", "PCM_24"),
    ("FLAC", "PCM_24"),
    ("AIFF", "PCM_16"),
]
HEADER = 128
"""Bytes in which every header made here ends."""


@pytest.fixture(scope="module")
def originals() -> dict[tuple[str, str], bytes]:
    made = {}
    with tempfile.TemporaryDirectory() as name:
        for kind, subtype in KINDS:
            path = Path(name) / "a"
            soundfile.write(path, samples(), RATE, format=kind, subtype=subtype)
            made[kind, subtype] = path.read_bytes()
    return made


def hear_or_complain(place: Path, raw: bytes) -> None:
    """Read the bytes as a take's file, through the session and by themselves."""
    (place / "session.toml").write_text(SESSION, encoding="utf-8")
    path = place / FILES[0]
    path.write_bytes(raw)
    session = read_or_complain(place)
    if session is not None:
        assert len(session_sha256(session)) == 64
    try:
        with at_most(LONGEST_S):
            audio = read_header(path)
            check_audio(audio, len(raw))
            heard = 0
            for block in blocks(take_of(path), 4096):
                assert block.shape[1] == audio.channels
                assert np.isfinite(block).all()
                heard += len(block)
            assert heard == audio.frames
    except BadInput as error:
        check_message(str(error))


def check_audio(audio: AudioFile, size: int) -> None:
    assert 44100 <= audio.sample_rate <= 384000
    assert audio.frames > 0
    if audio.plain is not None:
        width = {"int16": 2, "int24": 3, "int32": 4, "float32": 4, "float64": 8}
        end = audio.plain.offset + audio.frames * audio.channels * width[audio.plain.layout]
        assert end <= size


@CASE
@given(
    kind=st.sampled_from(KINDS),
    flips=st.lists(
        st.tuples(
            st.one_of(st.integers(0, HEADER), st.integers(0, 20_000)),
            st.one_of(st.sampled_from([0, 1, 0x7F, 0x80, 0xFF]), st.integers(0, 255)),
        ),
        min_size=1,
        max_size=4,
    ),
)
@pytest.mark.long
def test_bytes_of_audio_changed(
    place: Path,
    originals: dict[tuple[str, str], bytes],
    kind: tuple[str, str],
    flips: list[tuple[int, int]],
) -> None:
    raw = bytearray(originals[kind])
    for at, value in flips:
        raw[at % len(raw)] = value
    hear_or_complain(place, bytes(raw))


@CASE
@given(
    kind=st.sampled_from(KINDS),
    end=st.one_of(st.integers(0, 200), st.integers(0, 40_000)),
)
def test_audio_truncated(
    place: Path,
    originals: dict[tuple[str, str], bytes],
    kind: tuple[str, str],
    end: int,
) -> None:
    hear_or_complain(place, originals[kind][:end])


@CASE
@given(
    kind=st.sampled_from(KINDS),
    at=st.integers(0, HEADER),
    cut=st.integers(0, 12),
    put=st.binary(max_size=12),
)
@pytest.mark.long
def test_bytes_of_a_header_put_in_or_taken_out(
    place: Path,
    originals: dict[tuple[str, str], bytes],
    kind: tuple[str, str],
    at: int,
    cut: int,
    put: bytes,
) -> None:
    raw = originals[kind]
    hear_or_complain(place, raw[:at] + put + raw[at + cut :])
