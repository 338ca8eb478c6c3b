"""From the phasors of one side to the output stage with its doubt: the order of the steps.

1. choose the takes that may be compared (one volume, device playing)
2. put them on one phase reference (``align``)
3. solve the legs, find the level repeatability in the residuals, set aside a take that
   contradicts all others
4. solve the injected tones, carry what only they show to the device's tones
5. repeat 3 and 4 for draws of every error (JCGM 101), in batches so that memory stays flat
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from probe.phasors.model import Remark, TakePhasors
from probe.session.model import Session, Side
from probe.stage import limits
from probe.stage.align import Alignment, align
from probe.stage.inject import (
    Injected,
    carry,
    draw_injected,
    injected_group,
    own_sizes,
    solve_injected,
)
from probe.stage.network import Complex
from probe.stage.observations import LEAST_NOISE_VOLTS, Group, grid_of, observe
from probe.stage.open_leg import find_open_leg, own_admittance, without_open_leg
from probe.stage.solve import (
    LEGS,
    RIDGE_OHM,
    SINGLE_ENDED,
    Block,
    Errors,
    Excited,
    Fit,
    Known,
    Realisation,
    excitation,
    fit,
    flat,
    flows_into,
    plausible_ohm,
    posterior,
    realise,
    resolve,
    unknown_part,
)
from probe.stage.source import TERMINALS

Array = NDArray[np.float64]

BATCH = 250
"""Draws solved at once: keeps the arrays within some tens of megabytes."""

AMBIGUOUS = 2.0
"""Takes whose removal mends a contradiction within this factor of each other are suspect alike."""

DISAGREE_SHARE, DISAGREE_OHM = 0.25, 5.0
"""An injection and the loads contradict each other when their impedances differ by more than this
share, and this many ohm: between neighbouring tones even a capacitor turns less."""

LOADS_ENOUGH, LOADS_ENOUGH_OHM = 0.02, 0.5
"""An entry that loads show to this share of the leg's own impedance, or this many ohm, is left
to them: one carried from injected tones would spoil the small differences of a floating stage."""

NOT_KNOWN_OHM = 1.0e6
"""Doubt of an entry that no take shows: as good as any value."""

LEG_ROWS = {
    "hot": np.array([0.5, 1.0]),
    "cold": np.array([-0.5, 1.0]),
    "difference": np.array([1.0, 0.0]),
    "mean": np.array([0.0, 1.0]),
}
"""How a voltage (or, turned round, a current) is made of modal ones."""


@dataclass(frozen=True)
class Repeatability:
    """Level between takes, relative, one standard deviation, and where it is from.

    ``freedom`` is the number of degrees of freedom where it came from residuals, 0 where it was
    declared or assumed.
    """

    level: float
    freedom: int
    seen: float
    """What the residuals alone say, 0 where nothing was spare."""


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
class Solved:
    """One block at F tones with D draws (draw 0 is the value itself).

    Attributes
    ----------
    hz
        Shape (F,).
    theta
        Shape (1 + D, F, R, 4): ``[Voc | Z]`` in modal rows and columns.
    fit
        The fit behind it.
    open_leg
        The leg whose column was found by itself (``open_leg``), None where there is none.
    open_known
        True where the takes show the admittance of that leg.
    unswitched
        Legs that no take loads or injects: what moves them is the recorder's own current only, and
        their column is not known whatever the weights say.
    leak
        Shape (F, 2), A: the current the recorder draws from each leg, 0 where it is noise.
    """

    hz: Array
    theta: Complex
    fit: Fit
    open_leg: int | None = None
    open_known: bool = False
    unswitched: tuple[int, ...] = ()
    leak: Array | None = None

    def lost(self, functional: Complex) -> Array:
        """How much of a linear quantity the takes do not support, shape (F,), in its unit."""
        if self.open_leg is None:
            lost = unknown_part(self.fit, functional)
        else:
            rest, share = _without_column(functional, self.open_leg)
            lost = unknown_part(self.fit, rest)
            if not self.open_known:
                lost = lost + NOT_KNOWN_OHM * share
        for leg in self.unswitched:
            share = _without_column(functional, leg)[1]
            lost = lost + NOT_KNOWN_OHM * share
            if self.leak is not None:
                levels = np.abs(functional[:, :, 0]).max(axis=1)
                lost = lost + plausible_ohm(self.fit.theta) * levels * self.leak[:, leg]
        return np.asarray(lost)

    def sigma(self, functional: Complex) -> Array:
        """Return the standard deviation of a linear quantity, (F,); of an open leg from draws."""
        if self.open_leg is None:
            return posterior(self.fit, functional)
        values = np.einsum("frj,dfrj->df", functional, self.theta)
        if len(values) < 2:
            return posterior(self.fit, functional)
        return np.asarray(np.median(np.abs(values[1:] - values[0]), axis=0) / np.sqrt(np.log(2.0)))


def _without_column(functional: Complex, leg: int) -> tuple[Complex, float]:
    """Return a functional less what it reads in a leg's column, and how much that was."""
    legs = LEGS.rows
    backwards = np.linalg.inv(legs)
    column = np.einsum("ra,frj,jb->fab", backwards, functional[:, :, 1:3], backwards)
    share = float(np.abs(column[:, :, leg]).max())
    column[:, :, leg] = 0.0
    rest = functional.copy()
    rest[:, :, 1:3] = np.einsum("ar,fab,bj->frj", legs, column, legs)
    return rest, share


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


