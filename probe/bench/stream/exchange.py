"""What the card calls: copies what was heard, watches it, fills what is played.

Everything here runs on the card's own thread. It waits for nothing (but for a patient card, which
asked for it), opens nothing, and never raises: an error inside fades the tone out like any other
reason to stop.
"""

from __future__ import annotations

import time
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager

import numpy as np
from numpy.typing import NDArray

from probe.bench.stream.card import Block, BlockFlags, StreamFormat
from probe.bench.stream.guard import Guard
from probe.bench.stream.limits import RING_S, STOP_FADE_S
from probe.bench.stream.player import Player
from probe.bench.stream.ring import Ring
from probe.bench.stream.sound import InputScale
from probe.bench.stream.stop import Reason, Stop

_MOST_LOST = 1000
"""Reports of lost samples kept; a stream that loses more is of no use anyway."""

_PATIENCE_S = 0.0002
"""Between two looks of a patient card at whether it may go on."""

Over = Callable[[], bool]
"""Whether what somebody waits for has come."""


class Exchanger:
    """The exchange of one stream."""

    def __init__(
        self, form: StreamFormat, inputs: Sequence[InputScale], *, patient: bool = False
    ) -> None:
        self.player = Player(form.rate, form.outputs)
        self.guard = Guard(form.rate, inputs)
        self.ring = Ring(round(RING_S * form.rate), form.inputs)
        self.stop: Stop | None = None
        self.is_gone = False
        self.frame = 0
        """Frames exchanged so far."""
        self.lost_count = 0
        self._lost: deque[tuple[int, int, BlockFlags]] = deque(maxlen=_MOST_LOST)
        self._asked: Stop | None = None
        self._patient = patient
        self._over: Over | None = None
        self._standstills = 0
        self._stands = False
        self.stored: Callable[[], int] = lambda: self.frame
        """How many of the frames heard have been stored and metered."""
        self._closing = False
        self._last = np.zeros(form.outputs)
        self._escaped = False
        self._escape_from: NDArray[np.float64] | None = None
        self._escape_place = 0
        self._falling = _cosine_fall(round(STOP_FADE_S * form.rate))

    def __call__(self, heard: Block, play: Block, flags: BlockFlags) -> None:
        """Exchange one block; see `probe.bench.stream.card.Exchange`."""
        try:
            self._hear(heard, flags)
        except Exception as error:
            self._fail(error)
        try:
            self._give(play)
        except Exception as error:
            self._escape(play, error)
        self.frame += play.shape[0]
        if play.shape[0]:
            self._last[:] = play[-1]

    def gone(self, message: str) -> None:
        """Take the card's word that it went away; from any thread."""
        if not self.is_gone:
            self.stop = Stop(Reason.GONE, message, frame=self.frame)
            self.is_gone = True

    def ask_stop(self, stop: Stop) -> None:
        """Fade out from the next block on; from any thread."""
        self._asked = stop

    def forget_stop(self) -> None:
        """Forget why the tone stopped, and who still asks for it; from any thread."""
        self.stop = self._asked = None

    def closing(self) -> None:
        """Keep a patient card waiting no longer."""
        self._closing = True

    @contextmanager
    def awaited(self, over: Over) -> Iterator[None]:
        """While this lasts somebody waits for ``over``; until then a patient card's time passes.

        It stands still at the very block with which ``over`` came true, however busy the machine
        is: the same questions then find the same answers.
        """
        before, self._over = self._over, over
        try:
            yield
        finally:
            self._over = before

    @property
    def standstill(self) -> int | None:
        """Number of the standstill a patient card is in; None while it works on a block.

        What is looked at within one standstill belongs together, and what is plugged and turned
        in it acts from the next block on. Always 0 where time is real, or over.
        """
        if self._closing or self.is_gone or not self._patient:
            return 0
        return self._standstills if self._stands else None

    def lost_since(self, count: int) -> list[tuple[int, BlockFlags]]:
        """Return frame and flags of what was lost after the first ``count`` reports."""
        return [(frame, flags) for number, frame, flags in tuple(self._lost) if number >= count]

    def _hear(self, heard: Block, flags: BlockFlags) -> None:
        if self._patient:
            self._be_waited_for(heard.shape[0])
        if not flags.clean:
            self._note_lost(flags)
        if not self.is_gone and not self.ring.put(heard):
            late = "the disk did not keep up with the recording"
            self._stop(Stop(Reason.DISK, late, None, self.frame))
            self.is_gone = True  # frames are missing: nothing after this has a known place
        self._watch(heard)

    def _give(self, play: Block) -> None:
        if self._escaped:
            raise _EscapedError
        self.player.fill(play)
        if not self.guard.hold(play, self.player.limits):
            self._stop(
                Stop(Reason.LIMIT, "a level above the limit was held back", None, self.frame)
            )

    def _watch(self, heard: Block) -> None:
        player = self.player
        found = self.guard.watch(heard, player.gains, player.wanted, self.frame)
        if self._asked is not None:
            found, self._asked = found or self._asked, None
        if found is not None:
            self._stop(found)

    def _stop(self, found: Stop) -> None:
        """Let the first reason stand; fade only once."""
        if self.stop is None:
            self.stop = found
            self.player.emergency()

    def _note_lost(self, flags: BlockFlags) -> None:
        self._lost.append((self.lost_count, self.frame, flags))
        self.lost_count += 1

    def _be_waited_for(self, frames: int) -> None:
        while not self._closing and not self._may_go_on(frames):
            self._stands = self.stored() >= self.frame
            time.sleep(_PATIENCE_S)
        self._stands = False
        self._standstills += 1

    def _may_go_on(self, frames: int) -> bool:
        if self.is_gone:
            return True
        if self.stored() < self.frame or self.ring.room < frames:
            return False  # what comes of the block before must be known first
        over = self._over
        return over is not None and not over()

    def _fail(self, error: Exception) -> None:
        self._stop(Stop(Reason.FAILED, f"an error inside the program: {error!r}", None, self.frame))

    def _escape(self, play: Block, error: Exception) -> None:
        """Fade from the last sample played, whatever the player is up to; the stream is lost."""
        self._escaped = True
        if self.stop is None:
            self.stop = Stop(
                Reason.FAILED, f"an error inside the program: {error!r}", None, self.frame
            )
        if self._escape_from is None:
            self._escape_from = np.array(self._last)
        gains = np.zeros(play.shape[0])
        left = self._falling[self._escape_place : self._escape_place + gains.size]
        gains[: left.size] = left
        self._escape_place += left.size
        play[:] = gains[:, None] * self._escape_from
        self.player.silent = True
        if self._escape_place >= self._falling.size:
            self.is_gone = True


class _EscapedError(Exception):
    """The player failed earlier and is not asked again."""


def _cosine_fall(frames: int) -> NDArray[np.float64]:
    """Return the falling half of a raised cosine, ending in 0."""
    return np.asarray(0.5 + 0.5 * np.cos(np.pi * np.arange(1, frames + 1) / frames))
