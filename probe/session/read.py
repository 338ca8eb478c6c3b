"""session.toml and its audio files, read, checked and turned into SI units."""

from __future__ import annotations

import hashlib
import re
from dataclasses import replace
from pathlib import Path

from probe.errors import BadInput
from probe.formats.places import Keys
from probe.formats.text import counted, nearest, quoted, shown_path
from probe.formats.toml import complaint, read_bytes, read_toml
from probe.session.build import build_session
from probe.session.check import check_document
from probe.session.document import FORMAT_WORD, SessionTable, TakeTable
from probe.session.header import AudioFile, read_header
from probe.session.model import Session

SESSION_FILE = "session.toml"

_HASHED_AT_ONCE = 1 << 20


def read_session(path: str | Path) -> Session:
    """Read a session: its folder, or the session.toml in it.

    Raises
    ------
    BadInput
        Anything in the text or in the audio files that cannot be used; the message is one line
        naming the file, the line and the key.
    """
    toml_path = _find(Path(path))
    _refuse_drafts(toml_path)
    document = read_toml(toml_path, SessionTable, format_word=FORMAT_WORD)
    check_document(toml_path, document)
    audio = [_open(toml_path, n, take) for n, take in enumerate(document.take)]
    _check_timebases(toml_path, document, audio)
    return replace(build_session(toml_path, document, audio), likely=_likely_in(toml_path))


OPEN_QUESTION = "# QUESTION"
"""What a line of a draft begins with that asks something nobody has answered yet."""


LIKELY_ANSWER = "# LIKELY"
"""What the line above an answer begins with that a draft took as likely and nobody has checked."""


def _likely_in(path: Path) -> tuple[str, ...]:
    """Return the files of takes of which an answer is marked as likely, each as often as it is."""
    lines = read_bytes(path).decode("utf-8", "replace").splitlines()
    marked, file = [], ""
    for line in lines:
        if found := re.match(r"file\s*=\s*[\"'](.*?)[\"']", line.strip()):
            file = found[1]
        elif line.lstrip().startswith(LIKELY_ANSWER):
            marked.append(file)
    return tuple(marked)


def _refuse_drafts(path: Path) -> None:
    """Refuse a draft with open questions in the words of its reader, whatever it lacks."""
    lines = read_bytes(path).decode("utf-8", "replace").splitlines()
    asked = [n for n, line in enumerate(lines, 1) if line.startswith(OPEN_QUESTION)]
    if asked:
        # a question about several recordings has one number and stands in each of them
        which = {
            lines[n - 1].removeprefix(OPEN_QUESTION).split(":")[0].split()[:1][0] for n in asked
        }
        raise BadInput(
            f"{shown_path(path)}:{asked[0]}: is a draft with {counted(len(which), 'question')} "
            f"left; answer the questions in the draft: {counted(len(asked), 'line')} that "
            f'begin{"s" * (len(asked) == 1)} with "{OPEN_QUESTION}"; write the answer below each '
            "and take the line away"
        )


def session_sha256(session: Session) -> str:
    """Return the SHA-256, hexadecimal, of session.toml and then of every take's file, in order.

    A file that several takes name is included once for each of them.

    Raises
    ------
    BadInput
        A file can no longer be read.
    """
    digest = hashlib.sha256()
    buffer = memoryview(bytearray(_HASHED_AT_ONCE))
    for path in (session.toml_path, *(take.path for take in session.takes)):
        try:
            with path.open("rb", buffering=0) as file:
                while got := file.readinto(buffer):
                    digest.update(buffer[:got])
        except OSError as error:
            raise BadInput(f"{shown_path(path)}: can no longer be read") from error
    return digest.hexdigest()


def _find(path: Path) -> Path:
    """Return the path of session.toml for a folder or for that file itself."""
    try:
        if path.is_dir():
            if (path / SESSION_FILE).exists():
                return path / SESSION_FILE
            facts = "; give the facts.json in it" if (path / "facts.json").is_file() else ""
            raise BadInput(
                f"{shown_path(path)}: this folder holds no {SESSION_FILE}"
                f"{facts or '; where it holds recordings, probe draft FOLDER writes one from them'}"
            )
        if not path.exists():
            raise BadInput(f"{shown_path(path)}: there is no such folder or file")
        if path.is_file() and path.suffix.lower() != ".toml":
            raise BadInput(
                f"{shown_path(path)}: is no session: give the folder that holds {SESSION_FILE}, "
                "or that file"
            )
    except (OSError, ValueError) as error:
        raise BadInput(f"{shown_path(path)}: cannot be read") from error
    return path


