"""What of the difference between the chassis the input hears, at mains frequency and harmonics.

Every line is the difference with no lead, times what the network lets through (``Response.hum``).
A balanced input adds what its own subtraction leaves of the mean of its pins: magnitudes are
added, which is the worse sign. Lines of different frequency add as powers.

Where what is let through cannot be told from nothing (the imbalance of a floating output that the
takes cannot see), its draws are the noise of the measurement: they say how much hum there is at
most, and nothing of how little.

Of a response whose axis 0 holds what the source may be, all equally possible, every figure is the
worst of them, and its interval holds them all.

Hum is stated below the destination's full output, because the volume is turned down again where
an option is louder.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from probe.advice import thresholds as limit
from probe.advice.destination import Input
from probe.advice.ground import HARMONICS, GroundPath
from probe.advice.quantity import Quantity, from_all, from_draws, intervals
from probe.advice.solve import Response
from probe.decibels import db_to_ratio, ratio_to_db

Floats = NDArray[np.float64]
Complex = NDArray[np.complex128]

QUIETEST = 1e-15
"""V standing for no hum at all, so that decibels stay finite."""


@dataclass(frozen=True)
class Hum:
    """Hum of one option.

    ``lines`` are mains and its harmonics, V at the input each; ``below`` is the mains line below
    full output, ``all_below`` all lines together; ``ground_current`` flows in the lead's shield
    at mains frequency.
    """

    mains: Quantity
    lines: tuple[Quantity, ...]
    below: Quantity
    all_below: Quantity
    ground_current: Quantity | None


def full_output(socket: Input) -> tuple[float, str | None]:
    """Return the V that drive an input to full output, and what to say where they are assumed."""
    if socket.sensitivity_volts is not None:
        return socket.sensitivity_volts, None
    volts = limit.ASSUMED_SENSITIVITY_VOLTS
    return volts, f"against an assumed {volts:g} V for full output (no sensitivity_v)"


def hum_of(
    response: Response,
    socket: Input,
    mains_hz: float,
    company: tuple[GroundPath, ...] = (),
) -> Hum | None:
    """Return the hum of a solved option; None where its ground is not known.

    ``company``: the grounds of the leads it was solved with, in their order.
    """
    volts = [ground.difference_volts for ground in (socket.ground, *company)]
    if volts[0] is None:
        return None
    own_volts = volts[0]
    near = response.only(_neighbours(response.hz.tobytes(), mains_hz))
    passed, common = _let_through(near, volts)
    if not np.isfinite(passed[0]).all():
        near = response
        passed, common = _let_through(near, volts)
    size, mean = np.abs(passed), _own_rejection(socket) * np.abs(common)
    told = told_from_nothing(passed.reshape(len(passed), -1)).reshape(passed.shape[1:])
    most = _lines_of(near.hz, size + mean, volts, mains_hz)
    least = most if told.all() else _lines_of(near.hz, size * told + mean, volts, mains_hz)
    known = np.isfinite(most[:, 0])
    if not known[0]:
        return None
    most, least = _with_all(most[known]), _with_all(least[known])
    at_hz = [*_harmonics(mains_hz)[known].tolist(), mains_hz]
    found = _worst(most, at_hz) if response.spread else _lines(most, least, at_hz)
    *lines, together = found
    return Hum(
        mains=lines[0],
        lines=tuple(lines),
        below=_below(lines[0], socket, mains_hz),
        all_below=_below(together, socket, mains_hz),
        ground_current=_current(near, own_volts, mains_hz),
    )


def _let_through(response: Response, volts: Sequence[float | None]) -> tuple[Complex, Complex]:
    """Return what is heard of each ground that is known, and the mean of the pins, (N, K, G)."""
    every = ((response.hum, response.hum_common), *response.hum_from_company)
    known = [one for one, difference in zip(every, volts, strict=True) if difference is not None]
    heard, mean = (np.stack(one, axis=1) for one in zip(*known, strict=True))
    return heard, mean


def _harmonics(mains_hz: float) -> Floats:
    """Return the frequencies of mains and its harmonics, Hz."""
    return mains_hz * np.array(list(HARMONICS))


def _lines_of(hz: Floats, heard: Floats, volts: Sequence[float | None], mains_hz: float) -> Floats:
    """Return mains and its harmonics at the input of all grounds together, V, shape (L, N).

    ``heard``: shape (N, K, G), per volt of each difference that is known.
    """
    known = np.array([difference for difference in volts if difference is not None])
    share = known[:, None] * np.array(list(HARMONICS.values()))
    return np.asarray(np.sum(share * _at(hz, heard, _harmonics(mains_hz)), axis=1).T)


def _with_all(lines: Floats) -> Floats:
    """Return lines, shape (L, N), and all of them together as one more."""
    return np.concatenate([lines, np.sqrt(np.sum(lines**2, axis=0, keepdims=True))])


def _worst(lines: Floats, at_hz: Sequence[float]) -> list[Quantity]:
    """Return the largest of each line, V, shape (L, N), and the ends."""
    found = [from_all(line, "V", hz) for line, hz in zip(lines, at_hz, strict=True)]
    return [line for line in found if line is not None]


def told_from_nothing(passed: Complex) -> NDArray[np.bool_]:
    """Tell where draws, shape (N, G), the estimate first, lie away from nothing; shape (G,).

    Nothing lies outside the ellipse that holds 95 % of a two-dimensional normal distribution with
    the mean and the covariance of the draws: Mahalanobis' distance against chi-square of two
    degrees of freedom, -2 ln 0.05. Without draws a figure is what it is.
    """
    if passed.shape[0] < FEWEST_DRAWS:
        return np.ones(passed.shape[1], bool)
    parts = np.stack([passed[1:].real, passed[1:].imag])
    mean = parts.mean(axis=1)
    away = parts - mean[:, None]
    (xx, xy), (_, yy) = np.einsum("ing,jng->ijg", away, away) / (passed.shape[0] - 1)
    size = np.sum(mean**2, axis=0)
    grain = SMALLEST_SPREAD * (size + xx + yy)  # draws on a line have no width of their own
    xx, yy = xx + grain, yy + grain
    distance = (yy * mean[0] ** 2 - 2.0 * xy * mean[0] * mean[1] + xx * mean[1] ** 2) / np.maximum(
        xx * yy - xy**2, np.finfo(float).tiny
    )
    return np.asarray(~(distance < NOTHING_WITHIN))


NOTHING_WITHIN = -2.0 * float(np.log(0.05))
"""Squared Mahalanobis distance that 95 % of two-dimensional normal draws stay within."""

FEWEST_DRAWS = 30
"""Fewer draws than this have no covariance to speak of."""

SMALLEST_SPREAD = 1e-12
"""Least spread of draws over their size, both squared: the rounding of a solve."""


def _line(most: Floats, least: Floats, at_hz: float) -> Quantity:
    """Return a line, V, from draws of the most and of the least it may be."""
    found, quiet = from_draws(most, "V", at_hz), from_draws(least, "V", at_hz)
    assert found is not None  # only lines that are known
    assert quiet is not None
    if quiet.low >= found.low:
        return found
    return Quantity(found.high, "V", quiet.low, found.high, at_hz)


def _lines(most: Floats, least: Floats, at_hz: Sequence[float]) -> list[Quantity]:
    """Return `_line` of each row, shape (L, N): all ends are sorted out at once."""
    if most.shape[1] < 2 or not np.isfinite(most).all() or not np.isfinite(least).all():
        return [_line(m, q, hz) for m, q, hz in zip(most, least, at_hz, strict=True)]
    ends = [intervals(rows[:, 1:].T) for rows in (most, least)]
    (low, high), (quiet, _) = ends
    low, quiet = np.minimum(low, most[:, 0]), np.minimum(quiet, least[:, 0])
    high = np.maximum(high, most[:, 0])
    value, low = np.where(quiet >= low, (most[:, 0], low), (high, quiet))
    return [
        Quantity(v, "V", a, b, hz)
        for v, a, b, hz in zip(value.tolist(), low.tolist(), high.tolist(), at_hz, strict=True)
    ]


@lru_cache(maxsize=64)
def _neighbours(hz: bytes, mains_hz: float) -> tuple[int, ...]:
    """Return which of ``hz`` lie on either side of mains and each of its harmonics, ascending."""
    tones, wanted = np.frombuffer(hz), _harmonics(mains_hz)
    right = np.clip(np.searchsorted(np.log(tones), np.log(wanted)), 1, max(tones.size - 1, 1))
    return tuple(np.unique([right - 1, np.minimum(right, tones.size - 1)]).tolist())


def _own_rejection(socket: Input) -> float:
    """Return the share of the mean of its pins that a balanced input itself hears."""
    if socket.receiver != "balanced" or socket.pin_3 != "input":
        return 0.0
    db = limit.ASSUMED_REJECTION_DB if socket.rejection_db is None else socket.rejection_db
    return float(db_to_ratio(-db))


def _at(hz: Floats, values: Floats, wanted: Floats) -> Floats:
    """Return ``values`` (N, ..., G) at the L frequencies ``wanted``, straight in log over log f.

    Shape (N, ..., L); NaN outside the frequencies that are known.
    """
    known = np.isfinite(values[0].reshape(-1, hz.size)).all(axis=0)
    if known.sum() < 2:
        return np.full((*values.shape[:-1], wanted.size), np.nan)
    left, t, outside = _between(hz[known].tobytes(), wanted.tobytes())
    y = np.log(np.maximum(values[..., known], QUIETEST))
    found = np.exp(y[..., left] * (1.0 - t) + y[..., left + 1] * t)
    found[..., outside] = np.nan
    return np.asarray(found)


@lru_cache(maxsize=64)
def _between(hz: bytes, wanted: bytes) -> tuple[NDArray[np.intp], Floats, NDArray[np.bool_]]:
    """Return the left neighbour of each frequency, how far it is to the right one, and if outside.

    Over log f, the distance from 0 to 1; ``hz``: two at least.
    """
    x, place = np.log(np.frombuffer(hz)), np.log(np.frombuffer(wanted))
    left = np.clip(np.searchsorted(x, place), 1, x.size - 1) - 1
    t = np.clip((place - x[left]) / (x[left + 1] - x[left]), 0.0, 1.0)
    return left, t, (place < x[0] - EDGE) | (place > x[-1] + EDGE)


EDGE = 1e-9
"""Relative distance at which a frequency is still the outermost one."""


def _below(line: Quantity, socket: Input, mains_hz: float) -> Quantity:
    full, note = full_output(socket)
    ends = np.maximum([line.value, line.high, line.low], QUIETEST)
    value, low, high = ratio_to_db(full / ends).tolist()
    return Quantity(value, "dB", low, high, mains_hz).with_note(note)


def _current(response: Response, volts: float, mains_hz: float) -> Quantity | None:
    if response.ground_current is None:
        return None
    amperes = volts * _at(response.hz, np.abs(response.ground_current), np.array([mains_hz]))
    return (from_all if response.spread else from_draws)(amperes[:, 0], "A", mains_hz)
