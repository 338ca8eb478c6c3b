"""What a data sheet leaves out, impedances, loads or pin 3: asking its maker costs nothing.

Where nothing can be used for a box, the advice is asked again with what an answer would say. The
questions are rows of `QUESTIONS`, tried in their order until one opens a lead, and only then once
more for transformers: the output impedance (the largest for which a way works at it and at the
smallest), a heavy input allowed by the maker (of a measured device as well), a winding that floats,
what drives pins 2 and 3; at last a joint in the plug, which only a soldering iron has to answer.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import product
from typing import Any

from probe.advice.answers import JOINED, LOAD, Lines, known
from probe.advice.joined_plug import UNCONNECTED, unconnected
from probe.advice.model import Advice, Choice, OptionAdvice, Settling
from probe.advice.one_leg import TIED_MOST, leg_asked, leg_needs
from probe.advice.source_file import (
    FLOATING,
    ONE_LEG_KINDS,
    may_float,
    possible_kinds,
    said_balanced,
    unstated_impedances,
)
from probe.numbers import digits_down, ohms

Way = tuple[str, str]
"""Socket and option."""

Ask = Callable[[Mapping[str, Any], Mapping[str, Any], frozenset[Way]], Advice]
"""The advice for facts and sources, each box by itself, of some options alone."""

Whole = Callable[[Mapping[str, Any], Mapping[str, Any]], Advice]
"""The advice for facts and sources, with all boxes plugged in, of every way."""

LEAST_OHM = 1.0
"""Of no output stage, and less than of any."""

MOST_OHM = (1000.0, 600.0, 300.0, 200.0, 100.0)
"""What is tried, the largest first: makers state such figures; most line outputs have 50 to 600
ohm. [practice]"""

USUAL = "(most have 50 to 600 ohm)"

XLR_OHM = "differential_impedance_ohm"

OF = {
    "single_ended_impedance_ohm": "of the RCA output",
    XLR_OHM: "of the XLR output, between pins 2 and 3",
}

OUTPUT = {"single_ended_impedance_ohm": "rca", XLR_OHM: "xlr"}
"""Whose impedance a key states."""

IMPEDANCE = "output-impedance"

NOT_BESIDE = ", though not with the other boxes plugged in as well"

TOO_HEAVY = frozenset({"load-current", "coupling-capacitor"})
"""Doubts that the maker's minimum load settles."""

LEGS_ALIKE = (
    "differential",
    "electronically-floating",
    "transformer-coupled",
    "impedance-balanced",
)
"""Kinds whose legs have like impedances."""

DRIVEN = ("differential", "impedance-balanced")
"""Kinds whose pin 2 is driven against ground, by what sheets call balanced."""

LEAD = "xlr-to-xlr"


@dataclass(frozen=True)
class Drive:
    """An answer to what drives pins 2 and 3, with which a lead may do: the kinds, in words."""

    kinds: tuple[str, ...]
    what: str
    tied: bool = True
    """It may open a lead that joins pin 3 in its own plugs."""

    def opens(self, option: str) -> bool:
        """Tell whether it may open a way; nobody is asked for isolators."""
        return not isolates(option) and (self.tied or "tied" not in option)

    def asked(self, device: str) -> str:
        """Return the question, and the answer that is hoped for."""
        return f"ask the maker of {device} whether {self.what}"


DRIVES = (
    Drive(
        DRIVEN,
        "pins 2 and 3 of the XLR output are each driven against ground, or pin 3 only has a like "
        'impedance ("impedance-balanced"), neither by a transformer nor cross-coupled ("floating", '
        '"servo-balanced"): if so',
    ),
    Drive(
        ONE_LEG_KINDS,
        "pin 3 of the XLR output carries a signal: if it carries none "
        '("impedance-balanced", joined to ground or to nothing, or only sensing the ground of what '
        "is fed)",
        tied=False,
    ),
)
"""Of an output whose pin 2 has its own amplifier a lead takes pin 2, whatever pin 3 has. Where pin
3 is held to ground by what is fed, one may do where nothing drives it; ways that join it
themselves are among the other answers."""


def drives(facts: Mapping[str, Any]) -> Iterator[tuple[Drive, tuple[Lines, ...]]]:
    """Yield what may be asked of the pins of a typed source, with the answers that it must do with.

    The last is what is typed: of the kinds that the source may be. Before it, where the source is
    called by name, all that the words hold: a maker who answers so need not keep to that name.
    """
    possible = possible_kinds(facts)
    stated = {k: v for k, v in (facts.get("stated") or {}).items() if k != "kinds"}
    unnamed = possible_kinds({**facts, "stated": stated}) if possible else ()
    for drive in DRIVES:
        rest, whole = (tuple(k for k in held if k in drive.kinds) for held in (possible, unnamed))
        if rest and rest != possible:
            answers = dict.fromkeys((("kinds", kinds),) for kinds in (whole, rest))
            yield drive, tuple(answers)


