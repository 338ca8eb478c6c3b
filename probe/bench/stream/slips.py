"""Samples that were lost without a word, found from the phase of the tones recorded.

A tone that runs on turns by the same angle from one look to the next; where samples were dropped
or filled in, it jumps by ``2 pi f n / rate``, by another angle for every tone. Looks are Hann
windows of 50 ms every 25 ms, compared two apart, so that they share no sample. Where a block was
replaced by silence the tone is gone for one or two looks and back again.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

LOOK_S = 0.05
"""Length of a look: tones 80 Hz apart do not touch each other."""

LEAST_HZ = 400.0
"""Tones below are used only where there is no other: their neighbours are too near."""

MOST_TONES = 6
"""The strongest are enough: no slip turns six tones by whole turns."""

STEADY = 0.03
"""Median change between looks, relative, up to which a tone can be judged by."""

JUMP_RAD = 0.2
"""Turn between two looks that is a jump: six times what is steady."""

GAP = 0.5
"""Share of its usual level below which a tone is missing."""

LONGEST_GAP_LOOKS = 20
"""A tone missing for longer (half a second) was muted, not lost by a card."""


def slips(samples: NDArray[np.floating], rate: float, tones_hz: Sequence[float]) -> tuple[int, ...]:
    """Return the frames near which samples were lost or filled in; none found: empty.

    Parameters
    ----------
    samples
        Shape (frames, channels).
    rate
        Frames per second.
    tones_hz
        What was playing, Hz, to within some hundred ppm.
    """
    length = round(LOOK_S * rate)
    hop = length // 2
    count = (samples.shape[0] - length) // hop + 1
    if count < 8:
        return ()
    looks = np.lib.stride_tricks.sliding_window_view(samples, length, axis=0)[::hop]
    found: set[int] = set()
    for hz in _useful(tones_hz):
        kernel = np.hanning(length) * np.exp(-2j * np.pi * hz * np.arange(length) / rate)
        z = np.asarray(looks @ kernel)
        z *= np.exp(-2j * np.pi * hz * hop / rate * np.arange(z.shape[0]))[:, None]
        loudest = int(np.argmax(np.median(np.abs(z), axis=0)))
        found |= _jumps(z[:, loudest])
    return tuple(int((look + 1.5) * hop) for look in sorted(_firsts(found)))


def tones_of(samples: NDArray[np.float64], rate: float) -> tuple[float, ...]:
    """Return the tones of one period of a loop, the strongest first, Hz; noise has none."""
    spectrum = np.abs(np.fft.rfft(samples))
    spectrum[0] = 0.0
    strong = np.flatnonzero(spectrum > 1e-3 * np.max(spectrum, initial=0.0))
    if strong.size == 0 or strong.size > _MOST_LINES:
        return ()
    order = strong[np.argsort(-spectrum[strong], kind="stable")]
    return tuple((order * rate / samples.size).tolist())


_MOST_LINES = 200


def _useful(tones_hz: Sequence[float]) -> Sequence[float]:
    high = [hz for hz in tones_hz if hz >= LEAST_HZ]
    return (high or list(tones_hz))[:MOST_TONES]


def _jumps(z: NDArray[np.complex128]) -> set[int]:
    """Return the looks after which one tone jumps or is missing for a moment."""
    usual = float(np.median(np.abs(z)))
    if usual <= 0.0:
        return set()
    turned = z[2:] * np.conj(z[:-2])
    steady = np.median(turned.real) + 1j * np.median(turned.imag)
    rotation = steady / (abs(steady) or 1.0)
    changes = np.abs(z[2:] - z[:-2] * rotation) / usual
    if float(np.median(changes)) > STEADY:
        return set()
    loud = np.abs(z) > GAP * usual
    angles = np.abs(np.angle(turned * np.conj(rotation)))
    jumps = np.flatnonzero((angles > JUMP_RAD) & loud[2:] & loud[:-2])
    return {int(look) for look in jumps} | _gaps(loud)


def _gaps(loud: NDArray[np.bool_]) -> set[int]:
    """Return the looks before short stretches in which a tone is missing."""
    edges = np.flatnonzero(np.diff(loud.astype(np.int8)))
    found = set()
    for down, up in pairwise(edges):
        if loud[down] and up - down <= LONGEST_GAP_LOOKS:
            found.add(int(down))
    return found


def _firsts(looks: set[int]) -> set[int]:
    """Return the first of every run of looks in a row."""
    return {look for look in looks if look - 1 not in looks and look - 2 not in looks}
