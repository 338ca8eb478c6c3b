"""What the customer's sheet says is needed: what is taken now, and what only if that fails."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from probe.report.before import (
    asked_of,
    first_of,
    hangs_on_volume,
    lead_holds,
    overloads,
    places_in,
)
from probe.report.document import listing
from probe.report.step import ORIGIN, TRIED, VOLUME, Step, in_words
from probe.report.text import LIST_LIMIT, clean, inner, printed
from probe.report.used import is_digital, needs_pad, pad_named

MOST_ITEMS = 8
"""Lines of a list, so that the whole stays on one side of paper."""

ONE_OF_THEM = (
    "For one of the boxes on this output; for each further one only with what stands first above, "
    "which is on no list."
)

NOTHING_BEFORE = "Buy nothing before what stands first above is settled."


def needs(
    advice: Mapping[str, Any], option: Mapping[str, Any], step: Step | None
) -> list[str]:  # fmt: skip
    """Return what to take from the shelf; without one, what to ask for.

    Parameters
    ----------
    advice
        The whole document.
    option
        What is used; where nothing is, the lead that is tried first.
    step
        What comes before it, with the ways it opens.
    """
    held = [
        o for o in listing(advice, "options")
        if isinstance(o, Mapping) and o.get("destination") == option.get("destination")
    ]  # fmt: skip
    waits = not step and bool(first_of(advice) or asked_of(advice, held, waiting=True))
    shared = any(isinstance(h, Mapping) and h.get("code") == "digital-one-input"
                 for h in listing(option, "hazards"))  # fmt: skip
    wait = [ONE_OF_THEM if shared else NOTHING_BEFORE] if waits else []
    for basket in listing(advice, "shelf"):
        if isinstance(basket, Mapping) and basket.get("destination") == option.get("destination"):
            found = [_capital(in_words(_line(line))) for line in _told(basket)]
            return [*wait, *found[:MOST_ITEMS], *_digital_pad(option),
                    *_in_common(advice, [option, *(step.ways if step else ())])]  # fmt: skip
    if step is None:
        return [*wait, *_asked_for(advice, option)]
    return _in_turn(advice, option, step)


def needs_of_none(
    advice: Mapping[str, Any], options: Sequence[Mapping[str, Any]]
) -> list[str]:  # fmt: skip
    """Return the list of boxes that nothing is used for, the ways into which are ``options``.

    What is taken with an answer, or with a part that is named, is on the adviser's list, too.
    """
    boxes = dict.fromkeys(str(o.get("destination")) for o in options)
    held = [b for b in listing(advice, "shelf")
            if isinstance(b, Mapping) and b.get("destination") in boxes]  # fmt: skip
    places = places_in(advice)
    found = [f"{f'{places.get(box, box)}: ' if len(boxes) > 1 else ''}"
             f"{_capital(in_words(_line(line)))}"
             for box in boxes for b in held if b.get("destination") == box
             for line in _told(b)]  # fmt: skip
    waits = bool(found) and bool(first_of(advice) or asked_of(advice, options))
    opened = {way for o in listing(advice, "would_change")
              if isinstance(o, Mapping) and o.get("destination") in boxes
              for way in listing(o, "answers")}  # fmt: skip
    ways = [o for o in options if o.get("id") in opened]
    return [*([NOTHING_BEFORE] * waits), *found[:MOST_ITEMS], *_in_common(advice, ways)]


def _told(basket: Mapping[str, Any]) -> Sequence[Any]:
    """Return the list as a customer reads it, in short; of a document that has none, as it is."""
    keys = (key for key in ("says_short", "says_plain") if key in basket)
    return listing(basket, next(keys, "says"))


def _in_turn(advice: Mapping[str, Any], option: Mapping[str, Any], step: Step) -> list[str]:
    """Return what the ways take that come first, and what is taken only where they do not do."""
    used = option.get("verdict") == "use"
    if used and all(way.get("id") == option.get("id") for way in step.ways):  # as it is
        return [*_lead(advice, option), *(_inner(ELSE.get(step.code, "Ask first. Only if the "
                "answer is another"), line) for line in _pad(option, must=""))]  # fmt: skip
    cases = zip(WHEN.get(step.code, ANSWERED), step.ways, strict=False)
    if step.code == VOLUME:  # with either something may have to be bought
        return [NOTHING_BEFORE, *(_inner(case, *_asked_for(advice, way)) for case, way in cases)]
    after = AFTER.get(step.code, ())
    said = [_inner(case, *_lead(advice, way), *after) for case, way in cases]
    if used:
        said.append(_inner("Only if that does not do", *_asked_for(advice, option)))
    return said


WHEN = {
    TRIED: ("First",),
    VOLUME: ("Without a volume control", "With one"),
    ORIGIN: ("First, for what is done first (above)",),
}
"""When the ways that come first are taken, by what comes first."""

AFTER = {ORIGIN: ("If the hum goes, no more than what is named there.",)}
"""What is said behind it, of what it spares."""

ANSWERED = ("Ask first (above). If the answer is so", "If not")
"""The same where an answer decides."""

ELSE = {TRIED: "Only if that hums"}
"""When resistors are taken that a lead may do without."""


def _inner(case: str, first: str, *more: str) -> str:
    return " ".join((f"{case}: {inner(first)}", *more))


def _asked_for(advice: Mapping[str, Any], option: Mapping[str, Any]) -> list[str]:
    """Return what to ask for, where nobody has a shelf."""
    found = _lead(advice, option)
    if lead_holds(advice, option.get("destination")):
        found = [_inner("In any case", *found)]
    if adapter := option.get("adapter"):
        part = option.get("transformer")
        data = printed(part.get("to_ask_for"), 200) if isinstance(part, Mapping) else ""
        found.append(f"Ask for: {clean(adapter, 120)}{f': {data}' if data else ''}.")
    if needs_pad(option) and hangs_on_volume(advice, option.get("destination")):
        return [*found, WAITS]
    return [*found, *_pad(option)]


WAITS = "Whether resistors belong in the plug, and which: as above, once it is seen."
"""Of a box whose attenuator hangs on a volume control that the device may have."""


def _lead(advice: Mapping[str, Any], option: Mapping[str, Any]) -> list[str]:
    """Return how many of the lead of a way there have to be."""
    if is_digital(option):
        whom = "One for both sides"
    elif option.get("role") == "subwoofer":
        whom = "One, for the subwoofer's one input"
    elif advice.get("described_sides") == 1:
        whom = "One, for its one channel"
    else:
        whom = "One for each side"
    return [f"{whom}: {printed(option.get('says'))}."]


def _pad(option: Mapping[str, Any], must: str | None = None) -> list[str]:
    """Return which attenuator belongs to a way, or would help it; ``must``: what that is called."""
    pad = option.get("attenuator")
    if not isinstance(pad, Mapping):
        return []
    if must is None:
        must = "If it is too loud: "
        if needs_pad(option) or overloads(option):
            must = "With it: " if needs_pad(option) else "Against the overload: "
        if not needs_pad(option) and any(
            isinstance(h, Mapping) and h.get("turn_down_db") for h in listing(option, "hazards")
        ):
            must = "Or, so that it cannot be turned up too far: "
    says = printed(pad.get("says"), 160)
    return [f"{must}{pad_named(option)} in the plug at the destination, {says}."]


def _in_common(advice: Mapping[str, Any], ways: Sequence[Mapping[str, Any]]) -> list[str]:
    """Return what shares the outputs that ways of a box use, and what all boxes come to.

    What has to be ordered stands with each box already.
    """
    outputs = {way.get("from") for way in ways}
    shared = [
        f"Shared with the other boxes: {'; '.join(_line(line) for line in listing(one, 'says'))}"
        for one in listing(advice, "shelf")
        if isinstance(one, Mapping) and one.get("shares") and one["shares"] in outputs
    ]
    whole = [f"All in all: {_line(line)}" for line in listing(advice, "shelf_total")[:1]]
    return [*shared, *(whole if ways else [])]


def _digital_pad(option: Mapping[str, Any]) -> list[str]:
    """Return how the attenuator of a digital link is made, which the list only names."""
    pad = option.get("attenuator")
    if not is_digital(option) or not isinstance(pad, Mapping):
        return []
    return [f"The attenuator, made by hand: {printed(pad.get('says'), 160)}."]


def _line(line: object) -> str:
    return printed(line, LIST_LIMIT)


def _capital(text: str) -> str:
    return f"{text[:1].upper()}{text[1:]}"
