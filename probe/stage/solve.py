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

from probe.stage.network import Complex
from probe.stage.observations import Group, Observed
from probe.stage.realise import Errors, Excited, Realisation, excitation, injected_currents, realise
from probe.stage.source import FROM_MODAL

Array = NDArray[np.float64]

IMPEDANCE_SCALE_OHM = 1.0e9
"""Scale of the impedances in the decomposition ..."""

LEVEL_SCALE = 1.0e9
"""... and of the open-circuit voltages, in largest recorded ones: numerical, not knowledge."""

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

PLAUSIBLE_OHM, PLAUSIBLE_SIZES = 2.2e3, 3.0
"""What an unsupported impedance may be when it is asked whether it matters: the largest source
impedance of a line output (IEC 61938, read second-hand), and three times the largest impedance
that the takes do show at that tone."""

CAPACITIVE_RAD = -0.8
"""A common mode that turns further than this follows 1/f."""

CONTINUATIONS, ASTRAY = 10, 25.0
"""How often tones that are stuck (so many times the misfit of good ones) start again from their
neighbour: at 20 Hz a winding's common mode is megohms, and only that says where to look."""

HALVINGS = 3
"""How often a step that makes things worse is halved."""

PLAIN_STEPS, MIXED_STEPS, LATER_STEPS = 5, 3, 3
"""How often weights and predicted currents are renewed: three suffice for all but the extremes."""


@dataclass(frozen=True)
class Known:
    """A column of the impedance known from elsewhere: a row of (1) that no take supplied.

    ``volts`` of shape (D, F, 3) is what one ampere into ``terminal`` raises, the first draw being
    the value itself; ``sigma`` of shape (F,) or, row by row, (F, R), ohm, how well it is known:
    infinite where it is not.
    """

    terminal: int
    volts: Complex
    sigma: Array

    @property
    def drive(self) -> Array:
        """One ampere into the terminal, in the coordinates of ``Realisation.drives``."""
        columns = ((0.0, 0.5, 1.0, 0.0), (0.0, -0.5, 1.0, 0.0), (0.0, 0.0, 0.0, 1.0))
        return np.array(columns[self.terminal])


def with_known(drawn: Realisation, known: tuple[Known, ...], first: int) -> Realisation:
    """Append known columns as takes; ``first`` is the draw of ``known`` that draw 0 uses."""
    volts, drives = [drawn.volts], [drawn.drives]
    count = drawn.volts.shape[0]
    for column in known:
        one = column.volts.shape[0] == 1
        part = column.volts if one else column.volts[first : first + count]
        volts.append(np.broadcast_to(part, (count, *part.shape[1:]))[:, None])
        sigma = column.sigma.reshape(len(column.sigma), -1)
        known_at = np.asarray(np.isfinite(sigma).any(axis=1))
        drive = known_at[:, None] * column.drive
        drives.append(np.broadcast_to(drive, (count, 1, *drive.shape)))
    return Realisation(np.concatenate(volts, axis=1), np.concatenate(drives, axis=1))


def _known_whitener(known: tuple[Known, ...], size: int) -> Complex:
    weights = []
    for one in known:
        sigma = np.broadcast_to(one.sigma.reshape(len(one.sigma), -1), (len(one.sigma), size))
        weights.append(np.where(np.isfinite(sigma), 1.0 / np.maximum(sigma, 1e-3), 0.0))
    blocks = [w[:, :, None] * np.eye(size) for w in weights]
    return np.array(blocks, dtype=np.complex128).reshape(len(known), -1, size, size)


@dataclass(frozen=True)
class Block:
    """Which terminals are solved together: the legs in modal rows, or the single-ended output.

    ``terminals`` are leg indices; ``rows`` of shape (R, R) turns modal rows into them.
    """

    terminals: tuple[int, ...]
    rows: Array


LEGS = Block((0, 1), FROM_MODAL[:2, :2])

SINGLE_ENDED = Block((2,), np.ones((1, 1)))


