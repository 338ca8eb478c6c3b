"""The tones of a known file in a recording: clock, and level and phase against time.

Works through gaps, gain changes and missing tones, where a fit of the whole take would not: the
clock is the median turn between looks, over all tones that are heard.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from probe.bench.path_check import limits

Floats = NDArray[np.float64]
Complex = NDArray[np.complex128]


@dataclass(frozen=True)
class KnownFile:
    """What was played.

    Attributes
    ----------
    hz
        Its tones, ascending, all of one level.
    phases_deg
        At its first frame, cosine.
    rate
        Frames per second of the file.
    period_s
        After which the tones repeat.
    """

    hz: tuple[float, ...]
    phases_deg: tuple[float, ...]
    rate: int = 48000
    period_s: float = 10.0


@dataclass(frozen=True, eq=False)
class Followed:
    """The tones against time.

    Attributes
    ----------
    ratio
        Tones as recorded over tones as written; 1 - ratio is the clock's error.
    hz
        Tones followed, as written, shape (F,).
    looks
        Complex amplitude (peak) of each look, turned back by ratio, shape (F, looks).
    hop_s
        Between looks; two hops share no sample.
    heard
        Shape (F,): tones that stand out.
    """

    ratio: float
    hz: Floats
    looks: Complex
    hop_s: float
    heard: NDArray[np.bool_]

    @property
    def level(self) -> Floats:
        """Level of each look over the usual one, median of the tones heard, shape (looks,)."""
        size = np.abs(self.looks[self.heard])
        return np.asarray(np.median(size / np.median(size, axis=1, keepdims=True), axis=0))


def find_ratio(samples: Floats, rate: float, hz: Sequence[float], around: float) -> float:
    """Return the ratio near ``around`` (within the clock range) at which most tones stand."""
    size = 1 << int(np.ceil(np.log2(2 * samples.size)))
    spectrum = np.abs(np.fft.rfft(samples * np.hanning(samples.size), size))
    step = rate / size / max(hz)
    count = int(np.ceil(limits.CLOCK_RANGE / step))
    ratios = around * (1.0 + step * np.arange(-count, count + 1))
    f = np.array([h for h in hz if h >= limits.LEAST_HZ and h * around < 0.48 * rate])
    bins = np.rint(np.outer(ratios, f) * (size / rate)).astype(np.int64)
    size_of = spectrum[np.clip(bins, 0, spectrum.size - 1)]
    return float(ratios[int(np.argmax(np.sum(np.sqrt(size_of), axis=1)))])


def follow(samples: Floats, rate: float, hz: Sequence[float], around: float = 1.0) -> Followed:
    """Return the tones of 400 Hz and more against time.

    Parameters
    ----------
    samples
        Shape (frames,).
    rate
        Frames per second.
    hz
        Tones as written, Hz.
    around
        Ratio to look around.
    """
    f = np.array([h for h in hz if h >= limits.LEAST_HZ and h * around < 0.48 * rate])
    ratio = find_ratio(samples, rate, hz, around)
    for _ in range(3):
        looks, hop_s = _looks(samples, rate, f * ratio)
        heard = _heard(samples, rate, f * ratio, looks)
        if not heard.any():
            break
        turn = np.angle(looks[:, 1:] * np.conj(looks[:, :-1]))[heard]
        per_tone = np.median(turn, axis=1) / (2.0 * np.pi * f[heard] * hop_s)
        weight = f[heard] * np.median(np.abs(looks[heard]), axis=1)
        ratio += float(np.sum(per_tone * weight**2) / np.sum(weight**2))
    return Followed(ratio, f, looks, hop_s, heard)


def _looks(samples: Floats, rate: float, hz: Floats) -> tuple[Complex, float]:
    length = round(limits.LOOK_S * rate)
    hop = length // 2
    window = np.hanning(length)
    window /= 0.5 * np.sum(window)
    views = np.lib.stride_tricks.sliding_window_view(samples, length)[::hop]
    kernel = window[:, None] * np.exp(-2j * np.pi * np.outer(np.arange(length), hz) / rate)
    starts = np.arange(views.shape[0]) * hop / rate
    found = (views @ kernel).T * np.exp(-2j * np.pi * np.outer(hz, starts))
    return np.asarray(found), hop / rate


def _heard(samples: Floats, rate: float, hz: Floats, looks: Complex) -> NDArray[np.bool_]:
    """Return which tones stand out of what is 60 Hz beside them."""
    beside = np.minimum(
        np.median(np.abs(_looks(samples, rate, hz - 60.0)[0]), axis=1),
        np.median(np.abs(_looks(samples, rate, hz + 60.0)[0]), axis=1),
    )
    size = np.median(np.abs(looks), axis=1)
    steady = size > limits.HEARD * 0.1 * np.maximum(beside, 1e-12)
    return np.asarray(steady & (size > 1e-3 * np.max(size, initial=1e-12)))