@dataclass(frozen=True)
class Question:
    """One thing to ask, and what it would open.

    A way is open if it works with each of ``answers``, asked of ``among`` alone. ``what`` puts the
    question for a box and the option that it opens.
    """

    code: str
    what: Callable[[str, str], str]
    among: frozenset[Way]
    answers: tuple[Lines, ...]
    load: Callable[[str, str], float] | None = None
    """The minimum load that is named to a box, where that is asked for."""

    def typed(self, box: str, option: str) -> Lines:
        """Return how the answer is typed for a box: the figure that is named to it.

        Of a lead that is made nobody types anything.
        """
        answer = self.answers[-1]
        if self.load is not None:
            answer = tuple((k, self.load(box, option) if k == LOAD else v) for k, v in answer)
        return () if any(key == JOINED for key, _ in answer) else answer


@dataclass(frozen=True)
class Stuck:
    """An advice with boxes that nothing can be used for, and who answers when it is asked again."""

    advice: Advice
    facts: Mapping[str, Any]
    sources: Mapping[str, Any]
    ask: Ask
    open_: frozenset[Way]
    """Ways that cannot be judged: what is avoided or ruled out is so whatever a figure is."""
    ways: frozenset[Way] = frozenset()
    """All ways: one may be avoided or ruled out for a kind alone, which an answer rules out."""
    whole: Whole | None = None
    played: float | None = None
    """The most that is ever played, V rms, where that is said."""
    some: dict[str, Settling] = field(default_factory=dict)
    """What opens a way for some boxes, the others plugged in, and for the rest by themselves."""
    alone: dict[str, Settling] = field(default_factory=dict)
    """The same for the rest."""
    _asked: dict[tuple[Lines, frozenset[Way]], Advice] = field(default_factory=dict)
    _together: dict[Lines, Advice] = field(default_factory=dict)

    def opened(self, question: Question, boxes: set[str]) -> dict[str, Settling]:
        """Return what the question settles for each of the boxes it opens a way for."""
        if not question.among:
            return {}
        ways = {box: {option for _, option in question.among} for box in boxes}
        for answer in question.answers:
            again = self._with(answer, question.among)
            works = _working(again)
            ways = {box: options & works.get(box, set()) for box, options in ways.items()}
            if not any(ways.values()):
                return {}
        chosen = {c.box: c.option for c in again.choices}
        found = {}
        for box in (c.box for c in self.advice.choices if ways.get(c.box)):
            option = chosen.get(box)
            named = option if option in ways[box] else min(ways[box])
            what, typed = question.what(box, str(named)), question.typed(box, str(named))
            found[box] = Settling(question.code, what, (str(named),), box, typed=typed)
        return {} if self._untrue(question, found) else self._beside(question, found)

    def _beside(self, question: Question, found: Mapping[str, Settling]) -> dict[str, Settling]:
        """Return of what an impedance opens by itself what it opens with all plugged in.

        Each end of what is asked for is solved as when it is answered: boxes that share an output
        feel its impedance through one another. Nothing, where it does not do for all of them: less
        may; if it does not, what it opens for which is kept.
        """
        if self.whole is None or len(self.advice.choices) < 2 or question.code != IMPEDANCE:
            return dict(found)
        kept = dict(found)
        for answer in question.answers:
            again = self._with_all(answer)
            none = {c.box for c in again.choices if c.option is None}
            pairs = zip(self.advice.choices, again.choices, strict=True)
            if any(was.option is not None and now.option is None for was, now in pairs):
                none |= set(found)
            kept = {box: settles for box, settles in kept.items() if box not in none}
            if not kept:
                break
        if len(kept) == len(found):
            return kept
        for box, settles in found.items():
            if box in kept:
                self.some.setdefault(box, settles)
            else:
                self.alone.setdefault(box, replace(settles, typed=()))
        return {}

    def _untrue(self, question: Question, found: Mapping[str, Settling]) -> bool:
        """Tell whether the load that is named leaves a box without a way that it has now.

        Or does not open what it is asked for: all is solved with it as when it is answered, since
        what is no longer too heavy is judged by its hum alone, and without its resistors.
        """
        if self.whole is None or question.load is None or len(self.advice.choices) < 2:
            return False
        loads = {question.load(box, s.answers[0]) for box, s in found.items()}
        for load in loads:
            answer = (*(one for one in question.answers[-1] if one[0] != LOAD), (LOAD, load))
            again = self._with_all(answer)
            works = _working(again)
            if any(s.answers[0] not in works.get(box, set()) for box, s in found.items()):
                return True
            pairs = zip(self.advice.choices, again.choices, strict=True)
            if any(was.option is not None and now.option is None for was, now in pairs):
                return True
        return False

    def _with(self, answer: Lines, among: frozenset[Way]) -> Advice:
        if (answer, among) not in self._asked:
            self._asked[answer, among] = self.ask(*known(self.facts, self.sources, answer), among)
        return self._asked[answer, among]

    def _with_all(self, answer: Lines) -> Advice:
        assert self.whole is not None
        if answer not in self._together:
            self._together[answer] = self.whole(*known(self.facts, self.sources, answer))
        return self._together[answer]

    def opens_isolators(self, answer: Lines, boxes: set[str]) -> bool:
        """Tell whether an answer opens transformers, and no lead, for some of the boxes."""
        chosen = self._with(answer, self.ways).choices if self.ways else ()
        return any(isolates(c.option) for c in chosen if c.box in boxes)

    def joint(self, ways: Sequence[OptionAdvice]) -> float:
        """Return what an output works into with the heaviest of these ways of each of their boxes.

        And with what the others use of it; rounded down: what is asked for is what is solved.
        """
        outputs = {o.option.from_ for o in ways}
        used = {(c.box, c.socket, c.option) for c in self.advice.choices}
        loads: dict[str, float] = {}
        for o in (*ways, *(o for o in self.advice.options
                           if (o.box, o.socket, o.option.id) in used
                           and o.option.from_ in outputs)):  # fmt: skip
            ohm = o.works_into_ohm
            if ohm is not None:
                loads[o.box] = min(ohm, loads.get(o.box, ohm))
        return digits_down(1.0 / sum(1.0 / ohm for ohm in loads.values()))

    def connected(self) -> Lines | None:
        """Return what a maker would say whose pin 3 is connected; None: nothing would change."""
        possible = possible_kinds(self.facts)
        rest = tuple(kind for kind in possible if kind != UNCONNECTED)
        return (("kinds", rest),) if rest and rest != possible else None


