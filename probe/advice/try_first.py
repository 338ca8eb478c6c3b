"""A lead that only its hum may speak against, tried before a transformer is bought.

Hum harms nothing and is heard at once. So where the choice is a transformer, or nothing, and a lead
would be used but for a hum that is not known, or that typical figures put short of the limit,
trying it tells more than any figure.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence, Set
from dataclasses import replace

from probe.advice import thresholds as limit
from probe.advice.ask_maker import isolates
from probe.advice.candidate import NOT_SAFE, VOLUME_DOES
from probe.advice.case import Verdict
from probe.advice.choose import choose
from probe.advice.destination import Destination
from probe.advice.model import Advice, Choice, OptionAdvice, Settling
from probe.advice.padded import just_short
from probe.advice.words import decibels

HUM = frozenset({"hum", "long-run"})
"""Codes of hazards that are hum and no more."""

CHASSIS = frozenset({"ground-fault", "ground-high", "ground-current"})
"""Cautions with which no lead is plugged to see what it does."""

MAY_HARM = NOT_SAFE | {"overload"}
"""Hazards with which nothing is plugged to see what it does, whatever else has them too."""

EARLIER = frozenset({"clips-earlier"})
"""What is minded of a tied lead that is tried: below what is played nothing of it is heard."""

TOLD = frozenset({"asked-first", "origin-first"})
"""What is asked or done first already."""


def with_lead_tried_first(advice: Advice, destination: Destination) -> Advice:
    """Return the advice with the lead to try before a transformer is bought, for each such box."""
    if CHASSIS & {c.code for c in advice.cautions}:
        return advice
    told = {s.box for s in advice.would_change if s.code in TOLD}
    opened = {
        c.box: {way for s in advice.would_change if s.box == c.box for way in s.answers}
        for c in advice.choices
    }
    found: dict[str, Settling] = {}
    for choice in advice.choices:
        dear = choice.option is None or isolates(choice.option) or choice.attenuator
        if choice.box in told or not dear:
            continue
        ways = list(_in_doubt(advice, choice, destination))
        mine = [o for o in advice.options if o.box == choice.box]
        tried = used_if_silent(advice, ways, choice.box, destination)
        if tried and not _opens_another(opened[choice.box], tried[0].option.id):
            just = any(_just_short(side, destination) for side in tried)
            typical = any(_by_typical_figures(side, destination) for side in tried)
            what = _padded(mine, tried) + _says(tried, typical, just) + _minded(tried, choice, mine)
            answers = (tried[0].option.id,)
            found[choice.box] = Settling("lead-first", what, answers, choice.box)
    choices = tuple(_told(c, found.get(c.box)) for c in advice.choices)
    return replace(advice, choices=choices, would_change=(*advice.would_change, *found.values()))


def _minded(
    tried: Sequence[OptionAdvice], choice: Choice, mine: Sequence[OptionAdvice]
) -> str:  # fmt: skip
    """Return what is to be minded with a lead that is tried, and not with what is used then."""
    key = (choice.socket, choice.option)
    known = {h.code for o in mine if (o.socket, o.option.id) == key for h in o.used.hazards}
    told = dict.fromkeys(
        h.message for s in tried for h in s.hazards if h.code in EARLIER and h.code not in known
    )
    return "".join(f"; mind: {says}" for says in told)


def _opens_another(opened: Set[str], tried: str) -> bool:
    """Tell whether a question opens a lead, and another one than is tried: that one is asked about.

    The lead that it would open anyway is plugged in while nobody has answered yet.
    """
    leads = {way for way in opened if not isolates(way)}
    return bool(leads) and leads != {tried}


def _in_doubt(
    advice: Advice, choice: Choice, destination: Destination
) -> Iterator[tuple[OptionAdvice, ...]]:
    """Yield the leads into a box of which hum is the only doubt on all sides, as they are used."""
    mine = [o for o in advice.options if o.box == choice.box]
    asked = destination.attenuation(choice.box) is not None or destination.wanted(choice.box) < 0.0
    if choice.attenuator and not asked:
        mine = [_without_pad(o) for o in mine]
    key = (choice.socket, choice.option)
    minded = {
        h.code for o in mine if (o.socket, o.option.id) == key for h in o.used.hazards
    } - MAY_HARM  # fmt: skip
    relieved = any(_relieves(o) for o in mine if (o.socket, o.option.id) == key)
    for way in dict.fromkeys((o.socket, o.option.id) for o in mine if not isolates(o.option.id)):
        held = [o for o in mine if (o.socket, o.option.id) == way]
        if relieved and not all(map(_relieves, held)):
            continue  # what relieves the output for all of them stays in the plug
        sides = tuple(o.used for o in held)
        if all(
            s.against == {"hum"}
            and {h.code for h in s.hazards} <= HUM | minded | VOLUME_DOES | EARLIER
            and (s.verdict == "cannot-tell" or _by_typical_figures(s, destination))
            for s in sides
        ):
            yield sides


def _relieves(option: OptionAdvice) -> bool:
    """Tell whether there are resistors in its plug for what the output works into."""
    pad = option.attenuator
    return pad is not None and pad.fitted and pad.relieves


def _without_pad(option: OptionAdvice) -> OptionAdvice:
    """Return what is used with a pad as it is without, if hum alone may be in its way then.

    Not where its resistors relieve the output, be it only with all plugged in.
    """
    pad = option.attenuator
    if pad is not None and (pad.relieves or pad.own_ohm):
        return option
    hum = option.figures.hum_below_full_output_db
    bare = option.verdict == "use" and option.against == {"hum"}
    if not bare or hum is None or hum.low >= _limit(option):
        return option
    verdict: Verdict = "cannot-tell" if hum.high >= _limit(option) else "avoid"
    return replace(option, verdict=verdict, attenuator=None)


def _just_short(option: OptionAdvice, destination: Destination) -> bool:
    return any(just_short(option, s) for s in destination.inputs if s.name == option.socket)


def _by_typical_figures(option: OptionAdvice, destination: Destination) -> bool:
    """Tell whether nobody read what makes a hum that is audible perhaps, and not loud."""
    hum = option.figures.hum_below_full_output_db
    typical = any(s.ground.typical for s in destination.inputs if s.name == option.socket)
    least = limit.HUM_TRY_DB + option.figures.stricter_db
    return option.verdict == "avoid" and typical and hum is not None and hum.low >= least


def _limit(option: OptionAdvice) -> float:
    return limit.HUM_AVOID_DB + option.figures.stricter_db


def used_if_silent(
    advice: Advice, ways: Sequence[tuple[OptionAdvice, ...]], box: str, destination: Destination
) -> tuple[OptionAdvice, ...]:
    """Return the quietest of ``ways`` that would be used if hum did not speak against it.

    On all sides, as they are; of those that hum alike the one with fewest parts, between sockets of
    one kind. Nothing where none would: what is used has more than no hum, then.
    """

    def low(sides: tuple[OptionAdvice, ...]) -> float:
        return min(h.low for s in sides if (h := s.figures.hum_below_full_output_db) is not None)

    quietest = max(map(low, ways), default=0.0)

    def turn(sides: tuple[OptionAdvice, ...]) -> tuple[float, int, bool]:
        option, hum = sides[0].option, low(sides)
        alike = hum >= quietest - limit.TIE_BREAK_DB
        return -(quietest if alike else hum), option.parts, not option.native

    for sides in sorted(ways, key=turn):
        way = (sides[0].socket, sides[0].option.id)
        options = [_silent(o) if (o.box, o.socket, o.option.id) == (box, *way) else _bare(o)
                   for o in advice.options]  # fmt: skip
        if any((c.box, c.socket, c.option) == (box, *way) for c in choose(options, destination)):
            return sides
    return ()


def _silent(option: OptionAdvice) -> OptionAdvice:
    """Return an option as it would be judged if it did not hum, behind its attenuator, too."""
    if option.used is not option and option.attenuator is not None:
        silent = _silent(option.attenuator.advice)
        return replace(option, attenuator=replace(option.attenuator, advice=silent))
    left = tuple(h for h in option.hazards if h.code not in HUM)
    return replace(option, verdict="works", hazards=left, doubt=None)


def _bare(option: OptionAdvice) -> OptionAdvice:
    return replace(option, verdict="works") if option.verdict == "use" else option


def _padded(mine: Sequence[OptionAdvice], tried: Sequence[OptionAdvice]) -> str:
    """Return with which attenuator a lead is tried, in words."""
    held = (o.attenuator for o in mine if o.attenuator is not None)
    made = next((a for a in held if any(a.advice is t for t in tried)), None)
    if made is None:
        return ""
    return f"with {made.designs[0].pad.named} of {made.takes} in its plug "


def _says(sides: Sequence[OptionAdvice], typical: bool, just: bool) -> str:
    """Return why, in words."""
    least = min(sides, key=lambda s: h.low if (h := s.figures.hum_below_full_output_db) else 0.0)
    hum = least.figures.hum_below_full_output_db
    assert hum is not None
    below = f"{decibels(hum)} below full output"
    if typical:
        short, sure = ("just short", "to a decibel") if just else ("short", "for this place")
        return (
            f"it harms nothing, and whether it hums is heard at once: {below} by typical figures of"
            f" the situation, {short} of the {_limit(least):g} dB that are quiet enough, and not"
            f" sure {sure}; two readings of a meter tell, too"
        )
    return (
        f"it harms nothing, and whether it hums is heard at once: {below} by what is not known of "
        f"the boxes, {_limit(least):g} dB are quiet enough; if it is quiet, nothing else is needed"
    )


def _told(choice: Choice, found: Settling | None) -> Choice:
    if found is None:
        return choice
    before = "before a transformer is bought, "
    if choice.attenuator and not isolates(choice.option):
        before = "without resistors, "
    says = f"try first, {before}{found.answers[0]}: {found.what}"
    return replace(choice, why=(says, *choice.why))
