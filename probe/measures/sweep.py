"""Exponential sweeps: the linear response of an output, its distortion set apart.

    x(t) = sin(K (exp(t/L) - 1))     L = T / ln(f2/f1)     K = 2 pi f1 L                (1)

Dividing by the spectrum of (1) gives the impulse response; the n-th harmonic comes out of it
``L ln n`` early (A. Farina, AES 108th Convention, 2000, preprint 5093; from memory), so a gate
round the main impulse leaves the linear response alone. What the gate and the ends of the sweep do
to an ideal impulse is divided out. The player's start need not be known, its clock is; where the
drive was recorded it takes the place of (1), and the recorder's own response goes out with it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from probe.measures.lines import samples_of
from probe.measures.model import Subject
from probe.phasors.model import TakePhasors
from probe.session.model import Sweep, Take
from probe.stage.network import admittance, elements_of
from probe.stage.quantities import nearest
from probe.stage.source import Source

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]

POINTS_PER_OCTAVE = 12
"""Of the response that is kept."""

MOST_FRAMES = 1 << 25
"""Of a take, which is transformed as a whole: eleven minutes at 48 kHz."""

EDGE = 1.06
"""The outermost part of a sweep, where its ends and a fade are felt, is left out."""

LEFT_SHARE = 0.4
"""Of the distance to the second harmonic's impulse that is taken in before the main one."""

LONGEST_TAIL_S = 1.0
"""Of the impulse response: a coupling capacitor of 100 uF into 10 kohm has died away to a third,
and what is left at 20 Hz is below a hundredth of a decibel."""

HEARD = 10.0
"""Times its noise at 1 kHz that an output must stand above, to have a response."""

DRAWS = 200


@dataclass(frozen=True)
class Swept:
    """Response of one output from a sweep, as of ``response.Response``."""

    hz: Array
    ratio: Complex
    reference_hz: float
    limited: bool
    files: tuple[str, ...]
    note: str


def signal(sweep: Sweep, sample_rate: float) -> Array:
    """Return (1) sampled, amplitude 1."""
    span = np.log(sweep.to_hz / sweep.from_hz)
    t = np.arange(round(sweep.seconds * sample_rate)) / sample_rate
    turns = sweep.from_hz * sweep.seconds / span * np.expm1(t * span / sweep.seconds)
    return np.asarray(np.sin(2.0 * np.pi * turns))


@dataclass(frozen=True)
class Impulse:
    """Linear responses of all channels at chosen frequencies.

    ``volts`` (F, C) complex per unit of the drive, ``sd`` (F, C) its standard deviation.
    """

    hz: Array
    volts: Complex
    sd: Array


def deconvolve(x: Array, y: Array, sample_rate: float, sweep: Sweep, hz: Array) -> Impulse:
    """Return the linear response of ``y`` to the drive ``x``.

    Parameters
    ----------
    x
        The drive, frames.
    y
        What was recorded, frames x channels.
    sample_rate
        Of both, on the player's clock, Hz.
    sweep
        What was played.
    hz
        Where the response is wanted, within the sweep.
    """
    count = 1 << int(np.ceil(np.log2(len(x) + len(y))))
    f = np.fft.rfftfreq(count, 1.0 / sample_rate)
    band = _band(f, sweep)
    drive = np.fft.rfft(x, count)
    inverse = np.where(band > 0.0, band / np.where(np.abs(drive) > 0.0, drive, 1.0), 0.0)
    ideal = np.fft.irfft(band, count)
    h = np.fft.irfft(np.fft.rfft(y, count, axis=0) * inverse[:, None], count, axis=0)
    loudest = int(np.argmax(np.abs(h).max(axis=0)))
    at = int(np.argmax(np.abs(h[:, loudest])))
    gate = _gate(sweep, sample_rate)
    plain = _part(ideal, 0, gate)
    along = np.exp(-2j * np.pi * np.outer(hz / sample_rate, gate.offsets))
    whole = along @ plain
    volts = (along @ _part(h, at, gate)) / whole[:, None]
    noise = np.stack([along @ _part(h, at + shift, gate) for shift in _quiet(gate, count, len(x))])
    size = np.sqrt(np.mean(np.abs(noise) ** 2, axis=0)) / np.abs(whole)[:, None]
    return Impulse(hz, volts, _smooth(size))


