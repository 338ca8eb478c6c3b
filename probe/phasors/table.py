"""One pass over the samples: short projections from which everything else follows.

The file is cut into blocks of ``B`` samples. Of each block and channel, and for each analysis
line of ``w_j`` rad/sample, only

    T[c, b, j] = sum over n of x[c, b B + n] exp(-i w_j n)

is kept, by one double-precision matrix product per piece read. The last line has ``w = 0``: the
offset. The answer of a block to ``exp(i w n)`` is a Dirichlet sum, so leakage between lines,
negative-frequency images, offset and a foreign clock are removed exactly afterwards.

When the table grows long, neighbouring blocks are added, the second turned by the frequencies
``v_j`` believed at that moment; the answer of such a pair is the answer of the single block times
``1 + exp(i (w - v_j) B)``, again in closed form. So hours of audio fit in a few megabytes.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from probe.phasors import thresholds as limits

Complex = NDArray[np.complex128]
Real = NDArray[np.float64]


def block_length(sample_rate: float, highest_hz: float) -> int:
    """Return the projection block length in samples, a power of two.

    Short enough that a tone of ``highest_hz`` on the worst clock slips little within one block,
    and that the ends of the tone are found finely.
    """
    by_clock = limits.BLOCK_CYCLES * sample_rate / (limits.CLOCK_RANGE * max(highest_hz, 1.0))
    by_time = limits.BLOCK_SECONDS * sample_rate
    return int(2 ** max(5, int(np.floor(np.log2(min(by_clock, by_time))))))


def dirichlet(theta: Real, length: int) -> Complex:
    """Return ``sum of exp(i theta n)`` over ``n = 0 .. length-1``, any shape."""
    half = 0.5 * theta
    sine = np.sin(half)
    small = np.abs(sine) < 1e-9
    ratio = np.where(small, float(length), np.sin(length * half) / np.where(small, 1.0, sine))
    # at theta near 2 pi k the ratio is length times cos(length half)/cos(half): sign +-1
    ratio = np.where(small, length * np.cos(length * half) / np.cos(half), ratio)
    return np.asarray(ratio * np.exp(1j * half * (length - 1)))


def spin(w: Real, first: float, step: float, count: int) -> Complex:
    """Return ``exp(i w (first + step b))`` for b = 0 .. count-1, shape (count, len(w)).

    As products of a coarse and a fine turn: far fewer exponentials than rows.
    """
    size = 32
    starts = first + step * size * np.arange(-(-count // size))
    coarse = np.exp(1j * np.outer(starts, w))
    fine = np.exp(1j * np.outer(step * np.arange(size), w))
    product = coarse[:, None, :] * fine[None, :, :]
    return np.asarray(product.reshape(len(starts) * size, len(w))[:count])


@dataclass(frozen=True)
class Extremes:
    """Largest sample per channel and the places where it was reached flat.

    Attributes
    ----------
    peak
        Shape (C,), largest ``|x|``, full scale is 1.
    flat_run
        Shape (C,), longest run of equal samples at the extreme.
    flat_places
        Shape (C,), number of runs of at least ``FLAT_RUN`` equal samples at the extreme.
    step
        Step between sample values, full scale is 1.
    """

    peak: Real
    flat_run: NDArray[np.int64]
    flat_places: NDArray[np.int64]
    step: float


@dataclass(frozen=True)
class Table:
    """Block projections of one take.

    Attributes
    ----------
    values
        Shape (C, blocks, J + 1), complex; the last line is the offset.
    line_w
        Shape (J + 1,), rad/sample of the projections; the last is 0.
    block
        Samples of an unmerged block.
    turns
        One row per merging level, shape (levels, J + 1): rad/sample of the turn used.
    frames
        Frames seen in all, including those of an incomplete last block.
    extremes
        See there.
    """

    values: NDArray[np.complex128]
    line_w: Real
    block: int
    turns: Real
    frames: int
    extremes: Extremes

    @property
    def span(self) -> int:
        """Samples of one row of the table, merging included."""
        return self.block << len(self.turns)

    @property
    def rows(self) -> int:
        """Number of complete blocks in the table."""
        return int(self.values.shape[1])

    @property
    def rate(self) -> float:
        """Rate already turned out of the rows by merging; 1 where nothing was merged."""
        return float(self.turns[-1, 0] / self.line_w[0]) if len(self.turns) else 1.0

    def response(self, w: Real, lines: NDArray[np.int64]) -> Complex:
        """Return what a block's ``lines`` read of ``exp(i w n)``, shape (lines, len(w))."""
        return self._answer(w[None, :], lines[:, None])

    def own_response(self, w: Real, lines: NDArray[np.int64]) -> Complex:
        """Return what each line reads of its own ``exp(i w n)``; w is (..., lines)."""
        return self._answer(w, lines)

    def _answer(self, w: Real, lines: NDArray[np.int64]) -> Complex:
        out = dirichlet(w - self.line_w[lines], self.block)
        for level, turn in enumerate(self.turns):
            out = out * (1.0 + np.exp(1j * (w - turn[lines]) * (self.block << level)))
        return np.asarray(out)


