"""How far a pair's way to pin 1 is from what no stage has: less capacitance than nothing.

What inputs are declared to hold is taken off what takes show. Declared too high, it leaves a stage
of ``Y = G + j w C`` with ``C`` below nothing, whose susceptance falls as the frequency rises. No
winding and no amplifier that is stable has one; that of an inductance is negative too, but rises.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from probe.stage.network import Complex

Array = NDArray[np.float64]
Bools = NDArray[np.bool_]


def room(hz: Array, ohm: Complex) -> Array:
    """Capacitance that may be taken off before an angle of +45 degrees, shape (1 + D,), farad.

    ``ohm`` of shape (1 + D, K) at the tones ``hz`` at which a winding shows. Beside a conductance
    a little less than no capacitance may be what errors, or an amplifier's inductance, leave.
    """
    y = 1.0 / ohm
    return np.asarray(np.median((y.imag + np.maximum(y.real, 0.0)) / (2.0 * np.pi * hz), axis=-1))


def capacitance(hz: Array, ohm: Complex) -> Array:
    """Capacitance of the way to pin 1, shape (1 + D,), farad: median over the tones."""
    return np.asarray(np.median((1.0 / ohm).imag / (2.0 * np.pi * hz), axis=-1))


def below_nothing(hz: Array, ohm: Complex) -> Bools:
    """Whether the way to pin 1 has less than no capacitance, shape (1 + D,)."""
    if len(hz) == 0 or np.any(np.abs(ohm) < 1e-9):
        return np.zeros(len(ohm), dtype=np.bool_)
    b = (1.0 / ohm).imag
    falls = b[:, int(np.argmax(hz))] <= b[:, int(np.argmin(hz))]
    return np.asarray((room(hz, ohm) < 0.0) & falls)
