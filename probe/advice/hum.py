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

from dataclasses import dataclass

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
class Ground:
    """The difference at one lead, V at mains frequency, and the mains frequency, Hz."""

    volts: float
    mains_hz: float

    @property
    def lines(self) -> tuple[tuple[float, float], ...]:
        """Frequencies (Hz) and differences (V) of mains and its harmonics."""
        return tuple((n * self.mains_hz, share * self.volts) for n, share in HARMONICS.items())


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
    if socket.ground.difference_volts is None:
        return None
    own = Ground(socket.ground.difference_volts, mains_hz)
    rejection = _own_rejection(socket)
    heard = [(own, response.hum, response.hum_common)]
    for theirs, (hum, common) in zip(company, response.hum_from_company, strict=True):
        if theirs.difference_volts is not None:
            heard.append((Ground(theirs.difference_volts, mains_hz), hum, common))
    hz = np.array([line for line, _ in own.lines])
    near = _neighbours(response.hz, hz)
    if not all(np.isfinite(passed[0, near]).all() for _, passed, _ in heard):
        near = np.arange(response.hz.size)
    heard = [(ground, passed[:, near], common[:, near]) for ground, passed, common in heard]
    at = response.hz[near]
    most, least = np.zeros((2, hz.size, response.hum.shape[0]))
    for ground, passed, common in heard:
        share = np.array([volts for _, volts in ground.lines])[:, None]
        mean = rejection * np.abs(common)
        size = np.abs(passed)
        told = told_from_nothing(passed)
        loud = share * _at(at, size + mean, hz)
        most += loud
        least += loud if told.all() else share * _at(at, size * told + mean, hz)
    known = np.isfinite(most[:, 0])
    if not known[0]:
        return None
    all_most, all_least = (np.sqrt(np.sum(v[known] ** 2, axis=0)) for v in (most, least))
    if response.spread:
        found = [from_all(m, "V", float(f)) for m, f in zip(most[known], hz[known], strict=True)]
        lines = [line for line in found if line is not None]
        together = from_all(all_most, "V", mains_hz)
    else:
        lines = _lines(most[known], least[known], hz[known])
        together = _line(all_most, all_least, mains_hz)
    assert together is not None  # mains are known
    return Hum(
        mains=lines[0],
        lines=tuple(lines),
        below=_below(lines[0], socket, mains_hz),
        all_below=_below(together, socket, mains_hz),
        ground_current=_current(response, own, mains_hz),
    )


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


def _lines(most: Floats, least: Floats, at_hz: Floats) -> list[Quantity]:
    """Return `_line` of each row, shape (L, N): all ends are sorted out at once."""
    if most.shape[1] < 2 or not np.isfinite(most).all() or not np.isfinite(least).all():
        return [_line(m, q, float(hz)) for m, q, hz in zip(most, least, at_hz, strict=True)]
    ends = [intervals(rows[:, 1:].T) for rows in (most, least)]
    (low, high), (quiet, _) = ends
    low, quiet = np.minimum(low, most[:, 0]), np.minimum(quiet, least[:, 0])
    high = np.maximum(high, most[:, 0])
    value, low = np.where(quiet >= low, (most[:, 0], low), (high, quiet))
    return [
        Quantity(v, "V", a, b, hz)
        for v, a, b, hz in zip(
            value.tolist(), low.tolist(), high.tolist(), at_hz.tolist(), strict=True
        )
    ]


def _neighbours(hz: Floats, wanted: Floats) -> NDArray[np.intp]:
    """Return which of ``hz`` lie on either side of each frequency ``wanted``, ascending."""
    right = np.clip(np.searchsorted(np.log(hz), np.log(wanted)), 1, max(hz.size - 1, 1))
    return np.unique(np.concatenate([right - 1, np.minimum(right, hz.size - 1)]))


def _own_rejection(socket: Input) -> float:
    """Return the share of the mean of its pins that a balanced input itself hears."""
    if socket.receiver != "balanced" or socket.pin_3 != "input":
        return 0.0
    db = limit.ASSUMED_REJECTION_DB if socket.rejection_db is None else socket.rejection_db
    return float(db_to_ratio(-db))


def _at(hz: Floats, values: Floats, wanted: Floats) -> Floats:
    """Return ``values`` (N, G) at the L frequencies ``wanted``, straight in log over log f.

    Shape (L, N); NaN outside the frequencies that are known.
    """
    known = np.isfinite(values[0])
    x, place = np.log(hz[known]), np.log(wanted)
    if x.size < 2:
        return np.full((place.size, values.shape[0]), np.nan)
    y = np.log(np.maximum(values[:, known], QUIETEST))
    right = np.clip(np.searchsorted(x, place), 1, x.size - 1)
    left = right - 1
    t = np.clip((place - x[left]) / (x[right] - x[left]), 0.0, 1.0)
    found = np.exp(y[:, left] * (1.0 - t) + y[:, right] * t).T
    found[(place < x[0] - EDGE) | (place > x[-1] + EDGE)] = np.nan
    return np.asarray(found)


EDGE = 1e-9
"""Relative distance at which a frequency is still the outermost one."""


def _below(line: Quantity, socket: Input, mains_hz: float) -> Quantity:
    full, note = full_output(socket)
    ends = np.maximum([line.value, line.high, line.low], QUIETEST)
    value, low, high = ratio_to_db(full / ends).tolist()
    return Quantity(value, "dB", low, high, mains_hz).with_note(note)


def _current(response: Response, own: Ground, mains_hz: float) -> Quantity | None:
    if response.ground_current is None:
        return None
    amperes = own.volts * _at(response.hz, np.abs(response.ground_current), np.array([mains_hz]))[0]
    return (from_all if response.spread else from_draws)(amperes, "A", mains_hz)
