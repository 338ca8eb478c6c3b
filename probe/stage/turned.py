"""Whether the leads of the two legs changed places between two takes.

Exchanged leads turn the voltage between the legs, ``V_hot - V_cold``, by half a turn at every tone.
Nothing that is plugged to a stage does: a resistor or an injector on a leg makes that voltage
smaller and turns it by less than a quarter. Levels need not tell: the legs of a floating stage are
alike, or shift with whatever hangs on them.

Between takes without a common phase reference there is a delay as well. It turns each tone by
another angle, so all delays are tried: the one that agrees best either leaves every tone as it was
or has turned every one by half a turn.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from probe.phasors.model import Remark, TakePhasors

Complex = NDArray[np.complex128]

TELLING_SHARE = 0.7
"""The voltage between the legs over the larger leg, from which its sign cannot change by a load:
legs that move together differ by little, and a load on one turns that round."""

SURE_SIGMAS = 30.0
"""Tones that stand this far above the noise are looked at."""

LEAST_TONES = 3
LEAST_TONES_SEARCHED = 6
"""So many tones; and where a delay is searched: fewer agree with half a turn by chance."""

ALONE_AGREES = 0.99
"""Cosine at which one tone alone has turned by half: eight degrees of 180, where its drive is known
and nothing is plugged that would turn it."""

ALONE_DRIFT = 0.02
"""Turns that the clocks may move a tone alone between two takes: seven degrees, of those eight."""

AGREES = 0.9
"""Mean cosine of the angles at which all tones agree: 25 degrees, so that a coupling capacitor may
turn the lowest ones."""

CLEARLY = 0.12
"""The best delay with half a turn must agree this much better than the best one without: among a
million delays a dozen tones agree to 0.75 by chance."""

LOOKED_AT = 0.8
"""Delays at which the low tones agree this well, of the best there is, are looked at closely."""

SEARCH_S = 1.0
"""How far a delay is searched, either way, where tones do not repeat together: a pattern that does
not within 2 s does not turn itself round within half of that. A delay beyond fits neither way, and
nothing is said."""

REPEATS_S = 20
"""Tones that all repeat within this are searched through their whole repetition: a player that
loops a file stands anywhere in it, and there is no delay beyond."""

AS_REPEATED = 1e-3
"""Turns by which a tone may miss that repetition: frequencies are typed with a few digits."""

TIMES_WORSE = 4.0
"""In the whole repetition a pattern finds delays that nearly turn it round (the bench's own agrees
with itself upside down to 0.87): what the other way leaves must be this many times larger."""

AS_GOOD = 0.01
"""Where both ways fit somewhere in the repetition, delays nearby are believed if none elsewhere
fits better than by this: takes are begun by hand within a second more often than not."""

SEARCH_BELOW_HZ = 1500.0
"""Tones above need a finer grid of delays, and are left out of the search."""

STEPS_A_TURN = 12

SAME_CLOCK = 1e-7
"""Clock error below which two takes of one stream keep their phases for minutes: a tenth of a turn
at 20 kHz is 5 us, which is 50 s of it."""


def turned_round(take: TakePhasors, reference: TakePhasors) -> bool:
    """Return whether hot and cold of a take are those of the reference exchanged.

    False where it cannot be told: a leg is missing, the legs move together, too few tones.
    """
    if not {"hot", "cold"} <= set(take.take.channels) & set(reference.take.channels):
        return False
    turns = _turns(take, reference)
    if turns is None:
        return False
    hz, turned = turns
    drive = _drive(take, reference, hz)
    if drive is None and _one_clock(take, reference):
        drive = np.exp(2j * np.pi * hz * (_start(take) - _start(reference)))
    if drive is not None:
        aligned = turned * np.conj(drive)
        return len(hz) >= LEAST_TONES and bool(np.mean(aligned.real) < -AGREES)
    return turned_over(hz, turned) is True


def turned_alone(take: TakePhasors, reference: TakePhasors) -> bool:
    """Return whether the one tone of a take stands the other way round than in the reference.

    Only where the drive is known: recorded beside it, or, for takes of one stream, by the phases as
    played. They must be those at the stream's own beginning, as where loops keep step with it.
    False where it cannot be told.
    """
    heard = {"hot", "cold"} <= set(take.take.channels) & set(reference.take.channels)
    plugged = take.take.loads or take.take.injections
    turns = None if plugged or not heard else _turns(take, reference)
    if turns is None or len(turns[0]) != 1:
        return False
    hz, turned = turns
    drive = _drive(take, reference, hz)
    if drive is None:
        drive = _played(take, reference, hz)
    return drive is not None and bool((turned * np.conj(drive))[0].real < -ALONE_AGREES)


def _played(
    take: TakePhasors, reference: TakePhasors, hz: NDArray[np.float64]
) -> NDArray[np.complex128] | None:
    """Return by how much a single tone turned between two takes of one stream, as played."""
    apart = _start(take) - _start(reference)
    error = max(abs(p.clock_error) + 2.0 * p.clock_u for p in (take, reference))
    if not _one_clock(take, reference) or float(hz[0]) * abs(apart) * error > ALONE_DRIFT:
        return None
    phases = []
    for p in (take.take, reference.take):
        if p.phases_rad is None:
            return None
        phases.append(p.phases_rad[int(np.argmin(np.abs(np.asarray(p.tones_hz) - hz[0])))])
    return np.asarray(np.exp(1j * (2.0 * np.pi * hz * apart + phases[0] - phases[1])))


def turned_over(hz: NDArray[np.float64], turned: Complex) -> bool | None:
    """Return whether a delay and half a turn, or a delay alone, has turned tones of these phases.

    ``hz``: shape (F,), ascending; ``turned``: unit phasors. None where neither fits, both do, or
    too few tones are there to tell.
    """
    if np.count_nonzero(hz < SEARCH_BELOW_HZ) < LEAST_TONES_SEARCHED:
        return None
    near = _searched(hz, turned, SEARCH_S)
    repeats = _repetition_s(hz)
    if repeats is None:
        return _clearly(*near)
    anywhere = _searched(hz, turned, 0.5 * repeats)
    upright, over = (1.0 - anywhere[0], 1.0 + anywhere[1])
    if min(upright, over) < 1.0 - AGREES and max(upright, over) > TIMES_WORSE * min(upright, over):
        return over < upright
    agrees = max(near[0], -near[1])
    return _clearly(*near) if agrees > max(anywhere[0], -anywhere[1]) - AS_GOOD else None


def _clearly(best: float, worst: float) -> bool | None:
    """Return whether half a turn fits and a delay alone does not, or the other way round."""
    if worst < -AGREES and best < -worst - CLEARLY:
        return True
    return False if best > AGREES and -worst < best - CLEARLY else None


def _between(phasors: TakePhasors) -> tuple[Complex, NDArray[np.bool_]]:
    """Return the voltage between the legs at each tone, and where it tells."""
    hot, cold = (phasors.take.channels.index(role) for role in ("hot", "cold"))
    volts, noise = phasors.volts, phasors.noise
    between = volts[:, hot] - volts[:, cold]
    sigma = np.sqrt(
        np.abs(noise[:, hot, hot] + noise[:, cold, cold] - 2.0 * noise[:, hot, cold].real)
    )
    larger = np.maximum(np.abs(volts[:, hot]), np.abs(volts[:, cold]))
    sure = np.abs(between) > np.maximum(SURE_SIGMAS * sigma, TELLING_SHARE * larger)
    return np.asarray(between), np.asarray(sure & phasors.played)


def _turns(take: TakePhasors, reference: TakePhasors) -> tuple[NDArray[np.float64], Complex] | None:
    """Return tones and the unit phasors by which the voltage between the legs turned at them."""
    ours, sure = _between(take)
    theirs, sure_there = _between(reference)
    hz, mine, other = np.intersect1d(take.hz, reference.hz, return_indices=True)
    told = sure[mine] & sure_there[other]
    if not told.any():
        return None
    ratio = ours[mine][told] / theirs[other][told]
    return hz[told], np.asarray(ratio / np.abs(ratio))


def _start(phasors: TakePhasors) -> float:
    return phasors.take.start_frame / phasors.take.sample_rate


def _drive(take: TakePhasors, reference: TakePhasors, hz: NDArray[np.float64]) -> Complex | None:
    """Return by how much the recorded drive turned between two takes, None where it was not."""
    found = []
    for p in (take, reference):
        if "reference" not in p.take.channels:
            return None
        rows = np.searchsorted(p.hz, hz)
        drive = p.volts[rows, p.take.channels.index("reference")]
        if not np.all(np.abs(drive) > 0.0):
            return None
        found.append(drive / np.abs(drive))
    return np.asarray(found[0] * np.conj(found[1]))


def _one_clock(take: TakePhasors, reference: TakePhasors) -> bool:
    """Whether both are cut from one stream whose recorder shares the player's clock."""
    base = take.take.timebase
    if base is None or base != reference.take.timebase:
        return False
    return all(
        abs(p.clock_error) < max(5.0 * p.clock_u, SAME_CLOCK) and p.clock_u < 10.0 * SAME_CLOCK
        for p in (take, reference)
    )


