"""Whether the takes agree: level between takes from residuals, and takes that contradict."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from probe.phasors.model import Remark
from probe.session.model import Session
from probe.stage import limits
from probe.stage.fitted import Fit
from probe.stage.observations import Group
from probe.stage.solved import column_volts, entry_doubt

Array = NDArray[np.float64]

BAND_HZ, KNOWN_TO = (300.0, 3000.0), 0.1
"""Where a leg is looked at that would give back current, and how well it must be known."""

GIVEN_BACK = -0.7
"""Impedance times the recorder's conductance below which a leg gives back most of what the recorder
takes: -1 has no steady voltage at all. A stage made to have some negative resistance, to make up
for what loads it, has hundreds of ohm of it beside some ten kilohm."""


LIFTED_OHM = (5.0, 1000.0)
"""A leg of a negative resistance between these would be louder with a load on it than without.
Less is a level that drifted; more is a floating pair's, of which other rules speak."""

STANDS_OUT = 9.0
"""Residual power per spare row of a tone, over what the stated repeatability explains, from which
on it is looked into. Costs time only."""

LEAST_SPARE = 4.0
"""Rows that must be spare: of fewer, one more unknown explains too much by chance."""

EXPLAINED, AT_REST = 0.1, 3.0
"""Share of the power that stood out which may be left where something explains it; by so much power
per spare row the takes agree (nine spare rows reach it by chance once in a thousand)."""


@dataclass(frozen=True)
class Repeatability:
    """Level between takes, relative, one standard deviation, and where it is from.

    ``freedom`` is the number of degrees of freedom where it came from residuals, 0 where it was
    declared or assumed.
    """

    level: float
    freedom: int
    seen: float
    """What the residuals alone say, 0 where nothing was spare."""
    spare: float = 0.0
    """Rows it is from, the median over the tones."""


def stated_level(session: Session) -> float:
    """Return the repeatability that is declared, or else assumed, relative; never nothing."""
    db = session.bench.repeatability_db
    stated = limits.REPEATABILITY_DB if db is None else db
    return _relative(max(stated, limits.REPEATABILITY_FLOOR_DB))


def _relative(db: float) -> float:
    return float(np.log(10.0) / 20.0 * db)


def repeatability(solved: Fit, group: Group, stated: float) -> Repeatability:
    """Level between takes from the whitened residuals, where enough takes are spare.

    A level error is one real factor per take and leg, the same at all tones: its variance shows
    in ``|residual|²`` per spare row, times ``stated²``. Rows that are noise (a silent leg) say
    nothing about it. The median over the tones, because a tone beside a hum line or a winding at
    20 Hz must not speak for all.
    """
    telling = _telling(group, stated)
    spare = np.sum(solved.spare * telling, axis=(0, 2))
    enough = spare >= 0.75
    if not enough.any():
        return Repeatability(stated, 0, 0.0)
    rows = telling.sum(axis=(0, 2)) / np.maximum(telling.any(axis=2).sum(axis=0), 1)
    legs = max(float(np.median(rows)), 1.0)
    power = np.sum(np.abs(solved.residual) ** 2 * telling, axis=(0, 2))
    seen = stated * float(np.sqrt(np.median(power[enough] / spare[enough])))
    left = float(np.median(spare[enough]))
    if left >= legs * limits.SPARE_TAKES - 0.1:
        floor = _relative(limits.REPEATABILITY_FLOOR_DB)
        return Repeatability(max(seen, floor), round(left), seen, left)
    return Repeatability(max(stated, seen), 0, seen, left)


def shares(solved: Fit) -> Array:
    """Residual power per spare row, tone by tone; of those that have a row to spare."""
    power = np.sum(np.abs(solved.residual) ** 2, axis=(0, 2))
    spare = np.sum(solved.spare, axis=(0, 2))
    enough = spare >= 0.75
    return np.asarray(power[enough] / spare[enough])


def worst_share(solved: Fit) -> float:
    """Return the residual power per spare row of the worst tone; 0 where too few are spare."""
    if float(np.median(np.sum(solved.spare, axis=(0, 2)))) < LEAST_SPARE:
        return 0.0
    return float(shares(solved).max(initial=0.0))


def _telling(group: Group, level: float) -> NDArray[np.bool_]:
    """Rows in which a level error of that size would stand above the noise, shape (T, F, 2)."""
    telling = np.zeros((len(group.takes), len(group.hz), 2), dtype=np.bool_)
    for t, observed in enumerate(group.takes):
        noise = np.abs(np.einsum("kii->ki", observed.noise))[:, :2]
        moved = (level * np.abs(observed.volts[:, :2])) ** 2
        telling[t, observed.tones] = moved > noise
    return telling


def take_residual(solved: Fit, t: int) -> float:
    """Return the root mean square of one take's whitened residuals."""
    used = np.any(np.abs(solved.whitener[t]) > 0.0, axis=-1)
    share = np.abs(solved.residual[t][used]) ** 2
    return float(np.sqrt(share.mean())) if share.size else 0.0


