"""Several boxes on one device: the leads chosen for each, solved once more as one network.

What one lead does to the others is in that solution: a load, a tie that takes the level from the
other box, a ground current that the device's own impedance turns into hum elsewhere. The set of
each box's own best is tried first; where a box suffers in it, other working options are.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property, partial
from itertools import islice

from probe.advice import thresholds as limit
from probe.advice.alike import as_good, candidate
from probe.advice.below_minimum import below_minimum, lightened
from probe.advice.candidate import Candidate
from probe.advice.choose import mark
from probe.advice.company import (
    as_well,
    by_itself,
    clipping,
    clips_anew,
    falls_short,
    fewer_clip,
    judged_in_words,
    minded,
    suffers,
    who_they_are,
)
from probe.advice.compiled import judged
from probe.advice.desk import Desk
from probe.advice.equal_boxes import unlike, unlike_untold
from probe.advice.ground import GroundPath
from probe.advice.model import Advice, Choice, OptionAdvice, Together
from probe.advice.note import Note
from probe.advice.quantity import Quantity
from probe.advice.series_resistors import overloaded, relieved
from probe.advice.solve import Link
from probe.advice.use import Made, Use, likeliest_first, parts_of, ranks, use_of, uses_of
from probe.formats.text import all_of

MOST_SETS = 12
"""Combinations tried, the likeliest first: with three boxes and five options all would take a
minute."""

MOST_SOLVED = 2000
"""Figures solved, for all sides, after which no further set is begun: inputs, grounds and windings
of which nothing is known multiply, and twelve sets of them took many minutes."""

MOST_LOOKED_AT = 10_000
"""Combinations looked through for such sets, unsolved, the likeliest first."""

FREE_SETS = 3
"""Sets that need no splitter tried where one does: each more takes about as long again."""


def best_sets(
    desks: Sequence[Desk], advice: Advice
) -> tuple[tuple[Together, ...], tuple[Note, ...]]:
    """Return what goes together, the best set first, and what has to be said of it.

    A box for which no set has a way that works is left out, the one with the least level to spare
    first, then the heaviest input: what is used must be what may be plugged in with the rest.
    Nothing here asks in which order boxes were named.
    """
    going = [c for c in advice.choices if c.option is not None]
    out: list[Choice] = []
    while len(going) > 1 and (harmed := _harmed(_ordered(_tried(desks, advice, going))[0])):
        out.append(_first_out(desks[0], advice, going, harmed))
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
        alone = Together(advice.choices, (), True)
        alone = _less_to_buy(desks, advice, alone) or alone
        return ((alone,) if advice.choices else ()), tuple(notes)
    tried = _tried(desks, advice, going)
    best = _ordered(tried)[0]
    advice = fitted(advice, best.eased)
    spared, buys = without_splitter(desks, advice, going, best)
    if spared is None and minded(advice, best):
        spared, buys = _lessto_mind(desks, advice, going, best) or (None, buys)
    sets = _ordered(tried) if spared is None else (spared, tried[0])
    if lighter := lightened(desks, advice, sets[0], partial(_fitted_set, desks)):
        advice, sets = fitted(advice, lighter.eased), (lighter, *sets[1:])
    if cheaper := _less_to_buy(desks, advice, sets[0]):
        sets = (cheaper, *sets[-1:])
    notes += _said(desks[0], sets, going, advice, buys)
    notes += below_minimum(desks, advice, sets[0], partial(_fitted_set, desks))
    return sets, tuple(notes)


def _fitted_set(
    desks: Sequence[Desk], advice: Advice, uses: tuple[Use, ...], eased: tuple[OptionAdvice, ...]
) -> Together:
    return _solved(desks, fitted(advice, eased), uses, eased)


def _less_to_buy(desks: Sequence[Desk], advice: Advice, best: Together) -> Together | None:
    """Return what needs less to be bought in place of a set, where that is known to do as well.

    With usual leads it must harm nobody either.
    """
    known = desks[0].destination.less_to_buy if desks else None
    used = {(c.box, c.socket, c.option): c for c in best.choices if c.option is not None}
    if known is None or used.keys() != known.instead_of:
        return None
    ways = {box: (socket, option) for box, socket, option in known.ways}
    sides = {box: _sides_of(advice, box, *way) for box, way in ways.items()}
    if not all(sides.values()):
        return None  # not asked about
    if len(ways) > 1:
        sockets = {s.name: s for s in desks[0].destination.inputs}
        order = [c.box for c in best.choices if c.box in ways]
        uses = tuple(use_of(sockets[ways[box][0]], sides[box]) for box in order)
        found = _fitted_set(desks, advice, uses, best.eased)
        if not set(found.says) <= set(best.says) or not set(found.short) <= set(best.short):
            return None
    else:
        found = replace(best, choices=tuple(
            replace(c, socket=ways[c.box][0], option=ways[c.box][1]) if c.box in ways else c
            for c in best.choices
        ))  # fmt: skip
        if not all(o.works for (held,) in [sides.values()] for o in held):
            return None
    return replace(found, less_to_buy=known.why)


def _sides_of(advice: Advice, box: str, socket: str, option: str) -> list[OptionAdvice]:
    return [o for o in advice.options if (o.box, o.socket, o.option.id) == (box, socket, option)]


def _first_out(
    desk: Desk, advice: Advice, going: Sequence[Choice], harmed: set[str]
) -> Choice:  # fmt: skip
    """Return which box that cannot be used with the rest is left out."""
    rank = ranks(desk.destination.inputs, [c.box for c in going])

    def spares(choice: Choice) -> float:
        way = (choice.box, choice.socket, choice.option)
        held = [o.figures.full_output_margin_db for o in advice.options
                if (o.box, o.socket, o.option.id) == way]  # fmt: skip
        return min((margin.low for margin in held if margin is not None), default=0.0)

    may = [k for k, c in enumerate(going) if c.box in harmed]
    return going[min(may, key=lambda k: (spares(going[k]), -rank[k]))]


def _sets(desk: Desk, rivals: Sequence[list[Use]]) -> Iterator[tuple[Use, ...]]:
    """Yield the sets that may be solved, the likeliest first, then what needs least to be bought.

    Of what is left the heaviest input moves first: it is what the others feel.
    """
    rank = ranks(desk.destination.inputs, [ways[0].box for ways in rivals])
    return islice(likeliest_first(rivals, _bought, rank), MOST_LOOKED_AT)


def _tried(desks: Sequence[Desk], advice: Advice, chosen: Sequence[Choice]) -> list[Together]:
    """Return the sets that were solved, each box's own best first, until one harms nobody.

    Behind resistors one that does without them is looked for, of what needs no more to be bought.
    """
    rivals = [uses_of(desks[0].destination.inputs, advice, choice) for choice in chosen]
    tried: list[Together] = []
    solved, before = 0, sum(desk.solved for desk in desks)
    for uses in _sets(desks[0], rivals):
        if tried and _cannot_win(uses, tried):
            continue
        held = next(filter(_behind_resistors, tried), None)
        for found in _with_resistors(desks, advice, uses):
            if held is not None and (_quieter_than(found, held) or not as_well(found, held)):
                continue
            # what resistors take off is meant
            meant = not tried or found.eased or fewer_clip(found, tried[0])
            if meant or not _quieter_than(found, tried[0]):
                tried.append(found)
        solved += 1
        long = sum(desk.solved for desk in desks) - before >= MOST_SOLVED
        goes = not tried[-1].says and not clipping(tried[-1]) & set(tried[-1].short)
        if (goes and not tried[-1].eased) or solved == MOST_SETS or long:
            break
    return tried


def _behind_resistors(one: Together) -> bool:
    """Tell whether a set harms nobody with resistors in its plugs."""
    return bool(one.eased) and not one.says


def _cannot_win(uses: Sequence[Use], tried: Sequence[Together]) -> bool:
    """Tell whether a set needs more to be bought where no more than level is missing."""
    best, own = _ordered(tried)[0], _bought(_held(tried[0]))
    if _behind_resistors(best):
        return any(_more(_bought(uses), _bought(_held(best))))
    more = _more(_bought(uses), own)
    return not any(_faults(best)) and any(more) and more >= _more(_bought(_held(best)), own)


def _with_resistors(
    desks: Sequence[Desk], advice: Advice, uses: tuple[Use, ...]
) -> Iterator[Together]:
    """Yield a set, and with series resistors in its plugs where all of it is too hard a load."""
    found = _solved(desks, advice, uses)
    yield found
    if not overloaded(found.options):
        return
    last = None
    for made, eased in relieved(desks, advice, uses, found.options):
        last = made, eased
        if not _too_heavy_still(desks, made):
            break
    if last is not None:
        yield _fitted_set(desks, advice, *last)


def _too_heavy_still(desks: Sequence[Desk], uses: tuple[Use, ...]) -> bool:
    """Tell whether a set is too heavy, solved without hum and mismatches.

    What hangs on an output, and the current into it, do not ask for the ground; with all that a
    ground may be it takes sixteen times as long.
    """
    quiet = tuple(
        replace(u, socket=replace(u.socket, ground=GroundPath(None), mismatch=0.0)) for u in uses
    )
    return bool(overloaded([_beside(desk, use, quiet) for desk in desks for use in quiet]))


def fitted(advice: Advice, eased: Sequence[OptionAdvice]) -> Advice:
    """Return the advice with other resistors in the plugs of some ways."""
    return replace(advice, options=_in_place(advice.options, eased))


def _in_place(
    options: Sequence[OptionAdvice], eased: Sequence[OptionAdvice]
) -> tuple[OptionAdvice, ...]:
    other = {(o.side, o.box, o.socket, o.option.id): o.attenuator for o in eased}
    return tuple(
        replace(o, attenuator=other.get((o.side, o.box, o.socket, o.option.id), o.attenuator))
        for o in options
    )


def _harmed(one: Together) -> set[str]:
    """Return the boxes whose lead is not to be used with the others of the set."""
    return {o.box for o in one.options if _harms(o)}


def _harms(option: OptionAdvice) -> bool:
    return option.verdict in ("avoid", "never") and not option.works


def _open(one: Together) -> set[str]:
    """Return the boxes of which nobody can tell whether their lead works with the others."""
    return {o.box for o in one.options if o.verdict == "cannot-tell"}


def _without(advice: Advice, own: Choice, best: Together) -> tuple[Advice, Note]:
    """Return the advice with nothing for a box that goes with no set, and what is said of it."""
    harmed = [o for o in best.options if _harms(o)]
    mine = next((o for o in harmed if o.box == own.box), harmed[0])
    beside = ", ".join(dict.fromkeys(o.box for o in best.options if o.box != own.box))
    does_not = f"with {beside} on this device too {mine.option.id} is {judged_in_words(mine)}"
    why = (
        f"no lead for it goes with what the other boxes use: {does_not}",
        f"with the others unplugged: {own.option}",
    )
    left = {**dict(own.left), (own.socket or "", own.option or ""): "does not go with the others"}
    nothing = Choice(own.box, None, None, why, left=tuple(left.items()))
    choices = tuple(nothing if c.box == own.box else c for c in advice.choices)
    says = f"Not all of these boxes can hang on this device at once: not {own.box}; {does_not}"
    return replace(advice, choices=choices), Note("together-not-all", says)


def _quieter_than(other: Together, own: Together) -> bool:
    """Tell whether a set gives a box less than each box's own best does, company and all.

    Where the own best only loses level by the others, what loses more by itself is no cure.
    """
    if not all(o.works for o in own.options):
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
    eased = advice.sets[0].eased
    if choices == advice.choices and not eased:
        return advice
    return replace(advice, choices=choices, options=mark(_in_place(bare, eased), choices))


def _instead(own: Choice, best: Choice, advice: Advice) -> Choice:
    """Return what a box uses in the best set, and why it is not its own best."""
    if (own.option, own.socket) == (best.option, best.socket):
        return _relieved(own, advice.sets[0])
    if cheaper := dict(advice.sets[0].less_to_buy).get(own.box):
        return _cheaper(own, best, cheaper, advice)
    if best.option is None:  # no set has anything for it
        return best
    says, lacks = "; ".join(advice.sets[-1].says), "does not go with the others"
    does_not = f"does not go with what the other boxes use: {says}"
    if not says:
        does_not = lacks = _company(advice.sets)
    padded = any(o.option.pad is not None for o in advice.sets[0].options if o.box == best.box)
    left = {**dict(own.left), (own.socket or "", own.option or ""): lacks}
    left.pop((best.socket or "", best.option or ""), None)
    why = (f"chosen for all plugged in at once: {own.option}, the best one alone, {does_not}",)
    return replace(best, why=why, attenuator=padded, left=tuple(left.items()))


def _cheaper(own: Choice, best: Choice, why: str, advice: Advice) -> Choice:
    """Return what a box uses because less of it has to be bought."""
    sides = _sides_of(advice, best.box, best.socket or "", best.option or "")
    padded = any(o.used is not o for o in sides)
    lacks = "no better with what is on the shelf, where more of it has to be bought"
    left = {**dict(own.left), (own.socket or "", own.option or ""): lacks}
    left.pop((best.socket or "", best.option or ""), None)
    return replace(best, why=(why,), attenuator=padded, left=tuple(left.items()))


def _company(sets: Sequence[Together]) -> str:
    """Return what is against each box's own best, where all of them work together."""
    if _outputs(sets[-1].options) < _outputs(sets[0].options):
        return "needs a splitter on an output that another box uses"
    return "has more to mind with the others plugged in"


