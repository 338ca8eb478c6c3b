"""Several boxes on one device: the leads chosen for each, solved once more as one network.

What one lead does to the others is in that solution: a load, a tie that takes the level from the
other box, a ground current that the device's own impedance turns into hum elsewhere. The set of
each box's own best is tried first; where a box suffers in it, other working options are.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from heapq import heappop, heappush
from itertools import islice

from probe.advice import thresholds as limit
from probe.advice.alike import as_good, candidate
from probe.advice.candidate import Candidate
from probe.advice.choose import mark
from probe.advice.compiled import judged
from probe.advice.desk import Desk
from probe.advice.destination import Input
from probe.advice.equal_boxes import unlike, unlike_untold
from probe.advice.figures import worse_side
from probe.advice.model import Advice, Choice, OptionAdvice, Together
from probe.advice.note import Note
from probe.advice.quantity import Quantity
from probe.advice.solve import Link
from probe.advice.wiring import Option
from probe.advice.words import decibels, figure
from probe.decibels import ratio_to_db
from probe.formats.text import all_of

MOST_SETS = 12
"""Combinations tried, the likeliest first: with three boxes and five options all would take a
minute."""

MOST_LOOKED_AT = 10_000
"""Combinations looked through for such sets, unsolved, the likeliest first."""

FREE_SETS = 3
"""Sets that need no splitter tried where one does: each more takes about as long again."""

FELT_DB = 0.05
"""Change of level by the other leads that is worth a word: half of what a meter of 0.1 dB shows.
[judgement]"""


@dataclass(frozen=True)
class _Use:
    """One option into one input of one box."""

    box: str
    socket: Input
    option: Option


def best_sets(
    desks: Sequence[Desk], advice: Advice
) -> tuple[tuple[Together, ...], tuple[Note, ...]]:
    """Return what goes together, the best set first, and what has to be said of it.

    A box for which no set has a way that works is left out, the one named last first: what is
    used must be what may be plugged in with the rest.
    """
    going = [c for c in advice.choices if c.option is not None]
    out: list[Choice] = []
    while len(going) > 1 and (harmed := _harmed(_ordered(_tried(desks, advice, going))[0])):
        out.append([c for c in going if c.box in harmed][-1])
        going.remove(out[-1])
    for own in list(out):  # the culprit may have been left out after it
        again = [c for c in advice.choices if c in going or c is own]
        if not _harmed(_ordered(_tried(desks, advice, again))[0]):
            going = again
            out.remove(own)
    whole, notes = advice, []
    for own in out:
        beside = [c for c in whole.choices if c in going or c is own]
        best = _ordered(_tried(desks, whole, beside))[0]
        advice, note = _without(advice, own, best)
        notes.append(note)
    if len(going) < 2:
        return ((Together(advice.choices, (), True),) if advice.choices else ()), tuple(notes)
    tried = _tried(desks, advice, going)
    spared, buys = without_splitter(desks, advice, going, _ordered(tried)[0])
    sets = _ordered(tried) if spared is None else (spared, tried[0])
    return sets, (*notes, *_said(desks[0], sets, going, advice, buys))


def _tried(desks: Sequence[Desk], advice: Advice, chosen: Sequence[Choice]) -> list[Together]:
    """Return the sets that were solved, each box's own best first, until one harms nobody."""
    rivals = [_uses(desks[0], advice, choice) for choice in chosen]
    tried: list[Together] = []
    for uses in islice(_likeliest_first(rivals), MOST_SETS):
        found = _solved(desks, advice, uses)
        if not tried or not _quieter_than(found, tried[0]):
            tried.append(found)
        if not tried[-1].says:
            break
    return tried


def _harmed(one: Together) -> set[str]:
    """Return the boxes whose lead is not to be used with the others of the set."""
    return {o.box for o in one.options if o.verdict in ("avoid", "never")}


