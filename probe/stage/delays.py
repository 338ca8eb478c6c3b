"""Delays between two takes from their phases alone: candidates, best first."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from probe.stage.limits import EXCITATION_SIGMAS
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

STARTS = 60
"""Places of the first search that are refined."""

CANDIDATES = 6
"""How many delays of a take are kept for the joint residual to choose from."""

SATURATION_RAD = 0.15
"""Phase differences well above this count as disagreement however large they are."""


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


def heard(observed: Observed) -> NDArray[np.bool_]:
    """Terminals that stand above their noise at most tones, shape (3,)."""
    noise = np.sqrt(np.abs(np.einsum("kii->ki", observed.noise)) + 1e-300)
    return np.asarray(np.median(np.abs(observed.volts) / noise, axis=0) > EXCITATION_SIGMAS)


def candidates(
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
        found = sorted((one for each in lists for one in each), key=rank)
    kept: list[tuple[float, float]] = []
    for cost, tau in found:
        if all(differ(hz[played], tau, other) for _, other in kept):
            kept.append((cost, tau))
    return kept[:CANDIDATES] or [(float(len(hz)), 0.0)]


def _ranked(
    lists: list[list[tuple[float, float]]],
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
