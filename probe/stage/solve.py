r"""The output stage by weighted linear least squares, per frequency, vectorised over draws.

Model (voltages ``v`` at the terminals, current ``i = J - Y v`` into the device)::

    v = s Voc + Z i                                                            (1)

Every term of ``i`` is known once ``v`` is measured, so each row of ``[Voc | Z]`` is linear in
known numbers. What is not exact is the row error ``(I + Z Y) dv``; each take's equation is
therefore multiplied by ``L⁻¹ (I + Z Y)⁻¹`` with ``L Lᴴ`` the covariance of ``dv``           (2)
(noise, and the level between takes). What takes share (gain and impedance of a recorder input, a
resistor) makes their errors move together: with ``G`` the derivatives of all rows by these errors,
each times its standard uncertainty, all rows of a tone are mixed by ``(I + G Gᴴ)^-1/2``      (4)
and the solve repeated with the impedance just found, three times. The measured currents carry
the same errors as the voltages (errors in variables): noise on a regressor looks like excitation
and pulls the answer towards the recorder's own impedance. After the first solve the equations are
therefore formed with the currents that the stage just found predicts (Gauss-Newton on the forward
model), which also makes the supported directions those that the physics excites, not noise.

Unknowns are the modal rows (difference, mean): the differential impedance of a floating stage is
then a number of its own and not a difference of entries 100,000 times larger.

What the takes do not support is found by a singular value decomposition of (1) together with a
very weak knowledge of every impedance: directions that rest on that alone are not supported, and
every quantity that has a part in such a direction is unknown.                           (3)
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from probe.stage.fitted import (
    IMPEDANCE_SCALE_OHM,
    LEVEL_SCALE,
    SINGLE_ENDED,
    Block,
    Fit,
    Known,
    flat,
    known_whitener,
    with_known,
)
from probe.stage.forward import active_of, instruments, kept
from probe.stage.network import Complex
from probe.stage.observations import Group
from probe.stage.realise import Errors, Excited, Realisation, excitation, realise
from probe.stage.weights import mixed, mixer_of, whitener_of

Array = NDArray[np.float64]


RIDGE_OHM = 1.0e8
"""Every impedance is taken as nothing with this standard uncertainty before the takes speak. What
lies far beyond the recorder (a winding at 20 Hz, the strays of an open pin) then stays put while
the solve is repeated and while it is drawn, instead of running away; what no take drives stays
nothing and the voltage as recorded. A megohm known to a tenth moves by 10⁻⁶."""

FIRST_RIDGE_OHM = 2.0e3
"""The same for the first solve, whose currents are the measured ones: noise on them excites the
recorder's own impedance, some ten kilohm."""

RIDGE_SHARE = 0.5
"""A direction that rests on this weak knowledge by more than half is not supported by the takes."""

CAPACITIVE_RAD = -0.8
"""A common mode that turns further than this follows 1/f."""

CONTINUATIONS, ASTRAY = 10, 25.0
"""How often tones that are stuck (so many times the misfit of good ones) start again from their
neighbour: at 20 Hz a winding's common mode is megohms, and only that says where to look."""

HOPELESS = 1000.0
"""So many times the misfit of good ones, a tone has no solution at all: what stands there foretells
voltages thirty times further off than noise and drift are."""

HALVINGS = 3
"""How often a step that makes things worse is halved."""

PLAIN_STEPS, MIXED_STEPS, LATER_STEPS = 5, 3, 3
"""How often weights and predicted currents are renewed: three suffice for all but the extremes."""

SETTLED = 1.0e-9
"""A step that moves no column of a tone by more than this, relative, ends the renewing: far below
any doubt, and what a further step would change is smaller still."""


def _design(fit_rows: Complex, drives: Complex) -> Complex:
    """Rows of (1): (T, F, R, R) whitened rows and (T, F, 4) drives to (F, T·R, 4R)."""
    takes, tones, out, inner = fit_rows.shape
    design = np.einsum("tfar,tfj->ftarj", fit_rows, drives)
    return np.asarray(design.reshape(tones, takes * out, inner * 4))


