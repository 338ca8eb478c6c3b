r"""Whether what was found of the stage is only what a wrongly declared recorder input would make.

The recorder's inputs hang on the legs in every take, so what a take shows is the sum of two
admittances and the stage is what is left of it::

    Y_stage = Y_seen - Y_declared

A floating pair or an open pin is a small admittance, and an input that is half of what its data
sheet says (so much between the legs, and not on each; two inputs in parallel) leaves
``Y_true - Y_declared`` of its own size behind: a conductance, the same at all tones, in the place
of a stage. The stated doubt of the input does not cover that. So where a conductance of the stage
is no larger than the declared one, and without it the stage would be of another kind, the kind is
open, unless takes tell: a leg that no input hangs on, or another input. They are asked by solving
the takes again with inputs that would explain all of it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from probe.stage import limits
from probe.stage.agreement import repeatability
from probe.stage.fitted import LEGS
from probe.stage.observations import Group, declared_ohm, with_inputs
from probe.stage.quantities import Column, common_mode_band
from probe.stage.side import Identified
from probe.stage.solve import fit
from probe.stage.words import ohms

Array = NDArray[np.float64]
Bools = NDArray[np.bool_]

HALF = 1.05
"""Conductance over the declared one up to which an input of half the declared ohms explains it,
with some percent for what the input's own figures leave open."""

NEGATIVE = -0.1
"""Conductance over the declared one below which it is none of a stage: nothing passive gives
current back, and stated doubts of inputs are below a twentieth of this."""

WORSE = 2.0
"""Takes that disagree this many times more with other inputs tell that the declared ones are
right."""


WINDING_FARAD = 1.5e-10
"""Least capacitance of a winding to pin 1: below it lie the leads and the doubt of the inputs'."""


@dataclass(frozen=True)
class InputDoubt:
    """A floating pair whose way to pin 1 may be a wrongly declared input alone.

    Attributes
    ----------
    pair
        Shape (1 + D,): the draws in which it would be of the other floating kind.
    declared, would_be
        Ohms of an input, and those that would explain the pair.
    """

    pair: Bools
    declared: float
    would_be: float


def only_an_input(own: Column, ohm: float | None) -> Bools:
    """Whether a leg is no more than a wrong input would make of one that is open, (1 + D,)."""
    size = np.where(np.abs(own.own.draws) > 1e-9, own.own.draws, 1e-9)
    siemens = (0.0 if ohm is None else ohm) / size
    return np.asarray((np.abs(siemens) < HALF) & (np.abs(siemens) > 0.0))


def input_doubt(identified: Identified) -> InputDoubt | None:
    """Whether a floating pair's way to pin 1 may be the inputs alone; None where takes tell.

    Looked at where a winding shows, between 4 and 20 kHz: less the conductance that inputs of half
    their declared ohms would add, is it a winding's capacitance?
    """
    band = common_mode_band(identified)
    group = identified.group
    ohm = None if group is None else declared_ohm(group)
    if band is None or group is None or ohm is None or np.any(np.abs(band[1]) < 1e-9):
        return None
    hz, mean = band
    y = 1.0 / mean
    each = 0.5 * ohm * np.median(y.real, axis=1)
    farad = np.median(y.imag / (2.0 * np.pi * hz), axis=1)
    pair = (each < HALF) & (farad > WINDING_FARAD)
    pair &= np.median(np.angle(mean), axis=1) >= limits.TRANSFORMER_ANGLE_RAD
    pair |= each < NEGATIVE
    conductance = float(1.0 + each[0])
    if not pair[0] or conductance <= 0.0 or _takes_tell(identified, group, conductance):
        return None
    return InputDoubt(pair, ohm, ohm / conductance)


def _takes_tell(identified: Identified, group: Group, conductance: float) -> bool:
    """Whether takes agree far worse with inputs of so many times the declared conductance."""
    level = identified.repeatability.level
    other = with_inputs(group, conductance)
    seen = [
        repeatability(fit(one, LEGS, level=level, thorough=True), one, level).seen
        for one in (group, other)
    ]
    return seen[1] > WORSE * max(seen[0], level)


SETTLED_BY = (
    "probe calibrate measures the inputs, and so does a known resistor to pin 1 in place of the "
    "device"
)


def open_leg_reason(declared: float | None, own: complex, what: str) -> str:
    """Say that a leg may be open, and what would settle it."""
    siemens = 1.0 / (declared or np.inf) + (1.0 / own).real
    would = ohms(1.0 / siemens) if siemens > 0.0 else "far more"
    return (
        "that is of the order of the recorder's own input, declared as "
        f"{ohms(declared or 0.0)}: if it is {would} in truth, {what} is connected to nothing. "
        + SETTLED_BY
    )


def pair_reason(doubt: InputDoubt) -> str:
    """Say that a pair may be of the other floating kind, and what would settle it."""
    return (
        "the pair's way to pin 1 is of the order of the recorder's own inputs, declared as "
        f"{ohms(doubt.declared)}: if they are {ohms(doubt.would_be)} in truth, this may be the "
        f"other floating kind. {SETTLED_BY}; a take that hears one leg alone tells as well"
    )
