"""Ways solved again with the data of leads that are at hand, beside what the other boxes use."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from probe.advice.alike import candidate
from probe.advice.compiled import judged
from probe.advice.cures import cures
from probe.advice.desk import Desk
from probe.advice.destination import Cable
from probe.advice.model import Advice, Choice, OptionAdvice
from probe.advice.ranking import HUM, HUMS_MORE, hum_with_lead
from probe.advice.solve import Link
from probe.advice.together import to_mind

MINDED = "together-mind"
"""Code of what is to be minded of a lead only because of the others."""

Key = tuple[str, str, str | None, str]
"""Side, box, socket and way."""


@dataclass(frozen=True)
class OwnLeads:
    """Solves the choices of ``advice`` with other leads."""

    desks: Sequence[Desk]
    advice: Advice

    def solved(
        self, choice: Choice, cable: Cable, taken: Mapping[str, Cable]
    ) -> list[OptionAdvice]:
        """Return the way of a choice with ``cable`` on every side, then those of the other boxes.

        With the leads that are ``taken`` for these, by box; others as they were solved. Nothing of
        a digital link, which hangs on no other lead and is judged apart.
        """
        own = self._link(choice, cable)
        return [] if own is None else self._judged([own, *self._beside(choice, taken)])

    def all_at_once(self, cables: Mapping[str, Cable]) -> list[OptionAdvice]:
        """Return the ways of all choices with these leads, by box; others as they were solved."""
        chosen = [c for c in self.advice.choices if c.option is not None]
        links = (self._link(c, cables.get(c.box)) for c in chosen)
        return self._judged([link for link in links if link is not None])

    def used(self, cables: Mapping[str, Cable]) -> Advice:
        """Return the advice with the figures of the leads that are taken, by box."""
        if not cables:
            return self.advice
        alone: dict[Key, OptionAdvice] = {}
        whole: dict[Key, OptionAdvice] = {}
        chosen = {c.box: c for c in self.advice.choices if c.option is not None}
        held = [(b, link) for b in cables if (link := self._link(chosen[b], cables[b]))]
        for _, link in held:
            alone.update(_by_key(self._judged([link])))
        links = [link for _, link in held]
        links += [link for c in chosen.values() if c.box not in cables for link in self._plain(c)]
        whole.update(_by_key(self._judged(links)))
        found = self._with_options(alone, self.advice.choices)
        choices = (self._told_anew(c, found) if c.box in cables else c for c in found.choices)
        found = replace(
            self._with_options(alone, tuple(choices)),
            sets=tuple(
                replace(s, options=tuple(whole.get(_key(o), o) for o in s.options)) if not k else s
                for k, s in enumerate(self.advice.sets)
            ),
        )
        found = self._minded(found)
        # where the current comes in is told already, and hangs on no lead
        fresh = cures(self.desks, found)
        said = {c.box for c in fresh if c.code == "at-origin"}
        told = [c for c in self.advice.cures if c.code == "at-origin" and c.box not in said]
        return replace(found, cures=(*told, *fresh))

    def _with_options(
        self, alone: Mapping[Key, OptionAdvice], choices: tuple[Choice, ...]
    ) -> Advice:
        chosen = {c.box: c for c in choices if c.option is not None}
        options = (_with(o, alone.get(_key(o)), chosen) for o in self.advice.options)
        return replace(self.advice, options=tuple(options), choices=choices)

    def _told_anew(self, choice: Choice, found: Advice) -> Choice:
        """Return a choice whose reasons have the hum with the lead that is taken, too."""
        solved, taken = (candidate(a, choice.box, choice.socket or "", choice.option or "")
                         for a in (self.advice, found))  # fmt: skip
        if solved.hum is None or taken.hum is None or HUM.told(solved) == HUM.told(taken):
            return choice
        more = [way for way, lacks in choice.left if lacks.startswith(HUMS_MORE)]
        rest = [candidate(found, choice.box, socket, option) for socket, option in more]
        why = (hum_with_lead(reason, solved, taken, rest) for reason in choice.why)
        return replace(choice, why=tuple(why))

    def _minded(self, found: Advice) -> Advice:
        """Return the advice with what is to be minded of each lead beside the others told anew."""
        if not found.sets or not self.desks:
            return found
        old = next((c for c in found.cautions if c.code == MINDED), None)
        new = to_mind(self.desks[0], found, found.sets[0])
        if old is None:
            return replace(found, cautions=(*found.cautions, *new))
        cautions = (one for c in found.cautions for one in (new if c is old else [c]))
        return replace(found, cautions=tuple(cautions))

    def _beside(self, choice: Choice, taken: Mapping[str, Cable]) -> list[Link]:
        rest = [c for c in self.advice.choices if c.box != choice.box and c.option is not None]
        found = (self._link(c, taken.get(c.box)) for c in rest)
        return [link for link in found if link is not None]

    def _plain(self, choice: Choice) -> Iterable[Link]:
        link = self._link(choice, None)
        return [] if link is None else [link]

    def _link(self, choice: Choice, cable: Cable | None) -> Link | None:
        """Return the way of a choice with its attenuator; ``cable`` None: the lead as solved."""
        key = (choice.box, choice.socket, choice.option)
        held = [o for o in self.advice.options if (o.box, o.socket, o.option.id) == key]
        if not held or not self.desks:
            return None
        destination = self.desks[0].destination
        socket = next(s for s in destination.inputs if s.name == choice.socket)
        used = held[0].with_fitted().used if choice.attenuator else held[0]
        lead = destination.cable_of(socket, used.option.id) if cable is None else cable
        with_it = replace(socket, cable=lead, own_cables=())
        return Link(used.option, with_it, "unknown", 0.0, lead)

    def _judged(self, links: Sequence[Link]) -> list[OptionAdvice]:
        return [
            judged(desk, own.socket, own.option, tuple(one for one in links if one is not own))
            for own in links
            for desk in self.desks
        ]


def _key(option: OptionAdvice) -> Key:
    return option.side, option.box, option.socket, option.option.id


def _by_key(found: Iterable[OptionAdvice]) -> dict[Key, OptionAdvice]:
    return {_key(o): o for o in found}


def _with(
    old: OptionAdvice, new: OptionAdvice | None, chosen: Mapping[str, Choice]
) -> OptionAdvice:
    """Return a chosen option with what was solved anew, in its plug's attenuator or without."""
    if new is None:
        return old
    if chosen[old.box].attenuator and old.attenuator is not None:
        found = replace(old, attenuator=replace(old.attenuator, advice=new))
    else:
        found = replace(new, attenuator=old.attenuator)
    return found.with_verdict("use", chosen[old.box].why)