def _without(advice: Advice, own: Choice, best: Together) -> tuple[Advice, Note]:
    """Return the advice with nothing for a box that goes with no set, and what is said of it."""
    harmed = [o for o in best.options if o.verdict in ("avoid", "never")]
    mine = next((o for o in harmed if o.box == own.box), harmed[0])
    beside = ", ".join(dict.fromkeys(o.box for o in best.options if o.box != own.box))
    does_not = f"with {beside} on this device too {mine.option.id} is {_judged(mine)}"
    why = (
        f"no lead for it goes with what the other boxes use: {does_not}",
        f"with the others unplugged: {own.option}",
    )
    left = {**dict(own.left), (own.socket or "", own.option or ""): "does not go with the others"}
    nothing = Choice(own.box, None, None, why, left=tuple(left.items()))
    choices = tuple(nothing if c.box == own.box else c for c in advice.choices)
    says = f"Not all of these boxes can hang on this device at once: not {own.box}; {does_not}"
    return replace(advice, choices=choices), Note("together-not-all", says)


def _judged(option: OptionAdvice) -> str:
    words = {"avoid": "better avoided", "never": "ruled out", "cannot-tell": "not to be judged yet"}
    return f"{words.get(option.verdict, option.verdict)}: {option.reasons[0]}"


def _quieter_than(other: Together, own: Together) -> bool:
    """Tell whether a set gives a box less than each box's own best does, company and all.

    Where the own best only loses level by the others, what loses more by itself is no cure.
    """
    if any(o.verdict != "works" for o in own.options):
        return False
    levels = [{(o.side, o.box): _gain(o) for o in one.options} for one in (own, other)]
    both = [(before, levels[1].get(key)) for key, before in levels[0].items()]
    return any(
        now is None or now.value < before.value - limit.TIE_BREAK_DB
        for before, now in both
        if before is not None
    )


def _gain(option: OptionAdvice) -> Quantity | None:
    figures = option.figures
    return figures.loudness_vs_reference_db or figures.level_vs_reference_db


def taken(advice: Advice, bare: Sequence[OptionAdvice]) -> Advice:
    """Return the advice with the best set as what is chosen, where that is another one.

    ``bare``: the options before any was marked as chosen.
    """
    if not advice.sets:
        return advice
    held = {c.box: c for c in advice.choices}
    best = {c.box: c for c in advice.sets[0].choices}
    choices = tuple(_instead(held[c.box], best.get(c.box, c), advice) for c in advice.choices)
    if choices == advice.choices:
        return advice
    return replace(advice, choices=choices, options=mark(bare, choices))


def _instead(own: Choice, best: Choice, advice: Advice) -> Choice:
    """Return what a box uses in the best set, and why it is not its own best."""
    if (own.option, own.socket) == (best.option, best.socket):
        return own
    if best.option is None:  # no set has anything for it
        return best
    says, lacks = "; ".join(advice.sets[-1].says), "does not go with the others"
    does_not = f"does not go with what the other boxes use: {says}"
    if not says:
        does_not = lacks = "needs a splitter on an output that another box uses"
    padded = any(o.option.pad is not None for o in advice.sets[0].options if o.box == best.box)
    left = {**dict(own.left), (own.socket or "", own.option or ""): lacks}
    left.pop((best.socket or "", best.option or ""), None)
    why = (f"chosen for all plugged in at once: {own.option}, the best one alone, {does_not}",)
    return replace(best, why=why, attenuator=padded, left=tuple(left.items()))


def _uses(desk: Desk, advice: Advice, choice: Choice) -> list[_Use]:
    """Return what may be used for a box: the chosen option, then the others that work."""
    sockets = {s.name: s for s in desk.destination.inputs}
    mine = [o for o in advice.options if o.box == choice.box]
    working = {
        (o.socket, o.option.id): o.used.option
        for o in mine
        if all(
            p.verdict == "use" or p.used.verdict == "works"
            for p in mine
            if (p.socket, p.option.id) == (o.socket, o.option.id)
        )
    }
    first = (choice.socket or "", choice.option or "")
    order = [first, *(key for key in working if key != first)]
    return [_Use(choice.box, sockets[socket], working[(socket, id_)]) for socket, id_ in order]


def _likeliest_first(rivals: Sequence[list[_Use]]) -> Iterator[tuple[_Use, ...]]:
    """Yield one use of each box, by how far they are from each box's own best all in all.

    One by one: all combinations of many boxes fit into no memory.
    """
    first = (0,) * len(rivals)
    waiting, seen = [(0, first)], {first}
    while waiting:
        away, places = heappop(waiting)
        yield tuple(r[k] for r, k in zip(rivals, places, strict=True))
        for box, place in enumerate(places):
            after = (*places[:box], place + 1, *places[box + 1 :])
            if place + 1 < len(rivals[box]) and after not in seen:
                seen.add(after)
                heappush(waiting, (away + 1, after))


