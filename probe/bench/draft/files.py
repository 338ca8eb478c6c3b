"""The recordings of a folder, and the tones said to be in them."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import soundfile
from numpy.typing import NDArray

from probe.errors import BadInput
from probe.formats.text import shown_path
from probe.session.header import AudioFile, library_name, read_header

ENDINGS = (".wav", ".flac", ".rf64", ".w64", ".aif", ".aiff", ".caf")

MOST_FILES = 500
"""As many takes as a session may have."""

LONGEST_S = 60.0
"""Of each file: the rest says nothing more about what is in it."""

LARGEST_TOML = 1 << 16


@dataclass(frozen=True)
class Found:
    """A recording: its name inside the folder, what its header says, its samples (float32)."""

    name: str
    audio: AudioFile
    samples: NDArray[np.float32]


@dataclass(frozen=True)
class Folder:
    """What lies in a folder: recordings, files passed over with the reason, and stated tones."""

    recordings: tuple[AudioFile, ...]
    passed_over: tuple[tuple[str, str], ...]
    stated: tuple[dict[str, Any], ...]


def look_through(folder: Path) -> Folder:
    """Look through a folder and those inside it, in the order of names.

    Raises
    ------
    BadInput
        It is no folder, or holds no recording that can be used.
    """
    if not folder.is_dir():
        raise BadInput(f"{shown_path(folder)}: there is no such folder")
    paths = [
        p
        for p in sorted(folder.rglob("*"))
        if p.suffix.lower() in ENDINGS and not p.name.startswith(".") and p.is_file()
    ]
    if len(paths) > MOST_FILES:
        raise BadInput(f"{shown_path(folder)}: {len(paths)} recordings; {MOST_FILES} at most")
    recordings, passed = [], []
    for path in paths:
        try:
            recordings.append(read_header(path))
        except BadInput as problem:
            passed.append((name_in(folder, path), str(problem)))
    if not recordings:
        more = f" ({passed[0][0]} {passed[0][1]})" if passed else ""
        raise BadInput(f"{shown_path(folder)}: no recording that can be used is in it{more}")
    stated = [t for p in sorted(folder.glob("*.toml")) if (t := _stated(p)) is not None]
    return Folder(tuple(recordings), tuple(passed), tuple(stated))


def name_in(folder: Path, path: Path) -> str:
    """Return a file's name as a session writes it."""
    return path.relative_to(folder).as_posix()


def samples_of(audio: AudioFile) -> NDArray[np.float32]:
    """Return the first minute of a recording, frames x channels.

    Raises
    ------
    BadInput
        It is damaged inside.
    """
    try:
        with soundfile.SoundFile(library_name(audio.path)) as file:
            read = file.read(round(LONGEST_S * audio.sample_rate), dtype="float32", always_2d=True)
    except (soundfile.SoundFileError, OSError, ValueError, RuntimeError) as error:
        raise BadInput(f"{shown_path(audio.path)}: is damaged inside") from error
    return np.nan_to_num(np.asarray(read, dtype=np.float32), posinf=0.0, neginf=0.0)


def _stated(path: Path) -> dict[str, Any] | None:
    """Return the take keys of a small TOML that stands beside a tone file, or None."""
    try:
        if path.name == "session.toml" or path.stat().st_size > LARGEST_TOML:
            return None
        said = tomllib.loads(path.read_text("utf-8"))
    except (OSError, ValueError):
        return None
    take = said.get("take")
    inject = take.get("inject") if isinstance(take, dict) else None
    keys = inject[0] if isinstance(inject, list) and inject else said
    tones = keys.get("tones_hz") if isinstance(keys, dict) else None
    if not isinstance(tones, list) or not all(isinstance(t, int | float) for t in tones):
        return None
    return {**keys, "injected": keys is not said}
