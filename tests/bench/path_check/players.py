"""Players of all sorts, made with numpy and scipy: what a recorder hears of a known file."""

from __future__ import annotations

from fractions import Fraction

import numpy as np
from numpy.typing import NDArray
from scipy import fft, signal

from probe.bench.path_check.follow import KnownFile
from probe.bench.tones.crest import peak
from probe.bench.tones.sets import DEVICE, PERIOD_S

Floats = NDArray[np.float64]

FILE = KnownFile(DEVICE.hz, DEVICE.phases_deg, 48000, PERIOD_S)
FILE_44 = KnownFile(DEVICE.hz, DEVICE.phases_deg, 44100, PERIOD_S)
TOP = peak(DEVICE.hz, np.radians(DEVICE.phases_deg), PERIOD_S)


def tones(
    seconds: float,
    rate: float = 48000.0,
    *,
    ppm: float = 0.0,
    start_s: float = 1.2345,
    level_db: float = -15.0,
) -> Floats:
    """The file as an ideal player gives it, heard by a recorder some ppm fast."""
    t = start_s + np.arange(round(seconds * rate)) / (rate * (1.0 + ppm * 1e-6))
    phases = np.radians(DEVICE.phases_deg)[:, None]
    wave = np.cos(2 * np.pi * np.outer(DEVICE.hz, t) + phases).sum(axis=0)
    return np.asarray(10 ** (level_db / 20) * wave / TOP)


def room(wave: Floats, rng: np.random.Generator, *, noise_db: float = -95.0,
         hum_db: float = -60.0, rate: float = 48000.0, pink: float = 0.0) -> Floats:  # fmt: skip
    """Noise (white, or falling with frequency) and hum of some orders added."""
    white = rng.standard_normal(wave.size)
    if pink:
        bent = fft.rfft(white) * (np.arange(wave.size // 2 + 1) + 1.0) ** -pink
        white = fft.irfft(bent, wave.size)
        white /= np.std(white)
    t = np.arange(wave.size) / rate
    mains = 50.0 * (1 + 3e-4 * rng.uniform(-1, 1))
    hum = sum(
        rng.uniform(0.1, 1) / k * np.cos(2 * np.pi * k * mains * t + rng.uniform(0, 6))
        for k in range(1, 12)
    )
    return np.asarray(wave + 10 ** (noise_db / 20) * white + 10 ** (hum_db / 20) * hum)


def linear_resampler(wave: Floats, from_rate: int, to_rate: int) -> Floats:
    """The poorest conversion of rates: straight lines between samples."""
    n = int((wave.size - 1) * to_rate / from_rate)
    return np.interp(np.arange(n) * from_rate / to_rate, np.arange(wave.size), wave)


def good_resampler(wave: Floats, from_rate: int, to_rate: int) -> Floats:
    """A windowed-sinc conversion."""
    ratio = Fraction(to_rate, from_rate)
    half = 24 * max(ratio.numerator, ratio.denominator)
    taps = signal.firwin(2 * half + 1, 0.97 / max(ratio.numerator, ratio.denominator),
                         window=("kaiser", 9.0))  # fmt: skip
    return np.asarray(signal.resample_poly(wave, ratio.numerator, ratio.denominator, window=taps))


def coded(wave: Floats, rate: float = 48000.0, *, block: int = 1024, snr_db: float = 18.0,
          cut_hz: float = 20000.0) -> Floats:  # fmt: skip
    """Lossy coding in its essentials: lapped cosine transform, a step per band of hearing.

    The step lets the error lie ``snr_db`` below the loudest line of a band and of its neighbours,
    falling by 15 dB a band upwards and 27 dB downwards (shape of masking, from memory); whatever is
    smaller than half a step is lost, and so is all above ``cut_hz``.
    """
    window = np.sin(np.pi * (np.arange(2 * block) + 0.5) / (2 * block))
    n, k = np.arange(2 * block)[:, None], np.arange(block)[None, :]
    basis = np.cos(np.pi / block * (n + 0.5 + block / 2) * (k + 0.5))
    padded = np.r_[np.zeros(block), wave, np.zeros(2 * block)]
    starts = np.arange(0, padded.size - 2 * block, block)
    frames = np.stack([padded[s : s + 2 * block] for s in starts]) * window
    lines = frames @ basis
    hz = (k[0] + 0.5) * rate / (2 * block)
    bark = 13 * np.arctan(7.6e-4 * hz) + 3.5 * np.arctan((hz / 7500) ** 2)
    band = bark.astype(int)
    loud = np.stack([np.abs(lines[:, band == b]).max(axis=1) for b in range(band.max() + 1)], 1)
    apart = np.subtract.outer(np.arange(loud.shape[1]), np.arange(loud.shape[1]))
    spread = 10 ** (-np.where(apart > 0, 15.0 * apart, -27.0 * apart) / 20)
    step = (loud[:, None, :] * spread[None]).max(axis=2) * 10 ** (-snr_db / 20) * np.sqrt(12) / 2
    steps = np.maximum(step[:, band], 1e-9)
    kept = np.round(lines / steps) * steps * (hz < cut_hz)
    back = (kept @ basis.T) * window / block
    out = np.zeros(padded.size)
    for s, frame in zip(starts, back, strict=True):
        out[s : s + 2 * block] += frame
    return out[block : block + wave.size]
