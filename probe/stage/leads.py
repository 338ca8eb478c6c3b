r"""Whether a recorder input holds another capacitance, with its lead, than was declared.

What the leads hold is taken off every take alike, so most takes cannot tell it from the stage's
own. A take in which a leg is bare can: the same stage has so much less on that leg, which of a
pair that floats moves what the other leg shows. Where the takes agree less than levels that move
between them allow, it is asked which capacitance would explain it, by Gauss-Newton with the stage
left free::

    r(x) ~ r(0) + d x,    x = - Re(dᴴ r) / dᴴ d

with ``d`` from solving the takes with that input changed; one input after the other, the one that
explains most first.

An input that is on its leg in every take is told by none. Leads come in pairs: it may be off by as
much, or by nothing, or by anything that leaves the stage a capacitance to pin 1 that one can have.
And where an input seems to hold less than declared, a lead that was left on the leg where the
others have it bare looks the same. What may be is solved each way.

A way to pin 1 with less than no capacitance tells, too, that inputs hold less than declared, though
not how much less. Where steps from what is declared lead nowhere, others are begun from less.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from probe.phasors.model import Remark, TakePhasors
from probe.session.model import Session, Side
from probe.stage import limits
from probe.stage.agreement import (
    AT_REST,
    EXPLAINED,
    STANDS_OUT,
    shares,
    stated_level,
    worst_share,
)
from probe.stage.align import Alignment, align
from probe.stage.fitted import LEGS, Fit
from probe.stage.inputs import WINDING_FARAD
from probe.stage.network import Complex
from probe.stage.observations import Group, holding, leg_inputs, with_holding
from probe.stage.quantities import common_mode_band
from probe.stage.side import Identified, solve_side
from probe.stage.solve import fit
from probe.stage.takes import played_group
from probe.stage.way_to_pin1 import below_nothing, room

Array = NDArray[np.float64]

STEP_FARAD = 1.0e-10
"""Change by which the effect of an input is found: small beside what a stage of some hundred ohm
shows at 20 kHz, large beside rounding."""

SIGMAS = 6.0
"""A capacitance this many standard deviations from the declared one is not as declared: once in
500 million where errors are normal."""

MOST_FARAD = 1.0e-8
"""Leads hold 100 to 200 pF a metre; beyond 50 m of them it is no lead."""

SURELY = 0.99
"""Share of the draws in which the way to pin 1 must have less than no capacitance: noise alone has
that now and then."""

HELPS = 0.5
"""Share of the power that stood out which must be gone before takes are placed anew with what leads
were found to hold: what levels did that moved, no lead explains."""

MOST_OTHER = 3.0e-9
"""What another lead may hold more than declared, where nothing tells: 20 to 30 m of it."""

PLACED = 3
"""How often takes whose delays were found with the declared leads are placed anew with others."""

SHOWN = 0.01
"""Standard deviations that ``STEP_FARAD`` must show at least: what shows less, nothing tells."""

TELLS = 1.0
"""The same, squared, of an input whose figure is taken from takes alone, whatever was declared."""

LEFT_OUT = 0.02
"""Doubt of a leg beside one that may not be bare, relative: ten times what levels move between
takes, so that it weighs a hundredth of the others, and still little enough to be placed in time."""

ROUNDS = 3
"""Steps of Gauss-Newton: the second is already within a thousandth."""


@dataclass(frozen=True)
class Holding:
    """What an input holds that was declared to hold something else, farad."""

    channel: int
    declared: float
    found: float


@dataclass(frozen=True)
class Way:
    """What the leads may hold more than declared, by channel, farad.

    ``left_on``: legs on which a lead may hang in takes that do not record them.
    """

    inputs: Mapping[int, float]
    left_on: tuple[str, ...] = ()


@dataclass(frozen=True)
class Leads:
    """Inputs that takes show to hold something else than declared; all that it may be.

    The first of ``ways`` is the likeliest: leads that are alike, or one that was left on.
    """

    told: tuple[Holding, ...]
    ways: tuple[Way, ...]


def leads_of(found: Identified, stated: float) -> Leads | None:
    """Return what the leads hold, where the takes tell that it is not what was declared."""
    if found.aligned is None or found.first is None:
        return None
    near = None
    if worst_share(found.first) > STANDS_OUT:
        near = _nearby(found.aligned, found.first, stated)
    return _from_afar(found, stated) if near is None and _backwards(found) else near


def _nearby(aligned: Alignment, solved: Fit, stated: float) -> Leads | None:
    """Return what the leads hold by steps from what is declared."""
    group = aligned.group
    most = max(EXPLAINED * worst_share(solved), AT_REST)
    for _ in range(PLACED):
        told, left = _explaining(group, solved, stated)
        if told and worst_share(left) <= most:
            return _reckoned(group, told, _room(group, left))
        if not told or not aligned.free or worst_share(left) > HELPS * worst_share(solved):
            return None
        placed = align(with_holding(group, told), level=stated)
        if placed.unplaced:
            return None
        group = group.rotated(placed.delays)
        solved = fit(group, LEGS, level=stated, thorough=True)
    return None


def _backwards(found: Identified) -> bool:
    """Whether the legs' way to pin 1 has less than no capacitance by what is declared."""
    band = common_mode_band(found)
    if band is None:
        return False
    below = below_nothing(*band)
    return bool(below[0]) and float(np.mean(below[1:])) > SURELY


