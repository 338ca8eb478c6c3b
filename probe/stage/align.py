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

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from probe.stage.fitted import LEGS, Fit, flat
from probe.stage.forward import predict
from probe.stage.limits import ALIGN_PRIOR_S, EXCITATION_SIGMAS
from probe.stage.network import Complex
from probe.stage.observations import Group, Observed, has_reference
from probe.stage.realise import Excited, excitation
from probe.stage.solve import fit
from probe.stage.source import TERMINALS

Array = NDArray[np.float64]

SEARCH_POINTS = 512
"""Delays are searched on a grid of this many points a row, 1/(5 f) of the highest tone apart."""

SEARCH_S = 5.0
"""How far from the hint a delay is searched, s. No tone pattern of the bench repeats within 2 s, so
among delays that fit alike the shortest is taken."""

SEARCH_BELOW_HZ = 4.0e3
"""Tones above this do not take part in the first search: they need a finer grid and only refine."""

STARTS = 60
"""Places of the first search that are refined."""

CANDIDATES = 6
"""How many delays of a take are kept for the joint residual to choose from."""

PLAIN_COST = 0.3
"""A take whose tones disagree by less than this many in all is aligned by phases alone."""

RIVAL_COST = 2.0
"""A delay at which this many more tones disagree than at the best one is no rival to it."""

SATURATION_RAD = 0.15
"""Phase differences well above this count as disagreement however large they are."""

PHASE_LEVEL = 1.0e-4
"""Weight of the takes against each other when a delay is found: a level that moves between takes
does not turn phases, which repeat to a ten-thousandth of a radian."""

JOINT_STEPS = 6

SHARED_CLOCK = 1.0e-8
"""A clock error below this, relative, is none: player and recorder are one device."""

CLOCK_SIGMAS, CLOCK_DRIFT = 6.0, 1.0e-6
"""A take whose clock error stands further than this from the others' has another clock. Crystals
drift by less than the second figure (relative) while a session lasts."""

SNAP_SAMPLES = 0.1
"""Delays all within this many samples of whole ones are whole: by chance seven are once in 10⁵."""

