"""What leaves an output, sample for sample: never above its limit, never a step, silent in 20 ms.

Faults are put into every block of a tone's life, one run each.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from probe.bench.stream.card import BlockFlags, StreamFormat
from probe.bench.stream.exchange import Exchanger
from probe.bench.stream.guard import check, limit_of
from probe.bench.stream.player import Voice
from probe.bench.stream.sound import InputScale, OutputScale, Part, Purpose, Sound
from probe.bench.stream.stop import Reason, Stop
from probe.errors import BadInput
from tests.bench.stream.played import RATE, tone

BLOCK = 1024
WITHIN = round(0.020 * RATE)
"""Frames of 20 ms."""

SHORTEST_FADE = round(0.010 * RATE)
SOUND, PEAK, GAIN = tone(hz=997.0, peak=0.5), 0.5, 1.0
BLOCKS = 75
"""The tone has come up to its level, at 40 dB a second from -60 dB FS, in 62 of them."""

CLEAN = BlockFlags()


def largest_step(sound: Sound, gain: float) -> float:
    """Closed form: a gain g(t) on w(t) steps by at most g |dw| + |w| |dg|.

    The fades are raised cosines, of slope pi/2N at most; the ramp's 40 dB/s adds 1e-4 a frame.
    """
    slope = np.pi / (2 * SHORTEST_FADE) + 1e-4
    return gain * (sound.step + sound.peak * slope) + 1e-6


def started(limit: float = 1.0, inputs: int = 1, ceiling: float = 1.0) -> Exchanger:
    scales = [InputScale(None, ceiling)] * inputs
    exchanger = Exchanger(StreamFormat(RATE, inputs, 1), scales)
    voice = Voice(0, SOUND.samples, True, limit, SOUND.peak)
    exchanger.player.start([voice], GAIN)
    return exchanger


def blocks(
    exchanger: Exchanger, count: int, heard: Callable[[int], Any] = lambda _: 0.0
) -> NDArray[np.float64]:
    """Exchange so many blocks; return what was played, shape (frames,)."""
    played = []
    for number in range(count):
        ear = np.zeros((BLOCK, 1), dtype=np.float32)
        ear[:] = heard(number)
        play = np.full((BLOCK, 1), np.nan, dtype=np.float32)
        exchanger(ear, play, CLEAN)
        exchanger.ring.take()
        played.append(play[:, 0].astype(np.float64))
    return np.concatenate(played)


def at(bad: int, value: float) -> Callable[[int], Any]:
    """One sample of one block at this value."""

    def heard(number: int) -> Any:
        ear = np.zeros((BLOCK, 1))
        if number == bad:
            ear[BLOCK // 3] = value
        return ear

    return heard


def broken(exchanger: Exchanger, where: str, bad: int) -> None:
    """Let something inside the program fail in one block, and ever after."""
    owner, name = where.split(".")
    inner = getattr(exchanger, owner)
    real = getattr(inner, name)
    calls = [0]

    def fail(*args: Any, **more: Any) -> Any:
        calls[0] += 1
        if calls[0] > bad:
            raise ZeroDivisionError("put in by a test")
        return real(*args, **more)

    setattr(inner, name, fail)


HEARD = {
    "negative overload": (-0.95, Reason.OVERLOAD),
    "no number": (np.nan, Reason.OVERLOAD),
}


def check_stopped(played: NDArray[np.float64], bad: int, sound: Sound = SOUND) -> None:
    """Silent 20 ms after the block of the fault began to be answered, without a step."""
    assert np.max(np.abs(np.diff(played))) <= largest_step(sound, GAIN)
    assert np.max(np.abs(played)) <= PEAK * 1.000001
    assert not played[bad * BLOCK + WITHIN :].any()


@pytest.mark.parametrize("fault", HEARD)
@pytest.mark.long
def test_what_is_heard_in_any_block_stops_the_tone(fault: str) -> None:
    value, reason = HEARD[fault]
    for bad in range(BLOCKS):
        exchanger = started()
        played = blocks(exchanger, bad + 3, at(bad, value))
        check_stopped(played, bad)
        assert exchanger.stop is not None
        assert (exchanger.stop.reason, exchanger.stop.input) == (reason, 0)
        assert exchanger.stop.frame == bad * BLOCK


@pytest.mark.long
def test_more_than_the_step_allows_stops_the_tone_in_any_block() -> None:
    for bad in range(BLOCKS):
        exchanger = started(ceiling=0.1)
        played = blocks(exchanger, bad + 3, at(bad, 0.11))
        check_stopped(played, bad)
        assert exchanger.stop is not None
        assert exchanger.stop.reason is Reason.TOO_LOUD


@pytest.mark.long
def test_a_request_in_any_block_stops_the_tone() -> None:
    for bad in range(BLOCKS):
        exchanger = started()
        before = blocks(exchanger, bad) if bad else np.zeros(0)
        exchanger.ask_stop(Stop(Reason.DISK, "full"))
        played = np.concatenate([before, blocks(exchanger, 3)])
        check_stopped(played, bad)
        assert exchanger.stop is not None
        assert exchanger.stop.reason is Reason.DISK


@pytest.mark.parametrize("where", ["ring.put", "guard.watch", "player.fill", "guard.hold"])
@pytest.mark.long
def test_an_error_inside_in_any_block_stops_the_tone(where: str) -> None:
    for bad in range(1, BLOCKS):
        exchanger = started()
        broken(exchanger, where, bad)
        played = blocks(exchanger, bad + 3)
        check_stopped(played, bad)
        assert exchanger.stop is not None
        assert exchanger.stop.reason is Reason.FAILED
        assert "put in by a test" in exchanger.stop.message


def test_a_disk_that_does_not_keep_up_stops_the_tone() -> None:
    exchanger = started()
    played = []
    for _ in range(600):
        play = np.zeros((BLOCK, 1), dtype=np.float32)
        exchanger(np.zeros((BLOCK, 1), dtype=np.float32), play, CLEAN)
        played.append(play[:, 0].astype(np.float64))
    assert exchanger.stop is not None
    assert exchanger.stop.reason is Reason.DISK
    check_stopped(np.concatenate(played), exchanger.stop.frame // BLOCK)


@pytest.mark.long
def test_fades_levels_and_stops_have_no_step() -> None:
    """Orders of every kind at odd moments, some before the one before was carried out."""
    random = np.random.default_rng(5)
    for _ in range(30):
        exchanger = started()
        played = [blocks(exchanger, int(random.integers(1, 70)))]
        for _ in range(6):
            match random.integers(4):
                case 0:
                    exchanger.player.move(float(10 ** random.uniform(-3, 0)))
                case 1:
                    exchanger.player.move(0.0)
                case 2:
                    exchanger.player.fade()
                case 3:
                    if exchanger.player.silent:
                        voice = Voice(0, SOUND.samples, True, 1.0, SOUND.peak)
                        exchanger.player.start([voice], float(10 ** random.uniform(-2, 0)))
            played.append(blocks(exchanger, int(random.integers(1, 40))))
        whole = np.concatenate(played)
        assert np.max(np.abs(np.diff(whole))) <= largest_step(SOUND, GAIN)
        assert np.max(np.abs(whole)) <= PEAK * 1.000001


def test_a_tone_begins_at_60_db_below_full_scale() -> None:
    played = blocks(started(), 70)
    level = np.abs(played)
    # Closed form: -60 dB FS is 0.001; 40 dB a second from there, after a fade of 20 ms.
    time = np.arange(level.size) / RATE
    most = 1e-3 * 10 ** (40.0 * np.maximum(time - 0.02, 0.0) / 20.0)
    assert np.all(level <= np.minimum(most, PEAK) * 1.001)
    assert level[-BLOCK:].max() == pytest.approx(PEAK, rel=1e-3)
    assert level[: round(0.02 * RATE)].max() > 0.9e-3


@pytest.mark.parametrize(
    ("purpose", "ohm", "volts"),
    [
        # Levels of the bench's cautions: 1.4 V peak, 0.14 mA peak, 50 mV peak, 0.3 V.
        (Purpose.INJECT, 10_000.0, 1.4),
        (Purpose.INJECT, 20_000.0, 1.4),
        (Purpose.INJECT, 5_000.0, 0.7),
        (Purpose.INJECT, 1_000.0, 0.14),
        (Purpose.INJECT_OFF, 10_000.0, 0.05),
        (Purpose.PIN_3_TIE, None, 0.3),
    ],
)
def test_limits_in_volts(purpose: Purpose, ohm: float | None, volts: float) -> None:
    part = Part(0, Sound(np.ones(1)), purpose, ohm)
    assert limit_of(part, OutputScale(4.0)) == pytest.approx(volts / 4.0)
    assert limit_of(part, OutputScale(4.0, most=0.01)) == pytest.approx(0.01)
    # An output nobody measured is taken for a strong one: +24 dBu, 17.4 V peak.
    assert limit_of(part, OutputScale()) == pytest.approx(volts / 17.4, rel=2e-3)


def test_injecting_without_a_resistor_is_refused() -> None:
    with pytest.raises(BadInput, match="needs a resistor"):
        limit_of(Part(0, Sound(np.ones(1)), Purpose.INJECT), OutputScale(4.0))


@settings(max_examples=40)
@given(
    purpose=st.sampled_from(Purpose),
    ohm=st.floats(10.0, 1e5),
    full_scale=st.one_of(st.none(), st.floats(0.5, 20.0)),
    most=st.floats(1e-4, 1.0),
    peak=st.floats(1e-6, 50.0),
    level_db=st.floats(-80.0, 80.0),
    unit=st.sampled_from(["volts", "full-scale"]),
)
@pytest.mark.long
def test_nothing_asked_for_goes_over_its_limit(
    purpose: Purpose,
    ohm: float,
    full_scale: float | None,
    most: float,
    peak: float,
    level_db: float,
    unit: Any,
) -> None:
    """It is refused, or it stays below; and where the check is passed by, it is held back."""
    part = Part(0, Sound(peak * SOUND.samples / SOUND.peak, unit), purpose, ohm)
    scale = OutputScale(full_scale, most)
    gain = 10.0 ** (level_db / 20.0)
    limit = limit_of(part, scale)
    own = 1.0 / full_scale if unit == "volts" and full_scale else 1.0
    try:
        check(part, scale, gain)
        allowed = True
    except BadInput:
        allowed = False
    exchanger = Exchanger(StreamFormat(RATE, 1, 1), [InputScale()])
    samples = part.sound.samples * own
    exchanger.player.start([Voice(0, samples, True, limit, peak * own)], gain)
    played = blocks(exchanger, 120)
    assert np.max(np.abs(played)) <= limit * (1.0 + 1e-6)
    stopped = exchanger.stop is not None
    assert not (stopped and allowed)
    if peak * own * gain > limit * 1.001:
        assert not allowed


def test_samples_that_are_no_numbers_are_never_played() -> None:
    with pytest.raises(BadInput, match="no numbers"):
        Sound(np.array([0.0, np.nan]))
    exchanger = Exchanger(StreamFormat(RATE, 1, 1), [InputScale()])
    wild = np.array(SOUND.samples)
    wild[30_000] = np.nan
    exchanger.player.start([Voice(0, wild, True, 1.0, 0.5)], 1.0)
    played = blocks(exchanger, 100)
    assert np.all(np.isfinite(played))
    assert exchanger.stop is not None
    assert exchanger.stop.reason is Reason.LIMIT


def test_a_direct_voltage_is_found_and_low_tones_are_not_one() -> None:
    low = 0.8 * np.cos(2 * np.pi * 20.5 * np.arange(400 * BLOCK) / RATE)[:, None]
    calm = started()
    blocks(calm, 300, lambda n: low[n * BLOCK : (n + 1) * BLOCK])
    assert calm.stop is None
    direct = started()
    played = blocks(direct, 300, lambda n: 0.2 if n >= 100 else 0.0)
    assert direct.stop is not None
    assert direct.stop.reason is Reason.DIRECT_VOLTAGE
    # Two averages of 0.3 s pass a quarter of their end in 0.3 s (closed form: 1 - e^-x (1 + x)).
    assert direct.stop.frame / RATE - 100 * BLOCK / RATE < 0.35
    check_stopped(played, direct.stop.frame // BLOCK)


def growing(db_per_s: float, start: float, limit: float = 0.9) -> Callable[[int], Any]:
    """What is heard of feedback: a tone that grows exponentially up to a limit."""

    def heard(number: int) -> Any:
        time = (number * BLOCK + np.arange(BLOCK)) / RATE
        level = np.minimum(start * 10.0 ** (db_per_s * np.maximum(time - 2.0, 0.0) / 20.0), limit)
        return (level * np.sin(2 * np.pi * 410.0 * time))[:, None]

    return heard


@pytest.mark.parametrize("db_per_s", [25.0, 40.0, 100.0])
def test_a_level_that_runs_away_is_found_before_it_overloads(db_per_s: float) -> None:
    exchanger = started()
    played = blocks(exchanger, 250, growing(db_per_s, 1e-3))
    assert exchanger.stop is not None
    assert exchanger.stop.reason is Reason.RUNAWAY
    check_stopped(played, exchanger.stop.frame // BLOCK)


@pytest.mark.parametrize("again", ["at once", "lower and up"])
def test_a_tone_right_after_another_is_no_runaway(again: str) -> None:
    """The second comes up although no block of silence lay between."""
    exchanger = started()
    player = exchanger.player
    heard = np.zeros((BLOCK, 1), dtype=np.float32)
    for number in range(300):
        if number == 120:
            player.fade() if again == "at once" else player.move(1e-3)
        if number > 120 and again == "at once" and player.silent and not player.wanted:
            player.start([Voice(0, SOUND.samples, True, 1.0, 0.5)], 1.0)
        if number == 200 and again != "at once":
            player.move(1.0)
        play = np.zeros((BLOCK, 1), dtype=np.float32)
        exchanger(heard, play, CLEAN)
        exchanger.ring.take()
        heard = np.float32(0.8) * play
    assert exchanger.stop is None, exchanger.stop
    assert player.begun == (2 if again == "at once" else 1)


@pytest.mark.parametrize("late_s", [0.0, 0.4, 0.7])
def test_a_slow_card_is_no_runaway(late_s: float) -> None:
    """What is heard rises with what was played, only later; then everything stands still."""
    exchanger = Exchanger(StreamFormat(RATE, 1, 1), [InputScale()])
    late = round(late_s * RATE / BLOCK)
    exchanger.player.start([Voice(0, SOUND.samples, True, 1.0, 0.5)], 1e-3)
    played: list[np.ndarray] = []
    for number in range(400):
        if number == 60:
            exchanger.player.move(1.0)
        play = np.zeros((BLOCK, 1), dtype=np.float32)
        past = played[number - late] if 0 <= number - late < len(played) else np.zeros_like(play)
        exchanger(np.float32(0.9) * past, play, CLEAN)
        exchanger.ring.take()
        played.append(play)
    # a level that follows what was played has grown by nothing of its own (closed form)
    assert exchanger.stop is None, exchanger.stop
    assert np.max(np.abs(played[-1])) > 0.1


def test_a_louder_output_that_comes_up_last_is_no_runaway() -> None:
    """A quiet tone has arrived while a loud one on another output, heard alone, still rises."""
    exchanger = Exchanger(StreamFormat(RATE, 1, 2), [InputScale()])
    quiet, loud = 0.01 * np.asarray(SOUND.samples), np.asarray(SOUND.samples)
    exchanger.player.start([Voice(0, quiet, True, 1.0, 0.005), Voice(1, loud, True, 1.0, 0.5)], 1.0)
    heard = np.zeros((BLOCK, 1), dtype=np.float32)
    for _ in range(200):
        play = np.zeros((BLOCK, 2), dtype=np.float32)
        exchanger(heard, play, CLEAN)
        exchanger.ring.take()
        heard = 0.5 * play[:, 1:]
    assert exchanger.stop is None, exchanger.stop


@pytest.mark.parametrize("latency", [0, 4, 8])
def test_ramps_and_devices_that_unmute_are_no_runaway(latency: int) -> None:
    """Latency up to 0.17 s; the device fades in by itself within 0.05 to 1 s."""
    for fade_s in (0.0, 0.05, 0.3, 1.0):
        exchanger = started()
        under_way = [np.zeros(BLOCK)] * latency
        random = np.random.default_rng(2)
        for number in range(160):
            heard = under_way.pop(0) if latency else np.zeros(BLOCK)
            time = number * BLOCK / RATE + np.arange(BLOCK) / RATE
            opened = np.clip((time - 1.7) / fade_s, 0.0, 1.0) if fade_s else time > 1.7
            ear = (1.5 * heard * opened + 1e-5 * random.standard_normal(BLOCK))[:, None]
            play = np.zeros((BLOCK, 1), dtype=np.float32)
            exchanger(ear.astype(np.float32), play, CLEAN)
            exchanger.ring.take()
            under_way.append(play[:, 0].astype(np.float64))
        assert exchanger.stop is None, (fade_s, exchanger.stop)
