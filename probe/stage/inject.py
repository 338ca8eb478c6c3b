r"""Impedances from injected currents, at tones the device does not play.

An injected tone has a known size but, as a rule, no known phase: that turns both legs alike, so
the coupling comes from the ratio of the legs and the size of the impedance from
``|V| |1 + Z y| = |Z| U/R``. The angle of the impedance matters little there where ``|Z| << R``; it
is taken from how its size goes over frequency, with doubt.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from probe.phasors.model import TakePhasors
from probe.stage.angle import SINGLE_TONE_U_RAD, angles, sizes
from probe.stage.fitted import Block, Fit, Known
from probe.stage.network import Complex, admittance
from probe.stage.observations import Group, Observed, grid_of, observe
from probe.stage.realise import Errors, Excited, excitation, realise
from probe.stage.resolve import resolve
from probe.stage.solve import fit

Array = NDArray[np.float64]


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


def _angles(group: Group) -> tuple[Errors, dict[str, Array]]:
    found: Errors = {}
    doubt: dict[str, Array] = {}
    for t, observed in enumerate(group.takes):
        angle = np.zeros(len(observed.tones))
        spread = np.full(len(observed.tones), SINGLE_TONE_U_RAD)
        for g in range(len(observed.generators)):
            mine = np.flatnonzero(observed.carried[:, g])
            beside, total = _seen(observed, group.hz, mine, g)
            angle[mine], spread[mine] = angles(group.hz[observed.tones[mine]], beside, total)
        found[f"angle/{t}"] = angle[None]
        doubt[f"angle/{t}"] = spread
    return found, doubt


def _seen(observed: Observed, hz: Array, mine: NDArray[np.intp], g: int) -> tuple[Complex, Array]:
    """Return what hangs beside an injected terminal and the size of both together.

    Shape (F,) each, siemens and ohm; the other terminals are left aside.
    """
    generator = observed.generators[g]
    p = generator.terminal
    beside = admittance(observed.elements, hz[observed.tones[mine]])[:, p, p]
    total = np.abs(observed.volts[mine, p]) * generator.ohm / generator.volts
    return beside, np.asarray(total)


def own_sizes(injected: Injected, terminal: int) -> Array:
    """Return the size of the impedance of an injected terminal by itself, shape (F,), ohm."""
    group = injected.group
    found = np.zeros(len(group.hz))
    for t, observed in enumerate(group.takes):
        angle = injected.angles[f"angle/{t}"][0]
        for g, generator in enumerate(observed.generators):
            if generator.terminal == terminal:
                mine = np.flatnonzero(observed.carried[:, g])
                size = sizes(angle[mine], *_seen(observed, group.hz, mine, g))
                found[observed.tones[mine]] = np.minimum(size, 1e6)
    return found


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
    """Carry a quantity from some tones to others; returns (D, F, N) and its doubt (F,).

    ``values`` has shape (D, S, N), draw 0 being the value. Through the three nearest tones goes
    ``a + b/(j f) + c (j f)``, exact for a resistor with a capacitor and an inductor; its doubt is a
    share of what a straight line over log f, held beyond the ends, would say otherwise, or by how
    much the same law misses the next two tones, if that is less; and infinite beyond `REACH`
    outside the tones. With fewer tones: the straight line, or the value itself within half an
    octave.
    """
    x, targets = np.log(source_hz), np.log(hz)
    beyond = np.maximum(np.maximum(x[0] - targets, targets - x[-1]), 0.0) / np.log(2.0)
    straight = _straight(x, values, targets)
    size = np.abs(straight[0]).max(axis=-1)
    if len(x) < 3:
        step = np.min(np.abs(targets[:, None] - x[None, :]), axis=1)
        return straight, np.where(beyond > NEAR, np.inf, 0.2 * step * size)
    out = np.einsum("fs,dsn->dfn", _network_weights(source_hz, hz), values)
    share = np.where(beyond > NEAR, CARRY_SHARE_FAR, CARRY_SHARE)
    doubt = share * np.abs(out[0] - straight[0]).max(axis=-1)
    doubt = np.minimum(doubt, _missed(source_hz, values[0], hz)) + CARRY_LEAST * size
    exact = np.min(np.abs(targets[:, None] - x[None, :]), axis=1) < 1e-9
    doubt = np.where(exact, 0.0, doubt)
    return out, np.where(beyond > REACH, np.inf, doubt)


NEAR = 0.5
"""Octaves outside the tones within which a carried value is as sure as between them ..."""

REACH = 0.7
"""... and beyond which nothing is carried: the lowest tone the bench plays lies 0.65 octaves below
the lowest it injects."""

CARRY_SHARE = 0.1
"""Doubt of a value carried between tones, as a share of what another law would make of it ..."""

CARRY_SHARE_FAR = 0.3
"""... more than `NEAR` outside them ..."""

CARRY_LEAST = 1.0e-3
"""... and of the value itself."""


def _network_weights(source_hz: Array, hz: Array) -> Complex:
    """Weights (F, S) of ``a + b/(j f) + c (j f)`` through the three tones nearest each target."""
    weights = np.zeros((len(hz), len(source_hz)), dtype=np.complex128)
    for k, f in enumerate(hz):
        near = np.sort(np.argsort(np.abs(np.log(source_hz / f)))[:3])
        weights[k, near] = _through(source_hz[near], f)
    return weights


def _through(three_hz: Array, hz: float) -> Complex:
    """Weights (3,) of the law through three tones at ``hz``."""

    def terms(f: Array) -> Complex:
        scaled = 1j * f
        return np.stack([np.ones_like(scaled), 1.0 / scaled, scaled], axis=-1)

    return np.asarray(np.linalg.solve(terms(three_hz / hz).T, terms(np.array([1.0]))[0]))


def _missed(source_hz: Array, values: Complex, hz: Array) -> Array:
    """By how much the law through the three nearest tones misses the next two, shape (F,).

    Infinite where there are no two.
    """
    missed = np.full(len(hz), np.inf)
    if len(source_hz) < 5:
        return missed
    for k, f in enumerate(hz):
        order = np.argsort(np.abs(np.log(source_hz / f)))
        near, next_two = np.sort(order[:3]), order[3:5]
        missed[k] = max(
            float(np.abs(_through(source_hz[near], source_hz[m]) @ values[near] - values[m]).max())
            for m in next_two
        )
    return missed


def _straight(x: Array, values: Complex, targets: Array) -> Complex:
    """Straight lines over log f, held beyond the ends; (D, S, N) to (D, F, N)."""
    if len(x) == 1:
        return np.repeat(values, len(targets), axis=1)
    upper = np.clip(np.searchsorted(x, targets), 1, len(x) - 1)
    part = np.clip((targets - x[upper - 1]) / (x[upper] - x[upper - 1]), 0.0, 1.0)
    a, b = values[:, upper - 1], values[:, upper]
    return np.asarray(a + (b - a) * part[None, :, None])
