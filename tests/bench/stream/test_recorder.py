"""One stream: takes with one timebase, in memory and in files, and how they end early."""

from __future__ import annotations

import time
from pathlib import Path

import numpy as np
import pytest
import soundfile

from probe.bench.stream.card import Block, BlockFlags, StreamFormat
from probe.bench.stream.recorded import Progress
from probe.bench.stream.recorder import Recorder
from probe.bench.stream.sound import OutputScale, Part, Sound
from probe.bench.stream.stop import Reason, Stopped
from probe.errors import BadInput
from tests.bench.stream.played import RATE, Kept, tone

FORM = StreamFormat(RATE, 2, 2)


def test_a_take_holds_what_the_loop_back_gives(tmp_path: Path) -> None:
    kept = Kept()
    with Recorder(kept.card, FORM) as recorder:
        done = recorder.take(tmp_path / "a.wav", [Part(1, tone(peak=0.5))], 1.0, level_db=-6.0)
    assert done.usable
    samples, rate = soundfile.read(tmp_path / "a.wav", always_2d=True)
    assert (samples.shape, rate, done.frames) == ((RATE, 2), RATE, RATE)
    # Closed form: a cosine of peak 0.5 at -6 dB; 997 Hz has whole periods in a second.
    assert np.sqrt(np.mean(samples[:, 1] ** 2)) == pytest.approx(
        0.5 * 10 ** (-6 / 20) / 2**0.5, rel=1e-6
    )
    assert not samples[:, 0].any()
    assert sorted(p.name for p in tmp_path.iterdir()) == ["a.wav"]


def test_takes_of_one_stream_share_its_frames(tmp_path: Path) -> None:
    kept = Kept(latency=1)
    with Recorder(kept.card, FORM) as recorder:
        takes = [
            recorder.take(tmp_path / f"{n}.wav", [Part(0, tone())], 0.5, settle_s=0.1)
            for n in range(3)
        ]
    assert {t.timebase for t in takes} == {"run-1"}
    for take in takes:
        heard = soundfile.read(take.path)[0][:, 0]
        # With the least latency a block is heard as the next one is played.
        start = take.start_frame - 256
        assert np.array_equal(heard, kept.played[start : start + take.frames, 0].astype("f4"))


def test_time_of_a_patient_card_stands_still_where_its_wait_ended() -> None:
    def takes(slow_s: float) -> list[tuple[int, bytes]]:
        def tell(_: Progress) -> None:
            time.sleep(slow_s)

        with Recorder(Kept().card, FORM) as recorder:
            recorder.play([Part(0, tone())])
            heard = []
            for _ in range(3):
                time.sleep(slow_s)
                found = recorder.listen(0.1, tell)
                heard.append((found.start_frame, found.samples.tobytes()))
            return heard

    # source: the same questions to the same card, however busy the machine is
    assert takes(0.0) == takes(0.02)


def test_what_is_turned_between_waits_acts_from_the_next_block_on() -> None:
    def takes(slow_s: float) -> list[bytes]:
        turned = [1.0]

        def respond(played: Block, _: int) -> Block:
            time.sleep(slow_s)  # a card that is slower than whoever waits for it
            return np.asarray(turned[0] * played, dtype=np.float32)

        heard = []
        with Recorder(Kept(respond, block=2400).card, FORM) as recorder:
            recorder.play([Part(0, tone())])
            for gain in (0.5, 0.25, 0.125):
                turned[0] = gain
                heard.append(recorder.listen(0.1).samples.tobytes())
        return heard

    # source: the same questions to the same card, however busy the machine is
    assert takes(0.0) == takes(0.01)


def test_a_stream_opened_again_is_another_timebase() -> None:
    recorder = Recorder(Kept().card, FORM, run=4)
    recorder.open()
    first = recorder.listen(0.1)
    recorder.reopen()
    second = recorder.listen(0.1)
    recorder.close()
    assert (first.timebase, second.timebase) == ("run-4", "run-5")


def test_lost_samples_mark_the_take_they_fall_into(tmp_path: Path) -> None:
    kept = Kept(flags=lambda number: BlockFlags(input_lost=number % 400 == 399))
    with Recorder(kept.card, FORM) as recorder:
        done = recorder.record(tmp_path / "a.wav", 3.0)
    assert done.complete
    assert not done.usable
    assert [(done.start_frame + one.frame) // 256 % 400 for one in done.lost] == [399] * len(
        done.lost
    )
    assert 1 <= len(done.lost) <= 2


def test_a_card_that_goes_away_leaves_the_part(tmp_path: Path) -> None:
    kept = Kept()
    recorder = Recorder(kept.card, FORM)
    recorder.open()

    def pull(progress: Progress) -> None:
        assert kept.card.stream is not None
        if progress.seconds > 0.1:
            kept.card.stream.unplug()

    done = recorder.record(tmp_path / "a.wav", 60.0, pull)
    assert done.stop is not None
    assert done.stop.reason is Reason.GONE
    assert [p.name for p in tmp_path.iterdir()] == ["a.wav.part"]
    assert soundfile.info(str(tmp_path / "a.wav.part")).frames == done.frames > 0
    with pytest.raises(Stopped, match="unplugged"):
        recorder.listen(0.1)
    recorder.close()


