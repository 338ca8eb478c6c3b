"""The device's terminals in use, in the coordinates in which they are solved, and what loads them.

Where both legs carry current this is done in modal coordinates, in which the differential
impedance of a floating stage is an entry of its own and not a difference of megohms; else in
those of the terminals themselves, of which then no more than each one's own row is needed. With
``v_leg = F v``, currents go the other way, ``i = Fᵀ i_leg``, and an admittance is ``Fᵀ Y F``.

With an admittance ``Y`` on them the terminals have

    v = (1 + Z Y)^-1 Voc         and a current i out of them moves them by  -(1 + Z Y)^-1 Z i

What is read of them, ``r·v``, is by Cramer's rule a ratio of two determinants, and each of these a
sum over the minors of the source times minors of the load (Cauchy and Binet):

    det(1 + Z Y) = 1 + sum z_ij y_ji + sum Z_pq Y_qp + det Z det Y

where p and q are pairs of rows and of columns. So whatever is tried on a source costs one product
of two tables: `Terminals` keeps the minors of the source, with the open-circuit voltages as one
more column, and `Load` makes the factors of a network. Nothing large cancels that is not large in
the circuit: a floating stage has small minors, and no differences of large products.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property, lru_cache
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from probe.advice.sampled import Sampled
from probe.facts.source import FROM_MODAL, TERMINALS

Floats = NDArray[np.float64]
Complex = NDArray[np.complex128]

Points = tuple[int, ...] | None
"""Indices of frequencies; None: all of them."""

MODES = ("difference", "mean", "single-ended")

MOST_KEPT = 64
"""Sources whose minors are kept: all corners of one stage, at 1.5 MB each of a described one."""


@lru_cache(maxsize=256)
def names_of(groups: tuple[tuple[str, ...], ...]) -> tuple[str, ...]:
    """Return the terminals that any of ``groups`` uses, in their order."""
    return tuple(t for t in TERMINALS if any(t in group for group in groups))


@dataclass(frozen=True, eq=False)
class Terminals:
    """The terminals ``names`` of a source with N draws at F frequencies, P of them.

    Attributes
    ----------
    voc, z
        Shapes (P, N, F) and (P, P, N, F) in their coordinates, V and ohm.
    """

    names: tuple[str, ...]
    voc: Complex
    z: Complex

    @classmethod
    def of(cls, sampled: Sampled, names: tuple[str, ...], points: Points = None) -> Terminals:
        """Return these terminals of a source; the same object for whoever asks again."""
        whole = _terminals(sampled, names)
        return whole if points is None else whole.only(points)

    def only(self, points: tuple[int, ...]) -> Terminals:
        """Return the same at some of the frequencies alone."""
        if points not in self._parts:
            at = list(points)
            self._parts[points] = Terminals(self.names, self.voc[..., at], self.z[..., at])
        return self._parts[points]

    @cached_property
    def _parts(self) -> dict[tuple[int, ...], Terminals]:
        return {}

    @cached_property
    def with_units(self) -> Terminals:
        """Return the first draw with 1 V on one coordinate after the other in place of draws."""
        units = np.eye(len(self.names), dtype=np.complex128)[:, :, None]
        shape = len(self.names), self.voc.shape[2]
        z = np.broadcast_to(self.z[:, :, :1], (*self.z.shape[:2], *shape))
        return Terminals(self.names, np.broadcast_to(units, (shape[0], *shape)), z)

    @cached_property
    def minors(self) -> Complex:
        """One, the impedances, their minors of two and of three; shape (F, N, M)."""
        two = minors(self.z)
        one = np.ones((1, *self.z.shape[2:]))
        every = [one, _flat(self.z), _flat(two), _of_three(self.z, two)]
        return _table(np.concatenate(every))

    @cached_property
    def with_voc(self) -> Complex:
        """The same with the open-circuit voltages as one of the columns; shape (F, N, M)."""
        z, v = self.z, self.voc
        pairs = np.array([z[j] * v[i] - z[i] * v[j] for i, j in pairs_of(z)])
        every = [v, pairs.reshape(-1, *v.shape[1:])]
        if len(v) == 3:
            each = ((1, 2), (2, 0), (0, 1))  # the columns beside the one left out, in their turn
            every.append(np.array([_triple(z[:, a], z[:, b], v) for a, b in each]))
        return _table(np.concatenate(every))


@lru_cache(maxsize=MOST_KEPT)
def _terminals(sampled: Sampled, names: tuple[str, ...]) -> Terminals:
    return Terminals(names, *sampled.of_terminals(names))


def _modal(names: Sequence[str]) -> bool:
    return "hot" in names and "cold" in names


@dataclass(frozen=True, eq=False)
class Load:
    """What hangs on the terminals ``names``: its admittance at F frequencies.

    ``y``: shape (F, P, P), siemens, on the terminals themselves.
    """

    names: tuple[str, ...]
    y: Complex

    @classmethod
    def of(cls, parts: Sequence[tuple[tuple[str, ...], Complex]]) -> Load:
        """Add up the admittances (F, p, p) of leads on their own pins."""
        names = names_of(tuple(pins for pins, _ in parts))
        y = np.zeros((parts[0][1].shape[0], len(names), len(names)), dtype=np.complex128)
        for pins, own in parts:
            at = [names.index(p) for p in pins]
            y[:, np.array(at)[:, None], at] += own
        return cls(names, y)

    @property
    def axes(self) -> tuple[str, ...]:
        """Names of the coordinates: the terminals', or `MODES`."""
        if not _modal(self.names):
            return self.names
        return tuple(MODES[TERMINALS.index(t)] for t in self.names)

    @cached_property
    def back(self) -> Floats:
        """Coordinates to terminals, shape (P, P)."""
        index = [TERMINALS.index(t) for t in self.names]
        return FROM_MODAL[np.ix_(index, index)] if _modal(self.names) else np.eye(len(index))

    @cached_property
    def _turned(self) -> Complex:
        """In the coordinates, shape (P, P, F)."""
        return np.moveaxis(self.back.T @ self.y @ self.back, 0, -1)

    @cached_property
    def _minors(self) -> Complex:
        return minors(self._turned)

    @cached_property
    def below(self) -> Complex:
        """Factors of `Terminals.minors` that make up the determinant, shape (F, M, 1)."""
        one = np.ones((1, self.y.shape[0]))
        turned = [_flat(m.swapaxes(0, 1)) for m in (self._turned, self._minors)]
        every = [one, *turned, _of_three(self._turned, self._minors)]
        return _table(np.concatenate(every))[..., None]

    def on(self, pins: Sequence[str], values: Complex) -> Complex:
        """Return what is given for each of ``pins``, shape (F, p), in the coordinates, (P, F).

        A row that reads voltages, or currents out of the pins.
        """
        whole = np.zeros((values.shape[0], len(self.names)), dtype=np.complex128)
        whole[:, [self.names.index(p) for p in pins]] = values
        return np.asarray((whole @ self.back).T)

    def reads(self, row: Complex) -> Complex:
        """Return the factors of `Terminals.with_voc` of what ``row`` (P, F) reads, shape (F, M)."""
        return _table(np.concatenate(self._reads(row)))

    def reads_moved(self, row: Complex, current: Complex) -> Complex:
        """Return the factors of `Terminals.minors` of what ``current`` (P, F) moves at ``row``.

        Shape (F, M).
        """
        own, two, three = self._reads(row)
        none = np.zeros((1, self.y.shape[0]))
        pairs = pairs_of(self._turned)
        held = two.reshape(len(pairs), *own.shape)
        wedge = [[of[b] * current[a] - of[a] * current[b] for a, b in pairs] for of in held]
        every = [
            none,
            _flat(own[:, None] * current[None]),
            np.array(wedge, dtype=np.complex128).reshape(-1, none.shape[1]),
            np.sum(three * current, axis=0, keepdims=True) if len(three) else three,
        ]
        return -_table(np.concatenate(every))

    def _reads(self, row: Complex) -> tuple[Complex, Complex, Complex]:
        """Return the factors with none, one and two rows of the load, entries on axis 0."""
        y, pairs = self._turned, pairs_of(self._turned)
        one = [row[i] * y[:, j] - row[j] * y[:, i] for i, j in pairs]
        two = [_triple(row, y[a], y[b]) for a, b in ((1, 2), (2, 0), (0, 1))] if len(y) == 3 else []
        empty = np.zeros((0, row.shape[1]), dtype=np.complex128)
        return row, np.concatenate([empty, *one]), np.array(two) if two else empty


