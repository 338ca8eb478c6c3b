"""Random numbers whose streams do not disturb each other."""

from __future__ import annotations

import zlib

import numpy as np


def random_of(seed: int, *purpose: str) -> np.random.Generator:
    """Return a stream of random numbers of its own for a seed and what it is for."""
    return np.random.default_rng([seed, *(zlib.crc32(p.encode()) for p in purpose)])
