"""Amplitudes at given frequencies of any take, with the noise beside them.

For tones too weak for the phasor room (crosstalk, harmonics): nothing has to stand out. The record
is weighted by a four-term window and correlated with each frequency; the noise is the median of the
bins beside it, so that a neighbouring line does not count.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from probe.session.audio import blocks
from probe.session.model import Take

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]

WINDOW = (0.35875, -0.48829, 0.14128, -0.01168)
"""Cosine terms with side lobes 92 dB down (F. J. Harris, Proc. IEEE 66 (1978) 51, table 1) and
falling: a kilohertz away they are below any recorder."""

MOST_SECONDS = 30.0
"""Of a take that are used: longer ones lower the noise by less than they cost."""

ROTATED = 512
"""Samples that share one set of rotations: near the root of a take's length both sets are short."""

BESIDE_BINS = (6, 14)
"""Bins on each side that tell the noise: beyond the window's own lobe of four."""


@dataclass(frozen=True)
class Heard:
    """Amplitudes of one take.

    Attributes
    ----------
    hz
        Shape (F,).
    volts
        Shape (F, C), complex, V rms, C = WAV channels; phases at the middle of the window.
    sd
        Shape (F, C): standard deviation of ``volts`` (of real and imaginary part together).
    peak
        Shape (C,): largest magnitude over full scale.
    """

    hz: Array
    volts: Complex
    sd: Array
    peak: Array


def samples_of(take: Take, first_s: float = 0.0, last_s: float | None = None) -> Array:
    """Return the samples of a part of a take, frames x channels, V at the terminals.

    Raises
    ------
    BadInput
        The file cannot be read.
    """
    first = max(0, round(first_s * take.sample_rate))
    last = take.frames if last_s is None else min(take.frames, round(last_s * take.sample_rate))
    kept, at = [], 0
    for block in blocks(take, 1 << 16, dtype="float64"):
        begin, end = max(first - at, 0), min(last - at, len(block))
        if begin < end:
            kept.append(block[begin:end])
        at += len(block)
        if at >= last:
            break
    scale = np.array([i.volts_full_scale for i in take.inputs])
    whole = np.concatenate(kept) if kept else np.zeros((0, len(take.channels)))
    return np.asarray(whole * scale)


def heard(
    take: Take,
    hz: Array,
    *,
    clock_error: float = 0.0,
    span_s: tuple[float, float] | None = None,
) -> Heard:
    """Return the amplitudes of a take at ``hz`` (on the player's clock), shape (F,).

    Parameters
    ----------
    take
        Any take.
    hz
        Below half its sample rate.
    clock_error
        Recorder rate over nominal, seen from the player, minus one.
    span_s
        First and last second that may be used; None: all of it. Of a longer span the middle.

    Raises
    ------
    BadInput
        The file cannot be read.
    """
    first, last = span_s or (0.0, take.frames / take.sample_rate)
    spare = max(last - first - MOST_SECONDS, 0.0) / 2.0
    x = samples_of(take, first + spare, last - spare)
    return heard_in(x, take, hz, clock_error)


def heard_in(x: Array, take: Take, hz: Array, clock_error: float = 0.0) -> Heard:
    """Return the same of samples at hand, frames x channels, V."""
    count, channels = x.shape
    scale = np.array([i.volts_full_scale for i in take.inputs])
    peak = np.abs(x).max(axis=0, initial=0.0) / scale
    if count < 4 * BESIDE_BINS[1]:
        none = np.full((len(hz), channels), np.inf)
        return Heard(hz, np.zeros((len(hz), channels), dtype=np.complex128), none, peak)
    turn = np.arange(count) / count
    shape = np.asarray(sum(c * np.cos(2 * np.pi * k * turn) for k, c in enumerate(WINDOW)))
    weighted = (x - x.mean(axis=0)) * shape[:, None]
    turns = hz / (take.sample_rate * (1.0 + clock_error))
    volts = correlated(weighted, turns) * (np.sqrt(2.0) / np.sum(shape))
    bins = np.abs(np.fft.rfft(weighted, axis=0)) ** 2
    power = np.stack([_beside(bins, t * count) for t in turns])
    return Heard(hz, volts, np.sqrt(power) * (np.sqrt(2.0) / np.sum(shape)), peak)


def correlated(x: Array, turns: Array) -> Complex:
    """Return ``sum_n x_n exp(-2 pi i t (n - N/2))`` of samples (N, C) at turns a sample (F,).

    In blocks: one set of rotations within a block, and one from block to block.
    """
    count, channels = x.shape
    rows = -(-count // ROTATED)
    padded = np.zeros((rows * ROTATED, channels))
    padded[:count] = x
    within = _rotations(turns, np.arange(ROTATED, dtype=np.float64))
    begins = _rotations(turns, np.arange(rows, dtype=np.float64) * ROTATED - 0.5 * count)
    table = padded.reshape(rows, ROTATED, channels).transpose(1, 0, 2).reshape(ROTATED, -1)
    sums = (within.real @ table + 1j * (within.imag @ table)).reshape(len(turns), rows, channels)
    return np.asarray(np.einsum("fr,frc->fc", begins, sums))


def _rotations(turns: Array, n: Array) -> Complex:
    return np.asarray(np.exp(-2j * np.pi * ((turns[:, None] * n) % 1.0)))


def _beside(bins: Array, centre: float) -> Array:
    """Return the mean power of the bins beside a line, (C,): median over ln 2 (exponential)."""
    low, high = BESIDE_BINS
    offsets = np.arange(low, high + 1)
    places = np.rint(np.concatenate([centre - offsets, centre + offsets])).astype(int)
    places = places[(places > 2) & (places < len(bins))]
    if not len(places):
        return np.full(bins.shape[1], np.inf)
    return np.asarray(np.median(bins[places], axis=0) / np.log(2.0))
