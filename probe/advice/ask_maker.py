"""What a data sheet leaves out, impedances, loads or pin 3: asking its maker costs nothing.

Where nothing can be used of a device that is only described, the advice is asked again with what
the impedance may be: the smallest, and then the largest for which a way works at both. Where that
opens no way it is asked again with a heavy input allowed by the maker, of a measured device as
well, and without the kind whose pin 3 is connected to nothing; at last with that and the impedance.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Any

from probe.advice.joined_plug import UNCONNECTED, joined_plug
from probe.advice.model import Advice, Choice, Settling
from probe.advice.source_file import possible_kinds, restated, unstated_impedances
from probe.numbers import ohms

Ask = Callable[[Mapping[str, Any], Mapping[str, Any], frozenset[tuple[str, str]]], Advice]
"""The advice for facts and sources, each box by itself, of some options alone (socket, option)."""

LEAST_OHM = 1.0
"""Of no output stage, and less than of any."""

MOST_OHM = (1000.0, 600.0, 300.0, 200.0, 100.0)
"""What is tried, the largest first: makers state such figures; most line outputs have 50 to 600
ohm. [practice]"""

USUAL = "(most have 50 to 600 ohm)"

OF = {
    "single_ended_impedance_ohm": "of the RCA output",
    "differential_impedance_ohm": "of the XLR output, between pins 2 and 3",
}


def with_asked(
    advice: Advice, facts: Mapping[str, Any], sources: Mapping[str, Any], ask: Ask
) -> Advice:
    """Return the advice with what the maker has to be asked, for each box without a way.

    A box that only the others keep from its way wants no figure.
    """
    held = facts, sources
    keys = unstated_impedances(facts)
    boxes = {c.box for c in advice.choices if c.option is None} - {
        o.box for o in advice.options if o.used.verdict in ("use", "works")
    }
    # what is avoided or ruled out is so for each impedance that may be
    among = frozenset(
        (o.socket, o.option.id)
        for o in advice.options
        if o.box in boxes and o.used.verdict == "cannot-tell"
    )
    found: dict[str, Settling] = {}
    for key in keys if among else ():
        found |= _impedance(advice, facts, key, ask, boxes - set(found), among)
    if boxes - set(found):
        found |= _minimum_load(advice, held, ask, boxes - set(found))
    if boxes - set(found):
        found |= _pin_3(advice, facts, ask, boxes - set(found), among)
    if boxes - set(found):
        found |= _pin_3_and_impedance(advice, facts, ask, boxes - set(found), among)
    if boxes - set(found):
        found |= joined_plug(advice, facts, ask, boxes - set(found))
    works = "works by itself" if len(advice.choices) > 1 else "works"
    choices = tuple(_told(c, found.get(c.box), works) for c in advice.choices)
    return replace(advice, choices=choices, would_change=(*advice.would_change, *found.values()))


def _impedance(
    advice: Advice,
    facts: Mapping[str, Any],
    key: str,
    ask: Ask,
    boxes: set[str],
    among: frozenset[tuple[str, str]],
    *,
    pin_3: bool = False,
) -> dict[str, Settling]:
    """Return what opens a way for a box with an output impedance up to the one that is named.

    ``pin_3``: the facts have pin 3 connected, which has to be asked in the same breath.
    """
    found: dict[str, Settling] = {}
    least = _working(ask(*restated(facts, key, LEAST_OHM), among))
    for ohm in MOST_OHM:
        left = {box for box in boxes - set(found) if least.get(box)}
        if not left:
            break
        again = ask(*restated(facts, key, ohm), among)
        most = _working(again)
        for box in (c.box for c in advice.choices if c.box in left):
            both = least[box] & most.get(box, set())
            option = next((c.option for c in again.choices if c.box == box), None)
            if both:
                named = str(option if option in both else min(both))
                what = impedance_asked(advice.device, key, ohm)
                if pin_3:
                    what = (
                        f"{_asked_pin_3(advice)}, and for the output impedance {OF[key]}: with pin "
                        f"3 connected and {ohm:g} ohm or less {USUAL}"
                    )
                found[box] = Settling("output-impedance", what, (named,), box)
    return found


def _pin_3_and_impedance(
    advice: Advice,
    facts: Mapping[str, Any],
    ask: Ask,
    boxes: set[str],
    among: frozenset[tuple[str, str]],
) -> dict[str, Settling]:
    """Return what opens a way with both answers, where neither does by itself."""
    possible, key = possible_kinds(facts), "differential_impedance_ohm"
    rest = tuple(kind for kind in possible if kind != UNCONNECTED)
    if not among or not rest or rest == possible or key not in unstated_impedances(facts):
        return {}
    connected, _ = restated(facts, "kinds", rest)
    return _impedance(advice, connected, key, ask, boxes, among, pin_3=True)


def _asked_pin_3(advice: Advice) -> str:
    return (
        f"ask the maker of {advice.device} whether pin 3 of the XLR output is connected inside, to "
        "a signal or to ground"
    )


TOO_HEAVY = frozenset({"load-current", "coupling-capacitor"})
"""Doubts that the maker's minimum load settles."""


