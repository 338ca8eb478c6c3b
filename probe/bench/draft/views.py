"""A recording's levels and phases, and how an answer about it is put."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

import numpy as np

from probe.bench.draft.hear import Hearing

Sure = Literal["known", "likely", "open"]
Words = tuple[str, ...]

SILENT_DB = 60.0
"""A channel so far below the loudest of its recording carries nothing of the device's tones."""

MIDDLE_HZ = (150.0, 8000.0)
"""Levels are compared here, where neither coupling capacitors nor strays matter much."""

PHASE_RAD = np.pi / 3
"""In phase or opposite: within 60 degrees of it, as polarity is told elsewhere."""


@dataclass(frozen=True)
class Answer:
    """A value (or None), how sure, why, and what else it may be."""

    value: object
    sure: Sure
    why: str = ""
    others: tuple[object, ...] = ()


@dataclass(frozen=True)
class LoadAnswer:
    """A resistor that hangs between two terminals; its ohms cannot be heard."""

    from_: str
    to: str
    sure: Sure
    why: str
    likely_none: bool = False
    """Nothing shows a load; but one there could not be heard."""


@dataclass
class View:
    """A recording's levels (dB of full scale, per channel) and phases against its loudest."""

    hearing: Hearing
    level: list[float]
    phase: list[float]
    roles: list[str] = field(default_factory=list)
    sure: Sure = "open"
    why: str = ""
    others: list[Words] = field(default_factory=list)

    def carries(self, channel: int) -> bool:
        """Whether a channel carries something of the device's tones."""
        return self.level[channel] > max(self.level) - SILENT_DB

    def turned(self, a: int, b: int) -> float:
        """Return the phase of b against a, rad in +-pi."""
        return float(np.angle(np.exp(1j * (self.phase[b] - self.phase[a]))))

    def opposite(self, a: int, b: int) -> bool:
        """Whether two channels carry the device's tones opposite in phase."""
        both = self.carries(a) and self.carries(b)
        return both and abs(abs(self.turned(a, b)) - np.pi) < PHASE_RAD


def view_of(hearing: Hearing) -> View:
    """Read levels over the middle of the band, from the device's tones or else the injected."""
    which = hearing.played if hearing.played.any() else hearing.injected
    middle = which & (hearing.hz > MIDDLE_HZ[0]) & (hearing.hz < MIDDLE_HZ[1])
    use = middle if middle.any() else which
    if not use.any():
        return View(hearing, [-400.0] * hearing.channels, [0.0] * hearing.channels)
    peaks = hearing.peaks[use]
    level = np.median(20.0 * np.log10(np.abs(peaks) + 1e-20), axis=0)
    loudest = int(np.argmax(level))
    against = np.exp(1j * np.angle(peaks * np.conj(peaks[:, [loudest]])))
    return View(hearing, level.tolist(), np.angle(against.mean(axis=0)).tolist())
