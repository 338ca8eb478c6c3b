"""What a lead on the shelf is otherwise than the lead that was solved: longer, or by its data.

Such a lead is solved again with its own data, in the way it would be used in and beside what else
hangs on the device. What comes of that is its verdict; a shield and a capacitance by themselves
say little (hum may grow with their product, or not at all behind a transformer).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import partial
from typing import Protocol

from probe.advice.audible import CLASSES
from probe.advice.candidate import RANK
from probe.advice.destination import Cable
from probe.advice.figures import worse_side
from probe.advice.leads import Piece
from probe.advice.model import Choice, OptionAdvice
from probe.advice.quantity import Quantity
from probe.advice.shelf import Part
from probe.advice.taken import Own, Taken
from probe.advice.thresholds import SPARE_METRES, TIE_BREAK_DB, TOO_LONG
from probe.advice.words import MOST_DB, decibels
from probe.numbers import without_figures

WORSE = 10 ** (1.0 / 20.0)
"""Ratio of shield or capacitance below which a lead is what was solved: 1 dB of hum or treble
decides little that its interval does not. Our judgement."""

STEP_DB = 3.0
"""Hum by which a lead is a step worse, where it is heard: it goes behind one of fewer steps,
whatever that costs more; of as many the price decides. [judgement] Less is hardly told by ear."""

STEP_PF = 5.0
"""What to order is rounded down to such steps, pF/m. [practice]"""

LISTEN = ": enough to hear whether the hum goes with what is done first; without that it hums"
"""Of a lead that hums for certain while the plug is in that is pulled first."""

NO_LEAD = Cable(0.0, 0.0, 0.0, 0.0)
"""Of a piece that no length belongs to."""

Solve = Callable[[Choice, Cable], Sequence[OptionAdvice]]
"""Solves the way of a choice with another lead, with what the other boxes use plugged in: the way
itself on every side first, then the ways of the others."""


class SolveBeside(Protocol):
    """As `Solve`, beside the leads that are taken for other boxes already."""

    def __call__(
        self, choice: Choice, cable: Cable, taken: Mapping[str, Cable]
    ) -> Sequence[OptionAdvice]:
        """Solve; ``taken``: leads by box, the rest as they were solved."""


def beside(solve: SolveBeside | None, taken: Mapping[str, Cable]) -> Solve | None:
    """Return what solves a lead beside those taken so far."""
    return None if solve is None else partial(solve, taken=dict(taken))


@dataclass
class Leads:
    """The leads for one way: ``cable`` was solved; ``solve`` solves another one, where given."""

    cable: Cable = NO_LEAD
    choice: Choice | None = None
    was: Sequence[OptionAdvice] = ()
    """The way as it was solved, on every side, and as it is used."""
    solve: Solve | None = None
    shown: bool = True
    """The figures that are told of the way are those with the lead that is taken."""
    in_doubt: bool = False
    """It is tried, or asked about: what speaks against it already does so with any lead."""
    known: dict[str, Own] = field(default_factory=dict)
    to_listen: bool = False
    """It is plugged in to hear whether its hum goes, which is not of the lead: none is refused."""
    tried: frozenset[str] = frozenset()
    """Leads that are bought to be tried, and are there already when this way is taken."""
    refused_pf: float = math.inf
    """The least pF/m of a lead that does not do for the treble it takes."""
    with_solved: Sequence[OptionAdvice] = ()
    """The same ways as ``solve`` gives them with the lead that was solved; empty: not asked yet."""
    looked_at: dict[str, Part] = field(default_factory=dict)
    """The parts of the shelf that were looked at for the run, by name."""
    in_series: dict[str, Cable] = field(default_factory=dict)
    """Two leads of the shelf that were looked at one behind the other, by the name of both."""

    def solved_by(self, solve: Solve | None) -> Leads:
        """Return the same with nothing looked at yet, for the other boxes have other leads."""
        return replace(
            self, solve=solve, known={}, with_solved=(), looked_at={}, in_series={},
            refused_pf=math.inf,
        )  # fmt: skip

    def most_pf(self) -> float | None:
        """Return the most that one to order may have, pF/m rounded down, where one was refused."""
        if self.solve is None or self.choice is None or not math.isfinite(self.refused_pf):
            return None
        cable, choice, solve = self.cable, self.choice, self.solve
        does = int(1e12 * cable.farad / cable.length_m / STEP_PF + 1e-9)  # it was solved with that
        fails = math.ceil(self.refused_pf / STEP_PF)
        while fails - does > 1:
            middle = (does + fails) // 2
            tried = replace(cable, farad=1e-12 * middle * STEP_PF * cable.length_m)
            works = self._bad(solve(choice, tried)) is None
            does, fails = (middle, fails) if works else (does, middle)
        return does * STEP_PF or None

    def own(self, part: Part, piece: Piece) -> Own:
        """Return what a lead of the whole run is otherwise than what was solved."""
        if part.kind != "lead" or piece.place != "run" or not self.cable.length_m:
            return Own("")
        if piece.ohm is not None:  # a digital one: its impedance and length are judged
            return Own("")
        if piece.in_series:
            return Own("")
        self.looked_at[part.name] = part
        if part.name not in self.known:
            self.known[part.name] = self._found(part.name, cable_of(part, self.cable))
        return self.known[part.name]

    def of(self, chosen: Iterable[tuple[Piece, Part | None]]) -> Own:
        """Return what the leads of a whole way are otherwise than what was solved.

        Of two in series, which are one path, both together.
        """
        held = [(piece, part) for piece, part in chosen if piece.kind == "lead" and part]
        owns = (self.own(part, piece) for piece, part in held)
        pair = [part for piece, part in held if piece.in_series]
        if len(pair) < 2 or not self.cable.length_m:
            return next((own for own in owns if own != Own("")), Own(""))
        name = " and behind it ".join(part.name for part in pair)
        if name not in self.known:
            run, tail = (cable_of(part, self.cable) for part in pair)
            self.in_series[name] = replace(run, tail=tail)
            self.known[name] = self._found(name, self.in_series[name])
        return self.known[name]

    def taken(self, chain: Sequence[Taken | Piece]) -> Own:
        """Return what the lead that is taken is otherwise than what was solved."""
        return self.of(_parts_of(chain))

    def told(self, chain: Sequence[Taken | Piece]) -> Iterable[Own]:
        """Return the leads taken that differ; where none is taken from stock, those that do not do.

        Not where one in stock of such plugs does, so that another part is missing; not a digital
        one, or one that would lie coiled up: nobody expects those to be taken.
        """
        if (own := self.of(_parts_of(chain))).says:
            yield own
        runs = [one for one in chain if _run(one)]
        if not all(isinstance(one, Taken) and one.in_stock for one in runs):
            there = {_ends(p) for name, p in self.looked_at.items()
                     if p.stock and self.known[name].serves}  # fmt: skip
            for name, part in sorted(self.looked_at.items()):
                apart = part.impedance_ohm is not None or far_too_long(part, self.cable.length_m)
                if not (self.known[name].serves or apart or _ends(part) in there):
                    yield self.known[name]
            yield from self._best_that_fails()

    def _best_that_fails(self) -> Iterable[Own]:
        """Return of leads in series that do not do those that would do first."""
        failing = [(path_ohm(cable), name) for name, cable in self.in_series.items()
                   if not self.known[name].serves and self.known[name].says]  # fmt: skip
        if len(failing) == len(self.in_series) and failing:
            yield self.known[min(failing)[1]]

    def _found(self, name: str, mine: Cable) -> Own:
        differs = "; ".join(_data(mine, self.cable))
        if not differs:
            return Own("")
        if self.solve is None or self.choice is None or not self.was:
            if mine.tail is not None:
                return Own("", serves=False)  # not without having been solved
            may = "it may hum more than is said here, or have less treble"
            says = f"{name}: {differs}: {may}{_to_solve(mine)}"
            return Own(says, f"{name}: {may}", worse=1)
        if mine.tail is not None and self._tail_hums(mine):
            says = "the hum on what lies behind the adapter is heard, whatever the answer is"
            does_not = f"{name} does not do"
            return Own(f"{does_not} ({differs}): {says}", f"{does_not}: {says}", serves=False)
        found = self.solve(self.choice, mine)
        own = found[: len(self.was)]
        bad = self._bad(found)
        if bad is not None:
            with_it = f"{bad.option.id} ({bad.box})" if bad.box != self.choice.box else "it"
            judged = JUDGED.get(bad.verdict, bad.verdict)
            says = f"{with_it} would be {judged}, {self._fresh(bad)}"
            does_not = f"{name} does not do"
            if bad.against & {"loss", "signal-lost"} and mine.tail is None:
                self.refused_pf = min(self.refused_pf, 1e12 * mine.farad / mine.length_m)
            plain = "" if bad.verdict == "cannot-tell" else f"{does_not}: {says}"
            return Own(f"{does_not} ({differs}): {says}", plain, serves=False)
        was = self._with_solved()[: len(own)]  # the other boxes' leads are no matter of this one
        changed = "; ".join(_changed(was, own))
        if not changed:
            return Own("", data=mine)
        figures = "the figures here are with it" if self.shown else "with it"
        says = f"{name}: {differs}; {figures}: {changed}"
        if self.to_listen and any(o.verdict == "avoid" and "hum" in o.against for o in own):
            changed += LISTEN
            says += LISTEN
        plain = "" if self.shown else f"{name}: with it {changed}"
        worse = _steps(was, own)
        return Own(says, plain, worse, cable=mine, data=mine, changed=changed)

    def _tail_hums(self, mine: Cable) -> bool:
        """Tell whether a short lead hums too much by itself, of a way that is in doubt for its hum.

        With no resistance before it nothing is made that pin 3 could hear, whatever drives it.
        """
        if not self.in_doubt or self.to_listen or self.solve is None or self.choice is None:
            return False
        bare = replace(mine, shield_ohm=0.0, contact_ohm=0.0)
        found = self.solve(self.choice, bare)[: len(self.was)]
        return any("hum" in o.against for o in found)

    def _bad(self, found: Sequence[OptionAdvice]) -> OptionAdvice | None:
        """Return the first way that does not do with a lead, and does with what was solved."""
        own = len(self.was)
        failing = (
            o for k, o in enumerate(found)
            if not o.works
            and not (self._doubted(o) if k < own and self.in_doubt else self._as_bad(k, o))
        )  # fmt: skip
        return next(failing, None)

    def _as_bad(self, at: int, now: OptionAdvice) -> bool:
        """Tell whether a way fails no less with the lead that was solved, in the same place.

        That is no matter of the lead then: nor is one more doubt of a way that is in doubt anyway.
        """
        before = self._with_solved()[at]
        if before.works or RANK[now.verdict] > RANK[before.verdict]:
            return False
        return now.verdict == "cannot-tell" or not now.against - before.against

    def _with_solved(self) -> Sequence[OptionAdvice]:
        """Return the ways with the lead that was solved, beside the same leads of the others."""
        assert self.solve is not None
        assert self.choice is not None
        if not self.with_solved:
            self.with_solved = self.solve(self.choice, self.cable)
        return self.with_solved

    def _fresh(self, now: OptionAdvice) -> str:
        """Return what speaks against a way that did not with the lead that was solved."""
        told = {without_figures(r) for o in self.was if o.option.id == now.option.id
                for r in o.reasons}  # fmt: skip
        return next((r for r in now.reasons if without_figures(r) not in told), now.reasons[0])

    def _doubted(self, now: OptionAdvice) -> bool:
        """Tell whether nothing speaks against a way that did not before, and nothing more surely.

        Hum that was just short of its limit is by no more. Of a way that is used with an attenuator
        hum is all that speaks against the bare lead that is tried.
        """
        before = next(o for o in self.was if o.side == now.side)
        hums = before.figures.hum_below_full_output_db, now.figures.hum_below_full_output_db
        if self.to_listen and not now.against - before.against:
            return True
        if now.against - before.against or (now.verdict == "avoid" and _lower(*hums)):
            return False
        used = before.verdict == "use"
        return now.verdict in ("avoid" if used else before.verdict, "cannot-tell")


def far_too_long(part: Part, length_m: float) -> bool:
    """Tell whether most of a lead would lie coiled up behind the boxes."""
    return (part.length_m or 0.0) > TOO_LONG * length_m + SPARE_METRES


def _ends(part: Part) -> tuple[object, ...]:
    return part.from_, part.to, part.wires, part.joined_from, part.joined_to


def _parts_of(chain: Iterable[Taken | Piece]) -> list[tuple[Piece, Part | None]]:
    return [(one.piece, one.part) if isinstance(one, Taken) else (one, None) for one in chain]


def _run(one: Taken | Piece) -> bool:
    piece = one.piece if isinstance(one, Taken) else one
    return piece.kind == "lead" and piece.place == "run"


JUDGED = {
    "avoid": "better avoided",
    "never": "ruled out",
    "cannot-tell": "not to be judged",
}
"""Verdicts in a sentence."""


def cable_of(part: Part, solved: Cable) -> Cable:
    """Return a lead of the shelf as it is solved: what it does not state is as there, a metre."""
    metres = part.length_m or solved.length_m
    stated = dict(part.measured)
    shield = stated.get("mohm/m of shield", 1e3 * solved.shield_ohm / solved.length_m)
    contact = stated.get("mohm of contacts", 1e3 * solved.contact_ohm)
    farad = stated.get("pF/m", 1e12 * solved.farad / solved.length_m)
    return Cable(
        metres, 1e-12 * farad * metres, 1e-3 * shield * metres, 1e-3 * contact, solved.impedance_ohm
    )


def _data(mine: Cable, solved: Cable) -> Sequence[str]:
    """Return of which data a lead has noticeably more than the one that was solved."""
    more = []
    tail, mine = mine.tail, mine.whole
    ohms = [path_ohm(c) for c in (mine, solved)]
    if ohms[0] > WORSE * ohms[1] > 0.0:
        more.append(
            f"{'its' if tail is None else 'their'} shield{'s' * (tail is not None)} and contacts "
            f"have {ohms[0] * 1e3:.0f} mohm where {ohms[1] * 1e3:.0f} were solved"
        )
    if mine.farad > WORSE * solved.farad > 0.0:
        more.append(f"{mine.farad * 1e12:.0f} pF where {solved.farad * 1e12:.0f} were solved")
    if tail is not None:
        more.append(f"{path_ohm(tail) * 1e3:.0f} mohm of it lie behind the adapter")
    return more


def path_ohm(cable: Cable) -> float:
    """Return what lies between the chassis: the shield and its contacts."""
    return cable.whole.shield_ohm + cable.whole.contact_ohm


def _to_solve(mine: Cable) -> str:
    farad, shield = 1e12 * mine.farad / mine.length_m, 1e3 * mine.shield_ohm / mine.length_m
    return (
        f". With length_m = {mine.length_m:g}, capacitance_pf_per_m = {farad:.0f}, "
        f"shield_milliohm_per_m = {shield:.3g}, contact_milliohm = {mine.contact_ohm * 1e3:.3g} "
        "below [cable] it is solved"
    )


def _changed(was: Sequence[OptionAdvice], now: Sequence[OptionAdvice]) -> Sequence[str]:
    """Return what is noticeably worse of the figures that are told, on the worse side."""
    before, after = worse_side([o.figures for o in was]), worse_side([o.figures for o in now])
    told = []
    hums = before.hum_below_full_output_db, after.hum_below_full_output_db
    if _lower(*hums) and hums[0] and hums[1]:
        heard = "" if after.hum_heard is None else f" ({after.hum_heard.says})"
        told.append(f"hum {decibels(hums[1])} below full output{heard}, not {decibels(hums[0])}")
    treble = before.loss_at_20_khz, after.loss_at_20_khz
    less = TIE_BREAK_DB / 2.0
    if treble[0] and treble[1] and treble[1].value > max(treble[0].value, 0.0) + less:
        told.append(f"{decibels(treble[1])} lost at 20 kHz, not {decibels(treble[0])}")
    known = {"hum" if told else "", *(h.code for o in was for h in o.hazards)}
    fresh = dict.fromkeys(h.message for o in now for h in o.hazards if h.code not in known)
    return [*told, *(f"mind: {says}" for says in fresh)]


def _steps(was: Sequence[OptionAdvice], now: Sequence[OptionAdvice]) -> int:
    """Return by how many steps a lead is worse than what was solved, as it is heard.

    A hum that nobody hears is none, however much more it is; one that moves into a worse class is
    one at least, as is what is fresh to be minded.
    """
    before, after = worse_side([o.figures for o in was]), worse_side([o.figures for o in now])
    hums = before.hum_below_full_output_db, after.hum_below_full_output_db
    steps, known = 0, {"hum", *(h.code for o in was for h in o.hazards)}
    if hums[0] and hums[1] and before.hum_heard and after.hum_heard:
        old, new = (CLASSES.index(heard.worst) for heard in (before.hum_heard, after.hum_heard))
        more = min(hums[0].value, MOST_DB) - min(hums[1].value, MOST_DB)
        steps = max(int(more / STEP_DB), int(new > old)) if new else 0
    return max(steps, int(any(h.code not in known for o in now for h in o.hazards)))


def _lower(before: Quantity | None, after: Quantity | None) -> bool:
    """Tell whether a hum is noticeably less far down, where anybody could check that."""
    if before is None or after is None:
        return False
    return min(after.value, MOST_DB) < min(before.value, MOST_DB) - TIE_BREAK_DB
