"""Takes made on the spot: tones of known phasors, written straight from their definition."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from probe.session.model import Injection, RecorderInput, Take

TONES = (20.0, 41.0, 83.0, 167.0, 331.0, 997.0, 1531.0, 2503.0, 4999.0, 9973.0, 14983.0, 19997.0)
INPUT = RecorderInput(8.0, 0.005, 20000.0, 0.01, 150e-12, 20e-12)


def take(
    tones: tuple[float, ...] = TONES,
    *,
    channels: tuple[str, ...] = ("hot", "cold"),
    sample_rate: int = 48000,
    seconds: float = 4.0,
    injected: tuple[float, ...] = (),
    signal: str = "multitone",
) -> Take:
    injections = ()
    if injected:
        injections = (Injection("cold", 10e3, 0.001, "R2", 0.3, 0.005, injected, None),)
    return Take(
        name="made",
        file="made.wav",
        path=Path("made.wav"),
        side="left",
        channels=channels,  # type: ignore[arg-type]
        inputs=(INPUT,) * len(channels),
        signal=signal,  # type: ignore[arg-type]
        tones_hz=tones,
        phases_rad=None,
        drive_volts=None,
        drive_dbfs=None,
        volume="",
        state="play",
        driven_input_leg="both",
        timebase=None,
        start_frame=0,
        loads=(),
        injections=injections,
        sample_rate=sample_rate,
        frames=round(seconds * sample_rate),
    )


def seconds_of(take_: Take, clock: float = 0.0) -> NDArray[np.float64]:
    """Player's time of every frame, where the recorder runs ``1 + clock`` times its rate."""
    return np.arange(take_.frames) / (take_.sample_rate * (1.0 + clock))


def sound(
    take_: Take, hz: NDArray[np.float64], volts: NDArray[np.complex128], clock: float = 0.0
) -> NDArray[np.float64]:
    """Samples, frames x channels, of tones ``hz`` (F,) with rms phasors ``volts`` (F, C)."""
    t = seconds_of(take_, clock)
    out = np.zeros((take_.frames, volts.shape[1]))
    for f, row in zip(hz, volts, strict=True):
        turn = np.exp(2j * np.pi * f * t)
        for channel, v in enumerate(row):
            if v != 0.0:
                out[:, channel] += np.sqrt(2.0) * (v * turn).real
    return out / np.array([i.volts_full_scale for i in take_.inputs])


def phasors(
    rng: np.random.Generator, count: int, levels: tuple[float, ...] = (0.4, 0.4)
) -> NDArray[np.complex128]:
    """Phasors of random phase; ``levels`` (C,) in volts rms."""
    turn = np.exp(2j * np.pi * rng.random((count, len(levels))))
    return turn * np.array(levels)[None, :]


def in_24_bits(x: NDArray[np.float64], rng: np.random.Generator) -> NDArray[np.float64]:
    """Quantised to 24 bits with triangular dither."""
    dither = rng.random(x.shape) - rng.random(x.shape)
    return np.round(x * 2.0**23 + dither) / 2.0**23


def pieces(x: NDArray[np.float64], size: int = 65536) -> Iterator[NDArray[np.float32]]:
    for at in range(0, len(x), size):
        yield x[at : at + size].astype(np.float32)


def shortened(take_: Take, frames: int) -> Take:
    return replace(take_, frames=frames)
