"""Everything solved again for draws of every error (JCGM 101), in batches of flat memory."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from probe.phasors.model import Remark, TakePhasors
from probe.stage.against import Loads
from probe.stage.agreement import Repeatability
from probe.stage.align import Alignment
from probe.stage.drawn_errors import batch_errors, level_errors, shared_errors
from probe.stage.fitted import LEGS, SINGLE_ENDED, Block, Fit, Known, flat
from probe.stage.inject import (
    Injected,
    carry,
    draw_injected,
    injected_group,
    own_sizes,
    solve_injected,
)
from probe.stage.network import Complex
from probe.stage.observations import Group
from probe.stage.open_leg import own_admittance, passes
from probe.stage.realise import Errors, Excited, Realisation, flows_into, realise
from probe.stage.resolve import resolve
from probe.stage.solve import fit
from probe.stage.solved import (
    Solved,
    column_doubt,
    column_volts,
    entry_doubt,
    nearest_tone,
    own_doubt,
    untouched_legs,
)

Array = NDArray[np.float64]

BATCH = 250
"""Draws solved at once: keeps the arrays within some tens of megabytes."""

LOADS_ENOUGH, LOADS_ENOUGH_OHM = 0.02, 0.5
"""An entry that loads show to this share of the leg's own impedance, or this many ohm, is left
to them: one carried from injected tones would spoil the small differences of a floating stage."""


@dataclass
class Result:
    """What the solves of one group amount to, each with its draws."""

    legs: Solved | None = None
    single_ended: Solved | None = None
    injected: Solved | None = None
    injected_into: tuple[int, ...] = ()
    single_ended_injected: Solved | None = None
    carried: tuple[tuple[int, int], ...] = ()
    remarks: tuple[Remark, ...] = ()
    recorded: Complex = field(default_factory=lambda: np.zeros((0, 0, 0, 3), dtype=np.complex128))


class MonteCarlo:
    """Draws every error once and solves everything with it, batch by batch.

    The shared errors are keyed by the physical thing (channel gain, part, input), so a part that
    two takes use, or a channel that all takes use, errs alike in all of them.
    """

    def __init__(
        self,
        aligned: Alignment,
        excited: Excited,
        solved: Fit,
        repeat: Repeatability,
        phasors: tuple[TakePhasors, ...],
        draws: int,
        rng: np.random.Generator,
    ) -> None:
        self.aligned, self.excited, self.solved = aligned, excited, solved
        self.repeat, self.phasors, self.draws, self.rng = repeat, phasors, draws, rng
        self.shared = shared_errors(phasors, draws, rng)
        self.levels = level_errors(phasors, repeat, draws, rng)

    def run(self) -> Result:
        """Solve legs and single-ended output with their draws."""
        result = Result()
        group, repeat = self.aligned.group, self.repeat
        recorded = self._drawn()
        result.recorded = recorded.volts
        loads_only = self._resolve(self.solved, recorded)
        helpers = self._columns(self.solved, loads_only)
        injected = self._injected(LEGS, helpers)
        if injected is not None:
            result.injected, result.injected_into = injected
            result.remarks = self._loads().disagreement(result.injected, loads_only, injected[1])
            known = self._carried(result, group.hz)
            result.carried = _carried_entries(known, nearest_tone(group.hz))
            if known:
                self.solved = fit(
                    group, LEGS, level=repeat.level, excited=self.excited, known=known
                )
                loads_only = self._resolve(self.solved, recorded)
        unswitched, leak = untouched_legs(group, self.excited, self.solved.known)
        result.legs = Solved(group.hz, loads_only, self.solved, unswitched=unswitched, leak=leak)
        if group.open_leg is not None:
            result.legs = self._with_open_leg(result, loads_only, recorded)
        alone = self._injected(SINGLE_ENDED, ())
        if alone is not None:
            result.single_ended_injected = alone[0]
        if any(o.recorded[2] for o in group.takes):
            shared = self._reciprocal(group, loads_only)
            lone = fit(group, SINGLE_ENDED, level=repeat.level, excited=self.excited, known=shared)
            if alone is not None:
                shared = (*shared, *self._carried_alone(alone[0], lone))
                lone = fit(
                    group, SINGLE_ENDED, level=repeat.level, excited=self.excited, known=shared
                )
            result.single_ended = Solved(group.hz, self._resolve(lone, recorded), lone)
        return result

    def clash(self) -> bool:
        """Return True where injections and loads contradict each other, by their values alone."""
        loads = self._resolve(self.solved, self._drawn())
        injected = self._injected(LEGS, self._columns(self.solved, loads))
        if injected is None:
            return False
        if self._loads().disagreement(injected[0], loads, injected[1]):
            return True
        shown = Result(injected=injected[0], injected_into=injected[1])
        known = self._carried(shown, self.aligned.group.hz)
        return self._loads().strained(known, self.repeat.level)

    def _loads(self) -> Loads:
        return Loads(self.aligned.group, self.excited, self.solved, self.phasors)

    def _reciprocal(self, group: Group, theta: Complex) -> tuple[Known, ...]:
        """Return what the legs put on the single-ended output, from what it puts on them.

        A resistor that both share acts alike both ways; an amplifier between them need not, hence
        a doubt of a third. Empty where no take loads the single-ended output beside a leg.
        """
        if group.open_leg is not None or not np.any(np.abs(theta[0, :, :, 3]) > 0.0):
            return ()
        legs = theta[..., 3] @ LEGS.rows.T
        known = []
        for leg in (0, 1):
            volts = np.zeros((*legs.shape[:2], 3), dtype=np.complex128)
            volts[..., 2] = legs[..., leg]
            sigma = 0.1 + np.abs(legs[0, :, leg]) / 3.0
            known.append(Known(leg, self._shaken(volts, sigma), sigma))
        return tuple(known)

    def _with_open_leg(self, result: Result, theta: Complex, recorded: Realisation) -> Solved:
        """Add the column of an open leg, found by itself, and take the recorder off its voltage."""
        group = self.aligned.group
        leg = group.open_leg
        assert leg is not None
        assert result.legs is not None
        g = self._open_admittance(result, leg, recorded)
        if g is None:
            return replace(result.legs, open_leg=leg)
        strays = np.asarray(1j * g.imag, dtype=np.complex128)
        found = self._opened(theta, leg, strays + np.maximum(g.real, 0.0))
        told = passes(g[:, nearest_tone(group.hz)])
        bare = None if told else self._opened(theta, leg, strays)
        return replace(result.legs, theta=found, open_leg=leg, open_known=True, nothing_flows=bare)

    def _opened(self, theta: Complex, leg: int, g: Complex) -> Complex:
        """Return the stage whose open leg has the admittance ``g``, shape (1 + D, F)."""
        legs = LEGS.rows
        voc = theta[..., 0] @ legs.T
        z = np.einsum("ar,dfrj,bj->dfab", legs, theta[..., 1:3], legs)
        attached = self._attached(leg)
        own = 1.0 / np.where(np.abs(g) > 1e-12, g, 1e-12)
        lift = 1.0 + attached * own
        voc[..., leg] *= lift
        z[..., leg, 1 - leg] *= lift
        z[..., 1 - leg, leg] = self._stray(z[..., leg, 1 - leg], z[0, :, 1 - leg, 1 - leg])
        z[..., leg, leg] = own
        back = np.linalg.inv(legs)
        whole = theta.copy()
        whole[..., 0] = voc @ back.T
        whole[..., 1:3] = np.einsum("ra,dfab,jb->dfrj", back, z, back)
        return whole

    def _stray(self, back: Complex, own: Complex) -> Complex:
        """Return what an open leg puts on the other: strays, alike both ways, hardly seen."""
        return self._shaken(back[..., None], 0.5 * np.abs(own))[..., 0]

    def _attached(self, leg: int) -> Complex:
        """Admittance of the recorder on a leg, shape (1 + D, F), its errors drawn."""
        group = self.aligned.group
        none = np.zeros(self.draws)
        omega = 2.0 * np.pi * group.hz
        for observed in group.takes:
            for element in observed.elements:
                if element.capacitance_key and element.pattern[leg] == 1.0:
                    ohm = np.concatenate([[0.0], self.shared.get(element.conductance_key, none)])
                    farad = np.concatenate([[0.0], self.shared.get(element.capacitance_key, none)])
                    siemens = element.siemens / (1.0 + ohm)
                    total = element.farad + farad
                    return np.asarray(siemens[:, None] + 1j * omega * total[:, None])
        return np.zeros((self.draws + 1, len(group.hz)), dtype=np.complex128)

    def _open_admittance(self, result: Result, leg: int, recorded: Realisation) -> Complex | None:
        """Admittance of an open leg at the device's tones, shape (1 + D, F)."""
        group = replace(self.aligned.group, open_leg=None)
        flows = np.zeros((self.draws + 1, len(group.takes), len(group.hz), 3), dtype=np.complex128)
        parts = [slice(0, 1), *(slice(p.start + 1, p.stop + 1) for p in self._batches())]
        for part in parts:
            errors: Errors = (
                {}
                if part.start == 0
                else {k: v[part.start - 1 : part.stop - 1] for k, v in self.shared.items()}
            )
            flows[part] = flows_into(group, recorded.volts[part], errors)
        g = own_admittance(group, leg, recorded.volts, flows)
        if g is not None:
            return g
        if result.injected is None or leg not in result.injected_into:
            return None
        name = ("hot", "cold")[leg]
        own = column_volts(result.injected.theta, name)[..., leg : leg + 1]
        # strays add up as admittances, which are near nothing where impedances are noise
        carried, doubt = carry(result.injected.hz, 1.0 / own, group.hz)
        g = carried[..., 0]
        g[:, ~np.isfinite(doubt)] = np.nan
        injected = injected_group(self.phasors)
        assert injected is not None  # its tones were solved
        ohm = min(
            source.ohm
            for take in injected.takes
            for source in take.generators
            if source.terminal == leg
        )
        return self._with_any_strays(g, self._attached(leg) + 1.0 / ohm)

    def _with_any_strays(self, g: Complex, beside: Complex) -> Complex:
        """Return draws (1 + D, F) of an open leg's admittance with any strays its size allows.

        The phase of an injected current is not known, so only ``|g + beside|`` is: next to what the
        recorder and the injector carry, strays a quarter turn ahead hardly add to that. They are
        one capacitance, at most what the tone that says most leaves of it where nothing else flows.
        """
        omega = 2.0 * np.pi * self.aligned.group.hz
        squared = np.abs(g + beside) ** 2
        alone = np.sqrt(np.maximum(squared - beside.real**2, 0.0)) - beside.imag
        most = np.maximum(alone, 0.0)[1:] / omega
        top = np.quantile(most, 0.975, axis=0)
        if not np.isfinite(top).any():
            return g
        # half of the draws at the most there may be, so that a bound is one of all that may be
        share = np.minimum(2.0 * self.rng.uniform(size=len(most)), 1.0)
        farad = share * most[:, np.nanargmin(top)]
        strays = farad[:, None] * omega
        rest = np.sqrt(np.maximum(squared[1:] - (beside.imag[1:] + strays) ** 2, 0.0))
        return np.concatenate([g[:1], rest - beside.real[1:] + 1j * strays])

    def _batches(self) -> list[slice]:
        return [slice(a, min(a + BATCH, self.draws)) for a in range(0, self.draws, BATCH)]

    def _errors(self, group: Group, part: slice) -> Errors:
        return batch_errors(group, self.shared, self.levels, part, self.rng)

    def _drawn(self) -> Realisation:
        """Voltages and drives, value first, delays of each draw taken out."""
        group, aligned = self.aligned.group, self.aligned
        volts = [realise(group, 1, {}, self.excited).volts]
        drives = [realise(group, 1, {}, self.excited).drives]
        for part in self._batches():
            one = realise(group, part.stop - part.start, self._errors(group, part), self.excited)
            one = self._realigned(one, aligned)
            volts.append(one.volts)
            drives.append(one.drives)
        return Realisation(np.concatenate(volts), np.concatenate(drives))

    def _realigned(self, one: Realisation, aligned: Alignment) -> Realisation:
        if aligned.gain is None or aligned.seen is None:
            return one
        seen = aligned.seen
        whitener = seen.whitener[: one.volts.shape[1]]
        rows = whitener @ seen.block.rows
        residual = np.einsum("tfab,dtfb->dtfa", whitener, one.volts[..., :2])
        start = np.einsum("tfar,frj->tfaj", rows, seen.theta)
        residual -= np.einsum("tfaj,dtfj->dtfa", start, one.drives)
        rows_of = flat(residual)
        size = rows_of.shape[-1]
        mixed = np.einsum("fab,dfb->dfa", seen.mixer[:, :size, :size], rows_of)
        delays = -np.einsum("fta,dfa->dt", aligned.gain, mixed).real
        strays = aligned.stray * self.rng.standard_normal(delays.shape)
        delays = delays + strays @ aligned.pull.T
        turn = np.exp(2j * np.pi * aligned.group.hz * delays[:, :, None])[..., None]
        drives = one.drives.copy()
        drives[..., 1:] *= turn
        return Realisation(one.volts * turn, drives)

    def _resolve(self, solved: Fit, recorded: Realisation) -> Complex:
        parts = [solved.theta[None]]
        for part in self._batches():
            cut = slice(part.start + 1, part.stop + 1)
            one = Realisation(recorded.volts[cut], recorded.drives[cut])
            parts.append(resolve(solved, one, part.start + 1))
        return np.concatenate(parts)

    def _columns(self, solved: Fit, theta: Complex) -> tuple[tuple[int, Complex, Array], ...]:
        """Leg columns that loads support, as (terminal, volts (1+D, F, 3), sigma (F,))."""
        columns = []
        bare = untouched_legs(self.aligned.group, self.excited, solved.known)[0]
        for terminal, name in enumerate(("hot", "cold")):
            sigma = column_doubt(solved, name)
            if terminal not in bare and np.isfinite(sigma).any():
                columns.append((terminal, column_volts(theta, name), sigma))
        return tuple(columns)

    def _injected(
        self, block: Block, columns: tuple[tuple[int, Complex, Array], ...]
    ) -> tuple[Solved, tuple[int, ...]] | None:
        first = solve_injected(self.phasors, block, level=self.repeat.level)
        if first is None:
            return None
        known = self._known_at(first, columns) if block is LEGS else ()
        injected = first
        if known:
            again = solve_injected(self.phasors, block, level=self.repeat.level, known=known)
            injected = first if again is None else again
        parts = [injected.solved.theta[None]]
        for part in self._batches():
            count = part.stop - part.start
            errors = self._errors(injected.group, part)
            parts.append(draw_injected(injected, errors, count, part.start + 1, self.rng))
        theta = np.concatenate(parts)
        return Solved(injected.group.hz, theta, injected.solved), injected.terminals

    def _known_at(
        self, first: Injected, columns: tuple[tuple[int, Complex, Array], ...]
    ) -> tuple[Known, ...]:
        """Columns of legs that were not injected into, at the injected tones.

        Carried from the device's tones where loads support them there; otherwise anything up to
        the size of the leg that was injected into.
        """
        known = []
        source = self.aligned.group.hz
        for terminal in (0, 1):
            if terminal in first.terminals:
                continue
            held = next((c for c in columns if c[0] == terminal), None)
            if held is not None and np.isfinite(held[2]).sum() >= 2:
                good = np.isfinite(held[2])
                volts, doubt = carry(source[good], held[1][:, good], first.group.hz)
                sigma = np.hypot(doubt, np.interp(first.group.hz, source[good], held[2][good]))
                known.append(Known(terminal, self._shaken(volts, doubt), sigma))
                continue
            sigma = np.maximum(own_sizes(first, 1 - terminal), 100.0)
            zero = np.zeros((self.draws + 1, len(sigma), 3), dtype=np.complex128)
            known.append(Known(terminal, self._shaken(zero, sigma), sigma))
        return tuple(known)

    def _shaken(self, volts: Complex, doubt: Array) -> Complex:
        """Add the doubt of carrying to every draw but the first; one error for all tones."""
        size = np.where(np.isfinite(doubt), doubt, 0.0)[None, :, None]
        noise = self.rng.standard_normal((2, volts.shape[0], 1, volts.shape[2]))
        noise[:, 0] = 0.0
        return np.asarray(volts + size * (noise[0] + 1j * noise[1]) / np.sqrt(2.0))

    def _carried(self, result: Result, hz: Array) -> tuple[Known, ...]:
        """Entries that injections show better than loads do, at the device's tones.

        Row by row: of a silent leg a load across shows its own impedance as well as an injection
        does, but what it puts on the other leg only the injection shows.
        """
        assert result.injected is not None
        known = []
        for terminal in result.injected_into:
            if terminal == self.aligned.group.open_leg:
                continue
            name = ("hot", "cold")[terminal]
            volts = np.zeros((self.draws + 1, len(hz), 3), dtype=np.complex128)
            sigma = np.full((len(hz), 2), np.inf)
            for row, leg in enumerate(("hot", "cold")):
                sigma[:, row] = self._carried_row(result.injected, name, leg, row, volts, hz)
            if np.isfinite(sigma).any():
                known.append(Known(terminal, volts, sigma))
        return tuple(known)

    def _carried_row(
        self, injected: Solved, name: str, leg: str, row: int, volts: Complex, hz: Array
    ) -> Array:
        """Fill one row of ``volts`` and return its doubt (F,), infinite where loads know better."""
        good = np.isfinite(entry_doubt(injected.fit, leg, name))
        good &= np.isfinite(column_doubt(injected.fit, name))
        if not good.any():
            return np.full(len(hz), np.inf)
        values = column_volts(injected.theta, name)[:, good, row : row + 1]
        carried, doubt = carry(injected.hz[good], values, hz)
        volts[..., row] = self._shaken(carried, doubt)[..., 0]
        mine = entry_doubt(injected.fit, leg, name)[good]
        sigma = np.hypot(doubt, np.interp(hz, injected.hz[good], mine))
        held = entry_doubt(self.solved, leg, name)
        size = np.abs(column_volts(self.solved.theta, name)[:, ("hot", "cold").index(name)])
        enough = held < LOADS_ENOUGH * size + LOADS_ENOUGH_OHM
        return np.where(enough | (held < 3.0 * sigma), np.inf, np.maximum(sigma, 1e-3))

    def _carried_alone(self, injected: Solved, loads: Fit) -> tuple[Known, ...]:
        """Return the single-ended output's impedance where an injection shows it better."""
        doubt = own_doubt(injected.fit)
        good = np.isfinite(doubt)
        if not good.any():
            return ()
        hz = self.aligned.group.hz
        carried, more = carry(injected.hz[good], injected.theta[:, good, 0, 3:4], hz)
        sigma = np.hypot(more, np.interp(hz, injected.hz[good], doubt[good]))
        sigma = np.where(own_doubt(loads) < 3.0 * sigma, np.inf, np.maximum(sigma, 1e-3))
        if not np.isfinite(sigma).any():
            return ()
        volts = np.zeros((self.draws + 1, len(hz), 3), dtype=np.complex128)
        volts[..., 2] = self._shaken(carried, more)[..., 0]
        return (Known(2, volts, sigma),)


def _carried_entries(known: tuple[Known, ...], k: int) -> tuple[tuple[int, int], ...]:
    """(row, column) of the leg entries that came from injected tones, at tone ``k``."""
    return tuple(
        (row, one.terminal) for one in known for row in (0, 1) if np.isfinite(one.sigma[k, row])
    )


def injected_alone(
    phasors: tuple[TakePhasors, ...], repeat: Repeatability, draws: int, rng: np.random.Generator
) -> tuple[Solved | None, tuple[int, ...]]:
    """Solve injected tones without any take in which the device plays; terminals beside."""
    injected = solve_injected(phasors, LEGS, level=repeat.level) if phasors else None
    if injected is None:
        return None, ()
    shared = shared_errors(phasors, draws, rng)
    levels = level_errors(phasors, repeat, draws, rng)
    parts = [injected.solved.theta[None]]
    for start in range(0, draws, BATCH):
        part = slice(start, min(start + BATCH, draws))
        errors = batch_errors(injected.group, shared, levels, part, rng)
        parts.append(draw_injected(injected, errors, part.stop - part.start, start + 1, rng))
    theta = np.concatenate(parts)
    return Solved(injected.group.hz, theta, injected.solved), injected.terminals
