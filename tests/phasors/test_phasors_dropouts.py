"""Lost samples: told, or without harm; and never told of where nothing was lost."""

from __future__ import annotations

from itertools import product

import numpy as np
import pytest
from numpy.typing import NDArray

from probe.phasors import TakePhasors, measure_take

from .recordings import TONES, phasors, sound, take

INJECTED = (31.7, 127.9, 523.3, 883.3, 2221.1, 8887.7, 15013.3)
MOSTLY_LOW = (20.0, 41.0, 83.0, 127.0, 151.0, 167.0, 211.0, 251.0, 331.0, 19997.0)
LOST = (1, 2, 5, 37, 200, 1000, 4801)
QUIET = 1e-9
MINUS_70_DB = 10 ** (-70 / 20) * 0.3 / 8.0
"""Noise 70 dB below a tone of 0.3 V on an input of 8 V."""


class Recorded:
    """A take with device tones, a weak injection beside them if asked for, and the truth."""

    def __init__(
        self,
        seconds: float,
        *,
        tones: tuple[float, ...] = TONES,
        clocks: tuple[float, float] | tuple[float] = (0.0,),
        noise: float = QUIET,
    ) -> None:
        rng = np.random.default_rng(7)
        injected = INJECTED if len(clocks) == 2 else ()
        self.take = take(tones, injected=injected, seconds=seconds)
        self.played = phasors(rng, len(tones), (0.3, 0.25))
        self.injected = phasors(rng, len(INJECTED), (0.003, 0.01))
        self.samples = sound(self.take, np.array(tones), self.played, clocks[0])
        if injected:
            self.samples += sound(self.take, np.array(injected), self.injected, clocks[1])
        self.samples += noise * rng.standard_normal(self.samples.shape)

    def without(self, lost: int, at: float) -> TakePhasors:
        """The take measured where ``lost`` samples are missing ``at`` this share of it."""
        first = int(at * len(self.samples))
        left = np.concatenate([self.samples[:first], self.samples[first + lost :]])
        return measure_take(self.take, 50.0, pieces=[left.astype(np.float32)])

    def right(self, found: TakePhasors) -> bool:
        """Whether every level is that put in, within 0.05 dB and its own doubt."""
        mine = found.injected.any(axis=1)
        return _right(found, ~mine, self.played) and (
            not mine.any() or _right(found, mine, self.injected)
        )


def _right(found: TakePhasors, which: NDArray[np.bool_], true: NDArray[np.complex128]) -> bool:
    s = np.sqrt(np.diagonal(found.noise[which], axis1=1, axis2=2).real)
    bound = np.abs(true) * (10 ** (0.05 / 20) - 1) + 2.0 * s
    return bool(np.all(np.abs(np.abs(found.volts[which]) - np.abs(true)) <= bound))


def codes(found: TakePhasors) -> set[str]:
    return {r.code for r in found.remarks}


@pytest.mark.parametrize(
    ("recorded", "lost"),
    [
        (Recorded(2.0, clocks=(300e-6, 300e-6)), (37, 200)),
        (Recorded(2.0, clocks=(300e-6, 0.0), noise=MINUS_70_DB), (37,)),
        (Recorded(2.0), (1, 37)),
        (Recorded(2.0, tones=MOSTLY_LOW), (1, 1000)),
    ],
    ids=["one-clock", "two-clocks", "no-injection", "mostly-low"],
)
def test_samples_lost_half_way(recorded: Recorded, lost: tuple[int, ...]) -> None:
    for count in lost:
        found = recorded.without(count, 0.5)
        assert "dropout" in codes(found)
        # source: the phasors put in; one half of the take is whole
        assert recorded.right(found)
    whole = recorded.without(0, 0.5)
    assert not codes(whole) - {"clock-foreign", "tone-on-hum"}
    # source: the phasors put in
    assert recorded.right(whole)


def test_noise_that_hides_the_injected_tones_is_no_lost_sample() -> None:
    # closed form: noise 38 dB above an injected tone of 3 mV in the samples; a chunk of 50 ms
    # gains 10 log10(1200) = 31 dB, the whole take 10 log10(48000) = 47 dB
    recorded = Recorded(2.0, clocks=(0.0, 0.0), noise=0.25 / 8.0)
    found = recorded.without(0, 0.5)
    assert found.usable
    assert not codes(found) & {"dropout", "level-moved", "disturbed"}
    # source: the phasors put in
    assert recorded.right(found)


CLOCKS: tuple[tuple[float, float] | tuple[float], ...] = (
    (0.0,),
    (300e-6,),
    (0.0, 0.0),
    (300e-6, 300e-6),
    (300e-6, 0.0),
    (0.0, 120e-6),
)


@pytest.mark.long
@pytest.mark.parametrize(("seconds", "every"), [(2.0, 1), (4.0, 3)])
def test_every_loss_is_told_or_does_no_harm(seconds: float, every: int) -> None:
    # each length of loss at each place (of the longer take every third), clocks in turn
    made: dict[int, Recorded] = {}
    cases = list(product((0, *LOST), (0.1, 0.3, 0.5, 0.7)))
    for turn, (lost, at) in list(enumerate(cases))[::every]:
        which = turn % len(CLOCKS)
        noise = (QUIET, MINUS_70_DB)[turn // len(CLOCKS) % 2]
        recorded = made.setdefault(which, Recorded(seconds, clocks=CLOCKS[which], noise=noise))
        found = recorded.without(lost, at)
        case = (lost, at, CLOCKS[which], codes(found))
        # source: the phasors put in
        told = not found.usable or "dropout" in codes(found)
        assert told if lost else not codes(found) - {"clock-foreign"}, case
        assert recorded.right(found) or not found.usable, case