def _open(toml_path: Path, position: int, take: TakeTable) -> AudioFile:
    """Open a take's file and check what it promises against what the take says."""
    here: Keys = ("take", position)
    path = _locate(toml_path, (*here, "file"), take.file)
    try:
        audio = read_header(path)
    except BadInput as error:
        raise complaint(toml_path, (*here, "file"), f"{quoted(take.file, 120)} {error}") from error
    if audio.channels != len(take.channels):
        raise complaint(
            toml_path,
            (*here, "channels"),
            f"lists {len(take.channels)} and {quoted(take.file, 120)} has {audio.channels}; "
            'name every channel of the file, "unused" where nothing is connected',
        )
    _check_below_nyquist(toml_path, here, take, audio)
    return audio


def _locate(toml_path: Path, keys: Keys, file: str) -> Path:
    """Return the real path of a take's file, which must lie inside the session folder."""
    try:
        folder = toml_path.parent.resolve()
        path = (folder / file).resolve()
        inside = path.is_relative_to(folder)
        exists = path.exists()
    except (OSError, RuntimeError, ValueError) as error:
        raise complaint(toml_path, keys, f"{quoted(file)} cannot be found on this disk") from error
    if not inside:
        raise complaint(
            toml_path,
            keys,
            f"{quoted(file)} leads out of the session folder by a symbolic link; "
            "copy the file into it",
        )
    if not exists:
        close = nearest(path.name, _names(path.parent))
        hint = f"; did you mean {quoted(close)}?" if close else ""
        raise complaint(toml_path, keys, f"there is no file {quoted(file)} in the folder{hint}")
    if not path.is_file():
        raise complaint(toml_path, keys, f"{quoted(file)} is not a file")
    return path


def _names(folder: Path) -> list[str]:
    try:
        return [entry.name for entry in folder.iterdir()]
    except OSError:
        return []


def _check_below_nyquist(toml_path: Path, here: Keys, take: TakeTable, audio: AudioFile) -> None:
    """Refuse tones the recording cannot hold."""
    highest = audio.sample_rate / 2
    tones: list[tuple[Keys, float]] = [
        ((*here, "tones_hz", n), hz) for n, hz in enumerate(take.tones_hz)
    ]
    for number, injection in enumerate(take.inject):
        keys: Keys = (*here, "inject", number, "tones_hz")
        tones += [((*keys, n), hz) for n, hz in enumerate(injection.tones_hz)]
    if take.to_hz is not None:
        tones.append(((*here, "to_hz"), take.to_hz))
    for keys, hz in tones:
        if hz >= highest:
            raise complaint(
                toml_path,
                keys,
                f"{hz:g} Hz is not below half the sample rate of {quoted(take.file, 120)} "
                f"({audio.sample_rate} Hz); tones must be below {highest:g} Hz",
            )


def _check_timebases(toml_path: Path, document: SessionTable, audio: list[AudioFile]) -> None:
    """Compare takes of one running stream: one rate, a start for each file, no overlap."""
    takes = document.take
    for later, take in enumerate(takes):
        for earlier in range(later):
            if take.timebase is None or takes[earlier].timebase != take.timebase:
                continue
            _check_stream(toml_path, takes, audio, earlier, later)


def _check_stream(
    toml_path: Path, takes: tuple[TakeTable, ...], audio: list[AudioFile], earlier: int, later: int
) -> None:
    one, other = takes[earlier], takes[later]
    starts = one.start_frame or 0, other.start_frame or 0
    here: Keys = ("take", later)
    if audio[earlier].sample_rate != audio[later].sample_rate:
        raise complaint(
            toml_path,
            (*here, "timebase"),
            f"{quoted(other.timebase or '')} runs at {audio[earlier].sample_rate} Hz in "
            f"take[{earlier}] and at {audio[later].sample_rate} Hz here; one stream has one rate",
        )
    same_file = audio[earlier].path == audio[later].path
    if same_file and starts[0] != starts[1]:
        raise complaint(
            toml_path,
            (*here, "start_frame"),
            f"{starts[1]}, but the same file starts at {starts[0]} in take[{earlier}]",
        )
    overlap = (
        starts[0] < starts[1] + audio[later].frames
        and starts[1] < starts[0] + audio[earlier].frames
    )
    if overlap and not same_file and one.side == other.side:
        raise complaint(
            toml_path,
            (*here, "start_frame"),
            f"{starts[1]}: the file then overlaps take[{earlier}] (frames {starts[0]} to "
            f"{starts[0] + audio[earlier].frames}) in timebase {quoted(other.timebase or '')}; "
            "say where in the stream each file starts",
        )
