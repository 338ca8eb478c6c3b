"""What the legs and the single-ended output do to each other, where nobody measured it.

Both outputs in use at once are one source with three terminals. If no take loaded one output
while the other was heard, their coupling lies between none (an amplifier for each) and a common
resistor before both sockets, which cannot be more than the smaller of their own impedances. Where
a take shows what pin 2 and the single-ended output share, pin 3 hears of a current at the one
what it hears of the same share of a current at the other.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from probe.advice.sampled import Assumed, Sampled, prefer
from probe.facts.source import TO_MODAL

Complex = NDArray[np.complex128]

WORDS = (
    "what the RCA and the XLR output do to each other was not measured: taken as between nothing "
    "and one resistor shared by pin 2 and the RCA centre"
)


def with_both_outputs(sampled: Sampled) -> tuple[Sampled, ...]:
    """Return the corners of an unmeasured coupling; the source itself where it is known."""
    unknown = np.isnan(sampled.z[..., :2, 2]) | np.isnan(sampled.z[..., 2, :2])
    if not unknown.any():
        return (sampled,)
    if not np.isnan(sampled.leg_z[..., 0, 2]).any():
        return (_with_cold(sampled),)
    own, other = sampled.leg_z[..., 0, 0], sampled.leg_z[..., 2, 2]
    common = np.where(np.abs(own) < np.abs(other), own, other)
    if np.isnan(common).all():
        return (_coupled(sampled, np.zeros(common.shape, dtype=np.complex128)),)
    return tuple(_coupled(sampled, np.asarray(share * common)) for share in (0.0, 1.0))


def _coupled(sampled: Sampled, ohm: Complex) -> Sampled:
    """Return the source with ``ohm`` (N, G) shared by pin 2 and the single-ended output."""
    filled = _filled(sampled, *[np.stack([ohm, np.zeros_like(ohm)], axis=-1)] * 2)
    said = Assumed(("hot", "cold", "single-ended"), WORDS)
    return replace(filled, assumed=(*sampled.assumed, said))


def _with_cold(sampled: Sampled) -> Sampled:
    """Return the source whose cold leg follows from what the takes show of pin 2."""
    leg_z = sampled.leg_z
    own = leg_z[..., 0, 0]
    known = np.isfinite(own) & (own != 0.0)
    per_ohm = 1.0 / np.where(known, own, 1.0)
    onto, back = (np.where(known, z * per_ohm, 0.0) for z in (leg_z[..., 0, 2], leg_z[..., 2, 0]))
    cold = np.nan_to_num(leg_z[..., 1, 0] * onto), np.nan_to_num(leg_z[..., 0, 1] * back)
    return _filled(sampled, *(np.stack([z, z], axis=-1) for z in cold))


def _filled(sampled: Sampled, onto_legs: Complex, from_legs: Complex) -> Sampled:
    """Return the source with what is unknown of the coupling filled in, each (N, G, 2)."""
    leg_z, z = sampled.leg_z.copy(), sampled.z.copy()
    leg_z[..., :2, 2] = prefer(leg_z[..., :2, 2], onto_legs)
    leg_z[..., 2, :2] = prefer(leg_z[..., 2, :2], from_legs)
    two = TO_MODAL[:2, :2]
    z[..., :2, 2] = prefer(z[..., :2, 2], np.einsum("ij,ngj->ngi", two, leg_z[..., :2, 2]))
    z[..., 2, :2] = prefer(z[..., 2, :2], np.einsum("ij,ngj->ngi", two, leg_z[..., 2, :2]))
    return replace(sampled, leg_z=leg_z, z=z)
