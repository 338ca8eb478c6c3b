"""Any waveform through filters that may change while it runs: uniformly partitioned overlap-save.

The input is cut into blocks of B samples; the filters, N taps long, into N / B parts, each with
its spectrum of 2 B points. A block of output is the last half of the inverse transform of the sum
of products of the latest N / B input spectra with the parts. Method: Oppenheim and Schafer,
Discrete-Time Signal Processing, section on block convolution (from memory).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy import fft

Spectra = NDArray[np.complex64]
"""Parts x bins x outputs of the filter x inputs of the filter."""


def parts_of(taps: NDArray[np.float64], block: int) -> Spectra:
    """Return the spectra of filters, taps of shape (N, outputs, inputs); N is filled up to B."""
    count = -(-taps.shape[0] // block)
    whole = np.zeros((count * block, *taps.shape[1:]))
    whole[: taps.shape[0]] = taps
    pieces = whole.reshape(count, block, *taps.shape[1:])
    return np.asarray(fft.rfft(pieces, 2 * block, axis=1), dtype=np.complex64)


class Convolver:
    """Sends blocks of ``block`` frames through filters; what went in before is remembered."""

    def __init__(self, parts: Spectra, block: int) -> None:
        self.block = block
        self.parts = parts
        count, bins, _, inputs = parts.shape
        self._seen = np.zeros((count, bins, inputs), dtype=np.complex64)
        self._last = np.zeros((block, inputs))
        self._at = 0
        self._silent = count + 1

    def step(self, block: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return the next block, frames x outputs, for the next block in, frames x inputs."""
        count = self.parts.shape[0]
        self._silent = 0 if np.any(block) else self._silent + 1
        if self._silent > count:
            self._last = block
            return np.zeros((self.block, self.parts.shape[2]))
        self._at = (self._at - 1) % count
        self._seen[self._at] = fft.rfft(np.concatenate([self._last, block]), axis=0)
        self._last = block
        order = (self._at + np.arange(count)) % count
        total = np.zeros((self.parts.shape[1], self.parts.shape[2]), dtype=np.complex64)
        for part, row in enumerate(order):
            total += np.einsum("fi,foi->fo", self._seen[row], self.parts[part])
        return np.asarray(fft.irfft(total, axis=0)[self.block :], dtype=np.float64)
