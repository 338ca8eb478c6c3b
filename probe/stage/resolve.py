"""The solve of `probe.stage.solve` again, for every draw."""

from __future__ import annotations

import numpy as np

from probe.stage.fitted import Fit, with_known
from probe.stage.network import Complex
from probe.stage.realise import Realisation
from probe.stage.small import solve_small


def resolve(
    solved: Fit, draws: Realisation, first: int = 0, *, currents_drawn: bool = False
) -> Complex:
    """Solve (1) again for every draw with the weights of ``solved``, shape (D, F, R, 4).

    One step from the value: the row error of (1) with the drawn voltages and currents, projected
    on the directions of the solve. Linear in what was drawn, hence two matrix products per tone.
    With ``currents_drawn`` the currents of each draw stand on both sides: for injected ones, which
    are strong but of unknown phase, so that a turned current turns the answer and no more.
    ``first`` is the draw of the known columns that goes with draw 0.
    """
    block = solved.block
    draws = with_known(draws, solved.known, first)
    size = len(block.terminals)
    tones, kept = solved.basis.shape[0], int(solved.rank.max(initial=0))
    takes, count = solved.whitener.shape[0], draws.volts.shape[0]
    rows = solved.whitener @ block.rows
    left = np.conj(solved.left[:, :, :kept]).reshape(tones, takes, size, kept)
    seen = np.einsum("ftak,tfar->ftkr", left, rows)
    start = np.einsum("ftkr,frj->ftjk", seen, solved.theta).reshape(tones, takes * 4, kept)
    project = np.einsum("ftak,tfab->ftbk", left, solved.whitener).reshape(tones, -1, kept)
    drives = np.moveaxis(draws.drives, 2, 0).reshape(tones, count, takes * 4)
    volts = np.moveaxis(draws.volts[..., list(block.terminals)], 2, 0)
    step = volts.reshape(tones, count, takes * size) @ project - drives @ start
    if currents_drawn:
        basis = solved.basis[:, :, :kept].reshape(tones, size, 4, kept)
        matrix = np.einsum("ftkr,frjl->ftjkl", seen, basis).reshape(tones, takes * 4, kept * kept)
        normal = (drives @ matrix).reshape(tones, count, kept, kept)
        spare = np.arange(kept) >= solved.rank[:, None]
        normal[:, :, np.arange(kept), np.arange(kept)] += spare[:, None, :]
        step = solve_small(normal, step)
    theta = solved.theta.reshape(tones, 1, size * 4)
    theta = theta + step @ np.swapaxes(solved.basis[:, :, :kept], -1, -2)
    return np.asarray(np.moveaxis(theta.reshape(tones, count, size, 4), 0, 1))
