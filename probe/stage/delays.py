"""Delays between two takes from their phases alone: candidates, best first."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from probe.stage.limits import ALIGN_PRIOR_S, EXCITATION_SIGMAS
from probe.stage.network import Complex
from probe.stage.observations import Observed
from probe.stage.source import TERMINALS

Array = NDArray[np.float64]

SEARCH_POINTS = 512
"""Delays are searched on a grid of this many points a row, 1/(5 f) of the highest tone apart."""

SEARCH_S = 5.0
"""How far from the hint a delay is searched, s. No tone pattern of the bench repeats within 2 s, so
among delays that fit alike the shortest is taken."""

SEARCH_BELOW_HZ = 4.0e3
"""Tones above this do not take part in the first search: they need a finer grid and only refine."""

STARTS = 240
"""Places of the first search that are refined. Few tones at whole hertz fall in with each other
nearly as well as at the right delay some hundred times."""

CANDIDATES = 6
"""How many delays of a take are kept for the joint residual to choose from."""

SATURATION_RAD = 0.15
"""Phase differences well above this count as disagreement however large they are."""

PLAIN_COST = 0.3
"""A take whose tones disagree by less than this many in all is aligned by phases alone."""

RIVAL_APART = 10.0
"""Rivals are told from one delay found twice by this many times the doubt of one from phases."""

ALIKE_COST = 1.0
"""Delays at which nearly as many tones agree serve alike: the best of those that agree by chance
stand a few tenths of a tone apart."""

ALIKE_RATIO, ALIKE_FLOOR = 1.0e3, 1.0e-5
"""A delay at which the tones disagree this many times more than at the best one (or than phases
repeat) is no rival either: by phases that are off thirty times less, chance put one in thirty."""

SAME_TURN = 0.5
"""Delays closer than this share of a period of the highest tone are one delay, found less well."""

TURNS = 4.0
"""Reactance over resistance at the highest tone that loads are reckoned to meet: 2 mH of
a winding's leakage are 250 ohm there, beside some 60 ohm that a load on one leg meets."""

WINDING_SHARE = 0.01
"""A leg that changes by this share because the other one is loaded may hang on one winding with it:
six ohm that both share beside a load of 604. Levels move by less between takes."""

PRIOR_TOP_HZ = 1.9e4
"""Where the highest tone is below this, phases tell a delay less well in proportion."""

REMAINDER = 0.1
"""Size over the larger leg's below which a sum or difference is what inequality leaves of it."""

Options = list[tuple[float, float]]
"""(cost, delay) of a take, the delay in seconds."""


def _played(first: Observed, other: Observed) -> NDArray[np.intp]:
    """Grid indices of the tones that the device plays in both takes."""
    return np.intersect1d(first.tones[first.strength > 0], other.tones[other.strength > 0])


def _signals(first: Observed, other: Observed) -> list[Array]:
    """Return combinations of the legs that both takes hold, those least disturbed by loads first.

    A leg that carries no extra load keeps its phase where legs are separate; the difference
    keeps it where the stage floats; the sum serves legs in phase. A leg that is noise in either
    take serves nothing.
    """
    both = first.recorded & other.recorded & heard(first) & heard(other)
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


def falls_with_the_other(first: Observed, other: Observed) -> float:
    """Return by what share a leg without a load falls because the other one has one, else 0.

    On a winding that is tapped to pin 1 it falls, of a pair that floats it rises (less than 0); on
    separate legs it stays.
    """
    take = other.phasors.take
    ends = [{load.from_, load.to} for load in take.loads]
    both = (first.recorded & other.recorded & heard(first) & heard(other))[:2].all()
    played = _played(first, other)
    if not both or len(played) == 0 or len(ends) != 1 or "ground" not in ends[0]:
        return 0.0
    a = np.abs(first.volts[np.searchsorted(first.tones, played)])
    b = np.abs(other.volts[np.searchsorted(other.tones, played)])
    leg = 1 if "hot" in ends[0] else 0
    if "hot" not in ends[0] and "cold" not in ends[0]:
        return 0.0
    return float(np.median(1.0 - b[:, leg] / np.maximum(a[:, leg], 1e-300)))


def loaded_by(first: Observed, other: Observed) -> float:
    """Return by what share a take's loads change the size of the signal they disturb least.

    The median over the tones of both takes; 0 where they have no signal in common.
    """
    played = _played(first, other)
    a = first.volts[np.searchsorted(first.tones, played)]
    b = other.volts[np.searchsorted(other.tones, played)]
    signals = _loud(_signals(first, other), a, b) if len(played) else []
    if not signals:
        return 0.0
    sizes = [(np.abs(a @ p), np.abs(b @ p)) for p in signals]
    return min(
        float(np.median(np.abs(after - before) / np.maximum(before, 1e-300)))
        for before, after in sizes
    )


def _loud(signals: list[Array], a: Complex, b: Complex) -> list[Array]:
    """Leave out the sum of legs that are opposite, or the difference of legs alike.

    It is a remainder, whose sign turns with the least level between takes.
    """

    def share(volts: Complex, signal: Array) -> float:
        return float(np.median(np.abs(volts @ signal)) / np.abs(volts).max(axis=1).mean())

    return [
        p for p in signals if np.count_nonzero(p) == 1 or min(share(a, p), share(b, p)) > REMAINDER
    ]