def _relieved(own: Choice, best: Together) -> Choice:
    """Return the choice with the resistors that its way has with all plugged in."""
    eased = [o for o in best.eased if o.box == own.box]
    made = eased[0].attenuator if eased else None
    if made is None or not made.relieves:
        return own
    why = (
        f"only with {made.designs[0].pad.named} in its plug, {made.attenuation_db:.1f} dB: without "
        f"such ones all inputs on this output are too heavy together; {made.why}"
    )
    more = own.why[1:] if own.attenuator else own.why
    return replace(own, why=(why, *more), attenuator=True)


def _solved(
    desks: Sequence[Desk], advice: Advice, uses: tuple[Use, ...],
    eased: tuple[OptionAdvice, ...] = (),
) -> Together:  # fmt: skip
    options: list[OptionAdvice] = []
    says: dict[str, list[tuple[str, str]]] = {}  # what is said of several stands once
    short: dict[str, None] = {}
    for desk in desks:
        for use in uses:
            found = _beside(desk, use, uses)
            alone = by_itself(advice, found)
            options.append(found)
            wanted = desk.destination.wanted(use.box)
            if falls_short(found, alone, wanted) or clips_anew(advice, found):
                short[use.box] = None
            for told in suffers(found, alone):
                says.setdefault(told, []).append((found.box, found.option.id))
    known = {c.box: c for c in advice.choices}
    choices = tuple(
        Choice(u.box, u.option.id, u.socket.name, known[u.box].why) for u in uses
    ) + tuple(c for c in advice.choices if c.option is None)
    grouped = tuple(f"{who_they_are(who)}: {told}" for told, who in says.items())
    return Together(choices, tuple(options), True, grouped, eased, tuple(short))


