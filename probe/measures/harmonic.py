"""Harmonics of a tone as each channel hears them, and what the bench adds of its own."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from probe.measures.lines import heard
from probe.measures.loading import DRAWS
from probe.measures.model import Subject
from probe.measures.own_harmonics import OwnHarmonics, draws_of, own_harmonics
from probe.measures.projected import ANCHORS_HZ, Projection
from probe.measures.statement import QUANTILES
from probe.measures.weighting import BAND_HZ
from probe.session.model import Take

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]

MOST_HARMONICS = 20
"""Order of the highest harmonic looked at; all below 20 kHz where the tone is above 1 kHz."""


@dataclass(frozen=True)
class Harmonics:
    """Fundamental and harmonics of one take, N of them.

    Attributes
    ----------
    take
        The take.
    hz
        Shape (N,): 1, 2 ... N times the tone.
    volts, sd
        Shape (N, C): V rms as heard, and standard deviation (of both parts together).
    own
        What the bench may add.
    """

    take: Take
    hz: Array
    volts: Complex
    sd: Array
    own: OwnHarmonics

    @property
    def bench_take(self) -> str | None:
        """File of the loop-back take, None where there is none."""
        return self.own.file


def orders_below(tone_hz: float, sample_rate: int) -> Array:
    """Return the multiples of a tone that are looked at, 1 first."""
    top = min(BAND_HZ[1], 0.45 * sample_rate)
    count = max(1, min(MOST_HARMONICS, int(top / tone_hz)))
    return np.arange(1, count + 1, dtype=np.float64)


def harmonics_of(
    subject: Subject, take: Take, clock_error: float, span_s: tuple[float, float]
) -> Harmonics:
    """Return the harmonics of a take of one tone.

    Raises
    ------
    BadInput
        The file cannot be read.
    """
    tone = take.tones_hz[0]
    hz = tone * orders_below(tone, take.sample_rate)
    found = heard(take, hz, clock_error=clock_error, span_s=span_s)
    own = own_harmonics(subject, take, len(hz), np.abs(found.volts[0]))
    return Harmonics(take, hz, found.volts, found.sd, own)


def weights_at(output: Projection, hz: Array) -> Complex:
    """Return an output's weights at any frequencies, shape (1 + D, F, C)."""
    at = np.interp(np.log(hz), np.log(ANCHORS_HZ), np.arange(len(ANCHORS_HZ)))
    low = np.minimum(at.astype(np.int64), len(ANCHORS_HZ) - 2)
    share = (at - low)[None, :, None]
    w = output.weights
    return np.asarray((1.0 - share) * w[:, low] + share * w[:, low + 1])


@dataclass(frozen=True)
class OfOutput:
    """Harmonics of one output.

    Attributes
    ----------
    hz
        Shape (N,).
    volts, sd
        Shape (N,): V rms open circuit without what the bench adds in the mean, and standard
        deviation of its noise.
    fundamental
        Shape (1 + D,): V rms, complex.
    power
        Shape (1 + D, N): power of each, V², without noise and what the bench adds.
    bench
        Shape (N,): V rms, the most the bench may add.
    likelier
        How likely the likelier of both polarities is: 1 where it is known.
    """

    hz: Array
    volts: Complex
    sd: Array
    fundamental: Complex
    power: Array
    bench: Array
    likelier: float

    @property
    def at(self) -> tuple[float, float]:
        """Quantiles of what hangs on the polarity.

        Of draws of two cases each tail is to hold no more of the likelier one than it would of a
        case that is known: intervals then hold in either of two that are as likely.
        """
        tail = QUANTILES[0] * self.likelier
        return tail, 1.0 - tail


def of_output(found: Harmonics, output: Projection) -> OfOutput:
    """Return the harmonics of one output with their doubt.

    What the bench adds is taken off: its mean off the value, a draw of it off each draw. Noise
    raises a power by its own, which is taken off too (JCGM 101:2008, 9.4). A channel's draws are
    the same for every output that it is part of.
    """
    rng = np.random.default_rng(15)
    channels = list(output.channels)
    w = weights_at(output, found.hz)
    v, sd = found.volts[:, channels], found.sd[:, channels]
    sigma = np.sqrt(np.einsum("fc,fc->f", np.abs(w[0]) ** 2, sd**2))
    heard = found.sd[:, channels] * _circular(rng, found.sd.shape)[:, :, channels]
    bench = draws_of(found.own, found.volts, rng)
    added = np.einsum("fc,dfc->df", w[0], bench.added[:, :, channels])
    hidden = np.einsum("fc,dfc->df", w[0], bench.noise[:, :, channels])
    noise = np.einsum("fc,dfc->df", w[0], heard) - hidden
    mean = np.einsum("fc,fc->f", w[0], bench.mean[:, channels])
    variance = sigma**2 + np.mean(np.abs(hidden[1:]) ** 2, axis=0)
    gained = np.einsum("dfc,fc->df", w, v)
    z = gained[0] - mean
    size = np.maximum(np.abs(z), 1e-300)
    kept = np.sqrt(np.maximum(size**2 - variance, 0.0)) / size
    drawn = (gained - mean) * kept + noise - (added - mean)
    power = np.abs(drawn) ** 2 - variance
    power[0] = size**2 - variance
    power[:, 0] = np.abs(gained[:, 0]) ** 2
    bound = found.own.times * np.sum(np.abs(w[0]) * found.own.most[:, channels], axis=1)
    likelier = max(found.own.keeps, 1.0 - found.own.keeps) if found.own.file else 1.0
    return OfOutput(found.hz, z, sigma, gained[:, 0], power, bound, likelier)


def _circular(rng: np.random.Generator, shape: tuple[int, ...]) -> Complex:
    white = rng.standard_normal((2, 1 + DRAWS, *shape)) / np.sqrt(2.0)
    white[:, 0] = 0.0
    return np.asarray(white[0] + 1j * white[1])
