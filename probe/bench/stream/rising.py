"""A tone that rises in steps until somebody who looks at each has seen enough."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Protocol

from probe.bench.stream.capture import FileCapture
from probe.bench.stream.exchange import Exchanger
from probe.bench.stream.stop import Reason, Stop
from probe.bench.stream.voices import gain_of

LOOKED_AT = 0.95
"""Share of a step after which it is looked at: measured is up to 0.9 of it, and the rest of two
seconds is time enough to stop before the next, louder one."""

ENDS_WELL = (Reason.ENOUGH, Reason.TOO_LOUD, Reason.OVERLOAD)
"""Stops with which such a recording is complete: the steps before them are whole."""

Look = Callable[[int, Path], str | None]
"""Given the number of a step and the file with all up to it: why it is enough, or None."""


@dataclass(frozen=True)
class Stairs:
    """Levels of a tone, one after the other.

    Attributes
    ----------
    levels_db
        Over the level of what is played; they rise.
    step_s
        Length of each, sample by sample, the fade into it included.
    look
        Asked at the end of each step; also keeps a step from being followed by a louder one.
    """

    levels_db: tuple[float, ...]
    step_s: float
    look: Look


class Wait(Protocol):
    """`Recorder`'s waiting in stream time."""

    def __call__(
        self, over: Callable[[], bool], tick: Callable[[], None], *, stalled_ok: bool
    ) -> None:
        """Return when ``over`` says so, or the card is gone."""


def climb(
    exchanger: Exchanger,
    capture: FileCapture,
    stairs: Stairs,
    step: int,
    wait: Wait,
    tick: Callable[[], None],
) -> None:
    """Order the climb and have every step looked at; ask for a stop where that is enough.

    ``step``: frames of each. The first level sounds already; the recording has begun.
    """
    standing = exchanger.stop
    exchanger.player.climb([gain_of(db) for db in stairs.levels_db], step)
    for k in range(len(stairs.levels_db)):
        frames = int((k + LOOKED_AT) * step)
        over = partial(_over, exchanger, capture, frames, standing)
        wait(over, tick, stalled_ok=True)
        if capture.frames < frames:
            return
        why = stairs.look(k, capture.path)
        if why is not None:
            exchanger.ask_stop(Stop(Reason.ENOUGH, why, frame=exchanger.frame))
            return


def _over(exchanger: Exchanger, capture: FileCapture, frames: int, standing: Stop | None) -> bool:
    return capture.frames >= frames or exchanger.stop is not standing
