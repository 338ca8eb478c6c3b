"""Idle noise: how much of it both legs share, and whether cold has more of it.

With the legs' cross spectral matrix ``S`` summed over the band, the recorder's own matrix (its
inputs terminated, same gain) taken off and the leads exchanged half-way::

    rho = S_hc / sqrt(S_hh S_cc)      G = -Re S_hc / S_hh      A = S_cc / S_hh

``rho`` near -1 is a noise source ahead of both legs and inverted in one of them, 0 none that is
shared, above 0 a shared supply or ground. Correlation is told from none where

    |rho|² > 1 - alpha^(1/(K-1))                                                      (1)

with ``K`` independent averages and false alarm ``alpha`` (distribution of the coherence estimate:
G. C. Carter, Proc. IEEE 75 (1987) 236; from memory, checked by simulation).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from probe.measures.path import limits
from probe.measures.path.model import Indication, silent
from probe.measures.spectra import LINE_BINS, Spectrum

NAME = "idle-noise"

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]


@dataclass(frozen=True)
class Band:
    """Cross spectral matrix of two channels summed over a band.

    Attributes
    ----------
    power
        Shape (2, 2), complex hermitian, V².
    averages
        Independent complex averages in it: bandwidth times time, less what the window costs.
    lines
        Power of the bins that were cut (hum, spurs) over the power that was kept, the worse
        channel.
    """

    power: Complex
    averages: float
    lines: float = 0.0


def coherence_threshold(averages: float, alpha: float = limits.FALSE_ALARM) -> float:
    """Return the squared coherence that uncorrelated noise exceeds with probability ``alpha``."""
    return float(1.0 - alpha ** (1.0 / max(averages - 1.0, 1.0)))


def band_of(
    spectrum: Spectrum, pair: tuple[int, int], hz: tuple[float, float] = limits.BAND_HZ
) -> Band:
    """Sum a spectrum over a band for two of its channels (positions in ``spectrum.channels``)."""
    inside = (spectrum.hz >= hz[0]) & (spectrum.hz <= hz[1])
    density = spectrum.density[inside][:, pair, :][:, :, pair]
    keep = ~_lines(np.diagonal(density, axis1=1, axis2=2).real, spectrum.averages)
    kept = density[keep].sum(axis=0) * spectrum.bin_hz
    own = np.diagonal(density, axis1=1, axis2=2).real
    usual = own[keep].sum(axis=0)
    cut = np.maximum(own[~keep].sum(axis=0) - np.mean(own[keep], axis=0) * np.sum(~keep), 0.0)
    averages = spectrum.freedom(np.sqrt(own[keep, 0] * own[keep, 1])) / 2.0
    return Band(kept, averages, float(np.max(cut / np.maximum(usual, 1e-300))))


def _lines(own: Array, averages: float) -> NDArray[np.bool_]:
    """Return the bins that hold a line: far above the median of their neighbourhood, and beside."""
    if len(own) < 32:
        return np.zeros(len(own), dtype=np.bool_)
    ratio = max(limits.SPUR_RATIO, 1.0) if averages < 30.0 else 1.0 + 7.0 / np.sqrt(averages)
    blocks = np.array_split(np.arange(len(own)), max(1, len(own) // 400))
    found = np.zeros(len(own), dtype=np.bool_)
    for block in blocks:
        found[block] = np.any(own[block] > ratio * np.median(own[block], axis=0), axis=1)
    wide = found.copy()
    for step in range(1, LINE_BINS + 1):
        wide[step:] |= found[:-step]
        wide[:-step] |= found[step:]
    return wide


@dataclass(frozen=True)
class Shared:
    """What the legs' idle noise amounts to, recorder taken off.

    Attributes
    ----------
    rho
        Complex correlation of the legs.
    g, g_sd
        Part of hot's noise that cold carries inverted, with its standard deviation.
    a, a_sd
        Noise power of cold over hot.
    device_db
        Device over recorder noise power, the quieter leg, dB.
    correlated
        The correlation is told from none (1).
    lines
        As in `Band`, the worst take.
    steady
        Each leg is as loud in one lead order as in the other.
    """

    rho: complex
    g: float
    g_sd: float
    a: float
    a_sd: float
    device_db: float
    correlated: bool
    lines: float
    steady: bool = True


def shared_noise(straight: Sequence[Band], exchanged: Sequence[Band], floor: Band) -> Shared | None:
    """Return the noise the legs share.

    Parameters
    ----------
    straight
        Idle takes with hot on the first channel and cold on the second.
    exchanged
        The same with the leads exchanged: channels in the recorder's order, cold first.
    floor
        The recorder alone, in its own order of channels.

    Returns
    -------
    Shared | None
        None where the device cannot be heard at all.
    """
    one = np.mean([b.power for b in straight], axis=0) - floor.power
    other = np.mean([b.power for b in exchanged], axis=0) - floor.power
    net = 0.5 * (one + other[::-1, ::-1])
    base = 0.5 * (floor.power + floor.power[::-1, ::-1])
    hot, cold = float(net[0, 0].real), float(net[1, 1].real)
    if min(hot, cold) <= 0.0:
        return None
    idle = base + net
    counts = sum(b.averages for b in (*straight, *exchanged))
    noise = _scatter(idle, counts) + _scatter(base, 2.0 * floor.averages)
    drift = limits.BASELINE_DRIFT * np.abs(base)
    cross = complex(net[0, 1])
    effective = float((idle[0, 0] * idle[1, 1]).real / max(noise[2], 1e-300))
    coherence = abs(cross) ** 2 / float((idle[0, 0] * idle[1, 1]).real)
    g, a = -cross.real / hot, cold / hot
    own = np.sqrt(noise[:2] + np.array([drift[0, 0], drift[1, 1]]) ** 2)
    across = np.hypot(np.sqrt(noise[2] / 2.0), drift[0, 1])
    return Shared(
        rho=cross / np.sqrt(hot * cold),
        g=float(g),
        g_sd=float(np.hypot(across / hot, g * own[0] / hot)),
        a=float(a),
        a_sd=float(a * np.hypot(own[0] / hot, own[1] / cold)),
        device_db=float(10.0 * np.log10(min(hot / base[0, 0].real, cold / base[1, 1].real))),
        correlated=coherence > coherence_threshold(effective),
        lines=max(b.lines for b in (*straight, *exchanged)),
        steady=_steady(np.diagonal(one).real, np.diagonal(other[::-1, ::-1]).real),
    )


def _steady(one: Array, other: Array) -> bool:
    """Tell whether noise powers of both lead orders agree, (2,) each."""
    low, high = np.minimum(one, other), np.maximum(one, other)
    return bool(np.all(low > 0.0) and np.all(high < limits.ORDERS_AGREE * low))


def _scatter(power: Complex, averages: float) -> Array:
    """Variances of both powers and of the (complex) cross power, (3,): complex Wishart."""
    own = np.diagonal(power).real
    return np.array([own[0] ** 2, own[1] ** 2, own[0] * own[1]]) / max(averages, 1.0)


def judge(found: Shared | None, takes: tuple[str, ...] = ()) -> Indication:
    """Return what the shared noise says."""
    if found is None:
        return silent(NAME, "the device at idle is not heard above the recorder", takes=takes)
    figures = {
        "correlation_real": found.rho.real,
        "correlation_imag": found.rho.imag,
        "cold_over_hot_power": found.a,
        "cold_over_hot_power_u95": 1.96 * found.a_sd,
        "device_over_recorder_db": found.device_db,
    }
    plain = Indication(
        NAME,
        found.g,
        "1",
        1.96 * found.g_sd,
        more=figures,
        takes=takes,
        meaning=_MEANINGS["between"],
    )
    why = _why_nothing(found)
    if why:
        return silent(NAME, why, value=found.g, unit="1", u95=1.96 * found.g_sd, more=figures,
                      takes=takes)  # fmt: skip
    said = _said(found)
    if said is None:
        return _with(plain, why_nothing=_MEANINGS["between"], meaning="")
    return _with(plain, **said)


def _with(one: Indication, **changed: object) -> Indication:
    return Indication(**{**one.__dict__, **changed})


_MEANINGS = {
    "inverter": "a noise source ahead of both legs, and cold adds noise of its own as an inverter "
    "behind hot would",
    "shared": "a noise source ahead of both legs; not whether cold is derived from hot",
    "separate": "what dominates the noise lies in each leg by itself; a quiet shared core would "
    "look the same",
    "between": "part of the noise is shared, part is not: both kinds of path can do that",
}


def _why_nothing(found: Shared) -> str:
    if not found.steady:
        return "a leg is not as noisy in both lead orders: a mute, or something was changed"
    if found.lines > limits.HUM_DOMINATES:
        return "hum and other lines outweigh the noise: a loop through the bench, not the device"
    if found.device_db < limits.LEAST_IDLE_DB:
        return (
            f"the device's noise is {-found.device_db:.0f} dB below the recorder's: raise the "
            "recorder's gain for the idle and the floor take"
        )
    if found.g_sd > limits.SHARED_DOUBT:
        return "the shared part is not known well enough beside the recorder's own noise"
    if found.correlated and found.rho.real > 0.0:
        return "the legs share noise of the same sign: a supply or a ground, which says nothing"
    return ""


def _said(found: Shared) -> dict[str, object] | None:
    if found.g > limits.SHARED and found.correlated:
        noisier = found.a > limits.COLD_NOISIER
        noisier &= found.a - 1.0 > limits.COLD_NOISIER_SIGMAS * found.a_sd
        if noisier:
            return {"says": "one-path", "strength": "strong", "weight": limits.RATIO_CAP,
                    "specific": True, "meaning": _MEANINGS["inverter"]}  # fmt: skip
        return {"says": "one-path", "strength": "weak", "weight": 5.0,
                "meaning": _MEANINGS["shared"]}  # fmt: skip
    if found.g < limits.SEPARATE and found.g_sd < limits.SEPARATE_DOUBT:
        return {"says": "two-paths", "strength": "weak", "weight": 0.5,
                "meaning": _MEANINGS["separate"]}  # fmt: skip
    return None