def test_what_was_asked_wrongly_plays_nothing() -> None:
    kept = Kept()
    with Recorder(kept.card, FORM, outputs=[OutputScale(None, most=0.25)]) as recorder:
        with pytest.raises(BadInput, match=r"above the limit of -12\.0 dB FS"):
            recorder.play([Part(0, tone(peak=0.5))])
        with pytest.raises(BadInput, match="has 2"):
            recorder.play([Part(2, tone())])
        with pytest.raises(BadInput, match="nobody has measured"):
            recorder.play([Part(1, Sound(np.ones(10), "volts"))])
    assert not kept.played.any()


def test_no_tone_while_the_gain_is_up() -> None:
    kept = Kept()
    with Recorder(kept.card, FORM) as recorder:
        recorder.gain_raised("the gain of input 1")
        with pytest.raises(BadInput, match="the gain of input 1 was raised"):
            recorder.play([Part(0, tone())])
        assert recorder.play([Part(0, tone(peak=1e-3))]) is None
        with pytest.raises(BadInput, match="was raised"):
            recorder.set_level(20.0)
        recorder.gain_taken_back()
        assert recorder.set_level(20.0) is None
    assert np.max(np.abs(kept.played)) == pytest.approx(0.01, rel=1e-3)


def test_a_tone_keeps_its_phase_in_the_stream() -> None:
    hz, kept = 997.0, Kept(latency=1)
    phases = []
    with Recorder(kept.card, FORM) as recorder:
        for pause in (0.1, 0.237):
            recorder.play([Part(0, tone(hz))])
            recorder.wait(0.05)
            heard = recorder.listen(0.1)
            recorder.silence()
            recorder.wait(pause)
            assert heard.samples is not None
            frames = heard.start_frame + np.arange(heard.frames)
            phases.append(np.angle(heard.samples[:, 0] @ np.exp(-2j * np.pi * hz * frames / RATE)))
    # Closed form: one cosine begun at frame 0 of the stream; the sum over 0.1 s of its image at
    # -hz leaves some 0.001 rad.
    assert phases[0] == pytest.approx(phases[1], abs=3e-3)


@pytest.mark.long
def test_after_lost_samples_begins_another_timebase(tmp_path: Path) -> None:
    due: list[bool] = []
    kept = Kept(flags=lambda _: BlockFlags(output_lost=bool(due and due.pop())))
    once = [True]

    def lose(progress: Progress) -> None:
        if progress.seconds > 0.1 and once:
            due.append(once.pop())

    with Recorder(kept.card, FORM) as recorder:
        tellers = (None, lose, None)
        takes = [recorder.record(tmp_path / f"{n}.wav", 60.0, t) for n, t in enumerate(tellers)]
    assert [t.usable for t in takes] == [True, False, True]
    assert [t.timebase for t in takes] == ["run-1", "run-1", "run-2"]


@pytest.mark.parametrize("how", [KeyboardInterrupt, SystemExit, ValueError])
def test_what_ends_the_program_fades_the_tone_out_first(
    tmp_path: Path, how: type[BaseException]
) -> None:
    kept = Kept()
    interrupted: list[int] = []
    with Recorder(kept.card, FORM) as recorder:

        def end(progress: Progress) -> None:
            if progress.seconds > 0.1:
                interrupted.append(sum(len(b) for b in list(kept.blocks)))
                raise how

        with pytest.raises(how):
            recorder.take(tmp_path / "a.wav", [Part(0, tone(peak=0.5))], 600.0, progress=end)
        # Time of this card passes only while somebody waits: what was under way is a few blocks.
        silent = np.flatnonzero(kept.played[:, 0])[-1] + 1
    loud = kept.played[:, 0]
    fade = silent - (np.flatnonzero(np.abs(loud) > 0.499)[-1])
    # A fade of 10 ms begun with a block, at most a period after the last full swing.
    assert fade <= round(0.010 * RATE) + RATE // 997
    # Closed form: see the guard's tests.
    slope = np.pi / (2 * round(0.010 * RATE))
    assert np.max(np.abs(np.diff(loud))) <= tone().step + 0.5 * slope + 1e-4
    assert [p.name for p in tmp_path.iterdir()] == ["a.wav.part"]
    assert soundfile.info(str(tmp_path / "a.wav.part")).frames > 0.1 * RATE
    assert interrupted


def test_a_take_that_is_cancelled_says_so(tmp_path: Path) -> None:
    with Recorder(Kept().card, FORM) as recorder:
        done = recorder.take(
            tmp_path / "a.wav",
            [Part(0, tone())],
            600.0,
            progress=lambda _: recorder.cancel("key q"),
        )
        assert done.stop is not None
        assert (done.stop.reason, done.stop.message) == (Reason.CANCELLED, "key q")
        assert recorder.take(tmp_path / "b.wav", [Part(0, tone())], 0.1).usable
