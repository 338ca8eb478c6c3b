"""Takes that were cut from one running stream: when each began, by what was declared of it."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from probe.stage.observations import Group

Array = NDArray[np.float64]

CLOCK_SIGMAS, CLOCK_DRIFT = 6.0, 1.0e-6
"""A take whose clock error stands further than this from the others' has another clock. Crystals
drift by less than the second figure (relative) while a session lasts."""


def one_stream(group: Group) -> bool:
    """Return whether all takes are declared to be of one running stream, and its clock agrees."""
    bases = {o.phasors.take.timebase for o in group.takes}
    return len(bases) == 1 and None not in bases and _clocks_agree(group)


def _clocks_agree(group: Group) -> bool:
    """Whether one clock error serves all takes; else one changed meanwhile, nobody knows when."""
    errors = np.array([o.phasors.clock_error for o in group.takes])
    doubts = np.array([o.phasors.clock_u for o in group.takes])
    weights = 1.0 / np.maximum(doubts, 1e-12) ** 2
    off = np.abs(errors - np.sum(weights * errors) / np.sum(weights))
    return bool(np.all(off < np.maximum(CLOCK_SIGMAS * doubts, CLOCK_DRIFT)))


def stream_delays(group: Group) -> tuple[Array, Array]:
    """Return delays (s) of takes cut from one stream, and what the clock leaves open about them.

    A recorder with a clock of its own is taken to have the same error in every take; an error
    that is not distinguishable from zero is none: player and recorder share the clock.
    """
    errors = np.array([o.phasors.clock_error for o in group.takes])
    spread = np.array([max(o.phasors.clock_u, 1e-12) for o in group.takes])
    weights = 1.0 / spread**2
    mean = float(np.sum(weights * errors) / np.sum(weights))
    mean_u = float(1.0 / np.sqrt(np.sum(weights)))
    if abs(mean) < max(5.0 * mean_u, 1e-8):
        mean, mean_u = 0.0, 0.0
    start = np.array(
        [o.phasors.take.start_frame / o.phasors.take.sample_rate for o in group.takes]
    ) / (1.0 + mean)
    centre = np.array([o.phasors.centre_s for o in group.takes])
    delays = -start + centre * (errors - mean)
    distance = np.abs(start + centre - (start[0] + centre[0]))
    stray = 1e-10 + distance * mean_u
    stray[0] = 0.0
    return delays - delays[0], stray
