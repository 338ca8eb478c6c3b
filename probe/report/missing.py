"""What a side's facts leave open, and the takes that would show it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from probe.report import words
from probe.report.shown import Named

TAKES = {
    **words.NEXT_TAKES,
    "single-ended-loaded": words.NextTake(
        "load on the single-ended output",
        "Keep pin 2 and the single-ended output on the recorder and join a resistor of about "
        "2.2 kΩ from the centre of the RCA to its shell. Same signal and volume as the open take.",
        "the impedance of the single-ended output",
        "load",
    ),
}
"""The takes that are named as the next one, and one that tells nothing of the balanced output."""


@dataclass(frozen=True)
class Missing:
    """Facts worth having, and the takes that would show them."""

    fact: str
    what: str
    takes: tuple[str, ...]
    not_for: tuple[str, ...] = ()
    """Kinds whose nature makes the fact meaningless."""
    beside: str | None = None
    """Another fact of the same output: without it nobody knows that there is one."""


_ONE_WIRE = ("unbalanced", "pin-3-unconnected")
MISSING = (
    Missing("hot_impedance", "impedance of the hot leg", ("load-hot", "inject-hot")),
    Missing("cold_impedance", "impedance of the cold leg", ("inject-cold", "load-cold")),
    Missing("differential_impedance", "impedance between the legs", ("load-across",), _ONE_WIRE),
    Missing(
        "coupling_cold_into_hot",
        "whether the hot leg follows the cold one",
        ("inject-cold", "load-cold"),
        _ONE_WIRE,
    ),
    Missing(
        "coupling_hot_into_cold",
        "whether the cold leg follows the hot one",
        ("inject-hot", "load-hot"),
        _ONE_WIRE,
    ),
    Missing(
        "output_common_mode_rejection",
        "output common-mode rejection",
        ("inject-hot", "inject-cold"),
    ),
    Missing("gain_difference", "gain difference to the single-ended output", ("single-ended",)),
    Missing(
        "single_ended_impedance",
        "impedance of the single-ended output",
        ("single-ended-loaded",),
        beside="single_ended_level",
    ),
)
"""What the guided run asks for (`probe.bench.planned.plan.WANTED`), and what a report wants."""


def missing(kind: str, facts: Mapping[str, Any]) -> list[Missing]:
    """Return what is not known of a side."""
    return [
        m
        for m in MISSING
        if m.fact not in facts and kind not in m.not_for and (m.beside is None or m.beside in facts)
    ]


def unknown(kind: str, stage: Mapping[str, Any], facts: Mapping[str, Any]) -> Iterable[Named]:
    """Yield what is not known, with the takes that would show it."""
    for one in missing(kind, facts):
        takes = " or ".join(TAKES[code].name for code in one.takes)
        yield Named(one.what[:1].upper() + one.what[1:], takes)
    if stage.get("polarity") == "undetermined":
        yield Named("Polarity", TAKES["single-ended"].name)
    if stage.get("path") not in words.PATHS:
        yield Named(
            "Whether the legs have separate paths inside",
            "not told by takes of level and impedance; nothing is claimed",
        )