def _solved(desks: Sequence[Desk], advice: Advice, uses: tuple[_Use, ...]) -> Together:
    options: list[OptionAdvice] = []
    says: dict[str, list[tuple[str, str]]] = {}  # what is said of several stands once
    for desk in desks:
        for use in uses:
            found = _beside(desk, use, uses)
            options.append(found)
            for told in _suffers(found, _alone(advice, found)):
                says.setdefault(told, []).append((found.box, found.option.id))
    known = {c.box: c for c in advice.choices}
    choices = tuple(
        Choice(u.box, u.option.id, u.socket.name, known[u.box].why) for u in uses
    ) + tuple(c for c in advice.choices if c.option is None)
    grouped = tuple(f"{_who(who)}: {told}" for told, who in says.items())
    return Together(choices, tuple(options), True, grouped)


def instead(desks: Sequence[Desk], advice: Advice, other: OptionAdvice) -> Beside | None:
    """Return another way for one box with what the others use plugged in.

    None where nothing else hangs on the device.
    """
    keys = {c.box: (c.socket, c.option) for c in advice.choices if c.option is not None}
    keys[other.box] = (other.socket, other.option.id)
    if len(keys) < 2:
        return None
    sockets = {s.name: s for s in desks[0].destination.inputs}
    ways = {(o.box, o.socket, o.option.id): o.used.option for o in advice.options}
    if any((box, *key) not in ways for box, key in keys.items()):
        return None  # a digital link hangs on no other lead
    uses = tuple(_Use(b, sockets[str(key[0])], ways[b, str(key[0]), str(key[1])])
                 for b, key in keys.items())  # fmt: skip
    own = next(u for u in uses if u.box == other.box)
    return Beside(desks, advice, uses, own, tuple(_beside(d, own, uses) for d in desks))


@dataclass(frozen=True)
class Beside:
    """One way of one box with the others plugged in; what it does to these is solved if asked."""

    desks: Sequence[Desk]
    advice: Advice
    uses: tuple[_Use, ...]
    own: _Use
    options: tuple[OptionAdvice, ...]

    @cached_property
    def harms(self) -> bool:
        """It suffers itself, or makes another box suffer."""
        if any(_suffers(o, _alone(self.advice, o)) for o in self.options):
            return True
        others = (u for u in self.uses if u is not self.own)
        found = (_beside(desk, u, self.uses) for u in others for desk in self.desks)
        return any(_suffers(o, _alone(self.advice, o)) for o in found)


def _beside(desk: Desk, use: _Use, uses: Sequence[_Use]) -> OptionAdvice:
    company = tuple(_link(desk, other) for other in uses if other is not use)
    return judged(desk, use.socket, use.option, company)


def without_splitter(
    desks: Sequence[Desk], advice: Advice, chosen: Sequence[Choice], best: Together
) -> tuple[Together | None, str]:
    """Return a set that is as good and hangs fewer leads on one output, where there is one.

    Where there is none, what the splitter buys: what would have to be minded without it.
    """
    held = [next(u for u in _uses(desks[0], advice, c)) for c in best.choices if c.option]
    now = len({u.option.from_ for u in held})
    outputs = {c for c in desks[0].device.connectors if c in ("xlr", "rca")}
    if now >= min(len(held), len(outputs)):
        return None, ""
    wanted = desks[0].destination.wanted
    rivals = [
        [use, *(u for u in _uses(desks[0], advice, c) if u != use and as_good(
            _candidate(advice, u), _candidate(advice, use), wanted(use.box)))]
        for use, c in zip(held, chosen, strict=True)
    ]  # fmt: skip
    more = (
        s for s in islice(_likeliest_first(rivals), MOST_LOOKED_AT)
        if len({u.option.from_ for u in s}) > now and _parts(s) <= _parts(held)
    )  # fmt: skip
    buys = ""
    for uses in islice(more, FREE_SETS):
        found = _solved(desks, advice, uses)
        lacks = (*found.says, *_minded(advice, found), *unlike(desks[0], found.options))
        if not lacks:
            return found, ""
        buys = buys or f"{_with_fewer(held, uses)}, but then {'; '.join(lacks)}"
    return None, buys or _lead_lacks(desks[0], advice, held, chosen)


