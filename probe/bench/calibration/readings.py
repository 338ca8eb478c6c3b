"""What a recording of the bench itself says: tones on two inputs, noise, hum, distortion."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from probe.errors import NotUsable
from probe.phasors.measure import measure_take
from probe.phasors.thresholds import READ_FRAMES
from probe.session.model import RecorderInput, Take

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]
Samples = NDArray[np.float32]
"""Frames x inputs, full scale 1."""

NOISE_BAND_HZ = (20.0, 20000.0)
HUM_TOP_HZ = 1000.0
HUM_WIDTH_HZ = 1.0
"""Half width round each mains line that counts as hum; the mains wanders by less in minutes."""

HARMONICS = 9
"""Highest order looked at; those above fall below the noise of any converter."""

_CHANNELS = ("hot", "cold", "single-ended", "reference")


class Silent(NotUsable):
    """No input hears anything of what is played."""


@dataclass(frozen=True)
class Heard:
    """Tones of a recording: peaks (complex, full scale 1), shape (F, inputs), and their sd.

    ``sd`` is the standard deviation of each of real and imaginary part.
    """

    hz: Array
    peaks: Complex
    sd: Array
    clock_ppm: float
    clock_u_ppm: float

    def ratio(self) -> tuple[Complex, Array]:
        """Return input 1 over input 2 and its relative standard deviation, each part."""
        one, two = self.peaks[:, 0], self.peaks[:, 1]
        sd = np.hypot(self.sd[:, 0] / np.abs(one), self.sd[:, 1] / np.abs(two))
        return one / two, np.asarray(sd)

    def near(self, hz: float) -> int:
        """Return the index of the tone nearest to ``hz``."""
        return int(np.argmin(np.abs(self.hz - hz)))


def heard(
    samples: Samples, rate: int, hz: tuple[float, ...], mains_hz: float, what: str,
    *, silent: tuple[int, ...] = (),
) -> Heard:  # fmt: skip
    """Return the tones of a recording.

    Parameters
    ----------
    silent
        Inputs that need not hear them (from 0).

    Raises
    ------
    NotUsable
        Clipped, unsteady, or an input hears nothing; the message begins with ``what``.
    """
    take = _take(samples, rate, hz, what)
    found = measure_take(take, mains_hz, pieces=_pieces(samples))
    if not found.usable:
        reasons = "; ".join(r.message for r in found.remarks) or "nothing steady was heard"
        nothing = any(r.code == "nothing-heard" for r in found.remarks)
        raise (Silent if nothing else NotUsable)(f"{what}: {reasons}")
    deaf = [k for k in np.flatnonzero(found.unheard).tolist() if k not in silent]
    if deaf:
        raise NotUsable(
            f"{what}: input {deaf[0] + 1} hears none of the tones: a plug is not in, the output is "
            "turned down, or another input was recorded"
        )
    variance = np.diagonal(found.noise, axis1=1, axis2=2).real
    return Heard(
        found.hz,
        found.volts,
        np.sqrt(0.5 * variance),
        1e6 * found.clock_error,
        1e6 * found.clock_u,
    )


def _take(samples: Samples, rate: int, hz: tuple[float, ...], what: str) -> Take:
    """A take whose volts are peaks of full scale: phasors are rms, so full scale is sqrt(2)."""
    inlet = RecorderInput(2.0**0.5, 0.0, 1e4, 0.0, 0.0, 0.0)
    return Take(
        name=what,
        file="",
        path=Path(),
        side="mono",
        channels=_CHANNELS[: samples.shape[1]],  # type: ignore[arg-type]
        inputs=(inlet,) * samples.shape[1],
        signal="multitone",
        tones_hz=hz,
        phases_rad=None,
        drive_volts=None,
        drive_dbfs=None,
        volume="",
        state="play",
        driven_input_leg="both",
        timebase=None,
        start_frame=0,
        loads=(),
        injections=(),
        sample_rate=rate,
        frames=len(samples),
    )


def _pieces(samples: Samples) -> Iterator[Samples]:
    for first in range(0, len(samples), READ_FRAMES):
        yield np.ascontiguousarray(samples[first : first + READ_FRAMES], dtype=np.float32)


@dataclass(frozen=True)
class Quiet:
    """Noise and hum of each input, rms, full scale 1 (peak); and relative sd of each."""

    noise: Array
    hum: Array
    noise_sd: float
    hum_sd: Array


def quiet(samples: Samples, rate: int, mains_hz: float) -> Quiet:
    """Return noise (20 Hz to 20 kHz) and hum (mains lines to 1 kHz) of a silent recording.

    Power spectrum of the whole under a Hann window; bins within `HUM_WIDTH_HZ` of a mains line
    are hum, less the noise beside them. The power of a sum of bins has the variance of the noise
    in them, of the floor taken off, and of the noise that adds to the line in phase:
    c (n f² + n² f² / m + 2 h f) for n bins of hum h, m bins beside, floor f a bin and
    c = N Σw⁴ / (Σw²)², by Parseval.
    """
    frames = len(samples)
    window = np.hanning(frames)
    wave = np.asarray(samples, dtype=np.float64)
    spectrum = np.fft.rfft((wave - wave.mean(axis=0)) * window[:, None], axis=0)
    power = 2.0 * np.abs(spectrum) ** 2 / (frames * np.sum(window**2))
    hz = np.arange(len(power)) * rate / frames
    inside = (hz >= NOISE_BAND_HZ[0]) & (hz <= min(NOISE_BAND_HZ[1], 0.5 * rate))
    lines = np.round(hz / mains_hz) * mains_hz
    width = max(HUM_WIDTH_HZ, 3.0 * rate / frames)
    at_line = (np.abs(hz - lines) <= width) & (lines > 0.0) & (lines <= HUM_TOP_HZ)
    beside = (np.abs(hz - lines) <= 4.0 * width) & (lines > 0.0) & (lines <= HUM_TOP_HZ) & ~at_line
    floor = np.mean(power[beside], axis=0)
    hum = np.maximum(np.sum(power[at_line & inside], axis=0) - at_line.sum() * floor, 0.0)
    noise = np.sum(power[inside & ~at_line], axis=0) + np.sum(at_line & inside) * floor
    common = frames * np.sum(window**4) / np.sum(window**2) ** 2
    at, by = int(at_line.sum()), int(beside.sum())
    hum_variance = common * (floor**2 * at * (1.0 + at / by) + 2.0 * hum * floor)
    return Quiet(
        np.sqrt(noise),
        np.sqrt(hum),
        float(0.5 * np.sqrt(common / inside.sum())),
        np.asarray(0.5 * np.sqrt(hum_variance) / np.maximum(hum, 1e-30)),
    )


@dataclass(frozen=True)
class Distortion:
    """Harmonics over the fundamental of each input, ratio, and its u95."""

    thd: Array
    u95: Array


def distortion(samples: Samples, rate: int, hz: float, mains_hz: float, what: str) -> Distortion:
    """Return the distortion of one tone, harmonics to the ninth within 0.45 of the rate."""
    orders = [m for m in range(1, HARMONICS + 1) if m * hz < 0.45 * rate]
    found = heard(samples, rate, tuple(m * hz for m in orders), mains_hz, what)
    first = np.abs(found.peaks[0])
    power = np.sum(np.abs(found.peaks[1:]) ** 2, axis=0)
    variance = np.sum(2.0 * found.sd[1:] ** 2, axis=0)
    thd = np.sqrt(np.maximum(power - variance, 0.0)) / first
    # of a sum of squares: sd = sqrt(4 power s^2) for strong lines, sqrt(variance) for weak ones
    return Distortion(thd, 2.0 * np.sqrt(variance / 2.0) / first)
