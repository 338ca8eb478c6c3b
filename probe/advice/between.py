"""What lies between the corners of what nobody measured, all at once.

What follows from the level is worst at a corner: it falls with every impedance in its way. Hum is
not, nor the current in a tied leg without a signal, which parts between the join and the leg. Legs
that turn a ground difference into hum by being unlike do so most where they are as large as what
they work into; a conductor of pin 3 that joins the grounds beside the shield does so less the more
its own leg has, while the more the other one has the less arrives. So the impedances are walked
through, alike and unlike, as one source with a place on axis 0 for each.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import fields, replace

import numpy as np

from probe.advice.completed import (
    ALIKE_KINDS,
    Corner,
    complete_single_ended,
    of_winding,
    with_legs,
)
from probe.advice.parts import UNLIKE_LEGS, WORST_SOURCE_OHM
from probe.advice.sampled import Complex, Sampled
from probe.advice.shared import with_both_outputs


def between(
    sampled: Sampled,
    kind: str,
    single_ended_recorder_ohm: float | None = None,
    *,
    exchanged: bool = False,
    both_outputs: bool = False,
    floats: bool | None = None,
) -> Sampled | None:
    """Return all that the legs may be as one source, or None where they are known.

    The arguments are those of `completions`. Of what is known it has the estimate.
    """
    if not np.isnan(sampled.z[..., :2, :2]).any() or kind not in _HELD:
        return None
    corner = _all_of(kind, floats)
    one = _times(sampled, np.shape(corner.hot)[0])
    if not both_outputs:
        return replace(with_legs(one, kind, corner, exchanged=exchanged), spread=True)
    found = [
        coupled
        for single in complete_single_ended(one, single_ended_recorder_ohm, both_outputs=True)
        for coupled in with_both_outputs(with_legs(single, kind, corner, exchanged=exchanged))
    ]
    return replace(_joined(found), spread=True)


def _times(sampled: Sampled, count: int) -> Sampled:
    """Return the estimate of a source ``count`` times over."""

    def repeated(values: Complex) -> Complex:
        return np.repeat(values[:1], count, axis=0)

    return replace(
        sampled,
        voc=repeated(sampled.voc),
        z=repeated(sampled.z),
        leg_voc=repeated(sampled.leg_voc),
        leg_z=repeated(sampled.leg_z),
        heard=None if sampled.heard is None else repeated(sampled.heard),
    )


def _joined(parts: Sequence[Sampled]) -> Sampled:
    """Return several such sources as one."""
    return replace(
        parts[0],
        voc=np.concatenate([p.voc for p in parts]),
        z=np.concatenate([p.z for p in parts]),
        leg_voc=np.concatenate([p.leg_voc for p in parts]),
        leg_z=np.concatenate([p.leg_z for p in parts]),
    )


def _all(corners: Sequence[Corner]) -> Corner:
    """Return many as one, each figure of shape (N, 1)."""
    return Corner(
        **{f.name: np.array([[getattr(c, f.name)] for c in corners]) for f in fields(Corner)}
    )


_OHMS = (0.0, 1.0, 3.0, 10.0, 30.0, 100.0, 300.0, 1000.0, WORST_SOURCE_OHM)
"""Half a decade apart: hum is flat about its worst, which moves over decades. [judgement]"""

_SEPARATE = (*(Corner(o, o) for o in _OHMS), Corner(0.0, 0.0, like=1.0))

_HELD: dict[str, tuple[Corner, ...]] = {
    "differential": _SEPARATE,
    "impedance-balanced": _SEPARATE,
    "unbalanced": tuple(Corner(o, cold) for o in _OHMS for cold in (0.0, 1.0)),
    "pin-3-unconnected": tuple(
        Corner(o, cold, into_cold=into, share=into)
        for o in (0.0, 100.0, WORST_SOURCE_OHM)
        for cold in (1e5, 2e6, 1e9)
        for into in (0.0, 0.5)
    ),
    "ground-sensing": tuple(
        Corner(o, cold, into_hot=1.0)
        for o in (0.0, 10.0, 100.0, 1000.0, WORST_SOURCE_OHM)
        for cold in (1.0, 10.0, 100.0, 1e3, 1e4, 1e5)
    ),
    "electronically-floating": tuple(
        Corner(o, o, *(1.0 - pair / (2.0 * o),) * 2)
        for o in (500.0, 2e3, 1e4, 1e5)
        for pair in (0.0, 200.0)
    ),
    "transformer-coupled": (
        *(Corner(o, o, 1.0, 1.0) for o in (500.0, 5e3, 1e5)),
        *(Corner(0.0, 0.0, 1.0, 1.0, farad=f) for f in (1e-9, 100e-12)),
        Corner(WORST_SOURCE_OHM, WORST_SOURCE_OHM, -0.1, -0.1),
        Corner(250.0, 250.0, -0.4, -0.4),
        Corner(30.0, 30.0, -0.8, -0.8),
    ),
}
"""What the kinds leave open, from corner to corner of those in `completed`."""


def _all_of(kind: str, floats: bool | None) -> Corner:
    """Return all that a kind leaves open, unlike legs with either sign."""
    held = of_winding(_HELD[kind], kind, floats)
    if kind in ALIKE_KINDS:
        held = tuple(replace(c, unlike=u) for c in held for u in (-UNLIKE_LEGS, 0.0, UNLIKE_LEGS))
    return _all(held)
