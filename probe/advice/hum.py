"""What of the difference between the chassis the input hears, at mains frequency and harmonics.

Every line is the difference with no lead, times what the network lets through (``Response.hum``).
A balanced input adds what its own subtraction leaves of the mean of its pins: magnitudes are
added, which is the worse sign. Lines of different frequency add as powers.

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
from probe.advice.quantity import Quantity, from_draws
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
    """Hum of one option; None where it cannot be known.

    ``lines`` are mains and its harmonics, V at the input each; ``below`` is the mains line below
    full output, ``all_below`` all lines together; ``ground_current`` flows in the lead's shield
    at mains frequency.
    """

    mains: Quantity | None
    lines: tuple[Quantity, ...]
    below: Quantity | None
    all_below: Quantity | None
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
    heard = [(own, _let_through(response.hum, response.hum_common, rejection))]
    for ground, (hum, common) in zip(company, response.hum_from_company, strict=True):
        if ground.difference_volts is not None:
            theirs = Ground(ground.difference_volts, mains_hz)
            heard.append((theirs, _let_through(hum, common, rejection)))
    hz = np.array([line for line, _ in own.lines])
    volts = sum(
        np.array([share for _, share in ground.lines])[:, None] * _at(response.hz, passed, hz)
        for ground, passed in heard
    )
    lines = np.asarray(volts)
    known = np.isfinite(lines[:, 0])
    if not known[0]:
        return None
    found = [from_draws(lines[k], "V", float(hz[k])) for k in np.flatnonzero(known)]
    total = np.sqrt(np.sum(lines[known] ** 2, axis=0))
    return Hum(
        mains=found[0],
        lines=tuple(q for q in found if q is not None),
        below=_below(lines[0], socket, mains_hz),
        all_below=_below(total, socket, mains_hz),
        ground_current=_current(response, own, mains_hz),
    )


def _own_rejection(socket: Input) -> float:
    """Return the share of the mean of its pins that a balanced input itself hears."""
    if socket.receiver != "balanced" or socket.pin_3 != "input":
        return 0.0
    db = limit.ASSUMED_REJECTION_DB if socket.rejection_db is None else socket.rejection_db
    return float(db_to_ratio(-db))


def _let_through(hum: Complex, common: Complex, rejection: float) -> Floats:
    return np.asarray(np.abs(hum) + rejection * np.abs(common))


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


def _below(volts: Floats, socket: Input, mains_hz: float) -> Quantity | None:
    full, note = full_output(socket)
    found = from_draws(ratio_to_db(full / np.maximum(volts, QUIETEST)), "dB", mains_hz)
    return None if found is None else found.with_note(note)


def _current(response: Response, own: Ground, mains_hz: float) -> Quantity | None:
    if response.ground_current is None:
        return None
    amperes = own.volts * _at(response.hz, np.abs(response.ground_current), np.array([mains_hz]))[0]
    return from_draws(amperes, "A", mains_hz)
