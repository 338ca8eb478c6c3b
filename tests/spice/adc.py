"""The outputs as seen with 20 kohm and 350 pF on each leg, and with 600 ohm added."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from .circuits import Circuit
from .ngspice import Tone, solve


def loaded(
    circuit: Circuit, hz: Sequence[float]
) -> dict[str, tuple[NDArray[np.complex128], NDArray[np.complex128]]]:
    """Legs (hot, cold) per volt of drive: ``open``, ``tied``, ``load-hot``, ``load-cold``."""
    lines = [circuit.includes(), "vdrive drive 0 dc 0 ac 1"]
    extra = {"open": "", "tied": "vt c 0 dc 0", "load-hot": "rl h 0 600", "load-cold": "rl c 0 600"}
    for k, part in enumerate(extra.values()):
        lines.append(circuit.instance(f"{k}", "drive", f"h{k}", f"c{k}", f"r{k}"))
        for n in "hc":
            lines += [f"r{n}{k} {n}{k} 0 20k", f"c{n}{k} {n}{k} 0 350p"]
        if part:
            name, node, rest = part.split(" ", 2)
            lines.append(f"{name}{k} {node}{k} {rest}")
    outputs = [f"v({n}{k})" for k in range(len(extra)) for n in "hc"]
    solved = solve("\n".join(lines), (), [Tone(f, ()) for f in hz], outputs)
    return {name: (solved[f"v(h{k})"], solved[f"v(c{k})"]) for k, name in enumerate(extra)}
