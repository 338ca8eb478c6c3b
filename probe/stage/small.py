"""Many small linear systems at once."""

from __future__ import annotations

import numpy as np

from probe.stage.network import Complex


def solve_small(matrix: Complex, right: Complex) -> Complex:
    """Solve many small systems at once: (..., n, n) and (..., n) to (..., n).

    Gauss elimination with the batch as the inner loop and without pivoting: the matrices are
    near unity by construction.
    """
    size = matrix.shape[-1]
    shape = right.shape
    a = np.ascontiguousarray(matrix.reshape(-1, size, size).transpose(1, 2, 0))
    b = np.ascontiguousarray(right.reshape(-1, size).T)
    for k in range(size):
        inverse = 1.0 / a[k, k]
        for m in range(k + 1, size):
            factor = a[m, k] * inverse
            a[m, k + 1 :] -= factor * a[k, k + 1 :]
            b[m] -= factor * b[k]
    for k in range(size - 1, -1, -1):
        for m in range(k + 1, size):
            b[k] -= a[k, m] * b[m]
        b[k] /= a[k, k]
    return np.ascontiguousarray(b.T).reshape(shape)


def inverse_small(matrix: Complex) -> Complex:
    """Inverse of 1x1 or 2x2 matrices (..., n, n); a vanishing determinant is held off nothing.

    ``I + Z Y`` vanishes only for a negative resistance equal to the recorder's, on the way to a
    solution, never at one.
    """
    if matrix.shape[-1] == 1:
        return np.asarray(1.0 / np.where(np.abs(matrix) > 1e-12, matrix, 1e-12))
    a, b, c, d = matrix[..., 0, 0], matrix[..., 0, 1], matrix[..., 1, 0], matrix[..., 1, 1]
    size = np.abs(a * d) + np.abs(b * c)
    determinant = a * d - b * c
    determinant = np.where(np.abs(determinant) > 1e-15 * size, determinant, 1e-15 * size + 1e-300)
    rows = np.stack([np.stack([d, -b], axis=-1), np.stack([-c, a], axis=-1)], axis=-2)
    return np.asarray(rows / determinant[..., None, None])
