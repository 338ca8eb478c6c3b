"""Why a tone was stopped, as a value."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum

from probe.errors import ProbeError


class Reason(Enum):
    """What stopped it."""

    OVERLOAD = "overload"
    """An input was at the end of its converter."""
    TOO_LOUD = "too-loud"
    """An input heard more than the step allows."""
    DIRECT_VOLTAGE = "direct-voltage"
    RUNAWAY = "runaway"
    """The level heard grew by itself: something feeds back."""
    LIMIT = "limit"
    """Samples above the limit were about to be played: a fault of this program."""
    GONE = "gone"
    """The card vanished or delivers nothing."""
    DISK = "disk"
    """The recording could not be stored: disk full, folder gone."""
    FAILED = "failed"
    """An error inside this program."""
    ENOUGH = "enough"
    """What was looked for in a rising tone was found."""
    CANCELLED = "cancelled"
    """Somebody asked: Ctrl-C, SIGTERM, a key."""


@dataclass(frozen=True)
class Stop:
    """One stop: the reason, one line for people, and where.

    Attributes
    ----------
    input
        Index of the input that showed it, from 0; None where none did.
    frame
        Frame of the stream at which it was noticed.
    """

    reason: Reason
    message: str
    input: int | None = None
    frame: int = 0


class Stopped(ProbeError):
    """Something was asked that a stop stands in the way of; holds the stop."""

    def __init__(self, stop: Stop) -> None:
        super().__init__(stop.message)
        self.stop = stop
