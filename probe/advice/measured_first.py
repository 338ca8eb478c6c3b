"""An output of the device that nobody measured: measured before anything else is bought.

Where a device was measured, a take more costs nothing. So before a lead with something to buy is
used, or nothing at all, for want of what the plain lead's output gives, that one is measured.
"""

from __future__ import annotations

from dataclasses import replace

from probe.advice.model import Advice, Choice
from probe.advice.settle import MISSING_OUTPUT
from probe.advice.words import TAKES

TAKE = {"rca": TAKES["single-ended"], "xlr": "an open take of pins 2 and 3"}


def with_output_measured_first(advice: Advice) -> Advice:
    """Return the advice with that above the choice, of each box that it is so of."""
    codes = {s.code for s in advice.would_change}
    missing = [c for c in MISSING_OUTPUT if f"{c}-output" in codes]
    return replace(advice, choices=tuple(_told(advice, c, missing) for c in advice.choices))


def _told(advice: Advice, choice: Choice, missing: list[str]) -> Choice:
    mine = [o for o in advice.options if o.box == choice.box]
    if any(o.verdict == "use" and o.option.native for o in mine):
        return choice
    says = tuple(
        f"before anything is bought, measure the {connector.upper()} output, too "
        f"({TAKE[connector]}, and one with a resistor on it): {o.option.id}, a plain lead, may do"
        for connector in missing
        for o in mine
        if (o.option.from_, o.option.native, o.verdict) == (connector, True, "cannot-tell")
    )
    return replace(choice, why=(*dict.fromkeys(says), *choice.why))
