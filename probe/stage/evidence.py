"""What a kind is decided from, collected from a solved side."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from probe.stage import limits
from probe.stage.identify import Identified
from probe.stage.inputs import InputDoubt, input_doubt
from probe.stage.network import Complex
from probe.stage.observations import declared_ohm
from probe.stage.quantities import (
    Column,
    column,
    common_mode,
    common_mode_band,
    level_known,
    nearest,
    open_take,
    reading,
    recorded,
    single_ended_take,
)
from probe.stage.way_to_pin1 import below_nothing, capacitance

Array = NDArray[np.float64]


SILENT_AS_OPEN = 1.0e-3
"""What a leg that is connected to nothing counts as carrying, where no open take tells."""


FOLLOW_LEAST = 0.01
"""A load must move its own leg by this share before the other's not moving says anything."""


CONTRADICTS = "contradicts the other takes"


@dataclass(frozen=True)
class WayToPin1:
    """Both legs together against pin 1: their mean impedance per ampere into both.

    ``siemens``: real part of its admittance below the band in which a winding shows, (1 + D,).
    ``lowest``, ``middle``: the impedance at the lowest tone ``hz`` and nearest 1 kHz, (1 + D,) ohm.
    """

    siemens: Array
    lowest: Array
    middle: Array
    hz: float


@dataclass(frozen=True)
class Evidence:
    """The discriminating quantities, each with its draws (1 + D,) or None where not measured."""

    ratio: Complex | None
    """Cold over hot as recorded in the open take."""
    hot: Column | None
    cold: Column | None
    common_mode_angle: Array | None
    """Angle of the common-mode impedance between 4 and 20 kHz, rad."""
    polarity: str
    follows: tuple[Array, ...] = ()
    """How far one leg moves with a load on the other, real part, one (1 + D,) a take."""
    over_single: float | None = None
    """Voltage between the legs over that of the single-ended output, as recorded."""
    clean: bool = True
    """False where takes contradict each other and it is not plain which: then no kind is stated."""
    input_ohm: float | None = None
    """Input impedance declared for the recorder."""
    inputs: InputDoubt | None = None
    """Where a floating pair's way to pin 1 may be the recorder's inputs alone."""
    way: WayToPin1 | None = None
    """How both legs together lead to pin 1 below the band in which a winding shows."""
    below_nothing: NDArray[np.bool_] | None = None
    """Draws in which that way has less than no capacitance where a winding shows, (1 + D,)."""
    farad: Array | None = None
    """Its capacitance there, both ends together, (1 + D,)."""


def gather(identified: Identified, polarity: str) -> Evidence:
    """Collect the evidence for a kind from a solved side."""
    return Evidence(
        _ratio(identified),
        column(identified, "hot"),
        column(identified, "cold"),
        _common_mode_angle(identified),
        polarity,
        follows=_follows(identified),
        over_single=_over_single(identified),
        clean=not identified.contradicted or _mended(identified),
        input_ohm=None if identified.group is None else declared_ohm(identified.group),
        inputs=input_doubt(identified),
        way=_way(identified),
        below_nothing=_below_nothing(identified),
        farad=_farad(identified),
    )


def _mended(identified: Identified) -> bool:
    """Whether a take was left out, and without it no other stands far off any more."""
    left = [u.residual for u in identified.uses if u.why_not is None and u.residual is not None]
    out = any(u.why_not == CONTRADICTS for u in identified.uses)
    return out and max(left, default=0.0) < limits.CONTRADICTION


