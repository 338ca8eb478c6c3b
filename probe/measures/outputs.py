"""The outputs a figure is given for, as what one adds up of the terminals a take hears."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from probe.session.model import Take
from probe.stage.network import terminal_index

Array = NDArray[np.float64]

NAMES = {"hot": "hot", "cold": "cold", "single-ended": "single_ended"}
"""How the facts of a terminal by itself begin."""


@dataclass(frozen=True)
class Output:
    """One output of a take.

    Attributes
    ----------
    name
        ``hot``, ``cold``, ``differential`` or ``single_ended``: how its facts begin.
    channels
        WAV channels it is worked out from: all single-ended inputs of the take, since what one
        terminal's input takes off shows at the others where the stage couples them.
    signs
        What each terminal counts, 0 for the others.
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
    legs = [(role, first[role]) for role in ("hot", "cold", "single-ended") if role in first]
    wanted = {name: {role: 1.0} for role, name in NAMES.items() if role in first}
    if "hot" in first and "cold" in first:
        wanted["differential"] = {"hot": 1.0, "cold": -1.0}
    found = [
        Output(
            name,
            tuple(c for _, c in legs),
            tuple(signs.get(role, 0.0) for role, _ in legs),
            tuple(terminal_index(role) for role, _ in legs),
        )
        for name, signs in wanted.items()
    ]
    if "differential" not in wanted and "difference" in first:
        found.append(Output("differential", (first["difference"],), (1.0,), ()))
    return tuple(found)
