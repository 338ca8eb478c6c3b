"""The weights of the takes: (2) and (4) of `probe.stage.solve`."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from probe.stage.fitted import Block
from probe.stage.forward import Active, kept
from probe.stage.network import Complex
from probe.stage.observations import Group, Observed
from probe.stage.realise import Errors, Excited, Realisation, realise
from probe.stage.small import inverse_small


def whitener_of(
    group: Group, block: Block, theta: Complex, level: float, volts: Complex, active: Active
) -> tuple[Complex, Complex]:
    """``L⁻¹ (I + Z Y)⁻¹`` and ``L⁻¹`` of every take, shapes (T, F, R, R)."""
    size = len(block.terminals)
    index = np.array(block.terminals)
    whitener = np.zeros((len(group.takes), len(group.hz), size, size), dtype=np.complex128)
    root = np.zeros_like(whitener)
    modal_z = theta[:, :, 1:3] if size == 2 else theta[:, :, 3:4]
    backwards = np.linalg.inv(block.rows)
    for t, observed in enumerate(group.takes):
        heard = observed.recorded[index]
        if not heard.any() or not active.takes[t]:
            continue
        tones = observed.tones
        y = observed.y[:, index[:, None], index]
        y = y * np.outer(heard, heard)
        modal_y = np.einsum("ar,fab,bs->frs", block.rows, y, block.rows)
        inverse = inverse_small(np.eye(size) + modal_z[tones] @ modal_y)
        inverse = block.rows @ inverse @ backwards
        covariance = _covariance(observed, index, level, volts[t, tones])
        root[t, tones] = _inverse_root(covariance, heard)
        whitener[t, tones] = root[t, tones] @ (inverse * heard[:, None])
    return whitener, root


def _covariance(
    observed: Observed, index: NDArray[np.intp], level: float, volts: Complex
) -> Complex:
    """Covariance of ``dv`` in (2) that is each take's own: noise, and level between takes."""
    covariance = observed.noise[:, index[:, None], index].copy()
    diagonal = np.arange(len(index))
    covariance[:, diagonal, diagonal] += (level * np.abs(volts[:, index])) ** 2
    return covariance


def _inverse_root(covariance: Complex, heard: NDArray[np.bool_]) -> Complex:
    """``L⁻¹`` with ``L Lᴴ`` the covariance of the heard rows; zero rows elsewhere."""
    size = covariance.shape[-1]
    root = np.zeros_like(covariance)
    tiny = 1e-30 + 1e-14 * np.einsum("kii->k", covariance).real
    if size == 2 and heard.all():
        a = covariance[:, 0, 0].real + tiny
        c = covariance[:, 1, 0]
        l00 = np.sqrt(a)
        l10 = c / l00
        l11 = np.sqrt(np.maximum(covariance[:, 1, 1].real + tiny - np.abs(l10) ** 2, tiny))
        root[:, 0, 0] = 1.0 / l00
        root[:, 1, 0] = -l10 / (l00 * l11)
        root[:, 1, 1] = 1.0 / l11
        return root
    for k in range(size):
        if heard[k]:
            root[:, k, k] = 1.0 / np.sqrt(covariance[:, k, k].real + tiny)
    return root


def mixer_of(
    group: Group,
    block: Block,
    whitener: Complex,
    theta: Complex,
    measured: Realisation,
    errors: Errors,
    excited: Excited,
    active: Active,
) -> Complex:
    """``(I + G Gᴴ)^-1/2`` of (4), shape (F, n, n), n the rows of a tone.

    At injected tones a megohm leg is the small difference of two currents: there the recorder's
    own errors are far from linear and are left to the draws.
    """
    injected = any(o.carried.any() for o in group.takes)
    kinds = ("part/", "injected-volts") if injected else ("gain/", "input-", "part/")
    scales = {k: v for k, v in sorted(group.scales.items()) if v > 0.0 and k.startswith(kinds)}
    takes, rows, size = len(group.takes), whitener.shape[0], len(block.terminals)
    mixer = np.tile(np.eye(rows * size, dtype=np.complex128), (len(group.hz), 1, 1))
    if not scales:
        return mixer
    one_each: Errors = dict(errors)
    for i, (key, scale) in enumerate(scales.items()):
        one_each[key] = scale * (np.arange(len(scales)) == i)
    moved = kept(realise(group, len(scales), one_each, excited), active)
    volts = (moved.volts - measured.volts)[..., list(block.terminals)]
    drives = moved.drives - measured.drives
    volts = volts - np.einsum("ar,frj,ktfj->ktfa", block.rows, theta, drives)
    shift = np.einsum("tfab,ktfb->ftak", whitener[:takes], volts)
    shift = shift.reshape(len(group.hz), takes * size, len(scales))
    covariance = np.eye(takes * size) + shift @ np.conj(np.swapaxes(shift, -1, -2))
    values, vectors = np.linalg.eigh(covariance)
    back = np.conj(np.swapaxes(vectors, -1, -2))
    mixer[:, : takes * size, : takes * size] = (
        vectors / np.sqrt(np.maximum(values, 1.0))[:, None, :]
    ) @ back
    return mixer


def mixed(mixer: Complex, residual: Complex) -> Complex:
    """Residuals (T, F, R) after (4)."""
    takes, tones, size = residual.shape
    count = takes * size
    rows = np.moveaxis(residual, 1, 0).reshape(tones, count, 1)
    return np.asarray(
        np.moveaxis((mixer[:, :count, :count] @ rows).reshape(tones, takes, size), 0, 1)
    )
