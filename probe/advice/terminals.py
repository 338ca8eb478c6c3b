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
        at = slice(index[0], index[-1] + 1, 2 if index == [0, 2] else 1)  # a view, not a copy
        both = "hot" in names and "cold" in names
        voc, z = (sampled.voc, sampled.z) if both else (sampled.leg_voc, sampled.leg_z)
        return cls(
            names=names,
            axes=tuple(MODES[i] for i in index) if both else names,
            voc=voc[..., at],
            z=z[..., at, at],
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
        return self.driven(y, ())[0]

    def driven(
        self, y: Complex, drawn: Sequence[tuple[Sequence[str], Complex]]
    ) -> tuple[Complex, list[Complex]]:
        """Return the voltages with ``y`` connected, and what each current drawn moves, (N, G, P).

        ``drawn``: pins, and the current (G, p) out of them. All are solved at once: they differ
        in nothing but the right-hand side.
        """
        turned = self.back.T @ y @ self.back
        currents = []
        for pins, current in drawn:
            whole = np.zeros(y.shape[:2], dtype=np.complex128)
            whole[:, self.pick(pins)] = current
            currents.append(whole @ self.back)
        volts, moved = _solve(self.z, turned, self.voc, currents)
        return self._at_terminals(volts), [self._at_terminals(-m) for m in moved]

    def weights(self, y: Complex, pins: Sequence[str], row: Complex) -> dict[str, Complex]:
        """Return what ``row`` (G, p) reads per volt of each open-circuit voltage, at ``at``.

        Of the central estimate alone, shape (1,) each: the doubt of a noise is that of its volts.
        """
        whole = np.zeros(y.shape[:2], dtype=np.complex128)
        whole[:, self.pick(pins)] = row
        turned = (whole @ self.back)[self.at]
        z, loaded = self.z[:1, [self.at]], self.back.T @ y[[self.at]] @ self.back
        units = np.eye(len(self.names), dtype=np.complex128)[:, None]
        columns = _solve(z, loaded, units, ())[0]  # shape (P, 1, P), one for each unit
        return dict(zip(self.axes, columns[:, 0] @ turned[:, None], strict=True))

    def _at_terminals(self, values: Complex) -> Complex:
        return values if len(self.names) == 1 else np.asarray(values @ self.back.T)


def _solve(
    z: Complex, y: Complex, voc: Complex, currents: Sequence[Complex]
) -> tuple[Complex, list[Complex]]:
    """Return ``(1 + Z Y)^-1 Voc``, shape (N, G, P), and ``(1 + Z Y)^-1 Z i`` for each (G, P).

    Of two terminals the latter as ``(Z + det(Z) adj(Y)) i / det(1 + Z Y)``, in which nothing
    large cancels.
    """
    size = y.shape[-1]
    if size == 1:
        below = 1.0 + z[..., 0] * y[:, 0]
        return np.asarray(voc / below), [np.asarray(z[..., 0] * i / below) for i in currents]
    if size == 2:
        a, b, c, d, det = _two(z, y)
        volts = np.stack(
            [(d * voc[..., 0] - b * voc[..., 1]) / det, (a * voc[..., 1] - c * voc[..., 0]) / det],
            axis=-1,
        )
        return volts, [_moved_of_two(z, y, i, det) for i in currents]
    right = np.stack([voc, *(_times(z, i) for i in currents)], axis=-1)
    found: Complex = np.asarray(np.linalg.solve(np.eye(size) + z @ y, right))
    return found[..., 0], [found[..., k + 1] for k in range(len(currents))]


def _times(z: Complex, current: Complex) -> Complex:
    """Return ``Z i``, shape (N, G, P), for ``i`` of shape (G, P)."""
    return np.asarray((z @ current[..., None])[..., 0])


def _moved_of_two(z: Complex, y: Complex, current: Complex, det: Complex) -> Complex:
    one, two = current[:, 0], current[:, 1]
    turned = (y[:, 1, 1] * one - y[:, 0, 1] * two, y[:, 0, 0] * two - y[:, 1, 0] * one)
    of_z = _det(z)
    moved = [(z[..., k, 0] * one + z[..., k, 1] * two + of_z * turned[k]) / det for k in range(2)]
    return np.stack(moved, axis=-1)


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
