"""Level steps: where each step stands in the recording, and its tone with harmonics."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from probe.measures.harmonic import orders_below
from probe.measures.lines import heard_in
from probe.session.audio import blocks
from probe.session.model import LevelSteps, Take

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]

GRID_S = 0.01
"""Resolution of the search for the first step: well below the part of a step left out."""

USED = (0.25, 0.9)
"""Part of each step that is measured: after the device has settled, before the next."""

MOST_STEP_S = 4.0
"""Longest part of one step that is measured ..."""

MOST_SECONDS = 120.0
"""... and of all steps together: they are held in memory."""

CLIP_LEVEL = 10.0 ** (-0.5 / 20.0)
"""The recorder itself counts as clipping from here, as in other takes."""

QUIET = 1e-12
"""Power of a silent block, full scale squared."""


@dataclass(frozen=True)
class Steps:
    """What a take of level steps holds, K steps, N harmonics.

    Attributes
    ----------
    take
        The take.
    levels
        Shape (K,): drive, V rms, as declared.
    hz
        Shape (N,): the tone and its multiples.
    volts, sd
        Shape (K, N, C): V rms as heard, and standard deviation.
    clipped
        Shape (K,): the recorder itself clips.
    """

    take: Take
    levels: Array
    hz: Array
    volts: Complex
    sd: Array
    clipped: NDArray[np.bool_]


def steps_of(take: Take, steps: LevelSteps) -> Steps | None:
    """Return every step's tone and harmonics; None where the take is too short or has no tone.

    Raises
    ------
    BadInput
        The file cannot be read.
    """
    if not take.tones_hz:
        return None
    levels = np.array(steps.levels_volts)
    first_s = _first_step(take, levels, steps.step_s)
    if first_s is None:
        return None
    hz = take.tones_hz[0] * orders_below(take.tones_hz[0], take.sample_rate)
    pieces = _pieces(take, first_s, steps.step_s, len(levels))
    if len(pieces) < 2:
        return None
    clock = _clock(pieces[_loudest(pieces)], take, float(hz[0]))
    found = [heard_in(piece, take, hz, clock) for piece in pieces]
    used = [c for c, role in enumerate(take.channels) if role not in ("unused", "reference")]
    return Steps(
        take=take,
        levels=levels[: len(found)],
        hz=hz,
        volts=np.stack([f.volts for f in found]),
        sd=np.stack([f.sd for f in found]),
        clipped=np.array([bool(np.any(f.peak[used] >= CLIP_LEVEL)) for f in found]),
    )


def _envelope(take: Take) -> Array:
    """Return the power of blocks of `GRID_S`, the loudest channel's, full scale squared."""
    frames = round(GRID_S * take.sample_rate)
    used = [c for c, role in enumerate(take.channels) if role not in ("unused", "reference")]
    power = [np.mean(b[:, used] ** 2, axis=0) for b in blocks(take, frames) if len(b) == frames]
    if not power:
        return np.zeros(0)
    table = np.array(power, dtype=np.float64)
    return np.asarray(table[:, int(np.argmax(table.sum(axis=0)))] + QUIET)


def _first_step(take: Take, levels: Array, step_s: float) -> float | None:
    """Return when the first step begins, s: where the recording follows the levels best.

    In the middle of each step the level over the drive should stand still, and be the same for
    all steps, but for compression of the last ones.
    """
    log = 0.5 * np.log(_envelope(take))
    step = step_s / GRID_S
    last = len(log) - step * (len(levels) - 1 + USED[1])
    if last < 0.0:
        return None
    sums = np.concatenate([[0.0], np.cumsum(log)])
    squares = np.concatenate([[0.0], np.cumsum(log**2)])
    starts = np.arange(int(last) + 1)
    low = np.rint(starts[:, None] + step * (np.arange(len(levels)) + USED[0])).astype(int)
    high = np.rint(starts[:, None] + step * (np.arange(len(levels)) + USED[1])).astype(int)
    high = np.minimum(np.maximum(high, low + 1), len(log))
    count = np.maximum(high - low, 1)
    mean = (sums[high] - sums[low]) / count
    within = np.maximum((squares[high] - squares[low]) / count - mean**2, 0.0)
    gain = mean - np.log(levels)
    off = np.abs(gain - np.median(gain, axis=1, keepdims=True))
    return float(np.argmin(within.mean(axis=1) + off.mean(axis=1) ** 2) * GRID_S)


def _pieces(take: Take, first_s: float, step_s: float, count: int) -> list[Array]:
    """Return the measured part of each step, frames x channels, V; one pass over the file."""
    rate = take.sample_rate
    length = min((USED[1] - USED[0]) * step_s, MOST_STEP_S, MOST_SECONDS / count)
    spans = []
    for k in range(count):
        begin = round((first_s + (k + USED[0]) * step_s) * rate)
        spans.append((begin, begin + round(length * rate)))
    scale = np.array([i.volts_full_scale for i in take.inputs])
    parts: list[list[Array]] = [[] for _ in spans]
    at = 0
    for block in blocks(take, 1 << 16, dtype="float64"):
        for kept, (begin, end) in zip(parts, spans, strict=True):
            if begin < at + len(block) and end > at:
                kept.append(block[max(begin - at, 0) : end - at] * scale)
        at += len(block)
    whole = [np.concatenate(kept) for kept in parts if kept]
    return [w for w in whole if len(w) >= 0.9 * length * rate]


def _loudest(pieces: list[Array]) -> int:
    """Return the step the clock is taken from: loud, well below the last ones."""
    return max(0, (2 * len(pieces)) // 3 - 1)


def _clock(piece: Array, take: Take, hz: float) -> float:
    """Return the recorder's clock error from how the tone turns between both halves of a step."""
    half = len(piece) // 2
    a = heard_in(piece[:half], take, np.array([hz])).volts[0]
    b = heard_in(piece[half : 2 * half], take, np.array([hz])).volts[0]
    turned = np.angle(np.sum(b * a.conj() * np.exp(-2j * np.pi * hz * half / take.sample_rate)))
    seconds = half / take.sample_rate
    return float(-turned / (2.0 * np.pi * hz * seconds))
