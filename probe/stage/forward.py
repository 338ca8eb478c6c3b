"""The model of `probe.stage.solve` forwards: what a solved stage would let each take record."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from probe.stage.fitted import LEGS, Block
from probe.stage.network import Complex
from probe.stage.observations import Group, Observed
from probe.stage.realise import Errors, Excited, Realisation, injected_currents, realise
from probe.stage.small import inverse_small

Array = NDArray[np.float64]


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


def active_of(group: Group, block: Block) -> Active:
    """Return what the takes of a group let a block solve for."""
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


def kept(one: Realisation, active: Active) -> Realisation:
    """Return the realisation without the currents of columns that are not solved for."""
    return Realisation(one.volts, one.drives * active.columns)


def instruments(
    group: Group, block: Block, theta: Complex, errors: Errors, excited: Excited, active: Active
) -> Realisation:
    """Currents that the stage just found would draw: the instruments."""
    volts = np.zeros((len(group.takes), len(group.hz), 3), dtype=np.complex128)
    for t, observed in enumerate(group.takes):
        if block is LEGS:
            current = injected_currents(observed, t, 1, errors, observed.volts[None])[0]
            volts[t, observed.tones] = predict(observed, theta, current)
        else:
            volts[t, observed.tones] = predict_single(observed, theta)
    drawn = realise(group, 1, errors, excited, volts)
    return Realisation(volts[None], drawn.drives * active.columns)


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


def predict_single(observed: Observed, theta: Complex) -> Complex:
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