def _follows(identified: Identified) -> tuple[Array, ...]:
    """What a load on one leg does to the other, as a share of what it does to its own.

    Near the coupling where the recorder draws little from the other leg; where the legs are
    separate it is nothing whatever their impedances are.
    """
    t = open_take(identified)
    if t is None or identified.group is None:
        return ()
    k = nearest(identified.group.hz)
    base = recorded(identified, t, k)
    found = []
    for other, observed in enumerate(identified.group.takes):
        ends = [{load.from_, load.to} for load in observed.phasors.take.loads]
        if len(ends) != 1 or "ground" not in ends[0] or not observed.recorded[:2].all():
            continue
        leg = (
            ("hot", "cold").index(next(iter(ends[0] - {"ground"}), ""))
            if (ends[0] & {"hot", "cold"})
            else None
        )
        if leg is None or k not in observed.tones:
            continue
        moved = recorded(identified, other, k) - base
        if abs(moved[0, leg]) > FOLLOW_LEAST * abs(base[0, leg]) > 0.0:
            found.append(np.asarray((moved[:, 1 - leg] / _some(moved[:, leg])).real))
    return tuple(found)


def _over_single(identified: Identified) -> float | None:
    t, s = open_take(identified), single_ended_take(identified)
    if t is None or s is None or identified.group is None:
        return None
    k = nearest(identified.group.hz)
    legs, single = recorded(identified, t, k)[0], recorded(identified, s, k)[0]
    takes = identified.group.takes
    if k not in takes[t].tones or k not in takes[s].tones or abs(single[2]) <= 0.0:
        return None
    drives = [float(takes[i].strength[np.searchsorted(takes[i].tones, k)]) for i in (t, s)]
    return float(abs(legs[0] - legs[1]) / abs(single[2]) * drives[1] / drives[0])


def _some(values: Complex) -> Complex:
    return np.asarray(np.where(np.abs(values) > 1e-12, values, 1e-12))


def _ratio(identified: Identified) -> Complex | None:
    """Cold over hot: as recorded in an open take, else open circuit where loads support both."""
    t = open_take(identified)
    if t is not None and identified.group is not None:
        volts = recorded(identified, t, nearest(identified.group.hz))
        return _quotient(volts[:, 1], volts[:, 0])
    if identified.legs is None:
        return None
    if identified.legs.open_leg is not None:
        silent = np.full(identified.draws + 1, SILENT_AS_OPEN, dtype=np.complex128)
        return silent if identified.legs.open_leg == 1 else 1.0 / silent
    k = nearest(identified.legs.hz)
    hot, cold = (reading(identified.legs, leg, "open", k) for leg in ("hot", "cold"))
    largest = max(hot.size, cold.size)
    if not level_known(hot, largest) or not level_known(cold, largest):
        return None
    return _quotient(cold.draws, hot.draws)


def _quotient(cold: Complex, hot: Complex) -> Complex:
    floor = 1e-9 * max(float(np.abs(hot).max()), float(np.abs(cold).max()), 1e-12)
    return np.asarray(cold / np.where(np.abs(hot) > floor, hot, floor))


def _common_mode_angle(identified: Identified) -> Array | None:
    """Median angle over the tones of the band at which the common mode is supported."""
    band = common_mode_band(identified)
    return None if band is None else np.asarray(np.median(np.angle(band[1]), axis=1))


def _below_nothing(identified: Identified) -> NDArray[np.bool_] | None:
    band = common_mode_band(identified)
    return None if band is None else below_nothing(*band)


def _farad(identified: Identified) -> Array | None:
    band = common_mode_band(identified)
    if band is None or len(band[0]) == 0 or np.any(np.abs(band[1]) < 1e-9):
        return None
    return capacitance(*band)


def _way(identified: Identified) -> WayToPin1 | None:
    found = common_mode(identified)
    if found is None:
        return None
    hz, ohm = found
    low = hz < limits.TRANSFORMER_BAND_HZ[0]
    if not low.any() or np.any(np.abs(ohm) < 1e-12):
        return None
    size = np.abs(ohm)
    siemens = np.median((1.0 / ohm[:, low]).real, axis=1)
    k = int(np.argmin(hz))
    return WayToPin1(np.asarray(siemens), size[:, k], size[:, nearest(hz)], float(hz[k]))