def instead(desks: Sequence[Desk], advice: Advice, other: OptionAdvice) -> Beside | None:
    """Return another way for one box with what the others use plugged in.

    None where nothing else hangs on the device.
    """
    keys = {c.box: (c.socket, c.option) for c in advice.choices if c.option is not None}
    keys[other.box] = (other.socket, other.option.id)
    if len(keys) < 2:
        return None
    sockets = {s.name: s for s in desks[0].destination.inputs}
    ways: dict[tuple[str, str, str], list[OptionAdvice]] = {}
    for o in advice.options:
        ways.setdefault((o.box, o.socket, o.option.id), []).append(o)
    if any((box, *key) not in ways for box, key in keys.items()):
        return None  # a digital link hangs on no other lead
    uses = tuple(use_of(sockets[str(key[0])], ways[b, str(key[0]), str(key[1])])
                 for b, key in keys.items())  # fmt: skip
    own = next(u for u in uses if u.box == other.box)
    return Beside(desks, advice, uses, own, tuple(_beside(d, own, uses) for d in desks))


@dataclass(frozen=True)
class Beside:
    """One way of one box with the others plugged in; what it does to these is solved if asked."""

    desks: Sequence[Desk]
    advice: Advice
    uses: tuple[Use, ...]
    own: Use
    options: tuple[OptionAdvice, ...]

    @cached_property
    def harms(self) -> bool:
        """It suffers itself, or makes another box suffer."""
        if any(suffers(o, by_itself(self.advice, o)) for o in self.options):
            return True
        others = (u for u in self.uses if u is not self.own)
        found = (_beside(desk, u, self.uses) for u in others for desk in self.desks)
        return any(suffers(o, by_itself(self.advice, o)) for o in found)


