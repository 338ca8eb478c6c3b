"""WAV files that can be read at any moment while they are being written.

32-bit float, the samples as the card delivered them. The header stands in its final size from the
first byte on, and its lengths are brought up to date while the samples arrive; a file whose
writer was killed is mended from its length alone. Room is left for the 64-bit lengths of RF64
(EBU Tech 3306: a ``JUNK`` chunk of 28 bytes that becomes ``ds64``), used beyond 4 GB only.
"""

from __future__ import annotations

import os
import struct
import time
from contextlib import suppress
from pathlib import Path
from typing import BinaryIO

import numpy as np
from numpy.typing import NDArray

from probe.bench.stream.card import Block
from probe.bench.stream.limits import HEADER_S
from probe.errors import BadInput

_HEAD = struct.Struct("<4sI4s 4sIQQQI 4sIHHIIHHH 4sII 4sI")
HEADER_BYTES = _HEAD.size
"""RIFF, JUNK or ds64, fmt, fact, and the head of data."""

_FORMAT = slice(48, 74)
"""Where ``fmt`` stands in it, which the length does not change."""

_FLOAT = 3
_BYTES = 4
_LONGEST = 0xFFFFFFFF
_FORMAT_BYTES = 18


def header(rate: int, channels: int, frames: int) -> bytes:
    """Return the header of a file of this length, `HEADER_BYTES` long."""
    block = channels * _BYTES
    data = frames * block
    whole = HEADER_BYTES - 8 + data
    long = whole > _LONGEST
    return _HEAD.pack(
        *(b"RF64" if long else b"RIFF", _LONGEST if long else whole, b"WAVE"),
        *(b"ds64" if long else b"JUNK", 28),
        *((whole, data, frames) if long else (0, 0, 0)),
        0,
        *(b"fmt ", _FORMAT_BYTES, _FLOAT, channels, rate, rate * block, block, 8 * _BYTES, 0),
        *(b"fact", 4, min(frames, _LONGEST)),
        *(b"data", _LONGEST if long else data),
    )


class WavWriter:
    """A new file that grows; every `write` reaches the system before it returns.

    Raises
    ------
    OSError
        It cannot be made (it exists already, no folder) or written (disk full).
    """

    def __init__(self, path: Path, rate: int, channels: int) -> None:
        self.path = path
        self.frames = 0
        self._rate, self._channels = rate, channels
        self._file: BinaryIO = path.open("xb", buffering=0)
        try:
            self._whole(header(rate, channels, 0))
        except OSError:
            self._file.close()
            with suppress(OSError):
                path.unlink()
            raise
        self._refreshed = time.monotonic()

    def write(self, block: Block) -> None:
        """Append frames, shape (frames, channels)."""
        self._whole(np.ascontiguousarray(block, dtype="<f4").tobytes())
        self.frames += block.shape[0]
        if time.monotonic() - self._refreshed >= HEADER_S:
            self._refresh()

    def close(self, *, durable: bool = True) -> None:
        """Write the header for the last time; ``durable``: wait until the disk has it all."""
        if self._file.closed:
            return
        try:
            self._file.truncate(HEADER_BYTES + self.frames * self._channels * _BYTES)
            self._refresh()
            if durable:
                os.fsync(self._file.fileno())
        finally:
            self._file.close()

    def _refresh(self) -> None:
        self._file.seek(0)
        self._whole(header(self._rate, self._channels, self.frames))
        self._file.seek(0, os.SEEK_END)
        self._refreshed = time.monotonic()

    def _whole(self, data: bytes) -> None:
        view = memoryview(data)
        while view:
            view = view[self._file.write(view) :]


def read(path: Path, channels: int, frames: int, first: int = 0) -> NDArray[np.float32]:
    """Return frames of a file made by `WavWriter` from ``first`` on, shape (frames, channels)."""
    with path.open("rb") as file:
        file.seek(HEADER_BYTES + first * channels * _BYTES)
        data = file.read(frames * channels * _BYTES)
    whole = len(data) // (channels * _BYTES) * channels * _BYTES
    return np.frombuffer(data[:whole], dtype="<f4").reshape(-1, channels)


def mend(path: Path) -> int:
    """Bring the header of a file made by `WavWriter` up to date; return its frames.

    Half a frame at the end, left by a writer that was killed within it, is cut off.

    Raises
    ------
    BadInput
        It is no such file, or cannot be written.
    """
    try:
        with path.open("r+b") as file:
            head = file.read(HEADER_BYTES)
            rate, channels = _known(path, head)
            size = file.seek(0, os.SEEK_END)
            frames = (size - HEADER_BYTES) // (channels * _BYTES)
            file.truncate(HEADER_BYTES + frames * channels * _BYTES)
            file.seek(0)
            file.write(header(rate, channels, frames))
            return frames
    except OSError as error:
        raise BadInput(f"{path}: cannot be mended: {error.strerror or error}") from error


def _known(path: Path, head: bytes) -> tuple[int, int]:
    """Return rate and channels of a header of ours."""
    if len(head) == HEADER_BYTES:
        parts = _HEAD.unpack(head)
        channels, rate = parts[12], parts[13]
        ours = header(rate, channels, 0) if channels and rate else b""
        if parts[0] in (b"RIFF", b"RF64") and ours[_FORMAT] == head[_FORMAT]:
            return rate, channels
    raise BadInput(
        f"{path}: is not a take this bench began; it was left as it is: move it away, and "
        "the session goes on without it"
    )
