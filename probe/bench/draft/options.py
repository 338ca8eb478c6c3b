"""What somebody says on the command line to a draft, checked."""

from __future__ import annotations

from probe.bench.draft.text import Part
from probe.bench.planned.kit import Kit
from probe.errors import BadInput
from probe.formats.text import quoted

PLACES = {"leg": "R1", "across": "R3", "single-ended": "R4"}
"""Where a load may hang, and the name its resistor gets where nobody named it."""

DEFAULT_PERCENT = 1.0


def parts_of(kit: Kit | None, typed: dict[str, str | None]) -> tuple[dict[str, Part], Part | None]:
    """Return the loads by place and the injector: as typed, else of the kit."""
    loads = {}
    for place, name in PLACES.items():
        text = typed.get(place)
        kept = kit.loads_for(place) if kit is not None else ()
        if text is not None:
            loads[place] = _part(text, f"--{place}-ohm", name)
        elif kept:
            loads[place] = Part(kept[-1].ohm, kept[-1].u95_percent, kept[-1].part)
    text = typed.get("inject")
    injector = None
    if text is not None:
        injector = _part(text, "--inject-ohm", "R2")
    elif kit is not None and kit.injector is not None:
        part = kit.injector
        injector = Part(part.ohm, part.u95_percent, part.part)
    return loads, injector


def _part(text: str, option: str, name: str) -> Part:
    """Read ``604`` or ``604,0.1``: ohm and percent."""
    words = text.split(",")
    try:
        ohm, percent = float(words[0]), float(words[1]) if len(words) > 1 else DEFAULT_PERCENT
    except ValueError as error:
        raise BadInput(
            f"{option} {quoted(text)}: ohms are needed, or ohms and percent as 604,0.1"
        ) from error
    if len(words) > 2 or not 1.0 <= ohm <= 1e7 or not 0.0 <= percent <= 20.0:
        raise BadInput(f"{option} {quoted(text)}: 1 to 1e7 ohm and at most 20 % can be used")
    return Part(ohm, percent, name)


def channel_of(number: int | None) -> int | None:
    """Return the channel as counted from 0."""
    if number is not None and number < 1:
        raise BadInput(f"--hot {number}: channels are counted from 1")
    return None if number is None else number - 1


def volts_of(value: float | None, option: str) -> float | None:
    """Return volts of an injector, rms per tone, checked."""
    if value is not None and not 0.0 <= value <= 10.0:
        raise BadInput(f"{option} {value:g}: 0 to 10 V rms per tone can be used")
    return value
