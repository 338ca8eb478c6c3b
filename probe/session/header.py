"""What the header of an audio file promises, and whether the file keeps it.

libsndfile quietly shortens a WAV whose samples end before its header says, and a recorder that
lost power leaves a length of zero or 0xFFFFFFFF behind. Both are found here by walking the
chunks. Layout of the chunks: RIFF (Microsoft/IBM, Multimedia Programming Interface and Data
Specifications 1.0, 1991) and RF64 (EBU Tech 3306).
"""

from __future__ import annotations

import os
import stat
import struct
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO, Literal

import soundfile

from probe.errors import BadInput

LOWEST_RATE_HZ, HIGHEST_RATE_HZ = 44100, 384000
"""Sample rates accepted, Hz."""

SHORTEST_FRAMES = 2048
"""Frames below which nothing can be measured: 5 to 46 ms, less than a cycle of 20 Hz."""

MOST_CHUNKS = 1000
"""Chunks walked before the samples must have begun; recorders write fewer than ten."""

UNFINISHED = 0xFFFFFFFF
"""Length left in a WAV by a recorder that never came back to fill it in (RF64: see ds64)."""

_MAGIC = (b"RIFF", b"RIFX", b"RF64", b"fLaC", b"FORM", b"riff", b"caff")
"""First bytes of WAV, RF64, FLAC, AIFF, Wave64 and CAF; nothing else is handed to libsndfile."""

Layout = Literal["int16", "int24", "int32", "float32", "float64"]

_LAYOUTS: dict[tuple[int, int], Layout] = {
    (1, 16): "int16",
    (1, 24): "int24",
    (1, 32): "int32",
    (3, 32): "float32",
    (3, 64): "float64",
}
_SUBTYPES = {
    "int16": "PCM_16",
    "int24": "PCM_24",
    "int32": "PCM_32",
    "float32": "FLOAT",
    "float64": "DOUBLE",
}
_NOT_AUDIO = "is not an audio file that can be read; WAV, RF64 or FLAC is needed"
_LOSSLESS = ("PCM_S8", "PCM_U8", "PCM_16", "PCM_24", "PCM_32", "FLOAT", "DOUBLE")


@dataclass(frozen=True)
class PlainSamples:
    """Interleaved little-endian samples that stand in the file as they are.

    ``offset`` is the byte of the first sample; ``layout`` the type of each.
    """

    offset: int
    layout: Layout


@dataclass(frozen=True)
class AudioFile:
    """An audio file whose header was found to be true.

    ``plain`` is None where the samples are compressed, big-endian or otherwise not as they are
    in memory: libsndfile decodes those.
    """

    path: Path
    sample_rate: int
    frames: int
    channels: int
    subtype: str
    plain: PlainSamples | None


@dataclass(frozen=True)
class _Wave:
    """The chunks of a WAV or RF64 that matter; lengths in bytes."""

    tag: int
    channels: int
    sample_rate: int
    block_bytes: int
    bits: int
    offset: int
    promised: int


def read_header(path: Path) -> AudioFile:
    """Open ``path`` and return what it holds, without reading its samples.

    Raises
    ------
    BadInput
        Not audio, empty, cut short, never finished, compressed with loss, or of a sample rate
        outside `LOWEST_RATE_HZ` to `HIGHEST_RATE_HZ`. The message does not name the file: the
        caller knows under which name it was asked for.
    """
    wave = _read_wave(path)
    try:
        with soundfile.SoundFile(library_name(path)) as file:
            _check_kind(file)
            _check_length(file)
            if wave is None:
                _check_end(file)
            return AudioFile(
                path,
                file.samplerate,
                file.frames,
                file.channels,
                file.subtype,
                _plain(wave, file),
            )
    except (soundfile.SoundFileError, OSError, TypeError, ValueError) as error:
        raise BadInput(_NOT_AUDIO) from error


def library_name(path: Path) -> str | bytes:
    """Return a path as libsndfile must be given it.

    Its wrapper encodes text with the locale, and fails at a name that the locale cannot say.
    """
    return str(path) if os.name == "nt" else os.fsencode(path)


def _check_kind(file: soundfile.SoundFile) -> None:
    if file.subtype not in _LOSSLESS:
        raise BadInput(
            f"holds {file.subtype_info}, which is not exact; record PCM or float WAV, or FLAC"
        )
    if not LOWEST_RATE_HZ <= file.samplerate <= HIGHEST_RATE_HZ:
        raise BadInput(
            f"has a sample rate of {file.samplerate} Hz; "
            f"{LOWEST_RATE_HZ} to {HIGHEST_RATE_HZ} Hz can be used"
        )


def _check_length(file: soundfile.SoundFile) -> None:
    if file.frames <= 0:
        raise BadInput("is empty: it holds no samples; record the take again")
    if file.frames < SHORTEST_FRAMES:
        raise BadInput(
            f"holds only {file.frames} samples a channel, at least {SHORTEST_FRAMES} are needed; "
            "record the take again"
        )


