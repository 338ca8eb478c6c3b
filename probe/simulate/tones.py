"""The tones a session plays when its stage says nothing else.

How the frequencies were found: `search` draws sets near logarithmic places, in steps of 0.1 Hz,
keeps those that stand at least `CLEARANCE_HZ` from every multiple of 50 and of 60 Hz and at least
`PRODUCT_GAP_HZ` from every product of second and third order of all tones together (sums,
differences, harmonics), and among those takes the set whose worst time shift is the best: for
every shift from a quarter period of the top tone to 2 s, the second largest of the tones' phase
errors (whole turns removed) is at least `REALIGN_TURNS`. So no wrong delay under 2 s brings all
tones but one back into step. The sets below are the best of some 35,000 draws; one draw in fifty
gets past the first two conditions.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import ArrayLike, NDArray

DEVICE_HZ = (
    20.5,
    42.4,
    81.5,
    153.5,
    281.2,
    496.8,
    997.0,
    1987.6,
    3469.2,
    6535.7,
    12437.0,
    19490.7,
)
"""What the device plays, Hz."""

INJECTED_HZ = (32.2, 70.6, 209.2, 768.0, 1431.9, 2646.2, 4766.8, 14422.1)
"""What the bench injects, Hz: between the device's tones."""

DEVICE_PLACES = {
    20.6: 0.03,
    41.3: 0.06,
    77.0: 0.06,
    145.0: 0.06,
    271.0: 0.06,
    523.0: 0.06,
    997.0: 0.0025,
    1900.0: 0.06,
    3600.0: 0.06,
    6800.0: 0.06,
    11800.0: 0.06,
    19450.0: 0.023,
}
"""Where the search looks for the device's tones: Hz, and how far to either side, relative.

Narrow at both ends of the band and at 1 kHz, where single figures are given.
"""

INJECTED_PLACES = {
    33.0: 0.06,
    71.0: 0.06,
    211.0: 0.06,
    761.0: 0.06,
    1400.0: 0.06,
    2650.0: 0.06,
    5000.0: 0.06,
    15000.0: 0.06,
}
"""Where it looks for the injected ones: between them."""

CLEARANCE_HZ = 3.0
"""From multiples of 50 and 60 Hz: six times the resolution of a take of 2 s."""

PRODUCT_GAP_HZ = 1.35
"""From products of second and third order of any of the tones."""

NEIGHBOUR_HZ = 6.0
"""Between any two tones."""

LONGEST_SHIFT_S = 2.0
"""Wrong delays are considered up to here."""

REALIGN_TURNS = 0.155
"""Phase error, in turns (56 degrees), that at least two tones show at any wrong delay to 2 s."""


def products(hz: ArrayLike) -> NDArray[np.float64]:
    """Return all products of second and third order of two tones, Hz, shape (P,)."""
    f = np.asarray(hz, dtype=np.float64)
    a, b = np.meshgrid(f, f)
    other = ~np.eye(f.size, dtype=bool)
    found = [2 * f, 3 * f, (a + b)[other], np.abs(a - b)[other]]
    found += [(2 * a + b)[other], np.abs(2 * a - b)[other]]
    return np.concatenate([np.ravel(x) for x in found])


def second_worst_turns(hz: ArrayLike, shift_s: ArrayLike) -> NDArray[np.float64]:
    """Return, for each time shift, the second largest phase error among the tones, in turns.

    Parameters
    ----------
    hz
        Shape (F,).
    shift_s
        Shape (T,), s.
    """
    turns = np.outer(np.asarray(shift_s), np.asarray(hz))
    wrong = np.abs(turns - np.round(turns))
    return np.asarray(np.partition(wrong, -2, axis=1)[:, -2])


def clearance(hz: ArrayLike) -> float:
    """Return the least distance of any tone from a multiple of 50 or 60 Hz, in Hz."""
    f = np.asarray(hz, dtype=np.float64)
    return min(float(np.min(np.abs(f - m * np.round(f / m)))) for m in (50.0, 60.0))


def search(seed: int, draws: int) -> tuple[tuple[float, ...], tuple[float, ...], float]:
    """Draw sets of tones and return the best: device's, injected, worst second error in turns."""
    stream = np.random.default_rng(seed)
    shifts = np.arange(1 / (4 * 20e3), LONGEST_SHIFT_S, 1 / (16 * 20e3))
    best: tuple[tuple[float, ...], tuple[float, ...], float] = ((), (), 0.0)
    for _ in range(draws):
        d, i = _drawn_near(DEVICE_PLACES, stream), _drawn_near(INJECTED_PLACES, stream)
        both = np.sort(np.concatenate([d, i]))
        if np.min(np.diff(both)) < NEIGHBOUR_HZ or product_gap(both) < PRODUCT_GAP_HZ:
            continue
        parts = np.array_split(shifts, 40)
        worst = 1.0
        for part in parts:
            worst = min(worst, float(np.min(second_worst_turns(d, part))))
            if worst <= best[2]:
                break
        else:
            best = (tuple(d.tolist()), tuple(i.tolist()), worst)
    return best


def product_gap(hz: ArrayLike) -> float:
    """Return the least distance of any tone from any product of two others, in Hz."""
    f = np.asarray(hz, dtype=np.float64)
    return float(np.min(np.abs(products(f)[:, None] - f[None, :])))


def _drawn_near(places: Mapping[float, float], stream: np.random.Generator) -> NDArray[np.float64]:
    """Return one tone near each place, in steps of 0.1 Hz, clear of the mains and its harmonics."""
    found = []
    for place, spread in places.items():
        tone = 0.0
        while clearance([tone]) < CLEARANCE_HZ:
            tone = round(place * (1.0 + spread * float(stream.uniform(-1.0, 1.0))), 1)
        found.append(tone)
    return np.array(found)


def random_phases_deg(count: int, seed: int) -> tuple[float, ...]:
    """Return ``count`` phases in tenths of a degree.

    Tones without a common period meet in nearly every constellation within a take, so no choice
    of phases keeps their crest low for long; random ones are as good as any.
    """
    return tuple(np.round(np.random.default_rng(seed).uniform(0.0, 360.0, count), 1).tolist())
