"""A tone that rises until an output clips: each step judged before the next one comes."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from probe.bench.judged.judgement import CROSSTALK_RATIO, SILENT_RATIO, VOLUME_MOVED, Judgement
from probe.bench.stream.wav import read
from probe.measures.harmonic import orders_below
from probe.measures.lines import heard_in
from probe.measures.maximum import LIMIT_PERCENT
from probe.measures.outputs import outputs_of
from probe.measures.steps import USED
from probe.numbers import write_number
from probe.session.model import Take

ENOUGH_PERCENT = 1.05 * LIMIT_PERCENT
"""Distortion of the output that is looked for, at which the tone stops: clearly past the limit, so
that the analysis finds it passed, too."""

LEG_PERCENT = 3.0
"""Distortion of any other terminal at which it stops: even orders are alike on both legs and cancel
between them, and nobody drives a leg further for that."""

FOLLOWS = 10.0 ** (-3.0 / 20.0)
"""Level over the drive, against the first step, below which an output does not follow any more: a
limiter or a muting relay, which need not distort."""

LITTLE_PERCENT = 0.1
"""Distortion below this is not told while the tone rises: it is not what is looked for."""

NAMES = {"hot": "pin 2", "cold": "pin 3", "differential": "the voltage between the legs"}
NAMES |= {"single_ended": "the single-ended output"}


@dataclass(frozen=True)
class Rung:
    """One step: V rms and THD in percent, by output."""

    drive: float
    volts: Mapping[str, float]
    percent: Mapping[str, float]


@dataclass
class Watching:
    """Judges the steps of one take, in order; called with each by the recorder.

    Attributes
    ----------
    take
        As it will stand in the session; its scales and channels.
    levels, step_s
        Drive of each step, V rms, and how long each lasts.
    expected
        V rms of each channel at the first step, by its role, from a take plugged alike.
    rungs
        What was found.
    wrong
        What speaks against the take: it is not to be kept.
    """

    take: Take
    levels: tuple[float, ...]
    step_s: float
    expected: Mapping[str, float]
    rungs: list[Rung] = field(default_factory=list)
    wrong: Judgement | None = None

    @property
    def main(self) -> str:
        """The output whose maximum is looked for."""
        return main_output(self.take)

    def __call__(self, k: int, path: Path) -> str | None:
        """Return why step ``k``, the last in the file, is the last one, or None."""
        volts = self._heard(k, path)
        self.rungs.append(_rung(self.take, self.levels[k], volts))
        if k == 0:
            # the first step is one that the output has given before: only how it is plugged counts
            self.wrong = self._not_as_before(np.abs(volts[0]))
            return None if self.wrong is None else self.wrong.seen
        return self._enough(self.rungs[-1])

    def _heard(self, k: int, path: Path) -> NDArray[np.complex128]:
        """Return the tone and its harmonics at each channel, V rms, shape (N, C)."""
        rate = self.take.sample_rate
        first = round((k + USED[0]) * self.step_s * rate)
        return _lines(self.take, path, first, round((USED[1] - USED[0]) * self.step_s * rate))

    def _enough(self, rung: Rung) -> str | None:
        for name, percent in rung.percent.items():
            if percent >= (ENOUGH_PERCENT if name == self.main else LEG_PERCENT):
                return f"{NAMES[name]} distorts by {percent:.2g} %"
        first = self.rungs[0]
        if self.main not in rung.percent:
            return None
        follows = (rung.volts[self.main] / rung.drive) / (first.volts[self.main] / first.drive)
        if follows < FOLLOWS:
            return f"{NAMES[self.main]} does not follow its drive any more"
        return None

    def _not_as_before(self, volts: NDArray[np.float64]) -> Judgement | None:
        """Return what to say where the first step is not what the earlier take lets expect."""
        loudest = max(self.expected.values(), default=0.0)
        for role, v in zip(self.take.channels, volts, strict=True):
            wanted = self.expected.get(role, 0.0)
            if wanted <= SILENT_RATIO * loudest:
                if v > 2.0 * SILENT_RATIO * loudest and role in self.expected:
                    return _not_as_before(f"{role} should be silent, and is not")
            elif not 1.0 / VOLUME_MOVED < v / wanted < VOLUME_MOVED:
                if v < CROSSTALK_RATIO * wanted:
                    return _not_as_before(f"nothing is heard on {NAMES[role.replace('-', '_')]}")
                db = 20.0 * np.log10(v / wanted)
                return _not_as_before(f"{role} is {db:+.1f} dB against the take plugged alike")
        return None

    @property
    def passed(self) -> bool:
        """Whether the output that is looked for passed its limit."""
        return self.rungs[-1].percent.get(self.main, 0.0) >= ENOUGH_PERCENT

    def told(self) -> str:
        """Return how far it came, in words."""
        top = self.rungs[-1]
        level = write_number(top.volts[self.main], "V")
        percent = top.percent.get(self.main, 0.0)
        said = f"{percent:.2g} %" if percent > LITTLE_PERCENT else f"less than {LITTLE_PERCENT:g} %"
        return f"{NAMES[self.main]} stood at {level} with {said} distortion"


def main_output(take: Take) -> str:
    """Return the output that a take of one tone is of, as facts name it."""
    return "differential" if "cold" in take.channels else "single_ended"


def distortion_of(take: Take, path: Path, clock_error: float = 0.0) -> dict[str, float]:
    """Return THD in percent of every output that carries signal in a take of one tone."""
    edge = round(EDGE_S * take.sample_rate)
    volts = _lines(take, path, edge, max(take.frames - 2 * edge, 0), clock_error)
    return dict(_rung(take, 1.0, volts).percent)


EDGE_S = 0.1
"""Left out at either end of a take, where its tone may come up or go."""


def _lines(
    take: Take, path: Path, first: int, frames: int, clock_error: float = 0.0
) -> NDArray[np.complex128]:
    """Return the tone and its harmonics at each channel in some frames, V rms, shape (N, C)."""
    scale = np.array([i.volts_full_scale for i in take.inputs])
    hz = take.tones_hz[0] * orders_below(take.tones_hz[0], take.sample_rate)
    samples = read(path, len(take.channels), frames, first) * scale
    return heard_in(samples, take, hz, clock_error).volts


def _rung(take: Take, drive: float, volts: NDArray[np.complex128]) -> Rung:
    found_volts, percent = {}, {}
    for output in outputs_of(take):
        z = volts[:, list(output.channels)] @ np.array(output.signs)
        whole = float(np.sqrt(np.sum(np.abs(z) ** 2)))
        found_volts[output.name] = whole
        rest = float(np.sqrt(np.sum(np.abs(z[1:]) ** 2)))
        percent[output.name] = 100.0 * rest / max(whole, 1e-12)
    loudest = max(found_volts.values(), default=0.0)
    carries = {n: p for n, p in percent.items() if found_volts[n] > SILENT_RATIO * loudest}
    return Rung(drive, found_volts, carries)


def _not_as_before(seen: str) -> Judgement:
    return Judgement(
        "not-as-before",
        seen,
        "the tone did not rise: take every resistor and the injector off, see that the leads are "
        "fully in and the volume is where it was, and make the take again",
    )