def _from_afar(found: Identified, stated: float) -> Leads | None:
    """Return what leads hold that hold less than declared, sought from nothing and from half of it.

    Leads far off place takes wrongly. Where the takes tell nothing from there either, but what is
    declared leaves less than nothing of the stage, all inputs alike hold less.
    """
    group = played_group(tuple(p for p in found.takes if p.take.state == "play"))
    if group is None:
        return None
    declared = _declared(group)
    most = max(declared.values())
    for m in (-most, -0.5 * most):
        leads = _started(group, {c: max(m, -d) for c, d in declared.items()}, stated)
        if leads is not None:
            return leads
    if found.aligned is None or found.first is None:
        return None
    return _less(declared, _room(found.aligned.group, found.first))


def _started(group: Group, more: dict[int, float], stated: float) -> Leads | None:
    """Return what leads hold, from inputs that hold so much more; None if takes disagree."""
    placed = align(with_holding(group, more), level=stated)
    if placed.unplaced:
        return None
    at, told = placed.group, dict[int, float]()
    solved = fit(at, LEGS, level=stated, thorough=True)
    told_of = _told_of(at)
    while rest := [c for c in told_of if c not in told]:
        shown = {c: _shown(at, c, told, solved, stated) for c in rest}
        best = max(rest, key=lambda c: shown[c])
        if shown[best] < TELLS:
            break
        step = _alone(at, best, told, solved, stated)
        told[best], solved = (0.0, solved) if step is None else (step.more, step.solved)
    if not told or worst_share(solved) > AT_REST or worst_share(solved) <= 0.0:
        return None
    others = {c: m for c, m in more.items() if c not in told}
    all_told = {c: more[c] + m for c, m in told.items()}
    if max(map(abs, all_told.values())) > MOST_FARAD:
        return None
    legs = sum(bool(on & others.keys()) for on in leg_inputs(at))
    left = _room(at, solved) + legs * max(others.values(), default=0.0)
    return _reckoned(_declared_again(at, more), all_told, left)


def _declared_again(group: Group, more: dict[int, float]) -> Group:
    return with_holding(group, {c: -m for c, m in more.items()})


def _told_of(group: Group) -> list[int]:
    """Inputs that are on their leg in some takes and not in others: of no other takes tell."""
    always = [
        frozenset(c for c, name in enumerate(o.phasors.take.channels) if name in ("hot", "cold"))
        for o in group.takes
    ]
    return sorted(frozenset().union(*always) - frozenset.intersection(*always))


def _shown(group: Group, channel: int, told: dict[int, float], solved: Fit, stated: float) -> float:
    """Return what takes show of ``STEP_FARAD`` more on an input, standard deviations squared."""
    ahead = _solved(group, {**told, channel: told.get(channel, 0.0) + STEP_FARAD}, solved, stated)
    return float(np.sum(np.abs(ahead.residual - solved.residual) ** 2))


