"""Answers to what is asked, as lines that can be typed, and what is known once they are."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace
from typing import Any

from probe.advice.destination import Destination
from probe.advice.joined_plug import joined
from probe.advice.one_leg import TIED_MOST
from probe.advice.source_file import restated, with_device_line

Lines = tuple[tuple[str, Any], ...]
"""Keys and what is said of them: of a description by hand, of the device, of what is fed."""

LOAD, JOINED = "minimum_load_ohm", "pins 1 and 3 joined in the plug"
"""Said of any device, measured or described."""

PLAYED, CIRCUIT = "level_v", "circuit"
"""Said of the place: the most that is ever played; box and circuit of a balanced input."""

OF_PLACE = frozenset({PLAYED, CIRCUIT})
SMALLER = frozenset({LOAD, PLAYED})
"""Of two figures that are asked for the smaller one is what both come by."""

LARGER = frozenset({TIED_MOST})
"""Of these the larger one."""


def known(
    facts: Mapping[str, Any], sources: Mapping[str, Any], lines: Lines
) -> tuple[Mapping[str, Any], Mapping[str, Any]]:
    """Return facts and sources with answers in them."""
    for key, value in (one for one in lines if one[0] not in OF_PLACE):
        if key == LOAD:
            facts = with_device_line(facts, LOAD, value)
        elif key == JOINED:
            facts, sources = joined(facts, sources)
        else:
            facts, sources = restated(facts, key, value)
    return facts, sources


def placed(destination: Destination, lines: Lines) -> Destination:
    """Return the destination with answers in it."""
    for key, value in lines:
        if key == PLAYED:
            destination = replace(destination, operating_volts=value)
        elif key == CIRCUIT:
            box, circuit = value
            inputs = tuple(
                replace(s, circuit=circuit)
                if (s.box, s.connector, s.circuit) == (box, "xlr", "unknown")
                else s
                for s in destination.inputs
            )
            destination = replace(destination, inputs=inputs)
    return destination


def joint(answers: Iterable[Lines]) -> Lines | None:
    """Return several answers as one, each of which is so; None: not all of them can be."""
    found: dict[str, Any] = {}
    circuits: dict[tuple[str, Any], None] = {}
    for key, value in (line for lines in answers for line in lines):
        if key == CIRCUIT:
            circuits[key, value] = None
        elif key not in found or found[key] == value:
            found[key] = value
        elif key == "kinds":
            found[key] = tuple(kind for kind in found[key] if kind in value)
            if not found[key]:
                return None
        elif key in SMALLER or key.endswith("_ohm"):
            found[key] = min(found[key], value)
        elif key in LARGER:
            found[key] = max(found[key], value)
        else:
            return None
    return (*found.items(), *circuits)