def with_asked(
    advice: Advice, facts: Mapping[str, Any], sources: Mapping[str, Any], ask: Ask,
    whole: Whole | None = None, played: float | None = None,
) -> Advice:  # fmt: skip
    """Return the advice with what the maker has to be asked, for each box without a way.

    A box that only the others keep from its way wants no figure. ``whole``: what tells whether a
    load that is asked for holds for all boxes. ``played``: the most that is ever played, V rms.
    """
    boxes = {c.box for c in advice.choices if c.option is None} - {
        o.box for o in advice.options if o.used.verdict in ("use", "works")
    }
    open_ = frozenset(
        (o.socket, o.option.id)
        for o in advice.options
        if o.box in boxes and o.used.verdict == "cannot-tell"
    )
    ways = frozenset((o.socket, o.option.id) for o in advice.options if o.box in boxes)
    stuck = Stuck(advice, facts, sources, ask, open_, ways, whole, played)
    found: dict[str, Settling] = {}
    for buys, questions in product((False, True), QUESTIONS):  # any that opens a lead goes first
        for question in questions(stuck, boxes - set(found)):
            among = frozenset(way for way in question.among if isolates(way[1]) == buys)
            found |= stuck.opened(replace(question, among=among), boxes - set(found))
    found = stuck.some | found
    alone = {box: settles for box, settles in stuck.alone.items() if box not in found}
    found |= alone
    works = "works by itself" if len(advice.choices) > 1 else "works"
    choices = tuple(
        _told(c, found.get(c.box), f"{works}{NOT_BESIDE}" if c.box in alone else works)
        for c in advice.choices
    )
    return replace(advice, choices=choices, would_change=(*advice.would_change, *found.values()))


def unstated(facts: Mapping[str, Any], open_: Sequence[OptionAdvice]) -> list[str]:
    """Return the keys of impedances nobody states, that of the native way of ``open_`` first.

    A lead between two sockets of one kind needs no adapter, and nobody expects another question.
    """
    native = {o.option.from_ for o in open_ if o.option.native}
    return sorted(unstated_impedances(facts), key=lambda key: OUTPUT[key] not in native)