def _beside(desk: Desk, use: Use, uses: Sequence[Use]) -> OptionAdvice:
    company = tuple(_link(desk, other) for other in uses if other is not use)
    return judged(desk, use.socket, use.on(desk.side.name), company)


def without_splitter(
    desks: Sequence[Desk], advice: Advice, chosen: Sequence[Choice], best: Together
) -> tuple[Together | None, str]:
    """Return a set that is as good and hangs fewer leads on one output, where there is one.

    Where there is none, what the splitter buys: what would have to be minded without it.
    """
    rivals = _as_good(desks[0], advice, chosen, best)
    held = [ways[0] for ways in rivals]
    now = len({u.option.from_ for u in held})
    outputs = {c for c in desks[0].device.connectors if c in ("xlr", "rca")}
    if now >= min(len(held), len(outputs)):
        return None, ""
    more = (
        s for s in _sets(desks[0], rivals)
        if len({u.option.from_ for u in s}) > now and parts_of(s) <= parts_of(held)
    )  # fmt: skip
    buys = ""
    for uses in sorted(more, key=_bought)[:FREE_SETS]:  # what needs least to be bought first
        found = _solved(desks, advice, uses, best.eased)
        short = [f"{box} stays short of full output" for box in found.short
                 if box not in best.short]  # fmt: skip
        lacks = (*found.says, *minded(advice, found), *unlike(desks[0], found.options), *short)
        if not lacks:
            return found, ""
        buys = buys or f"{_with_fewer(held, uses)}, but then {'; '.join(lacks)}"
    return None, buys or _lead_lacks(desks[0], advice, held, chosen)


