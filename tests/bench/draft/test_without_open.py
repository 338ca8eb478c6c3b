"""Folders without names and without an open take, and takes that only a volume may have moved.

Lost without it: a draft that takes a loaded take for the open one, and every figure wrong by it.
"""

from __future__ import annotations

from itertools import combinations
from pathlib import Path

import pytest
import soundfile

from tests.bench.draft.test_moved_volume import CAPTURES, FRAMES, LONG, answers

LOADED = {
    "dac-own-clock": ("right-load-cold", "right-load-hot", "right-load-across"),
    "preamplifier-noise": ("left-load-cold", "left-load-hot", "left-load-across"),
    "preamplifier-cross-coupled": ("left-load-cold", "left-load-hot", "left-load-across"),
    "preamplifier-impedance-balanced": ("left-load-hot", "left-load-across"),
    "streamer-ground-sensing": ("left-load-hot", "left-load-cold"),
}


def copied(to: Path, source: str, takes: tuple[str, ...], lower: str = "") -> None:
    """Copy recordings under names that say nothing, one of them a decibel lower."""
    for number, take in enumerate(takes):
        place = CAPTURES / source / f"{take}.flac"
        samples, rate = soundfile.read(place, always_2d=True, frames=FRAMES)
        gain = 10.0 ** (-1.0 / 20.0) if take == lower else 1.0
        soundfile.write(to / f"r{number}.wav", gain * samples, rate, "PCM_24")


@pytest.mark.parametrize(
    ("source", "takes"),
    [
        pytest.param(source, takes, id=f"{source} {' '.join(takes)}", marks=marks)
        for source, every in LOADED.items()
        for count in (1, 2, 3)
        for takes in combinations(every, count)
        for marks in ((LONG,) if source != "dac-own-clock" else (),)
    ],
)
def test_loads_alone_are_not_taken_for_an_open_take(
    tmp_path: Path, source: str, takes: tuple[str, ...]
) -> None:
    copied(tmp_path, source, takes)
    # source: the demos' own session.toml: none of these is open; where a load between the legs
    # lies beside a load on one, the latter looks open and the former a load on the other leg
    assert set(answers(tmp_path).values()) == {"asked"}


def test_one_recording_alone_tells_no_load(tmp_path: Path) -> None:
    copied(tmp_path, "dac-own-clock", ("right-single-ended-loaded",))
    # source: a level with nothing beside it has no fall
    assert set(answers(tmp_path).values()) == {"asked"}


@pytest.mark.parametrize(
    ("source", "takes"),
    [
        ("preamplifier-cross-coupled", ("left-open", "left-load-hot", "left-second-open")),
        ("preamplifier-impedance-balanced", ("left-open", "left-inject-cold", "left-second-open")),
    ],
)
def test_an_open_take_at_a_lower_volume_is_no_load(
    tmp_path: Path, source: str, takes: tuple[str, ...]
) -> None:
    copied(tmp_path, source, takes, lower="left-second-open")
    # source: of a floating pair, or one with a silent leg, a load that lowers all that is heard
    # and a lower volume are one and the same
    assert answers(tmp_path)["r2"] == "asked"


def test_an_open_take_and_one_load_are_still_told(tmp_path: Path) -> None:
    copied(tmp_path, "dac-own-clock", ("right-open", "right-load-hot"))
    # source: the demo's own session.toml
    assert answers(tmp_path) == {"r0": [], "r1": [("hot", "ground")]}
