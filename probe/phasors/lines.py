"""Which lines are looked for: tones played or injected, and the mains harmonics beside them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from probe.phasors import thresholds as limits
from probe.session.model import Take

SAME_TONE = 1e-9
"""Relative distance below which two declared frequencies are one tone."""


@dataclass(frozen=True)
class Lines:
    """Analysis lines of a take: F tones, then H hum lines.

    Attributes
    ----------
    hz
        Shape (F,), ascending.
    played
        Shape (F,), bool.
    injected
        Shape (F, injections), bool.
    orders
        Shape (H,), mains harmonics.
    mains_hz
        Nominal mains frequency.
    """

    hz: NDArray[np.float64]
    played: NDArray[np.bool_]
    injected: NDArray[np.bool_]
    orders: NDArray[np.int64]
    mains_hz: float

    @property
    def tones(self) -> NDArray[np.int64]:
        """Indices of the tones among the lines."""
        return np.arange(len(self.hz))

    @property
    def hum(self) -> NDArray[np.int64]:
        """Indices of the hum lines among the lines."""
        return np.arange(len(self.hz), len(self.hz) + len(self.orders))

    def all_hz(self) -> NDArray[np.float64]:
        """Nominal frequency of every line, Hz."""
        return np.concatenate([self.hz, self.orders * self.mains_hz])


def lines_of(take: Take, mains_hz: float) -> Lines:
    """Return the lines to look for in a take."""
    hz, played, injected = _tones(take)
    orders = hum_orders(hz, mains_hz, take.sample_rate)
    return Lines(hz, played, injected, orders, mains_hz)


def _tones(
    take: Take,
) -> tuple[NDArray[np.float64], NDArray[np.bool_], NDArray[np.bool_]]:
    device = take.tones_hz if take.signal in ("multitone", "tone") else ()
    sources = [device] + [i.tones_hz if i.volts > 0.0 else () for i in take.injections]
    every = np.sort(np.array([f for source in sources for f in source], dtype=np.float64))
    hz = every[np.diff(every, prepend=-1.0) > SAME_TONE * every]
    member = np.zeros((len(hz), len(sources)), dtype=bool)
    for column, source in enumerate(sources):
        for tone in source:
            member[int(np.argmin(np.abs(hz - tone))), column] = True
    return hz, member[:, 0], member[:, 1:]


def hum_orders(hz: NDArray[np.float64], mains_hz: float, sample_rate: float) -> NDArray[np.int64]:
    """Return the mains harmonics worth knowing: the lowest, and two on each side of each tone."""
    top = int(min(limits.HUM_TOP_HZ, 0.45 * sample_rate) / mains_hz)
    orders = set(range(1, min(limits.HUM_ALWAYS, top) + 1))
    for tone in hz[hz < limits.HUM_TOP_HZ]:
        below = int(tone // mains_hz)
        nearest = round(tone / mains_hz)
        orders.update((below, below + 1))
        if abs(tone - nearest * mains_hz) < 0.01 * tone:
            orders.update((nearest - 1, nearest, nearest + 1))
    return np.array(sorted(m for m in orders if 1 <= m <= top), dtype=np.int64)
