"""Whether the single-ended output carries the tones that the legs beside it carry.

A lead that is not plugged in, a muted output and a dead one look the same to the recorder: noise.
What noise says of angles and ratios is chance, so nothing is compared with it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from probe.phasors.thresholds import HEARD
from probe.stage import limits
from probe.stage.observations import Observed

SINGLE = 2
"""Its place among the terminals."""


def stands_out(observed: Observed, terminal: int) -> NDArray[np.bool_]:
    """Return at which tones a terminal stands above its noise and the recorder's crosstalk."""
    variance = np.abs(observed.noise[:, terminal, terminal])
    return np.asarray(np.abs(observed.volts[:, terminal]) ** 2 > HEARD * variance)


def hears_single_ended(observed: Observed) -> bool:
    """Whether the single-ended channel of a take carries any of the tones."""
    return bool(stands_out(observed, SINGLE).any())


def listens(observed: Observed) -> bool:
    """Whether a take has a channel on the single-ended output, be it without a signal."""
    return "single-ended" in observed.phasors.take.channels


def without_silent(takes: Sequence[Observed]) -> list[Observed]:
    """Return takes with the single-ended channel taken out where it is silent and others hear it.

    Together they would make an impedance of a lead that was not plugged in.
    """
    if not any(hears_single_ended(o) for o in takes if o.recorded[SINGLE]):
        return list(takes)
    return [o if not o.recorded[SINGLE] or hears_single_ended(o) else _deaf(o) for o in takes]


def _deaf(observed: Observed) -> Observed:
    recorded = observed.recorded.copy()
    recorded[SINGLE] = False
    return replace(observed, recorded=recorded)


@dataclass(frozen=True)
class Silent:
    """What speaks for an output without a signal: ``sure``, or ``message`` with what would tell."""

    sure: bool
    message: str = ""


AGAIN = (
    "check that its lead is plugged in, on the channel that is named for it, and that the output "
    "is neither muted nor turned down; then take it again"
)


def silent_output(takes: Sequence[Observed]) -> Silent | None:
    """Judge the single-ended output against the legs of the same side; None where it is sound.

    Nothing is said where its noise would hide a signal as small as a silent leg's.
    """
    heard = [o for o in takes if listens(o)]
    silent = [o for o in heard if not hears_single_ended(o)]
    if silent and len(silent) < len(heard):
        names = ", ".join(f'"{o.name}"' for o in silent)
        others = ", ".join(f'"{o.name}"' for o in heard if o not in silent)
        hears = "hears" if len(heard) - len(silent) == 1 else "hear"
        return Silent(False, f"nothing of it is heard in {names}; {others} {hears} it: {AGAIN}")
    free = [o for o in heard if not o.phasors.take.loads]
    legs = _legs(takes)
    below = [_far_below(o, legs) for o in free or heard]
    if not below or not all(below):
        return None
    if silent and free:
        return Silent(True)
    if silent:
        return Silent(False, f"nothing of it is heard, and every take has a load on it: {AGAIN}")
    least = -limits.SILENT_LEG_DB
    says = (
        f"what is heard of it lies more than {least:.0f} dB below the legs, as what leaks into an "
        "output without a signal does"
    )
    return Silent(False, f"{says}: {AGAIN}")


def silent_legs(takes: Sequence[Observed]) -> dict[str, Silent]:
    """Return the legs of a side on which no take hears anything while its other output plays.

    A leg that was never recorded beside what plays may have been taken while nothing played.
    """
    playing = [o for o in takes if o.recorded[SINGLE] and hears_single_ended(o)]
    found = {}
    for leg, name in enumerate(("hot", "cold")):
        beside = [o for o in playing if o.recorded[leg]]
        if not playing or any(stands_out(o, leg).any() for o in takes if o.recorded[leg]):
            continue
        message = f"no take hears it beside the single-ended output, which plays: {LEG_AGAIN}"
        found[name] = Silent(bool(beside), message)
    return found


LEG_AGAIN = (
    "check that the lead from the XLR is plugged in, each pin on the channel that is named for "
    "it, and take them again"
)


def _legs(takes: Sequence[Observed]) -> dict[int, float]:
    """Return the larger leg per unit of drive at each tone of the grid, V."""
    found: dict[int, float] = {}
    for o in takes:
        for row, tone in enumerate(o.tones):
            for leg in (0, 1):
                if o.recorded[leg] and o.strength[row] > 0.0 and stands_out(o, leg)[row]:
                    size = float(abs(o.volts[row, leg]) / o.strength[row])
                    found[int(tone)] = max(found.get(int(tone), 0.0), size)
    return found


def _far_below(observed: Observed, legs: dict[int, float]) -> bool:
    """Whether no tone that a leg carries can be there within the limit of a silent leg."""
    share = 10.0 ** (limits.SILENT_LEG_DB / 20.0)
    most = np.abs(observed.volts[:, SINGLE])
    most = most + np.sqrt(HEARD * np.abs(observed.noise[:, SINGLE, SINGLE]))
    told = [
        bool(most[row] < share * legs[int(tone)] * observed.strength[row])
        for row, tone in enumerate(observed.tones)
        if int(tone) in legs
    ]
    return bool(told) and sum(told) > 0.5 * len(told)