def _lead_lacks(
    desk: Desk, advice: Advice, held: Sequence[_Use], chosen: Sequence[Choice]
) -> str:  # fmt: skip
    """Return what a lead from the other output lacks by itself, where none does as well.

    It would need no splitter, works or merely is better avoided, and is no part to buy.
    """
    sockets = {s.name: s for s in desk.destination.inputs}
    for use, c in reversed(list(zip(held, chosen, strict=True))):
        for o in advice.options:
            way = (o.socket, o.option.id)
            other = o.box == use.box and o.option.from_ != use.option.from_
            if not other or o.option.pin_3 == "transformer" or o.used.verdict == "cannot-tell":
                continue
            lacks = dict(c.left).get(way) if o.used.verdict == "works" else ""
            lacks = o.used.because if o.used.verdict == "avoid" else lacks
            uses = [_Use(u.box, sockets[o.socket], o.used.option) if u is use else u for u in held]
            if lacks and _parts(uses) <= _parts(held):
                return f"{_with_fewer(held, uses)}, but then: {lacks}"
    return ""


def _with_fewer(held: Sequence[_Use], uses: Sequence[_Use]) -> str:
    """Return in words which leads would have to be others to need fewer splitters."""
    moved = " and ".join(f"{u.option.id} ({u.box})" for u in uses if u not in held)
    outputs = len({u.option.from_ for u in uses})
    return (
        f"With {moved} {'no splitter' if len(uses) == outputs else 'one splitter less'} is needed"
    )


def _parts(uses: Sequence[_Use]) -> int:
    """Return how many parts a set needs: those of each lead, and the splitters between them."""
    return sum(u.option.parts for u in uses) + len(uses) - len({u.option.from_ for u in uses})


def _candidate(advice: Advice, use: _Use) -> Candidate:
    return candidate(advice, use.box, use.socket.name, use.option.id)


def _link(desk: Desk, use: _Use) -> Link:
    return Link(use.option, use.socket, "unknown", 0.0, desk.destination.cable_of(use.socket))


def _alone(advice: Advice, found: OptionAdvice) -> OptionAdvice:
    """Return the same option without the others, with its attenuator where ``found`` has one."""
    key = (found.side, found.box, found.socket, found.option.id)
    bare = next(o for o in advice.options if (o.side, o.box, o.socket, o.option.id) == key)
    padded = found.option.pad is not None and bare.attenuator is not None
    return bare.attenuator.advice if padded and bare.attenuator is not None else bare


def _suffers(found: OptionAdvice, alone: OptionAdvice) -> list[str]:
    """Return what the company does to one option that it may not."""
    if found.verdict != "works":
        return [f"with the others plugged in {_judged(found)}"]
    change = _change_db(found, alone)
    if change is not None and change < -limit.GAIN_REACHED_DB:
        before, now = (o.figures.full_output_margin_db for o in (alone, found))
        filled = before is not None and before.low >= 0.0
        short = ", short of full output then" if filled and now and now.low < 0.0 else ""
        return [f"{change:+.1f} dB by what the other leads draw{short}"]
    return []


def _change_db(found: OptionAdvice, alone: OptionAdvice) -> float | None:
    """Return what the company does to the level, where both are known; of the volts if need be."""
    now, before = (o.figures.level_vs_reference_db for o in (found, alone))
    if now is not None and before is not None:
        return now.value - before.value
    now, before = (o.figures.level for o in (found, alone))
    if now is None or before is None or min(now.value, before.value) <= 0.0:
        return None
    return float(ratio_to_db(now.value / before.value))


def _ordered(tried: Sequence[Together]) -> tuple[Together, ...]:
    """Return the best set, then the set of each box's own best where that is another one."""
    best = min(tried, key=lambda t: (len(_harmed(t)), bool(t.says)))
    return (best,) if best is tried[0] else (best, tried[0])