ClockGuess = Callable[[Table], Real | None]


class TableBuilder:
    """Collects the projections piece by piece.

    Parameters
    ----------
    line_w
        Shape (J,), rad/sample.
    block
        Block length, samples.
    channels
        Number of channels, C.
    guess
        Given the table so far, the line frequencies (J + 1,) to merge with, or None if no tone
        has been heard yet.
    """

    def __init__(self, line_w: Real, block: int, channels: int, guess: ClockGuess) -> None:
        self._line_w = np.append(line_w, 0.0)
        self._block = block
        self._channels = channels
        self._guess = guess
        self._kernel = _kernel(self._line_w, block)
        self._turns: list[Real] = []
        nothing = np.zeros((channels, 0, len(self._line_w)), dtype=np.complex128)
        self._parts: list[NDArray[np.complex128]] = [nothing]
        self._fresh = nothing
        self._rest = np.zeros((channels, 0), dtype=np.float64)
        self._frames = 0
        self._extremes = _ExtremeFinder(channels)
        self._enough = limits.TABLE_BLOCKS

    def add(self, piece: NDArray[np.floating[Any]]) -> None:
        """Take in one piece, frames x channels, full scale is 1."""
        self._frames += len(piece)
        x = np.ascontiguousarray(piece.T, dtype=np.float64)
        self._extremes.add(x)
        if self._rest.shape[1]:
            x = np.concatenate([self._rest, x], axis=1)
        whole = x.shape[1] // self._block * self._block
        self._rest = x[:, whole:].copy()
        if whole:
            self._store(self._project(x[:, :whole]))
            if self._rows > self._enough:
                self._shrink()

    def table(self) -> Table:
        """Return what was collected, without the rows not yet complete."""
        self._parts = [np.concatenate(self._parts, axis=1)]
        return Table(
            values=self._parts[0],
            line_w=self._line_w,
            block=self._block,
            turns=np.array(self._turns).reshape(len(self._turns), len(self._line_w)),
            frames=self._frames,
            extremes=self._extremes.found(),
        )

    @property
    def _rows(self) -> int:
        return sum(part.shape[1] for part in self._parts)

    def _project(self, x: NDArray[np.float64]) -> NDArray[np.complex128]:
        flat = np.ascontiguousarray(x).reshape(-1, self._block)
        product = flat @ self._kernel
        return product.view(np.complex128).reshape(self._channels, -1, len(self._line_w))

    def _store(self, blocks: NDArray[np.complex128]) -> None:
        """Bring new blocks to the level of the table and append them."""
        if self._fresh.shape[1]:
            blocks = np.concatenate([self._fresh, blocks], axis=1)
        unit = 1 << len(self._turns)
        whole = blocks.shape[1] // unit * unit
        self._fresh, rows = blocks[:, whole:], blocks[:, :whole]
        for level, turn in enumerate(self._turns):
            rows = _merge(rows, turn, self._block << level)
        self._parts.append(rows)

    def _shrink(self) -> None:
        """Merge the table's rows in pairs, if it is known how fast the tones really turn."""
        table = self.table()
        if table.rows % 2:  # the odd row finds its partner in the next piece
            return
        turn = self._guess(table)
        if turn is None and table.rows <= limits.TABLE_BLOCKS_UNCLOCKED:
            self._enough = table.rows * 5 // 4
            return
        turn = self._line_w if turn is None else turn
        self._parts = [_merge(table.values, turn, table.span)]
        self._turns.append(turn)
        self._enough = limits.TABLE_BLOCKS


