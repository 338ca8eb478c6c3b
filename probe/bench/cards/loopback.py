"""A sound card in memory whose outputs come back at its inputs, for trying things without any.

It behaves as a card does: blocks on a thread of its own, delayed by a latency, in real time or as
quickly as it is waited for. What lies between outputs and inputs is a function.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Callable

import numpy as np

from probe.bench.stream.card import Block, BlockFlags, Exchange, StreamFormat

Respond = Callable[[Block, int], Block]
"""Played block (frames x outputs) and its first frame in; heard block (frames x inputs) out."""

FlagsOf = Callable[[int], BlockFlags]


def straight(inputs: int) -> Respond:
    """Return a lead from every output to the input of the same number."""

    def respond(played: Block, _frame: int) -> Block:
        heard = np.zeros((played.shape[0], inputs), dtype=np.float32)
        count = min(inputs, played.shape[1])
        heard[:, :count] = played[:, :count]
        return heard

    return respond


class LoopBackCard:
    """A `probe.bench.stream.card.Card` in memory.

    Parameters
    ----------
    respond
        What lies between; None: every output on the input of the same number.
    latency
        Blocks between what is played and what comes of it, at least 1.
    patient
        True: as fast as somebody waits for it; False: in real time.
    flags
        What the card reports for the block of a given number.
    """

    def __init__(
        self,
        respond: Respond | None = None,
        *,
        latency: int = 2,
        block: int = 256,
        patient: bool = True,
        flags: FlagsOf | None = None,
    ) -> None:
        self._respond = respond
        self.latency = latency
        self._block = block
        self._patient = patient
        self.flags = flags or (lambda _: BlockFlags())
        self.played: Callable[[Block], None] = lambda _: None
        """Shown every block that was played."""
        self.stream: LoopBackStream | None = None

    @property
    def name(self) -> str:
        """Its name."""
        return "loop-back in memory"

    @property
    def patient(self) -> bool:
        """Whether it may be kept waiting."""
        return self._patient

    def open(
        self, wanted: StreamFormat, exchange: Exchange, gone: Callable[[str], None]
    ) -> LoopBackStream:
        """Start; see `probe.bench.stream.card.Card`."""
        form = StreamFormat(wanted.rate, wanted.inputs, wanted.outputs, self._block)
        respond = self._respond or straight(wanted.inputs)
        self.stream = LoopBackStream(self, form, respond, exchange, gone)
        return self.stream


class LoopBackStream:
    """A running stream of it."""

    def __init__(
        self,
        card: LoopBackCard,
        form: StreamFormat,
        respond: Respond,
        exchange: Exchange,
        gone: Callable[[str], None],
    ) -> None:
        self._card, self._form = card, form
        self._respond, self._exchange, self._gone = respond, exchange, gone
        self._ending = False
        self._unplugged = False
        self._thread = threading.Thread(target=self._run, name="probe-loopback", daemon=True)
        self._thread.start()

    @property
    def format(self) -> StreamFormat:
        """What it runs at."""
        return self._form

    @property
    def alive(self) -> bool:
        """Whether it still exchanges blocks."""
        return self._thread.is_alive() and not self._ending

    def close(self) -> None:
        """Stop."""
        self._ending = True
        if self._thread is not threading.current_thread():
            self._thread.join()

    def unplug(self) -> None:
        """Go away as a card does whose cable is pulled."""
        self._unplugged = True

    def _run(self) -> None:
        form, card = self._form, self._card
        silence = np.zeros((form.block, form.outputs), dtype=np.float32)
        under_way = [silence] * card.latency
        began, number = time.monotonic(), 0
        while not self._ending:
            if self._unplugged:
                self._gone(f"{card.name}: was unplugged")
                return
            heard = self._respond(under_way.pop(0), number * form.block)
            play = np.full((form.block, form.outputs), np.nan, dtype=np.float32)
            self._exchange(heard, play, card.flags(number))
            card.played(play)
            under_way.append(play)
            number += 1
            if not card.patient:
                time.sleep(max(0.0, began + number * form.block / form.rate - time.monotonic()))