def _declared(group: Group) -> dict[int, float]:
    """Return what the inputs on the legs are declared to hold, by channel, farad."""
    inlets = {c: i for o in group.takes for c, i in enumerate(o.phasors.take.inputs)}
    return {c: inlets[c].capacitance_farad for c in _channels(group)}


def _room(group: Group, solved: Fit) -> float:
    """Capacitance that may be taken off both legs together, farad (`way_to_pin1.room`)."""
    hz, ohm = group.hz, solved.theta[:, 1, 2]
    band = (hz >= limits.TRANSFORMER_BAND_HZ[0]) & (hz <= limits.TRANSFORMER_BAND_HZ[1])
    band &= np.abs(ohm) > 1e-9
    return float(room(hz[band], ohm[None, band])[0]) if band.any() else np.inf


def _less(declared: dict[int, float], left: float) -> Leads:
    """All inputs alike hold less: from what leaves a winding's least, to nothing."""
    most = max(declared.values())
    least = min((WINDING_FARAD - left) / 2.0, most)
    ways = [
        Way({c: -min(m, d) for c, d in declared.items()})
        for m in ((least + most) / 2.0, least, most)
    ]
    return Leads((), tuple(ways))


def _explaining(group: Group, solved: Fit, stated: float) -> tuple[dict[int, float], Fit]:
    """Return what inputs hold beside what is declared, by channel, and the takes solved with it."""
    told: dict[int, float] = {}
    while worst_share(solved) > AT_REST:
        rest = [c for c in _channels(group) if c not in told]
        trials = [t for c in rest if (t := _alone(group, c, told, solved, stated)) is not None]
        if not trials:
            break
        best = min(trials, key=lambda t: _power(t.solved))
        told[best.channel], solved = best.more, best.solved
    return told, solved


def _channels(group: Group) -> list[int]:
    return sorted(frozenset().union(*leg_inputs(group)))


@dataclass(frozen=True)
class _Trial:
    channel: int
    more: float
    solved: Fit


def _alone(
    group: Group, channel: int, told: dict[int, float], solved: Fit, stated: float
) -> _Trial | None:
    """Return what one input holds beside those that are told; None where nothing shows it."""
    more = doubt = 0.0
    for _ in range(ROUNDS):
        ahead = _solved(group, {**told, channel: more + STEP_FARAD}, solved, stated)
        slope = (ahead.residual - solved.residual) / STEP_FARAD
        shown = float(np.sum(np.abs(slope) ** 2))
        if shown * STEP_FARAD**2 < SHOWN:
            return None
        doubt = _doubt(group, slope, shown)
        more -= float(np.sum(np.conj(slope) * solved.residual).real) / shown
        if abs(more) > MOST_FARAD:
            return None
        solved = _solved(group, {**told, channel: more}, solved, stated)
    doubt *= np.sqrt(max(float(np.median(shares(solved))), 1.0))
    return _Trial(channel, more, solved) if abs(more) > SIGMAS * doubt else None


def _doubt(group: Group, slope: Complex, shown: float) -> float:
    """Return the standard uncertainty of what an input holds, farad, for residuals as weighed.

    A level error is one real factor of a row at all tones, so what it does to the slopes of that
    row adds up over the tones; beside it each tone has an error of its own.
    """
    levels = np.zeros(slope.shape[0::2])
    for t, observed in enumerate(group.takes):
        volts = observed.volts[:, :2]
        turn = volts / np.maximum(np.abs(volts), 1e-300)
        levels[t] = np.sum((slope[t, observed.tones] * np.conj(turn)).real, axis=0)
    return float(np.sqrt(np.sum(levels**2) + shown) / shown)


def with_leads(
    session: Session, phasors: tuple[TakePhasors, ...], found: Identified, seed: int
) -> tuple[tuple[TakePhasors, ...], Identified, tuple[tuple[TakePhasors, ...], ...]]:
    """Return takes and side with what the leads hold, where it is not what was declared.

    The third are the takes with whatever else the leads may hold.
    """
    leads = leads_of(found, stated_level(session))
    if leads is None:
        return phasors, found, ()
    ways = tuple(tuple(_applied(p, way) for p in phasors) for way in leads.ways)
    again = solve_side(session, ways[0], found.side, found.draws, seed)
    said = _said(leads, found.side)
    return ways[0], replace(again, remarks=(*again.remarks, said)), ways[1:]


