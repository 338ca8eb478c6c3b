"""The kind of a stage both of whose legs carry signal."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from probe.numbers import ohms
from probe.stage import limits
from probe.stage.evidence import Evidence
from probe.stage.floating import (
    angle_reason,
    attenuator_reason,
    below_nothing,
    below_nothing_reason,
    gives_back,
    held_low,
    held_low_reason,
    held_reason,
    joined_legs,
    may_be_attenuator,
    may_be_winding,
    short_reason,
    split_floating,
    winding_joined,
)
from probe.stage.inputs import pair_reason
from probe.stage.quantities import Column, half_width
from probe.stage.verdict import FLOATING, NO_ROW, Possible, Verdict, summarise

Array = NDArray[np.float64]
Bools = NDArray[np.bool_]


FOLLOWS_FLOATING = 0.2
"""A leg that moves by this share with a load on the other is not a separate one."""


def both_legs(evidence: Evidence) -> Verdict:
    """Name a stage both of whose legs carry signal, from their coupling."""
    assert evidence.ratio is not None
    ratio = evidence.ratio
    db = 20.0 * np.log10(abs(ratio[0]))
    angle = np.angle(ratio)
    reasons = [
        f"both legs carry signal: cold is {db:+.2f} dB and {np.degrees(angle[0]):.0f} degrees "
        "against hot"
    ]
    columns = [
        c
        for c in (evidence.hot, evidence.cold)
        if c is not None and c.own.size > limits.DIVISOR_OHM
    ]
    in_phase = np.abs(angle) < limits.IN_PHASE_RAD
    if not columns:
        low = [c for c in (evidence.hot, evidence.cold) if c is not None]
        if low:
            return _very_low(evidence, low, in_phase, reasons)
        if evidence.follows:
            return _followed(evidence, in_phase, reasons)
        unmeasured = ("faulty", *FLOATING) if in_phase[0] else ("differential", *FLOATING)
        reasons.append("the coupling of the legs was not measured: no take loads or injects a leg")
        labels = np.full(len(ratio), "undetermined", dtype="U32")
        return summarise(labels, unmeasured, "both-legs", "", reasons, in_phase=bool(in_phase[0]))
    couplings = [c.coupling.real for c in columns]

    def every(test: Callable[[Array], Bools]) -> Bools:
        return np.asarray(np.all([test(k) for k in couplings], axis=0))

    floats = every(lambda k: (k > limits.COUPLING_FLOATING) & (k < limits.COUPLING_MOST))
    separate = every(lambda k: np.abs(k) <= limits.COUPLING_SEPARATE)
    tapped = every(lambda k: k < limits.COUPLING_TAPPED)
    labels = np.full(len(ratio), NO_ROW, dtype="U32")
    labels[tapped & ~in_phase] = "transformer-coupled"
    labels[separate & ~in_phase] = "differential"
    labels[separate & in_phase] = "faulty"
    joined, between = joined_legs(columns)
    if any(half_width(k) > limits.COUPLING_SUPPORT for k in couplings):
        labels[labels == NO_ROW] = "undetermined"
    if np.mean(labels[1:] == NO_ROW) >= limits.DECIDED_SHARE:
        labels[(labels == NO_ROW) & in_phase & ~floats] = "faulty"
    labels[floats & joined & (between < limits.JOINED_OHM)] = "faulty"
    choke = floats & ~joined & _somewhere(held_low(evidence))
    labels = split_floating(labels, floats & ~joined & ~choke, evidence)
    labels[choke] = "undetermined"
    doubt = evidence.inputs
    if doubt is not None and doubt.pair[0]:
        labels[np.isin(labels, FLOATING) & floats & doubt.pair] = "undetermined"
    faint = evidence.over_single is not None and evidence.over_single < limits.FLOATING_LEVEL
    held = bool(abs(db) > limits.FLOATING_RATIO_DB)
    if faint or held:
        labels[labels == FLOATING[0]] = "undetermined"
    loose = floats & ~every(lambda k: k > limits.COUPLING_FIRM)
    labels[(labels == FLOATING[0]) & loose] = "undetermined"
    short = floats & winding_joined(between, evidence.over_single)
    labels[(labels == FLOATING[1]) & short] = "undetermined"
    reasons.append(_coupling_reason(couplings[0][0], columns[0]))
    if floats[0] and joined[0]:
        reasons[-1] = (
            f"the legs hang together, {ohms(between[0])} apart, but have only "
            f"{ohms(columns[0].own.size)} to pin 1, where a floating stage has hundreds: they look "
            "joined to each other, pin 2 to pin 3, in the device or in the lead"
        )
    elif floats[0] and held and labels[0] == "undetermined":
        reasons.append(held_reason("cold" if db < 0.0 else "hot"))
    elif floats[0] and short[0] and labels[0] == "undetermined":
        reasons.append(short_reason(between[0]))
    elif floats[0] and loose[0] and labels[0] == "undetermined":
        reasons.append(
            "but not firmly: separate legs with a resistor from pin to pin (an attenuator behind "
            "them) are the same at these terminals"
        )
    elif floats[0] and faint:
        reasons.append(
            "between the legs there is far less than at the single-ended output: a resistor that "
            "joins separate legs is the same at these terminals"
        )
    unsure = doubt is not None and bool(floats[0] and not joined[0] and doubt.pair[0])
    if doubt is not None and unsure:
        reasons.append(pair_reason(doubt))
    dead = _dead_leg(evidence, separate & in_phase)
    if labels[0] == "faulty" and not floats[0]:
        which = "legs that do not know of each other" if separate[0] else "the legs"
        reasons.append(f"{which} should be in opposite phase")
    backwards = bool(floats[0] and not joined[0] and gives_back(evidence))
    either = bool(floats[0] and not joined[0] and not choke[0] and labels[0] == "undetermined")
    less = bool(floats[0] and not joined[0] and not choke[0] and below_nothing(evidence))
    less = less and not backwards
    bridged = faint or bool(loose[0])
    either = either and not (held or bridged or short[0] or unsure or backwards or less)
    if evidence.common_mode_angle is not None and floats[0] and (labels[0] in FLOATING or either):
        reasons.append(angle_reason(evidence, str(labels[0])))
    if choke[0]:
        reasons.append(held_low_reason(evidence))
    if backwards:
        reasons.append(_gives_back_reason(evidence))
    if less:
        reasons.append(below_nothing_reason(evidence))
    left: tuple[str, ...] = ()
    if choke[0]:
        left = ("differential", "faulty")
    elif floats[0] and not joined[0]:
        unknown = held or unsure or either or less or evidence.common_mode_angle is None
        left = FLOATING if unknown else ()
        left = ("differential", FLOATING[0], "faulty") if bridged and not left else left
        left = (FLOATING[1], "faulty") if short[0] and left != FLOATING else left
        left = (*FLOATING, "faulty") if backwards else left
    elif labels[0] in (NO_ROW, "undetermined"):
        left = ("differential", *FLOATING, "faulty")
    verdict = summarise(
        labels,
        left,
        "both-legs",
        "",
        reasons,
        in_phase=bool(in_phase[0] and not floats[0]),
        dead_leg=dead,
    )
    alike = bool(floats[0] and not joined[0] and bridged and labels[0] == "undetermined")
    verdict = replace(verdict, unlike=verdict.unlike or bool(choke[0]), alike=alike)
    return _with_alike(verdict, evidence, min(float(k[0]) for k in couplings))


def _with_alike(verdict: Verdict, evidence: Evidence, coupling: float) -> Verdict:
    """Return a verdict that names, beside electronics, what is the same at these terminals."""
    if verdict.kind != FLOATING[0]:
        return verdict
    same, reasons = [], list(verdict.reasons)
    if may_be_winding(evidence):
        same.append(FLOATING[1])
    if may_be_attenuator(evidence, coupling):
        same.append("differential")
        reasons.append(attenuator_reason(evidence))
    if not same:
        return verdict
    measured = tuple(p for p in verdict.also_possible if p.kind not in same)
    possible = (*measured, *(Possible(kind, None) for kind in same))
    return replace(verdict, also_possible=possible, reasons=tuple(reasons), alike=True)


def _somewhere(where: Bools | None) -> Bools:
    return np.asarray(False) if where is None else where


def _gives_back_reason(evidence: Evidence) -> str:
    assert evidence.common_mode_angle is not None
    turn = np.degrees(evidence.common_mode_angle[0])
    return (
        f"its impedance to pin 1 has an angle of {turn:.0f} degrees at the top of the band: it "
        "would give back more current than it takes, which no winding does, and no amplifier that "
        "is stable by itself. Check the declared impedance of the recorder's inputs"
    )


def _followed(evidence: Evidence, in_phase: Bools, reasons: list[str]) -> Verdict:
    """Legs whose impedances are not known, but of which one was loaded and the other watched."""
    follows = evidence.follows
    separate = np.all([np.abs(f) <= limits.COUPLING_SEPARATE for f in follows], axis=0)
    tapped = np.all([f < limits.COUPLING_TAPPED for f in follows], axis=0)
    labels = np.full(len(in_phase), "undetermined", dtype="U32")
    labels[separate & ~in_phase] = "differential"
    labels[separate & in_phase] = "faulty"
    labels[tapped & ~in_phase] = "transformer-coupled"
    moved = float(follows[0][0])
    reasons.append(f"a load on one leg moves the other by {moved:.2f} of what it moves its own")
    left: tuple[str, ...] = ("differential", *FLOATING)
    if moved > FOLLOWS_FLOATING:
        left = FLOATING
    return summarise(labels, left, "both-legs", "", reasons, in_phase=bool(in_phase[0]))


def _very_low(
    evidence: Evidence, columns: list[Column], in_phase: Bools, reasons: list[str]
) -> Verdict:
    """Legs below the divisor: their coupling is noise over noise, but a load moves nothing at all.

    A floating stage below an ohm per leg against pin 1 does not float.
    """
    assert evidence.ratio is not None
    labels = np.where(in_phase, "faulty", "differential").astype("U32")
    reasons.append(
        f"a leg has {ohms(columns[0].own.size)} against pin 1: it is held by an amplifier, so the "
        "legs do not float"
    )
    return summarise(labels, (), "both-legs", "", reasons, in_phase=bool(in_phase[0]))


def _coupling_reason(coupling: float, one: Column) -> str:
    text = f"{coupling:.2f} of what is put on one leg appears on the other ({one.own.hz:.0f} Hz)"
    if coupling > limits.COUPLING_MOST:
        return text + ": more than on the leg itself, which no pair that floats does"
    if coupling > limits.COUPLING_FLOATING:
        return text + ": the pair floats"
    if coupling < limits.COUPLING_TAPPED:
        return text + ": a winding tapped to pin 1"
    if abs(coupling) <= limits.COUPLING_SEPARATE:
        return text + ": the legs are separate"
    return text


def _dead_leg(evidence: Evidence, where: Bools) -> str:
    """Return the leg that is fed backwards through the circuit's own network, "" where none is."""
    if not where[0] or evidence.hot is None or evidence.cold is None:
        return ""
    ratio = evidence.cold.own.size / max(evidence.hot.own.size, 1e-9)
    if ratio > limits.DEAD_LEG_RATIO:
        return "cold"
    return "hot" if ratio < 1.0 / limits.DEAD_LEG_RATIO else ""
