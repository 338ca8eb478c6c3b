"""Takes as voltages and currents: measured, or with one set of errors per draw applied to them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from probe.stage.limits import EXCITATION_SIGMAS
from probe.stage.network import COMMON_GAIN, Complex
from probe.stage.observations import Group, Observed

Array = NDArray[np.float64]

Errors = dict[str, NDArray[Any]]

Excited = tuple[NDArray[np.bool_], ...]
"""Per take, shape (K, n_elements): the elements whose current is more than noise."""


@dataclass(frozen=True)
class Realisation:
    """Voltages and currents of every take, D draws: shapes (D, T, F, 3) and (D, T, F, 4).

    ``drives`` are ``(s, i_difference, i_mean, i_single_ended)``.
    """

    volts: Complex
    drives: Complex


def realise(
    group: Group, draws: int, errors: Errors, excited: Excited | None, heard: Complex | None = None
) -> Realisation:
    """Apply ``draws`` sets of errors to the takes and work out the currents.

    ``errors`` maps keys to arrays of shape (D,): relative gains, resistances, injected volts,
    capacitances in farad; ``noise/t`` (D, K, 3) volts and ``level/t`` (D, 3) relative for take t;
    ``angle/t`` (D, K) the angle (rad) of the impedance that injected tones meet. Missing keys are
    no error. ``excited`` silences currents that are noise. ``heard`` of shape (T, F, 3) replaces
    the measured voltages in the currents that loads draw.
    """
    shape = (draws, len(group.takes), len(group.hz))
    volts = np.zeros((*shape, 3), dtype=np.complex128)
    drives = np.zeros((*shape, 4), dtype=np.complex128)
    for t, observed in enumerate(group.takes):
        v = _disturbed(observed, t, draws, errors)
        mask = None if excited is None else excited[t]
        source = v if heard is None else heard[None, t, observed.tones]
        current = drawn_by_loads(group, observed, draws, errors, source, mask)
        current = current + injected_currents(observed, t, draws, errors, v)
        if group.open_leg is not None:
            current[..., group.open_leg] = 0.0
        volts[:, t, observed.tones] = v
        drives[:, t, observed.tones, 0] = observed.strength
        drives[:, t, observed.tones, 1] = 0.5 * (current[..., 0] - current[..., 1])
        drives[:, t, observed.tones, 2] = current[..., 0] + current[..., 1]
        drives[:, t, observed.tones, 3] = current[..., 2]
    return Realisation(volts, drives)


def _disturbed(observed: Observed, t: int, draws: int, errors: Errors) -> Complex:
    v = np.broadcast_to(observed.volts, (draws, *observed.volts.shape)).astype(np.complex128)
    if f"noise/{t}" in errors:
        v = v + errors[f"noise/{t}"]
    if "crosstalk" in errors:
        v = v + np.einsum("kij,dij->dki", observed.crosstalk, errors["crosstalk"])
    if f"level/{t}" in errors:
        v = v * (1.0 + errors[f"level/{t}"][:, None, :])
    for terminal, key in enumerate(observed.gain_keys):
        if key in errors:
            v[..., terminal] *= 1.0 + errors[key][:, None]
    if COMMON_GAIN in errors:
        v *= 1.0 + errors[COMMON_GAIN][:, None, None]
    return v


def drawn_by_loads(
    group: Group,
    observed: Observed,
    draws: int,
    errors: Errors,
    v: Complex,
    excited: NDArray[np.bool_] | None,
) -> Complex:
    """``-Y v``, shape (D, K, 3)."""
    omega = 2.0 * np.pi * group.hz[observed.tones]
    none = np.zeros(draws)
    current = np.zeros((draws, len(observed.tones), 3), dtype=np.complex128)
    for e, element in enumerate(observed.elements):
        siemens = element.siemens / (1.0 + errors.get(element.conductance_key, none))
        farad = element.farad + (errors.get(element.capacitance_key, none) * bool(element.farad))
        flow = (v @ element.pattern) * (siemens[:, None] + 1j * omega * farad[:, None])
        if excited is not None:
            flow = flow * excited[:, e]
        for terminal in np.flatnonzero(element.pattern):
            current[..., terminal] -= flow * element.pattern[terminal]
    return current


def injected_currents(
    observed: Observed, t: int, draws: int, errors: Errors, v: Complex
) -> Complex:
    """``J``, shape (D, K, 3)."""
    current = np.zeros((draws, len(observed.tones), 3), dtype=np.complex128)
    if not observed.generators or not observed.carried.any():
        return current
    none = np.zeros(draws)
    angle = errors.get(f"angle/{t}", np.zeros((1, len(observed.tones))))
    y = observed.y
    for g, generator in enumerate(observed.generators):
        volts = generator.volts * (1.0 + errors.get(generator.volts_key, none))
        ohm = generator.ohm * (1.0 + errors.get(generator.resistance_key, none))
        p = generator.terminal
        amperes = injected_current((volts / ohm)[:, None], v[..., p], y[:, p, p], angle)
        current[..., p] += amperes * observed.carried[:, g]
    return current


def flows_into(group: Group, volts: Complex, errors: Errors) -> Complex:
    """Currents into the device of drawn voltages (D, T, F, 3), nothing silenced; same shape."""
    out = np.zeros_like(volts)
    for t, observed in enumerate(group.takes):
        v = volts[:, t, observed.tones]
        out[:, t, observed.tones] = drawn_by_loads(group, observed, len(volts), errors, v, None)
    return out


def injected_current(amperes: Array, volts: Complex, y: Complex, angle: Array) -> Complex:
    """Phasor of an injected current of known size and unknown phase, shape (D, K), A rms.

    ``amperes`` (D, 1) is the e.m.f. over its resistor, ``volts`` (D, K) what it raises on its
    terminal, ``y`` (K,) all that hangs there (the injector's resistor included), ``angle`` (D, K)
    the angle of the terminal's impedance. From ``|V| |1 + Z y| = |Z| A``: a quadratic in ``|Z|``,
    then the phase of ``V (1/Z + y)``.
    """
    size = np.maximum(np.abs(volts), 1e-300)
    unit = np.exp(1j * angle)
    a = amperes**2 - (size * np.abs(y)) ** 2
    b = size**2 * (unit * y).real
    root = np.sqrt(np.maximum(b**2 + a * size**2, 0.0))
    with np.errstate(divide="ignore", invalid="ignore"):
        inverse = np.where(a > 0.0, a / (b + root), 0.0)
    told = (size > LEAST_VOLTS) & np.isfinite(inverse)
    phasor = np.where(told, volts * (np.where(told, inverse, 0.0) * np.conj(unit) + y), 1.0)
    return np.asarray(amperes * phasor / np.maximum(np.abs(phasor), 1e-300))


LEAST_VOLTS = 1.0e-12
"""Below this a leg is digital silence: an injection into it has no phase that could be told."""


def excitation(group: Group) -> Excited:
    """Which elements of which take carry more current than noise would.

    Noise over 604 ohm looks like a current: a leg counts only where it stands well above its noise
    and the recorder's crosstalk in one of the takes at least; an element across two terminals
    where the voltage across it does.
    """
    alive = _alive(group)
    excited = []
    for observed in group.takes:
        flags = []
        for element in observed.elements:
            ends = np.flatnonzero(element.pattern)
            if len(ends) == 1:
                flags.append(alive[observed.tones, int(ends[0])])
            else:
                flags.append(_above_noise(observed, element.pattern) > EXCITATION_SIGMAS)
        excited.append(np.stack(flags, axis=-1))
    return tuple(excited)


def _above_noise(observed: Observed, pattern: Array) -> Array:
    """Voltage across a pattern of terminals in standard deviations, shape (K,)."""
    power = np.einsum("i,kij,j->k", pattern, observed.noise, pattern)
    return np.asarray(np.abs(observed.volts @ pattern) / np.sqrt(np.abs(power) + 1e-300))


def _alive(group: Group) -> NDArray[np.bool_]:
    """Terminals that carry more than noise in some take, shape (F, 3)."""
    most = np.zeros((len(group.hz), 3))
    for observed in group.takes:
        for terminal in np.flatnonzero(observed.recorded):
            seen = _above_noise(observed, np.eye(3)[terminal])
            most[observed.tones, terminal] = np.maximum(most[observed.tones, terminal], seen)
    return np.asarray(most > EXCITATION_SIGMAS)
