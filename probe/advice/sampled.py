"""The identified stage between its tones: interpolation over one grid, and what is left out.

A source is known at the tones of its takes. Between them every entry is interpolated over
log f: as logarithm of magnitude and phase where the entry is well above zero and turns slowly
(an impedance falling with frequency is then exact), else as real and imaginary part. Nothing
is carried beyond the outermost tones.

The central estimate and its draws travel as one array, the estimate first: axis 0 is N = 1 + D.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from probe.facts.source import TERMINALS, TO_MODAL, Source

Floats = NDArray[np.float64]
Complex = NDArray[np.complex128]

MOST_DRAWS = 400
"""Draws used: the 95 % interval of 400 is known to a few percent of its width, and more would
only cost time. The same ones are used whoever asks."""

POINTS_PER_DECADE = 12
"""Of the response: between points it is straight in dB over log f, which misplaces the -3 dB
point of one pole by 0.5 % at most."""

NEAR_EDGE = 2.0 ** (1.0 / 3.0)
"""A tone within a third of an octave of 20 Hz or 20 kHz stands for it, and its own frequency is
given with the figure."""

STEEPEST_STEP = 3.4
"""Largest step of log magnitude between neighbouring tones (a factor of 30), and
STEEPEST_TURN the largest of phase (rad), for which log magnitude and phase are followed."""
STEEPEST_TURN = np.pi / 2.0

CANCELLING = 0.05
"""Differential over leg level below which the legs cancel, and their difference has no phase
that could be relied on."""

WIDEST_LEVEL = 2.0
"""Upper over lower end of the differential level's 95 % interval beyond which a tone tells
nothing: 6 dB is what the kinds of connection differ by. [judgement]"""

FEWEST_DRAWS = 20
"""Draws from which a spread can be read at all."""


@dataclass(frozen=True)
class Assumed:
    """An assumption, and the terminals whose currents make it matter."""

    pins: tuple[str, ...]
    words: str


@dataclass(frozen=True, eq=False)
class Sampled:
    """A source on a common grid.

    Attributes
    ----------
    hz
        Shape (G,), Hz: every tone, and a logarithmic grid between the outermost ones.
    at
        Index of the reference frequency: the tone nearest 1 kHz.
    voc, z
        Shapes (N, G, 3) and (N, G, 3, 3), modal, V and ohm; NaN where unknown.
    leg_voc, leg_z
        The same at (hot, cold, single-ended); may hold entries the modal ones cannot.
    assumed
        What stands in for the unknown.
    """

    hz: Floats
    at: int
    voc: Complex
    z: Complex
    leg_voc: Complex
    leg_z: Complex
    assumed: tuple[Assumed, ...] = ()
    heard: Complex | None = None
    """Shape (N, G, 2): the legs with ``heard_ohm`` on each, where nothing else tells of them."""
    heard_ohm: float = float("inf")
    spread: bool = False
    """Axis 0 holds what the source may be, all equally possible, and no draws."""

    def open_level(self, output: str) -> Complex:
        """Return the open-circuit level of an output: between the legs, or single-ended, (N, G)."""
        return self.voc[..., 0 if output == "xlr" else 2]

    def of_terminals(self, names: tuple[str, ...]) -> tuple[Complex, Complex]:
        """Return voltages (P, N, G) and impedances (P, P, N, G) in which terminals are solved.

        Modal ones where both legs are in use, see `terminals`.
        """
        at = [TERMINALS.index(t) for t in names]
        modal = "hot" in names and "cold" in names
        voc, z = (self.voc, self.z) if modal else (self.leg_voc, self.leg_z)
        return np.moveaxis(voc, -1, 0)[at], np.moveaxis(z, (-2, -1), (0, 1))[np.ix_(at, at)]

    def content(self, names: tuple[str, ...]) -> bytes:
        """Return what is equal where these terminals are the same, whatever else a source is.

        Corners that differ only in what nobody uses do the same, and so may those of two kinds.
        """
        if names not in self._contents:
            outputs = {"rca" if name == "single-ended" else "xlr" for name in names}
            told = hashlib.blake2b(repr((names, self.at, self.spread)).encode())
            for values in (
                self.hz, *self.of_terminals(names), *map(self.open_level, sorted(outputs))
            ):  # fmt: skip
                told.update((values + 0.0).tobytes())  # no zero has a sign
            self._contents[names] = told.digest()
        return self._contents[names]

    @cached_property
    def _contents(self) -> dict[tuple[str, ...], bytes]:
        return {}


def sample(source: Source) -> Sampled:
    """Put ``source`` on its grid.

    Raises
    ------
    ValueError
        The source has no frequency at all.
    """
    if source.hz.size == 0:
        raise ValueError("a source without frequencies")
    hz = _grid(source.hz)
    at = int(np.argmin(np.abs(np.log(hz / _nearest(_played(source), 1000.0)))))
    source = _without_doubtful_tones(source)
    turn = _turn(source)
    voc = on_grid(source.hz, _stack(source.voc, source.voc_draws) * turn, hz)
    z = on_grid(source.hz, _stack(source.z, source.z_draws), hz)
    leg_voc = on_grid(source.hz, _stack(source.legs_voc, source.legs_voc_draws) * turn, hz)
    leg_z = on_grid(source.hz, _stack(source.legs_z, source.legs_z_draws), hz)
    return Sampled(
        hz,
        at,
        prefer(voc, modal_voltage(leg_voc)),
        prefer(z, modal_impedance(leg_z)),
        leg_voc,
        leg_z,
    )


def _without_doubtful_tones(source: Source) -> Source:
    """Return the source without the legs at tones that leave their difference open.

    Such a tone says nothing that its neighbours do not say better.
    """
    size = np.abs(source.voc_draws[:, :, 0])
    if size.shape[0] < FEWEST_DRAWS:
        return source
    low, high = np.quantile(size, [0.025, 0.975], axis=0)
    doubtful = high > WIDEST_LEVEL * low
    # legs that cancel, or carry nothing, have no difference to be sure of
    louder = np.abs(source.legs_voc[:, :2]).max(axis=1)
    doubtful &= np.abs(source.voc[:, 0]) > CANCELLING * louder
    if not doubtful.any() or doubtful.all():
        return source
    return replace(
        source,
        voc=_cleared(source.voc, doubtful),
        z=_cleared(source.z, doubtful, matrix=True),
        voc_draws=_cleared(source.voc_draws, doubtful),
        z_draws=_cleared(source.z_draws, doubtful, matrix=True),
        legs_voc=_cleared(source.legs_voc, doubtful),
        legs_z=_cleared(source.legs_z, doubtful, matrix=True),
        legs_voc_draws=_cleared(source.legs_voc_draws, doubtful),
        legs_z_draws=_cleared(source.legs_z_draws, doubtful, matrix=True),
    )


def _cleared(values: Complex, tones: NDArray[np.bool_], *, matrix: bool = False) -> Complex:
    """Return a copy with the legs' entries NaN at ``tones``; frequency before the last axes."""
    out = values.copy()
    if matrix:
        out[..., tones, :2, :2] = np.nan
    else:
        out[..., tones, :2] = np.nan
    return out


