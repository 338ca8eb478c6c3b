"""Whether the takes agree: level between takes from residuals, and the take that contradicts."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from probe.phasors.model import Remark
from probe.session.model import Session
from probe.stage import limits
from probe.stage.align import Alignment, align
from probe.stage.fitted import LEGS, Fit
from probe.stage.observations import Group
from probe.stage.solve import fit

Array = NDArray[np.float64]

AMBIGUOUS = 2.0
"""Takes whose removal mends a contradiction within this factor of each other are suspect alike."""


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
    freedom = round(float(np.median(spare[enough])))
    if float(np.median(spare[enough])) >= legs * limits.SPARE_TAKES - 0.1:
        floor = _relative(limits.REPEATABILITY_FLOOR_DB)
        return Repeatability(max(seen, floor), freedom, seen)
    return Repeatability(max(stated, seen), 0, seen)


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


def set_contradiction_aside(
    aligned: Alignment, stated: float
) -> tuple[Alignment, str | None, list[Remark]]:
    """Leave out the one take without which the others agree, if there is such a take."""
    group = aligned.group
    solved = fit(group, LEGS, level=stated, thorough=True)
    seen = repeatability(solved, group, stated).seen
    if seen < limits.CONTRADICTION * stated:
        return aligned, None, []
    trials = []
    for t in range(len(group.takes)):
        rest = fit(group.without(t), LEGS, level=stated, thorough=True)
        left = repeatability(rest, group.without(t), stated)
        if np.median(_learnt(rest)) < np.median(_learnt(solved)) - 0.5 or left.seen == 0.0:
            continue
        trials.append((left.seen, t))
    ratio = seen / stated
    if not trials or min(trials)[0] > limits.CONTRADICTION / 2.0 * stated:
        worst = max(range(len(group.takes)), key=lambda t: take_residual(solved, t))
        name = min(trials)[1] if trials else worst
        return aligned, None, [_contradiction(group.takes[name].name, ratio, kept=True)]
    alike = max(AMBIGUOUS * min(trials)[0], 1.5 * stated)
    mending = [t for left_over, t in trials if left_over <= alike]
    if len(mending) > 1:
        names = [group.takes[t].name for t in mending]
        return aligned, None, [_contradiction(name, ratio, kept=True) for name in names]
    t = min(trials)[1]
    name_out = group.takes[t].name
    fresh = align(_unrotated(aligned).without(t), level=stated)
    return fresh, name_out, [_contradiction(name_out, ratio, kept=False)]


def _learnt(solved: Fit) -> Array:
    """How many directions the takes themselves decide, shape (F,)."""
    size = len(solved.block.terminals)
    takes = solved.whitener.shape[0] - len(solved.known)
    return np.asarray(np.sum(np.abs(solved.hat[:, : takes * size]) ** 2, axis=(1, 2)))


def _unrotated(aligned: Alignment) -> Group:
    return aligned.group.rotated(-aligned.delays)


def _contradiction(take: str, ratio: float, *, kept: bool) -> Remark:
    message = (
        f"this take contradicts the others: together they disagree {ratio:.0f} times more than "
        "the stated repeatability allows"
    )
    tail = "; it was kept and the intervals widened" if kept else "; it was left out"
    return Remark("contradicting-take", take, message + tail + ". Check its leads and repeat it")


def repeatability_remarks(
    repeat: Repeatability, stated: float, solved: Fit, group: Group
) -> list[Remark]:
    """Return a warning where levels differ far more than stated, naming the take."""
    if repeat.seen < limits.POOR_REPEATABILITY * stated:
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
