"""Where the tones of a take stand still, and what fits them there: tones, clock and hum."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from probe.phasors import thresholds as limits
from probe.phasors.fit import Fit, Window, coarse_rate, rate_step
from probe.phasors.hum import Mains, find_mains
from probe.phasors.lines import Lines
from probe.phasors.steady import (
    Chunks,
    Gains,
    chunks_of,
    gains,
    longest_run,
    steady_run,
    tone_share,
)
from probe.phasors.table import Complex, Table


@dataclass(frozen=True)
class State:
    """What is known of a take while its steady part is looked for."""

    window: Window
    fit: Fit
    rate: float
    mains: Mains


@dataclass(frozen=True)
class Steady:
    """The steady part: its fit, the gains of all chunks, and first and last chunk."""

    state: State
    gain: Gains
    chunks: Chunks
    run: tuple[int, int]
    fits: bool


def _settle(table: Table, lines: Lines, first: int, last: int, rate: float) -> State:
    """Fit tones, clock and hum between two rows of the table."""
    window = Window(table, first, last)
    tones, nominal = lines.tones, table.line_w[lines.tones]
    even = even_weights(len(table.values), len(tones))
    every = np.ones(len(tones), dtype=bool)
    fit = window.solve(tones, nominal * rate)
    for _ in range(2):
        step, _ = rate_step(window, fit, nominal, every, even)
        rate = clip_rate(rate + step)
        fit = window.solve(tones, nominal * rate)
    mains = find_mains(window, fit, lines, rate)
    state = State(window, fit, rate, mains)
    return _refit(state, lines, even) if len(mains.seen) else state


def _refit(state: State, lines: Lines, weight: Complex) -> State:
    """Fit tones and visible hum together and correct both frequencies once."""
    window, mains = state.window, state.mains
    table = window.table
    use = np.concatenate([lines.tones, mains.seen])
    tone = use < len(lines.hz)
    nominal = table.line_w[use]
    full = even_weights(len(table.values), len(use))
    full[: len(lines.hz)] = weight
    fit = window.solve(use, np.where(tone, nominal * state.rate, nominal * mains.ratio))
    step, _ = rate_step(window, fit, nominal, tone, full)
    rate = clip_rate(state.rate + step)
    ratio = mains.ratio
    if len(mains.seen):
        step, _ = rate_step(window, fit, nominal, ~tone, full)
        bound = limits.MAINS_RANGE
        ratio = rate * float(np.clip((ratio + step) / rate, 1.0 - bound, 1.0 + bound))
    fit = window.solve(use, np.where(tone, nominal * rate, nominal * ratio))
    return State(window, fit, rate, replace(mains, ratio=ratio))


def even_weights(channels: int, count: int) -> Complex:
    """Return weights that count all channels alike, shape (count, C, C)."""
    return np.tile(np.eye(channels, dtype=np.complex128), (count, 1, 1))


def clip_rate(rate: float) -> float:
    """Return a rate within what clocks are off by."""
    return float(np.clip(rate, 1.0 - limits.CLOCK_RANGE, 1.0 + limits.CLOCK_RANGE))


def find_steady(table: Table, lines: Lines, sample_rate: float) -> Steady:
    """Find where the tones stand still, and fit them there."""
    chunks = chunks_of(table, sample_rate, float(lines.hz.min()))
    rate = coarse_rate(table, 0, table.rows, lines.tones)
    share = tone_share(table, chunks, lines.tones, rate)
    core = longest_run(share >= limits.CORE_ENERGY)
    if core[1] - core[0] < 2:
        core = (0, chunks.count)
    whole = _grow(table, lines, chunks, core, rate)
    if whole.fits:
        return whole
    for parts in (2, 4, 8, 16):
        pieces = _pieces(core, parts)
        tried = [_grow(table, lines, chunks, piece, rate) for piece in pieces]
        good = [one for one in tried if one.fits]
        if good:
            return max(good, key=lambda one: one.run[1] - one.run[0])
    return whole


def _pieces(core: tuple[int, int], parts: int) -> list[tuple[int, int]]:
    """Return overlapping pieces of the core, each a ``parts``-th of it and at least 4 chunks."""
    length = (core[1] - core[0]) // parts
    if length < 4:
        return []
    starts = np.linspace(core[0], core[1] - length, 2 * parts - 1)
    return [(int(s), int(s) + length) for s in starts]


def _grow(table: Table, lines: Lines, chunks: Chunks, span: tuple[int, int], rate: float) -> Steady:
    """Fit a span of chunks, then let the span follow the steady gain until it stays."""
    run = span
    steady = _steady(table, lines, chunks, run, rate)
    for _ in range(5):
        following = steady_run(steady.gain, run)
        if 2 * (following[1] - following[0]) < run[1] - run[0]:
            return steady
        if following == run:
            return replace(steady, fits=True)
        run = following
        steady = _steady(table, lines, chunks, run, rate)
    return replace(steady, fits=True)


def _steady(
    table: Table, lines: Lines, chunks: Chunks, run: tuple[int, int], rate: float
) -> Steady:
    """Fit a run of chunks; ``rate`` is that of the whole file."""
    first, last = int(chunks.cuts[run[0]]), int(chunks.cuts[run[1]])
    if last - first < table.rows:
        rate = coarse_rate(table, first, last, lines.tones)
    state = _settle(table, lines, first, last, rate)
    return Steady(state, gains(state.window, state.fit, chunks, lines), chunks, run, False)