SNAP_SHARE, SNAP_REST = 0.7, 0.4
"""So are they where this share of them is that close and the rest within this many samples: a take
that hears one leg of a floating pair is aligned no better."""


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
    """

    group: Group
    delays: Array
    gain: Complex | None
    seen: Fit | None
    pull: Array
    stray: Array
    free: bool


def align(group: Group, *, level: float) -> Alignment:
    """Put the takes of a group on one phase reference.

    In order of preference: a recorded drive, one running stream, an unknown delay per take.
    ``level`` is the repeatability between takes (relative), used to choose between candidates.
    """
    count = len(group.takes)
    none = np.zeros(count)
    if count < 2 or all(has_reference(o) for o in group.takes):
        return Alignment(group, none, None, None, np.eye(count), none, free=False)
    if _one_stream(group):
        delays, stray = _stream_delays(group)
        return replace(_joint(group.rotated(delays), stray, delays), free=False)
    return _free(group, level)


def _one_stream(group: Group) -> bool:
    bases = {o.phasors.take.timebase for o in group.takes}
    return len(bases) == 1 and None not in bases and _clocks_agree(group)


def _clocks_agree(group: Group) -> bool:
    """Whether one clock error serves all takes; else one changed meanwhile, nobody knows when."""
    errors = np.array([o.phasors.clock_error for o in group.takes])
    doubts = np.array([o.phasors.clock_u for o in group.takes])
    weights = 1.0 / np.maximum(doubts, 1e-12) ** 2
    off = np.abs(errors - np.sum(weights * errors) / np.sum(weights))
    return bool(np.all(off < np.maximum(CLOCK_SIGMAS * doubts, CLOCK_DRIFT)))


def _stream_delays(group: Group) -> tuple[Array, Array]:
    """Delays of takes cut from one stream, and what the clock leaves open about them.

    A recorder with a clock of its own is taken to have the same error in every take; an error
    that is not distinguishable from zero is none: player and recorder share the clock.
    """
    errors = np.array([o.phasors.clock_error for o in group.takes])
    spread = np.array([max(o.phasors.clock_u, 1e-12) for o in group.takes])
    weights = 1.0 / spread**2
    mean = float(np.sum(weights * errors) / np.sum(weights))
    mean_u = float(1.0 / np.sqrt(np.sum(weights)))
    if abs(mean) < max(5.0 * mean_u, 1e-8):
        mean, mean_u = 0.0, 0.0
    start = np.array(
        [o.phasors.take.start_frame / o.phasors.take.sample_rate for o in group.takes]
    ) / (1.0 + mean)
    centre = np.array([o.phasors.centre_s for o in group.takes])
    delays = -start + centre * (errors - mean)
    distance = np.abs(start + centre - (start[0] + centre[0]))
    stray = 1e-10 + distance * mean_u
    stray[0] = 0.0
    return delays - delays[0], stray


def _played(first: Observed, other: Observed) -> NDArray[np.intp]:
    """Grid indices of the tones that the device plays in both takes."""
    return np.intersect1d(first.tones[first.strength > 0], other.tones[other.strength > 0])


def _signals(first: Observed, other: Observed) -> list[Array]:
    """Return combinations of the legs that both takes hold, those least disturbed by loads first.

    A leg that carries no extra load keeps its phase where legs are separate; the difference
    keeps it where the stage floats; the sum serves legs in phase. A leg that is noise in either
    take serves nothing.
    """
    both = first.recorded & other.recorded & _heard(first) & _heard(other)
    held = first.recorded & other.recorded
    loaded = np.zeros(3, dtype=np.bool_)
    for load in other.phasors.take.loads:
        for end in (load.from_, load.to):
            if end in TERMINALS:
                loaded[TERMINALS.index(end)] = True
    legs = [np.eye(3)[k] for k in range(2) if both[k] and not loaded[k]]
    if held[0] and held[1] and both[:2].any():
        return [*legs, np.array([1.0, -1.0, 0.0]), np.array([1.0, 1.0, 0.0])]
    return legs or [np.eye(3)[k] for k in range(3) if both[k]]


def _heard(observed: Observed) -> NDArray[np.bool_]:
    """Terminals that stand above their noise at most tones, shape (3,)."""
    noise = np.sqrt(np.abs(np.einsum("kii->ki", observed.noise)) + 1e-300)
    return np.asarray(np.median(np.abs(observed.volts) / noise, axis=0) > EXCITATION_SIGMAS)


def _worth(observed: Observed) -> tuple[int, int]:
    return int(observed.recorded[:2].sum()), int((observed.strength > 0).sum())


def _free(group: Group, level: float) -> Alignment:
    """Align takes whose phases agree plainly among themselves, then the others.

    The others are aligned against what the stage solved from the first ones predicts for them.
    """
    first = max(range(len(group.takes)), key=lambda t: _worth(group.takes[t]))
    legs = group.takes[first].recorded[:2]
    options = [
        _candidates(group.takes[first], o, group.hz, t == first) for t, o in enumerate(group.takes)
    ]
    plain = [
        t
        for t, o in enumerate(group.takes)
        if (o.recorded[:2] == legs).all() and options[t][0][0] < PLAIN_COST
    ]
    delays = np.array([o[0][1] for o in options])
    stray = np.full(len(group.takes), ALIGN_PRIOR_S)
    stray[first] = 0.0
    inner = replace(group, takes=tuple(group.takes[t] for t in plain))
    delays[plain] = _choose(inner, [options[t] for t in plain], level)
    solved = _joint(inner.rotated(delays[plain]), stray[plain], delays[plain])
    delays[plain] = solved.delays
    rest = [t for t in range(len(group.takes)) if t not in plain]
    if not rest:
        return _snapped(solved)
    theta = fit(solved.group, LEGS, level=level).theta
    for t in rest:
        options[t] = sorted(_against_prediction(group, t, theta) + options[t], key=_rank)
        if not (group.takes[t].recorded & _heard(group.takes[t]))[:2].any():
            options[t] = options[t][:1]
        delays[t] = options[t][0][1]
    ordered = [[(min(c for c, _ in o), d), *o] for d, o in zip(delays, options, strict=True)]
    delays = _choose(group, ordered, level)
    return _snapped(_joint(group.rotated(delays), stray, delays))


def _snapped(found: Alignment) -> Alignment:
    """Whole samples, where player and recorder share a clock and every delay is next to one."""
    takes = [o.phasors for o in found.group.takes]
    shared = all(abs(p.clock_error) < max(5.0 * p.clock_u, SHARED_CLOCK) for p in takes)
    rates = {p.take.sample_rate for p in takes}
    if not shared or len(rates) != 1:
        return found
    samples = found.delays * rates.pop()
    whole = np.round(samples)
    apart = np.abs(samples - whole)
    most = np.mean(apart < SNAP_SAMPLES) >= SNAP_SHARE and np.sum(apart < SNAP_SAMPLES) >= 4
    if not (np.max(apart) < SNAP_SAMPLES or (most and np.max(apart) < SNAP_REST)):
        return found
    delays = found.delays * np.divide(whole, samples, out=np.ones_like(samples), where=samples != 0)
    group = found.group.rotated(delays - found.delays)
    none = np.zeros(len(delays))
    return Alignment(group, delays, None, None, np.eye(len(delays)), none, free=True)


def _against_prediction(group: Group, t: int, theta: Complex) -> list[tuple[float, float]]:
    """Delays of a take against what the stage, as solved without it, predicts for it."""
    observed = group.takes[t]
    if not (observed.recorded & _heard(observed))[:2].any():
        return []
    predicted = replace(observed, volts=predict(observed, theta))
    return _candidates(predicted, observed, group.hz, False)


def _candidates(
    first: Observed, other: Observed, hz: Array, same: bool
) -> list[tuple[float, float]]:
    """(cost, delay) of ``other`` against ``first``, best first; a poor 0 if nothing is common."""
    played = _played(first, other)
    if same or len(played) == 0:
        return [(0.0 if same else float(len(hz)), 0.0)]
    a = first.volts[np.searchsorted(first.tones, played)]
    b = other.volts[np.searchsorted(other.tones, played)]
    hint = first.phasors.steady_s[0] - other.phasors.steady_s[0]
    signals = _signals(first, other)
    turns = [_turn(a @ p, b @ p) for p in signals]
    if not signals:
        own = [v[:, np.argmax(np.abs(v).sum(axis=0))] for v in (a, b)]
        turns = [_turn(*own), -_turn(*own)]
    lists = [_search(hz[played], turn, hint) for turn in turns]
    if signals:
        found = [one for _, one in sorted(_ranked(lists))]
    else:
        found = sorted((one for each in lists for one in each), key=_rank)
    kept: list[tuple[float, float]] = []
    for cost, tau in found:
        if all(_differ(hz[played], tau, other) for _, other in kept):
            kept.append((cost, tau))
    return kept[:CANDIDATES] or [(float(len(hz)), 0.0)]


def _ranked(
    lists: list[list[tuple[float, float]]],
) -> list[tuple[tuple[float, int, float], tuple[float, float]]]:
    """Sort keys for the finds of several signals: fit alike, and the less disturbed one wins."""
    return [
        ((round(one[0], 2), order, one[0]), one) for order, each in enumerate(lists) for one in each
    ]


def _rank(one: tuple[float, float]) -> tuple[float, float]:
    """Order of (cost, delay): what fits better, and among equals the shorter."""
    return round(one[0], 3), abs(one[1])


def _turn(a: Complex, b: Complex) -> Complex:
    """Phase that turns ``b`` onto ``a``; 0 for tones too weak in either to say anything."""
    strong = (np.abs(a) > 0.01 * np.abs(a).max()) & (np.abs(b) > 0.01 * np.abs(b).max())
    ratio = a * np.conj(b)
    return np.asarray(np.where(strong, ratio / np.maximum(np.abs(ratio), 1e-300), 0.0))


def _search(hz: Array, turn: Complex, hint: float) -> list[tuple[float, float]]:
    """(cost, delay) of the best delays around 0 and around ``hint`` seconds."""
    use = np.abs(turn) > 0.5
    hz, turn = hz[use], turn[use]
    if len(hz) == 0:
        return []
    centres = [0.0, hint] if abs(hint) > SEARCH_S / 2 else [0.0]
    starts = np.concatenate([_peaks(hz, turn, centre) for centre in centres])
    cost, tau = _polish(hz, turn, starts)
    order = np.argsort(cost)[: 2 * CANDIDATES]
    return [(float(cost[k]), float(tau[k])) for k in order]


def _differ(hz: Array, one: float, other: float) -> bool:
    """Return True where two delays turn some tone apart by more than 0.01 rad."""
    return bool(np.max(np.abs(np.exp(2j * np.pi * hz * (one - other)) - 1.0)) > 0.01)


def _peaks(hz: Array, turn: Complex, centre: float) -> Array:
    """Delays (s) where most of the lower tones agree, from a grid around ``centre``."""
    low = hz <= max(SEARCH_BELOW_HZ, float(np.sort(hz)[min(len(hz), 6) - 1]))
    hz, turn = hz[low], turn[low]
    n = SEARCH_POINTS
    step = 1.0 / (5.0 * hz.max())
    fine = np.exp(-2j * np.pi * hz[:, None] * step * np.arange(n)).astype(np.complex64)
    reach = int(np.ceil(2.0 * SEARCH_S / (step * n)))
    origin = centre - step * n * reach / 2
    coarse = np.exp(-2j * np.pi * hz[:, None] * (origin + step * n * np.arange(reach)))
    agreement = ((coarse * turn[:, None]).astype(np.complex64).T @ fine).real.reshape(-1)
    count = min(STARTS, len(agreement))
    top = np.argpartition(agreement, -count)[-count:]
    return np.asarray(origin + step * top.astype(np.float64))


def _polish(hz: Array, turn: Complex, tau: Array) -> tuple[Array, Array]:
    """Refine delays, shape (N,): tones let in from below, disagreeing ones let go.

    Phases count by frequency squared, because a delay does. Returns cost and delay; the cost is
    the number of tones that disagree.
    """
    omega = 2.0 * np.pi * hz
    order = np.argsort(hz)
    for count in [*range(min(4, len(hz)), len(hz) + 1), *[len(hz)] * 4]:
        w, z = omega[order[:count]], turn[order[:count]]
        rest = np.angle(z * np.exp(-1j * w * tau[:, None]))
        weight = 1.0 / (1.0 + (rest / SATURATION_RAD) ** 2) ** 2
        tau = tau + np.sum(weight * w * rest, axis=1) / np.sum(weight * w**2, axis=1)
    rest = np.angle(turn * np.exp(-1j * omega * tau[:, None]))
    return np.sum(1.0 - 1.0 / (1.0 + (rest / SATURATION_RAD) ** 2), axis=1), tau


def _misfit(group: Group, level: float, excited: Excited) -> float:
    solved = fit(group, LEGS, level=level, excited=excited)
    return float(np.sum(np.log1p(np.sum(np.abs(solved.residual) ** 2, axis=(0, 2)))))


def _choose(group: Group, options: list[list[tuple[float, float]]], level: float) -> Array:
    """Delays of the candidates with the least joint residual, take by take from the best ones.

    Where the joint residual is as small as the noise there is nothing to choose.
    """
    delays = np.array([o[0][1] for o in options])
    excited = excitation(group)
    best = _misfit(group.rotated(delays), level, excited)
    if best < len(group.hz):
        return delays
    for t, candidates in enumerate(options):
        for cost, tau in candidates[1:]:
            if cost > candidates[0][0] + RIVAL_COST:
                continue
            trial = delays.copy()
            trial[t] = tau
            misfit = _misfit(group.rotated(trial), level, excited)
            if misfit < best - 2.0:
                best, delays = misfit, trial
    return delays


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
        if not (_heard(observed) & observed.recorded)[:2].any():
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
