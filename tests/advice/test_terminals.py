"""What is read of a loaded source by its minors is what a general solver finds.

Were it not, every level, loss, current and hum of an answer would be another circuit's.
"""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from probe.advice.terminals import Load, Terminals, read
from probe.facts.source import FROM_MODAL, TERMINALS

NAMES = (("single-ended",), ("hot", "single-ended"), ("hot", "cold"), TERMINALS)
DRAWS, POINTS = 5, 4

Complex = NDArray[np.complex128]


def drawn(*shape: int) -> Complex:
    rng = np.random.default_rng(len(shape) + sum(shape))
    return rng.standard_normal(shape) + 1j * rng.standard_normal(shape)


def coordinates(names: tuple[str, ...]) -> NDArray[np.float64]:
    """Coordinates to terminals: difference and mean where both legs are in use."""
    index = [TERMINALS.index(t) for t in names]
    both = {"hot", "cold"} <= set(names)
    return FROM_MODAL[np.ix_(index, index)] if both else np.eye(len(index))


@pytest.mark.parametrize("names", NAMES)
def test_a_loaded_source_reads_as_a_general_solver_has_it(names: tuple[str, ...]) -> None:
    size = len(names)
    z, voc = drawn(size, size, DRAWS, POINTS), drawn(size, DRAWS, POINTS)
    y, row, current = drawn(POINTS, size, size), drawn(POINTS, size), drawn(POINTS, size) * 0.3
    source, load = Terminals(names, voc, z), Load(names, y)
    below = source.minors @ load.below
    reads = load.on(names, row)
    volts = read(source.with_voc, load.reads(reads)[..., None], below)[..., 0]
    moved = load.reads_moved(reads, load.on(names, current))
    fell = read(source.minors, moved[..., None], below)[..., 0]
    # numpy.linalg.solve of v = Voc - Z i and i = Y v + j, at the terminals themselves
    back = coordinates(names)
    for n in range(DRAWS):
        for f in range(POINTS):
            own = back @ z[:, :, n, f] @ back.T
            loaded = np.eye(size) + own @ y[f]
            found = np.linalg.solve(loaded, back @ voc[:, n, f])
            assert volts[f, n] == pytest.approx(row[f] @ found, rel=1e-9)
            found = np.linalg.solve(loaded, -own @ current[f])
            assert fell[f, n] == pytest.approx(row[f] @ found, rel=1e-9)


def test_a_floating_pair_keeps_its_small_impedance_beside_a_large_one() -> None:
    """A stage tied on one leg had a level of noise where megohms were subtracted."""
    # 200 ohm between the legs, 1 Tohm from both to pin 1; cold tied by 0 ohm, 10 kohm on hot
    z = np.zeros((2, 2, 1, 1), dtype=np.complex128)
    z[0, 0], z[1, 1] = 200.0, 1e12
    voc = np.array([1.0, 0.0], dtype=np.complex128).reshape(2, 1, 1)
    source = Terminals(("hot", "cold"), voc, z)
    load = Load(("hot", "cold"), np.diag([1e-4, 1e3]).astype(np.complex128)[None])
    hot = load.reads(load.on(("hot",), np.ones((1, 1), dtype=np.complex128)))[..., None]
    found = read(source.with_voc, hot, source.minors @ load.below)[0, 0, 0]
    # closed form: 1 V through 200 ohm and the tie into 10 kohm
    assert found == pytest.approx(1e4 / (1e4 + 200.0 + 1e-3), rel=1e-9)


@pytest.mark.parametrize("names", NAMES)
def test_some_frequencies_read_as_all_of_them(names: tuple[str, ...]) -> None:
    size = len(names)
    z, voc = drawn(size, size, DRAWS, POINTS), drawn(size, DRAWS, POINTS)
    source, some = Terminals(names, voc, z), Terminals(names, voc, z).only((1, 3))
    # the same minors, made of fewer figures
    assert some.minors == pytest.approx(source.minors[[1, 3]])
    assert some.with_voc == pytest.approx(source.with_voc[[1, 3]])