def _kernel(line_w: Real, block: int) -> NDArray[np.float64]:
    """Return exp(-i w n) as alternating real and imaginary columns, shape (block, 2 lines)."""
    turned = np.exp(-1j * np.outer(np.arange(block), line_w))
    return np.ascontiguousarray(turned).view(np.float64)


def _merge(values: NDArray[np.complex128], turn: Real, span: int) -> NDArray[np.complex128]:
    """Add neighbouring blocks of ``span`` samples, the second turned back by ``turn``."""
    factor = np.exp(-1j * turn * span)
    return np.asarray(values[:, 0::2] + values[:, 1::2] * factor)


class _ExtremeFinder:
    """Running peak and flat tops, per channel."""

    def __init__(self, channels: int) -> None:
        self._high = np.zeros(channels)
        self._low = np.zeros(channels)
        self._run = np.zeros((2, channels), dtype=np.int64)
        self._places = np.zeros((2, channels), dtype=np.int64)
        self._coarse = True

    def add(self, x: NDArray[np.float64]) -> None:
        if not x.shape[1]:
            return
        high = x.max(axis=1)
        low = x.min(axis=1)
        for channel in range(len(x)):
            self._note(0, channel, x[channel], float(high[channel]), self._high)
            self._note(1, channel, x[channel], float(low[channel]), self._low)
        if self._coarse:
            probe = x[:, :512] * 32768.0
            self._coarse = bool(np.all(probe == np.round(probe)))

    def _note(
        self, side: int, channel: int, x: NDArray[np.float64], value: float, best: Real
    ) -> None:
        if abs(value) < abs(best[channel]) or value == 0.0 or (value < 0.0) != (side == 1):
            return
        if abs(value) > abs(best[channel]):
            best[channel] = value
            self._run[side, channel] = 0
            self._places[side, channel] = 0
        # every run of FLAT_RUN samples holds one of these: most pieces are done with here
        if not np.any(x[:: limits.FLAT_RUN] == value):
            return
        at = np.flatnonzero(x == value)
        ends = np.flatnonzero(np.append(np.diff(at) > 1, True))
        lengths = np.diff(np.concatenate([[-1], ends]))
        self._run[side, channel] = max(self._run[side, channel], int(lengths.max()))
        self._places[side, channel] += int(np.sum(lengths >= limits.FLAT_RUN))

    def found(self) -> Extremes:
        return Extremes(
            peak=np.maximum(self._high, -self._low),
            flat_run=self._run.max(axis=0),
            flat_places=self._places.max(axis=0),
            step=2.0**-15 if self._coarse else 2.0**-23,
        )


def project(
    pieces: Iterable[NDArray[np.floating[Any]]],
    line_w: Real,
    block: int,
    channels: int,
    guess: ClockGuess,
) -> Table:
    """Run once over ``pieces`` (frames x channels each) and return the table."""
    builder = TableBuilder(line_w, block, channels, guess)
    for piece in pieces:
        builder.add(piece)
    return builder.table()
