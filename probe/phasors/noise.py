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
from probe.phasors.table import Complex, Real


def local_noise(
    window: Window, fit: Fit, tones: NDArray[np.int64], occupied: Real, floor: Real
) -> Complex:
    """Return ``E[d dᴴ]`` of the peak phasors of ``tones``, shape (tones, C, C).

    Parameters
    ----------
    tones
        Positions among the table's lines; all of them in the fit.
    occupied
        Frequencies (rad/sample) where lines stand that are not noise.
    floor
        Shape (C,): smallest variance of a sample, full scale squared.
    """
    place = {int(line): k for k, line in enumerate(fit.lines)}
    w = fit.w[[place[int(t)] for t in tones]]
    left = residual(window.table, window, fit, tones, window.first, window.last)
    spectrum, offsets = _spectrum(window, left, tones, w)
    least = np.diag(4.0 * floor / window.frames)
    out = np.empty((len(tones), len(left), len(left)), dtype=np.complex128)
    for j in range(len(tones)):
        use = _noise_bins(w[j], offsets, occupied, window.frames)
        gain = fit.gain_of_noise[place[int(tones[j])]]
        out[j] = gain * (_average(spectrum[:, use, j]) + least)
    return out


def _spectrum(
    window: Window, left: Complex, tones: NDArray[np.int64], w: Real
) -> tuple[Complex, Real]:
    """Return the residual beside each tone as phasors, shape (C, bins, tones), and the bins.

    Bins are whole multiples of 1/T from the tone, in rad/sample.
    """
    unit = 2.0 * np.pi / window.frames
    # a block's own averaging is undone, so stay where it is mild
    reach = int(0.35 * window.frames / window.table.span)
    # the bin beside the tone is left out: the clock was fitted to what is in it
    side = np.arange(2, max(3, min(limits.NOISE_BINS, reach)) + 1)
    offsets = unit * np.concatenate([-side[::-1], side])
    blocks = np.exp(-1j * np.outer(offsets, window.tau)) / len(window.tau)
    turned = left * np.exp(-1j * np.outer(window.start, w))
    own = np.stack(
        [window.table.response(w[j] + offsets, tones[j : j + 1])[0] for j in range(len(w))], axis=1
    )
    # the block's phase for an offset belongs to its middle, as tau does
    own = own * np.exp(-1j * offsets * 0.5 * (window.table.span - 1))[:, None]
    spectrum = 2.0 * np.einsum("kb,cbj->ckj", blocks, turned) / own[None]
    return np.asarray(spectrum), offsets


def _noise_bins(w: float, offsets: Real, occupied: Real, frames: int) -> NDArray[np.int64]:
    """Return which bins hold noise: near the tone first, none beside a line or below offset."""
    unit = 2.0 * np.pi / frames
    place = w + offsets
    clear = (place > 1.5 * unit) & (place < np.pi - 1.5 * unit)
    if len(occupied):
        distance = np.abs(place[:, None] - occupied[None, :]).min(axis=1)
        clear &= distance > 0.9 * unit
    order = np.argsort(np.abs(offsets), kind="stable")
    order = order[clear[order]]
    near = int(np.sum(np.abs(offsets[order]) <= limits.NOISE_BAND * w))
    return order[: max(near, limits.NOISE_MIN_BINS)]


def _average(bins: Complex) -> Complex:
    """Return the mean of ``y yᴴ`` over bins (C, n) without outliers, widened for few bins."""
    power = np.abs(bins) ** 2
    middle = np.median(power, axis=1, keepdims=True)
    quiet = np.all(power <= limits.NOISE_OUTLIER * middle, axis=0)
    bins = bins[:, quiet] if np.any(quiet) else bins
    n = bins.shape[1]
    # JCGM 101:2008 6.4.9.4: variance of the t distribution, nu/(nu - 2) with nu = 2 n
    widen = n / max(n - 1.0, 1.0)
    return np.asarray(widen * (bins @ bins.conj().T) / n)
