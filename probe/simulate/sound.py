"""From phasors to samples: tones, gate, noise, hum, crosstalk done before, dither, integers.

Bit for bit the same on every machine as far as can be had: tones are made with a polynomial of
plain multiplications and additions (a library's cosine may differ in its last bit between
processors), their amplitudes are rounded to a grid far below one step of the recorder (so that
the last bits of the circuit's solution do not matter), and noise is made from a seeded generator
without a Fourier transform.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from probe.simulate.device import bent, bent_terminals, device_noise
from probe.simulate.network import Recorded, read_shares, recorded, swept
from probe.simulate.spec import StageSpec, TakeSpec, TrueInput
from probe.simulate.waves import cosine, noise

GRID = 2.0**-30
"""Full scale of a recorder over this is the grid of amplitudes: 1/64 of a step of 24 bits."""

BITS = {"PCM_16": 16, "PCM_24": 24, "PCM_32": 32}


def volts(stage: StageSpec, take: TakeSpec) -> NDArray[np.float64]:
    """Return what the recorder makes of one take, frames x channels, V by its declared scale.

    Before quantisation; everything else is in it.
    """
    wave = tones(stage, take, recorded(stage, take))
    if take.sweep is not None and take.plays:
        wave += _sweep(stage, take)
    gains = np.array([i.gain for i in stage.true.inputs[: len(take.channels)]])
    if take.hears_device and any(not b.straight for b in stage.bends):
        wave = bent_terminals(stage, take, wave / gains) * gains
    if take.hears_device and take.powered and not stage.noise.silent:
        wave += device_noise(stage, take) * gains
    for channel in range(len(take.channels)):
        true = stage.true.inputs[channel]
        stream = np.random.default_rng([*take.noise_seed, channel])
        hiss = noise(
            true.noise_density, true.noise_corner_hz, wave.shape[0], take.sample_rate, stream
        )
        wave[:, channel] += true.gain * hiss
        wave[:, channel] += true.gain * _hum(stage, take, true)
        wave[:, channel] = bent(true.bend, wave[:, channel])
    return wave


def samples(stage: StageSpec, take: TakeSpec) -> NDArray[np.int32] | NDArray[np.float64]:
    """Return the samples of one take as they are stored, frames x channels.

    Integers stand at the top of 32 bits, whatever their width, as sound files hand them over;
    floating-point samples are over full scale.
    """
    scale = np.array([i.volts_full_scale for i in take.inputs])
    relative: NDArray[np.float64] = volts(stage, take) / scale
    bits = BITS.get(stage.sample)
    if bits is None:
        return relative
    stream = np.random.default_rng([*take.noise_seed, 1000])
    return quantised(relative, bits, stream)


def quantised(
    relative: NDArray[np.float64], bits: int, stream: np.random.Generator
) -> NDArray[np.int32]:
    """Return samples (1.0 is full scale) as integers of ``bits``, at the top of 32 bits.

    Triangular dither of two steps' width; clipped at full scale.
    """
    step = 2.0 ** (bits - 1)
    dither = stream.random(relative.shape) - stream.random(relative.shape)
    rounded = np.floor(relative * step + dither + 0.5)
    clipped = np.clip(rounded, -step, step - 1.0)
    return np.asarray(clipped.astype(np.int64) << (32 - bits), dtype=np.int32)


def tones(stage: StageSpec, take: TakeSpec, found: Recorded) -> NDArray[np.float64]:
    """Every tone as the recorder's clock and the gate let it through, frames x channels."""
    frames, channels = take.frames, len(take.channels)
    wave = np.zeros((frames, channels))
    scale = np.array([i.volts_full_scale for i in take.inputs])
    own = stage.true.injector_clock == "recorder"
    device, injectors = read_shares(stage, take, found)
    for share, rate in ((device, 1.0), (injectors, 1.0 + stage.true.clock_error if own else 1.0)):
        _add_tones(wave, stage, take, found.hz * rate, share, scale)
    return np.asarray(wave * _gate(take)[:, None])


SWEEP_POINTS = 1200
"""Frequencies at which a circuit is solved for a sweep, 1 Hz to half the sample rate: between
them its response is straight, to a few millionths."""


