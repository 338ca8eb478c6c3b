"""A player whose clock is not the recorder's: what it plays, resampled to the recorder's clock."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

HALF = 32
"""Neighbours on each side that an interpolated sample is made of."""

BETA = 10.0
"""Of the Kaiser window: what is left beside the tones is 100 dB down below 0.9 of half the rate."""

SLACK_S = 0.05
"""Delay the resampler starts with; used up or doubled after 500 s at 100 ppm, then it slips."""


PHASES = 2048
"""Rows of the table of interpolation weights between two samples; straight lines in between are
good to 1e-7."""


def _kernel() -> NDArray[np.float64]:
    """Return the weights of all neighbours, shape (PHASES + 1, 2 HALF)."""
    distance = np.arange(PHASES + 1)[:, None] / PHASES - np.arange(1 - HALF, HALF + 1)[None, :]
    window = np.i0(BETA * np.sqrt(np.clip(1.0 - (distance / HALF) ** 2, 0.0, 1.0)))
    return np.asarray(np.sinc(distance) * window / np.i0(BETA))


_KERNEL = _kernel()


class ForeignClock:
    """Delays frames by an ever growing (or shrinking) amount: ``x(n (1 + error))``."""

    def __init__(self, error: float, rate: float, outputs: int) -> None:
        self.error = error
        self._slack = int(SLACK_S * rate) + 2 * HALF
        self._kept = np.zeros((2 * self._slack, outputs))
        self._offset = float(self._slack)

    def step(self, block: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return the next block on the other clock, as long as the one given."""
        frames = len(block)
        store = np.concatenate([self._kept, block])
        n = np.arange(frames) * (1.0 + self.error) + len(self._kept) - self._offset
        self._kept = store[-2 * self._slack :]
        self._offset -= frames * self.error
        if not HALF < self._offset < 2 * self._slack - HALF - frames * abs(self.error):
            self._offset = float(self._slack)
        whole = np.floor(n).astype(np.int64)
        near = np.arange(1 - HALF, HALF + 1)
        place = (n - whole) * PHASES
        row = np.minimum(place.astype(np.int64), PHASES - 1)
        weights = _KERNEL[row] + (place - row)[:, None] * (_KERNEL[row + 1] - _KERNEL[row])
        index = np.clip(whole[:, None] + near[None, :], 0, len(store) - 1)
        return np.asarray(np.einsum("nk,nko->no", weights, store[index]))
