"""Harmonics of a tone as each channel hears them, and what the bench adds of its own."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from probe.measures.lines import heard
from probe.measures.loading import DRAWS
from probe.measures.model import Subject
from probe.measures.projected import ANCHORS_HZ, Projection
from probe.measures.weighting import BAND_HZ
from probe.session.model import Take

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]

MOST_HARMONICS = 20
"""Order of the highest harmonic looked at; all below 20 kHz where the tone is above 1 kHz."""

UNMEASURED_BENCH = (7e-5, 7e-5)
"""Second and third harmonic an ordinary recorder and generator add together, over the fundamental,
where no loop-back take tells: 0.01 % (common practice, no source)."""

SHARES = 2.0
"""A loop-back take shows generator and recorder together, which may partly cancel there and not
with a device between that inverts: 95 % of what they add along any phase is below twice what it
shows."""

EITHER = 10.0
"""Generator and recorder, two halves of one interface, are taken to differ by no more than this
ratio, either way (common practice, no source)."""

MOST_OPPOSED = 5.0
"""Both together, added in size, over what the loop-back take shows are cut off here: one case in
fifty."""

KEEPS = 0.75
"""Share of devices that keep the drive's polarity at the first channel, pin 2 (common practice, no
source)."""

LEAST_LEVEL = 0.5
"""A loop-back take quieter than this share of the tone's level says too little: a harmonic may grow
by the n-th power, and only up to 6 dB is carried over."""

NEAR_TONE = 2.0
"""A loop-back tone within this ratio of the frequency tells of it."""


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
    bench
        Shape (N, C): V rms, magnitude the bench may add by itself, 0 for the fundamental; what is
        left of it after its own noise.
    bench_sd
        Shape (N, C): how well that is known.
    bench_most
        What is drawn of it: from nothing to so many times.
    bench_take
        File of the loop-back take, None where there is none.
    """

    take: Take
    hz: Array
    volts: Complex
    sd: Array
    bench: Array
    bench_sd: Array
    bench_most: float
    bench_take: str | None


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
    loop = _loop_back(subject, take, np.abs(found.volts[0]))
    if loop is None:
        share = np.zeros((len(hz), 1))
        count = min(len(UNMEASURED_BENCH), len(hz) - 1)
        share[1 : 1 + count, 0] = UNMEASURED_BENCH[:count]
        bench = share * np.abs(found.volts[0])
        return Harmonics(take, hz, found.volts, found.sd, bench, np.zeros_like(bench), 1.0, None)
    bench, bench_sd = _carried(loop, len(hz), np.abs(found.volts[0]))
    return Harmonics(take, hz, found.volts, found.sd, bench, bench_sd, SHARES, loop.file)


def _loop_back(subject: Subject, take: Take, level: Array) -> Take | None:
    """Return the loop-back take nearest in frequency that is loud enough, at this gain."""
    tone = take.tones_hz[0]
    fitting = []
    for loop in subject.bench_takes("loop-back"):
        if len(loop.tones_hz) != 1 or len(loop.channels) < len(take.channels):
            continue
        same = all(
            np.isclose(a.volts_full_scale, b.volts_full_scale, rtol=1e-6)
            for a, b in zip(loop.inputs, take.inputs, strict=False)
        )
        apart = abs(np.log(loop.tones_hz[0] / tone))
        if not same or apart > np.log(NEAR_TONE):
            continue
        loud = heard(loop, np.array([loop.tones_hz[0]]))
        if np.all(np.abs(loud.volts[0, : len(level)]) >= LEAST_LEVEL * level):
            fitting.append((apart, loop.name, loop))
    return min(fitting)[2] if fitting else None


