"""From the ring into memory or a file: the thread that stores what was recorded."""

from __future__ import annotations

import threading
import time
from abc import ABC, abstractmethod
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from probe.bench.stream.card import Block
from probe.bench.stream.ring import Ring
from probe.bench.stream.wav import WavWriter, read
from probe.errors import BadInput, NotStored

METER_S = 0.1
"""What the meters look back on."""

PART = ".part"
"""Behind the name of a take that is not complete."""

_LATE_S = 1.0
"""The longest anybody waits for what is still in the ring."""

_LOOK_S = 0.001
"""Between two looks at what the writer's thread does."""

_IDLE_S = 0.01
"""Between two looks into an empty ring."""

_PROMPT_S = 0.0002
"""The same where the card waits until its block is stored."""


@dataclass(frozen=True)
class Meters:
    """Levels of the inputs over the last tenth of a second, shares of full scale.

    Attributes
    ----------
    peaks, rms
        Of the last `METER_S`.
    direct
        Slow average, which shows a direct voltage.
    """

    peaks: tuple[float, ...]
    rms: tuple[float, ...]
    direct: tuple[float, ...]


class Levels:
    """Peak, power and mean of what passes."""

    def __init__(self, channels: int) -> None:
        self._peak = np.zeros(channels)
        self._power = np.zeros(channels)
        self._sum = np.zeros(channels)
        self.frames = 0

    def add(self, block: Block) -> None:
        """Take a block into account."""
        if block.shape[0]:
            wide = block.astype(np.float64)
            self._peak = np.maximum(self._peak, np.max(np.abs(wide), axis=0))
            self._power += np.einsum("ij,ij->j", wide, wide)
            self._sum += wide.sum(axis=0)
            self.frames += block.shape[0]

    def read(self) -> tuple[tuple[float, ...], tuple[float, ...], tuple[float, ...]]:
        """Return peaks, rms and means, one per channel."""
        count = max(self.frames, 1)
        rms, mean = np.sqrt(self._power / count), self._sum / count
        return tuple(self._peak.tolist()), tuple(rms.tolist()), tuple(mean.tolist())


class Capture(ABC):
    """A recording of a given number of frames."""

    path: Path | None = None

    def __init__(self, wanted: int, channels: int) -> None:
        self.wanted = wanted
        self.channels = channels
        self.frames = 0
        self.start_frame = 0
        self.error: str | None = None
        """Why it could not be stored."""
        self._levels = Levels(channels)

    @property
    def done(self) -> bool:
        """Whether nothing more goes in: it has all, or it failed."""
        return self.frames >= self.wanted or self.error is not None

    @property
    def samples(self) -> NDArray[np.float32] | None:
        """What was recorded, where it is in memory: shape (frames, channels)."""
        return None

    @abstractmethod
    def beginning(self, frames: int) -> NDArray[np.float32]:
        """Return up to ``frames`` of what was recorded, shape (frames, channels)."""

    def levels(self) -> tuple[tuple[float, ...], tuple[float, ...], tuple[float, ...]]:
        """Return peaks, rms and means of all that was recorded."""
        return self._levels.read()

    def feed(self, block: Block, frame: int) -> None:
        """Take what is still wanted of a block that begins at ``frame`` of the stream."""
        part = block[: self.wanted - self.frames]
        if self.done or part.shape[0] == 0:
            return
        if self.frames == 0:
            self.start_frame = frame
        self._levels.add(part)
        try:
            self._store(part)
        except OSError as error:
            self.error = f"{self.path}: cannot be stored: {error.strerror or error}"
            return
        self.frames += part.shape[0]

    def finish(self, *, complete: bool) -> None:  # noqa: B027 - memory needs nothing
        """Close it; a complete one gets its final name."""

    @abstractmethod
    def _store(self, part: Block) -> None: ...


class MemoryCapture(Capture):
    """A recording kept in memory."""

    def __init__(self, wanted: int, channels: int) -> None:
        super().__init__(wanted, channels)
        self._kept = np.zeros((wanted, channels), dtype=np.float32)

    @property
    def samples(self) -> NDArray[np.float32]:
        """What was recorded, shape (frames, channels)."""
        return self._kept[: self.frames]

    def beginning(self, frames: int) -> NDArray[np.float32]:
        """Return up to ``frames`` of what was recorded."""
        return self.samples[:frames]

    def _store(self, part: Block) -> None:
        self._kept[self.frames : self.frames + part.shape[0]] = part


