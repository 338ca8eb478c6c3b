"""A wired option driven by the identified stage: what reaches the input, and what pin 3 carries.

With current out of the device ``i = Y v`` into the network and ``v = Voc - Z i``:

    v = (1 + Z Y)^-1 Voc

Where both legs carry current this is solved in modal coordinates, in which the differential
impedance of a floating stage is an entry of its own and not a difference of megohms. Where one
terminal carries current its own impedance is all that is needed.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from probe.advice.destination import Cable, Circuit, Input
from probe.advice.network import Reduced, reduce
from probe.advice.sampled import Sampled
from probe.advice.wiring import TIE, Option, Wiring, wire
from probe.facts.source import FROM_MODAL, TERMINALS

Floats = NDArray[np.float64]
Complex = NDArray[np.complex128]

_TWO = FROM_MODAL[:2, :2]


@dataclass(frozen=True)
class Response:
    """One option solved on one completed source.

    Attributes
    ----------
    hz
        Shape (G,), Hz; ``at`` is the index of the reference frequency.
    level
        Shape (N, G), complex, V rms at the measured drive: what the input hears.
    hot
        Shape (N, G): at the input's pin 2 (or centre) against its ground.
    cold
        Shape (N, G): at its pin 3; None where there is none.
    tie
        Shape (N, G), A rms: current of pin 3 into its ground; None where it is not tied.
    open_level
        Shape (N, G): the open-circuit level of the output used (differential, or single-ended).
    """

    hz: Floats
    at: int
    level: Complex
    hot: Complex
    cold: Complex | None
    tie: Complex | None
    open_level: Complex


def solve_option(
    option: Option,
    socket: Input,
    circuit: Circuit,
    mismatch: float,
    cable: Cable,
    sampled: Sampled,
) -> Response:
    """Solve ``option`` into ``socket`` with the completed source ``sampled``."""
    wiring, reduced = _reduced(option, socket, circuit, mismatch, cable, tuple(sampled.hz))
    volts = pin_voltages(sampled, wiring.pins, reduced)
    return Response(
        hz=sampled.hz,
        at=sampled.at,
        level=_seen(reduced.across(wiring.plus, wiring.minus), volts),
        hot=_seen(reduced.across(wiring.plus, "ground"), volts),
        cold=_seen(reduced.across(wiring.cold, "ground"), volts)
        if wiring.cold in reduced.nodes
        else None,
        tie=_seen(reduced.currents[TIE], volts) if wiring.tied else None,
        open_level=sampled.voc[..., 0 if option.from_ == "xlr" else 2],
    )


@lru_cache(maxsize=256)
def _reduced(
    option: Option,
    socket: Input,
    circuit: Circuit,
    mismatch: float,
    cable: Cable,
    hz: tuple[float, ...],
) -> tuple[Wiring, Reduced]:
    wiring = wire(option, socket, circuit, mismatch, cable)
    return wiring, reduce(wiring.network, np.array(hz), wiring.pins)


def pin_voltages(sampled: Sampled, pins: tuple[str, ...], reduced: Reduced) -> Complex:
    """Return the voltages on ``pins`` with the network connected, shape (N, G, P), V rms."""
    # what is unknown is NaN, and a division of NaN is no news
    with np.errstate(invalid="ignore", divide="ignore"):
        if len(pins) == 1:
            return _one_pin(sampled, TERMINALS.index(pins[0]), reduced.y[:, 0, 0])
        if pins != ("hot", "cold"):
            raise ValueError(f"pins {pins} are not solved together")
        return _both_legs(sampled, reduced.y)


def _one_pin(sampled: Sampled, pin: int, y: Complex) -> Complex:
    voc, z = sampled.leg_voc[..., pin], sampled.leg_z[..., pin, pin]
    return np.asarray((voc / (1.0 + z * y))[..., None])


def _both_legs(sampled: Sampled, y_legs: Complex) -> Complex:
    """Solve the 2 by 2 modal system in closed form (Cramer), for all draws and frequencies."""
    y = np.einsum("ji,gjk,kl->gil", _TWO, y_legs, _TWO)
    z, voc = sampled.z[..., :2, :2], sampled.voc[..., :2]
    a = 1.0 + z[..., 0, 0] * y[:, 0, 0] + z[..., 0, 1] * y[:, 1, 0]
    b = z[..., 0, 0] * y[:, 0, 1] + z[..., 0, 1] * y[:, 1, 1]
    c = z[..., 1, 0] * y[:, 0, 0] + z[..., 1, 1] * y[:, 1, 0]
    d = 1.0 + z[..., 1, 0] * y[:, 0, 1] + z[..., 1, 1] * y[:, 1, 1]
    # a d - b c loses what det(z) det(y) alone can say when both terms are large
    det_z = z[..., 0, 0] * z[..., 1, 1] - z[..., 0, 1] * z[..., 1, 0]
    det_y = y_legs[:, 0, 0] * y_legs[:, 1, 1] - y_legs[:, 0, 1] * y_legs[:, 1, 0]
    det = a + d - 1.0 + det_z * det_y
    modal = np.stack(
        [
            (d * voc[..., 0] - b * voc[..., 1]) / det,
            (a * voc[..., 1] - c * voc[..., 0]) / det,
        ],
        axis=-1,
    )
    return np.asarray(np.einsum("ij,ngj->ngi", _TWO, modal))


def _seen(row: Complex, volts: Complex) -> Complex:
    """Return ``sum_p row[g, p] volts[n, g, p]``, shape (N, G)."""
    return np.asarray(np.einsum("gp,ngp->ng", row, volts))
