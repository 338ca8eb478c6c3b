"""The drawings of a side: its schematic with values, and its voltages as arrows."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from markupsafe import Markup

from probe.numbers import number, write, write_hz
from probe.report import words
from probe.report.curves import Figure, capacitor, phasor_figure
from probe.report.document import entry_of, identifier, listing
from probe.report.names import kind_name, live_pin
from probe.report.schematic import Stage, Values, schematic

_TAPPED_COUPLING = -0.1
"""Below this share the winding of a transformer is tapped to pin 1."""


@dataclass(frozen=True)
class Drawable:
    """One side of a facts document: what its drawings are made from."""

    key: str
    """Of the side in the document; ``name`` is how people call it."""
    name: str
    kind: str
    stage: Mapping[str, Any]
    facts: Mapping[str, Any]
    curves: Mapping[str, Any]


def drawings(side: Drawable) -> Iterable[Figure]:
    """Yield the drawings of one side; what is not known is not drawn."""
    yield Figure(
        "The stage as identified", _schematic(side), _schematic_caption(side.kind, side.facts)
    )
    arrows = phasor_figure(f"{identifier(side.key)}-arrows", side.name, side.curves, side.facts)
    if arrows:
        yield arrows


def _schematic(side: Drawable) -> Markup:
    kind, facts, curves = side.kind, side.facts, side.curves
    faults = tuple(str(code) for code in listing(side.stage, "faults"))
    live = live_pin(side.stage, facts)
    grounded = kind in {"electronically-floating", "transformer-coupled"}
    drawn = Stage(
        kind=kind if kind in words.KINDS else "undetermined",
        live=live,
        tapped=tapped(facts),
        faults=faults,
        values=Values(
            hot=_value(facts, "hot_impedance"),
            cold=_value(facts, "cold_impedance"),
            between=_value(facts, "differential_impedance"),
            together=_value(facts, "common_mode_impedance"),
            hot_level=_value(facts, "hot_level"),
            cold_level=_value(facts, "cold_level"),
            level=_value(facts, "differential_level"),
            single_ended_level=_value(facts, "single_ended_level"),
            single_ended_impedance=_value(facts, "single_ended_impedance"),
        ),
        capacitor_hot="" if grounded else _capacitor(curves, "hot", faults),
        capacitor_cold="" if grounded else _capacitor(curves, "cold", faults),
    )
    about = f"{side.name}, {kind_name(kind, live)}"
    return schematic(f"{identifier(side.key)}-schematic", about, drawn)


def _capacitor(curves: Mapping[str, Any], leg: str, faults: Sequence[str]) -> str:
    suspect = f"coupling-capacitor-{leg}" in faults
    told = capacitor(curves, f"{leg}_impedance", suspect=suspect)
    if suspect:
        return f"suspect: {told}" if told else "suspect capacitor"
    return told


DRAWN = ("hot_impedance", "cold_impedance", "differential_impedance", "common_mode_impedance",
         "hot_level", "differential_level", "single_ended_impedance")  # fmt: skip
"""Facts in the drawing; each stands at a tone of its own where only injected tones show it."""


def _schematic_caption(kind: str, facts: Mapping[str, Any]) -> str:
    if kind == "undetermined":
        return "Nothing is drawn that the takes do not show."
    parts = ["A drawing of how the stage behaves at its terminals, not of the parts inside."]
    found = [number(entry_of(facts, name), "at_hz") for name in DRAWN]
    tones = list(dict.fromkeys(write_hz(hz) for hz in found if hz))
    if tones:
        which = " (which, the table has)" if len(tones) > 1 else ""
        at = " or ".join(tones)
        parts.append(f"Values at {at}{which} with their 95\u00a0% intervals.")
    if "single_ended_level" in facts:
        parts.append("How the single-ended output is fed inside is not told by these takes.")
    return " ".join(parts)


def _value(facts: Mapping[str, Any], name: str) -> str:
    entry = entry_of(facts, name)
    return "" if number(entry) is None or entry is None else write(entry, positive=True).whole


def tapped(facts: Mapping[str, Any]) -> bool:
    """Return whether the couplings are those of a winding tapped to pin 1."""
    coupling = number(entry_of(facts, "coupling_cold_into_hot"))
    return coupling is not None and coupling < _TAPPED_COUPLING
