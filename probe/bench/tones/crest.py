"""The crest of tones that share a period, and phases that make it low.

With a common period T every tone is a whole number of cycles k of it, so one period is one inverse
Fourier transform. Phases are improved by descending the norm ``|x|_p`` for rising p, which tends
to the peak; the gradient with respect to a phase is again one transform:

    d ln|x|_p / d phase_k  =  Im( exp(-i phase_k) * G_k ) ,   G = transform of |x|^(p-1) sign(x)

(common practice for periodic multi-sines; the exact minimum is not known for tones of any
frequencies, and with a long period no phases help much: a period of 10 s of twelve tones runs
through nearly every constellation they can have.)
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

NORMS = (20, 60, 200, 600, 2000)
"""Rising powers; the last is within 0.05 dB of the peak for some 10^5 samples."""

STEPS = 40
"""Of the descent at each power; more gain hundredths of a decibel."""

DESCENT_SAMPLES = 5
"""Per cycle of the top tone while phases are improved: with fewer, peaks hide between samples."""

SAMPLES_PER_CYCLE = 16
"""Of the top tone, when a peak is looked for; a parabola through the three highest samples then
misses at most 0.05 % of that tone."""

FEWEST_SAMPLES = 1 << 16
"""Of a period, when a peak is looked for: short periods cost nothing."""


def cycles(hz: ArrayLike, period_s: float) -> NDArray[np.int64]:
    """Return how many cycles of each tone fill the period, shape (F,).

    Raises
    ------
    ValueError
        A tone is not a whole number of cycles.
    """
    exact = np.asarray(hz, dtype=np.float64) * period_s
    whole = np.round(exact)
    if np.any(np.abs(exact - whole) > 1e-6) or np.any(whole < 1):
        raise ValueError("every tone must be a whole number of cycles of the period")
    return whole.astype(np.int64)


def one_period(
    hz: ArrayLike, phases_rad: ArrayLike, period_s: float, samples: int
) -> NDArray[np.float64]:
    """Return one period of a sum of cosines of amplitude 1, shape (samples,)."""
    import scipy.fft

    spectrum = np.zeros(samples // 2 + 1, dtype=np.complex128)
    spectrum[cycles(hz, period_s)] = 0.5 * samples * np.exp(1j * np.asarray(phases_rad))
    return np.asarray(scipy.fft.irfft(spectrum, samples), dtype=np.float64)


def peak(hz: ArrayLike, phases_rad: ArrayLike, period_s: float) -> float:
    """Return the largest excursion of a sum of cosines of amplitude 1, between samples as well."""
    samples = _fast(max(FEWEST_SAMPLES, SAMPLES_PER_CYCLE * int(np.max(cycles(hz, period_s)))))
    x = np.abs(one_period(hz, phases_rad, period_s, samples))
    near = np.flatnonzero(x > 0.95 * np.max(x))
    before, here, after = x[near - 1], x[near], x[(near + 1) % samples]
    curve = 2.0 * here - before - after
    top = (curve > 0.0) & (here >= before) & (here >= after)
    rise = (after - before)[top] ** 2 / (8.0 * curve[top])
    return float(np.max(here[top] + rise))


def crest_db(hz: ArrayLike, phases_rad: ArrayLike, period_s: float) -> float:
    """Return peak over rms of equal tones, dB; a single tone reads 3.01."""
    count = np.size(np.asarray(hz))
    return float(20.0 * np.log10(peak(hz, phases_rad, period_s) / np.sqrt(count / 2.0)))


def lowered(
    hz: ArrayLike, phases_rad: ArrayLike, period_s: float, *, steps: int = STEPS
) -> NDArray[np.float64]:
    """Return phases of a lower crest, rad, shape (F,), starting from those given."""
    from scipy.optimize import minimize

    k = cycles(hz, period_s)
    samples = _fast(int(DESCENT_SAMPLES * np.max(k)))
    phases = np.asarray(phases_rad, dtype=np.float64)
    for power in NORMS:
        found = minimize(
            _log_norm,
            phases,
            args=(k, samples, power),
            jac=True,
            method="L-BFGS-B",
            options={"maxiter": steps},
        )
        phases = np.asarray(found.x, dtype=np.float64)
    return np.mod(phases, 2.0 * np.pi)


def _log_norm(
    phases: NDArray[np.float64], k: NDArray[np.int64], samples: int, power: int
) -> tuple[float, NDArray[np.float64]]:
    import scipy.fft

    spectrum = np.zeros(samples // 2 + 1, dtype=np.complex128)
    spectrum[k] = 0.5 * samples * np.exp(1j * phases)
    x = scipy.fft.irfft(spectrum, samples)
    most = float(np.max(np.abs(x)))
    even = (x / most) ** 2
    below = even ** (power // 2 - 1)
    mean = float(np.mean(below * even))
    pull = scipy.fft.rfft(below * (x / most) / (mean * samples * most))[k]
    gradient = np.imag(pull * np.exp(-1j * phases))
    return np.log(most) + np.log(mean) / power, gradient


def _fast(samples: int) -> int:
    import scipy.fft

    return int(scipy.fft.next_fast_len(samples, real=True))
