"""What the stage is, decided on every draw; a kind's confidence is the share of draws in it.

Order: is a silent leg tied or open (from its own impedance, because the strays of an open pin make
any coupling), then the coupling of the legs, then their ratio. A kind is never stated from a
quantity that was not measured: then the stage is undetermined and what is left is listed.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from probe.stage import limits
from probe.stage.both_legs import both_legs
from probe.stage.evidence import CONTRADICTS, Evidence, gather
from probe.stage.one_leg import one_leg
from probe.stage.verdict import FLOATING, KINDS, Possible, Verdict


def decide(evidence: Evidence) -> Verdict:
    """Name the stage from the evidence."""
    if evidence.ratio is None:
        return Verdict(
            "undetermined",
            1.0,
            tuple(Possible(k, None) for k in KINDS[:-2]),
            "none",
            "",
            ("no take hears both legs open while the device plays",),
        )
    size = np.abs(evidence.ratio)
    limit = 10.0 ** (limits.SILENT_LEG_DB / 20.0)
    if not evidence.clean:
        return _contradicted(evidence)
    if size[0] < limit:
        return replace(one_leg(evidence, "cold"), ratio=evidence.ratio)
    if size[0] > 1.0 / limit:
        return replace(one_leg(evidence, "hot"), ratio=evidence.ratio)
    return replace(both_legs(evidence), ratio=evidence.ratio)


def _contradicted(evidence: Evidence) -> Verdict:
    """No kind is stated from takes of which at least one is not what it is declared to be."""
    possible = tuple(Possible(k, None) for k in KINDS[:-1])
    return Verdict(
        "undetermined",
        1.0,
        possible,
        "both-legs",
        "",
        ("takes contradict each other: no kind is stated until one of them is repeated",),
        ratio=evidence.ratio,
    )


__all__ = [
    "CONTRADICTS",
    "FLOATING",
    "KINDS",
    "Evidence",
    "Possible",
    "Verdict",
    "decide",
    "gather",
]