def read(source: Complex, factors: Complex, below: Complex) -> Complex:
    """Return what is read of a source, shape (F, N, K): of factors (F, M, K) over a determinant."""
    return np.asarray(source @ factors / below)


def pairs_of(matrix: Complex) -> list[tuple[int, int]]:
    """Return the pairs of rows, or of columns, of a square matrix."""
    return list(combinations(range(len(matrix)), 2))


def minors(matrix: Complex) -> Complex:
    """Return the minors of two rows and two columns of ``matrix``, shape (P, P, ...).

    Pairs of rows on axis 0, pairs of columns on axis 1.
    """
    pairs = pairs_of(matrix)
    found = [
        [matrix[i, a] * matrix[j, b] - matrix[i, b] * matrix[j, a] for a, b in pairs]
        for i, j in pairs
    ]
    shape = len(pairs), len(pairs), *matrix.shape[2:]
    return np.array(found, dtype=np.complex128).reshape(shape)


def _of_three(matrix: Complex, two: Complex) -> Complex:
    """Return the determinant of three rows by the minors of two, (1, ...); else (0, ...)."""
    if len(matrix) < 3:
        return np.zeros((0, *matrix.shape[2:]), dtype=np.complex128)
    first, rest = matrix[0], two[2]  # of the second and the third row
    return np.asarray(first[0] * rest[2] - first[1] * rest[1] + first[2] * rest[0])[None]


def _triple(a: Complex, b: Complex, c: Complex) -> Complex:
    """Return the determinant of three columns, each of shape (3, ...)."""
    return np.asarray(
        a[0] * (b[1] * c[2] - b[2] * c[1])
        - a[1] * (b[0] * c[2] - b[2] * c[0])
        + a[2] * (b[0] * c[1] - b[1] * c[0])
    )


def _flat(matrix: Complex) -> Complex:
    """Return the entries of a matrix, shape (P, Q, ...), on axis 0."""
    return matrix.reshape(-1, *matrix.shape[2:])


def _table(entries: Complex) -> Complex:
    """Return entries, shape (M, ..., F), as shape (F, ..., M)."""
    return np.ascontiguousarray(np.moveaxis(np.moveaxis(entries, -1, 0), 1, -1))
