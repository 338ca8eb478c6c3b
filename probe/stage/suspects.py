"""Takes that contradict each other: what is wrong with them, if one thing explains it.

One thing at a time is taken away (a take; all takes with one resistor; all injections, because the
volts declared for them may be wrong) or doubted (the impedance declared for the recorder's inputs),
and the rest is solved again. Where the rest agrees, that thing explains the contradiction. As long
as only one thing is wrong it is among those that do, so where exactly one does, it is the one; but
taking away what nothing else tests also makes the rest agree. Then several explain it alike:
no kind is stated, all of them are named, and only what needs none of them stands.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from probe.numbers import ohms
from probe.phasors.model import Remark, TakePhasors
from probe.session.model import Session, Take
from probe.stage import limits
from probe.stage.agreement import Repeatability, impossible, learnt, repeatability, stated_level
from probe.stage.align import Alignment
from probe.stage.fitted import LEGS, Fit
from probe.stage.monte import MonteCarlo
from probe.stage.observations import declared_ohm, inputs_of, with_inputs
from probe.stage.realise import excitation
from probe.stage.side import CONTRADICTS, Identified, TakeUse, solve_side
from probe.stage.solve import fit
from probe.stage.solved import nearest_tone

AMBIGUOUS, AGREED = 2.0, 1.5
"""Things without which the rest agrees as well as without the best of them, within this factor or
within so many times the stated repeatability, explain the contradiction alike."""

INPUTS = np.geomspace(0.5, 2.0, 5)
"""Conductances over the declared ones that are tried for the recorder's inputs."""

INPUTS_REFINED = 4
"""How often the best of them is sought between its neighbours."""

INPUTS_MATTER = 0.02
"""Impedance over that of an input from which on the inputs can make takes contradict each other: a
hundredth is less than a tenth of a decibel between a leg with one and a leg without."""

INPUTS_TOLD = 0.1
"""An input that differs by less (relative) is within what a careful data sheet leaves open."""


@dataclass(frozen=True)
class Suspect:
    """What may be wrong, and how the takes agree without it.

    ``takes`` are left out, none where other inputs explain it; ``words`` name what they share.
    ``tested`` is False where leaving them out leaves nothing that would test the rest.
    """

    words: str
    takes: tuple[str, ...]
    seen: float
    tested: bool


def settled(
    session: Session, phasors: tuple[TakePhasors, ...], found: Identified, seed: int
) -> Identified:
    """Return a side whose takes contradict each other without what explains it.

    Parameters
    ----------
    session, phasors
        As for ``identify``.
    found
        The side solved from all of them.
    seed
        Of the draws.
    """
    stated = stated_level(session)
    suspects = _alike(_explaining(found, stated), stated)
    if not suspects:
        return found
    if len(suspects) == 1 and suspects[0].tested:
        return _without(session, phasors, found, suspects[0], seed)
    remarks = tuple(r for r in found.remarks if r.code not in _SUPERSEDED)
    return replace(
        found,
        remarks=(*remarks, *_named(suspects, found)),
        standing=_standing(session, phasors, found, suspects, seed),
    )


def _standing(
    session: Session,
    phasors: tuple[TakePhasors, ...],
    found: Identified,
    suspects: list[Suspect],
    seed: int,
) -> Identified | None:
    """The side without anything that may be wrong, the resistors of suspect takes with them."""
    if not all(s.takes for s in suspects):
        return None
    out = {name for s in suspects for name in s.takes}
    parts = {part for p in phasors if p.take.name in out for part in _parts(p.take)}
    rest = tuple(
        p for p in phasors if p.take.name not in out and not parts.intersection(_parts(p.take))
    )
    standing = solve_side(session, rest, found.side, found.draws, seed)
    return None if standing.clash else standing


def _parts(take: Take) -> set[str]:
    return {load.part for load in take.loads} | {i.part for i in take.injections}


_SUPERSEDED = ("contradicting-take", "poor-repeatability")


def _explaining(found: Identified, stated: float) -> list[Suspect]:
    """Everything without which the others agree; no take of it by itself, and nothing more."""
    if found.aligned is None:
        return []
    playing = tuple(p for p in found.takes if p.take.state == "play")
    known = _known(fit(found.aligned.group, LEGS, level=stated, thorough=True))
    explaining: list[Suspect] = []
    for words, names in _things(found):
        if any(set(s.takes) <= set(names) for s in explaining):
            continue
        rest = tuple(p for p in playing if p.take.name not in names)
        trial = _trial(found.aligned.only([p.take.name for p in rest]), rest, stated)
        if trial is not None:
            tested = trial.seen > 0.0 and trial.known > known - 0.5
            explaining.append(Suspect(words, names, trial.seen, tested))
    inputs = _inputs(found, found.aligned, playing, stated)
    return explaining if inputs is None else [*explaining, inputs]


@dataclass(frozen=True)
class _Trial:
    """How takes agree: the repeatability seen, and how many directions they decide."""

    seen: float
    known: float


def _trial(aligned: Alignment, phasors: tuple[TakePhasors, ...], stated: float) -> _Trial | None:
    """Return how takes agree, by loads and by injections; None where they do not."""
    group = aligned.group
    if not group.takes:
        return None
    excited = excitation(group)
    solved = fit(group, LEGS, level=stated, excited=excited, thorough=True)
    seen = repeatability(solved, group, stated).seen
    if seen > limits.CONTRADICTION / 2.0 * stated:
        return None
    if impossible(solved, group):
        return None
    level = Repeatability(stated, 0, 0.0)
    monte = MonteCarlo(aligned, excited, solved, level, phasors, 0, np.random.default_rng(0))
    return None if monte.clash() else _Trial(seen, _known(solved))