def _impedance(stuck: Stuck, boxes: set[str]) -> Iterator[Question]:
    open_ = [o for o in stuck.advice.options
             if o.box in boxes and (o.socket, o.option.id) in stuck.open_]  # fmt: skip
    for key in unstated(stuck.facts, open_):
        for ohm in MOST_OHM:
            what = impedance_asked(stuck.advice.device, key, ohm)
            answers = (((key, LEAST_OHM),), ((key, ohm),))
            yield Question(IMPEDANCE, lambda *_, what=what: what, stuck.open_, answers)


def _minimum_load(stuck: Stuck, boxes: set[str]) -> Iterator[Question]:
    """With pin 3 connected as well, where the load alone does not open a way."""
    heavy = [o for o in stuck.advice.options if o.box in boxes and o.works_into_ohm is not None
             and TOO_HEAVY & {h.code for h in o.used.hazards}]  # fmt: skip
    if not heavy or (stuck.facts.get("device") or {}).get(LOAD) is not None:
        return
    among = frozenset((o.socket, o.option.id) for o in heavy)
    least = stuck.joint(heavy)

    def load(box: str, option: str) -> float:
        return stuck.joint([o for o in heavy if o.box != box or o.option.id == option])

    def what(box: str, option: str, and_pin_3: str = "") -> str:
        return load_asked(stuck.advice.device, load(box, option)) + and_pin_3

    yield Question("minimum-load", what, among, (((LOAD, least),),), load)
    if connected := stuck.connected():
        both = ", and pin 3 of its XLR output connected inside,"
        yield Question("minimum-load", lambda box, option: what(box, option, both), among,
                       ((*connected, (LOAD, least)),), load)  # fmt: skip


def _impedance_and_load(stuck: Stuck, boxes: set[str]) -> Iterator[Question]:
    """Where the input is heavy: with the least impedance that may be, more flows into it."""
    if (stuck.facts.get("device") or {}).get(LOAD) is not None:
        return
    asked: list[tuple[str, list[OptionAdvice]]] = []
    for key in unstated_impedances(stuck.facts):
        pins = "xlr" if key == XLR_OHM else "rca"
        ways = [
            o for o in stuck.advice.options
            if o.box in boxes and o.option.from_ == pins and o.works_into_ohm is not None
            and (o.socket, o.option.id) in stuck.open_ and not isolates(o.option.id)
        ]  # fmt: skip
        asked += [(key, ways)] if ways else []
    asked.sort(key=lambda one: not any(o.option.native for o in one[1]))  # a plain lead first
    for (key, ways), ohm in product(asked, MOST_OHM):
        least = stuck.joint(ways)
        what = (
            f"{impedance_asked(stuck.advice.device, key, ohm)}, and for the minimum load it "
            f"allows: with {ohms(least)} or less"
        )
        answers = tuple(((key, one), (LOAD, least)) for one in (LEAST_OHM, ohm))
        among = frozenset((o.socket, o.option.id) for o in ways)
        yield Question(IMPEDANCE, lambda *_, what=what: what, among, answers,
                       lambda *_, least=least: least)  # fmt: skip


def _legs_alike(stuck: Stuck, boxes: set[str]) -> Iterator[Question]:
    """Where the sheet says "balanced", or a connected pin 3 by itself opens transformers alone.

    Of legs with like impedances a receiver rejects what a ground difference brings: a lead may do.
    """
    possible = possible_kinds(stuck.facts)
    rest = tuple(kind for kind in possible if kind in LEGS_ALIKE)
    if not rest or rest == possible:
        return
    answer: Lines = (("kinds", rest),)
    what = (
        f"ask the maker of {stuck.advice.device} whether pins 2 and 3 of the XLR output have like "
        "impedances to ground: with like ones"
    )
    connected = stuck.connected()
    dear = connected is not None and stuck.opens_isolators(connected, boxes)
    if not (dear or said_balanced(stuck.facts)):
        return
    among = frozenset(way for way in stuck.ways if not isolates(way[1]))
    yield Question("legs-alike", lambda *_: what, among, (answer,))


def isolates(option: str | None) -> bool:
    """Tell whether a way needs an isolating transformer."""
    return (option or "").endswith("/transformer")


def _pin_3(stuck: Stuck, _: set[str]) -> Iterator[Question]:
    if connected := stuck.connected():
        what = f"{_is_connected(stuck)}: with pin 3 connected"
        yield Question("pin-3", lambda *_: what, stuck.ways, (connected,))


def _what_drives(stuck: Stuck, _: set[str]) -> Iterator[Question]:
    for drive, answers in drives(stuck.facts):
        among = frozenset(way for way in stuck.ways if drive.opens(way[1]))
        what = drive.asked(stuck.advice.device)
        yield Question("each-driven", lambda *_, what=what: what, among, answers)


