"""One input leg driven, both output legs heard: the transfer between legs as a 2×2 matrix.

``T[out, in]`` in volts per volt. Two independent paths have an empty off-diagonal; a receiver
that forms one difference and splits it again has a determinant of nothing.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from probe.measures.path import limits
from probe.measures.path.model import Indication, silent

NAME = "one-leg-drive"

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]


def off_diagonal_db(transfer: Complex) -> Array:
    """Return the larger of what goes to the wrong leg over the right one, dB, (F, 2, 2) to (F,)."""
    size = np.abs(transfer)
    wrong = np.maximum(
        size[:, 1, 0] / np.maximum(size[:, 0, 0], 1e-300),
        size[:, 0, 1] / np.maximum(size[:, 1, 1], 1e-300),
    )
    return np.asarray(20.0 * np.log10(np.maximum(wrong, 1e-12)))


def determinant_ratio(transfer: Complex) -> Array:
    """Return ``|det T| / max |T|²``, (F, 2, 2) to (F,): 1 two paths, 0 one difference."""
    det = transfer[:, 0, 0] * transfer[:, 1, 1] - transfer[:, 0, 1] * transfer[:, 1, 0]
    return np.asarray(np.abs(det) / np.maximum(np.abs(transfer).max(axis=(1, 2)), 1e-300) ** 2)


def judge(hz: Array, transfer: Complex, noise: Array, takes: tuple[str, ...] = ()) -> Indication:
    """Return what the transfer between the legs says.

    Parameters
    ----------
    hz
        Shape (F,).
    transfer
        Shape (F, 2, 2), outputs hot and cold by driven input leg hot and cold. A phase common to a
        column (an unknown delay) changes nothing here.
    noise
        Shape (F, 2, 2): standard deviations.
    takes
        Files it comes from.
    """
    band = (hz >= limits.ONE_LEG_HZ[0]) & (hz <= limits.ONE_LEG_HZ[1])
    low = (hz >= limits.RANK_HZ[0]) & (hz <= limits.RANK_HZ[1])
    if not np.any(band) or not np.any(low):
        return silent(NAME, "no tones between 90 Hz and 5 kHz", takes=takes)
    heard = np.abs(transfer) + 2.0 * noise
    worst = float(off_diagonal_db(heard[band].astype(np.complex128)).max())
    off = float(off_diagonal_db(transfer[band]).max())
    rank = float(determinant_ratio(transfer[low]).max())
    doubt = float((2.0 * noise[low] / np.abs(transfer[low]).max(axis=(1, 2))[:, None, None]).max())
    known: dict[str, Any] = {
        "value": off,
        "unit": "dB",
        "u95": worst - off,
        "more": {"determinant_over_largest_squared": rank},
        "takes": takes,
    }
    if worst < limits.INDEPENDENT_DB:
        return Indication(NAME, says="two-paths", strength="strong", weight=1.0 / limits.RATIO_CAP,
                          meaning="small signals pass from each input leg to its own output leg",
                          **known)  # fmt: skip
    if rank + 2.0 * doubt < limits.RANK_ONE:
        return Indication(NAME, says="one-path", strength="weak", weight=5.0,
                          meaning="both legs are formed from one difference: a splitter or a "
                          "fully differential amplifier, which this take cannot tell apart",
                          **known)  # fmt: skip
    return silent(NAME, "the legs pass partly into each other: neither independent nor one "
                  "difference", **known)  # fmt: skip
