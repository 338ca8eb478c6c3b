"""How a recording goes through its time: steady, rising in steps, or sweeping."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import Literal

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

CHUNK_S = 0.025

PLATEAU_CHUNKS, PLATEAU_DB = 3, 0.15
"""A step lasts so many chunks at least, in which the level stays within this."""

RISE_DB = 0.3
"""... and stands this much above the one before."""

LEAST_STEPS = 4
HEARD_DB = 60.0
"""Steps further below the loudest are not looked at."""

SWEEP_FRAMES = 4096
SWEEP_RATIO, SWEEP_RISING, LEAST_PIECES = 8.0, 0.95, 12
"""A sweep rises over three octaves, in nearly every piece of a twelfth of a second; pieces before
and after it do not count."""


@dataclass(frozen=True)
class Shape:
    """What a recording is in time.

    Attributes
    ----------
    word
        ``level-steps`` or ``sweep``.
    levels_db
        Of the steps, against the loudest.
    step_s, sweep_s
        Length of one step; of the sweep as heard.
    from_hz, to_hz
        Its ends as heard.
    """

    word: Literal["level-steps", "sweep"]
    levels_db: tuple[float, ...] = ()
    step_s: float = 0.0
    sweep_s: float = 0.0
    from_hz: float = 0.0
    to_hz: float = 0.0


def shape_of(samples: NDArray[np.float32], rate: int) -> Shape | None:
    """Return the shape of what the loudest channel hears; None: it stands still, or is noise."""
    power = np.mean(np.asarray(samples, dtype=np.float64) ** 2, axis=0)
    wave = np.asarray(samples[:, int(np.argmax(power))], dtype=np.float64)
    return _sweep(wave, rate) or _steps(wave, rate)


def _steps(wave: Array, rate: int) -> Shape | None:
    size = max(1, round(CHUNK_S * rate))
    count = len(wave) // size
    if count < LEAST_STEPS * PLATEAU_CHUNKS:
        return None
    chunks = wave[: count * size].reshape(count, size)
    level = 10.0 * np.log10(np.mean(chunks**2, axis=1) + 1e-20)
    plateaus = [p for p in _plateaus(level) if p[0] > level.max() - HEARD_DB]
    levels = [p[0] for p in plateaus]
    if len(levels) < LEAST_STEPS or any(b < a + RISE_DB for a, b in pairwise(levels)):
        return None
    starts = np.array([p[1] for p in plateaus])
    step_s = float(np.median(np.diff(starts))) * CHUNK_S
    return Shape("level-steps", tuple(round(v - levels[-1], 2) for v in levels), step_s=step_s)


def _plateaus(level: Array) -> list[tuple[float, int]]:
    """Return level and first chunk of every stretch that stands still."""
    found, first = [], 0
    for at in range(1, len(level) + 1):
        if at < len(level) and abs(level[at] - np.median(level[first:at])) < PLATEAU_DB:
            continue
        if at - first >= PLATEAU_CHUNKS:
            found.append((float(np.median(level[first:at])), first))
        first = at
    return found


def _sweep(wave: Array, rate: int) -> Shape | None:
    count = len(wave) // SWEEP_FRAMES
    if count < LEAST_PIECES:
        return None
    pieces = wave[: count * SWEEP_FRAMES].reshape(count, SWEEP_FRAMES)
    loud = np.mean(pieces**2, axis=1)
    spectrum = np.abs(np.fft.rfft(pieces * np.hanning(SWEEP_FRAMES), axis=1)) ** 2
    spectrum[:, :2] = 0.0
    top = np.argmax(spectrum, axis=1)
    heard = np.flatnonzero(loud > 1e-3 * loud.max())
    if len(heard) < LEAST_PIECES:
        return None
    hz = top[heard] * rate / SWEEP_FRAMES
    rising = np.diff(hz) >= 0.0
    if (
        np.mean(rising) < SWEEP_RISING
        or hz[-1] < SWEEP_RATIO * hz[0]
        or len(set(hz)) < LEAST_PIECES
    ):
        return None
    seconds = float(heard[-1] - heard[0] + 1) * SWEEP_FRAMES / rate
    return Shape("sweep", sweep_s=seconds, from_hz=float(hz[0]), to_hz=float(hz[-1]))
