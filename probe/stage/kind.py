"""What the stage is, decided on every draw; a kind's confidence is the share of draws in it.

Order: is a silent leg tied or open (from its own impedance, because the strays of an open pin make
any coupling), then the coupling of the legs, then their ratio. A kind is never stated from a
quantity that was not measured: then the stage is undetermined and what is left is listed.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from probe.stage import limits
from probe.stage.identify import Identified
from probe.stage.inputs import (
    InputDoubt,
    input_doubt,
    only_an_input,
    open_leg_reason,
    pair_reason,
)
from probe.stage.network import Complex
from probe.stage.observations import declared_ohm
from probe.stage.quantities import (
    Column,
    column,
    common_mode_band,
    level_known,
    nearest,
    open_take,
    reading,
    recorded,
    single_ended_take,
)
from probe.stage.words import ohms

Array = NDArray[np.float64]
Bools = NDArray[np.bool_]

KINDS = (
    "differential",
    "electronically-floating",
    "transformer-coupled",
    "ground-sensing",
    "impedance-balanced",
    "unbalanced",
    "pin-3-unconnected",
    "faulty",
    "undetermined",
)
NO_ROW = "no kind fits"
"""Working label of a draw that lies between the limits."""

SILENT_AS_OPEN = 1.0e-3
"""What a leg that is connected to nothing counts as carrying, where no open take tells."""

FOLLOW_LEAST = 0.01
"""A load must move its own leg by this share before the other's not moving says anything."""

CONTRADICTS = "contradicts the other takes"

FLOATING = ("electronically-floating", "transformer-coupled")
ONE_LEG = ("impedance-balanced", "unbalanced", "pin-3-unconnected", "ground-sensing")


@dataclass(frozen=True)
class Possible:
    """A kind and the share of draws in it; None where that share was not measured."""

    kind: str
    confidence: float | None


@dataclass(frozen=True)
class Verdict:
    """What the stage is.

    ``silent`` names the leg that carries no signal ("" where both do), ``hot_dead`` is True where
    the polarity shows that the silent hot leg is a dead one and not an exchanged cold one.
    """

    kind: str
    confidence: float
    also_possible: tuple[Possible, ...]
    driven_legs: str
    silent: str
    reasons: tuple[str, ...]
    hot_dead: bool = False
    in_phase: bool = False
    dead_leg: str = ""
    ratio: Complex | None = None
    """Cold over hot, (1 + D,), as the verdict used it."""
    by_inputs: bool = False
    """True where a silent leg may be the recorder's own input and nothing else."""


@dataclass(frozen=True)
class Evidence:
    """The discriminating quantities, each with its draws (1 + D,) or None where not measured."""

    ratio: Complex | None
    """Cold over hot as recorded in the open take."""
    hot: Column | None
    cold: Column | None
    common_mode_angle: Array | None
    """Angle of the common-mode impedance between 4 and 20 kHz, rad."""
    polarity: str
    follows: tuple[Array, ...] = ()
    """How far one leg moves with a load on the other, real part, one (1 + D,) a take."""
    over_single: float | None = None
    """Voltage between the legs over that of the single-ended output, as recorded."""
    clean: bool = True
    """False where takes contradict each other and it is not plain which: then no kind is stated."""
    input_ohm: float | None = None
    """Input impedance declared for the recorder."""
    inputs: InputDoubt | None = None
    """Where a floating pair's way to pin 1 may be the recorder's inputs alone."""


def gather(identified: Identified, polarity: str) -> Evidence:
    """Collect the evidence for a kind from a solved side."""
    return Evidence(
        _ratio(identified),
        column(identified, "hot"),
        column(identified, "cold"),
        _common_mode_angle(identified),
        polarity,
        follows=_follows(identified),
        over_single=_over_single(identified),
        clean=not identified.contradicted or _mended(identified),
        input_ohm=None if identified.group is None else declared_ohm(identified.group),
        inputs=input_doubt(identified),
    )


def _mended(identified: Identified) -> bool:
    """Whether a take was left out, and without it no other stands far off any more."""
    left = [u.residual for u in identified.uses if u.why_not is None and u.residual is not None]
    out = any(u.why_not == CONTRADICTS for u in identified.uses)
    return out and max(left, default=0.0) < limits.CONTRADICTION


