"""The legs as the recorder heard them, where no take tells what they are by themselves.

A session without loads shows the levels of the legs with the recorder on them, and nothing of
their impedances. For each impedance that they may have the open-circuit voltages follow: with
``R`` on each leg ``Voc = V + Z V / R``. Into an input that loads the legs as the recorder did the
level is then known, whatever the impedances are.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from probe.advice.sampled import Sampled, on_grid

Floats = NDArray[np.float64]
Complex = NDArray[np.complex128]

LEGS = ("hot_recorded", "cold_recorded")


@dataclass(frozen=True, eq=False)
class Heard:
    """Voltages of the legs, shape (F, 2), V rms, with ``ohm`` on each; ``u95`` of their sizes."""

    hz: Floats
    volts: Complex
    u95: Floats
    ohm: float


def heard_of(curves: object, ohm: float) -> Heard | None:
    """Return what the recorder heard of the legs at the tones that both have, or None."""
    if not isinstance(curves, Mapping) or not all(leg in curves for leg in (*LEGS, "hz")):
        return None
    hz = np.asarray(curves["hz"], dtype=float)
    volts = np.stack([_column(curves[leg], "real") + 1j * _column(curves[leg], "imag")
                      for leg in LEGS], axis=1)  # fmt: skip
    u95 = np.stack([_column(curves[leg], "u95") for leg in LEGS], axis=1)
    both = np.isfinite(volts).all(axis=1) & np.isfinite(u95).all(axis=1)
    both &= np.abs(volts).max(axis=1) > 0.0
    return Heard(hz[both], volts[both], u95[both], ohm) if both.any() else None


def _column(curve: Mapping[str, Any], name: str) -> Floats:
    return np.array([np.nan if v is None else float(v) for v in curve[name]])


def on_legs(heard: Heard, sampled: Sampled) -> Complex:
    """Return the voltages on the grid of a source, with as many draws, shape (N, G, 2).

    The pair's phase is taken out, as of a source; the doubt of a leg, which is that of the
    recorder's input, is the same at all tones.
    """
    pair = heard.volts[:, 0] - heard.volts[:, 1]
    loudest = np.take_along_axis(heard.volts, np.abs(heard.volts).argmax(axis=1)[:, None], 1)[:, 0]
    pair = np.where(np.abs(pair) > 0.05 * np.abs(loudest), pair, loudest)
    turned = heard.volts * np.exp(-1j * np.angle(pair))[:, None]
    share = heard.u95 / np.maximum(np.abs(heard.volts), 1e-12) / 1.96
    errors = np.random.default_rng(1).standard_normal((sampled.voc.shape[0] - 1, 1, 2))
    draws = turned[None] * (1.0 + np.minimum(share, 1.0)[None] * errors)
    return on_grid(heard.hz, np.concatenate([turned[None], draws]), sampled.hz)


def open_circuit(volts: Complex, leg_z: Complex, ohm: float) -> Complex:
    """Return the open-circuit voltages of both legs behind ``leg_z``, shapes (N, G, 2 and 2, 2)."""
    return np.asarray(volts + np.einsum("ngij,ngj->ngi", leg_z, volts / ohm))
