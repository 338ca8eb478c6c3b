"""All lines of a window at once, from the block table.

With window centre ``n = 0``, the signal of one channel is

    x[n] = Re sum over k of a_k exp(i w_k n) + d

and the table's sums ``S_j = sum over b of exp(-i w_j n_b) T[b, j]`` are linear in ``a``, its
conjugate and ``d``. The normal equations are solved as real ones, so images, offset and leakage
between lines drop out exactly. Where ``w_j`` equals the projection frequency this is the least
squares fit of the samples themselves (the three-parameter fit of IEEE Std 1057 for many lines);
frequencies are then corrected from the slope of the residual's phase (its four-parameter fit),
with one clock error for all tones and one mains frequency for all hum lines.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from probe.phasors import thresholds as limits
from probe.phasors.table import Complex, Real, Table, spin

Index = NDArray[np.int64]


@dataclass(frozen=True)
class Fit:
    """Lines fitted in one window.

    Attributes
    ----------
    lines
        Shape (K,), indices into the table's lines.
    w
        Shape (K,), rad/sample.
    a
        Shape (C, K), peak phasors at the window's centre, full scale is 1.
    d
        Shape (C,), offset.
    gain_of_noise
        Shape (K,): variance of ``a`` over that of a line standing alone; above 1 where lines
        are too close to be told apart well.
    slope
        Shape (C, K), complex: rad/sample by which the residual still turns, times ``a``.
    inverse
        Shape (2 K + 1, 2 K + 1): of the real equations.
    """

    lines: Index
    w: Real
    a: Complex
    d: Real
    gain_of_noise: Real
    slope: Complex
    inverse: Real

    @property
    def crowded(self) -> bool:
        """Whether lines stand so close together that their frequencies trade with their phasors."""
        return bool(np.any(self.gain_of_noise > limits.CROWDED))


class Window:
    """Rows ``first`` to ``last`` (exclusive) of a table, prepared for repeated fits."""

    def __init__(self, table: Table, first: int, last: int) -> None:
        self.table = table
        self.first = first
        self.last = last
        self.frames = (last - first) * table.span
        """Samples in the window, N."""
        self.centre = first * table.span + 0.5 * (self.frames - 1)
        """Middle of the window, in samples of the file."""
        self.start = np.arange(first, last) * float(table.span) - self.centre
        """First sample of each row, from the centre."""
        self.tau = self.start + 0.5 * (table.span - 1)
        """Middle of each row, from the centre."""
        self._cache: dict[bytes, Complex] = {}

    def values(self, rows: Index) -> Complex:
        """Return the table's ``rows`` (lines) in the window, shape (C, blocks, rows)."""
        key = rows.tobytes()
        if key not in self._cache:
            part = self.table.values[:, self.first : self.last]
            self._cache = {key: part[:, :, rows].astype(np.complex128)}
        return self._cache[key]

    def solve(self, lines: Index, w: Real) -> Fit:
        """Fit ``lines`` at frequencies ``w`` (rad/sample) and the offset."""
        rows = np.append(lines, len(self.table.line_w) - 1)
        turn = spin(w, self.start[0], self.table.span, len(self.start))
        probe = np.concatenate([turn, np.ones((len(turn), 1))], axis=1).conj()
        values = self.values(rows)
        plus, minus, flat = _responses(self.table, rows, w)

        sums = np.einsum("br,cbr->cr", probe, values)
        p = 0.5 * plus * (probe.T @ turn)
        q = 0.5 * minus * (probe.T @ turn.conj())
        r = flat * probe.sum(axis=0)
        matrix = _real_matrix(p, q, r)
        inverse = np.linalg.inv(matrix)
        right = np.concatenate([sums.real, sums.imag[:, :-1]], axis=1)
        k = len(lines)
        solution = right @ inverse.T
        a = solution[:, :k] + 1j * solution[:, k + 1 :]
        d = solution[:, k]

        spread = np.diagonal(inverse)
        gain = 0.25 * self.frames * (spread[:k] + spread[k + 1 :])
        slope = self._slope(turn, values, (plus, minus, flat), a, d)
        return Fit(lines, w, a, d, np.maximum(gain, 1.0), slope, np.asarray(inverse, np.float64))

    def rate_response(self, fit: Fit, nominal: Real) -> tuple[Complex, Complex]:
        """Return what a relative rate error does to ``a`` and to ``slope``, both (C, K).

        ``nominal`` (rad/sample) is 0 for lines that do not follow that rate. For lines far apart
        this is 0 and ``nominal * a``; close together they trade frequency for phasor.
        """
        rows = np.append(fit.lines, len(self.table.line_w) - 1)
        plus, minus, flat = _responses(self.table, rows, fit.w)
        turn = spin(fit.w, self.start[0], self.table.span, len(self.start))
        probe = np.concatenate([turn, np.ones((len(turn), 1))], axis=1).conj()
        first, second = probe * self.tau[:, None], probe * self.tau[:, None] ** 2
        p1, q1 = 0.5 * plus * (first.T @ turn), 0.5 * minus * (first.T @ turn.conj())
        p2, q2 = 0.5 * plus * (second.T @ turn), 0.5 * minus * (second.T @ turn.conj())
        turned = 1j * nominal[None, :] * fit.a
        sums = turned @ p1.T + turned.conj() @ q1.T
        solution = np.concatenate([sums.real, sums.imag[:, :-1]], axis=1) @ fit.inverse.T
        k = len(fit.lines)
        a, d = solution[:, :k] + 1j * solution[:, k + 1 :], solution[:, k]
        seen = turned @ p2.T + turned.conj() @ q2.T
        taken = a @ p1.T + a.conj() @ q1.T + d[:, None] * (flat * first.sum(axis=0))
        unit = 0.5 * np.diagonal(plus) * np.sum(self.tau**2)
        return a, np.asarray((seen - taken)[:, :-1] / (1j * unit))

    def _slope(
        self,
        turn: Complex,
        values: Complex,
        responses: tuple[Complex, Complex, Complex],
        a: Complex,
        d: Real,
    ) -> Complex:
        """Return the part of the residual that grows with time at each line, shape (C, K).

        A line that is off by ``dw`` leaves ``i dw tau a`` behind (first order).
        """
        plus, minus, flat = (part[:-1] for part in responses)
        probe = turn.conj() * self.tau[:, None]
        seen = np.einsum("br,cbr->cr", probe, values[:, :, :-1])
        p = 0.5 * plus * (probe.T @ turn)
        q = 0.5 * minus * (probe.T @ turn.conj())
        model = a @ p.T + a.conj() @ q.T + d[:, None] * (flat * probe.sum(axis=0))[None, :]
        unit = 0.5 * np.diagonal(plus) * np.sum(self.tau**2)
        return np.asarray((seen - model) / (1j * unit))


