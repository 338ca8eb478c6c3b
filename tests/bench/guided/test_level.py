"""How far the tones come up, and that both sides of a device are driven alike."""

from __future__ import annotations

from itertools import pairwise
from types import SimpleNamespace
from typing import Any

import pytest

from probe.bench.guided.level import ALIKE_LEAST, ALIKE_MOST, NEAR, STEP_UP, TARGET
from probe.bench.guided.taking import Taker
from probe.session.model import BenchOutput

FIRST = 0.5e-3


def step(side: str, volume: str = "") -> Any:
    return SimpleNamespace(plugged=SimpleNamespace(side=side, volume=volume))


def taker(gains: dict[str, float], *, noise: float = 0.0) -> tuple[Taker, list[float]]:
    """A taker that hears ``gain x volts`` of each side, and the drives it listened at."""
    bench: Any = SimpleNamespace(outputs=(BenchOutput(20.0, 100.0),))
    silent: Any = SimpleNamespace(silence=lambda: None)
    nothing: Any = None
    made = Taker(silent, bench, nothing, 3.0, {}, nothing)
    heard: list[float] = []

    def peak(at: Any, volts: float) -> float:
        heard.append(volts)
        return max(gains[at.plugged.side] * volts, noise)

    made._peak_at = peak  # type: ignore[method-assign]
    return made, heard


@pytest.mark.parametrize("off", [1.0, 1.008, 0.992, 0.5, 0.3])
def test_the_second_side_is_driven_as_the_first(off: float) -> None:
    # what a user loses: levels of left and right, compared, were "other drive" for 1 % of balance
    both, _ = taker({"left": 1.5, "right": 1.5 * off})
    left = both.find_level(step("left"))
    assert both.find_level(step("right")) == left


def test_a_side_that_needs_another_drive_gets_its_own() -> None:
    # closed form: 2 dB louder would pass the target by more than 1 dB; the level comes down to it
    both, _ = taker({"left": 1.5, "right": 1.5 * 10.0 ** (2.5 / 20.0)})
    left = both.find_level(step("left"))
    right = both.find_level(step("right"))
    assert right < left
    assert right * 1.5 * 10.0 ** (2.5 / 20.0) <= ALIKE_MOST
    # closed form: 20 dB quieter is below -27 dB FS at the drive of the other
    both, _ = taker({"left": 10.0, "right": 1.0})
    left = both.find_level(step("left"))
    right = both.find_level(step("right"))
    assert left * 1.0 < ALIKE_LEAST
    assert NEAR * TARGET <= right <= TARGET * 1.01


def test_another_volume_has_its_own_level() -> None:
    both, _ = taker({"left": 1.5, "right": 0.4})
    left = both.find_level(step("left", "9 o'clock"))
    assert both.find_level(step("right", "12 o'clock")) > left


def test_the_tones_come_up_in_steps_to_the_other_sides_level_too() -> None:
    # closed form: never more than 20 dB at a time, whatever noise the first listening hears
    both, heard = taker({"left": 1.0, "right": 1.01}, noise=2e-3)
    both.find_level(step("left"))
    heard.clear()
    both.find_level(step("right"))
    assert heard[0] == FIRST
    rises = [b / a for a, b in pairwise(heard)]
    assert max(rises) <= STEP_UP * (1.0 + 1e-9)


def test_a_level_of_an_earlier_run_serves_the_other_side() -> None:
    both, _ = taker({"left": 1.5, "right": 1.5})
    # 3 dB below what it would find by itself: taken back because an output clipped
    both.take_up("left", "", {"open": 0.085})
    assert both.find_level(step("right")) == 0.085