def fit(
    group: Group,
    block: Block,
    *,
    level: float,
    errors: Errors | None = None,
    excited: Excited | None = None,
    start: Fit | None = None,
    known: tuple[Known, ...] = (),
    thorough: bool = False,
) -> Fit:
    """Solve a block of a group.

    Parameters
    ----------
    group
        Takes on one phase reference.
    block
        ``LEGS`` or ``SINGLE_ENDED``.
    level
        Repeatability between takes, relative, one standard deviation.
    errors
        Angles met by injected tones (``angle/t`` with D = 1); none otherwise.
    excited
        From ``excitation``; computed where not given.
    start
        An earlier fit whose impedance begins the reweighting.
    known
        Columns known from elsewhere, appended after the takes.
    thorough
        Start tones that are stuck again from their neighbours; not worth it while delays are open.

    Returns
    -------
    Fit
        Its ``residual`` is that of the forward model: recorded less predicted voltages.
    """
    problem = _Problem(group, block, level, errors or {}, excited, known)
    theta = np.zeros((len(group.hz), len(block.terminals), 4), dtype=np.complex128)
    if start is None:
        theta = problem.advance(theta, PLAIN_STEPS, from_nothing=True, mixing=False)[-1].theta
        results = problem.advance(theta, MIXED_STEPS)
    else:
        results = problem.advance(start.theta, LATER_STEPS)
    best = _best_of(results)
    for _ in range(CONTINUATIONS if thorough else 0):
        astray = _astray(best)
        if not astray.any() or astray.mean() > 0.75:
            break
        theta = _continued(best.theta, group.hz, astray)
        best = _best_of([best, *problem.advance(theta, LATER_STEPS)])
    return best


def _astray(solved: Fit) -> NDArray[np.bool_]:
    """Tones whose prediction is far worse than that of most: the solve stuck there."""
    misfit = np.sum(np.abs(solved.residual) ** 2, axis=(0, 2))
    return np.asarray(misfit > ASTRAY * (np.quantile(misfit, 0.25) + 1.0))


def _continued(theta: Complex, hz: Array, astray: NDArray[np.bool_]) -> Complex:
    """Start stray tones next to good ones from those, a capacitive common mode after its law."""
    theta = theta.copy()
    good = np.flatnonzero(~astray)
    for k in np.flatnonzero(astray):
        near = good[np.argmin(np.abs(good - k))]
        if abs(int(near) - int(k)) > 1:
            continue
        theta[k] = theta[near]
        if theta.shape[1] == 2 and np.angle(theta[near, 1, 2]) < CAPACITIVE_RAD:
            theta[k, 1, 2] *= hz[near] / hz[k]
    return theta


def hopeless(solved: Fit) -> NDArray[np.bool_]:
    """Return the tones at which no solution was found, shape (F,): nothing there can be read."""
    misfit = np.sum(np.abs(solved.residual) ** 2, axis=(0, 2))
    return np.asarray(misfit > HOPELESS * (np.quantile(misfit, 0.25) + 1.0))


