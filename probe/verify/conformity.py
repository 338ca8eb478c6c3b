"""Deciding with guard bands, after JCGM 106:2012.

What is known of a quantity is a distribution: the measured value with its 95 % interval, each side
of it half of a normal distribution (both sides alike where the interval is not lopsided). With
limits ``[L, U]`` the probability of conformity is ``p = P(L <= Y <= U)`` (JCGM 106, 7.2 and 7.4).
The risk of accepting wrongly is ``1 - p``, that of rejecting wrongly ``p`` (9.3). A line *meets*
where the first is at most the risk agreed on, *fails* where the second is, and cannot be told
between: that is a guard band on both sides of each limit. With one limit and a normal distribution
of standard uncertainty u its width is ``z u``, where ``z`` is the quantile of the risk agreed on:
1.96 u, the expanded uncertainty itself, for 2.5 % (8.3.2, with w = U).
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from statistics import NormalDist
from typing import Any, Literal

from probe.compare.difference import doubts
from probe.numbers import number

Outcome = Literal["meets", "fails", "cannot-tell"]

RISK = 0.025
"""Risk agreed on: the part of a 95 % interval that lies beyond one of its ends."""

BOUND_RISK = 0.05
"""A bound of the facts is true in at least 95 of 100 cases."""

SIGMAS = NormalDist().inv_cdf(0.975)
"""Half a 95 % interval in standard deviations, 1.96."""


@dataclass(frozen=True)
class Belief:
    """What is known of a quantity: two half-normals round the value, or a bound.

    ``down`` and ``up`` are their standard deviations in the unit of ``value``, of a bound those of
    the figure it was made of, 0 where that is not known; ``decibels``: that unit is one of
    20 log10.
    """

    value: float
    down: float
    up: float
    bound: str = ""
    decibels: bool = False

    def below(self, limit: float) -> float:
        """Return the probability that the quantity lies below ``limit``."""
        if math.isinf(limit):
            return 1.0 if limit > 0.0 else 0.0
        spread = self.down if limit < self.value else self.up
        if spread <= 0.0:
            return 1.0 if limit >= self.value else 0.0
        return 0.5 * math.erfc(-(limit - self.value) / (spread * math.sqrt(2.0)))


@dataclass(frozen=True)
class Limits:
    """Tolerance limits, ends included; infinite where there is none."""

    low: float = -math.inf
    high: float = math.inf


@dataclass(frozen=True)
class Decision:
    """The outcome with its risks.

    Attributes
    ----------
    outcome
        ``meets``, ``fails`` or ``cannot-tell``.
    wrong_acceptance
        Risk that the quantity is outside its limits though it were accepted, 0 to 1.
    wrong_rejection
        Risk that it is inside though it were rejected; one less the other, but for bounds.
    guard_low, guard_high
        Acceptance limits: values measured with this doubt between them meet. None where there is
        no such limit.
    """

    outcome: Outcome
    wrong_acceptance: float
    wrong_rejection: float
    guard_low: float | None = None
    guard_high: float | None = None


def belief(entry: Mapping[str, Any]) -> Belief | None:
    """Return what an entry of the facts says; None where it states no value or no doubt."""
    value = number(entry)
    if value is None:
        return None
    bound = str(entry.get("bound") or "")
    if bound:
        of = entry.get("of")
        down, up = doubts(of) if isinstance(of, Mapping) else (0.0, 0.0)
        decibels = str(entry.get("unit") or "").startswith("dB")
        return Belief(value, down / SIGMAS, up / SIGMAS, bound, decibels)
    if number(entry, "u95") is None and number(entry, "low") is None:
        return None
    down, up = doubts(entry)
    return Belief(value, down / SIGMAS, up / SIGMAS)


def as_bound(entry: Mapping[str, Any], bound: Literal["above", "below"]) -> dict[str, Any]:
    """Return a figure as the least or the most that the quantity may be, with what it is made of.

    ``of`` holds the figure itself: how surely the bound keeps a limit follows from its doubt.
    """
    down, up = doubts(entry)
    kept = {k: v for k, v in entry.items() if k not in ("low", "high")}
    end = float(entry["value"]) + (up if bound == "below" else -down)
    of = {k: entry[k] for k in ("value", "u95", "low", "high") if k in entry}
    return {**kept, "value": end, "u95": 0.0, "bound": bound, "of": of}


def decide(known: Belief, limits: Limits, *, risk: float = RISK) -> Decision:
    """Return whether a quantity keeps its limits, at an agreed risk (0 to 0.5)."""
    if known.bound:
        return _from_bound(known, limits, risk)
    inside = known.below(limits.high) - known.below(limits.low)
    inside = min(max(inside, 0.0), 1.0)
    outcome: Outcome = "cannot-tell"
    if 1.0 - inside <= risk:
        outcome = "meets"
    elif inside <= risk:
        outcome = "fails"
    z = NormalDist().inv_cdf(1.0 - risk)
    return Decision(
        outcome,
        1.0 - inside,
        inside,
        None if math.isinf(limits.low) else limits.low + z * known.down,
        None if math.isinf(limits.high) else limits.high - z * known.up,
    )


def _from_bound(known: Belief, limits: Limits, risk: float) -> Decision:
    """Decide from a bound: the farther inside its limit it lies, the smaller its risk.

    On the limit itself the risk is that of the bound, 5 %: more than is usually agreed on.
    """
    if known.bound == "above":
        meets = known.value >= limits.low and math.isinf(limits.high)
        fails = known.value >= limits.high
    else:
        meets = known.value <= limits.high and math.isinf(limits.low)
        fails = known.value <= limits.low
    if meets:
        accepting = _beyond(known, known.bound == "above", limits)
        return Decision("meets" if accepting <= risk else "cannot-tell", accepting, 1.0)
    if fails:
        rejecting = _beyond(known, known.bound == "below", limits)
        return Decision("fails" if rejecting <= risk else "cannot-tell", 1.0, rejecting)
    return Decision("cannot-tell", 1.0, 1.0)


def _beyond(known: Belief, low: bool, limits: Limits) -> float:
    """Return the most a risk can be that a quantity known by its bound lies beyond a limit.

    A quantity that cannot be negative is at most ``B`` in 95 of 100 cases: then the best estimate
    ``m`` >= 0 and ``m + 1.645 s = B``. Beyond ``k B`` it lies with ``1 - Phi((k B - m) / s)``,
    which is largest for ``m`` = 0: ``1 - Phi(1.645 k)``. Of a bound from below the reciprocal.
    Where the bound is the end of the interval of a figure that the quantity does not exceed, the
    risk is at most that of the figure.
    """
    limit = limits.low if low else limits.high
    sigma = known.down if low else known.up
    if sigma > 0.0:
        return NormalDist().cdf(-(abs(known.value - limit) / sigma + SIGMAS))
    if known.decibels:
        times = 10.0 ** (abs(known.value - limit) / 20.0)
    elif known.value > 0.0 and limit > 0.0:
        times = max(known.value / limit, limit / known.value)
    else:
        return BOUND_RISK
    return NormalDist().cdf(NormalDist().inv_cdf(BOUND_RISK) * times)


def all_of(decisions: Sequence[Decision], *, risk: float = RISK) -> Decision:
    """Return the decision on several quantities that must all keep their limits.

    The risks are the most they can be without knowing how the quantities depend on each other:
    of accepting wrongly the sum (Boole), which has to be within the one agreed on as well; of
    rejecting wrongly the smallest.
    """
    accepting = min(1.0, sum(d.wrong_acceptance for d in decisions))
    rejecting = min(d.wrong_rejection for d in decisions)
    outcomes = {d.outcome for d in decisions}
    outcome: Outcome = "cannot-tell"
    if "fails" in outcomes:
        outcome = "fails"
    elif outcomes == {"meets"} and accepting <= risk:
        outcome = "meets"
    only = decisions[0] if len(decisions) == 1 else None
    return Decision(
        outcome,
        accepting,
        rejecting,
        only.guard_low if only else None,
        only.guard_high if only else None,
    )


def any_reading(decisions: Sequence[Decision]) -> Decision:
    """Return the decision on a line that may be read in several ways: only what all agree on."""
    outcomes = {d.outcome for d in decisions}
    outcome: Outcome = decisions[0].outcome if len(outcomes) == 1 else "cannot-tell"
    if len(decisions) == 1:
        return decisions[0]
    return Decision(
        outcome,
        max(d.wrong_acceptance for d in decisions),
        max(d.wrong_rejection for d in decisions),
    )
