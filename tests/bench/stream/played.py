"""A card in memory that keeps what was played, and sounds to play on it."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from probe.bench.cards.loopback import FlagsOf, LoopBackCard, Respond
from probe.bench.stream.card import Block
from probe.bench.stream.sound import Sound

RATE = 48000


def tone(hz: float = 997.0, peak: float = 0.5) -> Sound:
    """One second of a cosine of whole periods, shares of full scale."""
    return Sound(peak * np.cos(2.0 * np.pi * hz * np.arange(RATE) / RATE))


class Kept:
    """The card, and everything that was played on it."""

    def __init__(
        self,
        respond: Respond | None = None,
        *,
        block: int = 256,
        latency: int = 2,
        flags: FlagsOf | None = None,
    ) -> None:
        self.card = LoopBackCard(respond, block=block, latency=latency, flags=flags)
        self.blocks: list[Block] = []
        self.card.played = lambda block: self.blocks.append(block.copy())

    @property
    def played(self) -> NDArray[np.float64]:
        """Shape (frames, outputs)."""
        return np.concatenate(self.blocks).astype(np.float64)
