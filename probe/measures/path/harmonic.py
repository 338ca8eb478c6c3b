"""Second harmonic: whether it inverts with the leg (made before the split) or not (in each leg).

``d`` is a leg's second harmonic over its own fundamental, its phase referred to twice that of
hot's fundamental. A distortion ahead of the split is inverted with all the rest, ``d_c = -d_h``;
equal curvature in each of two legs driven in opposition gives ``d_c = d_h``::

    kappa = |d_h + d_c| / |d_h - d_c|                                                 (1)

The recorder's own second harmonic has the form of the second case on both channels, whatever its
phase, and exchanging the leads does not part it from the device's; that of the generator has the
form of the first. Both are drawn within their bounds, all phases alike.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from probe.measures.path import limits
from probe.measures.path.model import Indication, silent

NAME = "second-harmonic"

DRAWS = 1000

Complex = NDArray[np.complex128]


def kappa_of(hot: Complex | complex, cold: Complex | complex) -> NDArray[np.float64]:
    """Even over odd second harmonic of two legs, equation (1)."""
    even, odd = np.abs(np.asarray(hot) + cold), np.abs(np.asarray(hot) - cold)
    return np.asarray(even / np.maximum(odd, 1e-300))


def recorder_bound(peak_dbfs: float) -> float:
    """Return the second harmonic a recorder may add at this level, over the fundamental."""
    return float(10.0 ** ((limits.RECORDER_H2_DB + min(peak_dbfs, 0.0)) / 20.0))


def judge(
    hot: complex,
    cold: complex,
    *,
    noise: float,
    recorder: float,
    generator: float,
    exchanged: bool = False,
    takes: tuple[str, ...] = (),
) -> Indication:
    """Return what the second harmonic says.

    Parameters
    ----------
    hot, cold
        ``d`` of each leg.
    noise
        Standard deviation of each (complex).
    recorder, generator
        Most that the recorder adds to each leg and that the test tone itself carries.
    exchanged
        They are means over both lead orders: the recorder then adds the same to both legs.
    takes
        Files they come from.
    """
    even, odd = abs(hot + cold) / 2.0, abs(hot - cold) / 2.0
    value = float(kappa_of(hot, cold))
    figures = {
        "hot_db": _db(abs(hot)),
        "cold_db": _db(abs(cold)),
        "recorder_bound_db": _db(recorder),
        "generator_bound_db": _db(generator),
    }
    draws = _draws(hot, cold, noise, recorder, generator, exchanged)
    low, high = (float(x) for x in np.quantile(draws, [0.025, 0.975]))
    known: dict[str, Any] = {
        "value": value,
        "unit": "1",
        "u95": (high - low) / 2.0,
        "more": figures,
        "takes": takes,
    }
    least = max(recorder, 2.0 * noise) * 10.0 ** (limits.H2_ABOVE_DB / 20.0)
    if max(even, odd) < least:
        return silent(
            NAME,
            f"the second harmonic is less than {limits.H2_ABOVE_DB:.0f} dB above what the recorder "
            "may add: put a pad of 20 dB in front of it",
            **known,
        )
    least_kappa, most_kappa = (float(x) for x in np.quantile(draws, [0.05, 0.95]))
    if most_kappa < limits.KAPPA_ONE:
        if odd < generator * 10.0 ** (limits.H2_ABOVE_DB / 20.0):
            return silent(NAME, "the test tone itself may carry this second harmonic", **known)
        return Indication(
            NAME,
            says="one-path",
            strength="weak",
            weight=5.0,
            meaning="the distortion arises before the legs part; two paths behind a shared stage "
            "would look the same",
            **known,
        )
    if least_kappa > limits.KAPPA_TWO:
        return Indication(
            NAME,
            says="two-paths",
            strength="weak",
            weight=0.2,
            meaning="the distortion arises in each leg by itself",
            **known,
        )
    return silent(NAME, "the legs' second harmonics are neither alike nor opposite", **known)


def _draws(
    hot: complex, cold: complex, noise: float, recorder: float, generator: float, exchanged: bool
) -> NDArray[np.float64]:
    rng = np.random.default_rng(11)
    own_hot, own_cold, test = (_disk(rng) for _ in range(3))
    if exchanged:
        own_hot = own_cold = 0.5 * (own_hot + own_cold)
    white = (rng.standard_normal((2, DRAWS)) + 1j * rng.standard_normal((2, DRAWS))) / np.sqrt(2.0)
    h = hot - recorder * own_hot - generator * test + noise * white[0]
    c = cold - recorder * own_cold + generator * test + noise * white[1]
    return kappa_of(h, c)


def _disk(rng: np.random.Generator) -> Complex:
    """Return draws from the unit disk, all places alike."""
    turn = np.exp(2j * np.pi * rng.random(DRAWS))
    return np.asarray(np.sqrt(rng.random(DRAWS)) * turn)


def _db(ratio: float) -> float:
    return float(20.0 * np.log10(max(ratio, 1e-12)))
