"""What the solved stage amounts to, quantity by quantity, each with its draws.

A ``Reading`` is a complex quantity at one tone: its value, its draws, and how much of it the takes
leave open. Everything derived is computed draw by draw, so correlations are kept.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from probe.stage import limits
from probe.stage.network import Complex, admittance
from probe.stage.observations import Observed
from probe.stage.side import Identified
from probe.stage.solved import Solved, functional
from probe.stage.source import modal_to_legs_impedance

Array = NDArray[np.float64]

UNPLAYED_ROOM = 0.02
"""Share of a level that may hang on an unsupported direction and still be stated, widened by it."""


KNOWN_OPEN = 0.3
"""An impedance of which more than this share hangs on what no take shows is not known."""

KNOWN_SHARE, KNOWN_OHM = 0.5, 200.0
"""An impedance whose standard deviation exceeds this share of it, and this many ohm, is not known:
what moves a leg only by the recorder's own current looks like some ten kilohm, more or less.
"""


@dataclass(frozen=True)
class Reading:
    """A complex quantity at one tone.

    Attributes
    ----------
    draws
        Shape (1 + D,): the value itself first. Volts or ohm.
    open
        Standard deviation of the part that the takes leave open, 0 where fully supported.
    sigma
        Standard deviation from the weights alone.
    hz
        The tone.
    """

    draws: Complex
    open: float
    sigma: float
    hz: float

    @property
    def value(self) -> complex:
        """The value itself."""
        return complex(self.draws[0])

    @property
    def size(self) -> float:
        """Magnitude of the value."""
        return float(abs(self.draws[0]))


def nearest(hz: Array, target: float = 1000.0) -> int:
    """Index of the tone nearest ``target`` Hz."""
    return int(np.argmin(np.abs(np.asarray(hz) - target)))


def reading(solved: Solved, row: str, column: str, k: int) -> Reading:
    """One entry of ``[Voc | Z]`` at tone ``k``; rows hot, cold, difference, mean; column too."""
    wanted = functional(row, column, len(solved.hz))
    draws = np.einsum("rj,drj->d", wanted[k], solved.theta[:, k])
    lost = float(solved.lost(wanted)[k])
    sigma = float(solved.sigma(wanted)[k])
    return Reading(draws, lost, sigma, float(solved.hz[k]))


def level_known(one: Reading, largest: float) -> bool:
    """Return True where an open-circuit voltage is supported by the takes."""
    return one.open < UNPLAYED_ROOM * largest and one.sigma < 0.3 * largest


def impedance_known(one: Reading) -> bool:
    """Return True where an impedance is supported by the takes, however uncertain it came out."""
    if one.open > 1.0 + KNOWN_OPEN * one.size or one.sigma <= 0.0:
        return False
    return one.sigma < max(KNOWN_SHARE * one.size, KNOWN_OHM)


def widened(one: Reading, rng: np.random.Generator, *, keep: bool = False) -> Reading:
    """Return the same with the open part drawn as well; ``keep`` leaves it on record."""
    if one.open <= 0.0 or not np.isfinite(one.open):
        return one
    white = rng.standard_normal((2, len(one.draws)))
    white[:, 0] = 0.0
    extra = one.open * (white[0] + 1j * white[1]) / np.sqrt(2.0)
    sigma = float(np.hypot(one.sigma, one.open))
    return Reading(one.draws + extra, one.open if keep else 0.0, sigma, one.hz)


@dataclass(frozen=True)
class Column:
    """A leg's own impedance and what it does to the other leg, at the tone nearest 1 kHz.

    ``own`` is ``Z_pp``; ``other`` is what one ampere into leg p raises on the other leg and
    ``beside`` the ``Z_pp`` at that same tone: a silent leg's own impedance may come from a load
    across, its coupling only from an injection.
    """

    own: Reading
    other: Reading
    beside: Reading

    @property
    def coupling(self) -> Complex:
        """``other / beside`` draw by draw, shape (1 + D,)."""
        return np.asarray(self.other.draws / self.beside.draws)


def half_width(values: Array) -> float:
    """Half of what 95 % of the draws span, of real values of shape (1 + D,)."""
    low, high = np.quantile(values[1:] if len(values) > 1 else values, [0.025, 0.975])
    return float(high - low) / 2.0


def column(identified: Identified, leg: str) -> Column | None:
    """Column of a leg where the takes support it; injected tones where loads do not."""
    other = "cold" if leg == "hot" else "hot"
    terminal = ("hot", "cold").index(leg)
    loads = _pair_of_readings(identified.legs, leg, other)
    own_carried = (terminal, terminal) in identified.carried
    legs = identified.legs
    if loads is not None and legs is not None and legs.open_leg == terminal and legs.open_known:
        return Column(loads[0], loads[1], loads[0])
    if loads is not None and not own_carried and impedance_known(loads[0]):
        if (1 - terminal, terminal) not in identified.carried:
            return Column(loads[0], loads[1], loads[0])
        injected = _pair_of_readings(identified.injected, leg, other)
        if injected is not None:
            return Column(loads[0], injected[1], injected[0])
    if identified.injected is not None and terminal in identified.injected_into:
        injected = _pair_of_readings(identified.injected, leg, other)
        if injected is not None:
            return Column(injected[0], injected[1], injected[0])
    return None


def _pair_of_readings(
    solved: Solved | None, leg: str, other: str
) -> tuple[Reading, Reading] | None:
    if solved is None:
        return None
    k = nearest(solved.hz)
    rng = np.random.default_rng(5)
    own = widened(reading(solved, leg, leg, k), rng, keep=True)
    return own, widened(reading(solved, other, leg, k), rng, keep=True)


def open_take(identified: Identified) -> int | None:
    """Index of the first take in which both legs are heard and nothing is switched on.

    One of a single tone only where there is no other.
    """
    if identified.group is None:
        return None
    open_ = [
        t
        for t, observed in enumerate(identified.group.takes)
        if observed.recorded[:2].all()
        and not observed.phasors.take.loads
        and not observed.phasors.take.injections
    ]
    return _of_many_tones(identified, open_)


def _of_many_tones(identified: Identified, takes: list[int]) -> int | None:
    assert identified.group is not None
    of = identified.group.takes
    return min(takes, key=lambda t: (len(of[t].phasors.take.tones_hz) == 1, t), default=None)


def single_ended_take(identified: Identified) -> int | None:
    """Index of the first take that hears the single-ended output with nothing switched on it."""
    if identified.group is None:
        return None
    heard = [t for t, o in enumerate(identified.group.takes) if o.recorded[2]]
    free = [t for t in heard if not identified.group.takes[t].phasors.take.loads]
    return _of_many_tones(identified, free)


def recorded(identified: Identified, t: int, k: int) -> Complex:
    """Voltages of one take at grid tone ``k``, shape (1 + D, 3)."""
    return identified.recorded[:, t, k]


UNTOLD_INPUT_OHM = 2.0e4
"""A recorder's input where no take has a leg bare: a usual one."""


