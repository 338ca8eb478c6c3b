"""How high the device drives an option before it clips.

Levels are solved; maxima are not: what limits a driven pair is each leg's own swing. A stage
that floats and is tied on one leg must swing the whole level on the other one, and clips about
6 dB earlier than the pair; a winding is limited by its flux, which the tie does not change.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from probe.advice.solve import Response

Floats = NDArray[np.float64]

LEG_LIMITED_KINDS = ("electronically-floating",)
"""Kinds that move the level from a tied leg to the other one with the swing of that leg."""


@dataclass(frozen=True)
class Limits:
    """What the device gives undistorted, V rms; None: not known.

    Attributes
    ----------
    differential, single_ended
        Between pins 2 and 3, and on the RCA centre, both open.
    base
        Shape (N,): the level on which ``differential`` stands, at the measured drive.
    single
        Shape (N,): the open single-ended level at the measured drive.
    kind
        The kind the stage is taken to be.
    """

    differential: float | None
    single_ended: float | None
    base: Floats
    single: Floats
    kind: str

    def at_input(self, response: Response) -> Floats | None:
        """Return the level at the input when the device begins to clip, shape (N,), V rms."""
        level = np.abs(response.level[:, response.at])
        if "single-ended" in response.pins:
            return self._single_ended(level)
        if self.differential is None:
            return None
        scale = self.differential / self.base
        if self.kind in LEG_LIMITED_KINDS and response.tie is not None:
            legs = [np.abs(response.pins[p]) for p in ("hot", "cold")]
            # a leg alone is sure to give half of what the pair gives, and may give no more
            scale = np.minimum(scale, self.differential / 2.0 / np.maximum(np.max(legs, 0), 1e-30))
        return np.asarray(level * scale)

    def _single_ended(self, level: Floats) -> Floats | None:
        if self.single_ended is not None:
            return np.asarray(level * self.single_ended / self.single)
        if self.differential is None:
            return None
        return np.asarray(level * self.differential / self.base)
