"""A device that plays files, when its session goes on: its volume goes back to where it stood.

Lost without it: takes at another volume beside the earlier ones, and every figure wrong by it.
"""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import pytest

from probe.bench.guided.playing import FilePlayer, files_of

FILES = files_of(48000)
BEFORE = {"hot": 0.2, "cold": 0.2}
SCALES = [8.7, 8.7]


class Bench:
    """A device at some volume, heard by both inputs; a person who turns as far as is said."""

    plain = True

    def __init__(self, volts: float) -> None:
        self.volts, self.told, self.file = volts, [], ""
        self.player = FilePlayer(self, FILES, self.hands)  # type: ignore[arg-type]

    def hands(self, word: str, _file: object, db: float) -> None:
        self.file = self.file if word == "volume" else word
        self.volts *= 10.0 ** (db / 20.0)

    def listen(self, _seconds: float) -> Any:
        # source: the lower file is written 20 dB below the other
        heard = self.volts * (0.1 if self.file == "quieter" else 1.0) / 8.7
        return SimpleNamespace(rms=(heard, heard))

    def wait(self, _seconds: float) -> None: ...

    def expect_tones(self, _hz: object) -> None: ...

    def say(self, _text: str) -> None: ...

    def warn(self, _title: str, text: str) -> None:
        self.told.append(text)

    def choose(self, key: str, _question: str, _choices: object, default: str) -> str:
        return "y" if key == "playing" else default


def step(take: str, *, load: bool = False, injector: bool = False) -> Any:
    plugged = SimpleNamespace(
        channels=("hot", "cold"), loads=("R1",) * load, injector="R2" if injector else None
    )
    return SimpleNamespace(take=take, plugged=plugged)


def back(volts: float, wanted: Any) -> Bench:
    bench = Bench(volts)
    bench.player.settle_back(wanted, bench, BEFORE, SCALES)  # type: ignore[arg-type]
    return bench


def test_the_volume_is_turned_back_by_what_the_legs_are_off() -> None:
    # closed form: 0.05 V is 12.04 dB below 0.2 V
    bench = back(0.05, step("second-open"))
    assert bench.told[0].startswith("The legs stand 12.0 dB below the takes before.")
    assert bench.volts == pytest.approx(0.2)
    assert back(0.4, step("second-open")).told[0].startswith("The legs stand 6.0 dB above")


def test_nothing_is_asked_where_it_stands_as_it_did() -> None:
    # closed form: 0.2 dB is more than a plain take may be off, and less than an injector takes
    off = 0.2 * 10.0 ** (-0.2 / 20.0)
    assert back(0.2, step("second-open")).told == []
    assert len(back(off, step("second-open")).told) == 1
    assert back(off, step("inject-cold", injector=True)).told == []


def test_a_load_hears_the_lower_file_first() -> None:
    bench = back(0.17, step("load-cold", load=True))
    assert (bench.file, bench.told) == ("quieter", [])
