"""What is offered after a take that was judged or stopped."""

from __future__ import annotations

from probe.bench.judged.judgement import Judgement
from probe.bench.stream.stop import Reason

MOST_ATTEMPTS = 3
"""Of one take, before passing it over is offered as what to do."""

GONE = Judgement("interface-gone", "the interface went away during the take", "make the take again")

TRY = "look what it may have been, and make the take again"

AFTER_STOP = {
    Reason.OVERLOAD: "turn the input gain or the device's volume down; the level is found anew",
    Reason.TOO_LOUD: "turn the device's volume down, and make the take again",
    Reason.DIRECT_VOLTAGE: "disconnect the output and meter its pins again before anything else",
    Reason.RUNAWAY: "something feeds back: no path from the output to the device's input",
    Reason.DISK: "make room on the disk, then make the take again",
}


def choices(
    found: tuple[Judgement, ...],
    usable: bool,
    attempts: int,
    begun_anew: bool,
    *,
    lower: bool = False,
) -> tuple[dict[str, str], str]:
    """Return the answers offered after a judgement, and the one Enter gives.

    ``lower``: the run itself sets the level, and can make the take lower.
    """
    offered = {"a": "again, after putting it right"}
    codes = {j.code for j in found}
    lower = lower and bool(codes & OVERDRIVEN)
    if lower:
        offered["l"] = "again, 6 dB lower"
    if usable:
        offered["k"] = "keep it as it is"
    offered["s"] = "skip this take"
    if NOT_STORED in codes:  # passing takes over would pass them all over
        return offered, "a" if attempts == 1 else "q"
    last = "s"
    if any(j.code in _BASE_LOST for j in found):
        offered["n"] = "begin this side anew with the open take"
        last = "s" if begun_anew else "n"
    if not any(j.again for j in found):
        return offered, "k" if usable else "a"
    if lower and codes & DEVICE_CLIPS and attempts < MOST_ATTEMPTS:
        return offered, "l"
    return offered, last if attempts >= MOST_ATTEMPTS else "a"


NOT_STORED = "not-stored"
"""Code of a take that the disk did not take."""

DEVICE_CLIPS = {"device-clips", "distorted"}
"""What says that an output clips or is overdriven."""

OVERDRIVEN = DEVICE_CLIPS | {"clipped"}
"""What a lower level may cure."""

_BASE_LOST = (
    *("volume-moved", "not-as-before", "other-side"),
    *("legs-exchanged", "pin-2-silent", "pin-3-silent"),
)
"""What may be wrong with the open take rather than with this one."""