def identify(
    session: Session,
    phasors: tuple[TakePhasors, ...],
    side: Side,
    *,
    draws: int = 2000,
    seed: int = 1,
) -> Identified:
    """Solve the output stage of one side.

    Parameters
    ----------
    session
        For the declared repeatability.
    phasors
        Of all takes; those of other sides are left aside.
    side
        ``left``, ``right`` or ``mono``.
    draws
        Number of Monte Carlo draws D.
    seed
        Of the draws; the same seed gives the same facts.
    """
    chosen, left_out, volume = choose_takes(tuple(p for p in phasors if p.take.side == side))
    remarks: list[Remark] = []
    playing = tuple(p for p in chosen if p.take.state == "play")
    group = played_group(playing)
    open_leg = find_open_leg(group, injected_group(playing))
    if group is not None and open_leg is not None:
        group = without_open_leg(group, open_leg)
    stated = _stated_level(session)
    rng = np.random.default_rng([seed, ("left", "right", "mono").index(side)])
    if group is None:
        return _injections_only(side, playing, chosen, left_out, volume, stated, draws, rng)
    aligned = align(group, level=stated)
    aligned, dropped, more = _set_contradiction_aside(aligned, stated)
    remarks += more
    excited = excitation(aligned.group)
    solved = fit(aligned.group, LEGS, level=stated, excited=excited, thorough=True)
    repeat = repeatability(solved, aligned.group, stated)
    remarks += _repeatability_remarks(repeat, stated, solved, aligned.group)
    solved = fit(
        aligned.group, LEGS, level=repeat.level, excited=excited, start=solved, thorough=True
    )
    monte = _Monte(aligned, excited, solved, repeat, playing, draws, rng)
    result = monte.run()
    remarks += result.remarks
    off = _off(chosen, repeat, draws, rng)
    names = [o.name for o in aligned.group.takes]
    weight = {n: _take_residual(solved, t) for t, n in enumerate(names)}
    delay = {n: float(aligned.delays[t]) for t, n in enumerate(names)} if aligned.free else {}
    uses = tuple(_use(p, left_out, dropped, weight, delay) for p in phasors if p.take.side == side)
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
    )


