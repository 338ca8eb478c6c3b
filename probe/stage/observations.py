"""Takes of one side, volume and state, put on one frequency grid and ready to be solved.

Each take becomes leg voltages, the elements attached, and how strongly the device plays; takes
with different drive are scaled, takes with a recorded drive are turned to its phase.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from probe.phasors.model import TakePhasors
from probe.stage.limits import CROSSTALK
from probe.stage.network import (
    Complex,
    Element,
    Generator,
    admittance,
    channel_key,
    elements_of,
    error_scales,
    generators_of,
    terminal_index,
)
from probe.stage.source import TERMINALS

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Observed:
    """One take at K of the grid's frequencies.

    Attributes
    ----------
    phasors
        The take's phasors, as measured.
    tones
        Shape (K,), int: index of each tone on the grid.
    volts
        Shape (K, 3), complex: V rms at (hot, cold, single-ended); 0 where not recorded.
    noise
        Shape (K, 3, 3): its covariance, V², crosstalk between recorder channels included.
    crosstalk
        Shape (K, 3, 3), complex: what one unit of the shared crosstalk error between terminals
        ``[to, from]`` adds to ``volts`` of ``to``.
    recorded
        Shape (3,), bool.
    gain_keys
        Key of the gain error of the channel on each terminal, "" where not recorded.
    strength
        Shape (K,), float: how strongly the device plays this tone against the group (0: silent).
    carried
        Shape (K, n_generators), bool: which generator carries which tone.
    y
        Shape (K, 3, 3), siemens: nominal admittance of everything attached.
    """

    phasors: TakePhasors
    tones: NDArray[np.intp]
    volts: Complex
    noise: Complex
    crosstalk: Complex
    recorded: NDArray[np.bool_]
    gain_keys: tuple[str, str, str]
    strength: Array
    elements: tuple[Element, ...]
    generators: tuple[Generator, ...]
    carried: NDArray[np.bool_]
    y: Complex

    @property
    def name(self) -> str:
        """Name of the take."""
        return self.phasors.take.name


@dataclass(frozen=True)
class Group:
    """Takes that may be compared: one side, volume, state and driven input leg.

    ``open_leg`` is the leg (0 hot, 1 cold) that is connected to nothing, so that its current is
    taken as nothing; None where there is none.
    """

    hz: Array
    takes: tuple[Observed, ...]
    open_leg: int | None = None

    @property
    def scales(self) -> dict[str, float]:
        """Standard uncertainty of every shared error, by key."""
        scales: dict[str, float] = {}
        for observed in self.takes:
            scales.update(error_scales(observed.phasors.take))
        return scales

    def rotated(self, delays: Array) -> Group:
        """Return the same takes with each delayed by ``-delays[t]`` seconds, shape (T,)."""
        takes = []
        for observed, delay in zip(self.takes, delays, strict=True):
            turn = np.exp(2j * np.pi * self.hz[observed.tones] * delay)
            takes.append(
                replace(
                    observed,
                    volts=observed.volts * turn[:, None],
                    crosstalk=observed.crosstalk * turn[:, None, None],
                )
            )
        return replace(self, takes=tuple(takes))

    def without(self, index: int) -> Group:
        """Return the same takes less one."""
        return replace(self, takes=self.takes[:index] + self.takes[index + 1 :])


REFERENCE_SIGMAS = 30.0
"""A recorded drive serves as phase reference when it stands this far above its noise."""

LEAST_NOISE_VOLTS = 1.0e-8
"""No recorder is quieter than this at a tone; a channel of exact zeros is not infinitely sure."""


def grid_of(frequencies: list[Array]) -> Array:
    """Distinct frequencies, ascending; tones within one part in 10⁹ are the same tone."""
    merged = np.sort(np.concatenate(frequencies)) if frequencies else np.zeros(0)
    if len(merged) == 0:
        return merged
    keep = np.concatenate([[True], np.diff(merged) > 1e-9 * merged[1:]])
    return np.asarray(merged[keep])


def _place(hz: Array, grid: Array) -> NDArray[np.intp]:
    """Index on the grid of each frequency, -1 where the grid does not have it."""
    if len(grid) == 0:
        return np.full(len(hz), -1, dtype=np.intp)
    index = np.clip(np.searchsorted(grid, hz), 0, len(grid) - 1)
    lower = np.clip(index - 1, 0, len(grid) - 1)
    index = np.where(np.abs(grid[lower] - hz) < np.abs(grid[index] - hz), lower, index)
    return np.where(np.abs(grid[index] - hz) <= 1e-9 * hz, index, -1)


def _crosstalk_size(hz: Array) -> Array:
    """Return standard deviation of crosstalk: flat, then rising with frequency as strays do."""
    return np.asarray(CROSSTALK * np.sqrt(1.0 + (hz / 1.0e4) ** 2))


def observe(phasors: TakePhasors, grid: Array, strength: float, *, injected: bool) -> Observed:
    """Put one take on a grid; ``injected`` picks its injected tones, otherwise the played ones."""
    take = phasors.take
    place = _place(phasors.hz, grid)
    wanted = phasors.injected.any(axis=1) if injected else phasors.played
    chosen = np.flatnonzero((place >= 0) & wanted)
    hz = phasors.hz[chosen]
    volts = np.zeros((len(chosen), 3), dtype=np.complex128)
    noise = np.zeros((len(chosen), 3, 3), dtype=np.complex128)
    recorded = np.zeros(3, dtype=np.bool_)
    keys = ["", "", ""]
    channels = [
        (terminal_index(name), c) for c, name in enumerate(take.channels) if name in TERMINALS
    ]
    for terminal, channel in channels:
        volts[:, terminal] = phasors.volts[chosen, channel]
        recorded[terminal] = True
        keys[terminal] = channel_key(channel, take.inputs[channel].volts_full_scale)
        for other, other_channel in channels:
            noise[:, terminal, other] = phasors.noise[chosen, channel, other_channel]
    if not injected:
        volts *= _drive_turn(phasors, chosen)[:, None]
    crosstalk = _crosstalk_size(hz)[:, None, None] * volts[:, None, :]
    crosstalk = crosstalk * (recorded[:, None] & recorded[None, :] & ~np.eye(3, dtype=np.bool_))
    for terminal, _ in channels:
        noise[:, terminal, terminal] += LEAST_NOISE_VOLTS**2
        noise[:, terminal, terminal] += np.sum(np.abs(crosstalk[:, terminal, :]) ** 2, axis=-1)
    generators = generators_of(take)
    elements = elements_of(take)
    carried = (
        np.stack([phasors.injected[chosen, g.injection] for g in generators], axis=1)
        if generators
        else np.zeros((len(chosen), 0), dtype=np.bool_)
    )
    return Observed(
        phasors=phasors,
        tones=place[chosen],
        volts=volts,
        noise=noise,
        crosstalk=crosstalk,
        recorded=recorded,
        gain_keys=(keys[0], keys[1], keys[2]),
        strength=np.where(phasors.played[chosen], strength, 0.0),
        elements=elements,
        generators=generators,
        carried=carried,
        y=admittance(elements, hz),
    )


def _drive_turn(phasors: TakePhasors, chosen: NDArray[np.intp]) -> Complex:
    """Return unit phasors that undo the phase of the recorded drive, ones where there is none."""
    channels = phasors.take.channels
    if "reference" not in channels:
        return np.ones(len(chosen), dtype=np.complex128)
    channel = channels.index("reference")
    drive = phasors.volts[chosen, channel]
    noise = np.sqrt(np.abs(phasors.noise[chosen, channel, channel])) + LEAST_NOISE_VOLTS
    if len(chosen) == 0 or np.median(np.abs(drive) / noise) < REFERENCE_SIGMAS:
        return np.ones(len(chosen), dtype=np.complex128)
    return np.asarray(np.conj(drive) / np.maximum(np.abs(drive), 1e-300))


def has_reference(observed: Observed) -> bool:
    """Return True where the take recorded the drive well above its noise at most tones."""
    take = observed.phasors.take
    if "reference" not in take.channels:
        return False
    channel = take.channels.index("reference")
    played = observed.phasors.played
    drive = np.abs(observed.phasors.volts[played, channel])
    noise = np.sqrt(np.abs(observed.phasors.noise[played, channel, channel]))
    noise = noise + LEAST_NOISE_VOLTS
    return bool(len(drive)) and bool(np.median(drive / noise) > REFERENCE_SIGMAS)


def inputs_of(
    p: TakePhasors, conductance: float, channels: frozenset[int] | None = None
) -> TakePhasors:
    """Return a take as if inputs had so many times the declared conductance; None: all of them."""
    inputs = tuple(
        replace(i, impedance_ohm=i.impedance_ohm / conductance)
        if channels is None or index in channels
        else i
        for index, i in enumerate(p.take.inputs)
    )
    return replace(p, take=replace(p.take, inputs=inputs))


def with_inputs(group: Group, conductance: float, channels: frozenset[int] | None = None) -> Group:
    """Return a group as if inputs had so many times the declared conductance; None: all of them."""
    return _changed(group, lambda p: inputs_of(p, conductance, channels))


def holding(p: TakePhasors, more: Mapping[int, float]) -> TakePhasors:
    """Return a take whose inputs (by channel) hold so much more than declared, farad."""
    inputs = tuple(
        replace(one, capacitance_farad=one.capacitance_farad + more.get(index, 0.0))
        for index, one in enumerate(p.take.inputs)
    )
    return replace(p, take=replace(p.take, inputs=inputs))


def with_holding(group: Group, more: Mapping[int, float]) -> Group:
    """Return a group whose inputs hold more than declared (`holding`)."""
    return _changed(group, lambda p: holding(p, more))


def _changed(group: Group, change: Callable[[TakePhasors], TakePhasors]) -> Group:
    takes = []
    for observed in group.takes:
        phasors = change(observed.phasors)
        elements = elements_of(phasors.take)
        y = admittance(elements, group.hz[observed.tones])
        takes.append(replace(observed, phasors=phasors, elements=elements, y=y))
    return replace(group, takes=tuple(takes))


def leg_inputs(group: Group) -> tuple[frozenset[int], frozenset[int]]:
    """Return the inputs of the recorder (channel numbers) that any take has on each leg."""
    found: tuple[set[int], set[int]] = (set(), set())
    for observed in group.takes:
        for index, name in enumerate(observed.phasors.take.channels):
            if name in ("hot", "cold"):
                found[("hot", "cold").index(name)].add(index)
    return frozenset(found[0]), frozenset(found[1])


def declared_ohm(group: Group) -> float | None:
    """Return the least input impedance that is declared for a leg, None where none is recorded."""
    ohms = [
        inlet.impedance_ohm
        for o in group.takes
        for name, inlet in zip(o.phasors.take.channels, o.phasors.take.inputs, strict=True)
        if name in ("hot", "cold")
    ]
    return min(ohms, default=None)
