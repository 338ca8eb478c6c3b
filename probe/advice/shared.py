"""What the legs and the single-ended output do to each other, where nobody measured it.

Both outputs in use at once are one source with three terminals. If no take loaded one output
while the other was heard, their coupling lies between none (an amplifier for each) and a common
resistor before both sockets, which cannot be more than the smaller of their own impedances.
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
    own, other = sampled.leg_z[..., 0, 0], sampled.leg_z[..., 2, 2]
    common = np.where(np.abs(own) < np.abs(other), own, other)
    if np.isnan(common).all():
        return (_coupled(sampled, np.zeros(common.shape, dtype=np.complex128)),)
    return tuple(_coupled(sampled, np.asarray(share * common)) for share in (0.0, 1.0))


def _coupled(sampled: Sampled, ohm: Complex) -> Sampled:
    """Return the source with ``ohm`` (N, G) shared by pin 2 and the single-ended output."""
    leg_z, z = sampled.leg_z.copy(), sampled.z.copy()
    zero = np.zeros_like(ohm)
    assumed = np.stack([ohm, zero], axis=-1)
    leg_z[..., :2, 2] = prefer(leg_z[..., :2, 2], assumed)
    leg_z[..., 2, :2] = prefer(leg_z[..., 2, :2], assumed)
    two = TO_MODAL[:2, :2]
    z[..., :2, 2] = prefer(z[..., :2, 2], np.einsum("ij,ngj->ngi", two, leg_z[..., :2, 2]))
    z[..., 2, :2] = prefer(z[..., 2, :2], np.einsum("ij,ngj->ngi", two, leg_z[..., 2, :2]))
    said = Assumed(("hot", "cold", "single-ended"), WORDS)
    return replace(sampled, leg_z=leg_z, z=z, assumed=(*sampled.assumed, said))
