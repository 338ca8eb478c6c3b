"""Recorded blocks on their way from the card's thread to the one that stores them."""

from __future__ import annotations

import numpy as np

from probe.bench.stream.card import Block


class Ring:
    """A queue of frames of fixed size; one thread puts, one takes, neither waits for a lock.

    Each side changes only its own counter, after the samples it stands for have been copied.
    """

    def __init__(self, frames: int, channels: int) -> None:
        self._store = np.zeros((frames, channels), dtype=np.float32)
        self._put = 0
        self._taken = 0

    @property
    def room(self) -> int:
        """Frames that can be put now."""
        return self._store.shape[0] - (self._put - self._taken)

    @property
    def waiting(self) -> int:
        """Frames that can be taken now."""
        return self._put - self._taken

    def put(self, block: Block) -> bool:
        """Copy a block in; False, and nothing copied, where there is no room for all of it."""
        count = block.shape[0]
        if count > self.room:
            return False
        size = self._store.shape[0]
        start = self._put % size
        first = min(count, size - start)
        self._store[start : start + first] = block[:first]
        self._store[: count - first] = block[first:]
        self._put += count
        return True

    def take(self) -> Block:
        """Return a copy of all frames that wait, oldest first, shape (frames, channels)."""
        count = self.waiting
        size = self._store.shape[0]
        start = self._taken % size
        first = min(count, size - start)
        out = np.concatenate([self._store[start : start + first], self._store[: count - first]])
        self._taken += count
        return out
