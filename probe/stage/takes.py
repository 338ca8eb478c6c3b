"""Which takes may be compared, and those in which the device plays on one grid."""

from __future__ import annotations

from collections import Counter

import numpy as np
from numpy.typing import NDArray

from probe.phasors.model import TakePhasors
from probe.session.model import Take
from probe.stage import limits
from probe.stage.observations import LEAST_NOISE_VOLTS, Group, grid_of, observe
from probe.stage.output_silent import without_silent
from probe.stage.source import TERMINALS

Array = NDArray[np.float64]


def choose_takes(
    phasors: tuple[TakePhasors, ...],
) -> tuple[tuple[TakePhasors, ...], dict[str, str], str]:
    """Return takes that may be compared, why the others may not, and their volume."""
    left_out: dict[str, str] = {}
    usable = []
    several = any(p.usable and p.take.signal == "multitone" for p in phasors)
    for p in phasors:
        if not p.usable:
            left_out[p.take.name] = "not usable: " + "; ".join(r.message for r in p.remarks)
        elif p.take.crosstalk:
            left_out[p.take.name] = "only the other side plays: says nothing about this stage"
        elif p.take.driven_input_leg != "both":
            left_out[p.take.name] = "one leg of the input driven: says nothing about the stage"
        elif several and _bare_tone(p.take):
            left_out[p.take.name] = "a single tone without a load: kept for its distortion"
        elif "difference" in p.take.channels:
            left_out[p.take.name] = "a balanced input hears the difference only, not each leg"
        else:
            usable.append(p)
    volumes = Counter(p.take.volume for p in usable)
    volume = volumes.most_common(1)[0][0] if volumes else ""
    for p in usable:
        if p.take.volume != volume:
            left_out[p.take.name] = f"another volume setting ({p.take.volume or 'not stated'})"
    return tuple(p for p in usable if p.take.volume == volume), left_out, volume


def _bare_tone(take: Take) -> bool:
    """Return True for a tone that adds nothing to multitones.

    Of one tone alone no delay can be told: where the drive is not recorded beside it, it would turn
    the levels of the others against each other.
    """
    return take.signal == "tone" and not take.loads and not take.injections


def _hears_the_device(p: TakePhasors) -> bool:
    """Return True where some terminal stands above its noise at most of the tones played."""
    best = np.zeros(int(p.played.sum()))
    for channel, name in enumerate(p.take.channels):
        if name in TERMINALS:
            noise = np.sqrt(np.abs(p.noise[p.played, channel, channel])) + LEAST_NOISE_VOLTS
            best = np.maximum(best, np.abs(p.volts[p.played, channel]) / noise)
    return bool(np.median(best) > limits.HEARD_SIGMAS)


def _drive(phasors: TakePhasors) -> float | None:
    take = phasors.take
    if take.drive_volts is not None:
        return take.drive_volts
    return None if take.drive_dbfs is None else float(10.0 ** (take.drive_dbfs / 20.0))


def played_group(phasors: tuple[TakePhasors, ...]) -> Group | None:
    """Return takes in which the device plays, on one grid, scaled to the first one's drive."""
    playing = [p for p in phasors if p.played.any() and _hears_the_device(p)]
    if not playing:
        return None
    grid = grid_of([p.hz[p.played] for p in playing])
    first = next((d for p in playing if (d := _drive(p)) is not None), None)
    observed = []
    for p in playing:
        drive = _drive(p)
        strength = 1.0 if drive is None or not first else drive / first
        observed.append(observe(p, grid, strength, injected=False))
    return Group(grid, tuple(without_silent(observed)))
