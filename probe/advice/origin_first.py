"""What keeps hum out where it comes in, before a transformer is bought for the lead.

It changes no choice; but it is cheap, and whether it is this lead or this box shows when it is
unplugged. A protective earth is never lifted to find out. To hear it the plain lead has to be
plugged in: that is taken first, for the try; where one is tried already, with that. Between outlets
that differ it comes in where the boxes are plugged in: one strip for them costs nothing, and what a
lead does then is solved.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace

from probe.advice.ask_maker import isolates
from probe.advice.compiled import LOSES
from probe.advice.cures import LEAST_DB
from probe.advice.destination import Destination, Input
from probe.advice.ground import SECOND_ABOVE_VOLTS, of_preset
from probe.advice.model import Advice, Choice, OptionAdvice, Settling
from probe.advice.quantity import Quantity
from probe.advice.try_first import CHASSIS, MAY_HARM, used_if_silent
from probe.advice.words import decibels

HARMS = MAY_HARM | {"load-current"}
"""Hazards with which nothing is plugged in to hear what it does; not what the volume settles."""

NOT_MENDED = LOSES | {"floating-open", "instability", "tie-current", "tie-pointless"}
"""What speaks against a lead as it is wired, however quiet it is."""

MAY_DO = "may do instead"
"""Of the plain lead, of which nothing is claimed."""


STRIP_MOST_METRES = 3.0
"""Boxes that a lead of so much joins stand in reach of one mains strip. [practice: the leads of
boxes and strips are 1.5 to 2 m long]"""

STRIP_AT_ORIGIN = (
    "{boxes} on one mains strip, if {all} can be, earths kept, within its rating and the "
    "electrical code (common practice where leads are short: hum {hum} below full output, by "
    "typical figures)"
)

STRIP_FOUND_BY = (
    "plug {boxes} into one mains strip, if {all} can be (all off first, earths kept, within its "
    "rating and the electrical code of the place), and listen: typical hum {hum} below full "
    "output, with which"
)


@dataclass(frozen=True)
class Origin:
    """Where hum comes in: the grounds of ``destination`` say it.

    ``leads`` has for each box that a strip helps the way that is used then.
    """

    destination: Destination
    leads: Mapping[str, str] = field(default_factory=dict)


def origin_of(
    advice: Advice, destination: Destination,
    ask: Callable[[Destination, frozenset[tuple[str, str]]], Advice],
) -> Origin:  # fmt: skip
    """Return where hum comes in: beside what is said of a ground, at outlets that differ.

    Of boxes in reach of one strip that have a lead without a part to buy when they share one.
    """
    near = {s.box for s in destination.inputs if _near(s, destination)}
    near &= {c.box for c in advice.choices if c.option is None or _hums(advice, c)}
    if not near or CHASSIS & {c.code for c in advice.cautions}:
        return Origin(destination)
    strip = of_preset("same-strip")
    inputs = tuple(replace(s, ground=strip) if s.box in near else s for s in destination.inputs)
    then = ask(replace(destination, inputs=inputs), frozenset())
    every = {c.box for c in advice.choices}
    leads, says = {}, {}
    for choice in (c for c in then.choices if c.box in near):
        hum = _less_hum(advice, then, choice)
        if hum is None or choice.option is None:
            continue
        boxes = f"the device and {choice.box}" if near < every else (
            "all the boxes" if len(every) > 1 else "both boxes")  # fmt: skip
        leads[choice.box] = choice.option
        told = {"boxes": boxes, "all": "all" if boxes.startswith("all") else "both",
                "hum": decibels(hum)}  # fmt: skip
        says[choice.box] = STRIP_AT_ORIGIN.format(**told), STRIP_FOUND_BY.format(**told)

    def of_strip(socket: Input) -> Input:
        if socket.box not in says:
            return socket
        at_origin, found_by = says[socket.box]
        return replace(
            socket, ground=replace(socket.ground, at_origin=at_origin, found_by=found_by)
        )

    return Origin(replace(destination, inputs=tuple(map(of_strip, destination.inputs))), leads)


def _near(socket: Input, destination: Destination) -> bool:
    """Tell whether an input is in reach of one strip with the device, and both boxes are earthed.

    Not where the ground has another usual origin.
    """
    ground = socket.ground
    earthed = ground.ohm is not None or (
        ground.known and not ground.source_known
        and (ground.difference_volts or 0.0) <= SECOND_ABOVE_VOLTS
    )  # fmt: skip
    short = all(c.length_m <= STRIP_MOST_METRES for c in destination.cables_of(socket))
    return earthed and short and not ground.at_origin


def _hums(advice: Advice, choice: Choice) -> bool:
    """Tell whether what is used for a box hums, or is there against the hum of another lead."""
    return isolates(choice.option) or _hum(advice, choice) is not None


def _less_hum(now: Advice, then: Advice, choice: Choice) -> Quantity | None:
    """Return the hum of a plain lead that is used ``then``; None: no better than now."""
    if choice.option is None or isolates(choice.option) or choice.attenuator:
        return None
    before, after = _hum(now, choice), _hum(then, choice)
    if before is None or after is None or after.value < before.value + LEAST_DB:
        return None
    return after


def _hum(advice: Advice, choice: Choice) -> Quantity | None:
    """Return the hum of a way into a box on its worse side, None where one is not known."""
    key = (choice.box, choice.socket, choice.option)
    found = [o.used.figures.hum_below_full_output_db for o in advice.options
             if (o.box, o.socket, o.option.id) == key]  # fmt: skip
    known = [q for q in found if q is not None]
    return min(known, key=lambda q: q.low) if known and len(known) == len(found) else None


def with_origin_first(advice: Advice, origin: Origin) -> Advice:
    """Return the advice with it above the choice, of boxes whose plain lead hums too much."""
    if CHASSIS & {c.code for c in advice.cautions}:
        return advice
    destination = origin.destination
    cured = {c.box for c in advice.cures if c.code == "at-origin"}
    says = {s.box: s.ground.found_by for s in destination.inputs if s.box in cured}
    tried = {s.box: s.answers[:1] for s in advice.would_change if s.code == "lead-first"}
    found: dict[str, Settling] = {}
    for choice in advice.choices:
        plain = _plain(advice, choice, origin) if choice.box in says else None
        if plain is not None:
            # one lead to plug in first: with the one that is tried it is heard as well
            answers = tried.get(choice.box) or (plain.option.id,)
            found[choice.box] = Settling("origin-first", says[choice.box], answers, choice.box)
    choices = tuple(_told(c, found.get(c.box)) for c in advice.choices)
    return replace(advice, choices=choices, would_change=(*advice.would_change, *found.values()))


def _told(choice: Choice, found: Settling | None) -> Choice:
    if found is None:
        return choice
    lead = found.answers[0]
    tried = choice.why[:1] if choice.why[:1] and choice.why[0].startswith("try first") else ()
    plugged = "if it hums," if tried else f"first plug in {lead};"
    says = f"{plugged} before anything else is bought, {found.what} {lead} {MAY_DO}"
    return replace(choice, why=(*tried, says, *choice.why[len(tried) :]))


def _plain(advice: Advice, choice: Choice, origin: Origin) -> OptionAdvice | None:
    """Return the lead without a part to buy that its hum speaks against, if there is one.

    The one that is known to do then, where one is; else one that would be used if it did not hum: a
    transformer that is there for its level is spared by no silence. None where such a lead, or none
    at all with a transformer, is used already.
    """
    mine = [o for o in advice.options if o.box == choice.box]
    used = [o for o in mine if (o.socket, o.option.id) == (choice.socket, choice.option)]
    if choice.option is not None and not any(o.option.pin_3 == "transformer" for o in used):
        return None
    way = origin.leads.get(choice.box)
    hums = [
        o
        for o in mine
        if o.option.pin_3 != "transformer"
        and o.verdict in ("avoid", "cannot-tell")
        and (way == o.option.id if way else _only_hums(o))
        and not _harms(o)
    ]
    if not way:
        ways = dict.fromkeys((o.socket, o.option.id) for o in hums)
        sides = [tuple(o for o in mine if (o.socket, o.option.id) == one) for one in ways]
        hums = [
            one[0] for one in sides if used_if_silent(advice, [one], choice.box, origin.destination)
        ]
    return next((o for o in hums if o.option.native), next(iter(hums), None))


def _only_hums(option: OptionAdvice) -> bool:
    """Tell whether a lead hums, and nothing speaks against it that no silence mends."""
    return "hum" in {h.code for h in option.hazards} and not option.against & NOT_MENDED


def _harms(option: OptionAdvice) -> bool:
    """Tell whether more speaks against a lead than what is heard, with nothing to turn it down.

    Where nobody knows whether there is, that is asked first.
    """
    surely = {h.code for h in option.hazards if not h.assumed and h.turn_down_db is None}
    turned = set() if option.never_turned_up else {"overload"}
    return bool(HARMS & surely - turned)