def _as_good(
    desk: Desk, advice: Advice, chosen: Sequence[Choice], best: Together
) -> list[list[Use]]:  # fmt: skip
    """Return what each box uses in a set, before what does as well alone."""
    inputs, wanted = desk.destination.inputs, desk.destination.wanted
    held = [next(u for u in uses_of(inputs, advice, c)) for c in best.choices if c.option]
    return [
        [use, *(u for u in uses_of(inputs, advice, c) if u != use and as_good(
            _candidate(advice, u), _candidate(advice, use), wanted(use.box)))]
        for use, c in zip(held, chosen, strict=True)
    ]  # fmt: skip


def _lessto_mind(
    desks: Sequence[Desk], advice: Advice, chosen: Sequence[Choice], best: Together
) -> tuple[Together, str] | None:
    """Return a set of ways as good alone with nothing to mind because of the others.

    With it what its splitter buys. Nothing but a splitter is bought for it.
    """
    rivals = _as_good(desks[0], advice, chosen, best)
    held = tuple(ways[0] for ways in rivals)
    parts = [sum(u.option.parts for u in held), _outputs(best.options)]
    others = (
        s for s in _sets(desks[0], rivals)
        if s != held and sum(u.option.parts for u in s) <= parts[0]
    )  # fmt: skip
    for uses in islice(others, FREE_SETS):
        found = _solved(desks, advice, uses, best.eased)
        if found.says or minded(advice, found) or unlike(desks[0], found.options):
            continue
        lacks = f"{_with_fewer(uses, held)}, but then {'; '.join(minded(advice, best))}"
        return found, lacks if _outputs(found.options) < parts[1] else ""
    return None


def _outputs(options: Sequence[Made]) -> int:
    return len({o.option.from_ for o in options})


