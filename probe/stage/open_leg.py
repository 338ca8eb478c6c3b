r"""A leg that is connected to nothing: its own impedance is beyond the recorder's.

Through an open pin flows next to no current, so that current cannot serve as a regressor: noise on
it would be taken for excitation and spoil the other leg. Such a leg is recognised within single
takes (no phase reference needed): a resistor across the legs, or an injector, raises it to where
the recorder's own admittance alone would hold it, and the other leg does not follow. Then

* its current is nothing in the solve, and takes in which anything hangs on it say nothing about
  its own voltage;
* its admittance ``g = i/V`` is found by itself, linear and well behaved around nothing, and
  ``Z = 1/g``; the voltage with the recorder gone is ``V (1 + Y/g)``;
* the little that couples it to the other leg is stray capacitance, hence reciprocal.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from probe.stage.limits import EXCITATION_SIGMAS
from probe.stage.network import Complex, admittance
from probe.stage.observations import Group, Observed

Array = NDArray[np.float64]

OPEN_SIEMENS = 2.0e-5
"""Largest admittance at 1 kHz of a leg that is treated as open (50 kohm: at twice that the verdict
is "connected to nothing", and 1 % of a 20 kohm recorder is half a microsiemens)."""

FOLLOWS = 0.3
"""A leg that moves by more than this share with the driven one is coupled: the pair floats."""

BAND_HZ = (300.0, 3000.0)

TOLD, NORMAL_MEDIAN = 3.3, 0.6745
"""A conductance is told from nothing so many standard deviations above it (one part in a thousand
lies beyond); the median of a standard normal variable's size is the second."""


def find_open_leg(played: Group | None, injected: Group | None) -> int | None:
    """Index of the leg that is connected to nothing (0 hot, 1 cold), None where neither is."""
    for leg in (1, 0):
        seen: list[float] = []
        follow: list[float] = []
        for group in (played, injected):
            if group is None:
                continue
            for observed in group.takes:
                found = _seen_within(group, observed, leg)
                if found is not None:
                    seen.append(found[0])
                    follow += [found[1]] if found[1] is not None else []
        if seen and max(seen) < OPEN_SIEMENS and min(follow, default=0.0) < FOLLOWS:
            return leg
    return None


def _seen_within(group: Group, observed: Observed, leg: int) -> tuple[float, float | None] | None:
    """Admittance at a driven leg and how far the other follows, from one take near 1 kHz.

    A resistor across the legs does not tell how far: through it one drives the other.
    """
    if not observed.recorded[:2].all() or not driven_from_outside(observed, leg):
        return None
    hz = group.hz[observed.tones]
    band = (hz >= BAND_HZ[0]) & (hz <= BAND_HZ[1])
    carried = [g for g, gen in enumerate(observed.generators) if gen.terminal == leg]
    injecting = bool(carried) and bool(observed.carried[:, carried].any())
    if injecting:
        band &= observed.carried[:, carried].any(axis=1)
    own = np.abs(observed.volts[:, leg])
    noise = np.sqrt(np.abs(observed.noise[:, leg, leg]))
    band &= own > EXCITATION_SIGMAS * noise
    if not band.any() or (bool(observed.generators) and not injecting):
        return None
    y = admittance(observed.elements, hz)
    if injecting:
        generator = observed.generators[carried[0]]
        size = generator.volts / generator.ohm / own
        current = np.abs(size - np.abs(y[:, leg, leg]))
        follow = np.abs(observed.volts[:, 1 - leg]) / own
        return float(np.median(current[band])), float(np.median(follow[band]))
    flow = -np.einsum("kj,kj->k", y[:, leg, :2], observed.volts[:, :2])
    return float(np.median(np.abs(flow / observed.volts[:, leg])[band])), None


def driven_from_outside(observed: Observed, leg: int) -> bool:
    """Return True where a resistor to the other leg or an injector raises this leg."""
    take = observed.phasors.take
    names = ("hot", "cold")
    across = any({load.from_, load.to} == set(names) for load in take.loads)
    return across or any(i.into == names[leg] and i.volts > 0.0 for i in take.injections)


def touched(observed: Observed, leg: int) -> bool:
    """Return True where anything but the recorder hangs on this leg."""
    take = observed.phasors.take
    name = ("hot", "cold")[leg]
    loaded = any(name in (load.from_, load.to) for load in take.loads)
    return loaded or any(i.into == name for i in take.injections)


def without_open_leg(group: Group, leg: int) -> Group:
    """Return the group with that leg's current nothing, unheard where anything hangs on it."""
    takes = []
    for observed in group.takes:
        if touched(observed, leg):
            heard = observed.recorded.copy()
            heard[leg] = False
            takes.append(replace(observed, recorded=heard))
        else:
            takes.append(observed)
    return replace(group, takes=tuple(takes), open_leg=leg)


def own_admittance(group: Group, leg: int, volts: Complex, flows: Complex) -> Complex | None:
    """Admittance of an open leg from the takes with a resistor across, shape (D, F); None if none.

    ``volts`` and ``flows`` of shape (D, T, F, 3) are the voltages and the currents into the device
    with nothing silenced. From the difference against the takes that leave the leg alone:
    ``g = (i - i_open) / (V - V_open)``.
    """
    driven = [t for t, o in enumerate(group.takes) if _across(o)]
    alone = [
        t
        for t, o in enumerate(group.takes)
        if o.recorded[:2].all() and not o.phasors.take.loads and not o.phasors.take.injections
    ]
    if not driven or not alone:
        return None
    raised, drawn = volts[..., leg], flows[..., leg]
    v = raised[:, driven].mean(axis=1) - raised[:, alone].mean(axis=1)
    i = drawn[:, driven].mean(axis=1) - drawn[:, alone].mean(axis=1)
    return np.asarray(i / np.where(np.abs(v) > 0.0, v, np.nan))


def passes(own: Complex) -> bool:
    """Return True where a resistor to pin 1 is told from an open pin: admittances, (1 + D,).

    Through an open pin's strays flows current a quarter turn ahead and none with the voltage.
    """
    if len(own) < 2:
        return True
    scatter = float(np.median(np.abs(own[1:].real - own[0].real))) / NORMAL_MEDIAN
    return bool(own[0].real > max(TOLD * scatter, abs(own[0].imag)))


def _across(observed: Observed) -> bool:
    return any({load.from_, load.to} == {"hot", "cold"} for load in observed.phasors.take.loads)