def learnt(solved: Fit) -> Array:
    """How many directions the takes themselves decide, shape (F,)."""
    size = len(solved.block.terminals)
    takes = solved.whitener.shape[0] - len(solved.known)
    return np.asarray(np.sum(np.abs(solved.hat[:, : takes * size]) ** 2, axis=(1, 2)))


def disagreement(solved: Fit, group: Group, stated: float, seen: float) -> tuple[Remark, ...]:
    """Say that takes contradict each other, of the one that stands out most; nothing if not."""
    if seen < limits.CONTRADICTION * stated:
        return ()
    worst = max(range(len(group.takes)), key=lambda t: take_residual(solved, t))
    message = (
        f"this take contradicts the others: together they disagree {seen / stated:.0f} times more "
        "than the stated repeatability allows; it was kept and the intervals widened. Check its "
        "leads and repeat it"
    )
    return (Remark("contradicting-take", group.takes[worst].name, message),)


def _by_chance(spare: float) -> float:
    """Return over the stated level what so many spare rows show once in `limits.POOR_BY_CHANCE`.

    The power of a row is a chi-square of one degree of freedom: a level error is real.
    """
    from scipy.special import chdtri

    return float(np.sqrt(chdtri(spare, limits.POOR_BY_CHANCE) / spare))


def repeatability_remarks(
    repeat: Repeatability, stated: float, solved: Fit, group: Group
) -> list[Remark]:
    """Return a warning where levels differ far more than stated, naming the take."""
    if repeat.seen < limits.POOR_REPEATABILITY * stated:
        return []
    if repeat.seen < _by_chance(repeat.spare) * stated:
        return []
    worst = max(range(len(group.takes)), key=lambda t: take_residual(solved, t))
    db = 20.0 / np.log(10.0) * repeat.seen
    return [
        Remark(
            "poor-repeatability",
            group.takes[worst].name,
            f"levels differ between takes by {db:.3f} dB, far above the "
            f"{20.0 / np.log(10.0) * stated:.3g} dB stated or assumed; this take stands out most",
        )
    ]


def impossible(solved: Fit, group: Group) -> tuple[Remark, ...]:
    """Say that the takes make a stage that could not stand on the recorder, of the one to suspect.

    A leg that gives back what the recorder takes (``Re Z Y`` near -1) has no steady voltage; takes
    are solved by such a leg where one of them holds less or more than was declared of it.
    """
    band = np.flatnonzero((group.hz >= BAND_HZ[0]) & (group.hz <= BAND_HZ[1]))
    for leg, name in enumerate(("hot", "cold")):
        own = column_volts(solved.theta, name)[band, leg]
        doubt = entry_doubt(solved, name, name)[band]
        y = np.array([_least_siemens(group, leg, int(k)) for k in band])
        known = np.isfinite(doubt) & (doubt < KNOWN_TO * np.abs(own)) & (y > 0.0)
        backwards = np.abs(np.angle(own)) > limits.GIVES_BACK_RAD
        if known.any() and np.all(backwards[known] & ((own * y).real[known] < GIVEN_BACK)):
            return (_impossible(group, name),)
        size = np.abs(own)
        small = (size > LIFTED_OHM[0]) & (size < LIFTED_OHM[1])
        if known.any() and np.all(backwards[known] & small[known]) and _loading(group, name):
            return (_louder_loaded(group, name),)
    return ()


def _least_siemens(group: Group, leg: int, k: int) -> float:
    """Conductance of the recorder on a leg, where nothing else hangs on it; 0 if no take has it."""
    found = [
        float(o.y[np.searchsorted(o.tones, k), leg, leg].real)
        for o in group.takes
        if k in o.tones and o.recorded[leg]
    ]
    return min(found, default=0.0)


def _loading(group: Group, leg: str) -> list[str]:
    """Return the takes with a load on a leg."""
    return [
        o.name
        for o in group.takes
        if any(leg in (load.from_, load.to) for load in o.phasors.take.loads)
    ]


def _louder_loaded(group: Group, leg: str) -> Remark:
    message = (
        f"from these takes the {leg} leg would be louder with a load on it than without, which "
        "nothing passive makes it: the volume was moved between takes, or a load was not plugged "
        "as declared. Repeat this take and the open one at one volume"
    )
    return Remark("contradicting-take", _loading(group, leg)[0], message)


def _impossible(group: Group, leg: str) -> Remark:
    loading = _loading(group, leg)
    message = (
        f"from these takes the {leg} leg would give back what the recorder takes, which no stage "
        "does: something in one of them is not as declared. Check the resistors and the lead, and "
        "repeat this take"
    )
    return Remark("contradicting-take", (loading or [group.takes[0].name])[0], message)
