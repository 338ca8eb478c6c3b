"""What the recorder takes off an output: from voltages as heard to open circuit."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from probe.session.model import Take
from probe.stage.limits import SOURCE_IMPEDANCE_LIMIT_OHM
from probe.stage.network import admittance, elements_of
from probe.stage.source import Source

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]

DRAWS = 400
"""As many as a source keeps."""


def unloading(source: Source | None, take: Take, hz: Array) -> tuple[Complex, NDArray[np.bool_]]:
    """Return the factor from voltages as heard to open circuit, ``1 + Z Y``.

    Shape (1 + `DRAWS`, F, 3, 3), nominal first, terminals hot, cold, single-ended; and which
    terminals rest on a known impedance, shape (3,). Between tones and beyond them ``Z`` is
    interpolated over the logarithm of frequency, and held. An impedance that is not known may be
    anything from nothing to the largest of a line output.
    """
    y = admittance(elements_of(take), hz)
    z, known = impedances(source, hz)
    factor = np.eye(3) + np.einsum("dfab,fbc->dfac", z, y)
    return np.asarray(factor), known


def impedances(source: Source | None, hz: Array) -> tuple[Complex, NDArray[np.bool_]]:
    """Return leg impedances at any frequencies, (1 + `DRAWS`, F, 3, 3), and which are known."""
    z = np.zeros((1 + DRAWS, len(hz), 3, 3), dtype=np.complex128)
    known = np.zeros(3, dtype=np.bool_)
    for row in range(3):
        for column in range(3):
            found = None if source is None else _entry(source, row, column, hz)
            if found is not None:
                z[:, :, row, column] = found
            known[row] |= found is not None and row == column
    rng = np.random.default_rng(11)
    for row in np.flatnonzero(~known).tolist():
        ohm = SOURCE_IMPEDANCE_LIMIT_OHM * rng.uniform(0.0, 1.0, 1 + DRAWS)
        ohm[0] = 0.0
        z[:, :, row, row] = ohm[:, None]
    return z, known


def _entry(source: Source, row: int, column: int, hz: Array) -> Complex | None:
    value = source.legs_z[:, row, column]
    good = np.flatnonzero(np.isfinite(value))
    if not len(good):
        return None
    pick = np.arange(DRAWS) % max(len(source.legs_z_draws), 1)
    draws = source.legs_z_draws[pick] if len(source.legs_z_draws) else source.legs_z[None][pick * 0]
    every = np.concatenate([value[None], draws[:, :, row, column]])[:, good]
    at = np.interp(np.log(np.maximum(hz, 1e-3)), np.log(source.hz[good]), np.arange(len(good)))
    low = np.minimum(at.astype(np.int64), max(len(good) - 2, 0))
    share = (at - low)[None, :]
    high = np.minimum(low + 1, len(good) - 1)
    return np.asarray((1.0 - share) * every[:, low] + share * every[:, high])
