"""A circuit as filters from the bench's outputs to its inputs, run block by block.

Per pair of output and input: the impulse response of what the circuit simulator solved on a grid,
changed by the least that makes it exact at the tones, so that a recording can be compared with
the circuit to the last figure. Convolution: uniformly partitioned overlap-save.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from probe.simulate.network import recorded
from probe.simulate.spec import StageSpec, TakeSpec
from probe.simulate.tones import DEVICE_HZ, INJECTED_HZ

TAPS = 8192
"""0.17 s at 48 kHz."""

DELAY = 32
"""Frames by which all is later, so that nothing comes before its cause."""

TONES_HZ = np.array([*DEVICE_HZ, *INJECTED_HZ])


def responses(stage: StageSpec, take: TakeSpec, hz: NDArray[np.float64]) -> NDArray[np.complex128]:
    """Volts at each channel per volt of the drive and of the injector, shape (F, C, 2)."""
    tones = tuple(hz.tolist())
    zeros = (0.0,) * hz.size
    injections = tuple(
        replace(i, volts=1.0, tones_hz=tones, phases_rad=zeros) for i in take.injections
    )
    asked = replace(take, tones_hz=tones, phases_rad=zeros, drive_volts=1.0, injections=injections)
    found = recorded(stage, asked)
    return np.stack([found.from_device, found.from_injectors], axis=-1)


def taps(stage: StageSpec, take: TakeSpec, rate: float) -> NDArray[np.float64]:
    """Impulse responses, shape (TAPS, C, 2), exact at `TONES_HZ`."""
    grid = np.fft.rfftfreq(TAPS, 1.0 / rate)
    late = np.exp(-2j * np.pi * grid * DELAY / rate)
    solved = np.zeros((grid.size, len(take.channels), 2), dtype=np.complex128)
    solved[1:] = responses(stage, take, grid[1:])
    found = np.fft.irfft(solved * late[:, None, None], TAPS, axis=0)
    return found + _correction(stage, take, rate, found)


def _correction(
    stage: StageSpec, take: TakeSpec, rate: float, found: NDArray[np.float64]
) -> NDArray[np.float64]:
    """The smallest change (least squares) that makes the filters exact at the tones."""
    turns = np.outer(TONES_HZ / rate, np.arange(TAPS))
    wave = np.exp(-2j * np.pi * turns)
    wanted = responses(stage, take, TONES_HZ)
    wanted = wanted * np.exp(-2j * np.pi * TONES_HZ * DELAY / rate)[:, None, None]
    missing = (wanted - np.einsum("kn,ncm->kcm", wave, found)).reshape(TONES_HZ.size, -1)
    rows = np.concatenate([wave.real, wave.imag])
    right = np.concatenate([missing.real, missing.imag])
    return (rows.T @ np.linalg.solve(rows @ rows.T, right)).reshape(found.shape)


class Convolver:
    """Filters of shape (TAPS, C, 2) run over blocks of a fixed length."""

    def __init__(self, block: int, filters: NDArray[np.float64]) -> None:
        self._block = block
        self._count = TAPS // block
        self._past = np.zeros((2 * block, 2))
        self._spectra = np.zeros((self._count, block + 1, 2), dtype=np.complex128)
        self.change(filters)

    def change(self, filters: NDArray[np.float64]) -> None:
        """Use other filters from the next block on."""
        parts = filters.reshape(self._count, self._block, *filters.shape[1:])
        padded = np.concatenate([parts, np.zeros_like(parts)], axis=1)
        self._filters = np.fft.rfft(padded, axis=1)

    def run(self, block: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return what comes of one block, shape (block, 2) in, (block, C) out."""
        self._past = np.concatenate([self._past[self._block :], block])
        self._spectra = np.roll(self._spectra, 1, axis=0)
        self._spectra[0] = np.fft.rfft(self._past, axis=0)
        summed = np.einsum("pfm,pfcm->fc", self._spectra, self._filters)
        return np.asarray(np.fft.irfft(summed, axis=0)[self._block :])
