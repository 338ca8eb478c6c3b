"""Decibels, which exist only at the edges of the program; everything inside is SI.

Every function names its reference. Sources: 0 dBu is sqrt(0.6) V, 0 dBV is 1 V,
0 dB FS is a sine whose peak reaches full scale.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

DBU_VOLTS = 0.6**0.5
"""Volts rms of 0 dBu: 1 mW in 600 ohm."""


def ratio_to_db(ratio: ArrayLike) -> NDArray[np.float64]:
    """Return ``20 log10 |ratio|``, any shape, dimensionless amplitude ratio in, dB out."""
    return np.asarray(20.0 * np.log10(np.abs(ratio)), dtype=np.float64)


def db_to_ratio(db: ArrayLike) -> NDArray[np.float64]:
    """Return the amplitude ratio of ``db`` decibels, any shape."""
    return np.asarray(10.0 ** (np.asarray(db, dtype=np.float64) / 20.0), dtype=np.float64)


def volts_to_dbu(volts: ArrayLike) -> NDArray[np.float64]:
    """Return volts rms as dBu (reference sqrt(0.6) V)."""
    return ratio_to_db(np.asarray(volts) / DBU_VOLTS)


def volts_to_dbv(volts: ArrayLike) -> NDArray[np.float64]:
    """Return volts rms as dBV (reference 1 V)."""
    return ratio_to_db(volts)