def _said(
    desk: Desk, sets: Sequence[Together], chosen: Sequence[Choice], advice: Advice, buys: str
) -> tuple[Note, ...]:
    notes = []
    own, best = sets[-1], sets[0]
    if len({o.option.from_ for o in best.options}) < len(chosen):
        says = (
            f"Several leads hang on one output here{_sharing(best)}: the device needs a second "
            "socket, or a splitter that joins like pins."
        )
        notes.append(Note("shared-output", says))
        notes += [Note("splitter-buys", buys)] if buys else []
    if best.says:
        notes.append(_not_as_alone(best))
    elif best is not own:
        does_not = "does not (why: above)" if own.says else "would need a splitter"
        says = f"The leads were chosen to go together: each box's own best {does_not}"
        notes.append(Note("together", says))
    return (*notes, *_to_mind(desk, advice, best))


def _sharing(best: Together) -> str:
    """Name the boxes that share an output, where another one has its own."""
    outputs: dict[str, dict[str, None]] = {}
    for option in best.options:
        outputs.setdefault(option.option.from_, {})[option.box] = None
    if all(len(boxes) > 1 for boxes in outputs.values()):
        return ""
    return f" ({all_of(next(boxes for boxes in outputs.values() if len(boxes) > 1))})"


def _to_mind(desk: Desk, advice: Advice, best: Together) -> list[Note]:
    """Say what has to be minded of a lead only because of the others."""
    told = "; ".join((*_minded(advice, best), *unlike_untold(desk, best.options)))
    return [Note("together-mind", f"To mind with all plugged in at once: {told}")] if told else []


def _minded(advice: Advice, best: Together) -> list[str]:
    where: dict[str, list[tuple[str, str]]] = {}
    for found in best.options:
        known = {h.code for h in _alone(advice, found).hazards}
        for h in found.hazards:
            if h.code not in known and found.verdict == "works":
                where.setdefault(h.message, []).append((found.box, found.option.id))
    return [f"{_who(held)}: {says}" for says, held in where.items()]


def _who(held: Sequence[tuple[str, str]]) -> str:
    """Return boxes with their ways, those of one way together."""
    ways: dict[str, dict[str, None]] = {}
    for box, way in held:
        ways.setdefault(way, {})[box] = None
    return "; ".join(f"{' and '.join(boxes)}, {way}" for way, boxes in ways.items())


def _not_as_alone(best: Together) -> Note:
    """Say that the leads of the best set take level from each other, or may do worse."""
    why = "; ".join(best.says)
    if any(o.verdict == "cannot-tell" for o in best.options):
        says = f"Judged is each lead alone; whether all work together is not settled: {why}"
        return Note("together-not-settled", says)
    says = "With all plugged in at once each works, but not as loud as alone"
    return Note("together-suffers", f"{says}: {why}")


UNCHANGED = "level unchanged"


def effects(advice: Advice) -> dict[str, str]:
    """Return in words what the other leads do to each box of the best set, by its name."""
    if not advice.sets:
        return {}
    sides: dict[str, list[OptionAdvice]] = {}
    for found in advice.sets[0].options:
        sides.setdefault(found.box, []).append(found)
    return {box: _effect(advice, held) for box, held in sides.items()}


def _effect(advice: Advice, sides: Sequence[OptionAdvice]) -> str:
    """Return what the other leads do to one box; of a pair of sides what they do to the worse."""
    figures = worse_side([o.figures for o in sides])
    changes = [_change_db(o, _alone(advice, o)) for o in sides]
    known = [c for c in changes if c is not None]
    if figures.level is None or len(known) < len(changes):
        told = ["level not known with the others plugged in"]
    else:
        change = min(known)
        gain = figures.loudness_vs_reference_db or figures.level_vs_reference_db
        compared = gain is not None and sides[0].reference != "none"
        told = [] if compared else [f"{figure(figures.level)} at the input"]
        told += [
            UNCHANGED if abs(change) < FELT_DB else f"level {change:+.2f} dB by the other leads"
        ]
    hum = figures.hum_below_full_output_db
    alone = worse_side([_alone(advice, o).figures for o in sides]).hum_below_full_output_db
    if hum is not None and (alone is None or alone.value - hum.value >= limit.TIE_BREAK_DB):
        told.append(f"hum {decibels(hum)} below full output")
    return ", ".join(told)
