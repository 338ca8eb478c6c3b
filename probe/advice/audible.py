"""What is heard of hum and hiss beside a loudspeaker: one mechanism for screen, sheet and page.

The limits are meant for an ordinary loudspeaker; a more sensitive one makes them stricter.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal

from probe.advice import thresholds as limit
from probe.advice.quantity import Quantity

Class = Literal["not", "close-by", "quiet-room", "loud"]
"""Heard by nobody, close to the loudspeaker, in a quiet room, or so that it disturbs the music."""

CLASSES: tuple[Class, ...] = ("not", "close-by", "quiet-room", "loud")


def stricter_db(speaker_db: float | None) -> float:
    """Return by how much a sensitive loudspeaker makes the limits stricter, dB, never looser."""
    return 0.0 if speaker_db is None else max(speaker_db - limit.SPEAKER_DB, 0.0)


@dataclass(frozen=True)
class Audible:
    """What is heard at the favourable end of an interval, and at the other one."""

    best: Class
    worst: Class

    @property
    def says(self) -> str:
        """What is heard, in words; what is not sure as what may be."""
        if self.worst in ("not", "close-by"):
            return {"not": "not heard", "close-by": "may be heard close to the loudspeaker"}[
                self.worst
            ]
        if self.best == "loud":
            return "loud enough to disturb the music"
        sure = self.best == "quiet-room"
        return f"{'it is' if sure else 'it may be'} heard in a quiet room"

    def to_json(self) -> dict[str, Any]:
        """Return both ends as plain values."""
        return {"best": self.best, "worst": self.worst}


def hum_heard(hum: Quantity, stricter: float) -> Audible:
    """Return what is heard of hum so far below full output; ``stricter`` as `stricter_db`."""
    edges = (limit.HUM_GOOD_DB, limit.HUM_AVOID_DB, limit.HUM_LOUD_DB)
    return Audible(*(_class(end, edges, stricter) for end in (hum.high, hum.low)))


def noise_heard(noise: Quantity, stricter: float) -> Audible:
    """Return what is heard of noise; of a bound nothing more than that it may be, close by."""
    edges = (limit.NOISE_GOOD_DB, limit.NOISE_HEARD_DB)
    found = Audible(*(_class(end, edges, stricter) for end in (noise.high, noise.low)))
    if noise.bound is None or found.worst == "not":
        return found
    return Audible("not", "close-by")


def _class(below_db: float, edges: tuple[float, ...], stricter: float) -> Class:
    """Return the class of what lies so many dB below full output; ``edges`` from silent on."""
    return CLASSES[sum(below_db < edge + stricter for edge in edges)]
