"""From the phasors of one side to the solved stage with its doubt: the order of the steps.

1. choose the takes that may be compared (one volume, device playing); set aside those whose leads
   changed places
2. put them on one phase reference (``align``)
3. solve the legs, find the level repeatability in the residuals
4. solve the injected tones, carry what only they show to the device's tones
5. repeat 3 and 4 for draws of every error (JCGM 101), in batches so that memory stays flat
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from probe.phasors.model import Remark, TakePhasors
from probe.session.model import Session, Side
from probe.stage.agreement import (
    Repeatability,
    disagreement,
    impossible,
    repeatability,
    repeatability_remarks,
    stated_level,
    take_residual,
)
from probe.stage.align import Alignment, align
from probe.stage.fitted import LEGS, Fit
from probe.stage.inject import injected_group
from probe.stage.monte import MonteCarlo, injected_alone
from probe.stage.network import Complex
from probe.stage.observations import Group
from probe.stage.open_leg import find_open_leg, without_open_leg
from probe.stage.realise import excitation
from probe.stage.solve import fit
from probe.stage.solved import Solved
from probe.stage.starts import other_starts
from probe.stage.takes import choose_takes, played_group
from probe.stage.turned import LEAST_TONES_SEARCHED, exchanged

Array = NDArray[np.float64]


@dataclass(frozen=True)
class TakeUse:
    """What became of one take."""

    name: str
    file: str
    used: bool
    why_not: str | None
    steady_s: tuple[float, float]
    delay_s: float | None
    clock_error: float
    residual: float | None
    """Root mean square of its whitened residuals: 1 is what the stated doubts explain."""


@dataclass(frozen=True)
class Identified:
    """Everything the takes of one side say, before it is given names.

    ``legs`` and ``single_ended`` stand at the device's tones, ``injected`` and
    ``single_ended_injected`` at the injected ones, ``off`` at the tones injected while the device
    was off. ``carried`` names the leg
    entries (row, column) that came from injected tones.
    """

    side: Side
    group: Group | None
    legs: Solved | None
    single_ended: Solved | None
    injected: Solved | None
    injected_into: tuple[int, ...]
    single_ended_injected: Solved | None
    off: Solved | None
    off_into: tuple[int, ...]
    carried: tuple[tuple[int, int], ...]
    recorded: Complex
    """(1 + D, T, F, 3): voltages of every take with gains and noise drawn, aligned; V rms."""
    repeatability: Repeatability
    uses: tuple[TakeUse, ...]
    remarks: tuple[Remark, ...]
    volume: str
    phase_known: bool
    """True where the drive's own phase is the reference."""
    draws: int = 0
    takes: tuple[TakePhasors, ...] = field(default=())
    aligned: Alignment | None = None
    first: Fit | None = None
    """The legs as loads alone and the stated repeatability show them."""
    clash: bool = False
    """True where takes that were used contradict each other."""
    clipped: tuple[str, ...] = ()
    """Takes with both legs that were refused because something in them clips."""
    standing: Identified | None = None
    """The side without any of the takes of which one is wrong, where several are suspect alike."""
    otherwise: tuple[tuple[TakePhasors, ...], ...] = ()
    """The takes with other leads on the inputs that explain them as well, each way by itself."""

    @property
    def delays_on_few(self) -> bool:
        """True where delays between takes rest on so few tones that another may serve as well.

        What is left of two legs' impedances when one is taken from the other then says nothing.
        """
        aligned = self.aligned
        return aligned is not None and aligned.free and _too_few(aligned)

    @property
    def contradicted(self) -> bool:
        """True where takes contradict each other: only what was recorded stands then."""
        return any(r.code == "contradicting-take" for r in self.remarks)


