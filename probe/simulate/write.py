"""Sessions on disk: written beside their place and moved there when complete, or not at all."""

from __future__ import annotations

import io
import os
import shutil
from pathlib import Path

import soundfile

from probe.errors import BadInput
from probe.simulate.build import read_stage
from probe.simulate.describe import session_toml
from probe.simulate.sound import samples
from probe.simulate.spec import StageSpec, TakeSpec

_FLAC_LEVEL = 1.0
"""Of soundfile's 0 to 1: the smallest files."""


def simulate(stage: StageSpec, out: Path) -> None:
    """Write the session of ``stage`` as the folder ``out``.

    Raises
    ------
    BadInput
        ``out`` exists and is not an empty folder, or cannot be written; or the stage bends what
        only the virtual bench plays.
    """
    if not stage.true.generator.straight:
        raise BadInput(
            "truth.generator: sessions are made of tones without harmonics; leave it out here, "
            "probe measure --virtual plays through it"
        )
    _check_free(out)
    _replacing(stage, out)


def rebuild(folder: Path) -> tuple[Path, ...]:
    """Make every session below ``folder`` anew from the stage.toml it holds.

    Returns the session folders, in the order they were made. A folder is replaced only when its
    new content is complete; all stage files are read before the first is replaced.

    Raises
    ------
    BadInput
        No folder in ``folder`` has a stage.toml, or one of them cannot be simulated.
    """
    if not folder.is_dir():
        raise BadInput(f"{folder}: there is no such folder")
    found = sorted(path.parent for path in folder.glob("*/stage.toml"))
    if not found:
        raise BadInput(f"{folder}: no folder in it has a stage.toml, nothing to rebuild")
    stages = [read_stage(path / "stage.toml") for path in found]
    for path, stage in zip(found, stages, strict=True):
        _replacing(stage, path)
    return tuple(found)


def _check_free(out: Path) -> None:
    try:
        if out.is_dir():
            if any(out.iterdir()):
                raise BadInput(f"{out}: is not empty; name a folder that does not exist yet")
        elif out.exists() or out.is_symlink():
            raise BadInput(f"{out}: is a file; name a folder that does not exist yet")
        elif not out.absolute().parent.is_dir():
            raise BadInput(f"{out}: the folder it should stand in does not exist; create it first")
    except (OSError, ValueError) as error:
        raise BadInput(f"{out}: cannot be used: {error}") from error


def _replacing(stage: StageSpec, out: Path) -> None:
    """Write into a new folder beside ``out``, then let it take its place."""
    target = out.absolute()
    partial = target.with_name(f".{target.name}.{os.getpid()}.partial")
    old = target.with_name(f".{target.name}.{os.getpid()}.old")
    try:
        partial.mkdir()
        _fill(stage, partial)
        if target.exists():
            target.rename(old)
        partial.rename(target)
        shutil.rmtree(old, ignore_errors=True)
    except OSError as error:
        raise BadInput(f"{out}: cannot be written: {error.strerror or error}") from error
    finally:
        shutil.rmtree(partial, ignore_errors=True)
        if old.exists() and not target.exists():
            old.rename(target)


def _fill(stage: StageSpec, folder: Path) -> None:
    for take in stage.takes:
        path = folder / take.file
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(_encoded(stage, take))
    (folder / "session.toml").write_text(session_toml(stage), encoding="utf-8", newline="\n")
    if stage.source is not None:
        (folder / "stage.toml").write_text(stage.source, encoding="utf-8", newline="\n")


def _encoded(stage: StageSpec, take: TakeSpec) -> bytes:
    """Return one take as the bytes of a sound file."""
    kind = {"wav": "WAV", "rf64": "RF64", "flac": "FLAC", "smaller": "FLAC"}[stage.container]
    level = {"compression_level": _FLAC_LEVEL} if kind == "FLAC" else {}
    sound = samples(stage, take)
    file = io.BytesIO()
    try:
        soundfile.write(file, sound, take.sample_rate, stage.sample, format=kind, **level)
    except soundfile.LibsndfileError as error:
        raise BadInput(f'take "{take.name}": cannot be stored as {kind}: {error}') from error
    return file.getvalue()
