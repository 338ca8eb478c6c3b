"""What stands at the head of a customer's sheet: what to know before anything is connected."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence, Set
from typing import Any

from probe.report import words
from probe.report.at_once import to_mind
from probe.report.document import listing
from probe.report.other_ways import stays_out
from probe.report.places import in_places, named_in, places_of
from probe.report.step import ASKED as ASKED_FIRST
from probe.report.step import (
    DIGITAL_TRIED,
    ORIGIN,
    TRIED,
    VOLUME,
    in_words,
    others_of,
    quoted,
    then_of,
)
from probe.report.text import inner, printed
from probe.report.typed import FIGURES
from probe.report.used import needs_pad

ALIKE = "unlikely-output-alike"
"""Of a figure that is asked about, and on which nothing hangs that is used."""

FIRST = (
    "ground-fault",
    "ground-high",
    "ground-current",
    "headphone-output",
    "speaker-output",
    "output-beyond-line",
    "output-undeclared",
    "output-unlike-line",
    "direct-voltage",
    "stage-fault",
    "unlikely-level",
    "unlikely-output",
    ALIKE,
    "unlikely-sensitivity",
    "unlikely-impedance",
)
"""Codes of the cautions that stand before any choice."""

ASKED = tuple(code for code in FIRST if code.startswith("unlikely-"))
"""Of them what only asks whether a figure is right: it forbids nothing, and why nothing is used
stands on the sheet all the same."""


def first_of(advice: Mapping[str, Any]) -> tuple[str, ...]:
    """Return the cautions that forbid connecting, or put it off, in the words of the advice."""
    cautions = [c for c in listing(advice, "cautions") if isinstance(c, Mapping)]
    found = [_metered(printed(c.get("message"))) for code in FIRST if code not in ASKED
             for c in cautions if c.get("code") == code]  # fmt: skip
    return tuple(dict.fromkeys(found))


_READING = re.compile(r"\b([Tt])ake the second reading")


def _metered(text: str) -> str:
    """Return what is said to somebody who has no meter, and is not to probe a chassis."""
    return _READING.sub(lambda m: f"{'H' if m[1] == 'T' else 'h'}ave your dealer take the second "
                        "reading", text)  # fmt: skip


_KEYS = re.compile(r" \(([^()]*_[^()]*)\)")
"""Keys of a file behind the figure they state, which the customer never sees."""


def _of_key(found: re.Match[str]) -> str:
    """Return what a key of the description is about, or nothing, in place of it."""
    names = [FIGURES[key] for key in re.findall(r"[a-z_]+", found[1]) if key in FIGURES]
    if not names or names[0].lower() in found.string.lower():  # it is said already
        return ""
    return f" ({inner(names[0])})"


MOST_OF_BOTH = 520
"""Characters of it: it names the resistors of both answers."""


def hangs_on_volume(advice: Mapping[str, Any], box: object) -> bool:
    """Tell whether what belongs in the plug for a box hangs on a volume control."""
    held = (o for o in listing(advice, "would_change") if isinstance(o, Mapping))
    return any((o.get("code"), o.get("destination")) == (VOLUME, box) for o in held)


def _first_of(
    advice: Mapping[str, Any], mine: Set[str], *codes: str
) -> list[Mapping[str, Any]]:  # fmt: skip
    """Return what comes first by its codes, of these boxes; of all where none are named."""
    return [
        o for o in listing(advice, "would_change")
        if isinstance(o, Mapping) and o.get("code") in codes
        and (not mine or o.get("destination") in mine)
    ]  # fmt: skip


def _looked_at(advice: Mapping[str, Any], mine: Set[str]) -> dict[str, str]:
    """Return what is looked at before anything is bought, by the box, with the ways in words."""
    found = {}
    for o in _first_of(advice, mine, VOLUME):
        text = printed(o.get("what"), MOST_OF_BOTH)
        but = "but the lead " * one_lead(o)
        found[str(o.get("destination"))] = f"Before anything {but}is bought, {in_words(text)}."
    return found


def one_lead(asked: Mapping[str, Any]) -> bool:
    """Tell whether both answers to what is looked at take the same lead."""
    ways = listing(asked, "answers")
    return len(ways) == 1 and "nothing is to be used" not in str(asked.get("what"))


def lead_holds(advice: Mapping[str, Any], box: object) -> bool:
    """Tell whether the lead to a box is the same whatever is seen of a volume control."""
    return any(
        isinstance(o, Mapping) and (o.get("code"), o.get("destination")) == (VOLUME, box)
        and one_lead(o)
        for o in listing(advice, "would_change")
    )  # fmt: skip


WHOLE = (DIGITAL_TRIED, "digital-format", "digital-level")
"""The same of digital links, where what is said is all there is to say."""


NATIVE = ("xlr-to-xlr", "cannot-tell")
"""Identifier and verdict of the lead that two XLR sockets are made for, where that is tried."""


def _before_what(options: Sequence[Mapping[str, Any]], way: object) -> str:
    """Return before what a lead is tried: with nothing used, or another lead, or what it spares."""
    others = [o for o in options if o.get("verdict") == "use" and o.get("id") != way]
    if way == NATIVE[0] and others and all(o.get("pin_3") != "transformer" for o in others):
        return "Before another lead is bought, try this"
    used = [o for o in options if o.get("verdict") == "use" and needs_pad(o)]
    if not used and any((o.get("id"), o.get("verdict")) == NATIVE for o in options):
        return "Before anybody is asked, try this"
    if used and not any(o.get("pin_3") == "transformer" for o in used):
        return "Before resistors are put in, try this as it is"
    return "Before a transformer is bought, try this"


def _capital(text: str) -> str:
    return f"{text[:1].upper()}{text[1:]}"


def asked_of(
    advice: Mapping[str, Any], options: Sequence[Mapping[str, Any]] = (), *, waiting: bool = False
) -> tuple[str, ...]:
    """Return which figures are asked about before anything is bought, of the box of ``options``.

    ``waiting``: only that on which the lead hangs.
    """
    holds = waiting and all(lead_holds(advice, o.get("destination")) for o in options)
    mine, places = {str(o.get("destination")) for o in options}, places_in(advice)
    cautions = [c for c in listing(advice, "cautions") if isinstance(c, Mapping)]
    found = [printed(c.get("message")) for code in ASKED for c in cautions
             if c.get("code") == code and not (waiting and code == ALIKE)]  # fmt: skip
    several = len(listing(advice, "choices")) > 1
    instead = "would by itself be used instead" if several else "is used instead"
    used = {
        str(o.get("id")): "does without resistors" if needs_pad(o) else "does as it is"
        for o in options
        if o.get("verdict") == "use"
    }
    if options and not used:
        instead = "works by itself" if several else "works"
    first = [
        f"{printed(o.get('what'), MOST_WORDS)}, "
        f"{then_of(o) or f'{quoted(way)} {used.get(str(way), instead)}'}"
        f"{''.join(f'; if not, {quoted(n)}' for n in ways)}."
        for o in _first_of(advice, mine, ASKED_FIRST)
        for way, *ways in filter(None, [listing(o, "answers")])
    ]
    tried = {o.get("destination") for o in _first_of(advice, mine, TRIED)}
    after = "If that hums, before"
    origin = [
        f"{f'First plug in {quoted(way)}. Before' if o.get('destination') not in tried else after} "
        f"anything else is bought, {printed(o.get('what'), MOST_WORDS)} that lead may do instead."
        for o in _first_of(advice, mine, ORIGIN)
        for way in listing(o, "answers")[:1]
    ]
    found += () if holds else _looked_at(advice, mine).values()
    found += [] if tried else origin
    found += [f"Before anything is bought, {text}" for text in first]
    found += [text for o in _first_of(advice, mine, ASKED_FIRST) for text in others_of(o)]
    found += [
        f"Before anything {'else ' * (o['code'] == DIGITAL_TRIED)}is bought, "
        f"{printed(o.get('what'), MOST_WORDS)}."
        for o in _first_of(advice, mine, *WHOLE)
    ]
    found += [
        f"{_before_what(options, way)}: {words.OPTIONS.get(str(way), str(way))}. "
        f"{_capital(printed(o.get('what'), MOST_WORDS))}."
        for o in _first_of(advice, mine, TRIED)
        for way in listing(o, "answers")
    ]
    found += [*(origin if tried else ()), *_one_input_each(options), *to_measure(advice, mine)]
    here = [
        _metered(_KEYS.sub(_of_key, t)) for t in found if not mine or named_in(t, places) <= mine
    ]
    here += [
        f"{_capital(printed(o.get('what'), MOST_WORDS))}, {quoted(way)} is used here instead: buy "
        "nothing before it is answered, and have this sheet made anew then."
        for o in _first_of(advice, mine, "asked-elsewhere")
        for way in listing(o, "answers")[:1]
    ]
    return tuple(dict.fromkeys(in_places(text, places) for text in here))


def tie_first(advice: Mapping[str, Any]) -> str:
    """Return the code of what a lead with pin 3 tied comes by before what is chosen; or nothing."""
    for one in (o for o in listing(advice, "would_change") if isinstance(o, Mapping)):
        others = (o.get("option") for o in listing(one, "others") if isinstance(o, Mapping))
        tied = any("tied" in str(way) for way in (*listing(one, "answers"), *others))
        if tied and one.get("code") in (TRIED, ASKED_FIRST):
            return str(one["code"])
    return ""


TO_MEASURE = {
    "rca-output": ("rca-to-rca", "Before anything is bought, have the RCA output of the device "
                   "measured, too (one take of it, and one with a resistor on it): a plain RCA "
                   "lead may do, and that would tell."),
    "xlr-output": ("xlr-to-xlr", "Before anything is bought, have the XLR output of the device "
                   "measured, too (one take of it, and one with a resistor on it): a plain XLR "
                   "lead may do, and that would tell."),
}  # fmt: skip
"""What is missing of an output by its code in the advice: the plain lead that nobody could judge
without it, and what is asked for."""


def to_measure(advice: Mapping[str, Any], mine: Set[str]) -> list[str]:
    """Return which output a take is missing of, where for want of it no plain lead is used."""
    codes = {o.get("code") for o in listing(advice, "would_change") if isinstance(o, Mapping)}
    here = [o for o in listing(advice, "options")
            if isinstance(o, Mapping) and str(o.get("destination")) in mine]  # fmt: skip
    used = {str(o.get("id")) for o in here if o.get("verdict") == "use"}
    if used & {lead for lead, _ in TO_MEASURE.values()}:
        return []
    unjudged = {str(o.get("id")) for o in here if o.get("verdict") == "cannot-tell"}
    return [says for code, (lead, says) in TO_MEASURE.items() if code in codes and lead in unjudged]


BEFORE = ("simulated", "direct-voltage-not-metered", "plays-full", "load-refused", "phantom-power",
          "one-channel", "shared-output", "may-share-output", "together-not-all", "together",
          "together-not-settled", "outputs-shared", "unlike-levels")  # fmt: skip
"""Codes of the cautions that stand at the head of every side."""

LOAD, MOST_OF_LOAD = "together-load", 400
"""What helps against all that hangs on one output, and its characters: told of each box on it,
whichever plug it names."""

OF_ALL_NAMED = ("shared-output", "may-share-output", "unlike-levels")
"""Codes that name several boxes, and are told of each: leads on one output, levels apart."""

OF_EACH = ("together-suffers", "together-mind", LOAD)
"""Codes that say of each box what the others do to it: told of the box of the side alone, from
what was solved."""

AT_ONCE = {
    "outputs-shared": "Whether the XLR and the RCA output of the device share a resistor inside is "
    "not known, and decides here: ask its maker, then have these sheets made anew.",
    "together-not-all": "Not all of these boxes can hang on this device at once: while the others "
    "are plugged in, {} stays unplugged.",
    "together-not-settled": "With all plugged in at once it is not settled that each still works: "
    "have that measured first, or plug in one at a time.",
    "together": "The leads of all sheets were chosen to go together: plug them in as the sheets "
    "have them, all or none.",
}
"""Cautions of several boxes at once, without the words of the program."""

MOST_WORDS = 260
"""Characters of a caution at the head."""


def overloads(used: Mapping[str, Any]) -> tuple[str, ...]:
    """Return how a connection, as it is used, can overload the input: no loudness tells of it.

    A device that nobody can turn up to its maximum does not.
    """
    never = used.get("never_turned_up") is True
    return tuple(
        f"The output can overload this input: {printed(h.get('message'), MOST_WORDS)}."
        for h in listing(used, "hazards")
        if isinstance(h, Mapping)
        and h.get("code") == "overload"
        and not (never and h.get("assumed"))
    )


def before_of(
    advice: Mapping[str, Any], options: Sequence[Mapping[str, Any]] = ()
) -> tuple[str, ...]:
    """Return what has to be known before anything is connected, of the box of ``options`` alone."""
    elsewhere = set() if any(o.get("to") == "xlr" for o in options) else {"phantom-power"}
    if not any(o.get("role") == "subwoofer" for o in options):
        elsewhere.add("one-channel")
    mine = {str(o.get("destination")) for o in options}
    chosen = [o for o in options if o.get("verdict") == "use"]
    cautions = [c for c in listing(advice, "cautions") if isinstance(c, Mapping)]
    places = places_in(advice)
    out = " and ".join(places.get(box, box) for box in stays_out(advice)) or "one of them"
    outputs = {str(o.get("from")) for o in options}
    told = (
        AT_ONCE[code].format(out)
        if code in AT_ONCE
        else in_places(_to_customer(code, printed(c.get("message"), _most(code)), outputs), places)
        for code in BEFORE
        for c in cautions
        if c.get("code") == code
        and (not options or code not in elsewhere)
        and (
            code in AT_ONCE or not mine or _of_these(code, printed(c.get("message")), mine, places)
        )
    )
    load = _against_load(cautions, chosen, places)
    return tuple(dict.fromkeys(filter(None, (*told, *to_mind(advice, chosen), *load))))


def _most(code: str) -> int:
    """Return the characters of a caution; more where it has the names of boxes in it."""
    return MOST_OF_LOAD if code in OF_ALL_NAMED else MOST_WORDS


def _of_these(code: str, message: str, mine: Set[str], places: Mapping[str, str]) -> bool:
    """Tell whether a caution is told of boxes; one that names others, too, is on another sheet."""
    named = named_in(message, places)
    return named <= mine or (code in OF_ALL_NAMED and bool(named & mine))


def _against_load(
    cautions: Sequence[Mapping[str, Any]], chosen: Sequence[Mapping[str, Any]],
    places: Mapping[str, str],
) -> list[str]:  # fmt: skip
    """Return what helps against the load of all boxes on the output that this one uses."""
    outputs = {f"on the {str(o.get('from')).upper()} output" for o in chosen}
    found = [printed(c.get("message"), MOST_OF_LOAD) for c in cautions if c.get("code") == LOAD]
    return [f"{in_places(t, places)}." for t in found if any(output in t for output in outputs)]


def _one_input_each(options: Sequence[Mapping[str, Any]]) -> list[str]:
    """Return that the digital output of a link is to drive the input of another box, too."""
    return [
        f"{printed(h.get('message'))}."
        for o in options
        for h in listing(o, "hazards")
        if isinstance(h, Mapping) and h.get("code") == "digital-one-input"
    ]


TO_METER = {
    "xlr": ("pin 2 against pin 1", "pin 3 against pin 1"),
    "rca": ("the RCA centre against its shell",),
}
"""What the meter has to touch, by the output whose lead touches it, in the words of the advice."""


def _to_customer(code: str, message: str, outputs: Set[str]) -> str:
    """Return a caution for somebody who has no meter; empty where no lead of the side is meant."""
    if code != "direct-voltage-not-metered":
        return message
    head, on, rest = message.partition(" on: ")
    where, end, tail = rest.partition(". ")
    others = {p for output in TO_METER.keys() - outputs for p in TO_METER[output]}
    if on and outputs and outputs <= TO_METER.keys():
        touched = [place for place in where.split(", ") if place not in others]
        if not touched:
            return ""
        message = f"{head}{on}{', '.join(touched)}{end}{tail}"
    return message.replace("Check before connecting", "Have your dealer check before connecting")


def places_in(advice: Mapping[str, Any]) -> dict[str, str]:
    """Return what each box is called on the sheets."""
    options = [o for o in listing(advice, "options") if isinstance(o, Mapping)]
    return places_of(o.get("destination") for o in options if o.get("destination"))
