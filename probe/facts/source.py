"""The output stage as the rest of the program sees it: ``V = Voc - Z I`` with doubt attached.

Modal coordinates keep the small differences of a floating stage as numbers of their own:

* voltages ``(V_hot - V_cold, (V_hot + V_cold)/2, V_single_ended)``
* currents **into** the device ``((I_hot - I_cold)/2, I_hot + I_cold, I_single_ended)``

so power is the same in both, and with ``v = T v_leg`` the impedance is ``Z_modal = T Z_leg Tᵀ``:
``Z_modal[0, 0]`` is the differential output impedance itself and ``Z_modal[1, 1]`` the mean of
the four entries of the leg matrix.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

TERMINALS = ("hot", "cold", "single-ended")

TO_MODAL = np.array([[1.0, -1.0, 0.0], [0.5, 0.5, 0.0], [0.0, 0.0, 1.0]])
"""``v_modal = TO_MODAL @ v_leg``; currents go the other way: ``i_leg = TO_MODALᵀ @ i_modal``."""

FROM_MODAL = np.linalg.inv(TO_MODAL)


@dataclass(frozen=True)
class Source:
    """An identified output stage at F frequencies, three terminals, D draws of its doubt.

    What is not known is NaN in ``voc`` and ``z`` (and in the same entries of every draw);
    an option that needs such an entry cannot be told.

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
    """

    hz: NDArray[np.float64]
    voc: NDArray[np.complex128]
    z: NDArray[np.complex128]
    voc_draws: NDArray[np.complex128]
    z_draws: NDArray[np.complex128]

    def leg_voc(self) -> NDArray[np.complex128]:
        """Open-circuit voltages at (hot, cold, single-ended), shape (F, 3), V rms."""
        return np.asarray(np.einsum("ij,fj->fi", FROM_MODAL, self.voc))

    def leg_z(self) -> NDArray[np.complex128]:
        """Impedance matrix at (hot, cold, single-ended), shape (F, 3, 3), ohm."""
        return np.asarray(np.einsum("ij,fjk,lk->fil", FROM_MODAL, self.z, FROM_MODAL))