@dataclass(frozen=True)
class Fit:
    """A solved block.

    Attributes
    ----------
    block
        What was solved.
    theta
        Shape (F, R, 4), complex: rows ``[Voc | Z]`` (V, ohm).
    whitener
        Shape (T, F, R, R): ``L⁻¹ (I + Z Y)⁻¹`` of (2), zero rows where nothing was recorded.
    mixer
        Shape (F, T·R, T·R): (4).
    left
        Shape (F, T·R, 4R): the instruments, before mixing; ``hat`` after it, orthonormal.
    basis
        Shape (F, 4R, 4R): solved directions, scaled to unit variance; zero columns elsewhere.
    lost
        Shape (F, 4R, 4R): projector on the unsupported directions of (3), in units of ``scale``.
    scale
        Shape (F, 4): scale of the unknowns.
    residual
        Shape (T, F, R), complex: recorded less predicted voltages, whitened; takes only.
    rank
        Shape (F,), int: directions that were solved.
    unsupported
        Shape (F,), bool: some direction at this tone rests on weak knowledge only.
    known
        The columns appended after the takes.
    """

    block: Block
    theta: Complex
    whitener: Complex
    mixer: Complex
    left: Complex
    hat: Complex
    basis: Complex
    lost: Complex
    scale: Array
    residual: Complex
    rank: NDArray[np.intp]
    unsupported: NDArray[np.bool_]
    known: tuple[Known, ...] = ()

    @property
    def spare(self) -> Array:
        """Share of each recorded row that the solution leaves over (1 less its leverage).

        Shape (T, F, R); 0 where nothing was recorded.
        """
        size = len(self.block.terminals)
        takes = self.whitener.shape[0] - len(self.known)
        used = np.any(np.abs(self.whitener[:takes]) > 0.0, axis=-1)
        taken = np.sum(np.abs(self.hat[:, : takes * size]) ** 2, axis=2)
        taken = np.moveaxis(taken.reshape(-1, takes, size), 0, 1)
        return np.asarray(np.where(used, 1.0 - taken, 0.0), dtype=np.float64)


def _design(fit_rows: Complex, drives: Complex) -> Complex:
    """Rows of (1): (T, F, R, R) whitened rows and (T, F, 4) drives to (F, T·R, 4R)."""
    takes, tones, out, inner = fit_rows.shape
    design = np.einsum("tfar,tfj->ftarj", fit_rows, drives)
    return np.asarray(design.reshape(tones, takes * out, inner * 4))


def _whitener(
    group: Group, block: Block, theta: Complex, level: float, volts: Complex, active: Active
) -> tuple[Complex, Complex]:
    """``L⁻¹ (I + Z Y)⁻¹`` and ``L⁻¹`` of every take, shapes (T, F, R, R)."""
    size = len(block.terminals)
    index = np.array(block.terminals)
    whitener = np.zeros((len(group.takes), len(group.hz), size, size), dtype=np.complex128)
    root = np.zeros_like(whitener)
    modal_z = theta[:, :, 1:3] if size == 2 else theta[:, :, 3:4]
    for t, observed in enumerate(group.takes):
        heard = observed.recorded[index]
        if not heard.any() or not active.takes[t]:
            continue
        tones = observed.tones
        y = observed.y[:, index[:, None], index]
        y = y * np.outer(heard, heard)
        modal_y = np.einsum("ar,fab,bs->frs", block.rows, y, block.rows)
        inverse = inverse_small(np.eye(size) + modal_z[tones] @ modal_y)
        backwards = np.linalg.inv(block.rows)
        inverse = block.rows @ inverse @ backwards
        covariance = _covariance(observed, index, level, volts[t, tones])
        root[t, tones] = _inverse_root(covariance, heard)
        whitener[t, tones] = root[t, tones] @ (inverse * heard[:, None])
    return whitener, root


def _covariance(
    observed: Observed, index: NDArray[np.intp], level: float, volts: Complex
) -> Complex:
    """Covariance of ``dv`` in (2) that is each take's own: noise, and level between takes."""
    covariance = observed.noise[:, index[:, None], index].copy()
    diagonal = np.arange(len(index))
    covariance[:, diagonal, diagonal] += (level * np.abs(volts[:, index])) ** 2
    return covariance


