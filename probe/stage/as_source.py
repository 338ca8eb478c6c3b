"""An identified stage as a ``Source``: what the takes support; NaN where they do not."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from probe.stage.identify import Identified
from probe.stage.network import Complex
from probe.stage.quantities import nearest
from probe.stage.solve import hopeless
from probe.stage.solved import LEG_ROWS, Solved, functional
from probe.stage.source import TO_MODAL, Source, modal_to_legs_impedance, modal_to_legs_voltage

Array = NDArray[np.float64]
Bools = NDArray[np.bool_]

DRAWS_KEPT = 400
"""Draws written to a facts document: 95 % intervals from them repeat to a few percent."""

MEAN_OF_MEAN = 6
"""Place of the common-mode impedance among the unknowns of a tone: row 1, column 2 of four."""

FLOATING_COUPLING = 0.8
"""Above this the common mode of a stage may be carried on to tones that do not show it."""


def source_of(identified: Identified, shown_by: Solved | None = None) -> Source | None:
    """Return the identified stage as a source on the device's tones; None where it never played.

    ``shown_by``: the legs that tell what the takes support, where others than its own.
    """
    legs = identified.legs
    if legs is None:
        return None
    theta = legs.theta[: DRAWS_KEPT + 1].copy()
    known = _known_entries(shown_by or legs)
    theta, known = _floating_filled(legs, theta, known)
    count, tones = theta.shape[:2]
    modal_voc = np.full((count, tones, 3), np.nan, dtype=np.complex128)
    modal_z = np.full((count, tones, 3, 3), np.nan, dtype=np.complex128)
    modal_voc[..., :2] = theta[..., 0]
    modal_z[..., :2, :2] = theta[..., 1:3]
    _add_single_ended(identified, modal_voc, modal_z, legs.hz)
    whole = np.where(np.isnan(modal_z), 0.0, modal_z)
    legs_voc, legs_z = modal_to_legs_voltage(modal_voc), modal_to_legs_impedance(whole)
    legs_z[np.isnan(modal_z)] = np.nan
    _add_coupling(identified, legs, modal_z, legs_z)
    for (row, column), mask in known.items():
        _forget(row, column, ~mask, modal_voc, modal_z, legs_voc, legs_z)
    return Source(
        hz=legs.hz,
        voc=modal_voc[0],
        z=modal_z[0],
        voc_draws=modal_voc[1:],
        z_draws=modal_z[1:],
        legs_voc=legs_voc[0],
        legs_z=legs_z[0],
        legs_voc_draws=legs_voc[1:],
        legs_z_draws=legs_z[1:],
    )


ROWS = {"difference": 0, "mean": 1, "hot": 0, "cold": 1}


def _forget(
    row: str,
    column: str,
    where: Bools,
    modal_voc: Complex,
    modal_z: Complex,
    legs_voc: Complex,
    legs_z: Complex,
) -> None:
    voc, z = (modal_voc, modal_z) if row in ("difference", "mean") else (legs_voc, legs_z)
    if column == "open":
        voc[:, where, ROWS[row]] = np.nan
    else:
        z[:, where, ROWS[row], ROWS[column]] = np.nan


def _known_entries(legs: Solved) -> dict[tuple[str, str], Bools]:
    """For every entry of ``[Voc | Z]``, at which tones the takes support it."""
    largest = np.abs(legs.theta[0, :, :, 0]).max(axis=1)
    solved = ~hopeless(legs.fit)
    known = {}
    for row, column in (
        *((r, "open") for r in ROWS),
        *((r, c) for r in ("difference", "mean") for c in ("difference", "mean")),
        *((r, c) for r in ("hot", "cold") for c in ("hot", "cold")),
    ):
        wanted = functional(row, column, len(legs.hz))
        lost = legs.lost(wanted)
        size = np.abs(np.einsum("frj,frj->f", wanted, legs.theta[0]))
        if column == "open":
            known[row, column] = solved & (lost < 0.02 * largest)
        else:
            sigma = legs.sigma(wanted)
            known[row, column] = solved & (lost < 1.0 + 0.05 * size) & (sigma < 1e6 + size)
    return known


def _floating_filled(
    legs: Solved, theta: Complex, known: dict[tuple[str, str], Bools]
) -> tuple[Complex, dict[tuple[str, str], Bools]]:
    """Carry the common mode of a floating stage to tones that do not show it.

    Below some hundred hertz the winding capacitance of a transformer is beyond any recorder: the
    common-mode impedance is set there to what its law at the next tones gives, and everything else
    follows as the takes tie it to that impedance (its conditional mean, by the covariance of the
    solve): the open-circuit mean by much, what is recorded or loaded by nothing.
    """
    mean = known["mean", "mean"]
    k = nearest(legs.hz)
    z = modal_to_legs_impedance(_padded(theta[0, :, :, 1:3]))[k]
    floats = abs(z[0, 1]) > FLOATING_COUPLING * abs(z[1, 1]) > 0.0
    good = np.flatnonzero(mean)
    if mean.all() or not mean[k] or not floats or len(good) < 2:
        return theta, known
    for f in np.flatnonzero(~mean & ~hopeless(legs.fit)):
        near = good[np.argsort(np.abs(np.log(legs.hz[good] / legs.hz[f])))[:2]]
        if abs(np.log(legs.hz[near[0]] / legs.hz[f])) > np.log(8.0):
            continue
        target = _law(legs.hz, theta[:, :, 1, 2], near, int(f))
        weakly = legs.fit.basis[f] @ np.conj(legs.fit.basis[f][MEAN_OF_MEAN])
        if abs(weakly[MEAN_OF_MEAN]) == 0.0:
            continue
        direction = weakly / weakly[MEAN_OF_MEAN]
        step = target - theta[:, f, 1, 2]
        theta[:, f] += (step[:, None] * direction).reshape(-1, 2, 4)
        for entry in known:
            known[entry] = known[entry].copy()
            known[entry][f] = True
    return theta, known


def _law(hz: Array, values: Complex, near: NDArray[np.intp], f: int) -> Complex:
    """Power law through two tones, carried on; draw by draw."""
    a, b = near
    slope = np.log(values[:, b] / values[:, a]) / np.log(hz[b] / hz[a])
    slope = np.clip(slope.real, -1.0, 1.0)
    return np.asarray(values[:, a] * (hz[f] / hz[a]) ** slope)


def _padded(z: Complex) -> Complex:
    out = np.zeros((*z.shape[:-2], 3, 3), dtype=np.complex128)
    out[..., :2, :2] = z
    return out


def _add_single_ended(
    identified: Identified, modal_voc: Complex, modal_z: Complex, hz: Array
) -> None:
    """Level and impedance of the single-ended output, where its takes support them.

    As recorded, where no load on it was heard: then its impedance stays unknown.
    """
    solved = identified.single_ended
    if solved is None or identified.group is None:
        return
    count = modal_voc.shape[0]
    wanted = np.zeros((len(hz), 1, 4), dtype=np.complex128)
    wanted[:, 0, 3] = 1.0
    supported = (solved.lost(wanted) < 1.0 + 0.05 * np.abs(solved.theta[0, :, 0, 3])) & (
        solved.sigma(wanted) > 0.0
    )
    modal_voc[:, :, 2] = solved.theta[:count, :, 0, 0]
    modal_z[:, :, 2, 2] = np.where(supported, solved.theta[:count, :, 0, 3], np.nan)
    heard = np.zeros(len(hz), dtype=np.bool_)
    for observed in identified.group.takes:
        if observed.recorded[2]:
            heard[observed.tones] = True
    modal_voc[:, ~heard, 2] = np.nan


def _add_coupling(identified: Identified, legs: Solved, modal_z: Complex, legs_z: Complex) -> None:
    """Add what the legs and the single-ended output do to each other, where a take shows it.

    A take that loads the single-ended output and hears a leg does; what the leg does to the
    single-ended output is found from it (``MonteCarlo._reciprocal``), with a doubt of its own.
    """
    alone = identified.single_ended
    if alone is None:
        return
    count, tones = modal_z.shape[:2]
    for k, name in enumerate(("hot", "cold")):
        wanted = np.zeros((tones, 2, 4), dtype=np.complex128)
        wanted[:, :, 3] = LEG_ROWS[name]
        onto_leg = legs.theta[:count, :, :, 3] @ LEG_ROWS[name]
        from_leg = alone.theta[:count, :, 0, 1:3] @ LEG_ROWS[name]
        shown = legs.lost(wanted) < 1.0 + 0.05 * np.abs(onto_leg[0])
        legs_z[:, :, k, 2] = np.where(shown, onto_leg, np.nan)
        legs_z[:, :, 2, k] = np.where(shown, from_leg, np.nan)
    two = TO_MODAL[:2, :2]
    modal_z[:, :, :2, 2] = legs_z[:, :, :2, 2] @ two.T
    modal_z[:, :, 2, :2] = legs_z[:, :, 2, :2] @ two.T