def choose_takes(
    phasors: tuple[TakePhasors, ...],
) -> tuple[tuple[TakePhasors, ...], dict[str, str], str]:
    """Return takes that may be compared, why the others may not, and their volume."""
    left_out: dict[str, str] = {}
    usable = []
    for p in phasors:
        if not p.usable:
            left_out[p.take.name] = "not usable: " + "; ".join(r.message for r in p.remarks)
        elif p.take.driven_input_leg != "both":
            left_out[p.take.name] = "one leg of the input driven: says nothing about the stage"
        elif "difference" in p.take.channels:
            left_out[p.take.name] = "a balanced input hears the difference only, not each leg"
        else:
            usable.append(p)
    volumes = Counter(p.take.volume for p in usable)
    volume = volumes.most_common(1)[0][0] if volumes else ""
    for p in usable:
        if p.take.volume != volume:
            left_out[p.take.name] = f"another volume setting ({p.take.volume or 'not stated'})"
    return tuple(p for p in usable if p.take.volume == volume), left_out, volume


def _hears_the_device(p: TakePhasors) -> bool:
    """Return True where some terminal stands above its noise at most of the tones played."""
    best = np.zeros(int(p.played.sum()))
    for channel, name in enumerate(p.take.channels):
        if name in TERMINALS:
            noise = np.sqrt(np.abs(p.noise[p.played, channel, channel])) + LEAST_NOISE_VOLTS
            best = np.maximum(best, np.abs(p.volts[p.played, channel]) / noise)
    return bool(np.median(best) > limits.HEARD_SIGMAS)


def _drive(phasors: TakePhasors) -> float | None:
    take = phasors.take
    if take.drive_volts is not None:
        return take.drive_volts
    return None if take.drive_dbfs is None else float(10.0 ** (take.drive_dbfs / 20.0))


def played_group(phasors: tuple[TakePhasors, ...]) -> Group | None:
    """Return takes in which the device plays, on one grid, scaled to the first one's drive."""
    playing = [p for p in phasors if p.played.any() and _hears_the_device(p)]
    if not playing:
        return None
    grid = grid_of([p.hz[p.played] for p in playing])
    first = next((d for p in playing if (d := _drive(p)) is not None), None)
    observed = []
    for p in playing:
        drive = _drive(p)
        strength = 1.0 if drive is None or not first else drive / first
        observed.append(observe(p, grid, strength, injected=False))
    return Group(grid, tuple(observed))


def _stated_level(session: Session) -> float:
    db = session.bench.repeatability_db
    stated = limits.REPEATABILITY_DB if db is None else db
    return _relative(max(stated, limits.REPEATABILITY_FLOOR_DB))


def _relative(db: float) -> float:
    return float(np.log(10.0) / 20.0 * db)


def repeatability(solved: Fit, group: Group, stated: float) -> Repeatability:
    """Level between takes from the whitened residuals, where enough takes are spare.

    A level error is one real factor per take and leg, the same at all tones: its variance shows
    in ``|residual|²`` per spare row, times ``stated²``. Rows that are noise (a silent leg) say
    nothing about it. The median over the tones, because a tone beside a hum line or a winding at
    20 Hz must not speak for all.
    """
    telling = _telling(group, stated)
    spare = np.sum(solved.spare * telling, axis=(0, 2))
    enough = spare >= 0.75
    if not enough.any():
        return Repeatability(stated, 0, 0.0)
    rows = telling.sum(axis=(0, 2)) / np.maximum(telling.any(axis=2).sum(axis=0), 1)
    legs = max(float(np.median(rows)), 1.0)
    power = np.sum(np.abs(solved.residual) ** 2 * telling, axis=(0, 2))
    seen = stated * float(np.sqrt(np.median(power[enough] / spare[enough])))
    freedom = round(float(np.median(spare[enough])))
    if float(np.median(spare[enough])) >= legs * limits.SPARE_TAKES - 0.1:
        floor = _relative(limits.REPEATABILITY_FLOOR_DB)
        return Repeatability(max(seen, floor), freedom, seen)
    return Repeatability(max(stated, seen), 0, seen)


