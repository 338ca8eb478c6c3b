"""Mains hum in a take without tones: each harmonic's power, in an output and in the recorder."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from probe.measures.continuum import median_density
from probe.measures.spectra import LINE_BINS, Spectrum

Array = NDArray[np.float64]
Bools = NDArray[np.bool_]

TOP_HZ = 2500.0
"""Mains harmonics are looked at up to here; what rectifiers add above is in the noise."""

MAINS_RANGE = 0.0025
"""Relative range of the mains frequency round its nominal value (0.2 % and a margin)."""

WANDER = 5e-4
"""The mains moves by this share within a take: 25 mHz (common practice, no source)."""

POWER_BINS = 4
"""Bins on each side that hold a line's power, all but 1e-4 of it: more would add noise alone."""

SIDE_BINS = 25
"""Bins on each side of a line from which the noise under it is taken; the next harmonic stands 50
away."""

SEEN = 4.0
"""Standard deviations above its noise at which a line is there: chance does that once in 30,000."""

CAP = 100.0
"""A line counts so many times its noise at most in the search, so that one does not rule."""


@dataclass(frozen=True)
class HumLines:
    """Power of every mains harmonic in one output, M of them.

    Attributes
    ----------
    orders
        Shape (M,).
    hz
        Shape (M,): where they stand, as found.
    power, sigma
        Shape (M,), V²: power of the line alone (may come out below zero), and its standard
        deviation.
    bare
        Shape (M,), V²: that of the noise by itself, where no line stands.
    bins
        Shape (F,): bins that belong to lines that are seen.
    """

    orders: NDArray[np.int64]
    hz: Array
    power: Array
    sigma: Array
    bare: Array
    bins: Bools

    @property
    def seen(self) -> Bools:
        """Which lines stand out of the noise."""
        return np.asarray(self.power > SEEN * self.sigma)


def mains_ratio(density: Array, hz: Array, mains_hz: float) -> float:
    """Return the mains frequency over its nominal value: the multiples that hold most power."""
    relative = density / np.maximum(median_density(density), 1e-300)
    orders = _orders(hz, mains_hz)
    steps = max(1, int(np.ceil(MAINS_RANGE * TOP_HZ / (hz[1] - hz[0]) * 2.0)))
    grid = 1.0 + np.linspace(-MAINS_RANGE, MAINS_RANGE, 2 * steps + 1)
    place = grid[:, None] * orders * mains_hz
    found = np.minimum(np.interp(place, hz, relative), CAP).sum(axis=1)
    best = found >= found.max() - 1e-9
    return float(grid[best][np.argmin(np.abs(grid[best] - 1.0))])


def _orders(hz: Array, mains_hz: float) -> NDArray[np.int64]:
    return np.arange(1, int(min(TOP_HZ, 0.45 * hz[-1] * 2.0) / mains_hz) + 1)


def hum_lines(spectrum: Spectrum, density: Array, mains_hz: float, ratio: float) -> HumLines:
    """Return the power of each mains harmonic in one output's density (F,).

    Power of the bins that hold a line, less the noise of as many bins beside it. A line of power P
    observed for T in noise of density S has the variance ``2 P S / T`` besides.
    """
    hz, step = spectrum.hz, spectrum.bin_hz
    orders = _orders(hz, mains_hz)
    centre = np.asarray(orders * (mains_hz * ratio), dtype=np.float64)
    wander = np.ceil(WANDER * centre / step)
    power, sigma, bare = np.zeros((3, len(orders)))
    bins = np.zeros(len(hz), dtype=np.bool_)
    spans = []
    for k, (f, r) in enumerate(zip(centre / step, wander, strict=True)):
        low, high = _span(f, LINE_BINS + r, len(hz))
        side = np.r_[max(1, low - SIDE_BINS) : low, high + 1 : min(len(hz), high + SIDE_BINS + 1)]
        # the median of few averages lies below their mean
        noise = _trimmed_mean(density[side])
        first, last = _span(f, POWER_BINS + r, len(hz))
        count = last - first + 1
        power[k] = (float(density[first : last + 1].sum()) - count * noise) * step
        variance = spectrum.spread * (noise * step) ** 2 * count * (1.0 + count / len(side))
        bare[k] = np.sqrt(variance)
        sigma[k] = np.sqrt(variance + 2.0 * max(power[k], 0.0) * noise / spectrum.line_seconds)
        spans.append((low, high))
    for k, (low, high) in enumerate(spans):
        bins[low : high + 1] |= power[k] > SEEN * sigma[k]
    return HumLines(orders, centre, power, sigma, bare, bins)


def _span(centre: float, reach: float, bins: int) -> tuple[int, int]:
    return max(1, round(centre - reach)), min(bins - 1, round(centre + reach))


def _trimmed_mean(density: Array) -> float:
    """Return the mean without what stands ten medians out: another line."""
    kept = density[density <= 10.0 * np.median(density)]
    return float(kept.mean()) if len(kept) else 0.0
