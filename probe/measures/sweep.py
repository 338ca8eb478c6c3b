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

EDGE = 2.0 ** (1.0 / 3.0)
"""The outermost third of an octave of a sweep, where its ends and a fade are felt, is left out."""

CUT_EDGE = 2.0
"""... and a whole octave where its beginning is missing: what was played before still rings."""

LEFT_SHARE = 0.7
"""Of the distance to the second harmonic's impulse that is taken in before the main one: the band
limits ring there. With 0.4 a high pass at 18 Hz reads 0.003 dB wrong at 20 Hz, with this 0.0002."""

LONGEST_TAIL_S = 3.0
"""Of the impulse response: a coupling capacitor of 100 uF into 10 kohm has died away. What half
of the tail would say instead counts as doubt."""

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

    ``volts`` (F, C) complex per unit of the drive, ``sd`` (F, C) its standard deviation from noise
    and from where the impulse response was cut off.
    """

    hz: Array
    volts: Complex
    sd: Array


def deconvolve(
    x: Array,
    y: Array,
    sample_rate: float,
    sweep: Sweep,
    hz: Array,
    *,
    start: int | None = None,
    heard: Sweep | None = None,
) -> Impulse:
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
        Where the response is wanted, within the sweep; moved to the nearest bin.
    start
        Frame of ``y`` at which the sweep begins; None: where its answer to ``x`` does.
    heard
        The part of the sweep that was recorded; None: all of it.
    """
    count = 1 << int(np.ceil(np.log2(len(x) + len(y))))
    bins = np.rint(hz * count / sample_rate).astype(np.int64)
    band = _band(np.fft.rfftfreq(count, 1.0 / sample_rate), heard or sweep)
    drive = np.fft.rfft(x, count)
    inverse = np.where(band > 0.0, band / np.where(np.abs(drive) > 0.0, drive, 1.0), 0.0)
    ideal = np.fft.irfft(band, count)
    h = np.fft.irfft(np.fft.rfft(y, count, axis=0) * inverse[:, None], count, axis=0)
    at = int(np.argmax(np.abs(h).max(axis=1)))
    tail = min(LONGEST_TAIL_S, 0.5 * sweep.seconds)
    gate, shorter = (_gate(sweep, sample_rate, t, count) for t in (tail, 0.5 * tail))
    volts, half = (_through(h, ideal, at, g, bins) for g in (gate, shorter))
    left = len(y) - (start if start is not None else at if at < len(y) else at - count)
    noise = _noise(h, at, bins, sweep, sample_rate, left)
    noise = noise * np.sqrt(float(np.sum(gate**2))) / band[bins][:, None]
    moved = np.asarray(bins * (sample_rate / count), dtype=np.float64)
    return Impulse(moved, volts, np.hypot(noise, np.abs(volts - half)))


def _through(h: Array, ideal: Array, at: int, gate: Array, bins: NDArray[np.int64]) -> Complex:
    """Return the response through one gate, (F, C); its delay ``at`` is taken out."""
    main = np.fft.rfft(np.roll(h, -at, axis=0) * gate[:, None], axis=0)[bins]
    return np.asarray(main / np.fft.rfft(ideal * gate)[bins][:, None])


NOISE_S, NOISE_FROM_S = 0.25, 0.3
"""Length of the pieces in which the noise is looked for, and where they begin after the impulse."""


def _noise(
    h: Array, at: int, bins: NDArray[np.int64], sweep: Sweep, sample_rate: float, left: int
) -> Array:
    """Return the noise of one sample of ``h`` at each bin, (F, C): rms per root of samples gated.

    Division by a sweep moves what was recorded at time t, at frequency f, to ``t`` less the time
    the sweep passes f: only up to the end of the recording less that time is there any noise. Of
    the pieces there the median counts, so that the tail of the impulse does not.
    """
    length = round(NOISE_S * sample_rate)
    hz = bins * (sample_rate / len(h))
    passed = sweep.seconds * np.log(hz / sweep.from_hz) / np.log(sweep.to_hz / sweep.from_hz)
    most = max(left / sample_rate - float(passed.min()), NOISE_FROM_S + NOISE_S)
    starts = np.arange(NOISE_FROM_S, most - NOISE_S + 1e-9, 0.5 * NOISE_S)
    shape = np.hanning(length + 2)[1:-1]
    turns = np.rint(bins * (length / len(h))).astype(np.int64)
    found = np.full((len(starts), len(bins), h.shape[1]), np.nan)
    for row, begin in enumerate(starts):
        places = (at + round(begin * sample_rate) + np.arange(length)) % len(h)
        inside = begin + NOISE_S <= left / sample_rate - passed
        lines = np.abs(np.fft.rfft(h[places] * shape[:, None], axis=0)[turns]) ** 2
        found[row, inside] = lines[inside] / np.sum(shape**2)
    return _smooth(_median(found))