def _inverse_root(covariance: Complex, heard: NDArray[np.bool_]) -> Complex:
    """``L⁻¹`` with ``L Lᴴ`` the covariance of the heard rows; zero rows elsewhere."""
    size = covariance.shape[-1]
    root = np.zeros_like(covariance)
    tiny = 1e-30 + 1e-14 * np.einsum("kii->k", covariance).real
    if size == 2 and heard.all():
        a = covariance[:, 0, 0].real + tiny
        c = covariance[:, 1, 0]
        l00 = np.sqrt(a)
        l10 = c / l00
        l11 = np.sqrt(np.maximum(covariance[:, 1, 1].real + tiny - np.abs(l10) ** 2, tiny))
        root[:, 0, 0] = 1.0 / l00
        root[:, 1, 0] = -l10 / (l00 * l11)
        root[:, 1, 1] = 1.0 / l11
        return root
    for k in range(size):
        if heard[k]:
            root[:, k, k] = 1.0 / np.sqrt(covariance[:, k, k].real + tiny)
    return root


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
        active = _active(group, block)
        if known and block is SINGLE_ENDED:
            active = replace(active, columns=np.ones(4))
        self.active = active
        self.measured = _kept(realise(group, 1, errors, self.excited), active)
        self.index = list(block.terminals)

    def predicted(self, theta: Complex) -> Realisation:
        """Voltages that the stage foretells, and the currents they would draw."""
        return _predicted(self.group, self.block, theta, self.errors, self.excited, self.active)

    def apart(self, predicted: Realisation | None) -> Complex:
        """Recorded less predicted voltages, shape (T, F, R)."""
        recorded = self.measured.volts[0][..., self.index]
        if predicted is None:
            return np.asarray(recorded)
        return np.asarray(recorded - predicted.volts[0][..., self.index])

    def advance(
        self, theta: Complex, steps: int, *, from_nothing: bool = False, mixing: bool = True
    ) -> list[Fit]:
        """Renew weights and currents ``steps`` times; all iterates.

        Without ``mixing`` shared errors are left out of the weights: from far off their
        derivatives mean nothing.
        """
        predicted = None if from_nothing else self.predicted(theta)
        results: list[Fit] = []
        for _ in range(steps):
            solved, predicted = self._step(theta, predicted, mixing)
            theta = solved.theta
            results.append(solved)
        return results

    def _step(
        self, theta: Complex, predicted: Realisation | None, mixing: bool
    ) -> tuple[Fit, Realisation]:
        measured, block, size = self.measured, self.block, len(self.index)
        whitener, root = _whitener(
            self.group, block, theta, self.level, measured.volts[0], self.active
        )
        ohm = FIRST_RIDGE_OHM if predicted is None else RIDGE_OHM
        ridge = _ridge(self.group, measured, ohm)
        held = (*self.known, *ridge)
        if held:
            whitener = np.concatenate([whitener, _known_whitener(held, size)])
        one = np.eye(whitener.shape[0] * size, dtype=np.complex128)
        mixer = np.tile(one, (len(self.group.hz), 1, 1))
        if mixing:
            mixer = _mixer(
                self.group, block, whitener, theta, measured, self.errors, self.excited, self.active
            )
        source = with_known(measured if predicted is None else predicted, held, 0)
        frame = _decompose(block, whitener, mixer, source, measured, len(ridge))
        recorded = np.einsum("tfab,tfb->tfa", root, self.apart(predicted))
        before = np.sum(np.abs(_mixed(mixer, recorded)) ** 2, axis=(0, 2))
        forward = flat(np.concatenate([recorded, _rest_of_known(block, held, theta)]))
        turn = np.einsum("fak,fa->fk", np.conj(frame.left), forward)
        step = np.einsum("fpk,fk->fp", frame.basis, turn).reshape(theta.shape)

        def outcome(trial: Complex) -> _Outcome:
            foretold = self.predicted(trial)
            off = np.einsum("tfab,tfb->tfa", root, self.apart(foretold))
            return _Outcome(foretold, _mixed(mixer, off))

        theta, reached = _damped(theta, step, outcome, None if predicted is None else before)
        solved = replace(frame, theta=theta, residual=reached.residual, known=held)
        return solved, reached.predicted


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


def _rest_of_known(block: Block, known: tuple[Known, ...], theta: Complex) -> Complex:
    """What the known columns say less what the stage has, whitened, shape (n, F, R)."""
    size = len(block.terminals)
    if not known:
        return np.zeros((0, theta.shape[0], size), dtype=np.complex128)
    weight = np.einsum("nfaa->nfa", _known_whitener(known, size))
    rows = []
    for one in known:
        has = np.einsum("ar,frj,j->fa", block.rows, theta, one.drive)
        rows.append(one.volts[0][:, list(block.terminals)] - has)
    return np.asarray(np.where(weight > 0.0, np.array(rows) * weight, 0.0))


