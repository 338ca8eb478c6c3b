"""What a sound card is to the bench: opened, it exchanges blocks until it is closed.

The real card (PortAudio) and the virtual one (a simulated device behind a simulated interface)
stand behind this; nothing else of the bench knows which of them it has.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from probe.errors import BadInput

Block = NDArray[np.float32]
"""Frames x channels, full scale is 1.0."""


@dataclass(frozen=True)
class StreamFormat:
    """What a full-duplex stream runs at; ``block``: frames of one exchange, 0 if it varies."""

    rate: float
    inputs: int
    outputs: int
    block: int = 0


@dataclass(frozen=True)
class BlockFlags:
    """What the card says went wrong just before this block; all false is a clean block."""

    input_lost: bool = False
    """Recorded samples were dropped or filled in (overflow or underflow of the input)."""
    output_lost: bool = False
    """Played samples were dropped or filled in."""

    @property
    def clean(self) -> bool:
        """Whether nothing was lost."""
        return not (self.input_lost or self.output_lost)


class Exchange(Protocol):
    """What the card calls for every block, on a thread of its own choice.

    It must fill all of ``play`` (frames x outputs), must not keep ``heard`` (frames x inputs)
    without copying it, must not wait, allocate much, or touch a disk, and must not raise.
    """

    def __call__(self, heard: Block, play: Block, flags: BlockFlags) -> None:
        """Take one recorded block and give one to play."""


class RunningStream(Protocol):
    """A stream that exchanges blocks until it is closed or its device goes away."""

    @property
    def format(self) -> StreamFormat:
        """What it really runs at."""

    @property
    def alive(self) -> bool:
        """Whether blocks are still being exchanged."""

    def close(self) -> None:
        """Stop at once and give the device back; may be called twice."""


class Card(Protocol):
    """One audio interface, as input and output together."""

    @property
    def name(self) -> str:
        """Its name, as people know it."""

    @property
    def patient(self) -> bool:
        """Whether the exchange may keep it waiting.

        A simulated card that runs faster than real time is patient: its time passes only while
        somebody waits for it, and it never gets ahead of what is being stored. No real card is.
        """

    def open(
        self, wanted: StreamFormat, exchange: Exchange, gone: Callable[[str], None]
    ) -> RunningStream:
        """Open and start a full-duplex stream.

        Parameters
        ----------
        wanted
            Rate and channels; the running stream's own format says what came of it.
        exchange
            Called for every block from now on.
        gone
            Called once, from any thread, with one line saying what happened, if the stream ends
            without having been closed.

        Raises
        ------
        BadInput
            The card cannot do this (busy, rate or channels not there); nothing is left open.
        """


def check_format(name: str, real: StreamFormat, wanted: StreamFormat) -> None:
    """Refuse a stream that is not as wanted; the length of its blocks is the card's own.

    Raises
    ------
    BadInput
        Rate, inputs or outputs differ.
    """
    if (real.rate, real.inputs, real.outputs) != (wanted.rate, wanted.inputs, wanted.outputs):
        raise BadInput(
            f"{name}: runs at {real.rate:g} Hz with {real.inputs} inputs and "
            f"{real.outputs} outputs, not as asked; choose a rate it has"
        )
