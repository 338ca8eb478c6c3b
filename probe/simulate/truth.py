"""What a circuit is at its terminals: open-circuit voltages and the impedance matrix, exactly."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from probe.simulate.circuit import Circuit, CurrentSource, VoltageSource, solve

TERMINALS = ("hot", "cold", "single-ended")
"""The order of rows and columns."""


@dataclass(frozen=True)
class Truth:
    """A stage at F frequencies, in leg coordinates (hot, cold, single-ended).

    Attributes
    ----------
    hz
        Shape (F,), Hz.
    voc
        Shape (F, 3), complex: open-circuit volts per volt between the legs of the device's input.
    z
        Shape (F, 3, 3), ohm: volts at the row's terminal per ampere into the column's.

    A terminal the circuit does not have is NaN.
    """

    hz: NDArray[np.float64]
    voc: NDArray[np.complex128]
    z: NDArray[np.complex128]


def input_excitation(circuit: Circuit, hot: float, cold: float) -> dict[str, complex]:
    """Return what the sources of ``circuit`` give with these volts on the device's input legs."""
    return {
        e.name: complex(e.hot * hot + e.cold * cold)
        for e in circuit.elements
        if isinstance(e, VoltageSource | CurrentSource) and (e.hot or e.cold)
    }


def circuit_truth(circuit: Circuit, hz: ArrayLike, *, powered: bool = True) -> Truth:
    """Solve the terminals of ``circuit`` with nothing connected.

    One excitation per column: the input driven with +1/2 V and -1/2 V, then one ampere into
    each terminal.
    """
    present = [t for t in TERMINALS if t in circuit.terminals]
    probes = [CurrentSource(f"bench into {t}", circuit.terminals[t], "0") for t in present]
    drive = input_excitation(circuit, 0.5, -0.5)
    excitations = [drive, *({p.name: 1.0 + 0j} for p in probes)]
    solution = solve(circuit.with_elements(*probes), hz, excitations, powered=powered)
    volts = np.full((solution.hz.size, 3, 4), np.nan + 0j)
    columns = [0, *(1 + TERMINALS.index(t) for t in present)]
    for terminal in present:
        row = TERMINALS.index(terminal)
        volts[:, row, columns] = solution.at(circuit.terminals[terminal])
    return Truth(solution.hz, volts[:, :, 0], volts[:, :, 1:])
