"""An output whose pin 3 is connected to nothing, at an input that listens to pin 3.

Pins 1 and 3 joined in the plug at the device are the same circuit as an output whose pin 3 stands
at its ground inside, and no amplifier works into that joint: so it is solved and judged as such.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from probe.advice.model import Advice, Settling
from probe.advice.source_file import possible_kinds, restated

UNCONNECTED = "pin-3-unconnected"
LEAD = "xlr-to-xlr"


def joined_plug(
    advice: Advice, facts: Mapping[str, Any], ask: Any, boxes: set[str]
) -> dict[str, Settling]:
    """Return what opens a way for a box by a joint in the plug, of a device that is described.

    Only where pin 3 is connected to nothing for certain: on a driven one it would be a short
    circuit. ``ask`` answers for facts, sources and the ways asked about.
    """
    if possible_kinds(facts) != (UNCONNECTED,):
        return {}
    among = frozenset(
        (o.socket, LEAD) for o in advice.options if o.box in boxes and o.option.id == LEAD
    )
    if not among:
        return {}
    again: Advice = ask(*restated(facts, "kinds", ("unbalanced",)), among)
    what = (
        "have an XLR lead made with pins 1 and 3 joined in the plug at the device (there pin 3 is "
        "connected to nothing: a meter shows an open contact from it to pins 1 and 2, else do not "
        "join it): with that lead"
    )
    return {
        o.box: Settling("joined-plug", what, (LEAD,), o.box)
        for o in again.options
        if o.box in boxes and o.used.verdict in ("use", "works")
    }
