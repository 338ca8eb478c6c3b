"""Mains of a place: what their frequency and voltage may be, and both as typed: ``120V/60Hz``."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

from pydantic import Field

from probe.errors import BadInput
from probe.formats.quantity import typed_quantity
from probe.formats.text import quoted

HERTZ = (45.0, 65.0)
"""50 and 60 Hz, and what a small generator strays from them. [practice]"""

VOLTS = (90.0, 260.0)
"""From 100 V less a tenth to 240 V and a little more than a twentieth. [practice]"""

MainsHertz = Annotated[float, Field(ge=HERTZ[0], le=HERTZ[1])]
MainsVolts = Annotated[float, Field(ge=VOLTS[0], le=VOLTS[1])]


@dataclass(frozen=True)
class Mains:
    """Frequency, Hz, and voltage, V, as far as they are said."""

    hz: float | None = None
    volts: float | None = None


def typed_mains(text: str) -> Mains:
    """Return what ``120V/60Hz``, either part alone, or a bare frequency says.

    Raises
    ------
    BadInput
        It says something else, one of them twice, or what no mains are.
    """
    found: dict[str, float] = {}
    for part in text.split("/"):
        hertz, volts = typed_quantity(part, "Hz"), typed_quantity(part, "V", bare=False)
        figure = hertz or volts
        if figure is None or (key := "volts" if hertz is None else "hz") in found:
            raise BadInput(
                f"--mains {quoted(text)}: write 120V/60Hz, or one of both (a number alone is in Hz)"
            )
        found[key] = figure.value
    for key, (least, most), unit in (("hz", HERTZ, "Hz"), ("volts", VOLTS, "V")):
        if not least <= found.get(key, least) <= most:
            raise BadInput(
                f"--mains {quoted(text)}: {found[key]:g} {unit} is no usual mains; "
                f"{least:g} to {most:g} {unit} are allowed, as in 120V/60Hz"
            )
    return Mains(**found)
