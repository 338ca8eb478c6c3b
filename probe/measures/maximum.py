"""Maximum output: the level at 1 % THD, from a tone that rises in steps.

Distortion is known at the steps only. Between the last step below 1 % and the first above it the
wave of the first above says how the output bends (`probe.measures.bend`): the output is taken as a
curve without memory, and the same curve driven less shows where 1 % is passed. How far that is
from what the step below shows, and what fewer harmonics would say, is the doubt of it; the
recorder's scale adds its own.
"""

from __future__ import annotations

from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from probe.measures.bend import Bend, Passed
from probe.measures.harmonic import weights_at
from probe.measures.loading import DRAWS
from probe.measures.model import Curve, Part, Subject, merged
from probe.measures.outputs import outputs_of
from probe.measures.projected import Projection, of_take
from probe.measures.statement import Entry, interval
from probe.measures.steps import CLIP_LEVEL, Steps, steps_of

Array = NDArray[np.float64]

LIMIT_PERCENT = 1.0
"""Distortion at which an output is at its maximum (the usual convention where nothing else is
rated)."""

HEARD = 30.0
"""Standard deviations at which a leg carries the tone at the loudest step."""

BOUND = 0.95
"""Share of the draws of the scale on the right side of a bound."""

APART = 0.02
"""Relative difference of drive beyond which one leg clips before the other."""


def maximum(subject: Subject) -> Part:
    """Return the maximum of every output that a take of level steps hears."""
    parts: list[Part] = []
    stated: set[str] = set()
    for take in subject.takes("level-steps"):
        if take.level_steps is None or take.loads or take.state != "play":
            continue
        found = steps_of(take, take.level_steps)
        if found is None:
            continue
        facts, curves = _of_take(subject, found)
        fresh = {n: e for n, e in facts.items() if n not in stated}
        again = {n: e for n, e in facts.items() if n in stated}
        parts.append(Part(facts=fresh, curves={n: c for n, c in curves.items() if n not in stated}))
        if again:
            condition = {"take": take.name, "volume": take.volume, "tone_hz": take.tones_hz[0]}
            parts.append(Part(facts_at=({"condition": condition, "facts": again},)))
        stated |= facts.keys() | curves.keys()
    return merged(parts)


def _of_take(subject: Subject, found: Steps) -> tuple[dict[str, Entry], dict[str, Curve]]:
    facts: dict[str, Entry] = {}
    curves: dict[str, Curve] = {}
    drives: dict[str, float] = {}
    for output in outputs_of(found.take):
        shown = of_take(subject.source, found.take, output)
        one = _Rising(found, shown)
        if not one.heard:
            continue
        facts[f"{output.name}_maximum"] = _entry(found, one)
        curves[f"{output.name}_thd_against_level"] = one.curve()
        drives[output.name] = one.drive()
    if {"hot", "cold", "differential"} <= drives.keys():
        facts["differential_maximum"]["first"] = _first(drives["hot"], drives["cold"])
    return facts, curves


def _first(hot: float, cold: float) -> str:
    """Return the leg that clips at the lower drive."""
    if np.isinf(hot) and np.isinf(cold):
        return "neither"
    if np.isfinite(hot) and np.isfinite(cold) and abs(np.log(hot / cold)) < APART:
        return "together"
    return "hot" if hot < cold else "cold"


