"""From a chosen connection and a shelf to what to take, what to order, what to solder."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import Any

from probe.advice.alike import Together, as_good, candidate, ways_as_good
from probe.advice.ask_maker import isolates
from probe.advice.ask_volume import hangs_on_volume
from probe.advice.at_hand import lacks, transformers_on
from probe.advice.branches import ELSEWHERE, FIGURES, first_steps
from probe.advice.candidate import Candidate
from probe.advice.destination import Destination
from probe.advice.fitting import cheaper_parts, dearer_parts
from probe.advice.flip_reasons import ASKED
from probe.advice.heavy_inputs import CODE as HELPS
from probe.advice.lead_data import Solve, SolveBeside
from probe.advice.leads import SPLITTERS
from probe.advice.model import NOT_SO, SO, Advice, Choice, OptionAdvice, Settling
from probe.advice.one_leg import leg_in_doubt
from probe.advice.pad_instead import PadInstead, in_place_of
from probe.advice.picked import pick_together
from probe.advice.picking import one_piece
from probe.advice.plain import against
from probe.advice.shelf import Shelf
from probe.advice.taken import (
    ABOVE,
    CERTAIN,
    IF_NOT,
    OR_TURNED_DOWN,
    WHEN,
    Basket,
    Instead,
    Taken,
    lead_names,
    less,
    splitters_needed,
)
from probe.advice.way_parts import as_used, held_by, leads_needed, parts_of_way
from probe.advice.words import signed_decibels
from probe.formats.text import all_of


@dataclass(frozen=True)
class Lists:
    """What is taken from a shelf, and what is taken with each answer that may be given."""

    own: tuple[Basket, ...]
    branches: tuple[tuple[str, tuple[Basket, ...]], ...] = ()
    """By the answer, that which is hoped for first."""

    def of(self, box: str) -> dict[str, Basket]:
        """Return what a box takes with each answer; nothing of one with which it has no way."""
        return {answer: one for answer, held in self.branches for one in held
                if one.box == box and one.option}  # fmt: skip


def with_shelf_parts(destination: Destination, shelf: Shelf) -> Destination:
    """Return the destination solved with the shelf's own transformer and attenuators.

    An attenuator that is not there, or that no socket takes the way its plugs go, is no reason to
    take off more than is needed.
    """
    plugs = {("rca-female", "rca-male"), ("xlr-female", "xlr-male")}
    pads = [p for p in shelf.parts if p.kind == "attenuator" and p.impedance_ohm is None]
    pads = [p for p in pads if p.stock and (p.from_, p.to) in plugs]
    pads = sorted(pads, key=lambda p: (lacks(p), p.attenuation_db, p.name))
    ends = [(p.to.partition("-")[0], p.attenuation_db or 0.0) for p in pads]
    there = {end for end, p in zip(ends, pads, strict=True) if not lacks(p)}
    return replace(
        destination,
        transformers_at_hand=tuple(transformers_on(shelf)),
        pads_at_hand=tuple(ends),
        pads_lacking=frozenset(ends) - there,
    )


def lists(
    advice: Advice,
    destination: Destination,
    shelf: Shelf,
    system_price: float | None = None,
    together: Together | None = None,
    solve: SolveBeside | None = None,
    pads: Sequence[PadInstead] = (),
) -> Lists:
    """Return a basket for each box, and one for each output that boxes share.

    Of a box that nothing is to be used for only what it would be: ``option`` of such a basket is
    empty, and so are its parts. ``together``: solves another way of one box beside the others.
    ``solve``: solves a way with a lead of the shelf that is not what was solved, beside those that
    are taken for the other boxes. ``pads``: leads that an attenuator quiets where a transformer is
    chosen. With each answer that is looked at all of it is picked once more, from the whole shelf.
    """
    branches = tuple(
        (b.answer, lists(b.advice, b.destination, shelf, system_price, b.together, b.solve,
                         b.pads()).own)
        for b in advice.branches
    )  # fmt: skip
    whole_of = Lists((), branches)
    found: list[Basket] = []
    firsts: dict[str, dict[str, Any]] = {}
    picked = pick_together(advice, destination, shelf, solve)
    whole = shelf  # less what both sides take, where one was measured
    early = shelf  # less what comes first for the boxes before, too
    offered: list[Taken] = []  # attenuators of the boxes before: each may be had at once
    for choice in advice.choices:
        here, with_answer = picked.solve_of(choice.box), whole_of.of(choice.box)
        first = _first(advice, choice, destination, early, here, with_answer)
        early = less(early, first["first"][0].taken) if first else early
        early = less(early, picked.taken(choice.box, early))
        firsts[choice.box] = first
    tried = {box: _plugged(first) for box, first in firsts.items()}
    if any(tried.values()):
        picked = pick_together(advice, destination, shelf, solve, tried, picked)
    for choice in advice.choices:
        first = firsts[choice.box]
        if choice.option is None:
            told = tuple(b.option for b in first.get("first", ()))
            nothing = first.get("before") not in WHEN  # there is something to be tried
            none = _none_yet(
                advice, choice, destination, shelf, told, nothing=nothing, tried=tried[choice.box]
            )
            asked = hangs_on_volume(advice, choice.box)
            if asked is not None:
                cases = tuple(_of_answers(none, asked, destination, shelf, whole))
                none = replace(none, cases=cases)
                for _, more in cases:
                    shelf, whole = less(shelf, more.taken), less(whole, more.both)
            found.append(replace(none, system_price=system_price, **first))
            continue
        here = picked.solve_of(choice.box)
        basket = parts_of_way(
            advice, choice, destination, shelf, system_price, solve=here,
            picked=picked.of(choice.box),
        )  # fmt: skip
        basket = replace(basket, both=_again(basket.taken, basket.count_of_both, whole))
        asked = hangs_on_volume(advice, choice.box)
        if asked is not None:
            basket = _either(basket, asked, destination, shelf, whole)
        else:
            basket = _with_instead(basket, advice, choice, destination, shelf, together, here)
        if advice.supposed and not basket.in_stock and basket.instead is None:
            basket = replace(basket, instead=_in_stock(advice, choice, destination, shelf, here))
        mine = [p for p in pads if p.choice.box == choice.box]
        left, cables = less(whole, offered), picked.cables(choice.box)
        if held := in_place_of(basket, mine, destination, left, cables, first):
            basket = replace(basket, pad_instead=held[0])
            offered += held[1]
        shelf, whole = less(shelf, basket.taken), less(whole, basket.both)
        for _, more in basket.cases:
            shelf, whole = less(shelf, more.taken), less(whole, more.both)
        if first.get("before") not in WHEN and all(
            _alike(lead, basket) and not lead.first for lead in first.get("first", ())
        ):
            first = _elsewhere(advice, basket, whole_of.of(choice.box))
        found.append(replace(basket, **first))
    for output in ("xlr", "rca"):
        most, chosen = (
            [b for b in map(on, found) if b is not None]
            for on in (partial(_any_lead, output=output), partial(_own, output=output))
        )
        one, both = (splitters_needed(held) for held in (
            [b.count for b in most], [b.count_of_both for b in most]))  # fmt: skip
        if one:
            basket = _splitters(output, one, both, shelf, whole)
            apart = [b.count for b in chosen if not _tried_from_another(b, output)]
            sure = splitters_needed([b.count for b in chosen])
            basket = replace(basket, unsure=one - sure)
            only = ONLY_IF_NOT if sure and not splitters_needed(apart) else ""
            only = only or _only_with_more(one, sure)
            if only:
                basket = replace(basket, note=f"{only}; {basket.note}")
            shelf, whole = less(shelf, basket.taken), less(whole, basket.both)
            found.append(basket)
    return Lists(tuple(found), branches)


def _plugged(first: Mapping[str, Any]) -> frozenset[str]:
    """Return the leads that are there because they are tried first."""
    plugged = [lead for lead in first.get("first", ()) if not lead.case]
    return lead_names(plugged) if first.get("before") in WHEN else frozenset()


def _first(
    advice: Advice, choice: Choice, destination: Destination, shelf: Shelf, solve: Solve | None,
    branches: Mapping[str, Basket],
) -> dict[str, Any]:  # fmt: skip
    """Return what the leads take that are tried, or asked about, before what is chosen.

    ``branches``: what the box takes with each answer.
    """
    held = first_steps(advice, choice)
    if not held:
        return {}
    told = held[0]
    found = _with_answers(told, branches)
    found = found or _of_step(told, advice, choice, destination, shelf, solve)
    if not found:
        return {}
    found += [*_of_figures(branches), *_of_others(told, branches)] if told.typed else []
    ways = {lead.option for lead in found}
    for asked in held[1:] if told.code in WHEN else ():
        if asked.code in ASKED and not ways & set(asked.answers):
            after = less(shelf, found[0].taken)
            leads = [_tried_already(lead) for lead in _with_answers(asked, branches)]
            leads = leads or _of_step(asked, advice, choice, destination, after, solve)
            tried = lead_names(found[:1])
            found += [replace(lead, case=IF_NOT, plugged=tried) for lead in leads[:1]]
            break
    return {"first": tuple(found), "before": told.code}


def _with_answers(asked: Settling, branches: Mapping[str, Basket]) -> list[Basket]:
    """Return what is taken with the answers to a question, that which is hoped for first.

    Nothing where that is not looked at, or opens nothing beside the other boxes.
    """
    if not asked.typed or SO not in branches:
        return []
    other = branches.get(NOT_SO) if asked.typed_not else None
    return [branches[SO], *([] if other is None else [other])]


def _tried_already(lead: Basket) -> Basket:
    """Return what is taken with an answer once the lead that is tried was found not to do."""
    return replace(lead, first=(), before="") if lead.before in WHEN else lead


def _of_others(asked: Settling, branches: Mapping[str, Basket]) -> Iterator[Basket]:
    """Yield what is taken with each definite answer that is told behind a question.

    Answers that come to the same way stand apart where they do not take, or say, the same.
    """
    for other in asked.others:
        held: list[list[str]] = []
        for answer in other.answers:
            same = (g for g in held if _says_the_same(branches[g[0]], branches[answer]))
            group = next(same, None)
            if group is None:
                held.append([answer])
            else:
                group.append(answer)
        for group in held:
            words = " or ".join(_BRACKETS.sub("", answer) for answer in group)
            yield replace(branches[group[0]], case=f"{CERTAIN} {words}{ABOVE}")


def _says_the_same(one: Basket, other: Basket) -> bool:
    return _alike(one, other) and one.says == other.says


def _of_figures(branches: Mapping[str, Basket]) -> Iterator[Basket]:
    """Yield what is taken with another figure of what is asked for, where that is not the same."""
    for answer, case in FIGURES.items():
        if answer in branches and not (SO in branches and _alike(branches[SO], branches[answer])):
            yield replace(branches[answer], case=case)


def _elsewhere(
    advice: Advice, basket: Basket, branches: Mapping[str, Basket]
) -> dict[str, Any]:  # fmt: skip
    """Return what a box takes of which nothing is asked, where what others ask moves it."""
    with_it = branches.get(SO)
    if with_it is None:
        return {}
    boxes = [c.box for c in advice.choices if first_steps(advice, c)]
    whose = f", as is asked for {all_of(boxes)}" * bool(boxes)
    figures = [replace(one, case=f"{one.case}{whose}") for one in _of_figures(branches)]
    if _alike(with_it, basket):
        return {"first": tuple(figures), "before": ELSEWHERE} if figures else {}
    case = f"if what is asked first for {all_of(boxes)} is so" if boxes else (
        "if the outputs share no resistor, which is asked"
    )  # fmt: skip
    return {"first": (replace(with_it, case=case), *figures), "before": ELSEWHERE}


def _of_step(
    told: Settling, advice: Advice, choice: Choice, destination: Destination, shelf: Shelf,
    solve: Solve | None,
) -> list[Basket]:  # fmt: skip
    """Return what the leads take of one thing that comes first; nothing: it is taken anyway."""
    found: list[Basket] = []
    listened = {a for s in advice.would_change if (s.box, s.code) == (choice.box, "origin-first")
                for a in s.answers}  # fmt: skip
    for answer in told.answers:
        sockets = [o.socket for o in advice.options if (o.box, o.option.id) == (choice.box, answer)]
        sockets += [a.socket for a in advice.digital if (a.box, a.link.id) == (choice.box, answer)]
        if not sockets or (answer == choice.option and not choice.attenuator):
            return []  # what is taken anyway
        socket = choice.socket if choice.socket in sockets else sockets[0]
        lead = replace(choice, option=answer, socket=socket)
        own = any(o.used is not o for o in held_by(advice, lead))
        lead = replace(lead, attenuator=own and answer != choice.option)
        parts = parts_of_way(
            advice, lead, destination, shelf, None, solve=solve, in_doubt=True,
            to_listen=told.code in WHEN and answer in listened,
        )  # fmt: skip
        found.append(replace(parts, both=_again(parts.taken, parts.count_of_both, shelf)))
    return found


_BRACKETS = re.compile(r" \([^)]*\)")


def _in_stock(
    advice: Advice, choice: Choice, destination: Destination, shelf: Shelf, solve: Solve | None
) -> Instead | None:  # fmt: skip
    """Return another lead that works and is all in stock, with what there is to mind of it."""
    for one in dict.fromkeys(o.option.id for o in _same_socket(advice, choice)):
        sides = [o for o in _same_socket(advice, choice) if o.option.id == one]
        if isolates(one) or any(o.verdict != "works" for o in sides):
            continue
        lead = replace(choice, option=one, attenuator=False)
        parts = parts_of_way(advice, lead, destination, shelf, None, solve=solve, in_doubt=True)
        if parts.taken and parts.in_stock:
            minds = dict.fromkeys(against(h.code, o.figures) for o in sides for h in o.hazards)
            but = "; ".join(m for m in minds if m)
            taken = " and ".join(t.says for t in parts.taken)
            says = f"or, in stock, {one}: {taken}, {parts.total:.2f} {parts.currency}"
            return Instead(one, f"{says}, but: {but}" if but else says)
    return None


def _same_socket(advice: Advice, choice: Choice) -> list[OptionAdvice]:
    return [o for o in advice.options if (o.box, o.socket) == (choice.box, choice.socket)]


def _either(
    basket: Basket, asked: Settling, destination: Destination, shelf: Shelf, whole: Shelf
) -> Basket:  # fmt: skip
    """Return the basket with what both answers take alike, and beside it what each takes else.

    Leads are picked for both by what they are in the way as it is used, whose figures are told.
    """
    lists = list(_of_answers(basket, asked, destination, shelf, whole))
    shared = set.intersection(*(_held_by(b) for _, b in lists))

    def parted(one: Basket, *, alike: bool) -> Basket:
        taken, both = (tuple(t for t in held if ((t.piece.says, t.part.name) in shared) is alike)
                       for held in (one.taken, one.both))  # fmt: skip
        missing = tuple(p for p in one.missing if ((p.says, "") in shared) is alike)
        kept = None if alike or one.offered_for != OR_TURNED_DOWN else one.offered
        pads = kept is not None or any(t.piece.kind == "attenuator" for t in taken)
        or_pad = one.or_pad if pads else ()
        return replace(one, taken=taken, both=both, missing=missing, offered=kept, or_pad=or_pad)

    # of an answer with which nothing is used there is nothing to share
    one = next((b for _, b in lists if b.option), lists[0][1])
    found = parted(one, alike=True)
    length, own = basket.length_m, basket.own
    return replace(
        found,
        option=basket.option, system_price=basket.system_price, cable=basket.cable, own=own,
        unlike=basket.unlike, plain=basket.plain, chain=(),
        cheaper=tuple(cheaper_parts(found.taken, shelf, length, own)),
        dearer=tuple(dearer_parts(found.taken, shelf, length, own)),
        cases=tuple((case, parted(one, alike=False)) for case, one in lists),
    )  # fmt: skip


def _of_answers(
    basket: Basket, asked: Settling, destination: Destination, shelf: Shelf, whole: Shelf
) -> Iterator[tuple[str, Basket]]:  # fmt: skip
    """Yield all that a box takes with each answer to what is looked at, with the answer."""
    for case, advice in asked.cases:
        choice = next(c for c in advice.choices if c.box == basket.box)
        if choice.option is None:
            one = _none_yet(advice, choice, destination, shelf)
        else:
            one = parts_of_way(advice, choice, destination, shelf, None, known=basket.own)
        asks = leg_in_doubt(o for o in advice.options if o.box == choice.box)
        both = _again(one.taken, one.count_of_both, whole)
        yield case, replace(one, both=both, asks_more=asks and isolates(choice.option))


def _alike(one: Basket, other: Basket) -> bool:
    """Tell whether two lists take the same, with each answer to what is looked at."""
    pairs = zip(one.cases, other.cases, strict=False)
    return (
        _held_by(one) == _held_by(other)
        and len(one.cases) == len(other.cases)
        and all(_held_by(a) == _held_by(b) for (_, a), (_, b) in pairs)
    )


def _held_by(basket: Basket) -> set[tuple[str, str]]:
    """Return the pieces of a basket, each with the part that is taken for it, be it none."""
    return {(t.piece.says, t.part.name) for t in basket.taken} | {
        (p.says, "") for p in basket.missing
    }


def _with_instead(
    basket: Basket,
    advice: Advice,
    choice: Choice,
    destination: Destination,
    shelf: Shelf,
    together: Together | None,
    solve: Solve | None,
) -> Basket:
    """Return the basket with what is in stock instead, where something of it is not, or is worse.

    What is chosen stays: it is named what does as well by all that is computed, or what is worse of
    it with the lead that is there. Beside a lead that is worse than what was solved what does as
    well and is cheaper, and nothing through a transformer.
    """
    worse = _with_its_lead(advice, choice, basket, solve)
    if basket.in_stock and not worse:
        return basket
    wanted = destination.wanted(choice.box)
    found = []
    for other in ways_as_good(advice, choice, wanted, together, worse):
        if (other.socket, other.option.id) == (choice.socket, choice.option):
            continue  # what of it is in stock was looked at, beside the leads of the others
        way = replace(choice, option=other.option.id, socket=other.socket, attenuator=other.padded)
        parts = parts_of_way(advice, way, destination, shelf, None, solve=solve)
        parts = replace(parts, both=_again(parts.taken, parts.count_of_both, shelf))
        if not parts.taken or not parts.in_stock:
            continue
        theirs = _with_its_lead(advice, way, parts, solve)
        as_well = not theirs and not worse
        if not as_well:
            sides = replace(other, bare=tuple(theirs or as_used(advice, way)))
            as_well = as_good(sides, _used_beside(advice, choice, worse), wanted)
        changed = "" if as_well else _changed(parts)
        if not (as_well or changed) or (
            basket.in_stock and (changed or parts.total >= basket.total)
        ):
            continue
        found.append((parts, other, changed))
    if not found:
        return basket
    best, other, changed = min(found, key=lambda f: (bool(f[2]), f[0].total, f[0].option))
    own = candidate(advice, choice.box, choice.socket or "", choice.option or "").gain
    level = ""
    if own is not None and other.gain is not None and not own.low <= other.gain.value <= own.high:
        level = f"; {signed_decibels(other.gain)} against the link, not {signed_decibels(own)}"
    taken = " and ".join(t.says for t in best.taken)
    stands = (
        "as well as with that lead does" if basket.in_stock else "in stock is what does as well"
    )
    stands += " by all that is computed"
    if changed:
        stands = f"in stock is, with {changed}"
    says = f"{stands}, {best.option}: {taken}, {best.total:.2f} {best.currency}{level}"
    return replace(basket, instead=Instead(best.option, says))


def _used_beside(
    advice: Advice, choice: Choice, worse: Sequence[OptionAdvice]
) -> Candidate:  # fmt: skip
    """Return what is chosen beside the other boxes, with the lead that is taken."""
    beside = [o for one in advice.sets[:1] for o in one.options if o.box == choice.box]
    held = worse or beside or as_used(advice, choice)
    return Candidate(held[0].option, choice.socket or "", tuple(held))


def _changed(parts: Basket) -> str:
    """Return what is worse of a way with the lead that is taken."""
    return next((o.changed for o in parts.own.values() if o.cable == parts.cable), "")


def _with_its_lead(
    advice: Advice, choice: Choice, basket: Basket, solve: Solve | None
) -> Sequence[OptionAdvice]:
    """Return a way on every side with the lead that is taken; nothing where that is as solved."""
    if basket.cable is None or solve is None:
        return ()
    return solve(choice, basket.cable)[: len(held_by(advice, choice))]


ONLY_IF_NOT = "only if a lead that is tried first (above) does not do"
"""When the leads of several boxes share an output, of which one is tried from another."""


def _tried_from_another(basket: Basket, output: str) -> bool:
    """Tell whether a box is tried first with a lead from another output than ``output``."""
    tried = [b.option for b in basket.first[:1] if not b.case and basket.before in WHEN]
    return any(not way.startswith(f"{output}-to-") for way in tried)


def _only_with_more(most: int, sure: int) -> str:
    """Return when splitters are taken that what is chosen needs not, of ``most`` in all."""
    if most == sure:
        return ""
    which = f"{most - sure} of them " if sure else ""
    return (
        f"{which}only where several leads hang on it once what is tried or asked (above) is settled"
    )


def _own(basket: Basket, output: str) -> Basket | None:
    """Return what a box uses, where that is from ``output``."""
    return basket if basket.option.startswith(f"{output}-to-") else None


def _any_lead(basket: Basket, output: str) -> Basket | None:
    """Return a lead from ``output`` that a box uses or may come to, by a trial or an answer."""
    looked = (more for _, more in basket.cases)
    held = (basket, *basket.first, *looked, *filter(None, (basket.helped,)))
    return next((lead for lead in held if _own(lead, output)), None)


def _splitters(output: str, one: int, both: int, shelf: Shelf, whole: Shelf) -> Basket:
    found = one_piece(SPLITTERS[output], one, shelf)
    taken = (found,) if isinstance(found, Taken) else ()
    return Basket(
        box="",
        option="",
        count=one,
        taken=taken,
        missing=() if taken else (SPLITTERS[output],),
        currency=shelf.currency,
        share=None,
        system_price=None,
        dearer=tuple(dearer_parts(taken, shelf, 0.0, {})),
        solder="",
        one_of_two=both != one,
        note="only where the device has one such socket a side",
        both=_again(taken, both, whole),
        shares=output,
    )


def _again(taken: Sequence[Taken], count: int, shelf: Shelf) -> tuple[Taken, ...]:
    """Return the same parts taken ``count`` times from another state of the shelf."""
    found: list[Taken] = []
    for t in taken:
        part = next(p for p in shelf.parts if p.name == t.part.name)
        found.append(Taken(t.piece, part, count))
        shelf = less(shelf, found[-1:])
    return tuple(found)


def _none_yet(
    advice: Advice, choice: Choice, destination: Destination, shelf: Shelf,
    told: Sequence[str] = (), *, nothing: bool = True, tried: frozenset[str] = frozenset(),
) -> Basket:  # fmt: skip
    """Return a basket that says what would be taken; ``told``: ways that come before that.

    ``tried``: names of leads that are there then, for they were plugged in first.
    """
    note = "take nothing yet: no connection is to be used (above)" if nothing else ""
    verdicts = {
        o.verdict for o in advice.options if (o.box, o.option.id) == (choice.box, choice.best)
    }
    better = [s for s in advice.would_change if (s.box, s.code) == (choice.box, "better-lead")]
    if better:
        order = f"order, {leads_needed(advice, choice)} x: {better[0].what}"
        only = f"only with such a lead (above), for {better[0].answers[0]}: {order}"
        return _nothing_of(choice, shelf, note, only)
    if any((s.box, s.code) == (choice.box, HELPS) for s in advice.would_change):
        return _nothing_of(choice, shelf, note, "what would help is named above: order that")
    held = (s for s in advice.would_change if s.box == choice.box and s.part is not None)
    other = next(held, None)
    least = other.answers[0] if other else choice.best
    if least in told and not other:
        return _nothing_of(choice, shelf, note)
    if other or (choice.best is not None and "never" not in verdicts):
        socket = next((o.socket for o in advice.options
                       if (o.box, o.option.id) == (choice.box, least)), None)  # fmt: skip
        if socket is None:  # a digital link; what speaks against it no part on a shelf mends
            return _nothing_of(choice, shelf, note)
        would = replace(choice, option=least, socket=socket)
        found = parts_of_way(advice, would, destination, shelf, None, other.part if other else None)
        both = _again(found.taken, found.count_of_both, shelf)
        found = replace(found, both=both, plugged=tried)
        only = f"if it is connected all the same, the least bad, {least}"
        if "cannot-tell" in verdicts:
            only = f"only if it turns out to do (above), {least}"
        if other:
            only = f"only with the transformer named above, {least}"
        none = _nothing_of(choice, shelf, note, f"{only}: {found.in_one_line}")
        return replace(none, helped=found if other else None)
    return _nothing_of(choice, shelf, note)


def _nothing_of(choice: Choice, shelf: Shelf, note: str, would: str = "") -> Basket:
    return Basket(
        choice.box, "", 0, (), (), shelf.currency, shelf.share, None, (), "", note=note, would=would
    )  # fmt: skip