def _median(found: Array) -> Array:
    """Return root of the mean power of exponential samples, (N, F, C) to (F, C), by the median.

    Where no piece could be used the nearest frequency's value stands.
    """
    some = np.asarray(np.isfinite(found[:, :, 0]).any(axis=0))
    if not some.any():
        return np.zeros(found.shape[1:])
    power = np.zeros(found.shape[1:])
    power[some] = np.nanmedian(found[:, some], axis=0) / np.log(2.0)
    at = np.arange(found.shape[1])
    nearest_known = np.array([at[some][np.argmin(np.abs(at[some] - k))] for k in at])
    return np.asarray(np.sqrt(power[nearest_known]))


def arrival(y: Array, sweep: Sweep, sample_rate: float) -> int:
    """Return the frame at which the sweep begins, negative where its beginning is missing.

    Where the recording agrees best with the sweep, over all channels.
    """
    x = signal(sweep, sample_rate)
    count = 1 << int(np.ceil(np.log2(len(x) + len(y))))
    drive = np.conj(np.fft.rfft(x, count))
    alike = sum(np.abs(np.fft.irfft(np.fft.rfft(c, count) * drive, count)) ** 2 for c in y.T)
    at = int(np.argmax(np.asarray(alike)))
    return at - count if at > len(y) else at


def heard_part(start: int, frames: int, sweep: Sweep, sample_rate: float) -> Sweep:
    """Return the part of the sweep that ``frames`` hold when it begins at frame ``start``."""
    pace = np.log(sweep.to_hz / sweep.from_hz) / (sweep.seconds * sample_rate)
    length = round(sweep.seconds * sample_rate)
    late, short = max(-start, 0), max(start + length - frames, 0)
    return Sweep(
        sweep.from_hz * float(np.exp(pace * late)),
        sweep.to_hz * float(np.exp(-pace * short)),
        sweep.seconds - (late + short) / sample_rate,
    )


def _band(f: NDArray[Any], sweep: Sweep) -> Array:
    """1 within the sweep, falling to 0 over an octave below it and a third above.

    The wider it falls the shorter it rings.
    """
    safe = np.maximum(f, 1e-9)
    low = np.log2(safe / sweep.from_hz) + 1.0
    high = np.log2(sweep.to_hz / safe) * 3.0 + 1.0
    inside = np.clip(np.minimum(low, high), 0.0, 1.0)
    return np.asarray(0.5 - 0.5 * np.cos(np.pi * inside))


def _gate(sweep: Sweep, sample_rate: float, tail_s: float, count: int) -> Array:
    """Return how much each sample counts, (count,), the main impulse at 0."""
    early = sweep.seconds / np.log(sweep.to_hz / sweep.from_hz) * np.log(2.0)
    left = max(16, round(LEFT_SHARE * early * sample_rate))
    right = min(max(64, round(tail_s * sample_rate)), count - left)
    rise, fall = left // 2, right // 4
    gate = np.zeros(count)
    gate[:right] = 1.0
    gate[right - fall : right] = 0.5 + 0.5 * np.cos(np.pi * (np.arange(fall) + 0.5) / fall)
    gate[-left:] = 1.0
    gate[-left : rise - left] = 0.5 - 0.5 * np.cos(np.pi * (np.arange(rise) + 0.5) / rise)
    return gate


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
    rate = take.sample_rate * (1.0 + clock_error(subject.phasors))
    y = samples_of(take)
    start = arrival(y, sweep, rate)
    late = max(-start, 0)
    part = heard_part(start, len(y), sweep, rate)
    hz = _grid(part, take.sample_rate, CUT_EDGE if late else EDGE)
    if len(hz) < 2 or not hz[0] < 1000.0 < hz[-1]:
        return None
    reference = "reference" in take.channels
    x = y[:, take.channels.index("reference")] if reference else signal(sweep, rate)[late:]
    found = deconvolve(x, y, rate, sweep, hz, start=start, heard=part)
    hz = found.hz
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


def _grid(sweep: Sweep, sample_rate: float, edge: float) -> Array:
    low, high = sweep.from_hz * edge, min(sweep.to_hz / EDGE, 0.46 * sample_rate)
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
