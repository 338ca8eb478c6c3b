"""Draws of every error that takes have: by the physical thing, by take, and noise alone.

Errors are keyed by the physical thing (channel gain, part, input), so that a part that two takes
use, or a channel that all takes use, errs alike in all of them.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from probe.phasors.model import TakePhasors
from probe.stage.agreement import Repeatability
from probe.stage.network import Complex, error_scales
from probe.stage.observations import Group
from probe.stage.realise import Errors

Array = NDArray[np.float64]


def shared_errors(phasors: tuple[TakePhasors, ...], draws: int, rng: np.random.Generator) -> Errors:
    """One error per physical thing and draw, by key; crosstalk between terminals with them."""
    scales: dict[str, float] = {}
    for p in phasors:
        scales.update(error_scales(p.take))
    errors: Errors = {k: scales[k] * rng.standard_normal(draws) for k in sorted(scales)}
    white = rng.standard_normal((2, draws, 3, 3))
    errors["crosstalk"] = (white[0] + 1j * white[1]) / np.sqrt(2.0)
    return errors


def level_errors(
    phasors: tuple[TakePhasors, ...],
    repeat: Repeatability,
    draws: int,
    rng: np.random.Generator,
) -> dict[str, Array]:
    """Level error of every take and leg, shape (D, 3) by take name, relative.

    A figure taken from residuals is itself uncertain: each draw takes its own, so that the
    result spreads like Student's t.
    """
    size = np.full(draws, repeat.level)
    if repeat.freedom > 0:
        size = size * np.sqrt(repeat.freedom / rng.chisquare(repeat.freedom, draws))
    return {p.take.name: size[:, None] * rng.standard_normal((draws, 3)) for p in phasors}


def batch_errors(
    group: Group, shared: Errors, levels: dict[str, Array], part: slice, rng: np.random.Generator
) -> Errors:
    """Errors of one batch of draws for ``realise``."""
    errors: Errors = {k: v[part] for k, v in shared.items()}
    count = part.stop - part.start
    for t, observed in enumerate(group.takes):
        errors[f"noise/{t}"] = _noise(observed.noise, observed.crosstalk, count, rng)
        errors[f"level/{t}"] = levels[observed.name][part]
    return errors


def _noise(noise: Complex, crosstalk: Complex, draws: int, rng: np.random.Generator) -> Complex:
    """Draws of the phasor noise alone (crosstalk is drawn as one error for all takes)."""
    own = noise.copy()
    share = np.sum(np.abs(crosstalk) ** 2, axis=-1)
    index = np.arange(3)
    own[:, index, index] -= share
    values, vectors = np.linalg.eigh(own)
    root = vectors * np.sqrt(np.maximum(values, 0.0))[:, None, :]
    white = rng.standard_normal((2, draws, *noise.shape[:2]))
    circular = (white[0] + 1j * white[1]) / np.sqrt(2.0)
    return np.asarray(np.einsum("kij,dkj->dki", root, circular))