def _band(f: NDArray[Any], sweep: Sweep) -> Array:
    """1 within the sweep, falling to 0 over a third of an octave outside it."""
    safe = np.maximum(f, 1e-9)
    low = np.log2(safe / sweep.from_hz) * 3.0 + 1.0
    high = np.log2(sweep.to_hz / safe) * 3.0 + 1.0
    inside = np.clip(np.minimum(low, high), 0.0, 1.0)
    return np.asarray(0.5 - 0.5 * np.cos(np.pi * inside))


@dataclass(frozen=True)
class _Gate:
    offsets: Array
    shape: Array


def _gate(sweep: Sweep, sample_rate: float) -> _Gate:
    """Return which samples round the main impulse count, and how much."""
    early = sweep.seconds / np.log(sweep.to_hz / sweep.from_hz) * np.log(2.0)
    left = max(16, round(LEFT_SHARE * early * sample_rate))
    right = max(64, round(min(LONGEST_TAIL_S, sweep.seconds) * sample_rate))
    offsets = np.arange(-left, right, dtype=np.float64)
    shape = np.ones(len(offsets))
    rise, fall = left // 2, right // 4
    shape[:rise] = 0.5 - 0.5 * np.cos(np.pi * (np.arange(rise) + 0.5) / rise)
    shape[-fall:] = 0.5 + 0.5 * np.cos(np.pi * (np.arange(fall) + 0.5) / fall)
    return _Gate(offsets, shape)


def _part(h: Array, at: int, gate: _Gate) -> Array:
    places = (at + gate.offsets.astype(np.int64)) % len(h)
    part = h[places]
    return np.asarray(part * (gate.shape if h.ndim == 1 else gate.shape[:, None]))


def _quiet(gate: _Gate, count: int, played: int) -> list[int]:
    """Return shifts of the gate to places without any impulse: after the main one's tail."""
    length = len(gate.offsets)
    room = min(count - length, played) // length
    return [round(1.2 * length + n * length) for n in range(max(1, min(6, room - 2)))]


def _smooth(size: Array) -> Array:
    """Running root mean square over five points: a few shifts say little about one frequency."""
    kernel = np.ones(5) / 5.0
    padded = np.pad(size**2, ((2, 2), (0, 0)), mode="edge")
    return np.sqrt(
        np.stack([np.convolve(padded[:, c], kernel, "valid") for c in range(size.shape[1])], axis=1)
    )


def response(subject: Subject, source: Source | None, output: str) -> Swept | None:
    """Return the response of an output from the first sweep that hears it, None without one."""
    wanted = {"hot", "cold"} if output == "differential" else {"single-ended"}
    for take in subject.takes("sweep"):
        usable = take.state == "play" and not take.crosstalk and take.driven_input_leg == "both"
        usable &= not take.loads and not take.injections
        heard = wanted <= set(take.channels) or (
            output == "differential" and "difference" in take.channels
        )
        if usable and heard and take.frames <= MOST_FRAMES and take.sweep is not None:
            return _of_take(take, take.sweep, subject, source, output)
    return None


def _of_take(
    take: Take, sweep: Sweep, subject: Subject, source: Source | None, output: str
) -> Swept | None:
    hz = _grid(sweep, take.sample_rate)
    rate = take.sample_rate * (1.0 + clock_error(subject.phasors))
    y = samples_of(take)
    reference = "reference" in take.channels
    x = y[:, take.channels.index("reference")] if reference else signal(sweep, rate)
    found = deconvolve(x, y, rate, sweep, hz)
    middle = nearest(hz)
    draws, limited = _output(found, take, source, output)
    level, noise = abs(draws[0, middle]), float(np.std(draws[1:, middle]))
    if level <= HEARD * noise:
        return None
    ratio = draws / draws[:, middle : middle + 1]
    if not reference:
        ratio = _without_delay(hz, ratio)
    note = "" if reference else "the recorder's own response is in it; phase up to a delay"
    return Swept(hz, ratio, float(hz[middle]), limited, (take.file,), note)