def _minimum_load(
    advice: Advice, held: tuple[Mapping[str, Any], Mapping[str, Any]], ask: Ask, boxes: set[str]
) -> dict[str, Settling]:
    """Return what opens a way for a box if the maker allows what it works into.

    Of a typed output with pin 3 connected as well, where that alone does not.
    """
    facts, sources = held
    heavy = [o for o in advice.options if o.box in boxes and o.works_into_ohm is not None
             and TOO_HEAVY & {h.code for h in o.used.hazards}]  # fmt: skip
    if not heavy or (facts.get("device") or {}).get("minimum_load_ohm") is not None:
        return {}
    among = frozenset((o.socket, o.option.id) for o in heavy)
    least = min(o.works_into_ohm for o in heavy if o.works_into_ohm is not None)
    into = {(o.box, o.option.id): o.works_into_ohm or least for o in heavy}
    allowed = allowing(facts, least)
    again, pin_3 = ask(allowed, sources, among), ""
    rest = tuple(kind for kind in possible_kinds(facts) if kind != UNCONNECTED)
    if not _working(again) and rest:
        other, stages = restated(facts, "kinds", rest)
        again = ask(allowing(other, least), stages, among)
        pin_3 = ", and pin 3 of its XLR output connected inside,"
    found = {}
    for box in boxes:
        ways = _working(again).get(box, set())
        if ways:
            option = next((c.option for c in again.choices if c.box == box), None)
            named = str(option if option in ways else min(ways))
            what = f"{load_asked(advice.device, into.get((box, named), least))}{pin_3}"
            found[box] = Settling("minimum-load", what, (named,), box)
    return found


def load_asked(device: str, ohm: float) -> str:
    """Return the question for the minimum load, and up to which it opens a way."""
    asked = f"ask the maker of {device} for the minimum load of its output"
    return f"{asked}: with {ohms(ohm)} or less"


def allowing(facts: Mapping[str, Any], ohm: float) -> dict[str, Any]:
    """Return the facts with a minimum load stated."""
    return {**facts, "device": {**facts["device"], "minimum_load_ohm": ohm}}


def _pin_3(
    advice: Advice,
    facts: Mapping[str, Any],
    ask: Ask,
    boxes: set[str],
    among: frozenset[tuple[str, str]],
) -> dict[str, Settling]:
    """Return what opens a way for a box if pin 3 of the device is connected to anything inside."""
    possible = possible_kinds(facts)
    rest = tuple(kind for kind in possible if kind != UNCONNECTED)
    if not among or not rest or rest == possible:
        return {}
    again = ask(*restated(facts, "kinds", rest), among)
    working = _working(again)
    what = f"{_asked_pin_3(advice)}: with pin 3 connected"
    found = {}
    for box in (c.box for c in advice.choices if c.box in boxes):
        option = next((c.option for c in again.choices if c.box == box), None)
        ways = working.get(box, set())
        if ways:
            named = option if option in ways else min(ways)
            found[box] = Settling("pin-3", what, (str(named),), box)
    return found


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


def _told(choice: Choice, found: Settling | None, works: str) -> Choice:
    if found is None:
        return choice
    return replace(choice, why=(f"{found.what} {found.answers[0]} {works}", *choice.why))