def _pin_3_and_impedance(stuck: Stuck, _: set[str]) -> Iterator[Question]:
    connected = stuck.connected()
    if connected is None or XLR_OHM not in unstated_impedances(stuck.facts):
        return
    for ohm in MOST_OHM:
        what = (
            f"{_is_connected(stuck)}, and for the output impedance {OF[XLR_OHM]}: with pin 3 "
            f"connected and {ohm:g} ohm or less {USUAL}"
        )
        answers = tuple((*connected, (XLR_OHM, one)) for one in (LEAST_OHM, ohm))
        yield Question(IMPEDANCE, lambda *_, what=what: what, stuck.ways, answers)


def _winding(stuck: Stuck, _: set[str]) -> Iterator[Question]:
    if may_float(stuck.facts):
        what = winding_asked(stuck.advice.device)
        yield Question("winding", lambda *_: what, stuck.ways, (((FLOATING, True),),))


def _leg_alone(stuck: Stuck, boxes: set[str]) -> Iterator[Question]:
    """Where a leg that swings the whole level of a player may clip."""
    needed = leg_needs(stuck.facts, (o for o in stuck.advice.options if o.box in boxes),
                       stuck.played)  # fmt: skip
    if needed is not None:
        what = leg_asked(stuck.advice.device, needed)
        yield Question("leg-alone", lambda *_: what, stuck.open_, (((TIED_MOST, needed),),))


def _joined_plug(stuck: Stuck, boxes: set[str]) -> Iterator[Question]:
    """Where pin 3 is connected to nothing for certain; on a driven one it would be a short circuit.

    Pins 1 and 3 joined in the plug at the device are the same circuit as an output whose pin 3
    stands at its ground inside, and no amplifier works into that joint: so it is solved.
    """
    if not unconnected(stuck.facts):
        return
    among = frozenset(
        (o.socket, LEAD) for o in stuck.advice.options if o.box in boxes and o.option.id == LEAD
    )
    what = (
        "have an XLR lead made with pins 1 and 3 joined in the plug at the device (there pin 3 is "
        "connected to nothing: a meter shows an open contact from it to pins 1 and 2, else do not "
        "join it): with that lead"
    )
    yield Question("joined-plug", lambda *_: what, among, (((JOINED, True),),))


QUESTIONS: tuple[Callable[[Stuck, set[str]], Iterator[Question]], ...] = (
    _impedance, _minimum_load, _impedance_and_load, _winding, _leg_alone, _legs_alike, _pin_3,
    _what_drives, _pin_3_and_impedance, _joined_plug,
)  # fmt: skip
"""What may be asked for the boxes that have no way yet, the easiest answer first."""


def winding_asked(device: str) -> str:
    """Return the question whether the winding of an output floats, and how a meter answers it."""
    return (
        f"ask the maker of {device} whether the winding of its XLR output floats: no centre tap "
        "and no resistors to ground (a meter on ohms, all unplugged, then shows no contact from "
        "pins 2 and 3 to pin 1): if it floats"
    )


def _is_connected(stuck: Stuck) -> str:
    return (
        f"ask the maker of {stuck.advice.device} whether pin 3 of the XLR output is connected "
        "inside, to a signal or to ground"
    )


def _working(advice: Advice) -> dict[str, set[str]]:
    """Return for each box the ways that work by themselves, on all sides."""
    found: dict[str, set[str]] = {}
    bad = {
        (o.box, o.option.id) for o in advice.options if o.used.verdict not in ("use", "works")
        and o.verdict != "use"
    }  # fmt: skip
    for o in advice.options:
        if (o.box, o.option.id) not in bad:
            found.setdefault(o.box, set()).add(o.option.id)
    return found


def impedance_asked(device: str, key: str, ohm: float) -> str:
    """Return the question for an output impedance, and up to which it opens a way."""
    asked = f"ask the maker of {device} for the output impedance {OF[key]}"
    return f"{asked}: with {ohm:g} ohm or less {USUAL}"


def load_asked(device: str, ohm: float) -> str:
    """Return the question for the minimum load, and up to which it opens a way."""
    asked = f"ask the maker of {device} for the minimum load of its output"
    return f"{asked}: with {ohms(ohm)} or less"


def _told(choice: Choice, found: Settling | None, works: str) -> Choice:
    if found is None:
        return choice
    return replace(choice, why=(f"{found.what} {found.answers[0]} {works}", *choice.why))
