"""Legs that hang together: which of the floating kinds, and whether they are only joined."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from probe.stage import limits
from probe.stage.evidence import Evidence
from probe.stage.quantities import Column
from probe.stage.words import ohms

Array = NDArray[np.float64]
Bools = NDArray[np.bool_]


def held_reason(leg: str) -> str:
    """Say that a leg held near pin 1 hides which floating kind it is."""
    return (
        f"the pair floats, but something holds its {leg} leg near pin 1, which hides whether it is "
        "a winding"
    )


def split_floating(labels: NDArray[np.str_], floats: Bools, evidence: Evidence) -> NDArray[np.str_]:
    """Label draws that float by the angle of their common mode; undetermined where none is."""
    angle = evidence.common_mode_angle
    if angle is None:
        labels[floats] = "undetermined"
        return labels
    labels[floats & (angle < limits.TRANSFORMER_ANGLE_RAD)] = "transformer-coupled"
    labels[floats & (angle >= limits.TRANSFORMER_ANGLE_RAD)] = "electronically-floating"
    labels[floats & (np.abs(angle) > limits.GIVES_BACK_RAD)] = "undetermined"
    return labels


def gives_back(evidence: Evidence) -> bool:
    """Return True where the pair's way to pin 1 gives back more than it takes, by its value."""
    angle = evidence.common_mode_angle
    return angle is not None and bool(abs(angle[0]) > limits.GIVES_BACK_RAD)


def joined_legs(columns: list[Column]) -> tuple[Bools, Array]:
    """Whether legs that hang together are held to pin 1 all the same, and ohm between them."""
    size = np.min([np.abs(c.own.draws) for c in columns], axis=0)
    apart = [c.beside.draws - c.other.draws for c in columns]
    between = np.abs(apart[0] + apart[-1])
    low = size < limits.FLOATING_OHM
    low |= (between < limits.JOINED_OHM) & (size < limits.JOINED_BELOW_OHM)
    return np.asarray(low), np.asarray(between)


def winding_joined(between: Array, over_single: float | None) -> Bools:
    """Whether legs behind a winding may be joined: (1 + D,) ohm between them, and their level.

    They float either way, so only what is between them tells.
    """
    if over_single is None:
        return np.asarray(between < limits.JOINED_OHM)
    faint = over_single < limits.FLOATING_LEVEL
    return np.asarray((between < limits.WINDING_JOINED_OHM) & faint)


def short_reason(between: float) -> str:
    """Say that legs behind a winding may be joined."""
    return (
        f"the legs are only {ohms(between)} apart: joined to each other, pin 2 to pin 3, in the "
        "device or in the lead, a winding looks the same at these terminals as one that steps down"
    )