class _Problem:
    """One block of one group, ready to be solved step by step."""

    def __init__(
        self,
        group: Group,
        block: Block,
        level: float,
        errors: Errors,
        excited: Excited | None,
        known: tuple[Known, ...],
    ) -> None:
        self.group, self.block, self.level = group, block, level
        self.errors, self.known = errors, known
        self.excited = excitation(group) if excited is None else excited
        active = active_of(group, block)
        if block is SINGLE_ENDED and any(one.terminal not in block.terminals for one in known):
            active = replace(active, columns=np.ones(4))
        self.active = active
        self.measured = kept(realise(group, 1, errors, self.excited), active)
        self.index = list(block.terminals)

    def predicted(self, theta: Complex) -> Realisation:
        """Voltages that the stage foretells, and the currents they would draw."""
        return instruments(self.group, self.block, theta, self.errors, self.excited, self.active)

    def apart(self, predicted: Realisation | None) -> Complex:
        """Recorded less predicted voltages, shape (T, F, R)."""
        recorded = self.measured.volts[0][..., self.index]
        if predicted is None:
            return np.asarray(recorded)
        return np.asarray(recorded - predicted.volts[0][..., self.index])

    def advance(
        self, theta: Complex, steps: int, *, from_nothing: bool = False, mixing: bool = True
    ) -> list[Fit]:
        """Renew weights and currents up to ``steps`` times, until nothing moves; all iterates.

        Without ``mixing`` shared errors are left out of the weights: from far off their
        derivatives mean nothing.
        """
        predicted = None if from_nothing else self.predicted(theta)
        results: list[Fit] = []
        for _ in range(steps):
            solved, predicted = self._step(theta, predicted, mixing)
            results.append(solved)
            if results[1:] and _settled(theta, solved.theta):
                break
            theta = solved.theta
        return results

    def _step(
        self, theta: Complex, predicted: Realisation | None, mixing: bool
    ) -> tuple[Fit, Realisation]:
        measured, block, size = self.measured, self.block, len(self.index)
        whitener, root = whitener_of(
            self.group, block, theta, self.level, measured.volts[0], self.active
        )
        ohm = FIRST_RIDGE_OHM if predicted is None else RIDGE_OHM
        ridge = _ridge(self.group, measured, ohm)
        held = (*self.known, *ridge)
        if held:
            whitener = np.concatenate([whitener, known_whitener(held, size)])
        one = np.eye(whitener.shape[0] * size, dtype=np.complex128)
        mixer = np.tile(one, (len(self.group.hz), 1, 1))
        if mixing:
            mixer = mixer_of(
                self.group, block, whitener, theta, measured, self.errors, self.excited, self.active
            )
        source = with_known(measured if predicted is None else predicted, held, 0)
        frame = _decompose(block, whitener, mixer, source, measured, len(ridge))
        recorded = np.einsum("tfab,tfb->tfa", root, self.apart(predicted))
        before = np.sum(np.abs(mixed(mixer, recorded)) ** 2, axis=(0, 2))
        forward = flat(np.concatenate([recorded, rest_of_known(block, held, theta)]))
        turn = np.einsum("fak,fa->fk", np.conj(frame.left), forward)
        step = np.einsum("fpk,fk->fp", frame.basis, turn).reshape(theta.shape)

        def outcome(trial: Complex) -> _Outcome:
            foretold = self.predicted(trial)
            off = np.einsum("tfab,tfb->tfa", root, self.apart(foretold))
            return _Outcome(foretold, mixed(mixer, off))

        theta, reached = _damped(theta, step, outcome, None if predicted is None else before)
        solved = replace(frame, theta=theta, residual=reached.residual, known=held)
        return solved, reached.predicted


def _settled(before: Complex, after: Complex) -> bool:
    moved = np.abs(after - before).max(axis=1)
    return bool(np.all(moved <= SETTLED * np.abs(after).max(axis=1)))


@dataclass(frozen=True)
class _Outcome:
    """What a trial of the stage predicts, and how far it is from what was recorded, whitened."""

    predicted: Realisation
    residual: Complex

    @property
    def misfit(self) -> Array:
        """Sum of squares tone by tone, shape (F,)."""
        return np.asarray(np.sum(np.abs(self.residual) ** 2, axis=(0, 2)))


def _damped(
    theta: Complex, step: Complex, outcome: Callable[[Complex], _Outcome], before: Array | None
) -> tuple[Complex, _Outcome]:
    """Take a step, halved at the tones at which it makes the prediction worse than ``before``."""
    share = np.ones(len(theta))
    reached = outcome(theta + step)
    for _ in range(HALVINGS):
        if before is None:
            break
        worse = reached.misfit > 1.001 * before + 1e-3
        if not worse.any():
            break
        share[worse] *= 0.5
        reached = outcome(theta + share[:, None, None] * step)
    return theta + share[:, None, None] * step, reached


def rest_of_known(block: Block, known: tuple[Known, ...], theta: Complex) -> Complex:
    """What the known columns say less what the stage has, whitened, shape (n, F, R)."""
    size = len(block.terminals)
    if not known:
        return np.zeros((0, theta.shape[0], size), dtype=np.complex128)
    weight = np.einsum("nfaa->nfa", known_whitener(known, size))
    rows = []
    for one in known:
        has = np.einsum("ar,frj,j->fa", block.rows, theta, one.drive)
        rows.append(one.volts[0][:, list(block.terminals)] - has)
    return np.asarray(np.where(weight > 0.0, np.array(rows) * weight, 0.0))


