"""The noise of one output out of a cross spectrum: gains, loading and their doubt in the draws."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from probe.measures.loading import DRAWS, unloading
from probe.measures.outputs import Output
from probe.measures.spectra import Spectrum
from probe.session.model import Take
from probe.stage.source import Source

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]

ANCHORS_HZ = np.geomspace(10.0, 4e4, 25)
"""What the recorder takes off changes slowly: it is worked out here and held between."""


@dataclass(frozen=True)
class Projection:
    """An output as a row of weights on the channels of a spectrum, at `ANCHORS_HZ`.

    ``weights``: shape (1 + D, A, C), complex, V open circuit per volt read, nominal first, gains
    drawn from what is declared. ``known``: it rests on measured impedances.
    """

    output: Output
    channels: tuple[int, ...]
    weights: Complex
    known: bool

    def power(self, spectrum: Spectrum, weight: Array) -> Array:
        """Return ``sum_f weight_f p S_f pᴴ``, shape (1 + D,)."""
        place = np.searchsorted(np.sqrt(ANCHORS_HZ[1:] * ANCHORS_HZ[:-1]), spectrum.hz)
        used = np.flatnonzero(weight != 0.0)
        if not len(used):
            return np.zeros(len(self.weights))
        width = len(ANCHORS_HZ)
        density = self._picked(spectrum)[used] * weight[used, None, None]
        sums = np.zeros((width, *density.shape[1:]), dtype=np.complex128)
        np.add.at(sums, place[used], density)
        p = self.weights
        return np.asarray(np.einsum("dac,ace,dae->d", p, sums, p.conj()).real)

    def scale(self, take: Take, sums: Array) -> dict[str, Any]:
        """Return what a fact says of the scale it rests on: the doubt of it, and at which gain.

        ``sums``: shape (1 + D,): what the scale makes of the fact, nominal first.
        """
        relative = float(np.std(sums[1:]) / sums[0]) if sums[0] > 0.0 else 0.0
        full = [take.inputs[c].volts_full_scale for c in self.channels]
        return {"u95_percent": 196.0 * relative, "volts_full_scale": full}

    def density(self, spectrum: Spectrum) -> Array:
        """Return ``p S_f pᴴ`` at every bin, nominal, shape (F,), V²/Hz."""
        log = np.log(np.clip(spectrum.hz, ANCHORS_HZ[0], ANCHORS_HZ[-1]))
        p = np.stack([np.interp(log, np.log(ANCHORS_HZ), row) for row in self.weights[0].T])
        matrix = self._picked(spectrum)
        return np.asarray(np.einsum("cf,fce,ef->f", p, matrix, p.conj()).real)

    def _picked(self, spectrum: Spectrum) -> Complex:
        place = [spectrum.channels.index(c) for c in self.channels]
        return spectrum.density[:, place][:, :, place]


def projection(source: Source | None, spectrum: Spectrum, output: Output) -> Projection:
    """Return how an output adds up of what a take's channels read.

    Each channel's gain is drawn from its stated uncertainty, the impedances from the source's own
    draws. A balanced input is taken as it reads.
    """
    return of_take(source, spectrum.take, output)


def of_take(source: Source | None, take: Take, output: Output) -> Projection:
    """Return the same for a take by itself."""
    rng = np.random.default_rng(12)
    gains = np.array([take.inputs[c].own_u95_relative / 2.0 for c in output.channels])
    common = max(take.inputs[c].common_u95_relative / 2.0 for c in output.channels)
    errors = 1.0 + gains * rng.standard_normal((1 + DRAWS, len(gains)))
    errors *= 1.0 + common * rng.standard_normal((1 + DRAWS, 1))
    errors[0] = 1.0
    signs = np.array(output.signs)
    if not output.terminals:
        row = np.repeat((signs * errors)[:, None, :], len(ANCHORS_HZ), axis=1)
        return Projection(output, output.channels, row.astype(np.complex128), False)
    factor, known = unloading(source, take, ANCHORS_HZ)
    terminals = list(output.terminals)
    block = factor[:, :, terminals][:, :, :, terminals]
    row = np.einsum("a,dfac,dc->dfc", signs, block, errors)
    own = [t for t, sign in zip(terminals, signs, strict=True) if sign]
    return Projection(output, output.channels, row, bool(known[own].all()))
