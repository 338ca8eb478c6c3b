"""The block table against sums over the samples themselves."""

from __future__ import annotations

import tracemalloc
from collections.abc import Iterator

import numpy as np
import pytest
from numpy.typing import NDArray

from probe.phasors import measure_take
from probe.phasors import thresholds as limits
from probe.phasors.table import TableBuilder, block_length, dirichlet, project, spin

from .recordings import TONES, phasors, pieces, take

LINES = np.array([0.01, 0.3, 2.7])


def no_guess(_: object) -> None:
    return None


@pytest.mark.parametrize(
    "theta", [0.0, 1e-12, 0.3, 2.0, np.pi, 2 * np.pi, -2 * np.pi, 4 * np.pi, 6.2]
)
@pytest.mark.parametrize("length", [1, 2, 32, 257])
def test_dirichlet_sum(theta: float, length: int) -> None:
    # closed form: the sum it stands for
    direct = np.exp(1j * theta * np.arange(length)).sum()
    assert dirichlet(np.array([theta]), length)[0] == pytest.approx(direct, abs=1e-9 * length)


def test_spin_is_a_table_of_turns() -> None:
    w = np.array([0.0, 0.1, -3.0])
    # closed form: the exponentials it stands for
    direct = np.exp(1j * np.outer(7.5 + 256.0 * np.arange(1000), w))
    assert np.abs(spin(w, 7.5, 256.0, 1000) - direct).max() < 1e-9


def test_rows_are_sums_over_samples() -> None:
    rng = np.random.default_rng(1)
    x = rng.standard_normal((1000, 2)).astype(np.float32)
    table = project(pieces(x.astype(np.float64), 333), LINES, 64, 2, no_guess)
    # closed form: the definition of the table, double precision
    for row in range(1000 // 64):
        part = x[64 * row : 64 * row + 64].astype(np.float64)
        direct = part.T @ np.exp(-1j * np.outer(np.arange(64), np.append(LINES, 0.0)))
        assert np.abs(table.values[:, row] - direct).max() < 1e-4
    assert table.rows == 15
    assert table.frames == 1000


def test_merged_rows_answer_as_their_closed_form_says(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(limits, "TABLE_BLOCKS", 40)
    w = 0.3003
    x = np.cos(w * np.arange(64 * 500) + 0.4)[:, None]
    turn = np.append(LINES * 1.0005, 0.0)
    table = project(pieces(x, 640), LINES, 64, 1, lambda _: turn)
    # closed form: 500 blocks of 64 in at most 40 rows, halved as often as needed
    assert table.rows <= 40
    assert table.span == 64 * 2 ** len(table.turns)
    assert len(table.turns) >= 4
    start = np.arange(table.rows) * table.span
    every = np.arange(4)
    plus = table.response(np.array([w]), every)[:, 0]
    minus = table.response(np.array([-w]), every)[:, 0]
    phase = np.exp(1j * (w * start + 0.4))
    expected = 0.5 * phase[:, None] * plus + 0.5 * phase.conj()[:, None] * minus
    assert np.abs(table.values[0] - expected).max() < 2e-3 * np.abs(expected).max()
    strong = np.abs(table.values[0, :, 1] - expected[:, 1]) / np.abs(expected[:, 1])
    assert strong.max() < 1e-5


def test_pieces_of_any_size_give_the_same_table() -> None:
    rng = np.random.default_rng(2)
    x = rng.standard_normal((5000, 1))
    one = project(pieces(x, 5000), LINES, 32, 1, no_guess)
    many = TableBuilder(LINES, 32, 1, no_guess)
    at = 0
    for size in rng.integers(0, 100, 200):
        many.add(x[at : at + size].astype(np.float32))
        at += size
    many.add(x[at:].astype(np.float32))
    # the same sums, so equal to single precision
    assert np.abs(many.table().values - one.values).max() < 1e-4


@pytest.mark.parametrize("rate", [44100, 48000, 96000, 192000, 384000])
def test_blocks_are_short(rate: int) -> None:
    block = block_length(rate, 20000.0)
    # closed form: worst slip within a block, cycles
    assert 20000.0 * limits.CLOCK_RANGE * block / rate <= limits.BLOCK_CYCLES
    assert block / rate <= limits.BLOCK_SECONDS
    # a whole number of blocks per piece
    assert limits.READ_FRAMES % block == 0


def long_pieces(
    seconds: int, hz: NDArray[np.float64], v: NDArray[np.complex128], clock: float, silent_s: float
) -> Iterator[NDArray[np.float32]]:
    rng = np.random.default_rng(3)
    noise = (1e-5 * rng.standard_normal((65536, 2))).astype(np.float32)
    w = 2 * np.pi * hz / (48000 * (1 + clock))
    amplitude = v * np.sqrt(2.0) / 8.0
    for at in range(0, seconds * 48000, 65536):
        piece = np.roll(noise, at % 5003, axis=0)
        if at >= silent_s * 48000:
            piece = piece + (spin(w, float(at), 1.0, 65536) @ amplitude).real.astype(np.float32)
        yield piece.astype(np.float32)


@pytest.mark.parametrize(
    ("seconds", "silent_s"), [pytest.param(600, 0.0, marks=pytest.mark.long), (600, 300.0)]
)
@pytest.mark.long
def test_long_takes_need_no_more_memory(seconds: int, silent_s: float) -> None:
    hz = np.array(TONES[-3:])
    v = phasors(np.random.default_rng(4), 3, (0.3, 0.25))
    made = take(tuple(hz), seconds=seconds)
    tracemalloc.start()
    found = measure_take(made, 50.0, pieces=long_pieces(seconds, hz, v, -499e-6, silent_s))
    _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    # the promise: at most 250 MB for a whole run whatever the length; the samples alone are 230 MB
    # in single precision here, the table at its largest is 20
    assert peak < 110e6
    # closed form: 600 s against noise of 1e-5
    assert np.abs(np.abs(found.volts / v) - 1.0).max() < 3e-6
    assert abs(found.clock_error + 499e-6) < 1e-12
    assert found.steady_s[0] == pytest.approx(silent_s, abs=1.6)
