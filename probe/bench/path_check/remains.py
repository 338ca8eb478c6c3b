"""What a recording holds beside its tones: density of noise, and lines where they are predicted."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from probe.bench.path_check import limits

Floats = NDArray[np.float64]

SEGMENT_S = 1.0
"""Of the spectrum: lines 4 Hz apart are told apart."""

USUAL_RATES = (32000, 44100, 48000, 88200, 96000, 176400, 192000)

ORDERS = 4
"""Images of so many multiples of the rate: higher ones are weak, and fold everywhere."""


@dataclass(frozen=True, eq=False)
class Remains:
    """Spectrum after the tones were taken out.

    Attributes
    ----------
    density
        Full scale squared per Hz, one bin per Hz, shape (N,).
    tones
        As recorded, Hz, shape (F,); ``power`` of each, full scale squared.
    """

    density: Floats
    tones: Floats
    power: Floats


def remains_of(samples: Floats, rate: float, tones: Sequence[float]) -> Remains:
    """Take the tones out, second by second, and return what is left.

    In each second amplitude and phase of all tones are fitted anew, so that slow changes leave
    nothing behind; the bins within some Hz of a tone are not used by anybody.
    """
    length = round(SEGMENT_S * rate)
    f = np.array([t for t in tones if t < 0.495 * rate])
    t = np.arange(length) / rate
    basis = np.concatenate([g(2.0 * np.pi * np.outer(t, f)) for g in (np.cos, np.sin)], axis=1)
    window = np.hanning(length)
    weighted = basis * window[:, None]
    inverse = np.linalg.inv(weighted.T @ weighted)
    starts = range(0, samples.size - length + 1, length // 2)
    total, power = np.zeros(length // 2 + 1), np.zeros(f.size)
    for start in starts:
        piece = samples[start : start + length]
        found = inverse @ (weighted.T @ (piece * window))
        power += 0.5 * (found[: f.size] ** 2 + found[f.size :] ** 2)
        total += np.abs(np.fft.rfft((piece - basis @ found) * window)) ** 2
    scale = 2.0 / (rate * float(np.sum(window**2)))
    count = max(len(starts), 1)
    return Remains(total * scale / count, f, power / count)


def shaped(found: Remains) -> list[tuple[float, float, float]]:
    """Return the tones beside which noise rises: Hz, over the noise half way off, over the tone."""
    out = []
    for k in range(1, len(found.tones) - 1):
        f = float(found.tones[k])
        if f < 250.0:
            continue
        reach = max(limits.NEAR_HZ[1], limits.NEAR_SHARE * f)
        near = _typical(found, f - reach, f + reach, f)
        below = _middle(found, float(found.tones[k - 1]), f)
        above = _middle(found, f, float(found.tones[k + 1]))
        ratio = near / max(np.sqrt(below * above), 1e-30)
        share = near * 2.0 * reach / max(float(found.power[k]), 1e-30)
        if ratio > limits.SHAPED_RATIO and share > limits.SHAPED_LEAST:
            out.append((f, ratio, share))
    return out


def _middle(found: Remains, low: float, high: float) -> float:
    centre = np.sqrt(low * high)
    return _typical(found, 0.94 * centre, 1.06 * centre, None)


def _typical(found: Remains, low: float, high: float, tone: float | None) -> float:
    """Return the median density of a band, which lines do not move."""
    bins = np.arange(max(int(low), 1), min(int(high) + 1, found.density.size - 1))
    if tone is not None:
        bins = bins[np.abs(bins - tone) >= limits.NEAR_HZ[0]]
    return float(np.median(found.density[bins])) if bins.size else 0.0


# -- lines of a conversion between two rates


def image_lines(hz: Sequence[float], from_rate: int, to_rate: int) -> Floats:
    """Return where images of tones fall when ``from_rate`` is converted to ``to_rate``, Hz.

    An interpolator leaves images at ``k from_rate +- f``; taken at ``to_rate`` they fold into
    its band.
    """
    f = np.asarray(hz, dtype=np.float64)
    k = np.arange(1, ORDERS + 1)[:, None] * from_rate
    raw = np.concatenate([(k - f).ravel(), (k + f).ravel()])
    folded = np.abs(raw - to_rate * np.round(raw / to_rate))
    return np.unique(np.round(folded, 3))


def images(
    found: Remains, hz: Sequence[float], ratio: float, from_rate: int
) -> tuple[int, int, int, float] | None:
    """Return the rate a file was converted to: rate, lines seen, of how many, loudest over a tone.

    None where no conversion fits.
    """
    best: tuple[int, int, int, float] | None = None
    taken = _explained(hz)
    for to_rate in USUAL_RATES:
        if to_rate == from_rate:
            continue
        lines = image_lines(hz, from_rate, to_rate)
        lines = lines[(lines > 60.0) & (lines < found.density.size - 80.0)]
        clear = [x for x in lines if np.min(np.abs(taken - x)) > limits.CLEAR_HZ]
        over = [_stands(found, x * ratio) for x in clear]
        least = limits.IMAGE_LEAST * float(np.max(found.power))
        seen = [p for over_noise, p in over if over_noise > limits.IMAGE_RATIO and p > least]
        enough = max(limits.IMAGE_LINES, limits.IMAGE_SHARE * len(clear))
        if len(seen) >= enough and (best is None or len(seen) / len(clear) > best[1] / best[2]):
            loudest = 10.0 * np.log10(max(seen) / float(np.max(found.power)))
            best = (to_rate, len(seen), len(clear), float(loudest))
    return best


def _stands(found: Remains, hz: float) -> tuple[float, float]:
    """Return the power of a line over the noise around it, and the power itself."""
    here = round(hz)
    line = found.density[here - 1 : here + 2]
    around = np.r_[found.density[here - 40 : here - 6], found.density[here + 7 : here + 41]]
    noise = max(float(np.median(around)), 1e-30)
    return float(np.max(line)) / noise, float(np.sum(line))


def _explained(hz: Sequence[float]) -> Floats:
    """Return the lines that other things make: tones, hum, products of distortion."""
    f = np.asarray(hz, dtype=np.float64)
    a, b = np.meshgrid(f, f)
    found = [f, *(n * f for n in range(2, 6)), (a + b).ravel(), np.abs(a - b).ravel()]
    found += [(2 * a + b).ravel(), np.abs(2 * a - b).ravel()]
    hum = np.concatenate([np.arange(1, 41) * 50.0, np.arange(1, 41) * 60.0])
    found += [hum, np.add.outer(f, hum).ravel(), np.abs(np.subtract.outer(f, hum)).ravel()]
    return np.concatenate(found)
