"""What of a spectrum is noise and what stands out of it as lines: hum, spurs, tones."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from probe.measures.spectra import LINE_BINS

Array = NDArray[np.float64]
Bools = NDArray[np.bool_]

CHANCE = 1e-6
"""A bin of noise counts as a line this rarely: once in fifty takes."""

NEAR_BINS, FAR_BINS, FAR_FROM = 22, 50, 200
"""Bins on each side from which the noise under a bin is taken: few at low frequencies, where noise
falls steeply, and always more than the `LINE_BINS` a line itself fills."""


def median_density(density: Array) -> Array:
    """Return the running median of a density, shape (F,)."""
    from scipy.ndimage import median_filter

    filled = density.copy()
    filled[:LINE_BINS] = filled[LINE_BINS : 2 * LINE_BINS].mean()
    far = median_filter(filled, 2 * FAR_BINS + 1, mode="nearest")
    top = min(FAR_FROM + NEAR_BINS, len(filled))
    near = median_filter(filled[:top], 2 * NEAR_BINS + 1, mode="nearest")
    far[: min(FAR_FROM, len(far))] = near[: min(FAR_FROM, len(near))]
    return np.asarray(far)


def line_bins(density: Array, averages: float) -> Bools:
    """Return the bins in which something stands out of the noise, shape (F,).

    The mean of K periodograms is chi-square with 2 K degrees of freedom.
    """
    from scipy.special import chdtri

    freedom = 2.0 * max(averages, 1.0)
    least = chdtri(freedom, CHANCE) / chdtri(freedom, 0.5)
    return np.asarray(density > least * median_density(density))


def smooth_density(density: Array, lines: Bools, averages: float) -> Array:
    """Return the density with its lines replaced by what stands beside them.

    The median of few averages lies below their mean, which is what noise has under a line.
    """
    if not lines.any():
        return density
    from scipy.special import chdtri

    freedom = 2.0 * max(averages, 1.0)
    mean = median_density(density) * (freedom / chdtri(freedom, 0.5))
    return np.asarray(np.where(lines, mean, density))
