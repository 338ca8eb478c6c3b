"""Which tones a recording holds: lines that stand out, sorted into sets.

First the sets that are known: those a TOML in the folder states and the bench's own. A set is there
when nearly all of its tones stand where one clock error puts them. Where no set is, what stands out
is a tone unless it is hum (`probe.bench.draft.hum`), or a harmonic or product of stronger ones.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from probe.bench.draft.files import Folder
from probe.bench.draft.hum import LOUD_ALONE, MAINS_HZ, doubtful, hum_lines, mains_of
from probe.bench.tones.sets import DEVICE, INJECTED
from probe.simulate.tones import products

Array = NDArray[np.float64]

OUTSTANDING = 400.0
"""Power over the local median from which a line is more than noise: a line of noise exceeds it
with exp(-400 ln 2)."""

CLOCK = 600e-6
"""How far a recorder's clock may be off; as in `probe.phasors.thresholds`."""

SHARE_OF_SET = 0.75
"""So much of a known set must be heard: low tones may drown in hum."""

RANGE_DB = 40.0
"""Unknown lines further below the strongest are distortion or strays."""

EDGE = 0.4
"""Share of the loudest 50 ms below which a moment belongs to silence or a fade."""

MAIN_LOBE = 4.0
"""Lines this near (bins) are one: half the width of the Blackman window's main lobe, and one."""

SIDE_LOBE = 3.2e-3
SIDE_LOBE_AT = 3.5
"""The Blackman window's first side lobe is 58 dB down, 3.5 bins away, and they fall with the cube
of the distance; this lies above them everywhere."""

CHUNK_S = 0.05
LONGEST_FFT = 1 << 20


@dataclass(frozen=True)
class Lines:
    """Lines of a recording: frequencies and peaks of its loudest channel (full scale 1), Hz."""

    hz: Array
    peak: Array
    resolution_hz: float
    mains_hz: float | None
    """50 or 60 where hum of one of them stands out and of the other does not."""


@dataclass(frozen=True)
class ToneSets:
    """What was recognised: played tones, injected ones; whether they are known exactly."""

    played: tuple[float, ...]
    injected: tuple[float, ...]
    known: bool
    doubtful: tuple[float, ...] = ()
    """Lines taken for hum that are as loud as tones."""


def lines_of(samples: NDArray[np.float32], rate: int) -> Lines:
    """Return the lines that stand out in the loud part of a recording."""
    loud = _loud_part(samples, rate)
    wave = np.asarray(loud, dtype=np.float64)
    frames = len(wave)
    window = np.blackman(frames)
    spectrum = np.abs(np.fft.rfft((wave - wave.mean(axis=0)) * window[:, None], axis=0))
    power = np.max((2.0 * spectrum / np.sum(window)) ** 2, axis=1)
    step = rate / frames
    floor = _floor(power)
    inner = power[1:-1]
    top = (inner > power[:-2]) & (inner >= power[2:]) & (inner > OUTSTANDING * floor[1:-1])
    at = np.flatnonzero(top) + 1
    at = at[at * step >= 8.0]
    a, b, c = (np.log(power[at + k]) for k in (-1, 0, 1))
    offset = 0.5 * (a - c) / (a - 2.0 * b + c)
    hz, peak = (at + offset) * step, np.sqrt(power[at])
    keep = _not_skirts(hz, peak, step)
    hz, peak = hz[keep], peak[keep]
    return Lines(hz, peak, step, mains_of(hz, peak, step))


def _loud_part(samples: NDArray[np.float32], rate: int) -> NDArray[np.float32]:
    """Return the longest loud stretch, its first and last chunk left out."""
    size = max(1, round(CHUNK_S * rate))
    count = len(samples) // size
    if count < 4:
        return samples
    chunks = samples[: count * size].reshape(count, size, -1)
    level = np.sqrt(np.mean(np.asarray(chunks, dtype=np.float64) ** 2, axis=1)).max(axis=1)
    loud = level > EDGE * np.quantile(level, 0.9)
    edges = np.flatnonzero(np.diff(np.concatenate([[0], loud.astype(int), [0]])))
    starts, ends = edges[::2], edges[1::2]
    best = int(np.argmax(ends - starts))
    first, last = int(starts[best]), int(ends[best])
    if last - first > 4:
        first, last = first + 1, last - 1
    return samples[first * size : min(last * size, first * size + LONGEST_FFT)]


def _floor(power: Array) -> Array:
    """Return the local median of the power, over a width that grows with frequency."""
    edges = np.unique(np.geomspace(1, len(power), 120).astype(int))
    centres, medians = [], []
    for low, high in pairwise(edges.tolist()):
        wide = power[max(0, low - 20) : high + 20]
        centres.append(0.5 * (low + high))
        medians.append(np.median(wide))
    return np.maximum(np.interp(np.arange(len(power)), centres, medians), 1e-30)