def _telling(group: Group, level: float) -> NDArray[np.bool_]:
    """Rows in which a level error of that size would stand above the noise, shape (T, F, 2)."""
    telling = np.zeros((len(group.takes), len(group.hz), 2), dtype=np.bool_)
    for t, observed in enumerate(group.takes):
        noise = np.abs(np.einsum("kii->ki", observed.noise))[:, :2]
        moved = (level * np.abs(observed.volts[:, :2])) ** 2
        telling[t, observed.tones] = moved > noise
    return telling


def _take_residual(solved: Fit, t: int) -> float:
    used = np.any(np.abs(solved.whitener[t]) > 0.0, axis=-1)
    share = np.abs(solved.residual[t][used]) ** 2
    return float(np.sqrt(share.mean())) if share.size else 0.0


def _set_contradiction_aside(
    aligned: Alignment, stated: float
) -> tuple[Alignment, str | None, list[Remark]]:
    """Leave out the one take without which the others agree, if there is such a take."""
    group = aligned.group
    solved = fit(group, LEGS, level=stated, thorough=True)
    seen = repeatability(solved, group, stated).seen
    if seen < limits.CONTRADICTION * stated:
        return aligned, None, []
    trials = []
    for t in range(len(group.takes)):
        rest = fit(group.without(t), LEGS, level=stated, thorough=True)
        left = repeatability(rest, group.without(t), stated)
        if np.median(_learnt(rest)) < np.median(_learnt(solved)) - 0.5 or left.seen == 0.0:
            continue
        trials.append((left.seen, t))
    ratio = seen / stated
    if not trials or min(trials)[0] > limits.CONTRADICTION / 2.0 * stated:
        worst = max(range(len(group.takes)), key=lambda t: _take_residual(solved, t))
        name = min(trials)[1] if trials else worst
        return aligned, None, [_contradiction(group.takes[name].name, ratio, kept=True)]
    alike = max(AMBIGUOUS * min(trials)[0], 1.5 * stated)
    mending = [t for left_over, t in trials if left_over <= alike]
    if len(mending) > 1:
        names = [group.takes[t].name for t in mending]
        return aligned, None, [_contradiction(name, ratio, kept=True) for name in names]
    t = min(trials)[1]
    name_out = group.takes[t].name
    fresh = align(_unrotated(aligned).without(t), level=stated)
    return fresh, name_out, [_contradiction(name_out, ratio, kept=False)]


def _learnt(solved: Fit) -> Array:
    """How many directions the takes themselves decide, shape (F,)."""
    size = len(solved.block.terminals)
    takes = solved.whitener.shape[0] - len(solved.known)
    return np.asarray(np.sum(np.abs(solved.hat[:, : takes * size]) ** 2, axis=(1, 2)))


def _unrotated(aligned: Alignment) -> Group:
    return aligned.group.rotated(-aligned.delays)


def _contradiction(take: str, ratio: float, *, kept: bool) -> Remark:
    message = (
        f"this take contradicts the others: together they disagree {ratio:.0f} times more than "
        "the stated repeatability allows"
    )
    tail = "; it was kept and the intervals widened" if kept else "; it was left out"
    return Remark("contradicting-take", take, message + tail + ". Check its leads and repeat it")


def _repeatability_remarks(
    repeat: Repeatability, stated: float, solved: Fit, group: Group
) -> list[Remark]:
    if repeat.seen < limits.POOR_REPEATABILITY * stated:
        return []
    worst = max(range(len(group.takes)), key=lambda t: _take_residual(solved, t))
    db = 20.0 / np.log(10.0) * repeat.seen
    return [
        Remark(
            "poor-repeatability",
            group.takes[worst].name,
            f"levels differ between takes by {db:.3f} dB, far above the "
            f"{20.0 / np.log(10.0) * stated:.3g} dB stated or assumed; this take stands out most",
        )
    ]


