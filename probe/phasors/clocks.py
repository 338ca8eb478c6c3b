"""An injector that does not run on the clock of what the device plays.

Where the device plays files by itself and the bench injects, a take holds tones of two clocks, some
hundred parts per million apart. One rate for all tones then fits neither: the tones of the one
seem to slip against those of the other, as if samples had been lost. So the two groups are given a
rate each, and the injected tones are looked for where they are.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from probe.phasors import thresholds as limits
from probe.phasors.fit import Window, coarse_rate, rate_step, residual
from probe.phasors.lines import Lines
from probe.phasors.steady import chunks_of, longest_run, tone_share
from probe.phasors.table import Table

Bools = NDArray[np.bool_]

STEPS = 10
"""Corrections of the two rates: from some hundred parts per million off the first ones leave half
of what was there, later ones a thousandth."""

QUARTERS = 4
"""Lost samples spoil the piece they lie in: the whole, its halves and its quarters are tried."""

LEAST_ROWS = 16
"""Rows of the table in which two rates can be told at all."""

EXPLAINED = 0.5
"""Two clocks are believed where the injected tones leave less than this share of the energy behind
that one clock leaves: noise alone, and a clock that is the same, leave all of it."""


def of_their_own_clock(table: Table, lines: Lines, sample_rate: float) -> Lines | None:
    """Return the lines with the injected tones where they are; None where one clock serves all."""
    injected = lines.injected.any(axis=1) & ~lines.played
    if not injected.any() or not lines.played.any():
        return None
    chunks = chunks_of(table, sample_rate, float(lines.hz.min()))
    rate = coarse_rate(table, 0, table.rows, lines.tones[lines.played])
    share = tone_share(table, chunks, lines.tones[lines.played], rate)
    first, last = longest_run(share >= limits.CORE_ENERGY)
    if last - first < 2:
        return None
    rows = int(chunks.cuts[first]), int(chunks.cuts[last])
    edges = [chunks.cuts[first + (last - first) * k // QUARTERS] for k in range(QUARTERS + 1)]
    for parts in (1, 2, 4):
        each = QUARTERS // parts
        for k in range(0, QUARTERS, each):
            rows = int(edges[k]), int(edges[k + each])
            ratio = _ratio(table, lines, rows, injected)
            if ratio is not None:
                return replace(lines, hz=np.where(injected, lines.hz * ratio, lines.hz))
    return None


def _ratio(table: Table, lines: Lines, rows: tuple[int, int], injected: Bools) -> float | None:
    """Rate of the injected tones over that of the others; None where one clock serves as well."""
    if rows[1] - rows[0] < LEAST_ROWS:
        return None
    one, _ = _left(table, lines, rows, injected, together=True)
    two, ratio = _left(table, lines, rows, injected, together=False)
    told = two < EXPLAINED * one and abs(ratio - 1.0) < limits.CLOCK_RANGE
    return ratio if told else None


def _left(
    table: Table, lines: Lines, rows: tuple[int, int], injected: Bools, *, together: bool
) -> tuple[float, float]:
    """Energy the injected tones leave behind, and their rate over that of the others."""
    window = Window(table, *rows)
    tones, nominal = lines.tones, table.line_w[lines.tones]
    every = np.ones(len(tones), dtype=bool)
    groups = [every] if together else [~injected, injected]
    rates = np.ones(len(tones))
    rates[~injected if not together else every] = coarse_rate(table, *rows, tones[~injected])
    even = np.tile(np.eye(len(table.values), dtype=np.complex128), (len(tones), 1, 1))
    fit = window.solve(tones, nominal * rates)
    for _ in range(STEPS):
        for group in groups:
            rates[group] += rate_step(window, fit, nominal, group, even)[0]
        fit = window.solve(tones, nominal * rates)
    left = residual(table, window, fit, tones[injected], *rows)
    ratio = float(rates[injected][0] / rates[~injected][0])
    return float(np.sum(np.abs(left) ** 2)), ratio
