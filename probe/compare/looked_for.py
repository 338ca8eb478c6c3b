"""Faults that the takes of a side could not have shown: without them "no fault" says too much."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from probe.numbers import number

NO_LEG_FAULTS = (
    "electronically-floating",
    "transformer-coupled",
    "ground-sensing",
    "unbalanced",
    "pin-3-unconnected",
)
"""Kinds of which unequal legs or dried capacitors are not judged: nothing is left open there."""


LOAD_REFUSED = "why it does not hold its level, or distorts, under the load that was refused"


def not_looked_for(side: Mapping[str, Any]) -> tuple[str, ...]:
    """Return them in words, from a side of a facts document."""
    stage, facts = _table(side, "stage"), _table(side, "facts")
    return tuple(_found(str(stage.get("kind") or "undetermined"), stage, facts))


def _found(kind: str, stage: Mapping[str, Any], facts: Mapping[str, Any]) -> Iterable[str]:
    heard = all(f"{leg}_level" in facts or f"{leg}_recorded" in facts for leg in ("hot", "cold"))
    if not heard:
        yield "dead legs"
        yield "legs in phase"
    if kind not in NO_LEG_FAULTS and not leg_impedances_known(facts):
        yield "unequal leg impedances"
        yield "dried coupling capacitors"
    if stage.get("polarity") == "undetermined":
        yield "exchanged pins"
    if stage.get("refused_loads"):
        yield LOAD_REFUSED


def leg_impedances_known(facts: Mapping[str, Any]) -> bool:
    """Return True where both legs have an impedance that is a value, not a bound."""
    found = [_table(facts, f"{leg}_impedance") for leg in ("hot", "cold")]
    return all(number(entry) is not None and "bound" not in entry for entry in found)


def _table(parent: Mapping[str, Any], key: str) -> Mapping[str, Any]:
    value = parent.get(key)
    return value if isinstance(value, Mapping) else {}