def _follows(identified: Identified) -> tuple[Array, ...]:
    """What a load on one leg does to the other, as a share of what it does to its own.

    Near the coupling where the recorder draws little from the other leg; where the legs are
    separate it is nothing whatever their impedances are.
    """
    t = open_take(identified)
    if t is None or identified.group is None:
        return ()
    k = nearest(identified.group.hz)
    base = recorded(identified, t, k)
    found = []
    for other, observed in enumerate(identified.group.takes):
        ends = [{load.from_, load.to} for load in observed.phasors.take.loads]
        if len(ends) != 1 or "ground" not in ends[0] or not observed.recorded[:2].all():
            continue
        leg = (
            ("hot", "cold").index(next(iter(ends[0] - {"ground"}), ""))
            if (ends[0] & {"hot", "cold"})
            else None
        )
        if leg is None or k not in observed.tones:
            continue
        moved = recorded(identified, other, k) - base
        if abs(moved[0, leg]) > FOLLOW_LEAST * abs(base[0, leg]) > 0.0:
            found.append(np.asarray((moved[:, 1 - leg] / _some(moved[:, leg])).real))
    return tuple(found)


def _over_single(identified: Identified) -> float | None:
    t, s = open_take(identified), single_ended_take(identified)
    if t is None or s is None or identified.group is None:
        return None
    k = nearest(identified.group.hz)
    legs, single = recorded(identified, t, k)[0], recorded(identified, s, k)[0]
    takes = identified.group.takes
    if k not in takes[t].tones or k not in takes[s].tones or abs(single[2]) <= 0.0:
        return None
    drives = [float(takes[i].strength[np.searchsorted(takes[i].tones, k)]) for i in (t, s)]
    return float(abs(legs[0] - legs[1]) / abs(single[2]) * drives[1] / drives[0])


def _some(values: Complex) -> Complex:
    return np.asarray(np.where(np.abs(values) > 1e-12, values, 1e-12))


def _ratio(identified: Identified) -> Complex | None:
    """Cold over hot: as recorded in an open take, else open circuit where loads support both."""
    t = open_take(identified)
    if t is not None and identified.group is not None:
        volts = recorded(identified, t, nearest(identified.group.hz))
        return _quotient(volts[:, 1], volts[:, 0])
    if identified.legs is None:
        return None
    if identified.legs.open_leg is not None:
        silent = np.full(identified.draws + 1, SILENT_AS_OPEN, dtype=np.complex128)
        return silent if identified.legs.open_leg == 1 else 1.0 / silent
    k = nearest(identified.legs.hz)
    hot, cold = (reading(identified.legs, leg, "open", k) for leg in ("hot", "cold"))
    largest = max(hot.size, cold.size)
    if not level_known(hot, largest) or not level_known(cold, largest):
        return None
    return _quotient(cold.draws, hot.draws)


def _quotient(cold: Complex, hot: Complex) -> Complex:
    floor = 1e-9 * max(float(np.abs(hot).max()), float(np.abs(cold).max()), 1e-12)
    return np.asarray(cold / np.where(np.abs(hot) > floor, hot, floor))


def _common_mode_angle(identified: Identified) -> Array | None:
    """Median angle over the tones of the band at which the common mode is supported."""
    band = common_mode_band(identified)
    return None if band is None else np.asarray(np.median(np.angle(band[1]), axis=1))


def decide(evidence: Evidence) -> Verdict:
    """Name the stage from the evidence."""
    if evidence.ratio is None:
        return Verdict(
            "undetermined",
            1.0,
            tuple(Possible(k, None) for k in KINDS[:-2]),
            "none",
            "",
            ("no take hears both legs open while the device plays",),
        )
    size = np.abs(evidence.ratio)
    limit = 10.0 ** (limits.SILENT_LEG_DB / 20.0)
    if not evidence.clean:
        return _contradicted(evidence)
    if size[0] < limit:
        return replace(_one_leg(evidence, "cold"), ratio=evidence.ratio)
    if size[0] > 1.0 / limit:
        return replace(_one_leg(evidence, "hot"), ratio=evidence.ratio)
    return replace(_both_legs(evidence), ratio=evidence.ratio)


def _contradicted(evidence: Evidence) -> Verdict:
    """No kind is stated from takes of which at least one is not what it is declared to be."""
    possible = tuple(Possible(k, None) for k in KINDS[:-1])
    return Verdict(
        "undetermined",
        1.0,
        possible,
        "both-legs",
        "",
        ("takes contradict each other: no kind is stated until one of them is repeated",),
        ratio=evidence.ratio,
    )


