"""A solved block and how it is read: entries, columns, and whether the takes stand behind them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from probe.stage.fitted import LEGS, Fit, Known, plausible_ohm, posterior, unknown_part
from probe.stage.network import Complex
from probe.stage.observations import Group
from probe.stage.realise import Excited
from probe.stage.solve import RIDGE_OHM

Array = NDArray[np.float64]

NOT_KNOWN_OHM = 1.0e6
"""Doubt of an entry that no take shows: as good as any value."""

LEG_ROWS = {
    "hot": np.array([0.5, 1.0]),
    "cold": np.array([-0.5, 1.0]),
    "difference": np.array([1.0, 0.0]),
    "mean": np.array([0.0, 1.0]),
}
"""How a voltage (or, turned round, a current) is made of modal ones."""


@dataclass(frozen=True)
class Solved:
    """One block at F tones with D draws (draw 0 is the value itself).

    Attributes
    ----------
    hz
        Shape (F,).
    theta
        Shape (1 + D, F, R, 4): ``[Voc | Z]`` in modal rows and columns.
    fit
        The fit behind it.
    open_leg
        The leg whose column was found by itself (``open_leg``), None where there is none.
    open_known
        True where the takes show the admittance of that leg.
    unswitched
        Legs that no take loads or injects: what moves them is the recorder's own current only, and
        their column is not known whatever the weights say.
    leak
        Shape (F, 2), A: the current the recorder draws from each leg, 0 where it is noise.
    nothing_flows
        ``theta`` with an open leg that passes no current but its strays', where what was found of
        it is not told from that; None elsewhere.
    """

    hz: Array
    theta: Complex
    fit: Fit
    open_leg: int | None = None
    open_known: bool = False
    unswitched: tuple[int, ...] = ()
    leak: Array | None = None
    nothing_flows: Complex | None = None

    def lost(self, functional: Complex) -> Array:
        """How much of a linear quantity the takes do not support, shape (F,), in its unit."""
        if self.open_leg is None:
            lost = unknown_part(self.fit, functional)
        else:
            rest, share = _without_column(functional, self.open_leg)
            lost = unknown_part(self.fit, rest)
            if not self.open_known:
                lost = lost + NOT_KNOWN_OHM * share
        for leg in self.unswitched:
            share = _without_column(functional, leg)[1]
            lost = lost + NOT_KNOWN_OHM * share
            if self.leak is not None:
                levels = np.abs(functional[:, :, 0]).max(axis=1)
                lost = lost + plausible_ohm(self.fit.theta) * levels * self.leak[:, leg]
        return np.asarray(lost)

    def sigma(self, functional: Complex) -> Array:
        """Return the standard deviation of a linear quantity, (F,); of an open leg from draws."""
        if self.open_leg is None:
            return posterior(self.fit, functional)
        values = np.einsum("frj,dfrj->df", functional, self.theta)
        if len(values) < 2:
            return posterior(self.fit, functional)
        return np.asarray(np.median(np.abs(values[1:] - values[0]), axis=0) / np.sqrt(np.log(2.0)))


def _without_column(functional: Complex, leg: int) -> tuple[Complex, float]:
    """Return a functional less what it reads in a leg's column, and how much that was."""
    legs = LEGS.rows
    backwards = np.linalg.inv(legs)
    column = np.einsum("ra,frj,jb->fab", backwards, functional[:, :, 1:3], backwards)
    share = float(np.abs(column[:, :, leg]).max())
    column[:, :, leg] = 0.0
    rest = functional.copy()
    rest[:, :, 1:3] = np.einsum("ar,fab,bj->frj", legs, column, legs)
    return rest, share


def nearest_tone(hz: Array, target: float = 1000.0) -> int:
    """Index of the tone nearest ``target`` Hz."""
    return int(np.argmin(np.abs(np.asarray(hz) - target)))


def column_volts(theta: Complex, name: str) -> Complex:
    """Return what one ampere into a leg raises on the terminals, (D, F, R, 4) to (D, F, 3)."""
    current = LEG_ROWS[name]
    modal = theta[..., 1] * current[0] + theta[..., 2] * current[1]
    hot = modal @ LEG_ROWS["hot"]
    cold = modal @ LEG_ROWS["cold"]
    return np.stack([hot, cold, np.zeros_like(hot)], axis=-1)


def functional(row: str, column: str, tones: int) -> Complex:
    """Linear functional of ``theta`` that reads one entry: (F, 2, 4); column "open" is Voc."""
    out = np.zeros((tones, 2, 4), dtype=np.complex128)
    if column == "open":
        out[:, :, 0] = LEG_ROWS[row]
        return out
    if column in ("hot", "cold"):
        current = LEG_ROWS[column]
    else:
        current = np.array([1.0, 0.0]) if column == "difference" else np.array([0.0, 1.0])
    out[:, :, 1] = LEG_ROWS[row][:, None][:, 0] * current[0]
    out[:, :, 2] = LEG_ROWS[row][:, None][:, 0] * current[1]
    return out


def column_doubt(solved: Fit, name: str) -> Array:
    """Return the doubt of a leg's own impedance from the weights, infinite if unsupported."""
    return entry_doubt(solved, name, name)


def entry_doubt(solved: Fit, row: str, column: str) -> Array:
    """Return the doubt of one leg entry from the weights, infinite where unsupported."""
    tones = solved.theta.shape[0]
    wanted = functional(row, column, tones)
    sigma = posterior(solved, wanted)
    size = np.abs(np.einsum("frj,frj->f", functional(column, column, tones), solved.theta))
    lost = unknown_part(solved, wanted)
    return np.where((lost > 1.0 + 0.05 * size) | (sigma <= 0.0), np.inf, sigma)


def own_doubt(solved: Fit) -> Array:
    """Return the doubt of a lone terminal's impedance by its weights, infinite if unsupported."""
    wanted = np.zeros((solved.theta.shape[0], 1, 4), dtype=np.complex128)
    wanted[:, 0, 3] = 1.0
    sigma = posterior(solved, wanted)
    lost = unknown_part(solved, wanted)
    size = np.abs(solved.theta[:, 0, 3])
    return np.where((lost > 1.0 + 0.05 * size) | (sigma <= 0.0), np.inf, sigma)


def untouched_legs(
    group: Group, excited: Excited, known: tuple[Known, ...]
) -> tuple[tuple[int, ...], Array]:
    """Return legs that nothing was switched onto, and the recorder's current from each, (F, 2)."""
    touched = np.zeros(2, dtype=np.bool_)
    leak = np.zeros((len(group.hz), 2))
    for t, observed in enumerate(group.takes):
        for e, element in enumerate(observed.elements):
            if element.conductance_key.startswith("part/"):
                touched |= element.pattern[:2] != 0.0
                continue
            for leg in np.flatnonzero(element.pattern[:2]):
                flow = element.siemens * np.abs(observed.volts[:, leg]) * excited[t][:, e]
                leak[observed.tones, leg] = np.maximum(leak[observed.tones, leg], flow)
    for one in known:
        if one.terminal < 2 and np.min(one.sigma) < 0.01 * RIDGE_OHM:
            touched[one.terminal] = True
    return tuple(leg for leg in (0, 1) if not touched[leg]), leak
