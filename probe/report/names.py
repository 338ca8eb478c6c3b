"""What people are shown for devices, kinds, faults and moments; whatever is unknown as it is."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from probe.numbers import number
from probe.report import words
from probe.report.document import entry_of
from probe.report.shown import Named
from probe.report.text import clean

NOT_DRIVEN = "did not drive a load that was tried"
"""Of a side with a refused load, where its faults stand."""


def device_name(device: Mapping[str, Any]) -> str:
    """Return maker and model on one line, harmless, or a placeholder."""
    parts = (clean(device.get(part) or "", 60) for part in ("maker", "model"))
    return " ".join(part for part in parts if part) or "Unnamed device"


def kind_name(kind: str, live: int = 2) -> str:
    """Return a kind as people are shown it; ``live`` is the driven pin where only one is."""
    text = words.KINDS.get(kind, clean(kind, 40))
    return text.replace("{live}", str(live)).replace("{other}", str(5 - live))


def split_name(name: str) -> tuple[str, str]:
    """Return a kind's name and the part of it that stood in brackets."""
    head, _, rest = name.partition(" (")
    return head[:1].upper() + head[1:], rest.rstrip(")")


def live_pin(stage: Mapping[str, Any], facts: Mapping[str, Any]) -> int:
    """Return the pin that carries the signal, or that is not inverted: 2 or 3."""
    if stage.get("polarity") == "pin-3-hot":
        return 3
    levels = [
        number(entry_of(facts, f"{leg}_level") or entry_of(facts, f"{leg}_recorded")) or 0.0
        for leg in ("hot", "cold")
    ]
    return 3 if stage.get("driven_legs") == "one-leg" and levels[1] > levels[0] else 2


def fault(code: object) -> Named:
    """Return a fault's name and meaning; an unknown code is shown as it is."""
    known = words.FAULTS.get(str(code))
    return Named(*known) if known else Named(clean(code).replace("-", " "), "")


def when(value: object) -> str:
    """Return a moment of the document as people write it."""
    try:
        when = datetime.fromisoformat(str(value).replace("Z", "+00:00"))
    except ValueError:
        return clean(value or "", 40)
    zone = " UTC" if when.utcoffset() is not None and not when.utcoffset() else ""
    return f"{when.day} {when:%B %Y, %H:%M}{zone}"
