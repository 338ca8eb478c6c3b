"""Cross spectra of whole takes, by averaged periodograms, with flat memory.

Segments of ``SEGMENT_S`` under a four-term window, half overlapping (P. D. Welch, IEEE Trans.
Audio Electroacoust. 15 (1967) 70): one-sided densities in V²/Hz of every channel and between
every two. How many independent averages a bin holds follows from the overlap and the window's own
correlation (Welch, eq. 17), so that intervals can be taken from chi-square.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from probe.session.audio import blocks
from probe.session.model import Take

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]

Progress = Callable[[int, int, str], None]
"""Called as ``progress(done, total, name)``."""

SEGMENT_S = 1.0
"""Bins of 1 Hz before the window widens them: mains harmonics stand 50 bins apart, and 20 Hz, the
lower end of the band, is clear of what the window lets through from 0 Hz."""

LEAST_SEGMENTS = 4
"""A shorter take is cut into shorter segments, down to a quarter of its length."""

WINDOW = (0.35875, -0.48829, 0.14128, -0.01168)
"""Cosine terms with side lobes 92 dB down (F. J. Harris, Proc. IEEE 66 (1978) 51, table 1)."""


@dataclass(frozen=True)
class Spectrum:
    """Averaged periodograms of one take.

    Attributes
    ----------
    take
        The take.
    channels
        WAV channels that were read, C of them: all but the unused ones of a take of the device.
    hz
        Shape (F,): bin centres, 0 first.
    density
        Shape (F, C, C), complex hermitian, V²/Hz one-sided: ``[f, a, b]`` is ``E[x_a x_b*]``, by
        the declared scale.
    averages
        Independent periodograms in each bin's mean.
    segments
        Segments that were averaged.
    bin_hz
        Spacing of the bins.
    noise_bins
        Equivalent noise bandwidth of the window, bins.
    power
        Shape (C,): mean square of the samples themselves, V², direct voltage included.
    peak
        Shape (C,): largest magnitude of a sample over full scale.
    """

    take: Take
    channels: tuple[int, ...]
    hz: Array
    density: Complex
    averages: float
    segments: int
    bin_hz: float
    noise_bins: float
    power: Array
    peak: Array


def window(length: int) -> Array:
    """Return the window, shape (length,), periodic."""
    turns = np.arange(length) / length
    return np.asarray(sum(c * np.cos(2 * np.pi * k * turns) for k, c in enumerate(WINDOW)))


def independent_averages(segments: int, shape: Array) -> float:
    """Return how many independent periodograms ``segments`` half overlapping ones are worth.

    Welch (1967), eq. 17: ``var`` of the mean over ``var`` of one is
    ``1/K (1 + 2 (K-1)/K rho)`` with ``rho`` the squared correlation of windows half apart.
    """
    half = len(shape) // 2
    rho = float(np.sum(shape[half:] * shape[: len(shape) - half]) / np.sum(shape**2)) ** 2
    return segments / (1.0 + 2.0 * rho * (segments - 1) / segments)


def spectrum_of(
    take: Take,
    *,
    segment_s: float = SEGMENT_S,
    progress: Callable[[int], None] | None = None,
) -> Spectrum:
    """Return the averaged cross spectrum of a take, its samples read once, block by block.

    Parameters
    ----------
    take
        Any take; each channel is scaled to volts at its terminal.
    segment_s
        Length of a segment; shorter for a take of fewer than `LEAST_SEGMENTS` of them.
    progress
        Called with the number of frames done.

    Raises
    ------
    BadInput
        The file cannot be read.
    """
    length = min(round(segment_s * take.sample_rate), 2 * take.frames // (LEAST_SEGMENTS + 1))
    length = max(16, length - length % 2)
    shape = window(length)
    used = _used(take)
    scale = np.array([take.inputs[c].volts_full_scale for c in used])
    channels = len(used)
    total = np.zeros((length // 2 + 1, channels, channels), dtype=np.complex128)
    power, peak = np.zeros(channels), np.zeros(channels)
    segments = done = 0
    held = np.zeros((0, channels))
    for block in _read(take, length // 2, used):
        power += np.sum(block**2, axis=0)
        peak = np.maximum(peak, np.abs(block).max(axis=0, initial=0.0))
        done += len(block)
        if progress is not None:
            progress(done)
        if len(held) and len(block) == length // 2:
            lines = np.fft.rfft(np.concatenate([held, block]) * shape[:, None], axis=0)
            total += lines[:, :, None] * lines[:, None, :].conj()
            segments += 1
        held = block
    norm = 2.0 / (take.sample_rate * np.sum(shape**2) * max(segments, 1))
    density = total * norm * scale[:, None] * scale[None, :]
    density[[0, -1]] *= 0.5
    return Spectrum(
        take=take,
        channels=used,
        hz=np.arange(length // 2 + 1, dtype=np.float64) * (take.sample_rate / length),
        density=density,
        averages=independent_averages(segments, shape) if segments else 0.0,
        segments=segments,
        bin_hz=take.sample_rate / length,
        noise_bins=float(length * np.sum(shape**2) / np.sum(shape) ** 2),
        power=power / max(done, 1) * scale**2,
        peak=peak,
    )


def _used(take: Take) -> tuple[int, ...]:
    """Return the channels worth reading: of the bench's own takes all."""
    every = tuple(range(len(take.channels)))
    if take.signal in ("floor", "channel-match", "loop-back"):
        return every
    return tuple(c for c in every if take.channels[c] != "unused")


def _read(take: Take, frames: int, used: tuple[int, ...]) -> Iterator[Array]:
    for block in blocks(take, frames, dtype="float64"):
        yield np.ascontiguousarray(block[:, list(used)], dtype=np.float64)


class Recordings:
    """Spectra of the takes of one session, each made when first asked for and kept."""

    def __init__(self, mains_hz: float, progress: Progress | None = None) -> None:
        self.mains_hz = mains_hz
        self._progress = progress
        self._spectra: dict[str, Spectrum] = {}

    def spectrum(self, take: Take) -> Spectrum:
        """Return the averaged cross spectrum of a take.

        Raises
        ------
        BadInput
            The file cannot be read.
        """
        found = self._spectra.get(take.name)
        if found is None:
            found = spectrum_of(take, progress=self._counted(take))
            self._spectra[take.name] = found
        return found

    def _counted(self, take: Take) -> Callable[[int], None] | None:
        progress = self._progress
        if progress is None:
            return None
        seconds = max(1, take.frames // take.sample_rate)
        return lambda done: progress(min(done // take.sample_rate, seconds), seconds, take.name)
