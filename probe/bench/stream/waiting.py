"""Waiting in stream time: until something is so, or the sound card is gone."""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import NoReturn

from probe.bench.stream import limits
from probe.bench.stream.capture import Writer
from probe.bench.stream.exchange import Exchanger
from probe.bench.stream.stop import Reason, Stop, Stopped
from probe.interrupt import raise_if_asked

TICK_S = 0.05
"""How often progress is told and interruptions are noticed while waiting."""

_SOON_S = 0.0005
"""Until a patient card that is not waited for any more has come to a stand."""


def wait_until(
    over: Callable[[], bool],
    exchanger: Exchanger,
    writer: Writer,
    alive: Callable[[], bool],
    tick: Callable[[], None] | None = None,
    *,
    stalled_ok: bool = False,
) -> None:
    """Wait until ``over`` says so.

    Parameters
    ----------
    alive
        Whether the card still runs by its own word.
    tick
        Called every `TICK_S`.
    stalled_ok
        Return, not raise, where the card goes away before.

    Raises
    ------
    Stopped
        The card went away.
    """
    frames, moved = writer.frames, time.monotonic()
    told = 0.0

    def seen() -> bool:
        """Whether it is over, looked at while nothing moves."""
        at = exchanger.standstill
        return at is not None and over() and exchanger.standstill == at

    with exchanger.awaited(over):
        while not seen():
            raise_if_asked()
            now = time.monotonic()
            if writer.frames != frames:
                frames, moved = writer.frames, now
            if not alive():
                exchanger.gone("the sound card stopped by itself")
            elif now - moved > limits.STALLED_S:
                exchanger.gone("the sound card delivers nothing any more")
            if exchanger.is_gone:
                if over() or stalled_ok:
                    return
                raise_gone(exchanger)
            if tick is not None and now - told >= TICK_S:
                told = now
                tick()
            writer.wait(_SOON_S if over() else TICK_S)


def let_fade_end(exchanger: Exchanger) -> None:
    """Give a stream that is lost, but runs still, the time to end its fade."""
    end = time.monotonic() + 2 * limits.FADE_S
    with exchanger.awaited(lambda: exchanger.player.silent):
        while not exchanger.player.silent and time.monotonic() < end:
            time.sleep(limits.FADE_S / 4)


def raise_gone(exchanger: Exchanger) -> NoReturn:
    """Raise `Stopped` with the reason the exchange knows."""
    stop = exchanger.stop
    raise Stopped(stop if stop is not None else Stop(Reason.GONE, "the sound card went away"))
