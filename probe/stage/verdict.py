"""What is said of a stage: its kind, how sure, and what else it may be."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from probe.stage import limits
from probe.stage.network import Complex

KINDS = (
    "differential",
    "electronically-floating",
    "transformer-coupled",
    "ground-sensing",
    "impedance-balanced",
    "unbalanced",
    "pin-3-unconnected",
    "faulty",
    "undetermined",
)


NO_ROW = "no kind fits"
"""Working label of a draw that lies between the limits."""


FLOATING = ("electronically-floating", "transformer-coupled")


@dataclass(frozen=True)
class Possible:
    """A kind and the share of draws in it; None where that share was not measured."""

    kind: str
    confidence: float | None


@dataclass(frozen=True)
class Verdict:
    """What the stage is.

    ``silent`` names the leg that carries no signal ("" where both do), ``hot_dead`` is True where
    the polarity shows that the silent hot leg is a dead one and not an exchanged cold one.
    """

    kind: str
    confidence: float
    also_possible: tuple[Possible, ...]
    driven_legs: str
    silent: str
    reasons: tuple[str, ...]
    hot_dead: bool = False
    in_phase: bool = False
    dead_leg: str = ""
    ratio: Complex | None = None
    """Cold over hot, (1 + D,), as the verdict used it."""
    by_inputs: bool = False
    """True where a silent leg may be the recorder's own input and nothing else."""
    alike: bool = False
    """True where what is still possible is the same at the terminals."""
    missing: str = ""
    """The leg whose own impedance the kind hangs on, where no take showed it."""
    unlike: bool = False
    """True where nearly all draws fit no kind, and show no fault that has a name."""


def summarise(
    labels: NDArray[np.str_],
    unmeasured: tuple[str, ...],
    driven: str,
    silent: str,
    reasons: list[str],
    **more: bool | str,
) -> Verdict:
    """Shares of the labels as a verdict; draws that no row fits are undetermined."""
    names, counts = np.unique(labels[1:] if len(labels) > 1 else labels, return_counts=True)
    share = {str(n): float(c / counts.sum()) for n, c in zip(names, counts, strict=True)}
    none = float(share.pop(NO_ROW, 0.0))
    unlike = none >= limits.DECIDED_SHARE
    if unlike:
        reasons.append(
            "no kind of output stage behaves like this, and it shows no fault that has a name: a "
            "sound stage behind an attenuator, a choke or resistors, or a defect"
        )
    share["undetermined"] = share.get("undetermined", 0.0) + none
    known = {k: v for k, v in share.items() if k != "undetermined"}
    best = max(known, key=lambda k: known[k]) if known else "undetermined"
    listed = [
        Possible(k, v)
        for k, v in sorted(known.items(), key=lambda item: -item[1])
        if v >= limits.MENTIONED_SHARE
    ]
    if known and known[best] >= limits.DECIDED_SHARE:
        rest = tuple(p for p in listed if p.kind != best)
        return Verdict(best, known[best], rest, driven, silent, tuple(reasons), **more)  # type: ignore[arg-type]
    named = {p.kind for p in listed}
    listed += [Possible(k, None) for k in unmeasured if k not in named]
    undetermined = share.get("undetermined", 0.0)
    return Verdict(
        "undetermined",
        undetermined,
        tuple(listed),
        driven,
        silent,
        tuple(reasons),
        unlike=unlike,
        **more,  # type: ignore[arg-type]
    )


def whichever(verdict: Verdict, others: Sequence[Verdict]) -> Verdict:
    """Return a verdict that holds with whatever leads may hold, from those with each of them."""
    if all(o.kind == verdict.kind for o in others):
        return verdict
    every = (verdict, *others)
    kinds = dict.fromkeys(k for v in every for k in (v.kind, *(p.kind for p in v.also_possible)))
    kinds.pop("undetermined", None)
    reason = (
        "which kind it is hangs on what the leads hold, which is not as declared: check the leads "
        "and declare their capacitance (probe calibrate measures it)"
    )
    return replace(
        verdict,
        kind="undetermined",
        confidence=1.0,
        also_possible=tuple(Possible(k, None) for k in kinds),
        reasons=(*verdict.reasons, reason),
    )