def _ridge(group: Group, measured: Realisation, ohm: float) -> tuple[Known, ...]:
    """Weak knowledge of every column that the takes drive at all."""
    driven = np.abs(measured.drives[0]).max(axis=(0, 1))
    sigma = np.full(len(group.hz), ohm)
    nothing = np.zeros((1, len(group.hz), 3), dtype=np.complex128)
    terminals = [2] if driven[3] > 0.0 else []
    terminals += [0, 1] if driven[1:3].any() else []
    return tuple(Known(terminal, nothing, sigma) for terminal in terminals)


def _best_of(results: list[Fit]) -> Fit:
    """Tone by tone the iterate that predicts the takes best; the last one where they hardly differ.

    An impedance at the edge of what the recorder can see (a floating winding at 20 Hz) need not
    settle, while everything else at that tone has.
    """
    misfit = np.array([np.sum(np.abs(r.residual) ** 2, axis=(0, 2)) for r in results])
    close = misfit <= 1.2 * misfit.min(axis=0) + 1e-6
    pick = len(results) - 1 - np.argmax(close[::-1], axis=0)
    last = results[-1]
    if (pick == len(results) - 1).all():
        return last
    tones = np.arange(len(pick))

    def chosen(values: list[NDArray[np.generic]], axis: int) -> NDArray[np.generic]:
        stacked = np.stack([np.moveaxis(v, axis, 0) for v in values])
        return np.moveaxis(stacked[pick, tones], 0, axis)

    swapped = {
        name: chosen([getattr(r, name) for r in results], 1 if name in _TAKES_FIRST else 0)
        for name in (
            "theta",
            "whitener",
            "left",
            "basis",
            "lost",
            "residual",
            "rank",
            "unsupported",
        )
    }
    return replace(last, **swapped)  # type: ignore[arg-type]


_TAKES_FIRST = ("whitener", "residual")


def _decompose(
    block: Block,
    whitener: Complex,
    mixer: Complex,
    predicted: Realisation,
    measured: Realisation,
    ridges: int,
) -> Fit:
    """Directions of the unknowns, from the currents that the stage just found predicts."""
    takes, tones, size, _ = whitener.shape
    volts = measured.volts[0][:, :, list(block.terminals)]
    scale = np.full((tones, 4), IMPEDANCE_SCALE_OHM)
    scale[:, 0] = LEVEL_SCALE * np.maximum(np.abs(volts).max(axis=(0, 2)), 1e-12)
    prior = np.tile(scale, (1, size))
    design = mixer @ _design(whitener @ block.rows, predicted.drives[0]) * prior[:, None, :]
    u, sigma, vh = np.linalg.svd(design, full_matrices=True)
    count = size * 4
    most = min(count, takes * size)
    strength = np.zeros((tones, count))
    strength[:, :most] = sigma[:, :most]
    solved = strength > 1e-13 * strength[:, :1]
    leaning = np.ones((tones, count))
    weak = np.abs(u[:, (takes - ridges) * size :, :most]) ** 2
    leaning[:, :most] = np.where(solved[:, :most], weak.sum(axis=1), 1.0)
    supported = solved & (leaning < RIDGE_SHARE)
    inverse = np.where(solved, 1.0 / np.maximum(strength, 1e-300), 0.0)
    right = np.conj(np.swapaxes(vh, -1, -2))
    hat = np.zeros((tones, takes * size, count), dtype=np.complex128)
    hat[:, :, :most] = np.where(solved[:, None, :most], u[:, :, :most], 0.0)
    lost = right * (~supported)[:, None, :]
    return Fit(
        block=block,
        theta=np.zeros((tones, size, 4), dtype=np.complex128),
        whitener=whitener,
        mixer=mixer,
        left=np.conj(np.swapaxes(mixer, -1, -2)) @ hat,
        hat=hat,
        basis=prior[:, :, None] * right * inverse[:, None, :],
        lost=lost @ np.conj(np.swapaxes(lost, -1, -2)),
        scale=scale,
        residual=np.zeros((takes, tones, size), dtype=np.complex128),
        rank=solved.sum(axis=1),
        unsupported=np.any(~supported, axis=1),
    )
