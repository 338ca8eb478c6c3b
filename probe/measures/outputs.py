"""The outputs a figure is given for, as what one adds up of the terminals a take hears."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from probe.session.model import Take
from probe.stage.network import terminal_index

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Output:
    """One output of a take.

    Attributes
    ----------
    name
        ``hot``, ``cold``, ``differential`` or ``single_ended``: how its facts begin.
    channels
        WAV channels it is heard on.
    signs
        What each counts.
    terminals
        Index of each channel's terminal; empty for a balanced input, which hears the difference.
    """

    name: str
    channels: tuple[int, ...]
    signs: tuple[float, ...]
    terminals: tuple[int, ...]

    def pattern(self, channels: tuple[int, ...]) -> Array:
        """Return the weights among ``channels``, shape (C,)."""
        weights = dict(zip(self.channels, self.signs, strict=True))
        return np.array([weights.get(c, 0.0) for c in channels])


def outputs_of(take: Take) -> tuple[Output, ...]:
    """Return the outputs a take hears; the first channel of a kind counts."""
    first = {role: c for c, role in reversed(list(enumerate(take.channels)))}
    found = []
    for role, name in (("hot", "hot"), ("cold", "cold"), ("single-ended", "single_ended")):
        if role in first:
            found.append(Output(name, (first[role],), (1.0,), (terminal_index(role),)))
    if "hot" in first and "cold" in first:
        found.append(Output("differential", (first["hot"], first["cold"]), (1.0, -1.0), (0, 1)))
    elif "difference" in first:
        found.append(Output("differential", (first["difference"],), (1.0,), ()))
    return tuple(found)
