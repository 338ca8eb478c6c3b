"""The samples of a take, block by block, with flat memory.

Plain little-endian WAV is read without libsndfile. A 24-bit sample is read as the upper three
bytes of a 32-bit integer that begins one byte earlier, through a strided view of the raw bytes;
shifting it right by eight drops the borrowed byte and extends the sign.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any, Literal

import numpy as np
import soundfile
from numpy.typing import NDArray

from probe.errors import BadInput
from probe.formats.text import quoted
from probe.session.header import AudioFile, PlainSamples, library_name, read_header
from probe.session.model import Take

LARGEST_SAMPLE = 1e6
"""Times full scale (120 dB above it): beyond, a float file is damaged or wrongly scaled."""

_BYTES = {"int16": 2, "int24": 3, "int32": 4, "float32": 4, "float64": 8}
_TYPES = {"int16": "<i2", "int32": "<i4", "float32": "<f4", "float64": "<f8"}
_SCALES = {"int16": 2.0**-15, "int24": 2.0**-23, "int32": 2.0**-31}


def blocks(
    take: Take, frames_per_block: int, dtype: Literal["float32", "float64"] = "float32"
) -> Iterator[NDArray[Any]]:
    """Yield the samples of a take from first to last.

    Parameters
    ----------
    take
        A take of a session that was read.
    frames_per_block
        Frames of each block; the last one may be shorter.
    dtype
        Type of the samples yielded.

    Yields
    ------
    ndarray
        Shape (frames, channels), C-contiguous, a new array each time; 1.0 is full scale.

    Raises
    ------
    BadInput
        The file is no longer what it was when the session was read, or it holds NaN, infinity
        or values no converter gives (`LARGEST_SAMPLE`).
    """
    if frames_per_block < 1:
        raise ValueError("frames_per_block must be at least 1")
    audio = _open(take)
    source = (
        _plain_blocks(audio, audio.plain, frames_per_block, dtype)
        if audio.plain is not None
        else _decoded_blocks(audio, frames_per_block, dtype)
    )
    done = 0
    for block in source:
        if audio.subtype in ("FLOAT", "DOUBLE"):
            _check_values(take, block, done)
        done += len(block)
        yield block
    if done != take.frames:
        raise BadInput(
            f"{_name(take)}: samples end after {done} of {take.frames} frames; "
            "copy the file again or record the take again"
        )


def _name(take: Take) -> str:
    return f"take {quoted(take.name)}, file {quoted(take.file, 120)}"


def _open(take: Take) -> AudioFile:
    try:
        audio = read_header(take.path)
    except BadInput as error:
        raise BadInput(f"{_name(take)}: {error}") from error
    seen = (audio.sample_rate, audio.frames, audio.channels)
    if seen != (take.sample_rate, take.frames, len(take.channels)):
        raise BadInput(f"{_name(take)}: the file was changed while it was being read")
    return audio


def _plain_blocks(
    audio: AudioFile, plain: PlainSamples, frames_per_block: int, dtype: str
) -> Iterator[NDArray[Any]]:
    """Read raw bytes into one buffer and turn them into floats, block by block."""
    width = _BYTES[plain.layout]
    most = min(frames_per_block, audio.frames) * audio.channels
    raw = np.zeros(_LEAD + most * width, dtype=np.uint8)
    samples = _view(raw, plain.layout, most)
    into = raw.data[_LEAD:]
    left = audio.frames * audio.channels
    with _raw_file(audio.path) as file:
        file.seek(plain.offset)
        while left:
            wanted = min(most, left)
            got = _fill(file, into[: wanted * width]) // width
            got -= got % audio.channels
            if not got:
                return
            left -= got
            yield _as_float(samples[:got], plain.layout, dtype).reshape(-1, audio.channels)


_LEAD = 8
"""Bytes before the samples in the buffer: one is borrowed by 24 bits, eight keep alignment."""


def _view(raw: NDArray[np.uint8], layout: str, samples: int) -> NDArray[Any]:
    """Return the buffer as integers or floats; 24-bit samples stand in the upper three bytes."""
    if layout != "int24":
        return raw[_LEAD:].view(_TYPES[layout])
    return np.ndarray((samples,), "<i4", buffer=raw.data, offset=_LEAD - 1, strides=(3,))


def _as_float(samples: NDArray[Any], layout: str, dtype: str) -> NDArray[Any]:
    if layout in ("float32", "float64"):
        with np.errstate(over="ignore", invalid="ignore"):
            return samples.astype(dtype)
    whole = np.right_shift(samples, 8) if layout == "int24" else samples
    values: NDArray[Any] = whole.astype(dtype)
    values *= values.dtype.type(_SCALES[layout])
    return values


def _raw_file(path: Path) -> Any:
    try:
        return path.open("rb", buffering=0)
    except OSError as error:
        raise BadInput(f"{quoted(str(path), 120)} can no longer be opened") from error


def _fill(file: Any, into: memoryview) -> int:
    """Read until the buffer is full or the file ends; a raw read may stop early."""
    got = 0
    try:
        while got < len(into):
            more = file.readinto(into[got:])
            if not more:
                break
            got += more
    except OSError as error:
        raise BadInput(f"{quoted(str(file.name), 120)} can no longer be read") from error
    return got


def _decoded_blocks(audio: AudioFile, frames_per_block: int, dtype: str) -> Iterator[NDArray[Any]]:
    """Let libsndfile decode: FLAC, big-endian files, 8 bits and whatever else it knows."""
    try:
        with soundfile.SoundFile(library_name(audio.path)) as file:
            while True:
                block = file.read(frames_per_block, dtype=dtype, always_2d=True)
                if not len(block):
                    return
                yield block
    except (soundfile.SoundFileError, OSError, ValueError) as error:
        raise BadInput(
            f"{quoted(str(audio.path), 120)} is damaged inside; copy it again or record it again"
        ) from error


def _check_values(take: Take, block: NDArray[Any], first_frame: int) -> None:
    """Refuse what is not a number or absurd; a NaN passes through ``max`` and fails the test."""
    if max(block.max(), -block.min()) <= LARGEST_SAMPLE:
        return
    with np.errstate(invalid="ignore"):
        bad = ~(np.abs(block) <= LARGEST_SAMPLE)
    frame, channel = np.argwhere(bad)[0]
    value = float(block[frame, channel])
    said = f"reads {value:g}" if np.isfinite(value) else "is not a finite number"
    raise BadInput(
        f"{_name(take)}: the sample at frame {first_frame + int(frame)} of channel "
        f"{int(channel) + 1} {said}; full scale is 1.0, record or export the take again"
    )
