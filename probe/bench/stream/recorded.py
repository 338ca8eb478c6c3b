"""What came of a recording, and how far one is; samples lost within it."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from probe.bench.stream.capture import Capture, Meters
from probe.bench.stream.card import BlockFlags
from probe.bench.stream.slips import slips
from probe.bench.stream.stop import Stop

_LOOKED_AT_S = 120.0
"""So much of a recording is looked through for jumps of its tones."""


@dataclass(frozen=True)
class Lost:
    """Samples that were dropped or filled in.

    Attributes
    ----------
    frame
        Of the take.
    input, output
        In which direction, where the card said so.
    seen
        The card said nothing, but a tone jumped.
    """

    frame: int
    input: bool = False
    output: bool = False
    seen: bool = False


@dataclass(frozen=True)
class Progress:
    """How far a take is: seconds done of all, and the meters now."""

    seconds: float
    of_seconds: float
    meters: Meters


@dataclass(frozen=True)
class Recorded:
    """One recording.

    Attributes
    ----------
    path
        Its file; of a complete one under its final name, of another with ``.part`` behind it;
        None where it was kept in memory.
    samples
        Shape (frames, inputs), where it was kept in memory, else None.
    timebase, start_frame
        The stream, and where in it the first sample stands.
    peaks, rms, direct
        Per input, shares of full scale; direct: mean.
    lost
        What the card reported lost within it: not empty, do it again.
    stop
        What stopped it; None: it is complete.
    ended
        Why it is complete before its time: enough was heard, or as much as an input may hear.
    """

    path: Path | None
    samples: NDArray[np.float32] | None
    timebase: str
    start_frame: int
    frames: int
    sample_rate: int
    peaks: tuple[float, ...]
    rms: tuple[float, ...]
    direct: tuple[float, ...]
    lost: tuple[Lost, ...] = ()
    stop: Stop | None = None
    ended: Stop | None = None

    @property
    def complete(self) -> bool:
        """Whether all that was asked for was recorded."""
        return self.stop is None

    @property
    def usable(self) -> bool:
        """Whether it is complete and nothing was lost in it."""
        return self.complete and not self.lost


ProgressTeller = Callable[[Progress], None]


def lost_within(capture: Capture, flags: Iterable[tuple[int, BlockFlags]]) -> tuple[Lost, ...]:
    """Return what the card said it lost while this was recorded, by frame of the recording."""
    start, end = capture.start_frame, capture.start_frame + capture.frames
    return tuple(
        Lost(frame - start, said.input_lost, said.output_lost)
        for frame, said in flags
        if start <= frame < end
    )


def jumps_in(capture: Capture, rate: float, tones_hz: Sequence[float]) -> tuple[Lost, ...]:
    """Look for samples lost without a word in what was recorded of the tones played."""
    if not tones_hz or capture.frames == 0:
        return ()
    samples = capture.beginning(round(_LOOKED_AT_S * rate))
    return tuple(Lost(frame, seen=True) for frame in slips(samples, rate, tones_hz))


def recorded_of(
    capture: Capture,
    timebase: str,
    rate: float,
    lost: Iterable[Lost],
    stop: Stop | None,
    ended: Stop | None = None,
) -> Recorded:
    """Return what came of a capture."""
    peaks, rms, direct = capture.levels()
    return Recorded(
        path=capture.path,
        samples=capture.samples,
        timebase=timebase,
        start_frame=capture.start_frame,
        frames=capture.frames,
        sample_rate=round(rate),
        peaks=peaks,
        rms=rms,
        direct=direct,
        lost=tuple(sorted(lost, key=lambda one: one.frame)),
        stop=stop,
        ended=ended,
    )


def nothing_recorded(timebase: str, frame: int, rate: float, inputs: int, stop: Stop) -> Recorded:
    """Return what came of a take that was stopped before its recording began."""
    none = (0.0,) * inputs
    return Recorded(None, None, timebase, frame, 0, round(rate), none, none, none, (), stop)