def solve_side(
    session: Session,
    phasors: tuple[TakePhasors, ...],
    side: Side,
    draws: int,
    seed: int,
) -> Identified:
    """Solve a side from all of its takes that may be compared, whether or not they agree."""
    chosen, left_out, volume = choose_takes(tuple(p for p in phasors if p.take.side == side))
    turned, said = exchanged(tuple(p for p in chosen if p.take.state == "play"))
    chosen = tuple(p for p in chosen if p.take.name not in turned)
    remarks: list[Remark] = list(said)
    playing = tuple(p for p in chosen if p.take.state == "play")
    group = played_group(playing)
    open_leg = find_open_leg(group, injected_group(playing))
    if group is not None and open_leg is not None:
        group = without_open_leg(group, open_leg)
    stated = stated_level(session)
    rng = np.random.default_rng([seed, ("left", "right", "mono").index(side)])
    if group is None:
        return _injections_only(side, playing, chosen, left_out, volume, stated, draws, rng)
    aligned = align(group, level=stated)
    unplaced = aligned.unplaced
    remarks += map(_unplaced, unplaced)
    if aligned.free and _too_few(aligned):
        remarks.append(_few_tones(side, len(aligned.group.hz)))
    first = fit(aligned.group, LEGS, level=stated, thorough=True)
    restarted = other_starts(group, aligned, first, stated)
    if restarted is not None:
        aligned, first = restarted.aligned, restarted.first
        remarks += restarted.remarks
    excited = excitation(aligned.group)
    repeat = repeatability(first, aligned.group, stated)
    clash = disagreement(first, aligned.group, stated, repeat.seen)
    clash = clash or impossible(first, aligned.group)
    remarks += clash
    remarks += repeatability_remarks(repeat, stated, first, aligned.group)
    solved = fit(
        aligned.group, LEGS, level=repeat.level, excited=excited, start=first, thorough=True
    )
    monte = MonteCarlo(aligned, excited, solved, repeat, playing, draws, rng)
    result = monte.run()
    remarks += result.remarks
    off = _off(chosen, repeat, draws, rng)
    names = [o.name for o in aligned.group.takes]
    weight = {n: take_residual(solved, t) for t, n in enumerate(names)}
    delay = {n: float(aligned.delays[t]) for t, n in enumerate(names)} if aligned.free else {}
    left_out |= dict.fromkeys(turned, CONTRADICTS)
    left_out |= dict.fromkeys(unplaced, "nothing tells when it began against the others")
    uses = tuple(_use(p, left_out, weight, delay) for p in phasors if p.take.side == side)
    return Identified(
        side=side,
        group=aligned.group,
        legs=result.legs,
        single_ended=result.single_ended,
        injected=result.injected,
        injected_into=result.injected_into,
        single_ended_injected=result.single_ended_injected,
        off=off[0],
        off_into=off[1],
        carried=result.carried,
        recorded=result.recorded,
        repeatability=repeat,
        uses=uses,
        remarks=tuple(remarks),
        volume=volume,
        phase_known=not aligned.free and aligned.gain is None,
        draws=draws,
        takes=chosen,
        aligned=aligned,
        first=first,
        clash=bool(clash or result.remarks),
    )


CONTRADICTS = "contradicts the other takes"


def _too_few(aligned: Alignment) -> bool:
    return len(aligned.group.hz) < LEAST_TONES_SEARCHED


def _few_tones(side: Side, count: int) -> Remark:
    return Remark(
        "few-tones",
        "",
        f"takes ({side}) were recorded without a common clock or drive, and their delays rest on "
        f"{count} tones: another delay may serve nearly as well, so nothing is said of how the "
        "legs' impedances differ. Play a dozen tones, record the takes in one run, or the drive "
        "with them on a third channel",
    )


def _unplaced(name: str) -> Remark:
    return Remark(
        "unplaced-take",
        name,
        "nothing tells when this take began against the others: no delay fits it better than "
        "another, and each would make another stage of it; it was left out. Record the takes in "
        "one run, or the drive with them on a third channel",
    )


def _use(
    p: TakePhasors,
    left_out: dict[str, str],
    weight: dict[str, float],
    delay: dict[str, float],
) -> TakeUse:
    name = p.take.name
    why = left_out.get(name)
    return TakeUse(
        name,
        p.take.file,
        why is None,
        why,
        p.steady_s,
        delay.get(name),
        p.clock_error,
        weight.get(name),
    )


def _off(
    chosen: tuple[TakePhasors, ...], repeat: Repeatability, draws: int, rng: np.random.Generator
) -> tuple[Solved | None, tuple[int, ...]]:
    """Impedances found by injection while the device was off."""
    quiet = tuple(p for p in chosen if p.take.state == "off")
    return injected_alone(quiet, repeat, draws, rng)


def _injections_only(
    side: Side,
    playing: tuple[TakePhasors, ...],
    chosen: tuple[TakePhasors, ...],
    left_out: dict[str, str],
    volume: str,
    stated: float,
    draws: int,
    rng: np.random.Generator,
) -> Identified:
    """Return a side whose device never played: impedances only."""
    repeat = Repeatability(stated, 0, 0.0)
    solved, into = injected_alone(playing, repeat, draws, rng)
    off, off_into = _off(chosen, repeat, draws, rng)
    uses = tuple(_use(p, left_out, {}, {}) for p in chosen)
    empty = np.zeros((draws + 1, 0, 0, 3), dtype=np.complex128)
    return Identified(
        side,
        None,
        None,
        None,
        solved,
        into,
        None,
        off,
        off_into,
        (),
        empty,
        repeat,
        uses,
        (),
        volume,
        False,
        draws,
        chosen,
    )
