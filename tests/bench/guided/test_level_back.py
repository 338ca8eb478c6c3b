"""A device that plays files, when its session goes on: its volume goes back to where it stood.

Lost without it: takes at another volume beside the earlier ones, and every figure wrong by it.
"""

from __future__ import annotations

from collections.abc import Mapping
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
        self.volts, self.file = volts, ""
        self.told: list[str] = []
        self.asked: list[tuple[str, str, tuple[str, ...]]] = []
        self.player = FilePlayer(self, FILES, self.hands)  # type: ignore[arg-type]

    def hands(self, word: str, _file: object, db: float) -> None:
        self.file = self.file if word == "volume" else word
        self.volts *= 10.0 ** (db / 20.0)

    def listen(self, _seconds: float) -> Any:
        # source: the lower file is written 20 dB below the other
        heard = self.volts * (0.1 if self.file == "quieter" else 1.0) / 8.7
        return SimpleNamespace(rms=(heard, heard), peaks=(heard, heard))

    def wait(self, _seconds: float) -> None: ...

    def expect_tones(self, _hz: object) -> None: ...

    def say(self, _text: str) -> None: ...

    def warn(self, _title: str, text: str) -> None:
        self.told.append(text)

    def choose(self, key: str, question: str, choices: Mapping[str, str], default: str) -> str:
        self.asked.append((key, question, tuple(choices)))
        return "y" if key in ("playing", "volume-set") else default


def step(take: str, *, load: bool = False, injector: bool = False, volume: str = "") -> Any:
    plugged = SimpleNamespace(
        channels=("hot", "cold"), loads=("R1",) * load, injector="R2" if injector else None,
        volume=volume,
    )  # fmt: skip
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


def found(volts: float, volume: str = "") -> Bench:
    bench = Bench(volts)
    bench.player.settle_level(step("open", volume=volume), bench)  # type: ignore[arg-type]
    return bench


def test_a_volume_position_is_gone_to_and_stays() -> None:
    """Lost: takes said to be at a position that nobody was told to set."""
    # closed form: 0.087 V of 8.7 V is -40 dB FS, below the -32 dB FS that is wanted
    low = found(0.087, "9 o'clock")
    assert [key for key, _, _ in low.asked] == ["playing", "volume-set", "volume"]
    assert "to 9 o'clock, slowly" in low.asked[1][1]
    assert "what 9 o'clock gives" in low.told[0]
    assert low.volts == 0.087
    # without a position the volume is what is turned, to -15 dB FS
    free = found(0.087)
    assert "volume up, slowly, by about 25 dB" in free.told[0]
    assert free.volts == pytest.approx(8.7 * 10.0 ** (-15.0 / 20.0))


def test_nobody_goes_on_where_the_inputs_are_nearly_full() -> None:
    # closed form: 6 V of 8.7 V is -3.2 dB FS; 4 V is -6.7 dB FS
    assert found(6.0).asked[-1][2] == ("t",)
    assert found(4.0).asked[-1][2] == ("t", "k")
    assert "about 12 dB. The takes keep the name 12 o'clock" in found(6.0, "12 o'clock").told[0]
