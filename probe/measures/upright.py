"""Whether a device keeps the polarity of the generator at a leg, from takes of many tones.

A single tone does not tell: a delay turns it over as well. Of many tones no delay turns all by half
a turn, so their phases against the recorded drive, or against those declared, tell the two apart,
whatever the delay. Phases declared are those of the generator's file: if generator and recorder
together turn a tone over, a loop-back take of many tones tells that; without one it is unlikely.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from probe.measures.model import Subject
from probe.phasors.model import TakePhasors
from probe.session.model import Take
from probe.stage.turned import turned_over

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]

EVEN = 0.5
"""Of a device whose polarity nothing tells either is as likely: what leans to one makes intervals
of the other too narrow."""

UPRIGHT_BENCH = 0.9
"""Share of benches that do not turn a tone over between generator and recorder (common practice, no
source)."""

SURE_SIGMAS = 30.0
"""Tones that stand this far above the noise are looked at."""

OF_MOST = 0.03
"""... and no weaker than this share of the strongest: a dead leg hears the other one."""


def keeps_polarity(subject: Subject, take: Take) -> float:
    """Return how likely the first channel of a take hears the generator's tone upright, 0 to 1."""
    name = take.channels[0]
    if name == "reference":
        return 1.0
    for p in sorted(_telling(subject, take), key=_order):
        over = _over(p, p.take.channels.index(name))
        if over is None:
            continue
        if "reference" in p.take.channels:
            return 0.0 if over else 1.0
        bench = _bench_over(subject)
        if bench is not None:
            return 0.0 if over != bench else 1.0
        return 1.0 - UPRIGHT_BENCH if over else UPRIGHT_BENCH
    return EVEN


def _telling(subject: Subject, take: Take) -> list[TakePhasors]:
    """Return takes of many tones of this side whose leads are right, played as this take is."""
    return [
        p
        for p in subject.identified.takes
        if p.take.signal == "multitone"
        and p.take.state == "play"
        and take.channels[0] in p.take.channels
        and p.take.driven_input_leg == take.driven_input_leg
        and not p.take.injections
    ]


def _order(p: TakePhasors) -> tuple[bool, int]:
    """Rank: a recorded drive first, and what no load turns."""
    return "reference" not in p.take.channels, len(p.take.loads)


def _bench_over(subject: Subject) -> bool | None:
    """Return whether the bench turns tones over, from takes of many tones without a device."""
    for p in subject.phasors:
        if p.take.signal == "loop-back" and p.usable:
            over = _over(p, 0)
            if over is not None:
                return over
    return None


def _over(p: TakePhasors, channel: int) -> bool | None:
    """Return whether a channel hears the drive turned over; None where its tones do not tell."""
    drive = _drive(p)
    if drive is None:
        return None
    volts = p.volts[:, channel]
    noise = np.sqrt(np.abs(p.noise[:, channel, channel]))
    strongest = np.max(np.abs(p.volts), axis=1, initial=0.0)
    sure = np.abs(volts) > np.maximum(SURE_SIGMAS * noise, OF_MOST * strongest)
    sure &= p.played & (np.abs(drive) > 0.0)
    turn = volts[sure] * np.conj(drive[sure])
    return turned_over(p.hz[sure], turn / np.abs(turn))


def _drive(p: TakePhasors) -> Complex | None:
    """Return the drive as recorded or as declared, shape (F,); 0 where it is not known."""
    if "reference" in p.take.channels:
        return np.asarray(p.volts[:, p.take.channels.index("reference")])
    if p.take.phases_rad is None:
        return None
    phases = dict(zip(p.take.tones_hz, p.take.phases_rad, strict=True))
    return np.array([np.exp(1j * phases[hz]) if hz in phases else 0.0 for hz in p.hz])
