"""Cross spectra of whole takes, by averaged periodograms, with flat memory.

Segments of ``SEGMENT_S`` under a Kaiser window, each a quarter on from the last (P. D. Welch,
IEEE Trans. Audio Electroacoust. 15 (1967) 70): one-sided densities in V²/Hz of every channel and
between every two. How sure they are follows from the window's own correlation between segments and
between bins (`Spectrum.spread`), so that intervals can be taken from chi-square.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from probe.session.audio import blocks
from probe.session.model import Take

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]

Progress = Callable[[int, int, str], None]
"""Called as ``progress(done, total, name)``."""

SEGMENT_S = 1.0
"""Bins of 1 Hz: mains harmonics stand 50 apart, and what the window lets through from 0 Hz ends
well below 20 Hz, the lower end of the band."""

LEAST_SEGMENTS = 4
"""A shorter take is cut into shorter segments, down to a quarter of its length."""

STEPS = 4
"""Each segment begins a quarter of its length after the last: 98 % of what the samples tell."""

KAISER = 18.0
"""Shape of the window: side lobes 170 dB down, below any converter, at `LINE_BINS` from a line."""

LINE_BINS = 7
"""Beyond so many bins from a line nothing of it is left (-170 dB)."""

TRACE_HZ = (20.0, 20e3)
"""Band whose power is kept for every segment by itself."""


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
    segments
        Segments that were averaged.
    spread
        Variance of ``sum_f a_f S_f`` is ``spread sum_f (a_f S_f)²`` where ``S`` is smooth.
    averages
        Independent periodograms in each bin's mean.
    bin_hz
        Spacing of the bins.
    noise_bins
        Equivalent noise bandwidth of the window, bins.
    seconds
        Length of what was read.
    line_seconds
        Time over which a line's power is known as well as here: the windows leave the ends out.
    power
        Shape (C,): mean square of the samples themselves, V², direct voltage included.
    peak
        Shape (C,): largest magnitude of a sample over full scale.
    trace
        Shape (segments, C): power of each segment in `TRACE_HZ`, V².
    """

    take: Take
    channels: tuple[int, ...]
    hz: Array
    density: Complex
    segments: int
    spread: float
    averages: float
    bin_hz: float
    noise_bins: float
    seconds: float
    line_seconds: float
    power: Array
    peak: Array
    trace: Array

    def freedom(self, density: Array, weight: ArrayLike = 1.0) -> float:
        """Return the chi-square degrees of freedom of ``sum_f weight_f density_f``.

        ``2 P² / var(P)``: of white noise in a band B over T it is ``2 B T``.
        """
        terms = np.maximum(density, 0.0) * np.asarray(weight)
        spread = self.spread * float(np.sum(terms**2))
        return 2.0 * float(np.sum(terms)) ** 2 / spread if spread > 0.0 else 2.0


def window(length: int) -> Array:
    """Return the window, shape (length,), periodic."""
    return np.asarray(np.kaiser(length + 1, KAISER)[:-1])


