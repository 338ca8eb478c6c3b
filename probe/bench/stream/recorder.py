"""One stream for all takes: plays, records, and stops the tone when it must.

The stream runs from `Recorder.open` to `Recorder.close` without a break; between takes it plays
silence. All takes of one stream share a timebase, and `Recorded.start_frame` says where in it each
begins. A stream that had to be opened again is another timebase, and so is what follows after
samples were lost: nobody knows how many they were.

Three threads: the card's calls the exchange, which copies and fades; a writer empties the ring
between them into whatever is being recorded; everything here is called from a third, waits in
stream time, and may be interrupted at any moment by an exception: the tone then fades out first.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path

from probe.bench.stream import guard, limits
from probe.bench.stream.capture import Capture, FileCapture, MemoryCapture, Meters, Writer
from probe.bench.stream.card import Card, RunningStream, StreamFormat, check_format
from probe.bench.stream.exchange import Exchanger
from probe.bench.stream.recorded import (
    Progress,
    ProgressTeller,
    Recorded,
    jumps_in,
    lost_within,
    nothing_recorded,
    recorded_of,
)
from probe.bench.stream.rising import ENDS_WELL, Stairs, climb
from probe.bench.stream.sound import InputScale, OutputScale, Part, padded
from probe.bench.stream.stop import Reason, Stop, Stopped
from probe.bench.stream.voices import check_taken_back, gain_of, tones_played, voices_of
from probe.bench.stream.waiting import let_fade_end, raise_gone, wait_until
from probe.errors import BadInput


@dataclass
class _State:
    """What is being played, for what is asked about it later."""

    parts: tuple[Part, ...] = ()
    tones_hz: tuple[float, ...] = ()
    gain_raised: str | None = None
    stop: Stop | None = field(default=None)


class Recorder:
    """A stream on one card.

    Parameters
    ----------
    card
        The real or the virtual one.
    wanted
        Rate, inputs and outputs.
    inputs, outputs
        Their scales, one per channel where known; missing ones are taken as never measured.
    run
        Number of the first timebase: ``run-1``. A resumed session goes on with the next.
    """

    def __init__(
        self,
        card: Card,
        wanted: StreamFormat,
        *,
        inputs: Sequence[InputScale] = (),
        outputs: Sequence[OutputScale] = (),
        run: int = 1,
    ) -> None:
        self._card = card
        self._wanted = wanted
        self._inputs = padded(inputs, wanted.inputs, InputScale())
        self._outputs = padded(outputs, wanted.outputs, OutputScale())
        self._run = run - 1
        self._state = _State()
        self._stream: RunningStream | None = None
        self._lost_count = 0
        self._foreign_tones_hz: tuple[float, ...] = ()
        self._exchanger: Exchanger
        self._writer: Writer

    # -- the stream

    def open(self) -> None:
        """Start the stream; the outputs are silent.

        Raises
        ------
        BadInput
            The card cannot do what is wanted, or is busy.
        """
        if self._stream is not None:
            return
        rate = self._wanted.rate
        self._exchanger = Exchanger(self._wanted, self._inputs, patient=self._card.patient)
        self._writer = Writer(
            *(self._exchanger.ring, self._wanted.inputs, rate, self._not_stored),
            prompt=self._card.patient,
        )
        self._exchanger.stored = lambda: self._writer.frames
        self._state.stop = None
        self._writer.start()
        try:
            self._stream = self._card.open(self._wanted, self._exchanger, self._exchanger.gone)
            check_format(self._card.name, self._stream.format, self._wanted)
            self._run += 1
            self._await(lambda: self._writer.frames > 0)
            self._lost_count = self._exchanger.lost_count  # nothing was recorded yet
        except BaseException:
            self._shut()
            raise

    def close(self) -> None:
        """Fade out what sounds, stop the stream, give the card back; may be called twice."""
        if self._stream is None:
            return
        try:
            self.silence(limits.STOP_FADE_S)
        except Stopped:
            let_fade_end(self._exchanger)
        finally:
            self._shut()

    def reopen(self) -> None:
        """Close and open again, after the card went away: what follows has another timebase."""
        self.close()
        self.open()

    def __enter__(self) -> Recorder:
        """Open."""
        self.open()
        return self

    def __exit__(self, *_: object) -> None:
        """Close."""
        self.close()

    @property
    def timebase(self) -> str:
        """Name of the stream that runs now."""
        return f"run-{self._run}"

    @property
    def rate(self) -> float:
        """Frames per second."""
        return self._wanted.rate

    @property
    def stop(self) -> Stop | None:
        """Why the tone last played is silent, if something stopped it."""
        return self._exchanger.stop if self._stream is not None else None

    # -- playing

    def play(self, parts: Sequence[Part], level_db: float = 0.0) -> Stop | None:
        """Bring tones up from -60 dB FS to ``level_db`` over their own level; wait until there.

        What sounded before is faded out first. Outputs without a part stay silent.

        Returns
        -------
        Stop | None
            What stopped them on the way, if anything did.

        Raises
        ------
        BadInput
            A part would go over the limit of its purpose, or the output does not exist; or the
            gain was raised and nobody has said that it was taken back. Nothing was played.
        """
        gain = gain_of(level_db)
        voices = voices_of(parts, self._outputs, gain, self.rate)
        check_taken_back(self._state.gain_raised, parts, self._outputs, gain)
        self._require_open()
        self.silence()
        self._state.parts = tuple(parts)
        self._state.tones_hz = tones_played(parts, self.rate)
        self._exchanger.stop = None
        begun = self._exchanger.player.begun
        self._exchanger.player.start(voices, gain)
        return self._await_settled(lambda: self._exchanger.player.begun > begun)

    def set_level(self, level_db: float, output: int | None = None) -> Stop | None:
        """Ramp what sounds (of one output; None: of all) to another level; wait until there.

        Raises
        ------
        BadInput
            It would go over a limit. The level stays as it is.
        """
        gain = gain_of(level_db)
        for part in self._state.parts:
            if output is None or part.output == output:
                guard.check(part, self._outputs[part.output], gain)
        check_taken_back(self._state.gain_raised, self._state.parts, self._outputs, gain)
        self._require_open()
        moved = self._exchanger.player.moved
        self._exchanger.player.move(gain, None if output is None else (output,))
        return self._await_settled(lambda: self._exchanger.player.moved > moved)

    def silence(self, fade_s: float = limits.FADE_S) -> None:
        """Fade out; return when the outputs are silent. A stop that stood is forgotten."""
        self._require_open()
        player = self._exchanger.player
        if player.wanted:
            faded = player.faded
            player.fade(fade_s)
            self._await(lambda: player.faded > faded and player.silent)
        self._state.parts, self._state.tones_hz = (), ()
        self._exchanger.forget_stop()

    def cancel(self, message: str = "stopped") -> None:
        """Fade the tone out now; what waits for it returns with this stop. From any thread."""
        self._require_open()
        self._exchanger.ask_stop(Stop(Reason.CANCELLED, message, frame=self._exchanger.frame))

    def expect_tones(self, tones_hz: Sequence[float]) -> None:
        """Say what somebody else's player plays, Hz: lost samples are then found from it."""
        self._foreign_tones_hz = tuple(tones_hz)

    def set_ceilings(self, ceilings: Sequence[float]) -> None:
        """Let each input hear at most this share of full scale; beyond it the tone stops."""
        self._require_open()
        self._exchanger.guard.set_ceilings(ceilings)

    # -- the gain that must be taken back

    def gain_raised(self, what: str = "the input gain") -> None:
        """Note that a gain was raised (for a take of noise): tones are refused from now on."""
        self._state.gain_raised = what

    def gain_taken_back(self) -> None:
        """Note that it was checked to be as before."""
        self._state.gain_raised = None

    @property
    def raised(self) -> str | None:
        """What was raised and not yet taken back."""
        return self._state.gain_raised

    # -- recording

    def meters(self) -> Meters:
        """Return levels of the last tenth of a second, per input."""
        self._require_open()
        return self._writer.meters(self._exchanger.guard.direct)

    def wait(self, seconds: float, progress: ProgressTeller | None = None) -> Stop | None:
        """Let ``seconds`` of the stream pass; return early with what stopped the tone."""
        self._require_open()
        end = self._writer.frames + round(seconds * self.rate)
        standing = self._exchanger.stop
        self._await(
            lambda: self._writer.frames >= end or self._exchanger.stop is not standing,
            lambda: self._tell(
                progress, seconds - (end - self._writer.frames) / self.rate, seconds
            ),
        )
        return self._exchanger.stop

    def listen(self, seconds: float, progress: ProgressTeller | None = None) -> Recorded:
        """Record into memory what the inputs hear from now on, while what plays goes on."""
        frames = round(seconds * self.rate)
        return self._capture(MemoryCapture(frames, self._wanted.inputs), progress)

    def record(
        self, path: Path, seconds: float, progress: ProgressTeller | None = None
    ) -> Recorded:
        """Record into the file ``path`` what the inputs hear from now on.

        The file has ``.part`` behind its name until it is complete.

        Raises
        ------
        BadInput
            A file of that name exists already, or it cannot be made.
        """
        self._require_open()
        frames = round(seconds * self.rate)
        capture = FileCapture(path, frames, self._wanted.inputs, round(self.rate))
        return self._capture(capture, progress)

    def take(
        self,
        path: Path,
        parts: Sequence[Part],
        seconds: float,
        *,
        level_db: float = 0.0,
        settle_s: float = limits.SETTLE_S,
        progress: ProgressTeller | None = None,
    ) -> Recorded:
        """Play, settle, record, fade out: a whole take. No parts: a take of silence.

        Whatever ends it early, the tone is faded out and what was recorded stays as a ``.part``.
        """
        with self._silent_after():
            if parts:
                self.play(parts, level_db)
            else:
                self.silence()
            stop = self.stop or self.wait(settle_s)
            if stop is not None:
                return self._nothing(stop)
            return self.record(path, seconds, progress)

    def rise(
        self, path: Path, parts: Sequence[Part], stairs: Stairs, progress: ProgressTeller | None
    ) -> Recorded:
        """Play and record a tone that rises step by step; see `Stairs`."""
        gains = [gain_of(db) for db in stairs.levels_db]
        for part in parts:
            guard.check(part, self._outputs[part.output], max(gains))
        with self._silent_after():
            stop = self.play(parts, stairs.levels_db[0]) or self.wait(limits.SETTLE_S)
            if stop is not None:
                return self._nothing(stop)
            step = round(stairs.step_s * self.rate)
            wanted, rate = len(gains) * step, round(self.rate)
            capture = FileCapture(path, wanted, self._wanted.inputs, rate)
            climbing = partial(climb, self._exchanger, capture, stairs, step, self._await)
            return self._capture(capture, progress, climbing)

    # -- inside

    def _capture(
        self,
        capture: Capture,
        progress: ProgressTeller | None,
        meanwhile: Callable[[Callable[[], None]], None] | None = None,
    ) -> Recorded:
        self._require_open()
        lost_before = self._exchanger.lost_count
        if lost_before != self._lost_count:
            self._lost_count = lost_before
            self._run += 1
        seconds = capture.wanted / self.rate
        standing = self._exchanger.stop

        def over() -> bool:
            stopped = self._exchanger.stop is not standing  # so it is where nothing can be stored
            return stopped or (capture.done and capture.error is None)

        def tick() -> None:
            self._tell(progress, capture.frames / self.rate, seconds)

        try:
            self._writer.begin(capture)
            if meanwhile is not None:
                meanwhile(tick)
            self._await(over, tick, stalled_ok=True)
        except BaseException:
            self._writer.end()
            capture.finish(complete=False)
            raise
        if not capture.done:
            self._writer.catch_up(self._exchanger.frame)
            self._writer.end()
        stop = None if capture.done and capture.error is None else self._why(capture)
        ended = stop if meanwhile is not None and stop and stop.reason in ENDS_WELL else None
        stop = None if ended is not None else stop
        capture.finish(complete=stop is None)
        return self._recorded(capture, lost_before, stop, ended)

    def _not_stored(self, message: str) -> None:
        """Stop the tone from the writer's thread, at once."""
        self._exchanger.ask_stop(Stop(Reason.DISK, message, frame=self._exchanger.frame))

    def _why(self, capture: Capture) -> Stop:
        if capture.error is not None:
            return Stop(Reason.DISK, capture.error, frame=capture.start_frame + capture.frames)
        found = self._exchanger.stop
        return found or Stop(Reason.GONE, "the sound card went away", frame=self._exchanger.frame)

    def _recorded(
        self, capture: Capture, lost_before: int, stop: Stop | None, ended: Stop | None
    ) -> Recorded:
        flagged = lost_within(capture, self._exchanger.lost_since(lost_before))
        jumps = jumps_in(capture, self.rate, (*self._state.tones_hz, *self._foreign_tones_hz))
        if jumps:
            self._lost_count = -1  # the frames of the stream are not those of time any more
        return recorded_of(capture, self.timebase, self.rate, (*flagged, *jumps), stop, ended)

    def _nothing(self, stop: Stop) -> Recorded:
        return nothing_recorded(
            self.timebase, self._writer.frames, self.rate, self._wanted.inputs, stop
        )

    @contextmanager
    def _silent_after(self) -> Iterator[None]:
        """Fade out at the end, however it comes."""
        try:
            yield
        finally:
            self._fade_out_whatever()

    def _fade_out_whatever(self) -> None:
        """Fade out although an exception may be on its way, and another may arrive meanwhile."""
        standing = self._exchanger.stop
        try:
            self.silence(limits.STOP_FADE_S)
        except Stopped:
            pass
        except BaseException:
            # Interrupted again: the fade was ordered already and takes two hundredths of a second.
            time.sleep(2 * limits.FADE_S)
            raise
        self._exchanger.stop = standing

    def _require_open(self) -> None:
        if self._stream is None:
            raise BadInput("the sound card is not open")
        if self._exchanger.is_gone:
            raise_gone(self._exchanger)

    def _tell(self, progress: ProgressTeller | None, seconds: float, of_seconds: float) -> None:
        if progress is not None:
            progress(Progress(min(seconds, of_seconds), of_seconds, self.meters()))

    def _await_settled(self, taken: Callable[[], bool]) -> Stop | None:
        player = self._exchanger.player

        def there() -> bool:
            if self._exchanger.stop is not None:
                return True
            return taken() and self._writer.frames >= player.settled_at < player.frame

        self._await(there)
        return self._exchanger.stop

    def _await(
        self,
        over: Callable[[], bool],
        tick: Callable[[], None] | None = None,
        *,
        stalled_ok: bool = False,
    ) -> None:
        wait_until(
            over,
            self._exchanger,
            self._writer,
            lambda: self._stream is None or self._stream.alive,
            tick,
            stalled_ok=stalled_ok,
        )

    def _shut(self) -> None:
        stream, self._stream = self._stream, None
        self._exchanger.closing()
        if stream is not None:
            stream.close()
        self._writer.stop()