def _turn(source: Source) -> Complex:
    """Return what takes out the phase each tone was played with, shape (F, 3), of magnitude 1.

    Every tone starts at a phase of its own, which says nothing about the device and cannot be
    interpolated. The legs are turned together, so that their difference stays; the single-ended
    output with them where it was solved together with them, else by itself.
    """
    pair = source.voc[:, 0]
    for leg in (source.legs_voc[:, 0], source.legs_voc[:, 1]):
        better = np.isfinite(leg) & ~(np.abs(pair) > CANCELLING * np.abs(leg))
        pair = np.where(better, leg, pair)
    single = source.voc[:, 2]
    if np.isfinite(source.z[:, :2, 2]).any():
        single = _beside(source.hz, pair, single)
    phases = np.stack([pair, pair, single], axis=1)
    known = _known(phases)
    return np.exp(-1j * np.angle(np.where(known, phases, 1.0)))


def _beside(hz: Floats, pair: Complex, single: Complex) -> Complex:
    """Return what the single-ended output is turned by where it was solved together with the legs.

    The pair, at each tone; where the pair is not known, itself as it stood to the pair at the
    nearest tone that has both, and by itself where none has.
    """
    both = _known(pair) & _known(single)
    if not both.any():
        return single
    near = np.abs(np.log(hz[:, None] / hz[None, both])).argmin(axis=1)
    stood = (pair[both] / single[both])[near]
    return np.where(_known(pair), pair, single * stood)


def _known(values: Complex) -> NDArray[np.bool_]:
    """Tell which values have a phase."""
    return np.asarray(np.isfinite(values) & (values != 0.0))


def _played(source: Source) -> Floats:
    """Return the tones the device played (an injected one has no level), or else all of them."""
    played = np.isfinite(source.legs_voc).any(axis=1)
    return source.hz[played] if played.any() else source.hz


def _nearest(hz: Floats, wanted: float) -> float:
    return float(hz[np.argmin(np.abs(np.log(hz / wanted)))])


def _grid(tones: Floats) -> Floats:
    low, high = float(tones[0]), float(tones[-1])
    if low == high:
        return np.array([low])
    count = max(2, int(np.ceil(np.log10(high / low) * POINTS_PER_DECADE)) + 1)
    extra = [f for f in (20.0, 50.0, 60.0, 20000.0) if low < f < high]
    grid = np.concatenate([np.geomspace(low, high, count)[1:-1], tones, extra])
    grid = np.sort(grid)
    apart = np.concatenate([[True], np.diff(np.log(grid)) > 1e-9])
    return np.asarray(grid[apart])


