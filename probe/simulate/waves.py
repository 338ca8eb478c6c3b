"""Cosines and noise that come out the same on every machine."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

PINK_OCTAVES = 16
"""Held random steps of 1, 2, 4 ... samples: at 48 kHz the lowest octave ends near 1 Hz."""

_COSINE = tuple((-1.0) ** k * (2 * math.pi) ** (2 * k) / math.factorial(2 * k) for k in range(13))
"""Taylor series of cos(2 pi x) in x²; on |x| <= 1/4 the first term left out is below 1e-21."""


def cosine(turns: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return ``cos(2 pi turns)`` by additions and multiplications alone, within 1e-15."""
    x = np.abs(turns - np.round(turns))
    folded = x > 0.25
    np.subtract(0.5, x, out=x, where=folded)
    square = x * x
    total = np.full_like(square, _COSINE[-1])
    for coefficient in _COSINE[-2::-1]:
        np.multiply(total, square, out=total)
        np.add(total, coefficient, out=total)
    np.negative(total, out=total, where=folded)
    return total


def noise(
    density: float, corner_hz: float, frames: int, rate: int, stream: np.random.Generator
) -> NDArray[np.float64]:
    """White noise and a part falling with frequency, V at the terminal, shape (frames,).

    One-sided density ``w² (1 + fc / f)``. The falling part is a sum of random steps held for
    1, 2, 4 ... samples, each of variance ``w² fc ln 2``: one held for L samples has the density
    ``2 s² L / fs sinc²(f L / fs)``, and the sum over octaves is ``s² / (f ln 2)``.
    """
    white = density * math.sqrt(rate / 2.0) * stream.standard_normal(frames)
    if corner_hz == 0.0:
        return white
    each = density * math.sqrt(corner_hz * math.log(2.0))
    for octave in range(PINK_OCTAVES):
        held = 1 << octave
        shift = int(stream.integers(held))
        steps = stream.standard_normal(frames // held + 2)
        white += each * np.repeat(steps, held)[shift : shift + frames]
    return white