def _carried(loop: Take, count: int, level: Array) -> tuple[Array, Array]:
    """Return what the loop-back take says of the bench's harmonics at this tone's level.

    Relative to the fundamental the n-th harmonic goes with the (n-1)-th power of the level where
    the tone is louder; a quieter tone is not credited with less.
    """
    hz = loop.tones_hz[0] * np.arange(1.0, count + 1.0)
    hz = hz[hz < 0.45 * loop.sample_rate]
    found = heard(loop, hz)
    channels = len(level)
    own = np.abs(found.volts[0, :channels])
    relative, sd = np.zeros((count, channels)), np.zeros((count, channels))
    power = np.abs(found.volts[:, :channels]) ** 2 - found.sd[:, :channels] ** 2
    relative[1 : len(hz)] = np.sqrt(np.maximum(power[1:], 0.0)) / own
    sd[1 : len(hz)] = found.sd[1:, :channels] / own
    grown = np.maximum(level / own, 1.0) ** np.arange(count)[:, None]
    return relative * grown * level, sd * grown * level


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
        Shape (N,): V rms open circuit, and standard deviation.
    fundamental
        Shape (1 + D,): V rms, complex.
    power
        Shape (1 + D, N): power of each, V², less its noise, the bench's share drawn in any phase.
    bench
        Shape (N,): V rms, the most the bench may add.
    """

    hz: Array
    volts: Complex
    sd: Array
    fundamental: Complex
    power: Array
    bench: Array


def of_output(found: Harmonics, output: Projection) -> OfOutput:
    """Return the harmonics of one output with their doubt.

    The bench's harmonic adds to the device's in a phase that nobody knows: every phase is drawn,
    and what generator and recorder may come to where the device inverts. Both raise a power by
    their own, which is taken off (JCGM 101:2008, 9.4). A channel's draws are the same for every
    output that it is part of.
    """
    rng = np.random.default_rng(15)
    channels = list(output.channels)
    w = weights_at(output, found.hz)
    v, sd = found.volts[:, channels], found.sd[:, channels]
    z = np.einsum("fc,fc->f", w[0], v)
    sigma = np.sqrt(np.einsum("fc,fc->f", np.abs(w[0]) ** 2, sd**2))
    gained = np.einsum("dfc,fc->df", w, v)
    size = np.abs(z)
    kept = np.sqrt(np.maximum(size**2 - sigma**2, 0.0)) / np.maximum(size, 1e-300)
    kept[0] = 1.0
    heard = found.sd[:, channels] * _circular(rng, found.sd.shape)[:, :, channels]
    noise = np.einsum("fc,dfc->df", w[0], heard)
    bench = np.einsum("fc,dfc->df", w[0], _bench_draws(found, rng)[:, :, channels])
    drawn = gained * kept + noise - bench
    power = np.abs(drawn) ** 2 - sigma**2 - np.mean(np.abs(bench[1:]) ** 2, axis=0)
    power[0] = size**2 - sigma**2
    power[:, 0] = np.abs(gained[:, 0]) ** 2
    most = np.sqrt(found.bench[:, channels] ** 2 + (1.7 * found.bench_sd[:, channels]) ** 2)
    bound = found.bench_most * np.sum(np.abs(w[0]) * most, axis=1)
    return OfOutput(found.hz, z, sigma, gained[:, 0], power, bound)


def _circular(rng: np.random.Generator, shape: tuple[int, ...]) -> Complex:
    white = rng.standard_normal((2, 1 + DRAWS, *shape)) / np.sqrt(2.0)
    white[:, 0] = 0.0
    return np.asarray(white[0] + 1j * white[1])


def _bench_draws(found: Harmonics, rng: np.random.Generator) -> Complex:
    """Return the bench's share of every channel, shape (1 + D, N, C); nothing in the first.

    A generator's harmonic passes the device with the tone; the recorder's follows what it hears:
    ``g h e^(i n p) + r (h e^(i p))^n`` for a tone of phase p at the generator, turned by h in the
    device. In a loop-back take h is 1 and the sum is known in size. A leg that inverts turns the
    generator's even harmonics over against the recorder's.
    """
    shape = (1 + DRAWS, len(found.hz), 1)
    order = np.arange(1, len(found.hz) + 1)[:, None]
    heard = found.volts[0] / np.maximum(np.abs(found.volts[0]), 1e-300)
    if found.bench_take is None:
        share = found.bench_most * rng.random((1 + DRAWS, 1, 1)) * heard**order
    else:
        generator, recorder = _halves(rng, shape)
        keeps = np.where(rng.random((1 + DRAWS, 1, 1)) < KEEPS, 1.0, -1.0)
        start = heard[0] * keeps
        share = generator * (heard / start) * start**order + recorder * heard**order
    turn = np.exp(2j * np.pi * rng.random(shape))
    size = np.abs(
        found.bench + found.bench_sd * rng.standard_normal((1 + DRAWS, *found.bench.shape))
    )
    share = turn * share * size
    share[0] = 0.0
    share[:, 0] = 0.0
    return np.asarray(share)


def _halves(rng: np.random.Generator, shape: tuple[int, ...]) -> tuple[Complex, Array]:
    """Return draws of generator and recorder, together 1 in size, of any ratio up to `EITHER`."""
    ratio = EITHER ** rng.uniform(-1.0, 1.0, shape) * np.exp(2j * np.pi * rng.random(shape))
    least = (1.0 + np.abs(ratio)) / MOST_OPPOSED
    together = np.maximum(np.abs(1.0 + ratio), least)
    return ratio / together, 1.0 / together