def _use(
    p: TakePhasors,
    left_out: dict[str, str],
    dropped: str | None,
    weight: dict[str, float],
    delay: dict[str, float],
) -> TakeUse:
    name = p.take.name
    why = left_out.get(name)
    if name == dropped:
        why = "contradicts the other takes"
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


@dataclass
class _Result:
    legs: Solved | None = None
    single_ended: Solved | None = None
    injected: Solved | None = None
    injected_into: tuple[int, ...] = ()
    single_ended_injected: Solved | None = None
    carried: tuple[tuple[int, int], ...] = ()
    remarks: tuple[Remark, ...] = ()
    recorded: Complex = field(default_factory=lambda: np.zeros((0, 0, 0, 3), dtype=np.complex128))


class _Monte:
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

    def run(self) -> _Result:
        """Solve legs and single-ended output with their draws."""
        result = _Result()
        group, repeat = self.aligned.group, self.repeat
        recorded = self._drawn()
        result.recorded = recorded.volts
        loads_only = self._resolve(self.solved, recorded)
        helpers = self._columns(self.solved, loads_only)
        injected = self._injected(LEGS, helpers)
        if injected is not None:
            result.injected, result.injected_into = injected
            result.remarks = self._disagreement(result.injected, loads_only, injected[1])
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
        if any(o.recorded[2] for o in group.takes):
            shared = self._reciprocal(group, loads_only)
            lone = fit(group, SINGLE_ENDED, level=repeat.level, excited=self.excited, known=shared)
            result.single_ended = Solved(group.hz, self._resolve(lone, recorded), lone)
        alone = self._injected(SINGLE_ENDED, ())
        if alone is not None:
            result.single_ended_injected = alone[0]
        return result

    def _disagreement(
        self, injected: Solved, loads: Complex, into: tuple[int, ...]
    ) -> tuple[Remark, ...]:
        """Say where an injection and the loads give different legs: one of the takes is wrong.

        Compared near 1 kHz where both are well known; the tones differ, so only what no
        capacitor could explain counts.
        """
        group = self.aligned.group
        bare = untouched_legs(group, self.excited, ())[0]
        k, m = nearest_tone(group.hz), nearest_tone(injected.hz)
        for leg in into:
            if leg == group.open_leg or leg in bare or self._deaf(leg):
                continue
            name, other = ("hot", "cold")[leg], ("cold", "hot")[leg]
            ours = column_volts(loads, name)[0, k]
            theirs = column_volts(injected.theta, name)[0, m]
            for row, label in ((leg, name), (1 - leg, other)):
                doubt = np.hypot(
                    entry_doubt(self.solved, label, name)[k],
                    entry_doubt(injected.fit, label, name)[m],
                )
                apart = abs(abs(ours[row]) - abs(theirs[row]))
                size = max(abs(ours[leg]), abs(theirs[leg]))
                limit = max(6.0 * doubt, DISAGREE_SHARE * size, DISAGREE_OHM)
                if np.isfinite(doubt) and apart > limit:
                    return (self._injection_contradicts(leg, ours[row], theirs[row]),)
        return ()

    def _deaf(self, leg: int) -> bool:
        """Return True where no take hears the injection into a leg on that leg."""
        name = ("hot", "cold")[leg]
        heard = [
            not p.unheard[p.take.channels.index(name)]
            for p in self.phasors
            if name in p.take.channels and any(i.into == name for i in p.take.injections)
        ]
        return not any(heard)

    def _injection_contradicts(self, leg: int, ours: complex, theirs: complex) -> Remark:
        name = ("hot", "cold")[leg]
        take = next(
            p.take.name
            for p in self.phasors
            if any(i.into == name and i.volts > 0.0 for i in p.take.injections)
        )
        message = (
            f"the injection into {name} and the loads contradict each other ({abs(theirs):.3g} "
            f"against {abs(ours):.3g} ohm): one of them was not plugged as declared, or leads were "
            "exchanged. Check and repeat both"
        )
        return Remark("contradicting-take", take, message)

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

    def _with_open_leg(self, result: _Result, theta: Complex, recorded: Realisation) -> Solved:
        """Add the column of an open leg, found by itself, and take the recorder off its voltage."""
        group = self.aligned.group
        leg = group.open_leg
        assert leg is not None
        assert result.legs is not None
        g = self._open_admittance(result, leg, recorded)
        if g is None:
            return replace(result.legs, open_leg=leg)
        g = np.maximum(g.real, 0.0) + 1j * g.imag
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
        return replace(result.legs, theta=whole, open_leg=leg, open_known=True)

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

    def _open_admittance(self, result: _Result, leg: int, recorded: Realisation) -> Complex | None:
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
        carried, doubt = carry(result.injected.hz, own, group.hz)
        g = 1.0 / carried[..., 0]
        g[:, ~np.isfinite(doubt)] = np.nan
        return g

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

    def _carried(self, result: _Result, hz: Array) -> tuple[Known, ...]:
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


