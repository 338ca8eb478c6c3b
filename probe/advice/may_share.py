"""That two leads may come to hang on one output, while it is not decided what is used for a box.

With all chosen the leads are solved as one network, which tells it. What is tried first, asked
first, or would help with another part is on no such network: but who buys two leads for one socket
has to know that they do not fit there.
"""

from __future__ import annotations

from dataclasses import replace

from probe.advice.flip_reasons import ASKED
from probe.advice.model import Advice
from probe.advice.note import Note
from probe.formats.text import all_of

OPENS = frozenset({"lead-first", "asked-first", "origin-first", "transformer", *ASKED})
"""Codes of what may have a lead used that is not chosen."""


def with_sharing_told(advice: Advice) -> Advice:
    """Return the advice with a note for each output that leads of several boxes may come to.

    Not for one that leads which are chosen share: that is told with them.
    """
    notes = tuple(
        Note("may-share-output", "Several leads may come to hang on the "
             f"{output.upper()} output here ({all_of(boxes)}), once what is tried "
             "or asked is settled: the device then needs a "
             "second socket, or a splitter that joins like pins.")
        for output in ("xlr", "rca")
        if len(boxes := _boxes_on(advice, output)) > 1 and len(_chosen_on(advice, output)) < 2
    )  # fmt: skip
    return replace(advice, cautions=(*advice.cautions, *notes)) if notes else advice


def _chosen_on(advice: Advice, output: str) -> list[str]:
    return [c.box for c in advice.choices if (c.option or "").startswith(f"{output}-to-")]


def _boxes_on(advice: Advice, output: str) -> list[str]:
    """Return the boxes with a lead on an output that is chosen, tried, or used with an answer."""
    ways = {c.box: {c.option or ""} for c in advice.choices}
    for one in advice.would_change:
        if one.box in ways and one.code in OPENS:
            ways[one.box].update(one.answers, (other.option for other in one.others))
    return [box for box, held in ways.items() if any(w.startswith(f"{output}-to-") for w in held)]
