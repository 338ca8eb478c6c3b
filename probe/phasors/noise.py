"""Covariance of the phasors, from what the fit leaves beside each tone.

The residual beside a tone, turned to rest, is transformed over the same window as the phasor
itself. A bin ``k/T`` away holds the error the phasor would have had at that frequency, leakage
of whatever is in the room included; the average over neighbouring bins is the covariance of
the phasor's own error. The residual's degrees of freedom widen it as the t distribution does.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from probe.phasors import thresholds as limits
from probe.phasors.fit import Fit, Window, residual
from probe.phasors.table import Complex, Real, spin


def local_noise(
    window: Window, fit: Fit, tones: NDArray[np.int64], occupied: Real, floor: Real
) -> Complex:
    """Return ``E[d dᴴ]`` of the peak phasors of ``tones``, shape (tones, C, C).

    Parameters
    ----------
    tones
        Positions among the table's lines; the first lines of the fit.
    occupied
        Frequencies (rad/sample) where lines stand that are not noise.
    floor
        Shape (C,): smallest variance of a sample, full scale squared.
    """
    w = fit.w[: len(tones)]
    left = residual(window.table, window, fit, tones, window.first, window.last)
    spectrum, offsets = _spectrum(window, left, tones, w)
    use = _noise_bins(w, offsets, occupied, window.frames)
    noise = _average(spectrum, use) + np.diag(4.0 * floor / window.frames)
    return np.asarray(fit.gain_of_noise[: len(tones), None, None] * noise)


def _spectrum(
    window: Window, left: Complex, tones: NDArray[np.int64], w: Real
) -> tuple[Complex, Real]:
    """Return the residual beside each tone as phasors, shape (C, bins, tones), and the bins.

    Bins are whole multiples of 1/T from the tone, in rad/sample.
    """
    span = window.table.span
    unit = 2.0 * np.pi / window.frames
    # rows hold what is within half a row rate of the tone, so stay well inside
    reach = int(0.35 * window.frames / span)
    # the bin beside the tone is left out: the clock was fitted to what is in it
    side = np.arange(2, max(3, min(limits.NOISE_BINS, reach)) + 1)
    offsets = unit * np.concatenate([-side[::-1], side])
    turned = left * spin(-w, window.start[0], span, len(window.start))
    blocks = spin(-offsets, window.tau[0], span, len(window.tau)).T / len(window.tau)
    # noise keeps its density when cut into rows: a row's averaging and its aliases add up to 1
    own = window.table.own_response(w, tones)
    return np.asarray(2.0 * (blocks @ turned) / own), offsets


def _noise_bins(w: Real, offsets: Real, occupied: Real, frames: int) -> NDArray[np.bool_]:
    """Return which bins hold noise, shape (bins, tones).

    Those near the tone, none beside a line, at offset or at half the sample rate.
    """
    unit = 2.0 * np.pi / frames
    place = w + offsets[:, None]
    clear = (place > 1.5 * unit) & (place < np.pi - 1.5 * unit)
    distance = np.abs(place[:, :, None] - occupied).min(axis=2)
    clear &= distance > 0.9 * unit
    near = np.abs(offsets)[:, None] <= limits.NOISE_BAND * w
    # low tones of short records reach further up until there are enough
    nearest_first = np.argsort(np.abs(offsets), kind="stable")
    rank = np.empty_like(clear, dtype=np.int64)
    rank[nearest_first] = np.cumsum(clear[nearest_first], axis=0)
    return np.asarray(clear & (near | (rank <= limits.NOISE_MIN_BINS)))


def _average(bins: Complex, use: NDArray[np.bool_]) -> Complex:
    """Return the mean of ``y yᴴ`` over bins without outliers, widened for few bins.

    ``bins`` is (C, bins, tones), ``use`` is (bins, tones); the result is (tones, C, C).
    """
    power = np.where(use, np.abs(bins) ** 2, np.inf)
    count = use.sum(axis=0)
    middle = np.sort(power, axis=1)[:, np.maximum(count - 1, 0) // 2, np.arange(len(count))]
    quiet = use & np.all(power <= limits.NOISE_OUTLIER * middle[:, None, :], axis=0)
    kept = np.where(quiet, bins, 0.0).transpose(2, 0, 1)
    n = np.maximum(quiet.sum(axis=0), 1)
    # JCGM 101:2008 6.4.9.4: variance of the t distribution, nu/(nu - 2) with nu = 2 n
    widen = n / np.maximum(n - 1.0, 1.0)
    covariance = kept @ kept.conj().transpose(0, 2, 1)
    return np.asarray(covariance * (widen / n)[:, None, None])