def _stack(central: Complex, draws: Complex) -> Complex:
    return np.concatenate([central[None], draws[:MOST_DRAWS]])


def on_grid(tones: Floats, values: Complex, hz: Floats) -> Complex:
    """Interpolate ``values``, shape (N, F, ...), to ``hz``, entry by entry."""
    n, f = values.shape[:2]
    flat = values.reshape(n, f, -1)
    out = np.full((n, hz.size, flat.shape[2]), np.nan + 0j)
    for k in range(flat.shape[2]):
        known = np.isfinite(flat[0, :, k])
        if known.any():
            out[:, :, k] = _interpolate(tones[known], flat[:, known, k], hz)
    return out.reshape(n, hz.size, *values.shape[2:])


def _interpolate(tones: Floats, values: Complex, hz: Floats) -> Complex:
    """Interpolate one entry, shape (N, F'), over log f; NaN beyond its own tones."""
    x, at = np.log(tones), np.log(hz)
    central, draws = values[0], values[1:]
    if _follows(central):
        log = np.log(np.abs(central)) + 1j * np.unwrap(np.angle(central))
        best = np.exp(_cubic(x, log[None], at))
        ratio = draws / central
        near = np.abs(ratio - 1.0).max(initial=0.0) < 0.5
        off = np.exp(_linear(x, np.log(ratio), at)) if near else _linear(x, ratio, at)
        rest = best * off
    else:
        best = _cubic(x, central[None], at)
        rest = best + _linear(x, draws - central, at)
    out = np.concatenate([best, rest])
    edge = 1e-9
    out[:, (at < x[0] - edge) | (at > x[-1] + edge)] = np.nan
    return np.asarray(out)


def _follows(central: Complex) -> bool:
    """Tell whether an entry is well above zero everywhere and turns slowly."""
    if np.any(central == 0.0):
        return False
    step = np.abs(np.diff(np.log(np.abs(central))))
    turn = np.abs(np.angle(central[1:] / central[:-1]))
    return bool(np.all(step < STEEPEST_STEP) and np.all(turn < STEEPEST_TURN))


def _weights(x: Floats, at: Floats) -> tuple[NDArray[np.int64], Floats, Floats]:
    """Return the left neighbour, the place between neighbours (0 to 1), and their distance."""
    left = np.clip(np.searchsorted(x, at, side="right") - 1, 0, x.size - 2)
    gap = x[left + 1] - x[left]
    return left, (at - x[left]) / gap, gap


def _linear(x: Floats, y: Complex, at: Floats) -> Complex:
    if x.size == 1:
        return np.repeat(y, at.size, axis=1)
    left, t, _ = _weights(x, at)
    return np.asarray(y[:, left] * (1.0 - t) + y[:, left + 1] * t)


def _cubic(x: Floats, y: Complex, at: Floats) -> Complex:
    """Cubic Hermite interpolation with the slopes of the parabola through three points."""
    if x.size < 3:
        return _linear(x, y, at)
    slope = np.gradient(y, x, axis=1, edge_order=2)
    left, t, gap = _weights(x, at)
    a, b = y[:, left], y[:, left + 1]
    da, db = slope[:, left] * gap, slope[:, left + 1] * gap
    h = t * t * (3.0 - 2.0 * t)
    return np.asarray(a * (1.0 - h) + b * h + da * t * (1.0 - t) ** 2 - db * t * t * (1.0 - t))


def forget(sampled: Sampled, leg: int) -> Sampled:
    """Return the source without what it says of ``leg`` (0 hot, 1 cold): only a bound is known."""
    leg_z, leg_voc, z, voc = (
        array.copy() for array in (sampled.leg_z, sampled.leg_voc, sampled.z, sampled.voc)
    )
    leg_z[..., :2, leg] = np.nan
    leg_voc[..., leg] = np.nan
    z[..., :2, :2] = np.nan
    voc[..., :2] = np.nan
    return replace(sampled, leg_z=leg_z, leg_voc=leg_voc, z=z, voc=voc)


def modal_impedance(leg_z: Complex) -> Complex:
    """Return impedances at the terminals, shape (..., 3, 3), as modal ones."""
    two = TO_MODAL[:2, :2]
    out = np.full_like(leg_z, np.nan)
    out[..., 2, 2] = leg_z[..., 2, 2]
    out[..., :2, :2] = np.einsum("ij,ngjk,lk->ngil", two, leg_z[..., :2, :2], two)
    return out


def modal_voltage(leg_voc: Complex) -> Complex:
    """Return voltages at the terminals, shape (..., 3), as modal ones."""
    out = leg_voc.copy()
    out[..., :2] = np.einsum("ij,ngj->ngi", TO_MODAL[:2, :2], leg_voc[..., :2])
    return out


def prefer(first: Complex, second: Complex) -> Complex:
    """Return the first where it is known, else the second."""
    return np.where(np.isnan(first), second, first)