def _check_end(file: soundfile.SoundFile) -> None:
    """Read the last frame: a compressed file that was cut short cannot give it."""
    try:
        file.seek(file.frames - 1)
        ended = len(file.read(1, dtype="float32", always_2d=True)) == 1
    except (soundfile.SoundFileError, OSError, ValueError, RuntimeError):
        ended = False
    if not ended:
        raise BadInput(
            f"is cut short or damaged: its header promises {file.frames} samples a channel and "
            "the last cannot be read; copy it again or record the take again"
        )


def _plain(wave: _Wave | None, file: soundfile.SoundFile) -> PlainSamples | None:
    """Return where the samples stand, when both readings of the header agree about them."""
    if wave is None:
        return None
    layout = _LAYOUTS.get((wave.tag, wave.bits))
    frames = wave.promised // wave.block_bytes
    agreed = (file.channels, file.samplerate, file.frames) == (
        wave.channels,
        wave.sample_rate,
        frames,
    )
    if not agreed:
        raise BadInput("has a damaged header; copy it again or record the take again")
    if layout is None or _SUBTYPES[layout] != file.subtype:
        return None
    if wave.block_bytes * 8 != wave.channels * wave.bits:
        return None
    return PlainSamples(wave.offset, layout)


def _read_wave(path: Path) -> _Wave | None:
    """Walk the chunks of a little-endian WAV or RF64; None for every other kind of file."""
    try:
        status = path.stat()
        if not stat.S_ISREG(status.st_mode):
            raise BadInput("is not an ordinary file")
        if status.st_size == 0:
            raise BadInput("is empty: 0 bytes; copy it again or record the take again")
        with path.open("rb") as file:
            start = file.read(12)
            if not start.startswith(_MAGIC):
                raise BadInput(_NOT_AUDIO)
            if start[:4] not in (b"RIFF", b"RF64") or start[8:] != b"WAVE":
                return None
            wave = _walk(file, status.st_size)
    except (OSError, ValueError) as error:
        reason = error.strerror if isinstance(error, OSError) and error.strerror else str(error)
        raise BadInput(f"cannot be read: {reason}") from error
    if wave is not None:
        _check_promise(wave, status.st_size)
    return wave


def _walk(file: BinaryIO, size: int) -> _Wave:
    """Read chunk after chunk up to the samples."""
    form: tuple[int, int, int, int, int] | None = None
    long_data: int | None = None
    for _ in range(MOST_CHUNKS):
        head = file.read(8)
        if len(head) < 8:
            break
        name, length = head[:4], struct.unpack("<I", head[4:])[0]
        if name == b"data":
            if form is None:
                raise BadInput("has a damaged header: the samples come before their format")
            if length == UNFINISHED and long_data is not None:
                length = long_data
            return _Wave(*form, offset=file.tell(), promised=length)
        body = file.read(min(length, 40)) if name in (b"fmt ", b"ds64") else b""
        if name == b"fmt ":
            form = _form(body)
        elif name == b"ds64" and len(body) >= 16:
            long_data = struct.unpack("<Q", body[8:16])[0]
        skip = length + length % 2 - len(body)
        if file.tell() + skip > size:
            break
        file.seek(skip, os.SEEK_CUR)
    raise BadInput("is cut short: its header ends before any sample; record the take again")


def _form(body: bytes) -> tuple[int, int, int, int, int]:
    """Return format tag, channels, sample rate, bytes per frame and bits of a ``fmt`` chunk."""
    if len(body) < 16:
        raise BadInput("has a damaged header: its format is too short")
    tag, channels, rate, _, block, bits = struct.unpack("<HHIIHH", body[:16])
    if tag == 0xFFFE and len(body) >= 26:
        tag = struct.unpack("<H", body[24:26])[0]
    if not channels or not block:
        raise BadInput("has a damaged header: no channels, or no bytes per sample")
    return tag, channels, rate, block, bits


def _check_promise(wave: _Wave, size: int) -> None:
    """Compare the length in the header with the bytes that follow it."""
    there = size - wave.offset
    if wave.promised == UNFINISHED or (wave.promised == 0 and there > 0):
        raise BadInput(
            "was never finished: the recorder stopped before writing the length into the header; "
            "open it in an audio editor that repairs headers and save it again, or record again"
        )
    if there - wave.promised > UNFINISHED:
        raise BadInput(
            "is longer than a WAV header can say (4 GB): the recorder should have written RF64; "
            "cut it into shorter files or save it as FLAC"
        )
    if wave.promised > there:
        raise BadInput(
            f"is cut short: its header promises {wave.promised // wave.block_bytes} samples a "
            f"channel and {there // wave.block_bytes} are there; copy it again or record again"
        )