def _known(solved: Fit) -> float:
    return float(np.median(learnt(solved)))


def _things(found: Identified) -> list[tuple[str, tuple[str, ...]]]:
    """Takes one by one, then those that share a resistor, then the injections."""
    used = [p for p in found.takes if any(u.name == p.take.name and u.used for u in found.uses)]
    playing = [p.take for p in used if p.take.state == "play"]
    shared: dict[tuple[str, ...], list[str]] = {}
    for part in sorted({part for take in playing for part in _parts(take)}):
        names = tuple(take.name for take in playing if part in _parts(take))
        shared.setdefault(names, []).append(f"the ohms of {part}")
    injected = tuple(t.name for t in playing if any(i.volts > 0.0 for i in t.injections))
    if injected:
        shared.setdefault(injected, []).append("the volts declared for the injection")
    alone = [(_of(shared.get((take.name,))), (take.name,)) for take in playing]
    return alone + [(_of(w), names) for names, w in shared.items() if len(names) > 1]


def _of(words: list[str] | None) -> str:
    return " or ".join(words or [])


def _inputs(
    found: Identified, aligned: Alignment, phasors: tuple[TakePhasors, ...], stated: float
) -> Suspect | None:
    """Whether another impedance of the recorder's inputs makes all takes agree."""
    if not _inputs_matter(found):
        return None

    def misfit(conductance: float) -> float:
        solved = fit(with_inputs(aligned.group, conductance), LEGS, level=stated)
        return float(np.sum(np.log1p(np.sum(np.abs(solved.residual) ** 2, axis=(0, 2)))))

    tried = {float(s): misfit(float(s)) for s in INPUTS}
    for step in range(INPUTS_REFINED):
        best = min(tried, key=lambda s: tried[s])
        near = float(INPUTS[1] / INPUTS[0]) ** (0.5 ** (step + 1))
        tried |= {s: misfit(s) for s in (best / near, best * near)}
    best = min(tried, key=lambda s: tried[s])
    if abs(best - 1.0) < INPUTS_TOLD:
        return None
    others = tuple(inputs_of(p, best) for p in phasors)
    placed = replace(aligned, group=with_inputs(aligned.group, best), gain=None, seen=None)
    trial = _trial(placed, others, stated)
    if trial is None:
        return None
    ohm = aligned.group.takes[0].phasors.take.inputs[0].impedance_ohm
    words = f"inputs of {ohms(ohm / best)} each, in place of {ohms(ohm)}"
    return Suspect(words, (), trial.seen, tested=False)


def _inputs_matter(found: Identified) -> bool:
    """Whether some impedance of the legs is more than nothing beside the inputs."""
    if found.legs is None or found.group is None:
        return False
    size = float(np.abs(found.legs.theta[0, nearest_tone(found.legs.hz), :, 1:3]).max())
    ohm = declared_ohm(found.group)
    return ohm is not None and size > INPUTS_MATTER * ohm


def _alike(explaining: list[Suspect], stated: float) -> list[Suspect]:
    """Those that explain it as well as the best does."""
    best = min((s.seen for s in explaining), default=0.0)
    return [s for s in explaining if s.seen <= max(AMBIGUOUS * best, AGREED * stated)]


def _without(
    session: Session,
    phasors: tuple[TakePhasors, ...],
    found: Identified,
    suspect: Suspect,
    seed: int,
) -> Identified:
    """Return the side without what explains the contradiction, and say so."""
    rest = tuple(p for p in phasors if p.take.name not in suspect.takes)
    clean = solve_side(session, rest, found.side, found.draws, seed)
    left = {u.name: u for u in clean.uses}
    uses = tuple(left.get(u.name, _left_out(u)) for u in found.uses)
    what = f" ({suspect.words} may not be as declared)" if suspect.words else ""
    message = (
        "this take contradicts the others, which agree without it and not without any other"
        f"{what}; it was left out. Check its leads and typed figures, and repeat it"
    )
    said = tuple(Remark("contradicting-take", name, message) for name in suspect.takes)
    return replace(clean, uses=uses, remarks=(*clean.remarks, *said))


def _left_out(use: TakeUse) -> TakeUse:
    return replace(use, used=False, why_not=CONTRADICTS, residual=None, delay_s=None)


def _named(suspects: list[Suspect], found: Identified) -> tuple[Remark, ...]:
    """One remark for each take that may be wrong; where it is the inputs alone, for the worst."""
    ways = [s.words if not s.takes else f"without {_words(s)}" for s in suspects]
    agreeing = ", or as well ".join(map(_with, ways))
    message = (
        f"the takes contradict each other; they agree {agreeing}. No kind is stated until one of "
        "these is found wrong: check typed figures and leads, and repeat this take"
    )
    names = dict.fromkeys(name for s in suspects for name in s.takes) or [_stands_out(found)]
    return tuple(Remark("contradicting-take", name, message) for name in names)


def _with(way: str) -> str:
    return way if way.startswith("without") else f"with {way}"


def _words(suspect: Suspect) -> str:
    takes = " and ".join(f'"{name}"' for name in suspect.takes)
    return f"{takes} ({suspect.words})" if suspect.words else takes


def _stands_out(found: Identified) -> str:
    weighed = [(u.residual or 0.0, u.name) for u in found.uses if u.used]
    return max(weighed)[1]