def flat(residual: Complex) -> Complex:
    """Return residuals of shape (..., T, F, R) as (..., F, T·R)."""
    moved = np.moveaxis(residual, -3, -2)
    return np.asarray(moved.reshape(*moved.shape[:-2], -1))


def _mixer(
    group: Group,
    block: Block,
    whitener: Complex,
    theta: Complex,
    measured: Realisation,
    errors: Errors,
    excited: Excited,
    active: Active,
) -> Complex:
    """``(I + G Gᴴ)^-1/2`` of (4), shape (F, n, n), n the rows of a tone.

    At injected tones a megohm leg is the small difference of two currents: there the recorder's
    own errors are far from linear and are left to the draws.
    """
    injected = any(o.carried.any() for o in group.takes)
    kinds = ("part/", "injected-volts") if injected else ("gain/", "input-", "part/")
    scales = {k: v for k, v in sorted(group.scales.items()) if v > 0.0 and k.startswith(kinds)}
    takes, rows, size = len(group.takes), whitener.shape[0], len(block.terminals)
    mixer = np.tile(np.eye(rows * size, dtype=np.complex128), (len(group.hz), 1, 1))
    if not scales:
        return mixer
    one_each: Errors = dict(errors)
    for i, (key, scale) in enumerate(scales.items()):
        one_each[key] = scale * (np.arange(len(scales)) == i)
    moved = _kept(realise(group, len(scales), one_each, excited), active)
    volts = (moved.volts - measured.volts)[..., list(block.terminals)]
    drives = moved.drives - measured.drives
    volts = volts - np.einsum("ar,frj,ktfj->ktfa", block.rows, theta, drives)
    shift = np.einsum("tfab,ktfb->ftak", whitener[:takes], volts)
    shift = shift.reshape(len(group.hz), takes * size, len(scales))
    covariance = np.eye(takes * size) + shift @ np.conj(np.swapaxes(shift, -1, -2))
    values, vectors = np.linalg.eigh(covariance)
    back = np.conj(np.swapaxes(vectors, -1, -2))
    mixer[:, : takes * size, : takes * size] = (
        vectors / np.sqrt(np.maximum(values, 1.0))[:, None, :]
    ) @ back
    return mixer


def _mixed(mixer: Complex, residual: Complex) -> Complex:
    """Residuals (T, F, R) after (4)."""
    takes, tones, size = residual.shape
    count = takes * size
    rows = np.moveaxis(residual, 1, 0).reshape(tones, count, 1)
    return np.asarray(
        np.moveaxis((mixer[:, :count, :count] @ rows).reshape(tones, takes, size), 0, 1)
    )


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


@dataclass(frozen=True)
class Active:
    """Which columns a block solves for, and which takes it uses.

    A column that no take excites by a load or an injection of its own is left alone: the
    recorder's few microamperes into it say nothing.
    """

    columns: Array
    takes: NDArray[np.bool_]


def _switched(observed: Observed) -> NDArray[np.bool_]:
    """Terminals that carry a load or an injector in a take, shape (3,)."""
    touched = np.zeros(3, dtype=np.bool_)
    for element in observed.elements:
        if element.conductance_key.startswith("part/"):
            touched |= element.pattern != 0.0
    return touched


def _active(group: Group, block: Block) -> Active:
    columns = np.ones(4)
    takes = np.ones(len(group.takes), dtype=np.bool_)
    touched = [_switched(o) for o in group.takes]
    heard = [o.recorded for o in group.takes]
    if block is LEGS:
        if not any(t[2] and h[:2].any() for t, h in zip(touched, heard, strict=True)):
            columns[3] = 0.0
            plain = np.array([not h[2] for h in heard])
            takes = plain if plain.any() else takes
    elif not any(t[:2].any() and h[2] for t, h in zip(touched, heard, strict=True)):
        columns[1:3] = 0.0
    return Active(columns, takes)


def _kept(one: Realisation, active: Active) -> Realisation:
    return Realisation(one.volts, one.drives * active.columns)


def _predicted(
    group: Group, block: Block, theta: Complex, errors: Errors, excited: Excited, active: Active
) -> Realisation:
    """Currents that the stage just found would draw: the instruments."""
    volts = np.zeros((len(group.takes), len(group.hz), 3), dtype=np.complex128)
    for t, observed in enumerate(group.takes):
        if block is LEGS:
            current = injected_currents(observed, t, 1, errors, observed.volts[None])[0]
            volts[t, observed.tones] = predict(observed, theta, current)
        else:
            volts[t, observed.tones] = _predict_single(observed, theta)
    drawn = realise(group, 1, errors, excited, volts)
    return Realisation(volts[None], drawn.drives * active.columns)


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


