"""What the device adds of its own: noise and hum, and the bends of its terminals."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from probe.simulate.network import loaded
from probe.simulate.spec import Bend, StageSpec, TakeSpec
from probe.simulate.waves import cosine, noise

Array = NDArray[np.float64]

STREAM = 3000
"""Added to a take's seed for the device's noise; channels, dither and hum have their own."""

SIGNS = {"hot": (1.0, 0.0, 0.0), "cold": (0.0, 1.0, 0.0), "single-ended": (0.0, 0.0, 1.0)}
SIGNS |= {"difference": (1.0, -1.0, 0.0)}


def device_noise(stage: StageSpec, take: TakeSpec) -> Array:
    """Return the device's own noise and hum at the recorder's terminals, V, frames x channels.

    What the recorder takes off the noise is that at 1 kHz; off the hum that of each line.
    """
    own, frames, rate = stage.noise, take.frames, take.sample_rate
    streams = [np.random.default_rng([*take.noise_seed, STREAM + k]) for k in range(4)]
    core = noise(own.core, own.corner_hz, frames, rate, streams[0])
    shares = (own.hot, own.cold, own.single_ended)
    each = [
        noise(d, own.corner_hz, frames, rate, s) for d, s in zip(shares, streams[1:], strict=True)
    ]
    terminals = np.stack([each[0] + core, each[1] - core, each[2] + core], axis=1)
    pick = np.array([SIGNS.get(c, (0.0, 0.0, 0.0)) for c in take.channels])
    heard = terminals @ (pick @ loaded(stage, take)[0].real).T + _hum(stage, take, pick)
    if not take.plays:
        quiet = np.arange(frames) >= own.idle_after_s * rate
        heard[quiet] *= own.idle_ratio
    return np.asarray(heard)


def _hum(stage: StageSpec, take: TakeSpec, pick: Array) -> Array:
    """Return the device's hum at every channel; one random instant a take."""
    start = np.random.default_rng([*take.noise_seed, STREAM + 10]).uniform(0.0, 60.0)
    n = np.arange(take.frames, dtype=np.float64)
    rate = take.sample_rate * (1.0 + stage.true.clock_error)
    total = np.zeros((take.frames, len(pick)))
    lines = [hz for hz, *_ in stage.noise.hum]
    if not lines:
        return total
    left = loaded(stage, take, lines)
    for (hz, *volts), matrix in zip(stage.noise.hum, left, strict=True):
        turns = n * (hz / rate) + math.fmod(hz * start, 1.0)
        along, across = cosine(turns), cosine(turns - 0.25)
        for k, phasor in enumerate(pick @ matrix @ np.array(volts)):
            total[:, k] += math.sqrt(2.0) * (phasor.real * along - phasor.imag * across)
    return total


def bent(bend: Bend, volts: Array) -> Array:
    """Return what a bend makes of a voltage."""
    if bend.straight:
        return volts
    out = volts + bend.second * volts**2 + bend.third * volts**3
    return np.asarray(np.clip(out, -bend.clip_volts, bend.clip_volts))


def bent_terminals(stage: StageSpec, take: TakeSpec, wave: Array) -> Array:
    """Return the channels' voltages after the bends of the terminals they listen to.

    A balanced input hears the difference of two bent legs only where each leg is heard too; by
    itself its share of each leg is taken as half.
    """
    return bent_channels(stage, take.channels, wave)


def bent_channels(stage: StageSpec, channels: Sequence[str], wave: Array) -> Array:
    """Return the voltages (frames, channels) after the bends of the terminals they stand for."""
    out = wave.copy()
    hot, cold, single = stage.bends
    for k, channel in enumerate(channels):
        if channel == "difference":
            out[:, k] = bent(hot, wave[:, k] / 2.0) - bent(cold, -wave[:, k] / 2.0)
        else:
            bend = {"hot": hot, "cold": cold, "single-ended": single}.get(channel, Bend())
            out[:, k] = bent(bend, wave[:, k])
    return out
