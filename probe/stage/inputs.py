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

from probe.numbers import ohms
from probe.stage import limits
from probe.stage.agreement import repeatability
from probe.stage.fitted import LEGS
from probe.stage.observations import Group, declared_ohm, leg_inputs, with_inputs
from probe.stage.quantities import Column, common_mode_band
from probe.stage.side import Identified
from probe.stage.solve import fit

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

LEFT_OPEN = 0.1
"""Conductance over the declared one that no doubt about an input need explain: a careful data
sheet leaves it open, and a winding has it by its own losses."""

WINDING_FARAD = 1.5e-10
"""Least capacitance of a winding to pin 1: below it lie the leads and the doubt of the inputs'."""


@dataclass(frozen=True)
class Rival:
    """Inputs of the recorder that may have so many times the declared conductance.

    ``channels`` are their numbers, from 0 on.
    """

    channels: frozenset[int]
    conductance: float


@dataclass(frozen=True)
class InputDoubt:
    """A floating pair whose way to pin 1 may be wrongly declared inputs alone.

    Attributes
    ----------
    pair
        Shape (1 + D,): the draws in which it would be of the other floating kind.
    declared, would_be
        Ohms of an input, and those that would explain the pair.
    rivals
        Every declaration of the inputs that explains it and that no take rules out.
    """

    pair: Bools
    declared: float
    would_be: float
    rivals: tuple[Rival, ...]

    @property
    def alone(self) -> bool:
        """True where it is one input by itself, which no further take of either leg tells."""
        return len(self.rivals[0].channels) == 1


def only_an_input(own: Column, ohm: float | None) -> Bools:
    """Whether a leg is no more than a wrong input would make of one that is open, (1 + D,)."""
    size = np.where(np.abs(own.own.draws) > 1e-9, own.own.draws, 1e-9)
    siemens = (0.0 if ohm is None else ohm) / size
    return np.asarray((np.abs(siemens) < HALF) & (np.abs(siemens) > 0.0))


def input_doubt(identified: Identified) -> InputDoubt | None:
    """Whether a floating pair's way to pin 1 may be the inputs alone; None where takes tell.

    Looked at where a winding shows, between 4 and 20 kHz: less the conductance that inputs of half
    their declared ohms would add, is it a winding's capacitance? Asked of all inputs together, and
    of each by itself: one that hangs on the same leg in every take is never told by the takes.
    """
    band = common_mode_band(identified)
    group = identified.group
    ohm = None if group is None else declared_ohm(group)
    if band is None or group is None or ohm is None or np.any(np.abs(band[1]) < 1e-9):
        return None
    hz, mean = band
    y = 1.0 / mean
    whole = ohm * np.median(y.real, axis=1)
    winding = np.median(y.imag / (2.0 * np.pi * hz), axis=1) > WINDING_FARAD
    winding_now = np.median(np.angle(mean), axis=1) < limits.TRANSFORMER_ANGLE_RAD
    all_inputs = frozenset().union(*leg_inputs(group))
    ways = [(all_inputs, 2.0), *((frozenset({one}), 1.0) for one in sorted(all_inputs))]
    rivals = [Rival(channels, float(1.0 + whole[0] / legs)) for channels, legs in ways]
    explaining = [
        rival
        for rival in rivals
        if _explained(rival.conductance - 1.0, bool(winding[0]))
        and abs(rival.conductance - 1.0) > LEFT_OPEN
        and rival.conductance > 0.0
    ]
    left = _not_ruled_out(identified, group, explaining)
    if not left:
        return None
    pair = np.zeros(len(whole), dtype=np.bool_)
    for rival, (_, legs) in zip(rivals, ways, strict=True):
        if rival in left:
            each = whole / legs
            pair |= ((each < HALF) & winding & ~winding_now) | (each < NEGATIVE)
    return InputDoubt(pair, ohm, ohm / left[0].conductance, tuple(left))


def _explained(more: float, winding: bool) -> bool:
    """Whether inputs of so much more conductance than declared make what was found."""
    return (more < HALF and winding) or more < NEGATIVE


def silent_leg_rivals(identified: Identified, leg: str, own: complex) -> tuple[Rival, ...]:
    """Return what a silent leg's inputs, or all alike, are if nothing is connected to it."""
    group = identified.group
    ohm = None if group is None else declared_ohm(group)
    if group is None or ohm is None:
        return ()
    conductance = 1.0 + ohm * (1.0 / own).real
    channels = leg_inputs(group)[("hot", "cold").index(leg)]
    if not channels or conductance <= 0.0:
        return ()
    both = channels.union(*leg_inputs(group))
    return tuple(Rival(c, conductance) for c in dict.fromkeys((channels, both)))


def _seen(identified: Identified, group: Group) -> float:
    """How far the takes of a group disagree, relative, by whatever inputs it has."""
    level = identified.repeatability.level
    return repeatability(fit(group, LEGS, level=level, thorough=True), group, level).seen


def _not_ruled_out(identified: Identified, group: Group, rivals: list[Rival]) -> list[Rival]:
    """Return the rivals with which takes do not agree far worse than with the declared inputs."""
    if not rivals:
        return []
    most = WORSE * max(_seen(identified, group), identified.repeatability.level)
    others = [with_inputs(group, one.conductance, one.channels) for one in rivals]
    return [r for r, o in zip(rivals, others, strict=True) if _seen(identified, o) <= most]


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


def _which(doubt: InputDoubt) -> str:
    return f"input {min(doubt.rivals[0].channels) + 1} alone is" if doubt.alone else "they are"


def pair_reason(doubt: InputDoubt) -> str:
    """Say that a pair may be of the other floating kind, and what would settle it."""
    return (
        "the pair's way to pin 1 is of the order of the recorder's own inputs, declared as "
        f"{ohms(doubt.declared)}: if {_which(doubt)} {ohms(doubt.would_be)} in truth, this may be "
        f"the other floating kind. {SETTLED_BY}"
        + ("" if doubt.alone else "; a take that hears one leg alone tells as well")
    )


def moved_reason(doubt: InputDoubt) -> str:
    """Say why facts of a pair whose kind stands are wider, and what would settle it."""
    return (
        "part of the pair's way to pin 1 may be the recorder's own: figures that would be others "
        f"if {_which(doubt)} {ohms(doubt.would_be)} in truth, declared as "
        f"{ohms(doubt.declared)}, hold both. {SETTLED_BY}"
    )
