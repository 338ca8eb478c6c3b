"""The kind of a stage of which one leg carries no signal of its own."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from probe.numbers import ohms
from probe.stage import limits
from probe.stage.evidence import Evidence
from probe.stage.floating import held_reason, split_floating
from probe.stage.inputs import only_an_input, open_leg_reason
from probe.stage.network import Complex
from probe.stage.open_leg import passes
from probe.stage.quantities import Column, half_width
from probe.stage.verdict import FLOATING, NO_ROW, Verdict, summarise

ONE_LEG = ("impedance-balanced", "unbalanced", "pin-3-unconnected", "ground-sensing")


def one_leg(evidence: Evidence, silent: str) -> Verdict:
    """Name a stage whose leg ``silent`` carries no signal, from that leg's own impedance."""
    assert evidence.ratio is not None
    driven = "hot" if silent == "cold" else "cold"
    own = evidence.cold if silent == "cold" else evidence.hot
    live = evidence.hot if silent == "cold" else evidence.cold
    ratio_db = abs(20.0 * np.log10(max(float(np.abs(evidence.ratio[0])), 1e-12)))
    reasons = [f"the {silent} leg carries no signal of its own ({ratio_db:.0f} dB below the other)"]
    if own is None:
        reasons.append(
            f"the impedance of the silent {silent} leg was not measured: only an injection into it "
            "or a load across the legs shows it"
        )
        labels = np.full(len(evidence.ratio), "undetermined", dtype=object).astype(str)
        return summarise(labels, ONE_LEG, "one-leg", silent, reasons)
    labels = np.full(len(own.own.draws), NO_ROW, dtype="U32")
    size = np.abs(own.own.draws)
    open_share = 1.0 / np.maximum(size, 1e-12) < 1.0 / limits.OPEN_OHM
    tied = size < limits.TIED_OHM
    coupling = own.coupling.real
    back = None if live is None else live.coupling.real
    left: tuple[str, ...] = ()
    between = ~tied & ~open_share
    separate = between & (np.abs(coupling) <= limits.COUPLING_SEPARATE)
    sensing = between & (coupling > limits.COUPLING_FLOATING)
    # strays of a pin with nothing on it move no line output
    follows = bool(np.abs(coupling[0]) > limits.COUPLING_SEPARATE)
    alone = open_share
    unknown = np.zeros(len(labels), dtype=bool)
    if half_width(coupling) < limits.COUPLING_SUPPORT:
        sensing |= open_share & (coupling > limits.COUPLING_FLOATING)
        alone = open_share & (np.abs(coupling) <= limits.COUPLING_SEPARATE)
    elif follows:
        # what the driven leg gives way to the recorder is not known, so neither is how far it
        # would follow; that it does follow was heard
        alone, unknown = unknown, open_share
    if live is not None:
        alike = np.abs(np.log(size / np.maximum(np.abs(live.own.draws), 1e-9)))
        separate &= alike <= np.log(limits.ALIKE_RATIO)
    labels[separate] = "impedance-balanced"
    labels[sensing] = "ground-sensing"
    if back is not None:
        floats = sensing & (back > limits.COUPLING_FLOATING)
        labels[sensing & ~floats & (np.abs(back) > limits.COUPLING_SEPARATE)] = NO_ROW
        labels = split_floating(labels, floats, evidence)
        labels[labels == FLOATING[0]] = "undetermined"
        if floats[0] and labels[0] == "undetermined":
            left = FLOATING
            reasons.append(held_reason(silent))
    labels[tied] = "unbalanced"
    if not passes(_siemens(own)):
        labels[alone] = "pin-3-unconnected"
    labels[unknown] = "undetermined"
    if unknown[0]:
        left = ("ground-sensing", "pin-3-unconnected")
        reasons.append(_follows_reason(own, silent, driven))
    bare = (labels == NO_ROW) & only_an_input(own, evidence.input_ohm)
    labels[bare] = "undetermined"
    held = (labels == NO_ROW) & (np.abs(coupling) <= limits.COUPLING_SEPARATE)
    behind = held & (np.angle(own.own.draws) < limits.BEHIND_CAPACITOR_RAD)
    labels[behind] = "undetermined"
    if behind[0]:
        left = ("impedance-balanced", "pin-3-unconnected", "faulty")
        reasons.append(_behind_reason(own, silent))
    if bare[0] and labels[0] == "undetermined":
        left = ("pin-3-unconnected", "faulty")
        reasons.append(open_leg_reason(evidence.input_ohm, own.own.value, f"the {silent} leg"))
    if labels[0] == NO_ROW:
        left = ("impedance-balanced", "ground-sensing", "faulty")
    reasons[1:1] = _one_leg_reasons(own, live, silent, driven, labels)
    hot_dead = silent == "hot" and evidence.polarity == "pin-2-hot"
    if hot_dead:
        labels[:] = "faulty"
        reasons.append(
            "the driven cold leg is inverted against the single-ended output, so it is a cold leg "
            "and the hot leg is dead"
        )
    missing = driven if follows and live is None else ""
    verdict = summarise(
        labels, left, "one-leg", silent, reasons, hot_dead=hot_dead, missing=missing
    )
    return replace(verdict, by_inputs=bool(bare[0]) and verdict.kind == "undetermined")


def _follows_reason(own: Column, silent: str, driven: str) -> str:
    return (
        f"{own.coupling[0].real:.2f} of what is put on the {silent} leg is heard on the {driven} "
        f"leg, which a pin with nothing on it does not do; how far it follows is not known without "
        f"the impedance of the {driven} leg, which a load or an injection there shows"
    )


def _behind_reason(own: Column, silent: str) -> str:
    farad = 1.0 / (2.0 * np.pi * own.own.hz * own.own.size)
    return (
        f"that is a capacitor of some {farad * 1e9:.3g} nF: a leg to pin 1 behind a capacitor that "
        f"is too small or has dried out, or strays of a pin with nothing on it; look what stands "
        f"in series with the {silent} pin"
    )


def _siemens(own: Column) -> Complex:
    size = np.maximum(np.abs(own.own.draws), 1e-12)
    return np.asarray(np.conj(own.own.draws) / size**2)


def _one_leg_reasons(
    own: Column, live: Column | None, silent: str, driven: str, labels: NDArray[np.str_]
) -> list[str]:
    text = f"its impedance to pin 1 is {ohms(own.own.size)} at {own.own.hz:.0f} Hz"
    if labels[0] == "unbalanced":
        text += ": it is tied to pin 1"
    elif labels[0] == "pin-3-unconnected":
        text += ": it is connected to nothing"
    elif live is not None:
        text += f", that of the {driven} leg {ohms(live.own.size)}"
    lines = [text]
    if labels[0] not in ("unbalanced", "pin-3-unconnected"):
        share = own.coupling[0].real
        lines.append(f"{share:.2f} of what is put on the {silent} leg appears on the {driven} leg")
    return lines