def nearest_tone(hz: Array, target: float = 1000.0) -> int:
    """Index of the tone nearest ``target`` Hz."""
    return int(np.argmin(np.abs(np.asarray(hz) - target)))


def _carried_entries(known: tuple[Known, ...], k: int) -> tuple[tuple[int, int], ...]:
    """(row, column) of the leg entries that came from injected tones, at tone ``k``."""
    return tuple(
        (row, one.terminal) for one in known for row in (0, 1) if np.isfinite(one.sigma[k, row])
    )


def column_volts(theta: Complex, name: str) -> Complex:
    """Return what one ampere into a leg raises on the terminals, (D, F, R, 4) to (D, F, 3)."""
    current = LEG_ROWS[name]
    modal = theta[..., 1] * current[0] + theta[..., 2] * current[1]
    hot = modal @ LEG_ROWS["hot"]
    cold = modal @ LEG_ROWS["cold"]
    return np.stack([hot, cold, np.zeros_like(hot)], axis=-1)


def functional(row: str, column: str, tones: int) -> Complex:
    """Linear functional of ``theta`` that reads one entry: (F, 2, 4); column "open" is Voc."""
    out = np.zeros((tones, 2, 4), dtype=np.complex128)
    if column == "open":
        out[:, :, 0] = LEG_ROWS[row]
        return out
    if column in ("hot", "cold"):
        current = LEG_ROWS[column]
    else:
        current = np.array([1.0, 0.0]) if column == "difference" else np.array([0.0, 1.0])
    out[:, :, 1] = LEG_ROWS[row][:, None][:, 0] * current[0]
    out[:, :, 2] = LEG_ROWS[row][:, None][:, 0] * current[1]
    return out


def column_doubt(solved: Fit, name: str) -> Array:
    """Return the doubt of a leg's own impedance from the weights, infinite if unsupported."""
    return entry_doubt(solved, name, name)


def entry_doubt(solved: Fit, row: str, column: str) -> Array:
    """Return the doubt of one leg entry from the weights, infinite where unsupported."""
    tones = solved.theta.shape[0]
    wanted = functional(row, column, tones)
    sigma = posterior(solved, wanted)
    size = np.abs(np.einsum("frj,frj->f", functional(column, column, tones), solved.theta))
    lost = unknown_part(solved, wanted)
    return np.where((lost > 1.0 + 0.05 * size) | (sigma <= 0.0), np.inf, sigma)


