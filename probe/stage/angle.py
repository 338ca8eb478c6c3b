"""Angle of an impedance from its size at some tones, which is all that injections tell.

The impedance of a network of resistors, capacitors and inductors is a ratio of polynomials in
``j w`` with neither zeros nor poles in the right half plane. Its squared size is then a ratio of
polynomials in ``w^2`` which is fitted, the simplest form first, and whose roots give zeros and
poles back: those in the left half plane (spectral factorisation; H. W. Bode, Network Analysis and
Feedback Amplifier Design, 1945, from memory). Where no form fits, the angle is taken from the slope
of the size, ``90 deg * d ln|Z| / d ln f``, which holds for long straight slopes only.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]

LAW_U_RAD, LAW_U_SHARE = (0.01, 0.03), 0.1
"""Least and most doubt of an angle from a form that fits, and the share of the angle: what the
noise of eight sizes and a form one order too simple make of it. Between them a reactance that
changes the size by no more than the form errs: ``sqrt(2 e)``."""

SLOPE_U_RAD, SLOPE_U_SHARE = 0.05, 0.15
"""The same of an angle from the slope ..."""

SLOPE_U_BEND = 0.5 * np.pi
"""... and what a change of the slope between neighbouring tones adds."""

SINGLE_TONE_U_RAD = 0.6
"""Doubt of the angle where one tone alone was injected and there is no slope."""

FITS = (1e-3, 3e-3)
"""Largest relative error of a size at which a form fits: the noise of a good injection, and of a
weak one. Between them `NEARLY` times the error of the form that fits best tells what noise is."""

NEARLY = 2.0

SPARE_TONES = 2
"""Tones beyond what a form needs, so that it can fail to fit."""

LEAST_OHM = 1e-3
"""Sizes below this are noise."""

ROUNDS = 5
"""Rounds of the weights by the last denominator; the fits of networks stand after three."""


@dataclass(frozen=True)
class _Form:
    """Powers of ``w^2`` in numerator and denominator."""

    above: tuple[int, ...]
    below: tuple[int, ...]


FORMS = (
    _Form((0,), (0,)),  # a resistor
    _Form((0, 1), (1,)),  # with a capacitor in series
    _Form((0, 1), (0,)),  # with an inductor in series
    _Form((0,), (0, 1)),  # with a capacitor across
    _Form((1,), (0, 1)),  # with an inductor across
    _Form((0, 1), (0, 1)),  # one reactance among resistors
    _Form((0, 1, 2), (1,)),  # resistor, inductor and capacitor in series
    _Form((0, 1, 2), (0, 1)),  # a winding: leakage in series, magnetising inductance across
    _Form((0, 1), (1, 2)),  # a coupling capacitor, and one across all
    _Form((0, 1), (0, 1, 2)),
    _Form((0, 1, 2), (0, 1, 2)),  # two reactances among resistors
)
"""From the simplest on."""


STEPS = 12
"""How often size and angle are found from each other, half the way each time: where an impedance is
as large as what hangs beside it, each depends so much on the other that whole steps swing."""


def sizes(angle: Array, beside: Complex, total: Array) -> Array:
    """Return the size of an impedance of a known angle from its size with an admittance beside it.

    Solves ``|Z| / |1 + Z y| = |T|`` for ``|Z|``: a quadratic.

    Parameters
    ----------
    angle
        Shape (F,), rad.
    beside
        ``y``, shape (F,), siemens.
    total
        ``|T|``, shape (F,), ohm.

    Returns
    -------
    Array
        Shape (F,), ohm; 1e12 where no impedance is as large.
    """
    a = 1.0 - (total * np.abs(beside)) ** 2
    b = total**2 * (np.exp(1j * angle) * beside).real
    root = np.sqrt(np.maximum(b**2 + a * total**2, 0.0))
    return np.asarray(np.where(a > 0.0, (b + root) / np.maximum(a, 1e-300), 1e12))


def angles(hz: Array, beside: Complex, total: Array) -> tuple[Array, Array]:
    """Return the angle of an impedance and its standard uncertainty.

    What is known is the size of the impedance with an admittance beside it. A form may fit that,
    and what is beside is taken off; or the impedance itself, its size and angle found from each
    other. Each form is carried to where both agree before it is judged: with an angle that is wrong
    sizes may come out that another form fits. What was asked lately is remembered: one take is
    solved for many times, with others.

    Parameters
    ----------
    hz
        Shape (F,), Hz, rising.
    beside
        Shape (F,), siemens.
    total
        Size with that beside it, shape (F,), ohm.

    Returns
    -------
    tuple
        Angle and standard uncertainty, shape (F,) each, rad.
    """
    asked = (np.asarray(hz, float), np.asarray(beside, complex), np.asarray(total, float))
    found = _angles(*(part.tobytes() for part in asked))
    return found[0].copy(), found[1].copy()


@lru_cache(maxsize=256)
def _angles(hz_bytes: bytes, beside_bytes: bytes, total_bytes: bytes) -> tuple[Array, Array]:
    hz, total = np.frombuffer(hz_bytes), np.frombuffer(total_bytes)
    beside = np.frombuffer(beside_bytes, dtype=np.complex128)
    if len(hz) < 2:
        return np.zeros(len(hz)), np.full(len(hz), SINGLE_TONE_U_RAD)
    found: list[_Found] = []
    for form in FORMS:
        if len(form.above) + len(form.below) - 1 + SPARE_TONES <= len(hz):
            both = (_with_beside(form, hz, beside, total), _settled(form, hz, beside, total))
            found += [one for one in both if one is not None]
        if any(one.error < FITS[0] for one in found):
            break
    most = np.clip(NEARLY * min((one.error for one in found), default=np.inf), *FITS)
    for one in found:
        if one.error < most:
            return one.angle, one.doubt()
    return _of_slope(hz, beside, total)


@dataclass(frozen=True)
class _Found:
    """An angle by a form, its largest error of a size, and what the angle of that comes to."""

    angle: Array
    error: float
    fitted: Array
    share: Array | float = 1.0

    def doubt(self) -> Array:
        """Return the standard uncertainty of the angle, rad."""
        unseen = np.clip(np.sqrt(2.0 * self.error), *LAW_U_RAD)
        return np.asarray((unseen + LAW_U_SHARE * np.abs(self.fitted)) * self.share)


def _with_beside(form: _Form, hz: Array, beside: Complex, total: Array) -> _Found | None:
    fitted = _fitted(form, hz, np.maximum(total, LEAST_OHM))
    if fitted is None:
        return None
    own = 1.0 / (np.exp(-1j * fitted[0]) / np.maximum(total, LEAST_OHM) - beside)
    if np.any(own.real < 0.0):  # it gives power: no passive network
        return None
    share = np.maximum(np.abs(own) / np.maximum(total, LEAST_OHM), 1.0)
    return _Found(np.angle(own), fitted[1], fitted[0], share)


def _settled(form: _Form, hz: Array, beside: Complex, total: Array) -> _Found | None:
    """Return what a form says where size and angle agree; None where it is no network."""
    angle = np.zeros(len(hz))
    fitted = None
    for _ in range(STEPS):
        size = np.maximum(sizes(angle, beside, total), LEAST_OHM)
        fitted = _fitted(form, hz, size)
        told = _slope(hz, size) if fitted is None else fitted[0]
        angle = angle + 0.5 * (told - angle)
    return None if fitted is None else _Found(fitted[0], fitted[1], fitted[0])


def _slope(hz: Array, size: Array) -> Array:
    told = 0.5 * np.pi * np.gradient(np.log(size), np.log(hz))
    return np.asarray(np.clip(told, -0.5 * np.pi, 0.5 * np.pi))


def _of_slope(hz: Array, beside: Complex, total: Array) -> tuple[Array, Array]:
    angle = np.zeros(len(hz))
    for _ in range(STEPS):
        size = np.maximum(sizes(angle, beside, total), LEAST_OHM)
        angle = angle + 0.5 * (_slope(hz, size) - angle)
    bend = np.abs(np.diff(np.diff(np.log(size)) / np.diff(np.log(hz))))
    bend = np.concatenate([bend[:1], bend, bend[-1:]]) if len(bend) else np.zeros(len(hz))
    return angle, SLOPE_U_RAD + SLOPE_U_SHARE * np.abs(angle) + SLOPE_U_BEND * bend


def _fitted(form: _Form, hz: Array, size: Array) -> tuple[Array, float] | None:
    """Return the angle by a form and its largest error of a size; None where it is no network."""
    w = hz / np.exp(np.mean(np.log(hz)))
    squared = (size / np.exp(np.mean(np.log(size)))) ** 2
    above = np.stack([w ** (2 * k) for k in form.above], axis=1)
    below = np.stack([w ** (2 * k) for k in form.below], axis=1)
    whole = np.concatenate([above / squared[:, None], -below], axis=1)
    weights = np.ones(len(w))
    for _ in range(ROUNDS):
        weighted = whole / weights[:, None]
        columns = np.linalg.norm(weighted, axis=0)
        p = np.linalg.svd(weighted / columns)[2][-1] / columns
        over, under = above @ p[: len(form.above)], below @ p[len(form.above) :]
        if np.any(over * under <= 0.0):
            return None
        weights = np.abs(under)
    error = float(np.abs(np.sqrt(over / under / squared) - 1.0).max())
    zeros = _turned(form.above, p[: len(form.above)], w)
    poles = _turned(form.below, p[len(form.above) :], w)
    if zeros is None or poles is None:
        return None
    angle = zeros - poles
    if np.abs(angle).max() > 0.5 * np.pi + LAW_U_RAD[1]:  # no passive network turns further
        return None
    return np.clip(angle, -0.5 * np.pi, 0.5 * np.pi), error


def _turned(powers: tuple[int, ...], factors: Array, w: Array) -> Array | None:
    """Return the angle of a polynomial's left-hand roots; None where one lies on the axis."""
    whole = np.zeros(max(powers) + 1)
    whole[list(powers)] = factors
    angle = np.zeros(len(w))
    for root in np.roots(whole[::-1]):
        s = -np.sqrt(complex(-root))
        if abs(s) > 0.0 and s.real > -1e-9 * abs(s):
            return None
        angle += np.angle(1j * w - s)
    return angle