def _lead_lacks(
    desk: Desk, advice: Advice, held: Sequence[Use], chosen: Sequence[Choice]
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
            other_use = use_of(sockets[o.socket], _sides(advice, o))
            uses = [other_use if u is use else u for u in held]
            if lacks and parts_of(uses) <= parts_of(held):
                return f"{_with_fewer(held, uses)}, but then: {lacks}"
    return ""


def _with_fewer(held: Sequence[Use], uses: Sequence[Use]) -> str:
    """Return in words which leads would have to be others to need fewer splitters."""
    moved = " and ".join(f"{u.option.id} ({u.box})" for u in uses if u not in held)
    outputs = len({u.option.from_ for u in uses})
    return (
        f"With {moved} {'no splitter' if len(uses) == outputs else 'one splitter less'} is needed"
    )


def _candidate(advice: Advice, use: Use) -> Candidate:
    found = candidate(advice, use.box, use.socket.name, use.option.id)
    if not use.padded or found.padded:
        return found
    return replace(found, bare=tuple(s.with_fitted() for s in found.bare))


def _sides(advice: Advice, one: OptionAdvice) -> list[OptionAdvice]:
    """Return one way on all sides."""
    way = (one.box, one.socket, one.option.id)
    return [o for o in advice.options if (o.box, o.socket, o.option.id) == way]


def _link(desk: Desk, use: Use) -> Link:
    lead = desk.destination.cable_of(use.socket, use.option.id)
    return Link(use.on(desk.side.name), use.socket, "unknown", 0.0, lead)


def _ordered(tried: Sequence[Together]) -> tuple[Together, ...]:
    """Return the best set, then the set of each box's own best where that is another one."""
    own = tried[0]

    def lacks(one: Together) -> tuple[float, ...]:
        # nothing is bought for level that a turn of the volume control gives back
        bought = _more(_bought(_held(one)), _bought(_held(own)))
        return (*_faults(one), *bought, _heavy(one), bool(one.says), len(one.eased))

    best = min(tried, key=lacks)
    return (best,) if best is own else (best, own)


def _faults(one: Together) -> tuple[int, ...]:
    """Return how much of a set may not be, is not known, too heavy, or falls short."""
    return len(_harmed(one)), len(_open(one)), int(_heavy(one) > 0.0), len(one.short)


def _held(one: Together) -> list[OptionAdvice]:
    return list({o.box: o for o in one.options}.values())


def _heavy(one: Together) -> float:
    """Return how heavy, in siemens, what is too heavy behind its resistors, or does not work."""
    outputs = overloaded(one.options)
    return max((1.0 / o.works_into_ohm for o in one.options
                if o.works_into_ohm and o.option.from_ in outputs), default=0.0)  # fmt: skip


def _bought(held: Sequence[Made]) -> tuple[int, int, int]:
    """Return how many isolating transformers, parts and other than plain leads a set needs.

    The one lead of a subwoofer takes one transformer, the two of a pair take two.
    """
    isolated = sum(o.leads for o in held if o.option.pin_3 == "transformer")
    return isolated, parts_of(held), sum(not o.option.native for o in held)


def _more(one: Sequence[int], own: Sequence[int]) -> list[int]:
    return [max(a - b, 0) for a, b in zip(one, own, strict=True)]


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
    elif best is not own and not _goes_as_well(own, best):
        does_not = "would need a splitter"
        if own.says or _outputs(own.options) >= _outputs(best.options):
            does_not = "does not (why: above)"
        says = f"The leads were chosen to go together: each box's own best {does_not}"
        if [(c.option, c.socket) for c in own.choices] == [
            (c.option, c.socket) for c in best.choices
        ]:
            says = "With all plugged in the output needs the series resistors in their plugs"
        notes.append(Note("together", says))
    return (*notes, *to_mind(desk, advice, best))


def _goes_as_well(own: Together, best: Together) -> bool:
    """Tell whether each box's own best goes together, too, and merely more of it is bought."""
    return (
        bool(best.less_to_buy) and not own.says and _outputs(own.options) == _outputs(best.options)
    )


def _sharing(best: Together) -> str:
    """Name the boxes that share an output, where another one has its own."""
    outputs: dict[str, dict[str, None]] = {}
    for option in best.options:
        outputs.setdefault(option.option.from_, {})[option.box] = None
    if all(len(boxes) > 1 for boxes in outputs.values()):
        return ""
    return f" ({all_of(next(boxes for boxes in outputs.values() if len(boxes) > 1))})"


def to_mind(desk: Desk, advice: Advice, best: Together) -> list[Note]:
    """Say what has to be minded of a lead only because of the others."""
    told = "; ".join((*minded(advice, best), *unlike_untold(desk, best.options)))
    return [Note("together-mind", f"To mind with all plugged in at once: {told}")] if told else []


def _not_as_alone(best: Together) -> Note:
    """Say that the leads of the best set take level from each other, or may do worse."""
    why = "; ".join(best.says)
    if any(o.verdict == "cannot-tell" for o in best.options):
        says = f"Judged is each lead alone; whether all work together is not settled: {why}"
        return Note("together-not-settled", says)
    says = "With all plugged in at once each works, but not as loud as alone"
    return Note("together-suffers", f"{says}: {why}")
