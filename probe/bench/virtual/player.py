"""The simulated device as its own player: files looped on a clock of its own, with its faults.

A file is turned into one period at the recorder's nominal rate, exactly (it is periodic), and the
clock's error is applied as it plays.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from probe.bench.guided.playing import Playable
from probe.bench.virtual.clock import ForeignClock

Floats = NDArray[np.float64]

FULL_SCALE = 0.7
"""Of the file, as a share of what drives the device at full scale of the interface's output."""

CONVERTS_TO = 44100
"""The poor converter's rate; 48000 for files that have 44100 already."""

LEVELLED_DB, LEVELLING_S = 12.0, 4.0
"""What the leveller brings quiet files up by, and how slowly; it moves every file a little."""

GAP_S = 0.07


class VirtualPlayer:
    """Plays a file as long as nobody says otherwise.

    Attributes
    ----------
    faults
        Of ``player-converts``, ``player-levels``, ``player-gaps``.
    """

    def __init__(self, ppm: float) -> None:
        self.ppm = ppm
        self.faults: set[str] = set()
        self.gain = FULL_SCALE
        self._file: Playable | None = None
        self._loop: Floats | None = None
        self._at = 0
        self._played_s = 0.0
        self._clock: ForeignClock | None = None

    @property
    def playing(self) -> bool:
        """Whether a file plays."""
        return self._file is not None

    def hands(self, word: str, file: Playable | None, db: float) -> None:
        """Do what is asked of whoever stands at the device."""
        if word == "volume":
            self.gain *= 10.0 ** (db / 20.0)
        else:
            self._file, self._loop, self._at, self._played_s = file, None, 12345, 0.0

    def step(self, frames: int, rate: float) -> Floats:
        """Return the next frames at the recorder's clock, over full scale."""
        if self._file is None:
            return np.zeros(frames)
        if self._loop is None:
            self._loop = self._heard_loop(self._file, round(rate))
        if self._clock is None:
            self._clock = ForeignClock(self.ppm * 1e-6, rate, 1)
        places = (self._at + np.arange(frames)) % self._loop.size
        self._at += frames
        wave = self._loop[places] * self.gain
        if "player-levels" in self.faults:
            wave = wave * self._levelled(frames, rate)
        return np.asarray(self._clock.step(wave[:, None])[:, 0])

    def _levelled(self, frames: int, rate: float) -> Floats:
        assert self._file is not None
        t = self._played_s + np.arange(frames) / rate
        self._played_s += frames / rate
        most = LEVELLED_DB if self._file.word == "quieter" else 1.0
        return np.asarray(10.0 ** (most * (1.0 - np.exp(-t / LEVELLING_S)) / 20.0))

    def _heard_loop(self, file: Playable, rate: int) -> Floats:
        made = file.made
        wave = made.sound.piece(0, made.sound.frames)
        from_rate = made.rate
        if "player-converts" in self.faults:
            to_rate = 48000 if from_rate == CONVERTS_TO else CONVERTS_TO
            count = round(wave.size * to_rate / from_rate)
            closed = np.append(wave, wave[0])
            wave = np.interp(
                np.arange(count) * from_rate / to_rate, np.arange(wave.size + 1), closed
            )
            from_rate = to_rate
        wave = _at_rate(wave, round(wave.size * rate / from_rate))
        if "player-gaps" in self.faults:
            wave = np.append(wave, np.zeros(round(GAP_S * rate)))
        return wave


def _at_rate(wave: Floats, count: int) -> Floats:
    """Return one period with another number of samples."""
    if count == wave.size:
        return wave
    spectrum = np.fft.rfft(wave)
    return np.asarray(np.fft.irfft(spectrum, count) * (count / wave.size))