def _repetition_s(hz: NDArray[np.float64]) -> float | None:
    """Return after how long all tones repeat together, None where that is longer than looked at."""
    turns = hz * REPEATS_S
    whole = np.round(turns)
    if np.max(np.abs(turns - whole)) > AS_REPEATED:
        return None
    return REPEATS_S / float(np.gcd.reduce(whole.astype(np.int64)))


def _searched(hz: NDArray[np.float64], turned: Complex, reach_s: float) -> tuple[float, float]:
    """Return the largest and the smallest mean cosine of all tones over all delays.

    Low tones choose the delays to be looked at closely, with all tones.
    """
    low = hz < SEARCH_BELOW_HZ
    step = 1.0 / (STEPS_A_TURN * float(hz[low][-1]))
    far = np.ceil(reach_s / step)
    delays = np.arange(-far, far + 1.0) * step
    coarse = _cosines(hz[low], turned[low], delays[0], step, len(delays))
    near = delays[np.abs(coarse) > LOOKED_AT * np.max(np.abs(coarse))]
    fine = 1.0 / (STEPS_A_TURN * float(hz[-1]))
    around = np.arange(-np.ceil(step / fine), np.ceil(step / fine) + 1.0) * fine
    close = (np.exp(2j * np.pi * np.outer(near, hz)) * turned) @ np.exp(
        2j * np.pi * np.outer(hz, around)
    )
    return float(close.real.max()) / len(hz), float(close.real.min()) / len(hz)


