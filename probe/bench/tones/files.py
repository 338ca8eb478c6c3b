"""Files of tones for any player, each with a small TOML of keys that a take can take over."""

from __future__ import annotations

import os
import tempfile
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import soundfile
from numpy.typing import NDArray

from probe.bench.tones.request import Made
from probe.errors import BadInput, NotStored
from probe.formats.text import one_of, shown_path

BITS = {"16": ("PCM_16", 16), "24": ("PCM_24", 24), "float": ("FLOAT", 0)}
"""What can be written: word, libsndfile's name, bits that need dither."""

KINDS = {".wav": "WAV", ".flac": "FLAC"}

PIECE_FRAMES = 1 << 18

DITHER_SEED = 20260314
"""Fixed, so that the same request gives the same file."""


@dataclass(frozen=True)
class Layout:
    """How samples are stored: container by the file's name, sample format, equal channels."""

    bits: str = "24"
    channels: int = 1


def write_tones(made: Made, path: Path, layout: Layout, *, replace: bool = False) -> Path:
    """Write the sound and, beside it, its TOML; both appear complete or not at all.

    Returns the path of the TOML.

    Raises
    ------
    BadInput
        Unknown container, a sample format it does not hold, a file that exists, no room.
    """
    kind = _kind(path, layout)
    beside = path.with_suffix(".toml")
    for place in (path, beside):
        if place.exists() and not replace:
            raise BadInput(
                f"{shown_path(place)}: exists already; name another file, or say --replace"
            )
    try:
        aside = Path(tempfile.mkdtemp(prefix=".probe-", dir=path.absolute().parent))
    except OSError as error:
        raise NotStored(
            f"{shown_path(path)}: cannot be written: {error.strerror or error}"
        ) from error
    try:
        _write_sound(made, aside / "sound", kind, layout)
        (aside / "toml").write_text(made.toml, encoding="utf-8", newline="\n")
        (aside / "toml").replace(beside)
        (aside / "sound").replace(path)
    except (OSError, soundfile.SoundFileError) as error:
        raise NotStored(f"{shown_path(path)}: cannot be written: {_reason(error)}") from error
    finally:
        for left in aside.iterdir():
            left.unlink()
        aside.rmdir()
    return beside


def _kind(path: Path, layout: Layout) -> str:
    kind = KINDS.get(path.suffix.lower())
    if kind is None:
        raise BadInput(f"{shown_path(path)}: the name must end in {one_of(KINDS)}")
    if kind == "FLAC" and layout.bits == "float":
        raise BadInput(f"{shown_path(path)}: FLAC holds 16 or 24 bits, not float")
    return kind


def _write_sound(made: Made, path: Path, kind: str, layout: Layout) -> None:
    subtype, bits = BITS[layout.bits]
    stream = np.random.default_rng(DITHER_SEED)
    long = made.sound.frames * layout.channels * 4 > 1 << 32
    with soundfile.SoundFile(
        os.fspath(path),
        "w",
        made.rate,
        layout.channels,
        subtype,
        format="RF64" if kind == "WAV" and long else kind,
    ) as file:
        for first in range(0, made.sound.frames, PIECE_FRAMES):
            count = min(PIECE_FRAMES, made.sound.frames - first)
            wave = made.sound.piece(first, count)
            if bits:
                file.write(_spread(quantised(wave, bits, stream, made.dithered), layout.channels))
            else:
                file.write(_spread(wave.astype(np.float32), layout.channels))


def quantised(
    wave: NDArray[np.float64], bits: int, stream: np.random.Generator, dithered: bool = True
) -> NDArray[np.int32]:
    """Return samples as integers at the top of 32 bits, as libsndfile takes them.

    Dither is triangular over two steps (two uniform draws): it makes error and its power
    independent of the signal (Lipshitz, Wannamaker, Vanderkooy, J. Audio Eng. Soc. 40, 1992).
    """
    step = 2.0 ** (bits - 1)
    scaled = wave * step
    if dithered:
        scaled = scaled + stream.random(wave.shape) - stream.random(wave.shape)
    whole = np.clip(np.floor(scaled + 0.5), -step, step - 1.0)
    return np.asarray(whole.astype(np.int64) << (32 - bits), dtype=np.int32)


def _spread(samples: NDArray[np.generic], channels: int) -> NDArray[np.generic]:
    """Return the same samples on every channel, frames x channels."""
    return np.repeat(samples[:, None], channels, axis=1)


def _reason(error: Exception) -> str:
    if isinstance(error, OSError):
        return error.strerror or str(error)
    said = str(error).rstrip(".")
    return f"{said} (is the disk full?)" if said == "System error" else said
