"""Levels of a measured stage into a stated load, and at a stated tone, from its draws.

In modal coordinates (difference, mean) a resistor R between the legs draws ``v_d / R`` of the
difference only; one from each leg to pin 1 is ``1/(2R)`` between and ``2/R`` of the mean. Then
``v = (1 + Z Y)^-1 v_oc``, as everywhere.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from probe.compare.conditions import SAME_HZ
from probe.facts.source import Source
from probe.measures.statement import interval

Complex = NDArray[np.complex128]
Array = NDArray[np.complexfloating[Any, Any]]

ROWS = {"differential_level": 0, "single_ended_level": 2}


def nearest_tone(source: Source, hz: float) -> int | None:
    """Return the index of the tone that stands for ``hz``, None where none is near enough."""
    apart = np.abs(np.log(source.hz / hz))
    index = int(np.argmin(apart))
    return index if apart[index] <= SAME_HZ or hz == 1000.0 else None


def level(
    source: Source, fact: str, tone: int, ohm: float | None, into: str
) -> dict[str, Any] | None:
    """Return a level fact at a tone of the source, into a load; None where it is not known.

    Parameters
    ----------
    source
        The measured stage.
    fact
        ``differential_level``, ``hot_level``, ``cold_level`` or ``single_ended_level``.
    tone
        Index of the tone.
    ohm, into
        The load, ``between-legs`` or ``each-leg`` (of a single-ended output: to ground); None:
        nothing connected.
    """
    voc = np.concatenate([source.voc[None, tone], source.voc_draws[:, tone]])
    z = np.concatenate([source.z[None, tone], source.z_draws[:, tone]])
    volts = _volts(voc, z, fact, ohm, into)
    if not np.isfinite(volts).all():
        return None
    size = np.abs(volts)
    entry = interval(float(size[0]), size[1:])
    return {**entry, "unit": "V", "at_hz": float(source.hz[tone])}


def _volts(voc: Complex, z: Complex, fact: str, ohm: float | None, into: str) -> Array:
    if fact == "single_ended_level":
        return np.asarray(voc[:, 2] if ohm is None else voc[:, 2] / (1.0 + z[:, 2, 2] / ohm))
    difference: Array = voc[:, 0]
    mean: Array = voc[:, 1]
    if ohm is not None and into == "between-legs":
        difference = difference / (1.0 + z[:, 0, 0] / ohm)
        mean = mean - z[:, 1, 0] * difference / ohm
    elif ohm is not None:
        admittance = np.diag([0.5 / ohm, 2.0 / ohm])
        both = np.linalg.solve(np.eye(2) + z[:, :2, :2] @ admittance, voc[:, :2, None])
        difference, mean = both[:, 0, 0], both[:, 1, 0]
    if fact == "differential_level":
        return np.asarray(difference)
    return np.asarray(mean + (0.5 if fact == "hot_level" else -0.5) * difference)