def _responses(table: Table, rows: Index, w: Real) -> tuple[Complex, Complex, Complex]:
    """Return what ``rows`` read of +w, of -w (both (rows, K)) and of an offset (rows,)."""
    return (
        table.response(w, rows),
        table.response(-w, rows),
        table.response(np.zeros(1), rows)[:, 0],
    )


def _real_matrix(p: Complex, q: Complex, r: Complex) -> Real:
    """Return the real equations of ``S = P a + Q conj(a) + r d``.

    Rows: real parts (the offset's last), then imaginary parts without the offset's.
    Unknowns: real parts of ``a``, ``d``, imaginary parts of ``a``.
    """
    total, difference = p + q, p - q
    upper = np.concatenate([total.real, r.real[:, None], -difference.imag], axis=1)
    lower = np.concatenate([total.imag, r.imag[:, None], difference.real], axis=1)
    return np.concatenate([upper, lower[:-1]], axis=0)


def residual(table: Table, window: Window, fit: Fit, rows: Index, first: int, last: int) -> Complex:
    """Return the table minus the fitted lines, shape (C, last - first, rows).

    ``first`` and ``last`` may reach beyond the window the fit was made in.
    """
    return np.asarray(
        table.values[:, first:last][:, :, rows] - model(table, window, fit, rows, first, last)
    )


def model(table: Table, window: Window, fit: Fit, rows: Index, first: int, last: int) -> Complex:
    """Return what the fitted lines put into the table, shape (C, last - first, rows)."""
    plus, minus, flat = _responses(table, rows, fit.w)
    turn = spin(fit.w, first * float(table.span) - window.centre, table.span, last - first)
    back = turn.conj()
    out = np.empty((len(fit.a), last - first, len(rows)), dtype=np.complex128)
    for channel, (a, d) in enumerate(zip(fit.a, fit.d, strict=True)):
        both = turn @ (0.5 * a[:, None] * plus.T)
        both += back @ (0.5 * a.conj()[:, None] * minus.T)
        out[channel] = both + d * flat
    return out


def coarse_rate(table: Table, first: int, last: int, lines: Index) -> float:
    """Return the rate ``w_true / w_nominal`` of tones ``lines`` between two rows.

    Phase steps from row to row, then from pair to pair of rows, and so on to the two halves:
    each doubling halves the error before it could be ambiguous. A tone joins in when a row spans
    three of its periods, because its own image disturbs it before. Sums over all rows make this
    robust against a jump somewhere.
    """
    nominal = table.line_w[lines]
    rate = table.rate - 1.0
    span = float(table.span)
    turn = spin(-nominal * table.rate, 0.0, span, last - first)
    y = table.values[:, first:last][:, :, lines] * turn
    while y.shape[1] >= 2:
        ready = nominal * span >= 6.0 * np.pi
        pairs = np.sum(y[:, 1:] * y[:, :-1].conj(), axis=(0, 1))
        lag = nominal * span
        weight = np.where(ready, np.abs(pairs) * lag**2, 0.0)
        if weight.sum() > 0.0:
            step = float(np.sum(weight * np.angle(pairs) / lag) / weight.sum())
            step = float(np.clip(rate + step, -limits.CLOCK_RANGE, limits.CLOCK_RANGE)) - rate
            rate += step
            y = y * spin(-step * nominal, 0.0, span, y.shape[1])
        even = y.shape[1] // 2 * 2
        y = y[:, 0:even:2] + y[:, 1:even:2]
        span *= 2.0
    return 1.0 + rate


def rate_step(
    window: Window, fit: Fit, nominal: Real, use: NDArray[np.bool_], weight: Complex
) -> tuple[float, float]:
    """Return the correction of a common rate from the lines ``use``, and its information.

    Parameters
    ----------
    nominal
        Shape (K,), rad/sample at rate 1.
    weight
        Shape (K, C, C): inverse covariance of the peak phasors.

    Returns
    -------
    step, information
        Relative step, and the inverse of its variance (Rife and Boorstyn 1974: the variance of
        a frequency is 12/N² times that of the phase at the centre).
    """
    own = np.where(use, nominal, 0.0)
    expected = window.rate_response(fit, own)[1] if fit.crowded else own * fit.a
    toward = weight.transpose(0, 2, 1) @ (own * fit.a).conj().T[:, :, None]
    seen = float(np.sum(toward[:, :, 0] * fit.slope.T).real)
    full = float(np.sum(toward[:, :, 0] * expected.T).real)
    if full <= 0.0:
        return 0.0, 0.0
    return seen / full, 2.0 * full * window.frames**2 / 12.0