def _said(leads: Leads, side: Side) -> Remark:
    held = " and ".join(
        f"input {h.channel + 1} holds {_pico(h.found)} with its lead, {_pico(h.declared)} declared"
        for h in leads.told
        if h.found >= 0.0
    )
    legs = " and ".join(leads.ways[0].left_on)
    left = f"a lead was left on {legs} where no input is" if legs else ""
    less = "" if leads.told else "the inputs hold less with their leads than declared"
    agree = ", or if ".join(filter(None, (held, left, less)))
    several = (
        ", and figures that would be others hold all that may be: no take tells of an input that "
        "is on its leg in all of them"
        if leads.ways[1:]
        else ""
    )
    return Remark(
        "lead-not-as-declared",
        "",
        f"takes ({side}) agree only if {agree}. That was reckoned with{several}. Check the leads "
        "and the capacitance in the session, lead included; probe calibrate measures it",
    )


def _pico(farad: float) -> str:
    return f"{1e12 * farad:.0f} pF"


def _power(solved: Fit) -> float:
    return float(np.sum(np.abs(solved.residual) ** 2))


def _solved(group: Group, more: dict[int, float], start: Fit, stated: float) -> Fit:
    return fit(with_holding(group, more), LEGS, level=stated, start=start)


def _reckoned(group: Group, told: dict[int, float], left: float) -> Leads | None:
    """Return what is told, and of the other leads all that they may hold; None if nothing may be.

    ``left`` is the room of the pair's way to pin 1 with what is told, the others as declared: they
    hold no more than leaves a winding's least.
    """
    now = _declared(group)
    holdings = tuple(Holding(c, now[c], now[c] + m) for c, m in sorted(told.items()))
    others = [c for c in now if c not in told]
    ways = [Way({**dict.fromkeys(others, more), **told}) for more in _others(group, told, left)]
    left_on = tuple(
        leg
        for leg, on in zip(("hot", "cold"), leg_inputs(group), strict=True)
        if any(m < 0.0 and c in on for c, m in told.items())
    )
    if left_on and left + sum(m for m in told.values() if m < 0.0) > 0.0:
        ways.insert(0, Way({c: m for c, m in told.items() if m > 0.0}, left_on))
    possible = [w for w in ways if all(now[c] + m >= -1e-18 for c, m in w.inputs.items())]
    return Leads(holdings, tuple(possible)) if possible else None


def _others(group: Group, told: dict[int, float], left: float) -> list[float]:
    """Return what the other leads may hold more than declared, farad; the likeliest first."""
    now = _declared(group)
    others = [c for c in now if c not in told]
    if not others:
        return [0.0]
    alike = max(told.values(), key=abs)
    legs = sum(bool(on.intersection(others)) for on in leg_inputs(group))
    low = max(-min(now[c] for c in others), -MOST_OTHER) if alike < 0.0 else 0.0
    high = max(min((left - WINDING_FARAD) / max(legs, 1), max(MOST_OTHER, alike)), low)
    likely = alike if low <= alike <= high else 0.0 if low <= 0.0 <= high else (low + high) / 2.0
    tried = (likely, low, (low + high) / 2.0, high, 0.5 * alike, 0.0)
    return list(dict.fromkeys(m for m in tried if low <= m <= high))


def _applied(p: TakePhasors, way: Way) -> TakePhasors:
    """Return a take with what its leads hold; as good as left out where a leg may not be bare."""
    p = holding(p, way.inputs)
    if not way.left_on or set(way.left_on) <= set(p.take.channels):
        return p
    noise = p.noise.copy()
    for c, name in enumerate(p.take.channels):
        if name in ("hot", "cold"):
            noise[:, c, c] += (LEFT_OUT * np.abs(p.volts[:, c])) ** 2
    return replace(p, noise=noise)
