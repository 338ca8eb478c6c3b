"""Answers to what is asked, as lines that can be typed, and what is known once they are."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace
from typing import Any

from probe.advice.destination import Destination
from probe.advice.ground import GroundPath
from probe.advice.joined_plug import joined
from probe.advice.source_file import restated, with_device_line

Lines = tuple[tuple[str, Any], ...]
"""Keys and what is said of them: of a description by hand, of the device, of what is fed."""

LOAD, JOINED = "minimum_load_ohm", "pins 1 and 3 joined in the plug"
"""Said of any device, measured or described."""

PLAYED, CIRCUIT, READING = "level_v", "circuit", "ground"
"""Said of the place: the most that is ever played; a box with the circuit of its balanced input,
or with the ground between the two as a second reading of the meter has it."""

OF_BOX = frozenset({CIRCUIT, READING})
OF_PLACE = OF_BOX | {PLAYED}
SMALLER = frozenset({LOAD, PLAYED})
"""Of two figures that are asked for the smaller one is what both come by."""


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
        elif key == READING:
            destination = with_reading(destination, *value)
    return destination


def with_reading(destination: Destination, box: str, ground: GroundPath) -> Destination:
    """Return the destination with the second reading for each lead that has a first one alone."""
    inputs = tuple(
        replace(s, ground=ground) if s.box == box and s.ground.first_alone else s
        for s in destination.inputs
    )
    return replace(destination, inputs=inputs)


def joint(answers: Iterable[Lines]) -> Lines | None:
    """Return several answers as one, each of which is so; None: not all of them can be."""
    found: dict[str, Any] = {}
    of_boxes: dict[tuple[str, Any], None] = {}
    for key, value in (line for lines in answers for line in lines):
        if key in OF_BOX:
            of_boxes[key, value] = None
        elif key not in found or found[key] == value:
            found[key] = value
        elif key == "kinds":
            found[key] = tuple(kind for kind in found[key] if kind in value)
            if not found[key]:
                return None
        elif key in SMALLER or key.endswith("_ohm"):
            found[key] = min(found[key], value)
        else:
            return None
    return (*found.items(), *of_boxes)
