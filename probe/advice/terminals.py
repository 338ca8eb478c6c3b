"""The device's terminals in use, in the coordinates in which they are solved.

Where both legs carry current this is done in modal coordinates, in which the differential
impedance of a floating stage is an entry of its own and not a difference of megohms; else in
those of the terminals themselves, of which then no more than each one's own row is needed. With
``v_leg = F v``, currents go the other way, ``i = Fᵀ i_leg``, and an admittance is ``Fᵀ Y F``.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from probe.advice.sampled import Sampled
from probe.facts.source import FROM_MODAL, TERMINALS

Floats = NDArray[np.float64]
Complex = NDArray[np.complex128]

MODES = ("difference", "mean", "single-ended")


@dataclass(frozen=True)
class Terminals:
    """The terminals ``names`` of a source with N draws and G frequencies, P of them.

    Attributes
    ----------
    axes
        Names of the coordinates: the terminals', or `MODES`.
    voc, z
        Shapes (N, G, P) and (N, G, P, P) in those coordinates, V and ohm.
    back
        Shape (P, P): coordinates to terminals.
    at
        Index of the reference frequency.
    """

    names: tuple[str, ...]
    axes: tuple[str, ...]
    voc: Complex
    z: Complex
    back: Floats
    at: int

    @classmethod
    def of(cls, sampled: Sampled, groups: Sequence[tuple[str, ...]]) -> Terminals:
        """Return the terminals that any of ``groups`` uses."""
        names = tuple(t for t in TERMINALS if any(t in group for group in groups))
        index = [TERMINALS.index(t) for t in names]
        both = "hot" in names and "cold" in names
        voc, z = (sampled.voc, sampled.z) if both else (sampled.leg_voc, sampled.leg_z)
        return cls(
            names=names,
            axes=tuple(MODES[i] for i in index) if both else names,
            voc=voc[..., index],
            z=z[..., index, :][..., index],
            back=FROM_MODAL[np.ix_(index, index)] if both else np.eye(len(index)),
            at=sampled.at,
        )

    def pick(self, pins: Sequence[str]) -> list[int]:
        """Return the positions of ``pins`` among the terminals."""
        return [self.names.index(p) for p in pins]

    def admittance(self, parts: Sequence[tuple[tuple[str, ...], Complex]]) -> Complex:
        """Add up the admittances (G, p, p) of leads on their own pins; shape (G, P, P)."""
        size, points = len(self.names), parts[0][1].shape[0]
        y = np.zeros((points, size, size), dtype=np.complex128)
        for pins, own in parts:
            at = self.pick(pins)
            y[:, np.array(at)[:, None], at] += own
        return y

    def from_source(self, y: Complex) -> Complex:
        """Return the voltages on the terminals with ``y`` connected, shape (N, G, P)."""
        return self._at_terminals(_solve(self.z, self._turned(y), self.voc))

    def from_current(self, y: Complex, pins: Sequence[str], current: Complex) -> Complex:
        """Return what a current (G, p) drawn out of ``pins`` moves, shape (N, G, P)."""
        drawn = np.zeros(y.shape[:2], dtype=np.complex128)
        drawn[:, self.pick(pins)] = current
        turned = np.einsum("ji,gj->gi", self.back, drawn)
        return self._at_terminals(-_solve_current(self.z, self._turned(y), turned))

    def weights(self, y: Complex, pins: Sequence[str], row: Complex) -> dict[str, Complex]:
        """Return what ``row`` (G, p) reads per volt of each open-circuit voltage, at ``at``.

        Of the central estimate alone, shape (1,) each: the doubt of a noise is that of its volts.
        """
        whole = np.zeros(y.shape[:2], dtype=np.complex128)
        whole[:, self.pick(pins)] = row
        turned = (whole @ self.back)[self.at]
        z, loaded = self.z[:1, [self.at]], self._turned(y)[[self.at]]
        columns = [
            _solve(z, loaded, np.broadcast_to(unit, (z.shape[0], 1, unit.size)).astype(complex))
            for unit in np.eye(len(self.names))
        ]
        found = [np.einsum("p,np->n", turned, c[:, 0]) for c in columns]
        return dict(zip(self.axes, found, strict=True))

    def _turned(self, y: Complex) -> Complex:
        return np.asarray(np.einsum("ji,gjk,kl->gil", self.back, y, self.back))

    def _at_terminals(self, values: Complex) -> Complex:
        return np.asarray(np.einsum("ij,ngj->ngi", self.back, values))


def _solve(z: Complex, y: Complex, voc: Complex) -> Complex:
    """Return ``(1 + Z Y)^-1 Voc``, shape (N, G, P)."""
    size = y.shape[-1]
    if size == 1:
        return np.asarray(voc / (1.0 + z[..., 0] * y[:, 0]))
    if size == 2:
        a, b, c, d, det = _two(z, y)
        return np.stack(
            [(d * voc[..., 0] - b * voc[..., 1]) / det, (a * voc[..., 1] - c * voc[..., 0]) / det],
            axis=-1,
        )
    return np.asarray(np.linalg.solve(np.eye(size) + z @ y, voc[..., None])[..., 0])


def _solve_current(z: Complex, y: Complex, current: Complex) -> Complex:
    """Return ``(1 + Z Y)^-1 Z i``, shape (N, G, P), for ``i`` of shape (G, P).

    Of two terminals as ``(Z + det(Z) adj(Y)) i / det(1 + Z Y)``, in which nothing large cancels.
    """
    size = y.shape[-1]
    if size == 1:
        return np.asarray(z[..., 0] * current / (1.0 + z[..., 0] * y[:, 0]))
    if size == 2:
        *_, det = _two(z, y)
        adjoint = np.stack(
            [np.stack([y[:, 1, 1], -y[:, 0, 1]], -1), np.stack([-y[:, 1, 0], y[:, 0, 0]], -1)], -2
        )
        turned = np.einsum("gij,gj->gi", adjoint, current)
        moved = np.einsum("ngij,gj->ngi", z, current) + _det(z)[..., None] * turned
        return np.asarray(moved / det[..., None])
    right = np.einsum("ngij,gj->ngi", z, current)
    return np.asarray(np.linalg.solve(np.eye(size) + z @ y, right[..., None])[..., 0])


def _two(z: Complex, y: Complex) -> tuple[Complex, Complex, Complex, Complex, Complex]:
    """Return the entries of ``1 + Z Y`` row by row, and its determinant (Cramer)."""
    a = 1.0 + z[..., 0, 0] * y[:, 0, 0] + z[..., 0, 1] * y[:, 1, 0]
    b = z[..., 0, 0] * y[:, 0, 1] + z[..., 0, 1] * y[:, 1, 1]
    c = z[..., 1, 0] * y[:, 0, 0] + z[..., 1, 1] * y[:, 1, 0]
    d = 1.0 + z[..., 1, 0] * y[:, 0, 1] + z[..., 1, 1] * y[:, 1, 1]
    # a d - b c loses what det(z) det(y) alone can say when both terms are large
    return a, b, c, d, a + d - 1.0 + _det(z) * _det(y)


def _det(matrix: Complex) -> Complex:
    return np.asarray(matrix[..., 0, 0] * matrix[..., 1, 1] - matrix[..., 0, 1] * matrix[..., 1, 0])
