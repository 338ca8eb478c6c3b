"""A stage as the circuit simulator sees it at its terminals, without doubt; -3 dB points."""

from __future__ import annotations

import numpy as np

from probe.facts.source import Source
from tests.spice.circuits import draw
from tests.spice.truth import solve_truth

# The tones of a take, up to what a fast recorder hears
TONES = np.array([20.0, 31.0, 47.0, 71.0, 113.0, 179.0, 283.0, 449.0, 709.0, 997.0, 1583.0, 2503.0,
                  3989.0, 6311.0, 9973.0, 14009.0, 19997.0, 28001.0, 39989.0, 56003.0,
                  80021.0])  # fmt: skip


def source_of(name: str, seed: int) -> Source:
    """The stage as the simulator sees it at its terminals, without doubt."""
    truth = solve_truth(draw(name, seed), TONES.tolist())
    f = TONES.size
    voc, z = np.zeros((f, 3), complex), np.zeros((f, 3, 3), complex)
    voc[:, 0], voc[:, 1], voc[:, 2] = truth.hot, truth.cold, truth.single_ended
    names = ("hot", "cold", "single-ended")
    for i, row in enumerate(names):
        for j, column in enumerate(names):
            z[:, i, j] = truth.z[(row, column)]
    modal_voc, modal = voc.copy(), z.copy()
    modal_voc[:, 0], modal_voc[:, 1] = voc[:, 0] - voc[:, 1], (voc[:, 0] + voc[:, 1]) / 2.0
    hh, hc, ch, cc = z[:, 0, 0], z[:, 0, 1], z[:, 1, 0], z[:, 1, 1]
    modal[:, 0, 0] = truth.differential_impedance
    modal[:, 0, 1], modal[:, 1, 0] = (hh + hc - ch - cc) / 2.0, (hh - hc + ch - cc) / 2.0
    modal[:, 1, 1] = (hh + hc + ch + cc) / 4.0
    # what the legs and the single-ended output do to each other, as difference and mean as well
    for turned, legs in ((modal[:, :2, 2], z[:, :2, 2]), (modal[:, 2, :2], z[:, 2, :2])):
        turned[:, 0], turned[:, 1] = legs[:, 0] - legs[:, 1], (legs[:, 0] + legs[:, 1]) / 2.0
    none_v, none_z = np.zeros((0, f, 3), complex), np.zeros((0, f, 3, 3), complex)
    return Source(TONES, modal_voc, modal, none_v, none_z, voc, z, none_v, none_z)


def corners(hz: np.ndarray, level: np.ndarray) -> tuple[float | None, float | None]:
    """-3 dB points against 997 Hz by straight lines in dB over log f; None: not reached."""
    db = 20.0 * np.log10(np.abs(level) / np.abs(level[np.argmin(np.abs(hz - 997.0))]))
    limit, at = 20.0 * np.log10(0.5**0.5), int(np.argmin(np.abs(hz - 997.0)))
    found: list[float | None] = []
    for order in (range(at, 0, -1), range(at, hz.size - 1)):
        step = -1 if order.step < 0 else 1
        crossing = next((k for k in order if db[k] >= limit > db[k + step]), None)
        if crossing is None:
            found.append(None)
            continue
        t = (db[crossing] - limit) / (db[crossing] - db[crossing + step])
        found.append(
            float(np.exp(np.log(hz[crossing]) * (1 - t) + np.log(hz[crossing + step]) * t))
        )
    return found[0], found[1]