def untouched_legs(
    group: Group, excited: Excited, known: tuple[Known, ...]
) -> tuple[tuple[int, ...], Array]:
    """Return legs that nothing was switched onto, and the recorder's current from each, (F, 2)."""
    touched = np.zeros(2, dtype=np.bool_)
    leak = np.zeros((len(group.hz), 2))
    for t, observed in enumerate(group.takes):
        for e, element in enumerate(observed.elements):
            if element.conductance_key.startswith("part/"):
                touched |= element.pattern[:2] != 0.0
                continue
            for leg in np.flatnonzero(element.pattern[:2]):
                flow = element.siemens * np.abs(observed.volts[:, leg]) * excited[t][:, e]
                leak[observed.tones, leg] = np.maximum(leak[observed.tones, leg], flow)
    for one in known:
        if one.terminal < 2 and np.min(one.sigma) < 0.01 * RIDGE_OHM:
            touched[one.terminal] = True
    return tuple(leg for leg in (0, 1) if not touched[leg]), leak


def shared_errors(phasors: tuple[TakePhasors, ...], draws: int, rng: np.random.Generator) -> Errors:
    """One error per physical thing and draw, by key; crosstalk between terminals with them."""
    from probe.stage.network import error_scales

    scales: dict[str, float] = {}
    for p in phasors:
        scales.update(error_scales(p.take))
    errors: Errors = {k: scales[k] * rng.standard_normal(draws) for k in sorted(scales)}
    white = rng.standard_normal((2, draws, 3, 3))
    errors["crosstalk"] = (white[0] + 1j * white[1]) / np.sqrt(2.0)
    return errors


def level_errors(
    phasors: tuple[TakePhasors, ...],
    repeat: Repeatability,
    draws: int,
    rng: np.random.Generator,
) -> dict[str, Array]:
    """Level error of every take and leg, shape (D, 3) by take name, relative.

    A figure taken from residuals is itself uncertain: each draw takes its own, so that the
    result spreads like Student's t.
    """
    size = np.full(draws, repeat.level)
    if repeat.freedom > 0:
        size = size * np.sqrt(repeat.freedom / rng.chisquare(repeat.freedom, draws))
    return {p.take.name: size[:, None] * rng.standard_normal((draws, 3)) for p in phasors}


def batch_errors(
    group: Group, shared: Errors, levels: dict[str, Array], part: slice, rng: np.random.Generator
) -> Errors:
    """Errors of one batch of draws for ``realise``."""
    errors: Errors = {k: v[part] for k, v in shared.items()}
    count = part.stop - part.start
    for t, observed in enumerate(group.takes):
        errors[f"noise/{t}"] = _noise(observed.noise, observed.crosstalk, count, rng)
        errors[f"level/{t}"] = levels[observed.name][part]
    return errors


def _noise(noise: Complex, crosstalk: Complex, draws: int, rng: np.random.Generator) -> Complex:
    """Draws of the phasor noise alone (crosstalk is drawn as one error for all takes)."""
    own = noise.copy()
    share = np.sum(np.abs(crosstalk) ** 2, axis=-1)
    index = np.arange(3)
    own[:, index, index] -= share
    values, vectors = np.linalg.eigh(own)
    root = vectors * np.sqrt(np.maximum(values, 0.0))[:, None, :]
    white = rng.standard_normal((2, draws, *noise.shape[:2]))
    circular = (white[0] + 1j * white[1]) / np.sqrt(2.0)
    return np.asarray(np.einsum("kij,dkj->dki", root, circular))


def _off(
    chosen: tuple[TakePhasors, ...], repeat: Repeatability, draws: int, rng: np.random.Generator
) -> tuple[Solved | None, tuple[int, ...]]:
    """Impedances found by injection while the device was off."""
    quiet = tuple(p for p in chosen if p.take.state == "off")
    return _injected_alone(quiet, repeat, draws, rng)


def _injected_alone(
    phasors: tuple[TakePhasors, ...], repeat: Repeatability, draws: int, rng: np.random.Generator
) -> tuple[Solved | None, tuple[int, ...]]:
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
    solved, into = _injected_alone(playing, repeat, draws, rng)
    off, off_into = _off(chosen, repeat, draws, rng)
    uses = tuple(_use(p, left_out, None, {}, {}) for p in chosen)
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


__all__ = ["Identified", "Repeatability", "Solved", "TakeUse", "identify", "replace"]
