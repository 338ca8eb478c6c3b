"""What a destination is called in front of a customer, who never typed its short form."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping

from probe.report.text import clean

CONNECTORS = {"rca": "RCA", "xlr": "XLR", "digital-75": "75 ohm digital",
              "digital-110": "110 ohm digital"}  # fmt: skip

_PLUS = re.compile(r"\+(?![\d.,])")
"""Joins the inputs of one box; before a figure it is a sign."""

_NUMBERED = re.compile(r"(.+) (\(no\. \d+\))")
_TYPED = re.compile(rf"({'|'.join(CONNECTORS)})((?::[^:+]+)*)", re.IGNORECASE)
_FIGURED = re.compile(r"\b(?:rca|xlr|digital-\d+):", re.IGNORECASE)
"""In a name that was typed, not given: the connector with its figures."""

ROLES = {"sub": "subwoofer", "subwoofer": "subwoofer", "other": "box", "amplifier": "amplifier"}
"""What a box is, by the word typed for it."""


def place_of(name: object) -> str:
    """Return the name of a box; of one that was only typed, what it is and its inputs.

    ``rca:100k:0.8V`` is "amplifier, RCA input"; a name that somebody gave stays as it is.
    """
    text = clean(name or "the destination")
    if " and " in text and _FIGURED.search(text):
        return " and ".join(place_of(part) for part in text.split(" and "))
    numbered = _NUMBERED.fullmatch(text)
    if numbered is not None:
        return f"{place_of(numbered[1])} {numbered[2]}"
    inputs = [_TYPED.fullmatch(part.strip()) for part in _PLUS.split(text)]
    if not all(inputs):
        return text
    held = [found for found in inputs if found is not None]
    words = {word for found in held for word in found[2].lower().split(":")}
    what = next((said for word, said in ROLES.items() if word in words), "amplifier")
    sockets = list(dict.fromkeys(CONNECTORS[found[1].lower()] for found in held))
    return f"{what}, {' and '.join(sockets)} input{'s' if len(sockets) > 1 else ''}"


def places_of(names: Iterable[object]) -> dict[str, str]:
    """Return the name of each box; where two would be called alike, with the figures typed."""
    boxes = list(dict.fromkeys(str(name) for name in names))
    plain = {box: place_of(box) for box in boxes}
    held = list(plain.values())
    return {
        box: f"{place} ({_figures(box)})" if held.count(place) > 1 and _figures(box) else place
        for box, place in plain.items()
    }


def _figures(box: str) -> str:
    """Return what was typed of a box besides its connectors and what it is."""
    inputs = [part.strip().split(":")[1:] for part in _PLUS.split(clean(box))]
    words = [w for part in inputs for w in part if w.lower() not in ROLES]
    return ", ".join(dict.fromkeys(words))


def named_in(text: str, places: Mapping[str, str]) -> set[str]:
    """Return the boxes that a sentence names."""
    found = set()
    for box in sorted(places, key=len, reverse=True):  # one may begin as another does
        if re.search(rf"(?<![^\s(]){re.escape(clean(box))}(?![^\s,;:).])", text):
            found.add(box)
            text = text.replace(clean(box), "")
    return found


def in_places(text: str, places: Mapping[str, str]) -> str:
    """Return a sentence of the advice with the boxes called as the customer knows them."""
    for box in sorted(places, key=len, reverse=True):
        input_ = rf"(?:: (?:{'|'.join(CONNECTORS)}) input)?"
        text = re.sub(rf"{re.escape(clean(box))}{input_}", lambda _, b=box: places[b], text)  # type: ignore[misc]
    return text