def recorder_ohm(identified: Identified, hz: Array, leg: str) -> Array:
    """Impedance of the recorder's input on a leg by itself, shape (F,), ohm."""
    index = ("hot", "cold").index(leg)
    takes = () if identified.group is None else identified.group.takes
    y = [
        np.abs(admittance(o.elements, hz)[:, index, index])
        for o in takes
        if o.recorded[index] and not o.phasors.take.loads and not o.phasors.take.injections
    ]
    return np.asarray(1.0 / np.max(y, axis=0)) if y else np.full(len(hz), UNTOLD_INPUT_OHM)


def recorder_doubt(identified: Identified, hz: Array) -> Array:
    """Standard deviation of what the inputs on both legs draw together, shape (F,), siemens.

    As declared, each input by itself; nothing where no take hears both legs.
    """
    t = open_take(identified)
    if t is None or identified.group is None:
        return np.zeros(len(hz))
    variance = np.zeros(len(hz))
    take = identified.group.takes[t].phasors.take
    for channel, inlet in zip(take.channels, take.inputs, strict=True):
        if channel in ("hot", "cold"):
            variance += (inlet.impedance_u95_relative / 2.0 / inlet.impedance_ohm) ** 2
            variance += (np.pi * hz * inlet.capacitance_u95_farad) ** 2
    return np.asarray(np.sqrt(variance))


def loading(observed: Observed, hz: float, draws: int, rng: np.random.Generator) -> Complex:
    """Return what the recorder may have taken off each terminal, factors (1 + D, 3).

    For an output whose impedance was not measured: anything from nothing to the largest source
    impedance of a line output, resistive to capacitive.
    """
    y = admittance(observed.elements, np.array([hz]))[0].diagonal()
    ohm = limits.SOURCE_IMPEDANCE_LIMIT_OHM * rng.uniform(0.0, 1.0, (draws + 1, 3))
    ohm[0] = 0.0
    turn = np.exp(-0.5j * np.pi * rng.uniform(0.0, 1.0, (draws + 1, 3)))
    return np.asarray(1.0 + ohm * turn * y)


def moved(level: float, count: int) -> Array:
    """Return what levels may have moved by between one take and the others, factors (count,)."""
    factors = 1.0 + level * np.random.default_rng(17).standard_normal(count)
    factors[0] = 1.0
    return np.asarray(factors)


@dataclass(frozen=True)
class Heard:
    """A level nobody loaded, draws (1 + D,): as recorded, and with what that took given back."""

    lifted: Complex
    bare: Complex


