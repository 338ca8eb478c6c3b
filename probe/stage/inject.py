r"""Impedances from injected currents, at tones the device does not play.

An injected tone has a known size but, as a rule, no known phase: that turns both legs alike, so
the coupling comes from the ratio of the legs and the size of the impedance from
``|V| |1 + Z y| = |Z| U/R``. The angle of the impedance matters little where ``|Z| << R``; it is
taken from the slope of its magnitude, ``angle = 90 deg * d ln|Z| / d ln f`` (Bode), with doubt.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from probe.phasors.model import TakePhasors
from probe.stage.network import Complex, admittance
from probe.stage.observations import Group, Observed, grid_of, observe
from probe.stage.solve import (
    Block,
    Errors,
    Excited,
    Fit,
    Known,
    excitation,
    fit,
    realise,
    resolve,
)

Array = NDArray[np.float64]

ANGLE_U_RAD = 0.05
"""Doubt of an angle taken from the slope of a magnitude ..."""

ANGLE_U_SHARE = 0.15
"""... and the share of the angle: the law holds for minimum-phase networks and wide bands."""

SINGLE_TONE_U_RAD = 0.6
"""Doubt of the angle where one tone alone was injected and there is no slope."""


@dataclass(frozen=True)
class Injected:
    """The injected tones of a group, solved.

    Attributes
    ----------
    group
        The takes at their injected tones.
    solved
        The fit of ``[Voc | Z]`` there (``Voc`` is nothing).
    draws
        Shape (D, F, R, 4); None until drawn.
    terminals
        Indices of the terminals that were injected into.
    """

    group: Group
    solved: Fit
    excited: Excited
    angles: Errors
    angle_u: dict[str, Array]
    terminals: tuple[int, ...]


def injected_group(phasors: tuple[TakePhasors, ...]) -> Group | None:
    """Return takes that carry injected tones, on the grid of those; None where there are none."""
    carrying = [p for p in phasors if p.injected.any()]
    if not carrying:
        return None
    grid = grid_of([p.hz[p.injected.any(axis=1)] for p in carrying])
    observed = tuple(observe(p, grid, 0.0, injected=True) for p in carrying)
    return Group(grid, observed)


def slope_angles(hz: Array, magnitude: Array) -> tuple[Array, Array]:
    """Angle of an impedance from the slope of its magnitude, and its standard uncertainty, rad."""
    if len(hz) < 2:
        return np.zeros(len(hz)), np.full(len(hz), SINGLE_TONE_U_RAD)
    slope = np.gradient(np.log(np.maximum(magnitude, 1e-3)), np.log(hz))
    angle = np.clip(0.5 * np.pi * slope, -0.5 * np.pi, 0.5 * np.pi)
    return angle, ANGLE_U_RAD + ANGLE_U_SHARE * np.abs(angle)


def _angles(group: Group) -> tuple[Errors, dict[str, Array]]:
    angles: Errors = {}
    doubt: dict[str, Array] = {}
    for t, observed in enumerate(group.takes):
        angle = np.zeros(len(observed.tones))
        spread = np.full(len(observed.tones), SINGLE_TONE_U_RAD)
        for g, generator in enumerate(observed.generators):
            mine = np.flatnonzero(observed.carried[:, g])
            hz = group.hz[observed.tones[mine]]
            for _ in range(3):
                magnitude = _own_impedance(observed, group.hz, mine, g, generator.terminal, angle)
                angle[mine], spread[mine] = slope_angles(hz, magnitude)
        angles[f"angle/{t}"] = angle[None]
        doubt[f"angle/{t}"] = spread
    return angles, doubt


def _own_impedance(
    observed: Observed, hz: Array, mine: NDArray[np.intp], g: int, p: int, angle: Array
) -> Array:
    """Size of the impedance at the injected terminal, the other terminals left aside, ohm."""
    generator = observed.generators[g]
    y = admittance(observed.elements, hz[observed.tones[mine]])[:, p, p]
    amperes = generator.volts / generator.ohm
    size = np.abs(observed.volts[mine, p])
    a = amperes**2 - (size * np.abs(y)) ** 2
    b = size**2 * (np.exp(1j * angle[mine]) * y).real
    root = np.sqrt(np.maximum(b**2 + a * size**2, 0.0))
    return np.asarray(np.where(a > 0.0, (b + root) / np.maximum(a, 1e-300), 1e12))


def solve_injected(
    phasors: tuple[TakePhasors, ...], block: Block, *, level: float, known: tuple[Known, ...] = ()
) -> Injected | None:
    """Solve a block at the injected tones; None where nothing was injected into its terminals."""
    group = injected_group(phasors)
    if group is None:
        return None
    into = {
        g.terminal
        for o in group.takes
        for k, g in enumerate(o.generators)
        if o.carried[:, k].any() and o.recorded[g.terminal]
    }
    terminals = tuple(sorted(into & set(block.terminals)))
    if not terminals:
        return None
    angles, doubt = _angles(group)
    excited = excitation(group)
    solved = fit(group, block, level=level, errors=angles, excited=excited, known=known)
    return Injected(group, solved, excited, angles, doubt, terminals)


def draw_injected(
    injected: Injected,
    errors: Errors,
    count: int,
    first: int,
    rng: np.random.Generator,
) -> Complex:
    """Solve the injected tones again for ``count`` draws; ``errors`` as for ``realise``."""
    drawn = dict(errors)
    for key, angle in injected.angles.items():
        turned = angle + injected.angle_u[key] * rng.standard_normal((count, 1))
        drawn[key] = np.clip(turned, -0.5 * np.pi, 0.5 * np.pi)
    realised = realise(injected.group, count, drawn, injected.excited)
    return resolve(injected.solved, realised, first, currents_drawn=True)


def carry(source_hz: Array, values: Complex, hz: Array) -> tuple[Complex, Array]:
    """Carry a quantity from some tones to others; returns (..., F, N) and its doubt (F,).

    ``values`` has shape (D, S, N), draw 0 being the value. Interpolated as a complex logarithm
    over log f where the value keeps its kind between two tones, linearly elsewhere; the doubt is
    the difference between the two, a fifth of the step where there is but one way, and infinite
    beyond half an octave outside the tones.
    """
    x, targets = np.log(source_hz), np.log(hz)
    upper = np.clip(np.searchsorted(x, targets), 1, max(len(x) - 1, 1))
    if len(x) == 1:
        inside = np.abs(targets - x[0]) < 0.5 * np.log(2.0)
        out = np.repeat(values, len(hz), axis=1)
        doubt = np.where(inside, 0.2 * np.abs(targets - x[0]) * np.abs(values[0, 0]).max(), np.inf)
        return out, np.asarray(doubt)
    lower = upper - 1
    part = ((targets - x[lower]) / (x[upper] - x[lower]))[None, :, None]
    part = np.clip(part, -1.0, 2.0)
    a, b = values[:, lower], values[:, upper]
    straight = a + (b - a) * part
    with np.errstate(divide="ignore", invalid="ignore"):
        step = np.log(b / a)
        curved = a * np.exp(step * part)
    nominal = step[:1]
    same_kind = (np.abs(nominal.real) < 4.0) & (np.abs(nominal.imag) < 2.0)
    out = np.where(same_kind & np.isfinite(curved), curved, straight)
    gap = np.abs(out[0] - straight[0])
    gap = np.maximum(gap, 0.01 * np.abs(out[0]))
    middle = np.minimum(np.abs(part[0]), np.abs(1.0 - part[0]))
    doubt = (0.25 * gap * np.minimum(4.0 * middle, 1.0)).max(axis=-1)
    reach = 0.5 * np.log(2.0)
    outside = (targets < x[0] - reach) | (targets > x[-1] + reach)
    return out, np.where(outside, np.inf, doubt)
