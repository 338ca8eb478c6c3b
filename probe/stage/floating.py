"""Legs that hang together: which of the floating kinds, and whether they are only joined."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from probe.numbers import ohms
from probe.stage import limits
from probe.stage.evidence import Evidence
from probe.stage.quantities import Column
from probe.stage.verdict import FLOATING

Array = NDArray[np.float64]
Bools = NDArray[np.bool_]


def held_reason(leg: str) -> str:
    """Say that a leg held near pin 1 hides which floating kind it is."""
    return (
        f"the pair floats, but something holds its {leg} leg near pin 1, which hides whether it is "
        "a winding"
    )


def split_floating(labels: NDArray[np.str_], floats: Bools, evidence: Evidence) -> NDArray[np.str_]:
    """Label draws that float by the angle of their common mode; undetermined where none is.

    A capacitance is a winding's where little else leads to pin 1, and hangs on an electronic stage
    where kilohms do.
    """
    angle = evidence.common_mode_angle
    if angle is None:
        labels[floats] = "undetermined"
        return labels
    capacitive = angle < limits.TRANSFORMER_ANGLE_RAD
    labels[floats & capacitive] = "undetermined"
    if evidence.way is not None:
        siemens = evidence.way.siemens
        labels[floats & capacitive & (siemens < 1.0 / limits.WINDING_OHM)] = FLOATING[1]
        labels[floats & capacitive & (siemens > 1.0 / limits.ELECTRONIC_OHM)] = FLOATING[0]
    labels[floats & ~capacitive] = FLOATING[0]
    labels[floats & (np.abs(angle) > limits.GIVES_BACK_RAD)] = "undetermined"
    if evidence.below_nothing is not None:
        labels[floats & evidence.below_nothing] = "undetermined"
    return labels


def angle_reason(evidence: Evidence, kind: str) -> str:
    """Say what the pair's way to pin 1 is at the top of the band, and what that makes it."""
    assert evidence.common_mode_angle is not None
    angle = float(evidence.common_mode_angle[0])
    turn = f"{np.degrees(angle):.0f} degrees"
    text = f"its impedance to pin 1 has an angle of {turn} at the top of the band"
    if angle >= limits.TRANSFORMER_ANGLE_RAD:
        way = 2.0 / float(evidence.way.siemens[0]) if evidence.way is not None else 0.0
        if kind == FLOATING[0] and not may_be_winding(evidence):
            return f"{text}, and less capacitance than any winding has"
        alike = f"; a winding with {ohms(way)} from each end to pin 1 is alike" if way > 0.0 else ""
        return f"{text}: no winding's capacitance{alike}"
    if kind == FLOATING[1]:
        return text + ": a winding's capacitance"
    if evidence.way is None:
        return text + ", a winding's or a capacitor's: no lower tone tells which"
    beside = f"{text}, but {ohms(1.0 / float(evidence.way.siemens[0]))} lie beside that capacitance"
    if kind == FLOATING[0]:
        return f"{beside}: capacitors on the pins of an electronic stage, no winding"
    return f"{beside}: a winding with resistors to pin 1, or capacitors on an electronic stage"


def may_be_winding(evidence: Evidence) -> bool:
    """Return True where resistors from a winding's ends to pin 1 may look like electronics.

    Not where the capacitance beside them is less than that of any winding, its doubt included.
    """
    if evidence.farad is None:
        return True
    most = float(np.quantile(evidence.farad, 0.975))
    return max(most, float(evidence.farad[0])) >= limits.LEAST_WINDING_FARAD


def may_be_attenuator(evidence: Evidence, coupling: float) -> bool:
    """Return True where separate legs with a resistor from pin to pin may look like electronics."""
    over = evidence.over_single
    return coupling < limits.FIRM_AS_ANY and (over is None or over < limits.UNATTENUATED_LEVEL)


def attenuator_reason(evidence: Evidence) -> str:
    """Say what an attenuator would have to be, and what would show it."""
    seen = (
        "the single-ended output was not recorded"
        if evidence.over_single is None
        else "the single-ended output is louder, as one is that stands before an attenuator"
    )
    return (
        "separate legs with a resistor from pin to pin (an attenuator behind them) are alike: "
        f"{seen}"
    )


def held_low(evidence: Evidence) -> Bools | None:
    """Whether legs that hang together at 1 kHz are held to pin 1 at low tones, (1 + D,)."""
    way = evidence.way
    if way is None:
        return None
    return np.asarray((way.lowest < limits.HELD_LOW_OHM) & (way.middle > limits.RISES * way.lowest))


def held_low_reason(evidence: Evidence) -> str:
    """Say that an inductance joins the legs."""
    assert evidence.way is not None
    way = evidence.way
    return (
        f"both legs together have {ohms(float(way.lowest[0]))} to pin 1 at {way.hz:.0f} Hz and "
        f"{ohms(float(way.middle[0]))} near 1 kHz: an impedance that rises with frequency is an "
        "inductance, as of a common-mode choke behind separate legs; no floating stage has it"
    )


def gives_back(evidence: Evidence) -> bool:
    """Return True where the pair's way to pin 1 gives back more than it takes, by its value."""
    angle = evidence.common_mode_angle
    return angle is not None and bool(abs(angle[0]) > limits.GIVES_BACK_RAD)


def below_nothing_reason(evidence: Evidence) -> str:
    """Say that the pair would have less than no capacitance to pin 1."""
    assert evidence.common_mode_angle is not None
    turn = np.degrees(evidence.common_mode_angle[0])
    return (
        f"its impedance to pin 1 has an angle of {turn:.0f} degrees at the top of the band, as of "
        "less than no capacitance, which no stage has: the inputs, leads included, hold less than "
        "was declared. Declare what they hold (probe calibrate measures it)"
    )


def below_nothing(evidence: Evidence) -> bool:
    """Return True where the pair would have less than no capacitance, by its value."""
    return evidence.below_nothing is not None and bool(evidence.below_nothing[0])


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