def single_ended_heard(identified: Identified, k: int, count: int) -> Heard | None:
    """Return the single-ended level at grid tone ``k`` from a take that leaves it alone.

    None where no such take has the tone. ``count``: draws wanted, the value among them.
    """
    t = single_ended_take(identified)
    if t is None or identified.group is None or k not in identified.group.takes[t].tones:
        return None
    observed, hz = identified.group.takes[t], float(identified.group.hz[k])
    volts = recorded(identified, t, k)[:count, 2]
    rng = np.random.default_rng(7)
    lift = loading(observed, hz, len(volts) - 1, rng)[:, 2]
    bare = volts * moved(identified.repeatability.level, len(volts))
    return Heard(np.asarray(volts * lift), np.asarray(bare))


def mean_lift(
    identified: Identified, observed: Observed, k: int, hz: float, rng: np.random.Generator
) -> Complex:
    """Return what the recorder took off the mean of a floating pair at tone ``k``, (1 + D,).

    From the pair's way to pin 1 where the takes show it, else whatever it may be.
    """
    legs = identified.legs
    mean = None if legs is None else reading(legs, "mean", "mean", k)
    if mean is None or not impedance_known(mean):
        return floating_lift(observed, hz, identified.draws, rng)
    y = admittance(observed.elements, np.array([hz]))[0]
    return np.asarray(1.0 + mean.draws * (y[0, 0] + y[1, 1]))


def floating_lift(observed: Observed, hz: float, draws: int, rng: np.random.Generator) -> Complex:
    """Return what the recorder may have taken off the mean of a floating pair, (1 + D,).

    Common-mode impedances from some ten ohm to 20 kohm, alike on a logarithmic scale: simulated
    servo-balanced stages; a transformer's is larger still at low tones.
    """
    y = admittance(observed.elements, np.array([hz]))[0]
    ohm = np.exp(rng.uniform(np.log(50.0), np.log(2.0e4), draws + 1))
    ohm[0] = 0.0
    return np.asarray(1.0 + ohm * (y[0, 0] + y[1, 1]))


def common_mode_impedance(z: Complex) -> Complex:
    """``1/(1ᵀ Z⁻¹ 1)`` from modal entries of shape (..., 2, 2): both legs tied together, ohm.

    With the legs tied the difference is zero, ``i_d = -Z_dm/Z_dd i_m``.
    """
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.asarray(z[..., 1, 1] - z[..., 1, 0] * z[..., 0, 1] / z[..., 0, 0])


def output_rejection(z: Complex) -> Complex:
    """Differential volts per volt of common mode in the data-sheet circuit, (..., 2, 2) modal.

    300 ohm from the common-mode source into each leg, 600 ohm across, drive muted. In modal
    coordinates ``Y = diag(1/600 + 1/600, 2/300)`` and ``J_m = 2/300`` A per volt.
    """
    y = np.diag([1.0 / 600.0 + 0.5 / 300.0, 2.0 / 300.0])
    system = np.eye(2) + z @ y
    drive = z[..., :, 1] * (2.0 / 300.0)
    return np.asarray(np.linalg.solve(system, drive[..., None])[..., 0, 0])


def common_mode(identified: Identified) -> tuple[Array, Complex] | None:
    """Mean impedance of the legs wherever it is supported, if it is where a winding shows.

    Returns frequencies (K,) and ohms (1 + D, K); None where neither loads nor injections show it.
    """
    for solved in (identified.legs, identified.injected):
        if solved is None or (solved is identified.injected and len(identified.injected_into) < 2):
            continue
        wanted = np.zeros((len(solved.hz), 2, 4), dtype=np.complex128)
        wanted[:, 1, 2] = 1.0
        size = np.abs(solved.theta[0, :, 1, 2])
        good = solved.lost(wanted) < 0.2 * size + 1.0
        if np.any(good & _in_band(solved.hz)):
            return solved.hz[good], np.asarray(solved.theta[:, good, 1, 2])
    return None


def common_mode_band(identified: Identified) -> tuple[Array, Complex] | None:
    """Return the same at the tones at which a winding shows."""
    found = common_mode(identified)
    if found is None:
        return None
    band = _in_band(found[0])
    return found[0][band], found[1][:, band]


def _in_band(hz: Array) -> NDArray[np.bool_]:
    low, high = limits.TRANSFORMER_BAND_HZ
    return np.asarray((hz >= low) & (hz <= high))


def modal_z(solved: Solved, k: int) -> Complex:
    """Modal impedance matrix of the legs at tone ``k``, shape (1 + D, 2, 2), ohm."""
    return solved.theta[:, k, :, 1:3]


def leg_z(theta: Complex) -> Complex:
    """Leg impedance matrix (..., 2, 2) of ``theta`` (..., 2, 4)."""
    modal = np.zeros((*theta.shape[:-2], 3, 3), dtype=np.complex128)
    modal[..., :2, :2] = theta[..., :, 1:3]
    return modal_to_legs_impedance(modal)[..., :2, :2]