class _Rising:
    """Level and distortion of one output at every step the recorder did not clip."""

    def __init__(self, found: Steps, output: Projection) -> None:
        self.output = output
        channels = list(output.channels)
        w = weights_at(output, found.hz)
        good = ~found.clipped
        v, sd = found.volts[good][:, :, channels], found.sd[good][:, :, channels]
        z = np.einsum("fc,kfc->kf", w[0], v)
        noise = np.sqrt(np.einsum("fc,kfc->kf", np.abs(w[0]) ** 2, sd**2))
        self.drives = found.levels[good]
        self.volts = z
        scales = np.array([found.take.inputs[c].volts_full_scale for c in channels])
        reach = CLIP_LEVEL * scales / np.sqrt(2.0)
        self.full_scale = float(np.sum(np.abs(w[0, 0]) * reach))
        power = np.sum(np.abs(z[:, 1:]) ** 2 - noise[:, 1:] ** 2, axis=1)
        self.variance = np.sum(
            noise[:, 1:] ** 4 + 2.0 * noise[:, 1:] ** 2 * np.abs(z[:, 1:]) ** 2, axis=1
        )
        carrier = np.abs(z[:, 0]) ** 2
        self.power = power
        self.level = np.sqrt(carrier + np.maximum(power, 0.0))
        self.percent = 100.0 * np.sqrt(np.maximum(power, 0.0)) / np.maximum(self.level, 1e-300)
        self.noise_percent = (
            100.0 * np.sqrt(1.645 * np.sqrt(np.sum(noise[:, 1:] ** 4, axis=1))) / self.level
        )
        loudest = int(np.argmax(carrier)) if len(carrier) else 0
        self.heard = bool(len(carrier)) and abs(z[loudest, 0]) > HEARD * noise[loudest, 0]
        sums = np.abs(np.einsum("dc,kc->dk", w[:, 0], v[:, 0])) if len(carrier) else np.ones((1, 1))
        last = sums[:, -1]
        self.scale = last / last[0]

    def crossing(self) -> int | None:
        """Return the first step at or above the limit."""
        above = np.flatnonzero(self.percent >= LIMIT_PERCENT)
        return int(above[0]) if len(above) else None

    @cached_property
    def passed(self) -> Passed:
        """Where the limit is passed below the first step at or above it."""
        k = self.crossing()
        assert k is not None
        assert k > 0
        bend = Bend(self.volts[k], float(self.drives[k - 1] / self.drives[k]))
        return bend.passes(LIMIT_PERCENT, float(self.percent[k - 1]), float(self.percent[k]))

    def drive(self) -> float:
        """Return the drive at which the limit is crossed; infinite where it is not."""
        k = self.crossing()
        if k is None:
            return np.inf
        return float(self.drives[0] if k == 0 else self.drives[k] * self.passed.drive)

    def curve(self) -> Curve:
        """Return distortion against level."""
        u = np.sqrt(self.variance) / np.maximum(self.power, 1e-300)
        told = (self.power > 2.5 * np.sqrt(self.variance)) & (self.percent > self.noise_percent)
        value = [float(p) if t else None for p, t in zip(self.percent, told, strict=True)]
        u95 = [
            float(0.98 * r * p) if t else None
            for p, r, t in zip(self.percent, u, told, strict=True)
        ]
        return {
            "unit": "%",
            "volts": self.level.tolist(),
            "value": value,
            "u95": u95,
            "limit": self.noise_percent.tolist(),
        }


def _entry(found: Steps, one: _Rising) -> Entry:
    """Return the level at the limit: V rms of the whole output, open circuit."""
    rng = np.random.default_rng(17)
    k = one.crossing()
    clipped = bool(found.clipped.any())
    scale = one.scale
    if k is None:
        least = float(one.level.max() * np.quantile(scale[1:], 1.0 - BOUND))
        entry: Entry = {"value": least, "unit": "V", "u95": 0.0, "bound": "above"}
        if clipped:
            entry["limited_by_bench"] = True
    elif k == 0:
        top = float(one.level[0] * np.quantile(scale[1:], BOUND))
        entry = {"value": top, "unit": "V", "u95": 0.0, "bound": "below"}
    else:
        passed = one.passed
        draws = passed.volts * np.exp(passed.doubt * rng.standard_normal(DRAWS)) * scale[1:]
        entry = {**interval(passed.volts, draws), "unit": "V"}
    entry["scale"] = one.output.scale(found.take, scale)
    entry["limit"], entry["limit_is"] = one.full_scale, "most"
    entry["at_hz"] = float(found.hz[0])
    entry["at_percent"] = LIMIT_PERCENT
    entry["takes"] = [found.take.file]
    return entry
