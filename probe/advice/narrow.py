"""What would tell where a limit lies inside an interval: the missing take, or what narrows it.

Where every take that is of use was made, the doubt has one of three origins, and each shows in the
draws of the source. Drift between takes and the tolerances of resistors and inputs act on all
tones of a take alike, so that the draws at the lowest tone move with those near 1 kHz. What is
carried down from injected tones moves the low tones together, but not with those near 1 kHz. Noise
moves every tone by itself.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from probe.advice.sampled import Sampled
from probe.advice.subject import SideFacts
from probe.advice.wiring import Option
from probe.advice.words import TAKES
from probe.facts.source import Source

Floats = NDArray[np.float64]

TOGETHER = 0.7
"""Correlation from which two tones have the greater part of their doubt in common: half of the
variance is 0.7 squared."""

PARTS_DB = 0.01
"""Drift below which resistors decide, dB: the 0.1 % that theirs are known to is 0.009 dB."""

LOADED_RCA = "a take of the RCA output with a resistor on it"
CLOSER = "the same takes made again with less drift between them"
SHOWN = "two more open takes, which show how far the device drifts between takes,"
LONGER = "the same takes made again, longer or with more level: noise is what is left of the doubt,"
UNHEARD = "a recorder with inputs of higher impedance (at the lowest tones this one hears its own),"
PARTS = "resistors and recorder inputs that are known more closely, or longer takes,"


def settles(
    option: Option,
    side: SideFacts,
    sampled: Sampled,
    source: Source,
    *,
    typed: bool = False,
    low: bool = False,
) -> str:
    """Return in words the take that would tell what this option rests on.

    ``low``: of a figure that stands at the lowest tones, where those may have a doubt of their own.
    """
    at, stage = sampled.at, side.stage
    if typed:
        measuring = "measuring the output (nothing here was measured)"
        unknown = np.isnan(own_ohm(option, sampled))
        return f"its output impedance in the file, or {measuring}," if unknown else measuring
    if option.from_ == "rca":
        if np.isnan(sampled.leg_voc[0, at, 2]):
            return TAKES["single-ended"]
        if np.isnan(sampled.leg_z[0, at, 2, 2]):
            return LOADED_RCA
        return _once_more(option, side, source, low=low)
    if stage.next_take is not None:
        return TAKES.get(stage.next_take, f"the take {stage.next_take}")
    if side.beyond:
        return f"{TAKES['load-across']}, or a closer figure of the recorder's input impedance,"
    if np.isnan(sampled.leg_z[0, at, 0, 0]):
        return TAKES["load-hot"]
    if np.isnan(sampled.leg_z[0, at, 1, 1]):
        return TAKES["inject-cold" if stage.driven_legs == "one-leg" else "load-cold"]
    if np.isnan(sampled.z[0, at, 0, 0]):
        return TAKES["load-across"]
    return _once_more(option, side, source, low=low)


def own_ohm(option: Option, sampled: Sampled) -> complex:
    """Return the output's own impedance, NaN where nothing is known of it."""
    at = sampled.at
    own = (
        (sampled.leg_z[0, at, 2, 2],)
        if option.from_ == "rca"
        else (sampled.z[0, at, 0, 0], sampled.leg_z[0, at, 0, 0])
    )
    return next((complex(z) for z in own if not np.isnan(z)), complex("nan"))


def _once_more(option: Option, side: SideFacts, source: Source, *, low: bool) -> str:
    """Return what narrows the intervals where every take that is of use was made."""
    own = _of_the_lowest(option, side, source) if low else ""
    if own:
        return own
    if "second-open" not in side.taken:
        return TAKES["second-open"]
    if side.drift_db is None:
        return SHOWN
    return PARTS if side.drift_db < PARTS_DB else CLOSER


def _of_the_lowest(option: Option, side: SideFacts, source: Source) -> str:
    """Return what makes the lowest tones surer, where they have a doubt that others do not."""
    row, column = (2, 2) if option.from_ == "rca" else (0, 1) if option.balanced else (0, 0)
    off = (source.z_draws[:, :, row, column] - source.z[:, row, column]).real
    if np.isnan(source.z[np.argmin(source.hz), row, column]):
        return UNHEARD
    known = np.flatnonzero(np.isfinite(off).all(axis=0)) if len(off) > 1 else np.array([])
    if known.size < 3:
        return ""
    at = known[np.argmin(np.abs(np.log(source.hz[known] / 1000.0)))]
    if at <= known[1] or abs(_correlation(off[:, known[0]], off[:, at])) >= TOGETHER:
        return ""
    if abs(_correlation(off[:, known[0]], off[:, known[1]])) < TOGETHER:
        return LONGER
    return _load(option, side) or LONGER


def _load(option: Option, side: SideFacts) -> str:
    """Return the load that shows at the device's own tones what was only injected."""
    if option.from_ == "rca":
        return "" if "single-ended-loaded" in side.taken else LOADED_RCA
    missing = [t for t in ("load-hot", "load-cold") if t not in side.taken]
    if side.stage.driven_legs == "one-leg":  # a load shows nothing of a silent leg
        missing = [t for t in missing if t == ("load-cold" if side.exchanged else "load-hot")]
    return TAKES[missing[0]] if missing else ""


def _correlation(a: Floats, b: Floats) -> float:
    spread = float(np.std(a) * np.std(b))
    return float(np.mean((a - a.mean()) * (b - b.mean()))) / spread if spread > 0.0 else 1.0
