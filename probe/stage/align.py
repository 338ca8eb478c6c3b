r"""One phase reference for takes that have none: an unknown delay per take, found with the stage.

A delay of ``tau`` seconds turns a tone of ``f`` Hz by ``exp(-2 pi j f tau)``. Two steps:

1. Candidates from phases alone: the delays that bring a take's least disturbed signal onto that
   of the first take at most of the tones. A dried coupling capacitor turns low tones by more than
   any delay could, so the measure saturates: a few tones may disagree.                       (1)
2. The choice among candidates, and the last nanoseconds, by the joint residual of all takes with
   the stage left free (variable projection, Gauss-Newton): only that knows which part of a turned
   phase belongs to the device.                                                               (2)

Where the takes are exactly as many as the unknowns, (2) cannot see a delay; then (1) stands with
its own uncertainty, and the draws carry it on.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from probe.stage.agreement import STANDS_OUT, shares
from probe.stage.delays import (
    PLAIN_COST,
    SAME_TURN,
    WINDING_SHARE,
    Options,
    candidates,
    differ,
    falls_with_the_other,
    heard,
    loaded_by,
    prior_of,
    rank,
    rivals_of,
    spread,
    turned_by_loads,
)
from probe.stage.fitted import LEGS, Fit, flat
from probe.stage.forward import predict
from probe.stage.network import Complex
from probe.stage.observations import Group, Observed, has_reference
from probe.stage.realise import Excited, excitation
from probe.stage.solve import fit
from probe.stage.stream import one_stream, stream_delays

Array = NDArray[np.float64]

RIVAL_COST = 2.0
"""A delay at which this many more tones disagree than at the best one is no rival to it."""

NO_CHANCE = 9.0
"""Fewer tones in agreement than this may be chance: of a dozen a wrong delay brings five or six
together as a rule, in one of some hundred simulated sessions seven to eight."""

TONES_OUT = 2
"""Tones that contradict each other with a take which agrees no better than by chance, from which on
its delay is none. The lowest tone alone may be one at which the solve is stuck."""

PHASE_LEVEL = 1.0e-4
"""Weight of the takes against each other when a delay is found: a level that moves between takes
does not turn phases, which repeat to a ten-thousandth of a radian."""

JOINT_STEPS = 6

MUCH_BETTER = 0.5
"""Share of the residual power below which a solve that leaves leakage open stands."""

EXACT = 1.0e-12
"""Whitened residual power (one a row is noise) of a solve that fits to rounding: none is better."""

TURNED_BACK = 0.5
"""Share of what leakage may turn from which the joint solve is begun once more."""

TELLING = 2.0
"""A delay must fit better by this much (log of residual power, over the tones) to be preferred."""

CONFLICT_S = 1.0e-6
"""A delay from phases and one from what the stage predicts that differ by more than this are in
conflict: some hundredths of a radian at 20 kHz turn a delay by less."""

SHARED_CLOCK = 1.0e-8
"""A clock error below this, relative, is none: player and recorder are one device."""

SNAP_SAMPLES = 0.1
"""Delays all within this many samples of whole ones are whole: by chance seven are once in 10⁵."""

SNAP_SHARE, SNAP_REST = 0.7, 0.4
"""So are they where this share of them is that close and the rest within this many samples: a take
that hears one leg of a floating pair is aligned no better. One further off, turned by a winding's
leakage, is put on the whole sample with which the takes agree best."""

SNAP_WORSE = 25.0
"""... unless the takes then agree this many times worse (residual power): a tenth of a sample is a
quarter of a radian at 20 kHz, and phases repeat to a ten-thousandth."""


@dataclass(frozen=True)
class Alignment:
    """Delays that were taken out of the takes, and what is still open about them.

    Attributes
    ----------
    group
        The takes on one phase reference.
    delays
        Shape (T,), s: what was removed from each take.
    gain
        Shape (F, T, T·2), complex: how the joint residual of a draw moves the delays, or None where
        the phase reference was given.
    seen
        The fit whose whitened residual ``gain`` works on.
    pull
        Shape (T, T): how an error of the phases-only delays (standard deviation ``stray``, s,
        shape (T,)) moves the delays.
    free
        True where delays were estimated (nothing but the takes themselves for a reference).
    unplaced
        Names of takes that were left out, because several delays serve them alike.
    """

    group: Group
    delays: Array
    gain: Complex | None
    seen: Fit | None
    pull: Array
    stray: Array
    free: bool
    unplaced: tuple[str, ...] = ()

    def only(self, names: Collection[str]) -> Alignment:
        """Return some of the takes as they were placed together, their delays taken as known."""
        keep = [t for t, o in enumerate(self.group.takes) if o.name in names]
        takes = tuple(self.group.takes[t] for t in keep)
        none = np.zeros(len(keep))
        return Alignment(
            replace(self.group, takes=takes),
            self.delays[keep],
            None,
            None,
            np.eye(len(keep)),
            none,
            free=self.free,
            unplaced=self.unplaced,
        )


def align(group: Group, *, level: float) -> Alignment:
    """Put the takes of a group on one phase reference.

    In order of preference: a recorded drive, one running stream, an unknown delay per take.
    ``level`` is the repeatability between takes (relative), used to choose between candidates.
    """
    count = len(group.takes)
    none = np.zeros(count)
    if count < 2 or all(has_reference(o) for o in group.takes):
        return Alignment(group, none, None, None, np.eye(count), none, free=False)
    if one_stream(group):
        return along_stream(group, none)
    return placed_freely(group, level)


def along_stream(group: Group, earlier_s: Array) -> Alignment:
    """Return takes of one stream by their declared starts, each so much earlier, shape (T,), s."""
    delays, stray = stream_delays(group)
    delays = delays + earlier_s
    return replace(_joint(group.rotated(delays), stray, delays), free=False)


def _worth(observed: Observed) -> tuple[int, int]:
    return int(observed.recorded[:2].sum()), int((observed.strength > 0).sum())


def placed_freely(group: Group, level: float) -> Alignment:
    """Place takes by themselves: those whose phases agree plainly first, then the others.

    The others are aligned against what the stage solved from the first ones predicts for them.
    """
    first = max(range(len(group.takes)), key=lambda t: _worth(group.takes[t]))
    legs = group.takes[first].recorded[:2]
    options = [
        candidates(group.takes[first], o, group.hz, t == first) for t, o in enumerate(group.takes)
    ]
    plain = [
        t
        for t, o in enumerate(group.takes)
        if (o.recorded[:2] == legs).all() and options[t][0][0] < PLAIN_COST
    ]
    delays = np.array([o[0][1] for o in options])
    stray = np.full(len(group.takes), prior_of(group.hz))
    turned, tapped = _turned(group, first)
    stray = np.hypot(stray, turned * tapped)
    stray[first] = 0.0
    inner = replace(group, takes=tuple(group.takes[t] for t in plain))
    for t in plain:
        stray[t] = max(stray[t], spread(options[t], group.hz))
    delays[plain] = _choose(inner, [options[t] for t in plain], level)
    solved = _joint_of_both(inner, stray[plain], delays[plain], turned[plain])
    delays[plain] = solved.delays
    rest = [t for t in range(len(group.takes)) if t not in plain]
    if not rest:
        lost = _unplaced(group, options, delays, level)
        return _snapped(solved, level) if lost is None else _without(group, lost, level)
    theta = fit(solved.group, LEGS, level=level).theta
    own = list(options)
    for t in rest:
        options[t] = sorted(_against_prediction(group, t, theta) + options[t], key=rank)
        if not (group.takes[t].recorded & heard(group.takes[t]))[:2].any():
            options[t] = options[t][:1]
    _predicted_in_turn(group, options, rest, level)
    delays[rest] = [options[t][0][1] for t in rest]
    ordered = [[(min(c for c, _ in o), d), *o] for d, o in zip(delays, options, strict=True)]
    delays = _choose(group, ordered, level)
    lost = _unplaced(group, ordered, delays, level)
    if lost is not None:
        return _without(group, lost, level)
    for t in rest:
        delays[t], doubt = _centred(group, t, own[t], delays[t], solved, level)
        stray[t] = np.hypot(doubt, turned[t] * tapped)
    found = _snapped(_joint_of_both(group, stray, delays, turned), level)
    lost = _by_chance(found, [ordered[t][0][0] for t in range(len(delays))], level)
    return found if lost is None else _without(group, lost, level)


def _turned(group: Group, first: int) -> tuple[Array, bool]:
    """Return by how much leakage may turn each delay, shape (T,), s; whether a tap is on pin 1."""
    base = group.takes[first]
    falls = [falls_with_the_other(base, o) for o in group.takes]
    if max(map(abs, falls)) < WINDING_SHARE:
        return np.zeros(len(group.takes)), False
    turned = np.array([turned_by_loads(loaded_by(base, o), group.hz) for o in group.takes])
    return turned, max(falls) >= WINDING_SHARE


def _by_chance(found: Alignment, costs: list[float], level: float) -> int | None:
    """Return the take that agrees least, if by chance, and tones contradict each other with it."""
    hz = found.group.hz
    worst = int(np.argmax(costs))
    if len(hz) - costs[worst] >= NO_CHANCE:
        return None
    share = shares(fit(found.group, LEGS, level=level, thorough=True))
    out = np.sum(share > STANDS_OUT * np.maximum(share.min(initial=np.inf), 1.0))
    return worst if out >= TONES_OUT else None


def _without(group: Group, lost: int, level: float) -> Alignment:
    without = align(group.without(lost), level=level)
    return replace(without, unplaced=(group.takes[lost].name, *without.unplaced))


def _snapped(found: Alignment, level: float) -> Alignment:
    """Whole samples, where player and recorder share a clock and every delay is next to one."""
    takes = [o.phasors for o in found.group.takes]
    shared = all(abs(p.clock_error) < max(5.0 * p.clock_u, SHARED_CLOCK) for p in takes)
    rates = {p.take.sample_rate for p in takes}
    if not shared or len(rates) != 1:
        return found
    rate = rates.pop()
    samples = found.delays * rate
    whole = np.round(samples)
    apart = np.abs(samples - whole)
    most = np.mean(apart < SNAP_SAMPLES) >= SNAP_SHARE and np.sum(apart < SNAP_SAMPLES) >= 4
    if not (np.max(apart) < SNAP_SAMPLES or most):
        return found
    delays = _agreeing(found, whole, rate, level) / rate
    group = found.group.rotated(delays - found.delays)
    solved = fit(group, LEGS, level=PHASE_LEVEL, excited=excitation(group))
    chance = max(_power(found), float(np.sum(solved.spare)))
    if float(np.sum(np.abs(solved.residual) ** 2)) > SNAP_WORSE * chance:
        return found
    none = np.zeros(len(delays))
    return Alignment(group, delays, None, None, np.eye(len(delays)), none, free=True)


def _agreeing(found: Alignment, whole: Array, rate: int, level: float) -> Array:
    """Put delays about half-way between whole samples on the one with which the takes agree."""
    excited = excitation(found.group)

    def misfit(samples: Array) -> float:
        return _misfit(found.group.rotated(samples / rate - found.delays), level, excited)

    for t in np.flatnonzero(np.abs(found.delays * rate - whole) > SNAP_REST):
        other = whole.copy()
        other[t] += np.sign(found.delays[t] * rate - whole[t])
        whole = other if misfit(other) < misfit(whole) else whole
    return whole


def _predicted_in_turn(group: Group, options: list[Options], rest: list[int], level: float) -> None:
    """Add to the options of takes whose phases agree with nothing yet what others predict for them.

    A load on a leg that the takes aligned so far say nothing of turns phases as it likes; the take
    that agrees best with what is known of the stage shows more of it, and so the next one.
    """
    legs = {t for t in rest if (group.takes[t].recorded & heard(group.takes[t]))[:2].any()}
    waiting = {t for t in legs if options[t][0][0] >= PLAIN_COST}
    while len(waiting) > 1:
        waiting.discard(min(waiting, key=lambda t: options[t][0][0]))
        placed = [t for t in range(len(group.takes)) if t not in waiting]
        turned = group.rotated(np.array([o[0][1] for o in options]))
        known = replace(turned, takes=tuple(turned.takes[t] for t in placed))
        theta = fit(known, LEGS, level=level).theta
        for t in waiting:
            options[t] = sorted(_against_prediction(group, t, theta) + options[t], key=rank)
        waiting = {t for t in waiting if options[t][0][0] >= PLAIN_COST}


def _against_prediction(group: Group, t: int, theta: Complex) -> Options:
    """Delays of a take against what the stage, as solved without it, predicts for it."""
    observed = group.takes[t]
    if not (observed.recorded & heard(observed))[:2].any():
        return []
    predicted = replace(observed, volts=predict(observed, theta))
    return candidates(predicted, observed, group.hz, False)


def _centred(
    group: Group, t: int, own: Options, tau: float, solved: Alignment, level: float
) -> tuple[float, float]:
    """Delay of a take and its standard uncertainty before the joint solve.

    Where its phases alone say another delay than the prediction did, the surer one counts: what
    the delays of the takes behind the prediction leave open moves the prediction.
    """
    prior = prior_of(group.hz)
    cost, mine = min(own, key=lambda one: abs(one[1] - tau))
    apart = abs(mine - tau)
    if not CONFLICT_S < apart < SAME_TURN / group.hz[-1]:
        return tau, prior
    doubt = prior * np.sqrt(1.0 + cost)
    return (tau, prior) if _moved(group, t, tau, solved, level) < doubt else (mine, doubt)


def _moved(group: Group, t: int, tau: float, solved: Alignment, level: float) -> float:
    """Standard uncertainty (s) of a predicted delay from those of the takes that predict it."""
    covariance = solved.pull * solved.stray[None, :] ** 2
    size, ways = np.linalg.eigh((covariance + covariance.T) / 2.0)
    steps = np.sqrt(np.maximum(size, 0.0)) * ways
    total = 0.0
    for step in steps.T:
        if np.max(np.abs(step)) < 0.1 * np.max(np.abs(steps)):
            continue
        theta = fit(solved.group.rotated(step), LEGS, level=level).theta
        found = [at - tau for _, at in _against_prediction(group, t, theta)]
        total += min((d * d for d in found), default=0.0)
    return float(np.sqrt(total))


def _misfit(group: Group, level: float, excited: Excited) -> float:
    solved = fit(group, LEGS, level=level, excited=excited)
    return float(np.sum(np.log1p(np.sum(np.abs(solved.residual) ** 2, axis=(0, 2)))))


def _choose(group: Group, options: list[Options], level: float) -> Array:
    """Delays of the candidates with the least joint residual, take by take from the best ones.

    Where the joint residual is as small as the noise there is nothing to choose. A candidate that
    is the delay at hand, found once more, is no rival.
    """
    delays = np.array([o[0][1] for o in options])
    excited = excitation(group)
    best = _misfit(group.rotated(delays), level, excited)
    if best < len(group.hz):
        return delays
    for t, found in enumerate(options):
        for cost, tau in found[1:]:
            if cost > found[0][0] + RIVAL_COST or not differ(group.hz, tau, delays[t]):
                continue
            trial = delays.copy()
            trial[t] = tau
            misfit = _misfit(group.rotated(trial), level, excited)
            if misfit < best - TELLING:
                best, delays = misfit, trial
    return delays


def _unplaced(group: Group, options: list[Options], delays: Array, level: float) -> int | None:
    """Return the take whose phases agree least, if neither they nor the others tell its delay.

    At a quite different delay as many tones agree and the joint residual is no larger: the stage
    bends to any of them, and each makes another stage of it.
    """
    rivals = [rivals_of(o, delays[t], group.hz) for t, o in enumerate(options)]
    doubtful = sorted((-options[t][0][0], t) for t, found in enumerate(rivals) if found)
    excited = excitation(group) if doubtful else None
    for _, t in doubtful:
        if excited is None or not (group.takes[t].recorded & heard(group.takes[t]))[:2].any():
            continue
        best = _misfit(group.rotated(delays), level, excited)
        for tau in rivals[t]:
            trial = delays.copy()
            trial[t] = tau
            if _misfit(group.rotated(trial), level, excited) < best + TELLING:
                return t
    return None


def _joint_of_both(group: Group, stray: Array, delays: Array, turned: Array) -> Alignment:
    """Solve jointly, and where leakage may turn takes with that left open too; the better fit.

    Sizes show the square of a reactance first, and the solve may end at the leakage's mirror image:
    so it is begun from the other side as well. Left open without need, a delay would follow levels
    that moved between takes; of a tapped winding ``stray`` leaves it open throughout.
    """
    found = _joint(group.rotated(delays), stray, delays)
    if not turned.any() or _power(found) < EXACT:
        return found
    wide = np.hypot(stray, turned)
    for begin in (delays, delays - TURNED_BACK * turned):
        again = _joint(group.rotated(begin), wide, begin)
        if _power(again) < MUCH_BETTER * _power(found):
            found = again
    return found


def _power(aligned: Alignment) -> float:
    assert aligned.seen is not None
    return float(np.sum(np.abs(aligned.seen.residual) ** 2))


def _joint(group: Group, stray: Array, delays: Array) -> Alignment:
    """Gauss-Newton on the delays with the stage projected out (2).

    A step that mends nothing is halved. Residuals larger than their weights allow (levels that
    moved between takes) count for less against the phases alone: by the Birge ratio, the residual
    power per spare row (R. T. Birge, Phys. Rev. 40, 1932, p. 207).
    """
    excited = excitation(group)
    start = group
    moved = np.zeros(len(delays))
    step = np.zeros(len(delays))
    least = np.inf
    kept: tuple[Group, Fit, Complex, Array, Array] | None = None
    prior = np.where(stray > 0.0, 1.0 / np.maximum(stray, 1e-12), 0.0)
    for _ in range(JOINT_STEPS):
        trial = start.rotated(moved + step)
        solved = fit(trial, LEGS, level=PHASE_LEVEL, excited=excited, start=kept and kept[1])
        power = float(np.sum(np.abs(solved.residual) ** 2))
        misfit = power + float(np.sum((prior * (moved + step)) ** 2))
        if misfit > least:
            step = step / 2.0
            continue
        least, moved = misfit, moved + step
        excess = max(power / max(float(np.sum(solved.spare)), 1.0), 1.0)
        gain, pull = _delay_gain(trial, solved, stray / np.sqrt(excess))
        kept = trial, solved, gain, pull, moved
        step = -np.einsum("fta,fa->t", gain, flat(solved.residual)).real - pull @ moved
        step = np.clip(step, -2e-5, 2e-5)
        if np.max(np.abs(step)) < 1e-11:
            break
    assert kept is not None
    trial, solved, gain, pull, moved = kept
    return Alignment(trial, delays + moved, gain, solved, pull, stray, free=True)


def _delay_gain(group: Group, solved: Fit, stray: Array) -> tuple[Complex, Array]:
    """Response of the delays to the whitened residual (F, T, T·2), and to the prior (T, T).

    A delay turns voltages and currents alike, so it moves the residual by ``j w W s Voc`` only.
    """
    takes, tones, size = solved.residual.shape
    omega = 2.0 * np.pi * group.hz
    strength = np.zeros((takes, tones))
    for t, observed in enumerate(group.takes):
        strength[t, observed.tones] = observed.strength
    rows = solved.whitener[:takes] @ solved.block.rows
    slope = np.einsum("tfar,fr->tfa", rows, solved.theta[:, :, 0])
    slope = 1j * omega[None, :, None] * strength[:, :, None] * slope
    derivative = np.zeros((tones, takes * size, takes), dtype=np.complex128)
    for t, observed in enumerate(group.takes):
        if not (heard(observed) & observed.recorded)[:2].any():
            continue
        derivative[:, t * size : (t + 1) * size, t] = slope[t]
    derivative = solved.mixer[:, : takes * size, : takes * size] @ derivative
    hat = solved.hat[:, : takes * size]
    projected = derivative - hat @ (np.conj(np.swapaxes(hat, -1, -2)) @ derivative)
    normal = np.einsum("fat,fau->tu", np.conj(projected), derivative).real
    prior = np.where(stray > 0.0, 1.0 / np.maximum(stray, 1e-12) ** 2, 1e30)
    inverse = np.linalg.inv(normal + np.diag(prior))
    gain = np.einsum("tu,fau->fta", inverse, np.conj(projected))
    return gain, inverse * prior[None, :]
