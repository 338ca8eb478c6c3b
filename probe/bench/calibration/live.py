"""The calibration's player on a running stream of the bench."""

from __future__ import annotations

import functools
from collections.abc import Sequence

import numpy as np

from probe.bench.calibration.readings import Samples
from probe.bench.stream.recorder import Recorder
from probe.bench.stream.sound import Part, Purpose, Sound
from probe.bench.stream.stop import Stop
from probe.bench.tones.waves import Tones
from probe.errors import NotUsable

TRIES = 6
"""So often a recording with lost samples is made again before somebody is asked."""

SETTLE_S = 0.5
"""After a tone has come up: couplings settle, meters too."""


class LivePlayer:
    """Plays and listens through a `Recorder` that is open, with at least two inputs and outputs."""

    def __init__(self, recorder: Recorder, inputs: tuple[int, int] = (0, 1)) -> None:
        self._recorder = recorder
        self._inputs = list(inputs)

    @property
    def rate(self) -> int:
        """Sampling rate, Hz."""
        return round(self._recorder.rate)

    def play(self, sounds: Sequence[Tones | None]) -> None:
        """Play these, whatever played before; they come up as everything of the bench does."""
        self._recorder.silence()
        parts = [
            Part(k, _loop(tones), Purpose.CHECK)
            for k, tones in enumerate(sounds)
            if tones is not None
        ]
        if parts:
            _raise(self._recorder.play(parts))
            _raise(self._recorder.wait(SETTLE_S))

    def listen(self, seconds: float) -> Samples:
        """Return what is heard from now on; see `probe.bench.calibration.run.Player`.

        A recording in which samples were lost is made again by itself, some times.
        """
        for _ in range(TRIES):
            taken = self._recorder.listen(seconds)
            _raise(taken.stop)
            if not taken.lost and taken.samples is not None:
                return np.ascontiguousarray(taken.samples[:, self._inputs])
        raise NotUsable(
            f"samples were lost in {TRIES} recordings one after the other: the computer is too "
            "busy, or the card's buffer too small; close other programs"
        )

    def silence(self) -> None:
        """Fade out."""
        self._recorder.silence()


@functools.lru_cache(maxsize=4)
def _loop(tones: Tones) -> Sound:
    """Return the samples of one loop; the same tones are played again and again."""
    return Sound(tones.piece(0, tones.frames))


def _raise(stop: Stop | None) -> None:
    if stop is not None:
        raise NotUsable(stop.message)
