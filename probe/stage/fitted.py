"""What a solve of (1) in `probe.stage.solve` leaves behind, and what can be said from it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from probe.stage.network import Complex
from probe.stage.realise import Realisation
from probe.stage.source import FROM_MODAL

Array = NDArray[np.float64]


IMPEDANCE_SCALE_OHM = 1.0e9
"""Scale of the impedances in the decomposition ..."""

LEVEL_SCALE = 1.0e9
"""... and of the open-circuit voltages, in largest recorded ones: numerical, not knowledge."""

PLAUSIBLE_OHM, PLAUSIBLE_SIZES = 2.2e3, 3.0
"""What an unsupported impedance may be when it is asked whether it matters: the largest source
impedance of a line output (IEC 61938, read second-hand), and three times the largest impedance
that the takes do show at that tone."""


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


def known_whitener(known: tuple[Known, ...], size: int) -> Complex:
    """One over how well each known column is known, as whiteners of shape (n, F, R, R)."""
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


def flat(residual: Complex) -> Complex:
    """Return residuals of shape (..., T, F, R) as (..., F, T·R)."""
    moved = np.moveaxis(residual, -3, -2)
    return np.asarray(moved.reshape(*moved.shape[:-2], -1))


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