def _summarise(
    labels: NDArray[np.str_],
    unmeasured: tuple[str, ...],
    driven: str,
    silent: str,
    reasons: list[str],
    **more: bool | str,
) -> Verdict:
    """Shares of the labels as a verdict; draws that no row fits are a fault only if nearly all."""
    names, counts = np.unique(labels[1:] if len(labels) > 1 else labels, return_counts=True)
    share = {str(n): float(c / counts.sum()) for n, c in zip(names, counts, strict=True)}
    none = float(share.pop(NO_ROW, 0.0))
    if none >= limits.DECIDED_SHARE:
        share["faulty"] = share.get("faulty", 0.0) + none
        reasons.append("no kind of output stage behaves like this")
    else:
        share["undetermined"] = share.get("undetermined", 0.0) + none
    known = {k: v for k, v in share.items() if k != "undetermined"}
    best = max(known, key=lambda k: known[k]) if known else "undetermined"
    listed = [
        Possible(k, v)
        for k, v in sorted(known.items(), key=lambda item: -item[1])
        if v >= limits.MENTIONED_SHARE
    ]
    if known and known[best] >= limits.DECIDED_SHARE:
        rest = tuple(p for p in listed if p.kind != best)
        return Verdict(best, known[best], rest, driven, silent, tuple(reasons), **more)  # type: ignore[arg-type]
    listed += [Possible(k, None) for k in unmeasured if k not in known]
    undetermined = share.get("undetermined", 0.0)
    return Verdict(
        "undetermined",
        undetermined,
        tuple(listed),
        driven,
        silent,
        tuple(reasons),
        **more,  # type: ignore[arg-type]
    )


def _one_leg(evidence: Evidence, silent: str) -> Verdict:
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
        return _summarise(labels, ONE_LEG, "one-leg", silent, reasons)
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
    if live is not None:
        alike = np.abs(np.log(size / np.maximum(np.abs(live.own.draws), 1e-9)))
        separate &= alike <= np.log(limits.ALIKE_RATIO)
    labels[separate] = "impedance-balanced"
    labels[sensing] = "ground-sensing"
    if back is not None:
        floats = sensing & (back > limits.COUPLING_FLOATING)
        labels[sensing & ~floats & (np.abs(back) > limits.COUPLING_SEPARATE)] = NO_ROW
        labels = _split_floating(labels, floats, evidence)
        labels[labels == FLOATING[0]] = "undetermined"
        if floats[0] and labels[0] == "undetermined":
            left = FLOATING
            reasons.append(_held(silent))
    bare = (labels == NO_ROW) & ~tied & only_an_input(own, evidence.input_ohm)
    labels[bare] = "undetermined"
    labels[tied] = "unbalanced"
    labels[open_share] = "pin-3-unconnected"
    if bare[0] and labels[0] == "undetermined":
        left = ("pin-3-unconnected", "faulty")
        reasons.append(open_leg_reason(evidence.input_ohm, own.own.value, f"the {silent} leg"))
    reasons[1:1] = _one_leg_reasons(own, live, silent, driven, labels)
    hot_dead = silent == "hot" and evidence.polarity == "pin-2-hot"
    if hot_dead:
        labels[:] = "faulty"
        reasons.append(
            "the driven cold leg is inverted against the single-ended output, so it is a cold leg "
            "and the hot leg is dead"
        )
    verdict = _summarise(labels, left, "one-leg", silent, reasons, hot_dead=hot_dead)
    return replace(verdict, by_inputs=bool(bare[0]) and verdict.kind == "undetermined")


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


def _held(leg: str) -> str:
    return (
        f"the pair floats, but something holds its {leg} leg near pin 1, which hides whether it is "
        "a winding"
    )


def _split_floating(
    labels: NDArray[np.str_], floats: Bools, evidence: Evidence
) -> NDArray[np.str_]:
    angle = evidence.common_mode_angle
    if angle is None:
        labels[floats] = "undetermined"
        return labels
    labels[floats & (angle < limits.TRANSFORMER_ANGLE_RAD)] = "transformer-coupled"
    labels[floats & (angle >= limits.TRANSFORMER_ANGLE_RAD)] = "electronically-floating"
    return labels


