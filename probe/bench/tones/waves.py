"""Waveforms: sums of tones, level steps, sweeps, silence with markers; all full scale 1.

A tone of amplitude a is ``a cos(2 pi f n / rate + phase)``, with n = 0 at the first frame of the
file: the ``phases_deg`` of a session. Every waveform is asked for piece by piece, so that a file of
any length needs no memory, and is the same whatever the pieces.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import ArrayLike, NDArray

Wave = NDArray[np.float64]

FADE_S = 0.02
"""Of a raised cosine at both ends of what is played: no click, and short beside any take."""

MARKER_HZ = 997.0
MARKER_S = 0.1
MARKER_PEAK = 0.01
"""-40 dB FS: loud enough to be found in any recording, far below what could hurt."""


class Sound(Protocol):
    """Something that can be played: ``frames`` long, asked for piece by piece."""

    @property
    def frames(self) -> int:
        """Length, in frames."""

    def piece(self, first: int, frames: int) -> Wave:
        """Return ``frames`` samples from frame ``first`` on, shape (frames,)."""


@dataclass(frozen=True)
class Tones:
    """A sum of cosines; ``peaks`` are their amplitudes, one each."""

    rate: int
    frames: int
    hz: tuple[float, ...]
    phases_rad: tuple[float, ...]
    peaks: tuple[float, ...]

    def piece(self, first: int, frames: int) -> Wave:
        """Return part of the sum."""
        n = np.arange(first, first + frames, dtype=np.float64)
        wave = np.zeros(frames)
        for hz, phase, peak in zip(self.hz, self.phases_rad, self.peaks, strict=True):
            wave += peak * np.cos(2.0 * np.pi * np.fmod(n * (hz / self.rate), 1.0) + phase)
        return wave


@dataclass(frozen=True)
class Steps:
    """One tone that rises in steps, phase going on; each step enters over a fade."""

    rate: int
    hz: float
    peaks: tuple[float, ...]
    step_frames: int
    fade_frames: int

    @property
    def frames(self) -> int:
        """All steps."""
        return self.step_frames * len(self.peaks)

    def piece(self, first: int, frames: int) -> Wave:
        """Return part of it."""
        n = np.arange(first, first + frames)
        step = np.clip(n // self.step_frames, 0, len(self.peaks) - 1)
        before = np.array((0.0, *self.peaks))[step]
        level = np.array(self.peaks)[step]
        rise = _raised((n - step * self.step_frames + 0.5) / self.fade_frames)
        turns = np.fmod(n * (self.hz / self.rate), 1.0)
        return np.asarray((before + (level - before) * rise) * np.sin(2.0 * np.pi * turns))


@dataclass(frozen=True)
class ExponentialSweep:
    """A sine whose frequency rises by the same ratio in equal times.

    ``phase(t) = 2 pi f1 T / ln(f2/f1) * (exp(t ln(f2/f1) / T) - 1)``, so that its derivative is
    ``2 pi f1 (f2/f1)^(t/T)``.
    """

    rate: int
    frames: int
    from_hz: float
    to_hz: float
    peak: float

    def piece(self, first: int, frames: int) -> Wave:
        """Return part of it."""
        share = np.arange(first, first + frames, dtype=np.float64) / self.frames
        growth = np.log(self.to_hz / self.from_hz)
        turns = self.from_hz * self.frames / self.rate / growth * np.expm1(share * growth)
        return np.asarray(self.peak * np.sin(2.0 * np.pi * np.fmod(turns, 1.0)))


@dataclass(frozen=True)
class MarkedSilence:
    """Nothing, with a short tone at the beginning and at the end by which it is found."""

    rate: int
    frames: int

    def piece(self, first: int, frames: int) -> Wave:
        """Return part of it: exact zeros between the markers."""
        n = np.arange(first, first + frames)
        length = round(MARKER_S * self.rate)
        from_end = self.frames - 1 - n
        inside = np.minimum(n, from_end)
        near = np.minimum(inside, length - 1 - inside) + 0.5
        level = np.where(inside < length, _raised(near / (FADE_S * self.rate)), 0.0)
        place = np.where(n <= from_end, n, length - 1 - from_end)
        turns = np.fmod(place * (MARKER_HZ / self.rate), 1.0)
        return np.asarray(MARKER_PEAK * level * np.sin(2.0 * np.pi * turns))


@dataclass(frozen=True)
class Faded:
    """Another sound with silence before and after it and fades at its two ends.

    The sound itself is asked for at the frames of the whole, so that phases refer to frame 0.
    """

    inner: Sound
    lead_frames: int
    tail_frames: int
    fade_frames: int
    from_zero: bool = False
    """The sound begins after the silence (steps, sweeps) instead of running behind it (tones)."""

    @property
    def frames(self) -> int:
        """Silence, sound, silence."""
        return self.lead_frames + self.inner.frames + self.tail_frames

    def piece(self, first: int, frames: int) -> Wave:
        """Return part of it."""
        n = np.arange(first, first + frames) - self.lead_frames
        near = np.minimum(n, self.inner.frames - 1 - n) + 0.5
        level = np.where(near > 0, _raised(near / self.fade_frames), 0.0)
        start = first - self.lead_frames if self.from_zero else first
        return np.asarray(level * self.inner.piece(start, frames))


def _raised(share: ArrayLike) -> Wave:
    """Return a raised cosine from 0 (share 0) to 1 (share 1 and above)."""
    return np.asarray(0.5 - 0.5 * np.cos(np.pi * np.clip(share, 0.0, 1.0)))


def quietest_start(tones: Tones) -> int:
    """Return the frame of one period at which a cut does least: near zero, and slow.

    A tone sum that starts at once makes a step of its first sample and a bend of its slope; the
    frame with the smallest of both, each over its own rms, is where a loop should begin.
    """
    wave = tones.piece(0, tones.frames)
    slope = np.gradient(wave)
    both = np.hypot(wave / np.std(wave), slope / np.std(slope))
    return int(np.argmin(both))


def turned(
    hz: Sequence[float], phases_rad: Sequence[float], rate: int, start: int
) -> tuple[float, ...]:
    """Return the phases of the same tones when frame ``start`` becomes the first one, rad."""
    found = np.asarray(phases_rad) + 2.0 * np.pi * np.fmod(np.asarray(hz) * (start / rate), 1.0)
    return tuple(np.mod(found, 2.0 * np.pi).tolist())