def resolve(
    solved: Fit, draws: Realisation, first: int = 0, *, currents_drawn: bool = False
) -> Complex:
    """Solve (1) again for every draw with the weights of ``solved``, shape (D, F, R, 4).

    One step from the value: the row error of (1) with the drawn voltages and currents, projected
    on the directions of the solve. Linear in what was drawn, hence two matrix products per tone.
    With ``currents_drawn`` the currents of each draw stand on both sides: for injected ones, which
    are strong but of unknown phase, so that a turned current turns the answer and no more.
    ``first`` is the draw of the known columns that goes with draw 0.
    """
    block = solved.block
    draws = with_known(draws, solved.known, first)
    size = len(block.terminals)
    tones, kept = solved.basis.shape[0], int(solved.rank.max(initial=0))
    takes, count = solved.whitener.shape[0], draws.volts.shape[0]
    rows = solved.whitener @ block.rows
    left = np.conj(solved.left[:, :, :kept]).reshape(tones, takes, size, kept)
    seen = np.einsum("ftak,tfar->ftkr", left, rows)
    start = np.einsum("ftkr,frj->ftjk", seen, solved.theta).reshape(tones, takes * 4, kept)
    project = np.einsum("ftak,tfab->ftbk", left, solved.whitener).reshape(tones, -1, kept)
    drives = np.moveaxis(draws.drives, 2, 0).reshape(tones, count, takes * 4)
    volts = np.moveaxis(draws.volts[..., list(block.terminals)], 2, 0)
    step = volts.reshape(tones, count, takes * size) @ project - drives @ start
    if currents_drawn:
        basis = solved.basis[:, :, :kept].reshape(tones, size, 4, kept)
        matrix = np.einsum("ftkr,frjl->ftjkl", seen, basis).reshape(tones, takes * 4, kept * kept)
        normal = (drives @ matrix).reshape(tones, count, kept, kept)
        spare = np.arange(kept) >= solved.rank[:, None]
        normal[:, :, np.arange(kept), np.arange(kept)] += spare[:, None, :]
        step = solve_small(normal, step)
    theta = solved.theta.reshape(tones, 1, size * 4)
    theta = theta + step @ np.swapaxes(solved.basis[:, :, :kept], -1, -2)
    return np.asarray(np.moveaxis(theta.reshape(tones, count, size, 4), 0, 1))


def solve_small(matrix: Complex, right: Complex) -> Complex:
    """Solve many small systems at once: (..., n, n) and (..., n) to (..., n).

    Gauss elimination with the batch as the inner loop and without pivoting: the matrices are
    near unity by construction.
    """
    size = matrix.shape[-1]
    shape = right.shape
    a = np.ascontiguousarray(matrix.reshape(-1, size, size).transpose(1, 2, 0))
    b = np.ascontiguousarray(right.reshape(-1, size).T)
    for k in range(size):
        inverse = 1.0 / a[k, k]
        for m in range(k + 1, size):
            factor = a[m, k] * inverse
            a[m, k + 1 :] -= factor * a[k, k + 1 :]
            b[m] -= factor * b[k]
    for k in range(size - 1, -1, -1):
        for m in range(k + 1, size):
            b[k] -= a[k, m] * b[m]
        b[k] /= a[k, k]
    return np.ascontiguousarray(b.T).reshape(shape)


def inverse_small(matrix: Complex) -> Complex:
    """Inverse of 1x1 or 2x2 matrices (..., n, n); a vanishing determinant is held off nothing.

    ``I + Z Y`` vanishes only for a negative resistance equal to the recorder's, on the way to a
    solution, never at one.
    """
    if matrix.shape[-1] == 1:
        return np.asarray(1.0 / np.where(np.abs(matrix) > 1e-12, matrix, 1e-12))
    a, b, c, d = matrix[..., 0, 0], matrix[..., 0, 1], matrix[..., 1, 0], matrix[..., 1, 1]
    size = np.abs(a * d) + np.abs(b * c)
    determinant = a * d - b * c
    determinant = np.where(np.abs(determinant) > 1e-15 * size, determinant, 1e-15 * size + 1e-300)
    rows = np.stack([np.stack([d, -b], axis=-1), np.stack([-c, a], axis=-1)], axis=-2)
    return np.asarray(rows / determinant[..., None, None])