def _cosines(
    hz: NDArray[np.float64], turned: Complex, first: float, step: float, count: int
) -> NDArray[np.float64]:
    """Return the mean cosine over tones at evenly spaced delays, shape (count,)."""
    block = 512
    inner = np.exp(2j * np.pi * np.outer(hz, np.arange(block) * step))
    starts = first + np.arange(0, count, block) * step
    outer = np.exp(2j * np.pi * np.outer(starts, hz)) * turned
    return np.asarray((outer @ inner).real.ravel()[:count] / len(hz))


def exchanged(phasors: tuple[TakePhasors, ...]) -> tuple[tuple[str, ...], tuple[Remark, ...]]:
    """Return the names of takes whose leads changed places against most others, and a remark each.

    Where as many are one way round as the other, those stay that agree with the first.
    """
    telling = [p for p in phasors if {"hot", "cold"} <= set(p.take.channels) and p.played.any()]
    if len(telling) < 2:
        return (), ()
    first = next((p for p in telling if not (p.take.loads or p.take.injections)), telling[0])
    turned = [p for p in telling if p is not first and turned_round(p, first)]
    if 2 * len(turned) > len(telling):
        turned = [p for p in telling if p not in turned]
    names = tuple(p.take.name for p in turned)
    return names, tuple(_remark(name) for name in names)


def _remark(name: str) -> Remark:
    return Remark(
        "contradicting-take",
        name,
        "hot and cold changed places in this take: the voltage between them is turned round at "
        "every tone against the other takes; it was left out. Exchange the leads back and repeat "
        "it, or declare its channels the other way round",
    )