def heard(observed: Observed) -> NDArray[np.bool_]:
    """Terminals that stand above their noise at most tones, shape (3,)."""
    noise = np.sqrt(np.abs(np.einsum("kii->ki", observed.noise)) + 1e-300)
    return np.asarray(np.median(np.abs(observed.volts) / noise, axis=0) > EXCITATION_SIGMAS)


def candidates(first: Observed, other: Observed, hz: Array, same: bool) -> Options:
    """(cost, delay) of ``other`` against ``first``, best first; a poor 0 if nothing is common."""
    played = _played(first, other)
    if same or len(played) == 0:
        return [(0.0 if same else float(len(hz)), 0.0)]
    a = first.volts[np.searchsorted(first.tones, played)]
    b = other.volts[np.searchsorted(other.tones, played)]
    hint = first.phasors.steady_s[0] - other.phasors.steady_s[0]
    signals = _loud(_signals(first, other), a, b)
    turns = [_turn(a @ p, b @ p) for p in signals]
    if not signals:
        own = [v[:, np.argmax(np.abs(v).sum(axis=0))] for v in (a, b)]
        turns = [_turn(*own), -_turn(*own)]
    lists = [_search(hz[played], turn, hint) for turn in turns]
    if signals:
        found = [one for _, one in sorted(_ranked(lists))]
    else:
        found = sorted((one for each in lists for one in each), key=rank)
    return distinct(hz[played], found, CANDIDATES) or [(float(len(hz)), 0.0)]


def _ranked(
    lists: list[Options],
) -> list[tuple[tuple[float, int, float], tuple[float, float]]]:
    """Sort keys for the finds of several signals: fit alike, and the less disturbed one wins."""
    return [
        ((round(one[0], 2), order, one[0]), one) for order, each in enumerate(lists) for one in each
    ]


def rank(one: tuple[float, float]) -> tuple[float, float]:
    """Order of (cost, delay): what fits better, and among equals the shorter."""
    return round(one[0], 3), abs(one[1])


def _turn(a: Complex, b: Complex) -> Complex:
    """Phase that turns ``b`` onto ``a``; 0 for tones too weak in either to say anything."""
    strong = (np.abs(a) > 0.01 * np.abs(a).max()) & (np.abs(b) > 0.01 * np.abs(b).max())
    ratio = a * np.conj(b)
    return np.asarray(np.where(strong, ratio / np.maximum(np.abs(ratio), 1e-300), 0.0))


def _search(hz: Array, turn: Complex, hint: float) -> Options:
    """(cost, delay) of the best delays around 0 and around ``hint`` seconds."""
    use = np.abs(turn) > 0.5
    hz, turn = hz[use], turn[use]
    if len(hz) == 0:
        return []
    centres = [0.0, hint] if abs(hint) > SEARCH_S / 2 else [0.0]
    starts = np.concatenate([_peaks(hz, turn, centre) for centre in centres])
    cost, tau = _polish(hz, turn, starts)
    found = sorted(zip(cost.tolist(), tau.tolist(), strict=True), key=rank)
    return distinct(hz, found, 2 * CANDIDATES)


def distinct(hz: Array, found: Options, most: int) -> Options:
    """Return the first of those that turn the tones alike, best first: a pattern may repeat."""
    kept: Options = []
    for cost, tau in found:
        if all(differ(hz, tau, other) for _, other in kept):
            kept.append((cost, tau))
        if len(kept) == most:
            break
    return kept


def differ(hz: Array, one: float, other: float) -> bool:
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
    inner = agreement[1:-1]
    tops = 1 + np.flatnonzero((inner >= agreement[:-2]) & (inner >= agreement[2:]))
    count = min(STARTS, len(tops))
    top = tops[np.argpartition(agreement[tops], -count)[-count:]]
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


def prior_of(hz: Array) -> float:
    """Standard uncertainty (s) of a delay from phases alone, by the highest tone."""
    return ALIGN_PRIOR_S * max(1.0, PRIOR_TOP_HZ / float(hz[-1]))


def turned_by_loads(share: float, hz: Array) -> float:
    """Return the delay (s) that a winding's leakage would make of a signal that loads change.

    Behind ``R + j w L`` a load that takes the share ``s`` of the size turns the phase by as much
    where ``w L`` is ``R``: which part of that is a delay, phases alone do not tell.
    """
    return TURNS * share / (2.0 * np.pi * float(hz[-1]))


def alike(best: float) -> float:
    """Cost up to which a delay serves about as well as the best one."""
    return min(best + ALIKE_COST, ALIKE_RATIO * max(best, ALIKE_FLOOR))


def spread(found: Options, hz: Array) -> float:
    """How far apart (s) the legs and their difference put one delay, where all agree plainly."""
    most, (_, tau) = alike(found[0][0]), found[0]
    apart = [abs(at - tau) for cost, at in found if cost <= most]
    return max((d for d in apart if d < SAME_TURN / hz[-1]), default=0.0)


def rivals_of(found: Options, delay: float, hz: Array) -> list[float]:
    """Quite different delays at which a take's tones agree about as well as at its best one."""
    best = min(cost for cost, _ in found)
    most = alike(best)
    near = RIVAL_APART * ALIGN_PRIOR_S if best >= PLAIN_COST else SAME_TURN / float(hz[-1])
    return [
        tau
        for cost, tau in found
        if cost <= most and abs(tau - delay) > near and differ(hz, tau, delay)
    ]