def predict(observed: Observed, theta: Complex, injected: Complex | None = None) -> Complex:
    """Voltages of one take that a solved stage gives, shape (K, 3), V rms; the model forwards.

    ``theta`` of shape (F, 2, 4) is that of the legs, ``injected`` (K, 3) the injected currents;
    the single-ended output, and a leg that was set aside in this take, stay as recorded.
    """
    tones = observed.tones
    rows = LEGS.rows
    y = observed.y[:, :2, :2]
    given = np.where(observed.recorded[:2], 0.0, observed.volts[:, :2])
    current = -np.einsum("kab,kb->ka", y, given)
    if injected is not None:
        current = current + injected[:, :2]
    modal_y = np.einsum("ar,fab,bs->frs", rows, y * observed.recorded[:2], rows)
    z = theta[tones, :, 1:3]
    drive = observed.strength[:, None] * theta[tones, :, 0]
    drive = drive + np.einsum("krs,as,ka->kr", z, rows, current)
    if observed.recorded[2]:
        single = observed.y[:, 2, 2] * observed.volts[:, 2]
        drive = drive - theta[tones, :, 3] * single[:, None]
    modal = (inverse_small(np.eye(2) + z @ modal_y) @ drive[..., None])[..., 0]
    volts = observed.volts.copy()
    volts[:, :2] = np.where(observed.recorded[:2], modal @ rows.T, volts[:, :2])
    return volts


def _predict_single(observed: Observed, theta: Complex) -> Complex:
    """Return the same for the single-ended output; the legs stay as recorded."""
    tones = observed.tones
    volts = observed.volts.copy()
    if not observed.recorded[2]:
        return volts
    if np.linalg.norm(volts[:, 2]) == 0.0 or observed.carried.any():
        return volts
    legs = -np.einsum("kab,kb->ka", observed.y[:, :2, :2], volts[:, :2])
    drive = observed.strength * theta[tones, 0, 0]
    drive = drive + 0.5 * theta[tones, 0, 1] * (legs[:, 0] - legs[:, 1])
    drive = drive + theta[tones, 0, 2] * (legs[:, 0] + legs[:, 1])
    volts[:, 2] = drive / (1.0 + theta[tones, 0, 3] * observed.y[:, 2, 2])
    return volts


def posterior(solved: Fit, functional: Complex) -> Array:
    """Return standard deviation of a linear quantity from the weights alone, shape (F,).

    ``functional`` has shape (F, R, 4): the quantity is ``sum(functional * theta)``.
    """
    tones = functional.shape[0]
    seen = np.einsum("fp,fpk->fk", functional.reshape(tones, -1), solved.basis)
    return np.asarray(np.linalg.norm(seen, axis=-1))


def plausible_ohm(theta: Complex) -> Array:
    """What an impedance that no take shows may be at most, shape (F,)."""
    shown = np.abs(theta[:, :, 1:]).max(axis=(1, 2))
    return np.asarray(PLAUSIBLE_OHM + PLAUSIBLE_SIZES * shown)


def unknown_part(solved: Fit, functional: Complex) -> Array:
    """How much of a linear quantity lies in directions the takes do not support, shape (F,).

    In the unit of the quantity (V or ohm): its standard deviation if nothing were known about
    those directions but that impedances stay below ``plausible_ohm`` and levels below ten times
    the largest recorded; 0 means supported.
    """
    tones, size, _ = functional.shape
    prior = np.tile(solved.scale, (1, size))
    plausible = np.repeat(plausible_ohm(solved.theta)[:, None], 4, axis=1)
    plausible[:, 0] = 10.0 * solved.scale[:, 0] / LEVEL_SCALE
    plausible = np.tile(plausible, (1, size))
    directions = prior[:, :, None] * solved.lost / plausible[:, :, None]
    u, sigma, _ = np.linalg.svd(directions)
    real = sigma > 1e-9 * np.maximum(sigma[:, :1], 1e-300)
    lost = np.einsum("fp,fpk->fk", functional.reshape(tones, size * 4) * plausible, u)
    return np.asarray(
        np.linalg.norm(np.where(real & solved.unsupported[:, None], lost, 0.0), axis=-1)
    )