class FileCapture(Capture):
    """A recording into ``path``, which has `PART` behind its name until it is complete.

    Raises
    ------
    BadInput
        There is such a file already, or it cannot be made.
    """

    def __init__(self, path: Path, wanted: int, channels: int, rate: int) -> None:
        super().__init__(wanted, channels)
        self._final = path
        self.path: Path = path.with_name(path.name + PART)
        if path.exists():
            raise BadInput(f"{path}: exists already; a take is never overwritten")
        try:
            self._file = WavWriter(self.path, rate, channels)
        except FileExistsError as error:
            raise BadInput(
                f"{self.path}: a take that was cut lies there; resume the session first"
            ) from error
        except OSError as error:
            raise NotStored(f"{path}: cannot be made: {error.strerror or error}") from error

    def finish(self, *, complete: bool) -> None:
        """Close the file; give a complete one its name."""
        try:
            self._file.close()
            if complete:
                self.path.rename(self._final)
                self.path = self._final
        except OSError as error:
            self.error = f"{self.path}: cannot be stored: {error.strerror or error}"

    def beginning(self, frames: int) -> NDArray[np.float32]:
        """Return up to ``frames`` of what was recorded."""
        return read(self.path, self.channels, frames)

    def _store(self, part: Block) -> None:
        self._file.write(part)


class Writer:
    """The thread between the ring and what is being recorded; keeps the meters as well.

    Whoever waits for it may be interrupted between any two steps (Ctrl-C). Nothing is locked,
    therefore: a lock that an interruption leaves taken would hold up this thread for good.

    ``failed`` is called, on that thread, with the reason why something cannot be stored.
    ``prompt``: the card waits for what is stored.
    """

    def __init__(
        self,
        ring: Ring,
        channels: int,
        rate: float,
        failed: Callable[[str], None],
        *,
        prompt: bool = False,
    ) -> None:
        self.frames = 0
        """Frames of the stream that have passed through."""
        self._ring = ring
        self._failed = failed
        self._idle_s = _PROMPT_S if prompt else _IDLE_S
        self._channels = channels
        self._window = round(METER_S * rate)
        self._levels, self._last = Levels(channels), Levels(channels)
        self._capture: Capture | None = None
        self._feeding = False
        self._thread: threading.Thread | None = None
        self._ending = False

    def start(self) -> None:
        """Begin to empty the ring."""
        self._thread = threading.Thread(target=self._run, name="probe-writer", daemon=True)
        self._thread.start()

    def stop(self) -> None:
        """Empty the ring a last time and end the thread."""
        self._ending = True
        if self._thread is not None:
            self._thread.join()
            self._thread = None

    def begin(self, capture: Capture) -> None:
        """Feed ``capture`` from the next frame on."""
        self._capture = capture

    def end(self) -> None:
        """Feed it no more; on return it is not being touched."""
        self._capture = None
        while self._feeding:
            time.sleep(_LOOK_S)

    def catch_up(self, frame: int) -> None:
        """Return when all up to ``frame`` has passed, or after `_LATE_S`."""
        end = time.monotonic() + _LATE_S
        while self.frames < frame and time.monotonic() < end:
            self.wait(_IDLE_S)

    def wait(self, seconds: float) -> None:
        """Return when something has passed, or after ``seconds``."""
        frames, end = self.frames, time.monotonic() + seconds
        while self.frames == frames and time.monotonic() < end:
            time.sleep(_LOOK_S)

    def meters(self, direct: NDArray[np.float64]) -> Meters:
        """Return the levels of the last full window."""
        peaks, rms, _ = self._last.read()
        return Meters(peaks, rms, tuple(direct.tolist()))

    def _run(self) -> None:
        while True:
            ending = self._ending
            if self._ring.waiting:
                self._pass_on(self._ring.take())
            elif ending:
                return
            else:
                time.sleep(self._idle_s)

    def _pass_on(self, block: Block) -> None:
        self._feeding = True  # before it looks which: see `end`
        try:
            capture = self._capture
            if capture is not None:
                self._feed(capture, block)
        finally:
            self._feeding = False
        self._meter(block)
        self.frames += block.shape[0]

    def _feed(self, capture: Capture, block: Block) -> None:
        capture.feed(block, self.frames)
        if capture.done and self._capture is capture:
            self._capture = None
        if capture.error is not None:
            self._failed(capture.error)

    def _meter(self, block: Block) -> None:
        self._levels.add(block[-self._window :])
        if self._levels.frames >= self._window:
            self._last, self._levels = self._levels, Levels(self._channels)