def clock_error(phasors: tuple[TakePhasors, ...]) -> float:
    """Return the recorder's clock error as the takes with tones found it, their median."""
    found = [p.clock_error for p in phasors if p.usable]
    return float(np.median(found)) if found else 0.0


def _grid(sweep: Sweep, sample_rate: float) -> Array:
    low, high = sweep.from_hz * EDGE, min(sweep.to_hz / EDGE, 0.46 * sample_rate)
    steps = np.arange(
        np.ceil(POINTS_PER_OCTAVE * np.log2(low / 1000.0)),
        np.floor(POINTS_PER_OCTAVE * np.log2(high / 1000.0)) + 1,
    )
    return np.asarray(1000.0 * 2.0 ** (steps / POINTS_PER_OCTAVE))


def _output(found: Impulse, take: Take, source: Source | None, output: str) -> tuple[Complex, bool]:
    """Return (1 + D, F) of one output, recorder's load given back, and True where it was not."""
    rng = np.random.default_rng(17)
    shape = (DRAWS + 1, *found.volts.shape)
    white = (rng.standard_normal(shape) + 1j * rng.standard_normal(shape)) / np.sqrt(2.0)
    white[0] = 0.0
    volts = found.volts + found.sd * white
    if "difference" in take.channels and output == "differential":
        return volts[..., take.channels.index("difference")], True
    terminals = np.zeros((DRAWS + 1, len(found.hz), 3), dtype=np.complex128)
    for c, name in enumerate(take.channels):
        if name in ("hot", "cold", "single-ended"):
            terminals[..., ("hot", "cold", "single-ended").index(name)] = volts[..., c]
    z = None if source is None else _impedances(source, found.hz, output)
    if z is not None:
        y = admittance(elements_of(take), found.hz)
        current = np.einsum("fij,dfj->dfi", y, terminals)
        terminals = terminals + np.einsum("dfij,dfj->dfi", z, current)
    if output == "single_ended":
        return terminals[..., 2], z is None
    return terminals[..., 0] - terminals[..., 1], z is None


def _impedances(source: Source, hz: Array, output: str) -> Complex | None:
    """Return leg impedances (1 + DRAWS, F, 3, 3) over log f between tones, None if not known.

    Held beyond the outermost tones. What is not known of other terminals counts as nothing.
    """
    used = slice(0, 2) if output == "differential" else slice(2, 3)
    known = np.isfinite(source.legs_z[:, used, used]).all(axis=(1, 2))
    if known.sum() < 2:
        return None
    pick = np.arange(DRAWS) % max(len(source.legs_z_draws), 1)
    draws = source.legs_z_draws[pick] if len(source.legs_z_draws) else source.legs_z[None]
    z = np.concatenate([source.legs_z[None], draws])[:, known]
    tones = np.log(source.hz[known])
    at = np.clip(np.searchsorted(tones, np.log(hz)), 1, len(tones) - 1)
    part = np.clip((np.log(hz) - tones[at - 1]) / (tones[at] - tones[at - 1]), 0.0, 1.0)
    part = part[None, :, None, None]
    between = (1.0 - part) * z[:, at - 1] + part * z[:, at]
    kept = np.zeros((DRAWS + 1, len(hz), 3, 3), dtype=np.complex128)
    kept[: len(between), :, used, used] = between[:, :, used, used]
    kept[len(between) :] = kept[:1]
    return kept


def _without_delay(hz: Array, ratio: Complex) -> Complex:
    """Take out the delay that turns the middle of the band: none is known to be the device's."""
    middle = (hz > 400.0) & (hz < 4000.0)
    if middle.sum() < 3:
        return ratio
    phase = np.unwrap(np.angle(ratio[0, middle]))
    slope = np.polyfit(hz[middle], phase, 1)[0]
    k = nearest(hz)
    return np.asarray(ratio * np.exp(-1j * slope * (hz - hz[k])))
