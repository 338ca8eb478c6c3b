"""Loads that a device did not drive while it was measured, against the load a line states.

What is solved from a measured stage holds while the device drives the load. Into one as hard as a
load that was tried and refused it gives no more than that, and may give less.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from probe.numbers import number, write_number

AS_HARD = 1.1
"""A load of up to this times the ohms of the refused one is as hard on the output: resistors of
5 % on both sides (common practice, no source)."""


def refused_as_hard(stage: Mapping[str, Any], ohm: float, into: str) -> str | None:
    """Return what was refused that is no harder than a stated load, in words; None without any.

    Parameters
    ----------
    stage
        Of the side: ``refused`` lists what was tried.
    ohm, into
        The stated load; ``between-legs`` loads each leg with half of it, as seen from pin 1. What
        one output of a device does not drive is not promised of another.
    """
    leg = ohm / 2.0 if into == "between-legs" else ohm
    for one in stage.get("refused") or ():
        tried = number(one, "ohm") if isinstance(one, Mapping) else None
        if tried is None:
            continue
        across = {one.get("from"), one.get("to")} == {"hot", "cold"}
        if leg <= AS_HARD * (tried / 2.0 if across else tried):
            load = f"{write_number(tried, 'ohm')} from {one.get('from')} to {one.get('to')}"
            return f"the device did not drive {load}: {one.get('seen')}"
    return None