def _not_skirts(hz: Array, peak: Array, step: float) -> NDArray[np.bool_]:
    """Return which lines stand above what the window makes of stronger ones beside them."""
    keep = np.ones(len(hz), dtype=bool)
    for j in np.argsort(peak)[::-1]:
        if keep[j]:
            away = np.abs(hz - hz[j]) / step
            skirt = SIDE_LOBE * (SIDE_LOBE_AT / np.maximum(away, SIDE_LOBE_AT)) ** 3
            keep[(peak < peak[j]) & ((away < MAIN_LOBE) | (peak < skirt * peak[j]))] = False
    return keep


def sets_of(lines: Lines, folder: Folder) -> ToneSets:
    """Return the tones of a recording, known ones first."""
    device: list[tuple[float, ...]] = []
    injected: list[tuple[float, ...]] = []
    for keys in folder.stated:
        (injected if keys["injected"] else device).append(tuple(float(t) for t in keys["tones_hz"]))
    played = _first_heard([*device, DEVICE.hz], lines)
    fed = _first_heard([*injected, INJECTED.hz], lines)
    if played or fed:
        return ToneSets(played, fed, known=True)
    return _unknown(lines)


def _first_heard(sets: Sequence[tuple[float, ...]], lines: Lines) -> tuple[float, ...]:
    for tones in sets:
        if tones and _heard_share(tones, lines) >= SHARE_OF_SET:
            return tones
    return ()


def _heard_share(tones: tuple[float, ...], lines: Lines) -> float:
    """Return which share of the tones has a line, all within one clock error of their places."""
    if not len(lines.hz):
        return 0.0
    near = np.array([lines.hz[np.argmin(np.abs(lines.hz - f))] for f in tones])
    off = near / np.array(tones) - 1.0
    room = np.maximum(CLOCK, 1.0 * lines.resolution_hz / np.array(tones))
    inside = np.abs(off) <= room
    if not inside.any():
        return 0.0
    sharp = np.array(tones) > 1000.0
    clock = float(np.median(off[inside & sharp])) if (inside & sharp).any() else 0.0
    place = np.abs(near - np.array(tones) * (1.0 + clock))
    return float(np.mean(inside & (place <= np.maximum(lines.resolution_hz, 20e-6 * near))))


def _unknown(lines: Lines) -> ToneSets:
    """Return lines that are neither hum, nor far below the strongest, nor products of stronger."""
    hz, peak = lines.hz, lines.peak
    hum = np.zeros(len(hz), dtype=bool)
    for mains in MAINS_HZ if lines.mains_hz is None else (lines.mains_hz,):
        hum |= hum_lines(hz, peak, mains, lines.resolution_hz)
    weak = hum | _weak_multiples(hz, peak, hum, lines)
    kept = _no_products(lines, np.flatnonzero(~weak))
    asked = doubtful(hz, peak, hum, peak[kept])
    return ToneSets(_tidied(hz[kept], lines), (), known=False, doubtful=_tidied(asked, lines))


def _no_products(lines: Lines, left: NDArray[np.intp]) -> list[int]:
    """Return which of some lines are strong, and no products of stronger ones."""
    hz, peak = lines.hz, lines.peak
    if not len(left):
        return []
    strong = left[peak[left] > peak[left].max() * 10.0 ** (-RANGE_DB / 20.0)]
    kept: list[int] = []
    for j in strong[np.argsort(peak[strong])[::-1]]:
        louder = [float(hz[k]) for k in kept if peak[j] < 0.03 * peak[k]]
        if louder:
            mixed = products(louder)
            if np.min(np.abs(mixed - hz[j])) < 2.0 * lines.resolution_hz:
                continue
        kept.append(int(j))
    return kept


def _tidied(hz: Array, lines: Lines) -> tuple[float, ...]:
    return tuple(sorted(_tidy(float(f), lines.resolution_hz) for f in hz))


def _weak_multiples(
    hz: Array, peak: Array, hum: NDArray[np.bool_], lines: Lines
) -> NDArray[np.bool_]:
    """Return lines above 1 kHz that are multiples of the mains and weaker than its hum."""
    sure = hum & (peak <= LOUD_ALONE)
    if lines.mains_hz is None or not sure.any():
        return np.zeros(len(hz), dtype=bool)
    order = np.round(hz / lines.mains_hz)
    near = np.abs(hz - order * lines.mains_hz) <= np.maximum(0.001 * hz, lines.resolution_hz)
    return np.asarray(near & (peak < peak[sure].max()))


def _tidy(hz: float, resolution: float) -> float:
    """Return a frequency at the roundest place within a tenth of the resolution."""
    for places in (0, 1, 2, 3):
        if abs(round(hz, places) - hz) < 0.1 * resolution:
            return round(hz, places)
    return round(hz, 4)
