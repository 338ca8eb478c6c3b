"""Hum heard while nothing played: what may hide under tones that stand on mains harmonics."""

from __future__ import annotations

from collections.abc import Iterable
from itertools import islice

import numpy as np
from numpy.typing import NDArray

from probe.phasors import thresholds as limits
from probe.phasors.fit import Window
from probe.phasors.hum import find_mains, levels_of
from probe.phasors.lines import Lines
from probe.phasors.table import block_length, project
from probe.session.model import Take

ENOUGH_PIECES = 32
"""Pieces of a quiet take that are listened to (44 s at 48 kHz)."""


def stands_on_mains(hz: NDArray[np.float64], mains_hz: float, seconds: float) -> bool:
    """Return whether any tone may be indistinguishable from a mains harmonic."""
    order = np.maximum(1.0, np.rint(hz / mains_hz))
    reach = limits.MAINS_RANGE * hz + limits.HUM_RESOLUTION / max(seconds, limits.MIN_SECONDS)
    near = np.abs(hz - order * mains_hz) < reach
    return bool(np.any(near & (hz <= limits.HUM_TOP_HZ)))


def quiet_hum(
    take: Take, mains_hz: float, pieces: Iterable[NDArray[np.float32]]
) -> dict[str, dict[int, float]]:
    """Return the visible mains harmonics of a take without tones.

    Parameters
    ----------
    take
        A take of kind ``idle`` or ``floor``, nothing injected.
    pieces
        Its samples, frames x channels each, full scale 1.

    Returns
    -------
    Channel role to mains order to V rms; the strongest where a role occurs twice.
    """
    top = int(min(limits.HUM_TOP_HZ, 0.45 * take.sample_rate) / mains_hz)
    orders = np.arange(1, min(limits.HUM_ALWAYS, top) + 1, dtype=np.int64)
    none = np.zeros(0, dtype=bool)
    lines = Lines(np.zeros(0), none, np.zeros((0, 0), dtype=bool), orders, mains_hz)
    line_w = 2.0 * np.pi * lines.all_hz() / take.sample_rate
    block = block_length(take.sample_rate, limits.HUM_TOP_HZ)
    some = islice(pieces, ENOUGH_PIECES)
    table = project(some, line_w, block, len(take.channels), lambda _: None)
    out: dict[str, dict[int, float]] = {}
    if table.rows < 4:
        return out
    window = Window(table, 0, table.rows)
    fit = window.solve(np.zeros(0, dtype=np.int64), np.zeros(0))
    mains = find_mains(window, fit, lines, 1.0)
    if not len(mains.seen):
        return out
    peaks = np.abs(levels_of(window, fit, mains, mains.seen))
    for channel, (role, inlet) in enumerate(zip(take.channels, take.inputs, strict=True)):
        heard = out.setdefault(role, {})
        for order, peak in zip(orders[mains.seen], peaks[channel], strict=True):
            volts = float(peak) * inlet.volts_full_scale / np.sqrt(2.0)
            heard[int(order)] = max(heard.get(int(order), 0.0), float(volts))
    return out