def bin_spread(segments: int, shape: Array) -> tuple[float, float]:
    """Return ``Spectrum.spread`` and the independent averages of one bin.

    With ``w`` the window and H the step, periodograms j steps and m bins apart correlate as
    ``|sum_n w_n w_(n+jH) exp(2 pi i m n / N)|² / (sum w²)²``. At m = 0 that is Welch's eq. 17;
    summed over m it is ``N sum_n w_n² w_(n+jH)² / (sum w²)²`` by Parseval's theorem.
    """
    length, energy = len(shape), float(np.sum(shape**2))
    over_bins = single = 0.0
    for j in range(min(STEPS, segments)):
        late, early = shape[j * length // STEPS :], shape[: length - j * length // STEPS]
        share = (1.0 if j == 0 else 2.0) * (segments - j) / segments
        over_bins += share * length * float(np.sum(late**2 * early**2)) / energy**2
        single += share * (float(np.sum(late * early)) / energy) ** 2
    return over_bins / segments, segments / single


def spectrum_of(
    take: Take,
    *,
    between_s: tuple[float, float] | None = None,
    segment_s: float = SEGMENT_S,
    progress: Callable[[int], None] | None = None,
) -> Spectrum:
    """Return the averaged cross spectrum of a take, its samples read once, block by block.

    Parameters
    ----------
    take
        Any take; each channel is scaled to volts at its terminal.
    between_s
        First and last instant used, s of the file; None: all of it.
    segment_s
        Length of a segment; shorter where fewer than `LEAST_SEGMENTS` of them fit.
    progress
        Called with the number of frames done.

    Raises
    ------
    BadInput
        The file cannot be read.
    """
    rate = take.sample_rate
    first, last = _frames(take, between_s)
    length = min(round(segment_s * rate), (last - first) // LEAST_SEGMENTS)
    length = max(16, length - length % STEPS)
    shape = window(length)
    used = used_channels(take)
    scale = np.array([take.inputs[c].volts_full_scale for c in used])
    band = _bins(TRACE_HZ, rate / length, length // 2 + 1)
    total = np.zeros((len(used), len(used), length // 2 + 1), dtype=np.complex128)
    power, peak = np.zeros(len(used)), np.zeros(len(used))
    trace: list[Array] = []
    held: deque[Array] = deque(maxlen=STEPS)
    done = 0
    for block in _read(take, used, length // STEPS, first, last, progress):
        rows = np.ascontiguousarray(block.T)
        power += np.einsum("cn,cn->c", rows, rows)
        peak = np.maximum(peak, np.maximum(rows.max(axis=1), -rows.min(axis=1)))
        done += len(block)
        held.append(rows)
        if len(held) == STEPS and len(block) == length // STEPS:
            lines = np.fft.rfft(np.concatenate(held, axis=1) * shape)
            trace.append(_add(total, lines, band))
    segments = len(trace)
    norm = 2.0 / (rate * np.sum(shape**2))
    total *= (norm / max(segments, 1)) * (scale[:, None] * scale)[..., None]
    total[..., [0, -1]] *= 0.5
    density = np.ascontiguousarray(_hermitian(total).transpose(2, 0, 1))
    spread, averages = bin_spread(segments, shape) if segments else (1.0, 0.0)
    return Spectrum(
        take=take,
        channels=used,
        hz=np.arange(length // 2 + 1, dtype=np.float64) * (rate / length),
        density=density,
        segments=segments,
        spread=spread,
        averages=averages,
        bin_hz=rate / length,
        noise_bins=float(length * np.sum(shape**2) / np.sum(shape) ** 2),
        seconds=done / rate,
        line_seconds=_line_samples(segments, shape) / rate,
        power=power / max(done, 1) * scale**2,
        peak=peak,
        trace=np.array(trace).reshape(segments, len(used)) * norm * scale**2 * rate / length,
    )


def _line_samples(segments: int, shape: Array) -> float:
    """Return ``(sum g)² / sum g²`` of all squared windows together, ``g``, samples.

    The power of a line is that of the record weighted by ``g``.
    """
    step = len(shape) // STEPS
    quarters = (shape**2).reshape(STEPS, step)
    total = square = 0.0
    for k in range(segments + STEPS - 1):
        first, last = max(0, k - segments + 1), min(STEPS, k + 1)
        g = quarters[first:last].sum(axis=0)
        total += float(g.sum())
        square += float(np.sum(g**2))
    return total**2 / square if square > 0.0 else 1.0


def _frames(take: Take, between_s: tuple[float, float] | None) -> tuple[int, int]:
    if between_s is None:
        return 0, take.frames
    first, last = (round(s * take.sample_rate) for s in between_s)
    return max(0, first), min(take.frames, last)


def _bins(band: tuple[float, float], bin_hz: float, count: int) -> slice:
    return slice(int(np.ceil(band[0] / bin_hz)), min(int(band[1] / bin_hz) + 1, count))


def _add(total: Complex, lines: Complex, band: slice) -> Array:
    """Add ``x xᴴ`` of every bin to the upper half, (C, C, F); return each power in a band, (C,)."""
    power = np.square(lines.real) + np.square(lines.imag)
    for a in range(len(lines)):
        total[a, a].real += power[a]
        for b in range(a + 1, len(lines)):
            total[a, b] += lines[a] * lines[b].conj()
    return np.asarray(power[:, band].sum(axis=1))


def _hermitian(upper: Complex) -> Complex:
    """Return a matrix (C, C, F) whose lower half is the upper one's conjugate."""
    for a in range(len(upper)):
        for b in range(a):
            upper[a, b] = upper[b, a].conj()
    return upper


def used_channels(take: Take) -> tuple[int, ...]:
    """Return the channels worth reading: of the bench's own takes all."""
    every = tuple(range(len(take.channels)))
    if take.signal in ("floor", "channel-match", "loop-back"):
        return every
    return tuple(c for c in every if take.channels[c] != "unused")


def _read(
    take: Take,
    used: tuple[int, ...],
    frames: int,
    first: int,
    last: int,
    progress: Callable[[int], None] | None,
) -> Iterator[Array]:
    """Yield blocks of ``frames`` from frame ``first`` on; the last one may be shorter."""
    rest = np.zeros((0, len(used)))
    done = 0
    for piece in blocks(take, frames, dtype="float64"):
        start, done = done, done + len(piece)
        if progress is not None:
            progress(done)
        if done <= first:
            continue
        if start >= last:
            break
        part = piece[max(0, first - start) : min(len(piece), last - start)][:, list(used)]
        rest = np.concatenate([rest, part]) if len(rest) else np.ascontiguousarray(part)
        while len(rest) >= frames:
            yield rest[:frames]
            rest = rest[frames:]
    if len(rest):
        yield rest


class Recordings:
    """Spectra of the takes of one session, each made when first asked for and kept."""

    def __init__(self, mains_hz: float, progress: Progress | None = None) -> None:
        self.mains_hz = mains_hz
        self._progress = progress
        self._spectra: dict[tuple[str, tuple[float, float] | None], Spectrum] = {}

    def spectrum(self, take: Take, between_s: tuple[float, float] | None = None) -> Spectrum:
        """Return the averaged cross spectrum of a take, or of a part of it.

        Raises
        ------
        BadInput
            The file cannot be read.
        """
        key = (take.name, between_s)
        found = self._spectra.get(key)
        if found is None:
            found = spectrum_of(take, between_s=between_s, progress=self._counted(take))
            self._spectra[key] = found
        return found

    def _counted(self, take: Take) -> Callable[[int], None] | None:
        progress = self._progress
        if progress is None:
            return None
        seconds = max(1, take.frames // take.sample_rate)
        return lambda done: progress(min(done // take.sample_rate, seconds), seconds, take.name)