def _sweep(stage: StageSpec, take: TakeSpec) -> NDArray[np.float64]:
    """Return an exponential sweep as every channel reads it, frames x channels.

    The drive, sampled on the recorder's clock, is filtered through the circuit's response in one
    transform and rounded to `GRID`, so that the last bits of the transform do not matter.
    """
    sweep = take.sweep
    assert sweep is not None
    rate = take.sample_rate * (1.0 + stage.true.clock_error)
    t = np.arange(take.frames) / rate - take.delay_s
    inside = (t >= 0.0) & (t < sweep.seconds)
    span = math.log(sweep.to_hz / sweep.from_hz)
    played = np.clip(t, 0.0, sweep.seconds)
    turns = sweep.from_hz * sweep.seconds / span * np.expm1(played * span / sweep.seconds)
    drive = math.sqrt(2.0) * cosine(turns - 0.25) * inside
    if take.fade_s > 0.0:
        ramp = np.clip(np.minimum(t, sweep.seconds - t) / take.fade_s, 0.0, 1.0)
        drive *= 0.5 - 0.5 * cosine(0.5 * ramp)
    length = 1 << (2 * take.frames - 1).bit_length()
    hz = np.fft.rfftfreq(length, 1.0 / rate)
    points = np.geomspace(1.0, rate / 2.0, SWEEP_POINTS)
    response = swept(stage, take, points)
    spectrum = np.fft.rfft(drive, length)
    wave = np.zeros((take.frames, len(take.channels)))
    where = np.log(np.maximum(hz, points[0]))
    for channel, inlet in enumerate(take.inputs):
        real = np.interp(where, np.log(points), response[:, channel].real)
        imag = np.interp(where, np.log(points), response[:, channel].imag)
        heard = np.fft.irfft(spectrum * (real + 1j * imag), length)[: take.frames]
        step = inlet.volts_full_scale * GRID
        wave[:, channel] = np.round(heard / step) * step
    return wave


def _add_tones(
    wave: NDArray[np.float64],
    stage: StageSpec,
    take: TakeSpec,
    hz: NDArray[np.float64],
    rms: NDArray[np.complex128],
    scale: NDArray[np.float64],
) -> None:
    """Add ``sqrt(2) |v| cos(2 pi f t + angle(v))``; t on the player's clock, from ``delay_s``."""
    n = np.arange(wave.shape[0], dtype=np.float64)
    true_rate = take.sample_rate * (1.0 + stage.true.clock_error)
    for tone, phasor in zip(hz.tolist(), rms, strict=True):
        real = np.round(math.sqrt(2.0) * phasor.real / (scale * GRID)) * (scale * GRID)
        imag = np.round(math.sqrt(2.0) * phasor.imag / (scale * GRID)) * (scale * GRID)
        if not (np.any(real) or np.any(imag)):
            continue
        turns = n * (tone / true_rate) - math.fmod(tone * take.delay_s, 1.0)
        along, across = cosine(turns), cosine(turns - 0.25)
        for channel in range(wave.shape[1]):
            wave[:, channel] += real[channel] * along
            wave[:, channel] -= imag[channel] * across


def _gate(take: TakeSpec) -> NDArray[np.float64]:
    """Return the level of the tones over time, shape (frames,): silence, ramps, the step."""
    t = np.arange(take.frames, dtype=np.float64) / take.sample_rate
    end = take.silence_before_s + take.seconds
    gate = ((t >= take.silence_before_s) & (t < end)).astype(np.float64)
    if take.fade_s > 0.0:
        near = np.minimum(t - take.silence_before_s, end - t)
        ramp = np.clip(near / take.fade_s, 0.0, 1.0)
        gate *= 0.5 - 0.5 * cosine(0.5 * ramp)
    gate[t >= take.step_at_s] *= take.step_ratio
    if take.levels_volts:
        step = np.floor((t - take.silence_before_s) / take.step_s + 1e-9).astype(np.int64)
        levels = np.array(take.levels_volts) / take.drive_volts
        gate *= levels[np.clip(step, 0, len(levels) - 1)]
    return gate


def _hum(stage: StageSpec, take: TakeSpec, true: TrueInput) -> NDArray[np.float64]:
    """Hum on one channel; one random instant per take, shared by all channels and lines."""
    start = np.random.default_rng([*take.noise_seed, 2000]).uniform(0.0, 60.0)
    n = np.arange(take.frames, dtype=np.float64)
    rate = take.sample_rate * (1.0 + stage.true.clock_error)
    total = np.zeros(take.frames)
    for line in true.hum:
        offset = math.fmod(line.hz * start, 1.0) + line.phase_rad / (2 * math.pi)
        total += math.sqrt(2.0) * line.volts * cosine(n * (line.hz / rate) + offset)
    return total
