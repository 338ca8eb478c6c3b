"""Mains hum: how fast the mains really runs, which harmonics stand there, what hides under tones.

The mains frequency is only nominally known. It is found from all harmonics together, as the one
frequency whose multiples collect most power in the residual. Harmonics clear of every tone are
fitted with the tones; one that falls within 1/T of a tone cannot be told from it, and what it
may be is judged from its neighbours.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from probe.phasors import thresholds as limits
from probe.phasors.fit import Fit, Index, Window, residual
from probe.phasors.lines import Lines
from probe.phasors.table import Complex, Real, spin

SEARCH_ROWS = 4096
"""Rows the search looks at: on longer stretches the mains wanders anyway."""


@dataclass(frozen=True)
class Mains:
    """The mains as one recording shows it.

    Attributes
    ----------
    ratio
        Mains frequency over nominal, on the recorder's clock.
    seen
        Table lines of the harmonics that stand out and can be told from every tone.
    """

    ratio: float
    seen: Index


def find_mains(window: Window, fit: Fit, lines: Lines, rate: float) -> Mains:
    """Find the mains frequency and its visible harmonics in what the tones leave behind."""
    nothing = Mains(rate, np.zeros(0, dtype=np.int64))
    table = window.table
    hum = lines.hum
    slip = limits.MAINS_RANGE * table.line_w[hum] * table.span / (2.0 * np.pi)
    hum = hum[slip < 0.4]
    if not len(hum):
        return nothing
    power, size, rows = _power(window, fit, hum, rate)
    orders = lines.orders[hum - len(lines.hz)]
    base = table.line_w[hum[0]] / orders[0] * rate
    cycles = base * table.span / (2.0 * np.pi)
    steps = int(np.ceil(limits.MAINS_RANGE * cycles * orders.max() * rows * 4.0)) + 1
    grid = np.linspace(-limits.MAINS_RANGE, limits.MAINS_RANGE, 2 * steps + 1)
    bins = np.rint(grid[:, None] * cycles * orders[None, :] * size).astype(np.int64) % size
    found = power[bins, np.arange(len(hum))[None, :]]
    best = int(np.argmax(found.sum(axis=1)))
    ratio = rate * (1.0 + float(grid[best]))
    strong = found[best] > limits.HUM_SEEN + len(fit.a)
    return Mains(ratio, _clear(window, hum[strong], ratio, fit.w))


def _power(window: Window, fit: Fit, hum: Index, rate: float) -> tuple[Real, int, int]:
    """Return residual power beside each hum line over its noise, (bins, H), and the transform."""
    table = window.table
    spare = max(0, (window.last - window.first) - SEARCH_ROWS) // 2
    first, last = window.first + spare, window.last - spare
    left = residual(table, window, fit, hum, first, last)
    left *= spin(-rate * table.line_w[hum], 0.0, table.span, last - first)
    size = 1 << int(np.ceil(np.log2(2 * (last - first))))
    spectrum = np.abs(np.fft.fft(left, n=size, axis=1)) ** 2
    near = max(32, int(limits.MAINS_RANGE * table.line_w[hum].max() * table.span * size / 6.0))
    local = np.concatenate([spectrum[:, :near], spectrum[:, -near:]], axis=1)
    # the median of an exponential distribution is ln 2 times its mean
    noise = np.median(local, axis=1, keepdims=True) / np.log(2.0)
    return np.sum(spectrum / np.maximum(noise, 1e-300), axis=0), size, last - first


def _clear(window: Window, hum: Index, ratio: float, tones: Real) -> Index:
    """Return the hum lines that are at least 1/T away from every tone."""
    w = window.table.line_w[hum] * ratio
    unit = 2.0 * np.pi / window.frames
    distance = np.abs(w[:, None] - tones[None, :]).min(axis=1, initial=np.inf)
    return np.asarray(hum[distance >= limits.HUM_RESOLUTION * unit])


def under_tones(
    window: Window, fit: Fit, lines: Lines, mains: Mains, noise: Complex
) -> tuple[NDArray[np.int64], Complex, NDArray[np.bool_]]:
    """Judge the hum that may hide under each tone.

    Harmonics of hum fall, as a rule, no faster than m to the -1.5 (common practice, no source).
    So the harmonic m is taken as the strongest of its neighbours m', times (m'/m)**1.5 where m'
    is higher, with that neighbour's own ratio and phase from channel to channel.

    Parameters
    ----------
    noise
        Shape (F, C, C): covariance of the tones' peak phasors without hum.

    Returns
    -------
    order, covariance, limited
        Shape (F,): mains harmonic under the tone, 0 where there is none; shape (F, C, C): what
        to add to the covariance; shape (F,): whether that is more than the noise.
    """
    count, channels = len(lines.hz), len(fit.a)
    order = _orders_under(window, lines, mains, fit)
    extra = np.zeros((count, channels, channels), dtype=np.complex128)
    limited = np.zeros(count, dtype=bool)
    if not np.any(order):
        return order, extra, limited
    clear = _clear(window, lines.hum, mains.ratio, fit.w[: len(lines.hz)])
    levels = levels_of(window, fit, mains, clear)
    clear_orders = lines.orders[clear - count]
    visible = np.isin(clear, mains.seen)
    for j in np.flatnonzero(order):
        m = int(order[j])
        away = np.abs(clear_orders - m)
        close = away <= limits.HUM_NEIGHBOURS
        if m > limits.HUM_LOW_ORDERS:
            near = np.flatnonzero(close & visible)
        else:
            near = np.flatnonzero(close | (visible & (away <= limits.HUM_FAR_NEIGHBOURS)))
        if not len(near):
            continue
        factor = np.maximum(1.0, clear_orders[near] / m) ** limits.HUM_FALL
        amplitude = levels[:, near] * factor[None, :]
        best = int(np.argmax(np.sum(np.abs(amplitude) ** 2, axis=0)))
        extra[j] = np.outer(amplitude[:, best], amplitude[:, best].conj())
        limited[j] = bool(np.any(np.diagonal(extra[j]).real > np.diagonal(noise[j]).real))
        limited[j] &= bool(np.any(visible[near]))
    return order, extra, limited


def _orders_under(window: Window, lines: Lines, mains: Mains, fit: Fit) -> NDArray[np.int64]:
    """Return the mains harmonic that cannot be told from each tone, 0 where there is none."""
    base = 2.0 * np.pi * lines.mains_hz * mains.ratio * _nominal(window, lines)
    w = fit.w[: len(lines.hz)]
    order = np.rint(w / base).astype(np.int64)
    reach = np.full(len(w), limits.HUM_RESOLUTION * 2.0 * np.pi / window.frames)
    if not len(mains.seen):
        reach = reach + limits.MAINS_RANGE * w
    under = np.abs(w - order * base) < reach
    return np.where(under & (order * lines.mains_hz <= limits.HUM_TOP_HZ), order, 0)


def _nominal(window: Window, lines: Lines) -> float:
    """Return seconds per sample at rate 1."""
    return float(window.table.line_w[0] / (2.0 * np.pi * lines.hz[0]))


def levels_of(window: Window, fit: Fit, mains: Mains, hum: Index) -> Complex:
    """Return the peak phasors of hum lines at the window's centre, shape (C, hum)."""
    table = window.table
    w = table.line_w[hum] * mains.ratio
    left = residual(table, window, fit, hum, window.first, window.last)
    left *= spin(-w, window.start[0], table.span, len(window.start))
    own = table.own_response(w, hum)
    levels = 2.0 * left.mean(axis=1) / own[None, :]
    for k, line in enumerate(hum):
        at = np.flatnonzero(fit.lines == line)
        if len(at):
            levels[:, k] += fit.a[:, at[0]]
    return np.asarray(levels)