def _both_legs(evidence: Evidence) -> Verdict:
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
        return _summarise(labels, unmeasured, "both-legs", "", reasons, in_phase=bool(in_phase[0]))
    couplings = [c.coupling.real for c in columns]

    def every(test: Callable[[Array], Bools]) -> Bools:
        return np.asarray(np.all([test(k) for k in couplings], axis=0))

    floats = every(lambda k: k > limits.COUPLING_FLOATING)
    separate = every(lambda k: np.abs(k) <= limits.COUPLING_SEPARATE)
    tapped = every(lambda k: k < limits.COUPLING_TAPPED)
    labels = np.full(len(ratio), NO_ROW, dtype="U32")
    labels[tapped & ~in_phase] = "transformer-coupled"
    labels[separate & ~in_phase] = "differential"
    labels[separate & in_phase] = "faulty"
    joined, between = _joined(columns)
    labels = _split_floating(labels, floats & ~joined, evidence)
    doubt = evidence.inputs
    if doubt is not None and doubt.pair[0]:
        labels[np.isin(labels, FLOATING) & floats & doubt.pair] = "undetermined"
    faint = evidence.over_single is not None and evidence.over_single < limits.FLOATING_LEVEL
    held = bool(abs(db) > limits.FLOATING_RATIO_DB)
    if faint or held:
        labels[labels == FLOATING[0]] = "undetermined"
    short = floats & _winding_joined(between, evidence.over_single)
    labels[(labels == FLOATING[1]) & short] = "undetermined"
    reasons.append(_coupling_reason(couplings[0][0], columns[0]))
    if floats[0] and joined[0]:
        reasons[-1] = (
            f"the legs hang together, {ohms(between[0])} apart, but have only "
            f"{ohms(columns[0].own.size)} to pin 1, where a floating stage has hundreds: they look "
            "joined to each other, pin 2 to pin 3, in the device or in the lead"
        )
    elif floats[0] and held and labels[0] == "undetermined":
        reasons.append(_held("cold" if db < 0.0 else "hot"))
    elif floats[0] and short[0] and labels[0] == "undetermined":
        reasons.append(_short(between[0]))
    elif floats[0] and faint:
        reasons.append(
            "between the legs there is far less than at the single-ended output: a resistor that "
            "joins separate legs is the same at these terminals"
        )
    unsure = doubt is not None and bool(floats[0] and not joined[0] and doubt.pair[0])
    if doubt is not None and unsure:
        reasons.append(pair_reason(doubt))
    dead = _dead_leg(evidence, separate & in_phase)
    if labels[0] == "faulty":
        reasons.append("legs that do not know of each other should be in opposite phase")
    if labels[0] in FLOATING and evidence.common_mode_angle is not None and floats[0]:
        turn = np.degrees(evidence.common_mode_angle[0])
        reasons.append(
            f"its impedance to pin 1 has an angle of {turn:.0f} degrees at the top of the band: "
            + (
                "a winding's capacitance"
                if labels[0] == FLOATING[1]
                else "no winding's capacitance"
            )
        )
    if any(_width(k) > limits.COUPLING_SUPPORT for k in couplings):
        labels[labels == NO_ROW] = "undetermined"
    left: tuple[str, ...] = ()
    if floats[0] and not joined[0]:
        left = FLOATING if held or unsure or evidence.common_mode_angle is None else ()
        left = (FLOATING[0], "faulty") if faint and not left else left
        left = (FLOATING[1], "faulty") if short[0] and left != FLOATING else left
    return _summarise(
        labels,
        left,
        "both-legs",
        "",
        reasons,
        in_phase=bool(in_phase[0] and not floats[0]),
        dead_leg=dead,
    )


def _joined(columns: list[Column]) -> tuple[Bools, Array]:
    """Whether legs that hang together are held to pin 1 all the same, and ohm between them."""
    size = np.min([np.abs(c.own.draws) for c in columns], axis=0)
    apart = [c.beside.draws - c.other.draws for c in columns]
    between = np.abs(apart[0] + apart[-1])
    low = size < limits.FLOATING_OHM
    low |= (between < limits.JOINED_OHM) & (size < limits.JOINED_BELOW_OHM)
    return np.asarray(low), np.asarray(between)


def _winding_joined(between: Array, over_single: float | None) -> Bools:
    """Whether legs behind a winding may be joined: (1 + D,) ohm between them, and their level.

    They float either way, so only what is between them tells.
    """
    if over_single is None:
        return np.asarray(between < limits.JOINED_OHM)
    faint = over_single < limits.FLOATING_LEVEL
    return np.asarray((between < limits.WINDING_JOINED_OHM) & faint)


def _short(between: float) -> str:
    return (
        f"the legs are only {ohms(between)} apart: joined to each other, pin 2 to pin 3, in the "
        "device or in the lead, a winding looks the same at these terminals as one that steps down"
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
    return _summarise(labels, left, "both-legs", "", reasons, in_phase=bool(in_phase[0]))


FOLLOWS_FLOATING = 0.2
"""A leg that moves by this share with a load on the other is not a separate one."""


def _width(values: Array) -> float:
    """Half of what 95 % of the draws span."""
    low, high = np.quantile(values[1:] if len(values) > 1 else values, [0.025, 0.975])
    return float(high - low) / 2.0


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
    return _summarise(labels, (), "both-legs", "", reasons, in_phase=bool(in_phase[0]))


def _coupling_reason(coupling: float, one: Column) -> str:
    text = f"{coupling:.2f} of what is put on one leg appears on the other ({one.own.hz:.0f} Hz)"
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
