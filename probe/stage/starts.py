"""Takes of one running stream that begin elsewhere than their session says.

A take that is a sample late turns a tone of 20 kHz by a third of a turn and contradicts all others.
When takes of a stream stand far apart they are placed once more as if nothing were known of when
they began. Where that differs from what was declared by whole samples, and the takes agree with
it, it is the start that was typed wrong and nothing of the takes: most begin alike against what was
declared, the rest are named.
"""

from __future__ import annotations

import math
from collections import Counter
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from probe.phasors.model import Remark
from probe.stage.agreement import AT_REST, EXPLAINED, STANDS_OUT, worst_share
from probe.stage.align import SNAP_REST, Alignment, along_stream, placed_freely
from probe.stage.fitted import LEGS, Fit
from probe.stage.observations import Group, Observed
from probe.stage.solve import fit
from probe.stage.stream import one_stream

Array = NDArray[np.float64]

TONE_HZ = 1.0e-3
"""Tones are chosen on a grid no finer than this."""


@dataclass(frozen=True)
class Restarted:
    """Takes placed where they began, the legs solved with it, and what to say."""

    aligned: Alignment
    first: Fit
    remarks: tuple[Remark, ...]


def other_starts(group: Group, aligned: Alignment, first: Fit, level: float) -> Restarted | None:
    """Return takes of a stream by other starts than declared; None where those declared serve.

    Parameters
    ----------
    group, aligned
        As recorded, and by the declared starts.
    first
        The legs solved by the declared starts with repeatability ``level``.
    """
    stands = worst_share(first)
    rates = {o.phasors.take.sample_rate for o in group.takes}
    if stands <= STANDS_OUT or not one_stream(group) or len(rates) != 1:
        return None
    free, rate = placed_freely(group, level), rates.pop()
    if free.unplaced:
        return None
    samples = (free.delays - aligned.delays) * rate
    samples = _shortest(samples - samples[0], group.hz, rate)
    whole = np.round(samples)
    if np.max(np.abs(samples - whole)) > SNAP_REST:
        return None
    earlier = whole - Counter(whole.tolist()).most_common(1)[0][0]
    if not earlier.any():
        return None
    again = along_stream(group, earlier / rate)
    solved = fit(again.group, LEGS, level=level, thorough=True)
    if worst_share(solved) > max(EXPLAINED * stands, AT_REST):
        return None
    moved = zip(group.takes, earlier.astype(int).tolist(), strict=True)
    return Restarted(again, solved, tuple(_said(o, k) for o, k in moved if k))


def _shortest(samples: Array, hz: Array, rate: int) -> Array:
    """Return shifts less whole repetitions of the tones: those by which they fall in again."""
    common = math.gcd(*np.round(hz / TONE_HZ).astype(int).tolist())
    period = rate / (common * TONE_HZ)
    return np.asarray(samples - period * np.round(samples / period))


def _said(observed: Observed, earlier: int) -> Remark:
    declared = observed.phasors.take.start_frame
    message = (
        f"this take does not begin at frame {declared} of its stream, as declared: the takes "
        f"agree where it begins at {declared - earlier}. That was reckoned with; correct "
        "start_frame, or leave timebase out"
    )
    return Remark("start-not-as-declared", observed.name, message)
