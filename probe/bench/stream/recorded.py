"""What came of a recording, and how far one is."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from probe.bench.stream.capture import Meters
from probe.bench.stream.stop import Stop


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

    @property
    def complete(self) -> bool:
        """Whether all that was asked for was recorded."""
        return self.stop is None

    @property
    def usable(self) -> bool:
        """Whether it is complete and nothing was lost in it."""
        return self.complete and not self.lost


ProgressTeller = Callable[[Progress], None]
