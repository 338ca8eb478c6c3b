"""The tones a bench plays and injects, with phases of a low crest.

The frequencies are those of `probe.simulate.tones`, which says how they were found; all are
multiples of 0.1 Hz, so that 10 s hold whole cycles of each and are a whole number of frames at
every usual rate. The phases are the best of `crest.lowered` from eight random starts.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from probe.simulate.tones import DEVICE_HZ, INJECTED_HZ

PERIOD_S = 10.0
"""Common period of both sets, and of a loop of them."""


@dataclass(frozen=True)
class ToneSet:
    """Tones, Hz, and their phases (degrees, cosine); without phases they are still to be found."""

    hz: tuple[float, ...]
    phases_deg: tuple[float, ...] = ()

    def below(self, highest_hz: float) -> ToneSet:
        """Return the tones up to a frequency; their phases only where none is missing."""
        kept = [f for f in self.hz if f <= highest_hz]
        return self if len(kept) == len(self.hz) else ToneSet(tuple(kept))

    def with_low_crest(self, period_s: float) -> ToneSet:
        """Return the same tones with phases of a low crest, in hundredths of a degree."""
        from probe.bench.tones.crest import lowered

        if self.phases_deg:
            return self
        if len(self.hz) == 1:
            return ToneSet(self.hz, (270.0,))
        start = np.random.default_rng(1).uniform(0.0, 2.0 * np.pi, len(self.hz))
        found = np.degrees(lowered(self.hz, start, period_s, steps=STEPS))
        return ToneSet(self.hz, tuple(np.round(np.mod(found, 360.0), 2).tolist()))


STEPS = 10
"""Of the descent for tones without stored phases: a few seconds."""

DEVICE = ToneSet(
    DEVICE_HZ,
    (108.4, 300.6, 43.7, 294.3, 54.7, 150.3, 317.1, 154.8, 268.8, 44.2, 242.9, 216.0),
)
"""What the device plays."""

TONE = ToneSet((997.0,), (270.0,))
"""What the device plays where its distortion is looked for; it begins at zero, rising."""

INJECTED = ToneSet(INJECTED_HZ, (217.2, 106.0, 358.1, 352.8, 313.1, 342.9, 217.0, 232.0))
"""What the bench injects, between them."""
