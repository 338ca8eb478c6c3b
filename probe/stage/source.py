"""The output stage as the rest of the program sees it: ``V = Voc - Z I`` with doubt attached.

Two sets of coordinates are kept side by side. Legs are what people ask for; *modal* ones keep the
small differences of a floating stage as numbers of their own:

* voltages ``(V_hot - V_cold, (V_hot + V_cold)/2, V_single_ended)``
* currents **into** the device ``((I_hot - I_cold)/2, I_hot + I_cold, I_single_ended)``

so power is the same in both, and with ``v = T v_leg`` the impedance is ``Z_modal = T Z_leg Tᵀ``:
``Z_modal[0, 0]`` is the differential output impedance itself and ``Z_modal[1, 1]`` the mean of
the four entries of the leg matrix. Where only one leg is known the modal entries are not, so
neither set can be left to be worked out from the other.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from functools import cached_property
from hashlib import blake2b

import numpy as np
from numpy.typing import NDArray

TERMINALS = ("hot", "cold", "single-ended")

TO_MODAL = np.array([[1.0, -1.0, 0.0], [0.5, 0.5, 0.0], [0.0, 0.0, 1.0]])
"""``v_modal = TO_MODAL @ v_leg``; currents go the other way: ``i_leg = TO_MODALᵀ @ i_modal``."""

FROM_MODAL = np.array([[0.5, 1.0, 0.0], [-0.5, 1.0, 0.0], [0.0, 0.0, 1.0]])
"""Inverse of ``TO_MODAL``: ``v_leg = FROM_MODAL @ v_modal``, ``Z_leg`` likewise from both sides."""


@dataclass(frozen=True)
class Source:
    """An identified output stage at F frequencies, three terminals, D draws of its doubt.

    What is not known is NaN (in the same entries of every draw); an option that needs such an
    entry cannot be told.

    Attributes
    ----------
    hz
        Shape (F,), ascending, Hz.
    voc
        Shape (F, 3), complex, V rms, modal: open-circuit voltages at the measured drive.
    z
        Shape (F, 3, 3), complex, ohm, modal; voltage of row per ampere into column.
    voc_draws, z_draws
        Shapes (D, F, 3) and (D, F, 3, 3): equally likely alternatives (JCGM 101).
    legs_voc, legs_z, legs_voc_draws, legs_z_draws
        The same at (hot, cold, single-ended).
    """

    hz: NDArray[np.float64]
    voc: NDArray[np.complex128]
    z: NDArray[np.complex128]
    voc_draws: NDArray[np.complex128]
    z_draws: NDArray[np.complex128]
    legs_voc: NDArray[np.complex128]
    legs_z: NDArray[np.complex128]
    legs_voc_draws: NDArray[np.complex128]
    legs_z_draws: NDArray[np.complex128]

    @cached_property
    def digest(self) -> bytes:
        """What is equal where all of it is."""
        found = blake2b(digest_size=16)
        for one in fields(self):
            array = getattr(self, one.name)
            found.update(repr(array.shape).encode() + np.ascontiguousarray(array).tobytes())
        return found.digest()


def modal_to_legs_voltage(voc: NDArray[np.complex128]) -> NDArray[np.complex128]:
    """Return leg voltages of modal ones; last axis 3. A NaN stays with the legs it belongs to."""
    legs = np.empty_like(voc)
    legs[..., 0] = 0.5 * voc[..., 0] + voc[..., 1]
    legs[..., 1] = -0.5 * voc[..., 0] + voc[..., 1]
    legs[..., 2] = voc[..., 2]
    return legs


def modal_to_legs_impedance(z: NDArray[np.complex128]) -> NDArray[np.complex128]:
    """Return the leg impedance matrix of a modal one; last axes (3, 3)."""
    rows = np.empty_like(z)
    rows[..., 0, :] = 0.5 * z[..., 0, :] + z[..., 1, :]
    rows[..., 1, :] = -0.5 * z[..., 0, :] + z[..., 1, :]
    rows[..., 2, :] = z[..., 2, :]
    legs = np.empty_like(z)
    legs[..., 0] = 0.5 * rows[..., 0] + rows[..., 1]
    legs[..., 1] = -0.5 * rows[..., 0] + rows[..., 1]
    legs[..., 2] = rows[..., 2]
    return legs
