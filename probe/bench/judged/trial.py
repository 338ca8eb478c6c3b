"""A load is tried 20 dB down first: whether the stage still follows its drive, and cleanly."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Complex = NDArray[np.complex128]


@dataclass(frozen=True)
class Trial:
    """The tones of a leg at one level: V rms per tone (F,), and what is beside them, V rms."""

    volts: Complex
    rest: float

    @property
    def tones(self) -> float:
        """All tones together, V rms."""
        return float(np.sqrt(np.sum(np.abs(self.volts) ** 2)))

    @property
    def share(self) -> float:
        """What is beside the tones, over them."""
        return self.rest / max(self.tones, 1e-12)


SAG = 10.0 ** (0.1 / 20.0) - 1.0
"""A tone that rises by this much less (or more) than the drive: the stage is at its end."""

DISTORTS = 10.0 ** (-50.0 / 20.0)
"""What appears beside the tones, over them, from which the stage is said to distort: 0.3 %."""


GROWS = 3.0
"""What is beside the tones grows by more than this only where the load is too much: a bend that is
the device's own changes little with a leg that falls by a sixth (closed form: its square)."""


def trial_refuses(quiet: Trial, loud: Trial, rise: float, before: float = 0.0) -> str | None:
    """Return why a load must not be used at the full level, or None.

    Parameters
    ----------
    quiet, loud
        The loaded leg at the trial's level and at the full one.
    rise
        Drive of the second over that of the first.
    before
        What is beside the tones at the full level without a load, over them: a device that distorts
        by itself is not refused one for it.
    """
    noise = 5.0 * quiet.rest
    strong = np.abs(quiet.volts) > 10.0 * max(quiet.rest / np.sqrt(len(quiet.volts)), 1e-9)
    if np.any(strong):
        ratio = np.abs(loud.volts[strong]) / np.abs(quiet.volts[strong]) / rise
        worst = float(ratio[np.argmax(np.abs(np.log(ratio)))])
        if abs(worst - 1.0) > SAG:
            way = "falls behind" if worst < 1.0 else "runs ahead of"
            return f"the level {way} the drive by {abs(20 * np.log10(worst)):.1f} dB"
    tones = loud.tones
    if loud.rest > max(DISTORTS * tones, noise, GROWS * before * tones):
        return f"it distorts: {100 * loud.rest / tones:.1f} % beside the tones"
    return None


def trial_of(samples: NDArray[np.floating], hz: Sequence[float], rate: float) -> Trial:
    """Return the tones of a short piece of one input, shape (frames,), full scale 1 (rms phasors).

    Least squares for all tones, an offset and a slope together.

    Parameters
    ----------
    samples
        Shape (frames,).
    hz
        Of the tones, as the recorder's clock sees them.
    rate
        Sampling rate, Hz.
    """
    x = np.asarray(samples, dtype=np.float64)
    t = np.arange(len(x)) / rate
    turns = 2.0 * np.pi * np.outer(t, np.asarray(hz))
    design = np.hstack([np.cos(turns), -np.sin(turns), np.ones((len(x), 1)), t[:, None]])
    found, *_ = np.linalg.lstsq(design, x, rcond=None)
    rest = x - design @ found
    count = len(hz)
    volts = (found[:count] + 1j * found[count : 2 * count]) / np.sqrt(2.0)
    return Trial(np.asarray(volts), float(np.std(rest)))
