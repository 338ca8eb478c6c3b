"""Digital links beside the other ways: chosen where nothing else was."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

from probe.advice.destination import Destination
from probe.advice.digital import (
    AES3ID,
    BADNESS,
    CONSUMER,
    NOMINAL,
    DigitalAdvice,
    digital_options,
)
from probe.advice.digital_shared import one_input_each
from probe.advice.heavy_inputs import CODE as HELPS
from probe.advice.model import Advice, Choice, Settling
from probe.advice.subject import Device

LEAD_FIRST = "plain-lead-first"
"""Code of a plain lead to be tried that merely is longer than its standard promises."""


def choose_digital(choices: Sequence[Choice], links: Sequence[DigitalAdvice]) -> tuple[Choice, ...]:
    """Return the choices, with a digital one for each box that has no other."""
    return tuple(_choice(c, [a for a in links if a.box == c.box]) for c in choices)


def _choice(choice: Choice, links: Sequence[DigitalAdvice]) -> Choice:
    working = [a for a in links if a.verdict == "works"]
    if choice.option is not None or not links:
        return choice
    if not working:
        first = min(links, key=lambda a: (BADNESS.index(a.verdict), len(a.deciding)))
        reason = "; ".join(note.message for note in first.deciding)
        said = "cannot tell" if first.verdict == "cannot-tell" else first.verdict
        least = f"least bad: {first.link.id} ({said}): {reason}"
        return Choice(
            choice.box, None, None, ("nothing works without reservation", least), first.link.id
        )
    straight = [a for a in working if a.link.joint == "straight"]
    best = (straight or working)[0]
    reason = (
        "the same interface at both ends"
        if straight
        else "a transformer fits the impedances and frees the grounds"
        + ("; the level is fitted with it" if best.pad is not None else "")
    )
    why = [reason, *_over_the_length(best, links)]
    return Choice(choice.box, best.link.id, best.socket, tuple(why))


def _over_the_length(best: DigitalAdvice, links: Sequence[DigitalAdvice]) -> list[str]:
    """Say why the transformer stands at the other end, where the length is why."""
    if not best.link.over_110:
        return []
    too_long = [
        note.message
        for a in links
        if a.link.joint == "transformer" and not a.link.over_110
        for note in a.deciding
        if note.code == "digital-length"
    ]
    return [f"not over a 75 ohm lead: {says}" for says in too_long]


def _tried_first(choice: Choice, links: Sequence[DigitalAdvice]) -> DigitalAdvice | None:
    """Return the plain lead that can be tried before what is chosen, or said of, is bought."""
    mine = [a for a in links if a.box == choice.box]
    if any(a.verdict == "use" and a.link.joint == "straight" for a in mine):
        return None
    if choice.option is not None and not any(a.verdict == "use" for a in mine):
        return None  # an analogue way is used
    return next((a for a in mine if a.try_first), None)


def _told(choice: Choice, first: Sequence[Settling], helps: Sequence[Settling]) -> Choice:
    """Return the choice with what goes before anything is bought for its box, and what helps."""
    said = [
        f"before anything {'else ' * (one.code == LEAD_FIRST)}is bought, {one.what}"
        for one in first
        if one.box == choice.box
    ]
    otherwise = "if it does not do, " * bool(said)
    said += [f"{otherwise}what would help: {one.what}" for one in helps if one.box == choice.box]
    return replace(choice, why=(*said, *choice.why))


def _over_more(choice: Choice, links: Sequence[DigitalAdvice]) -> DigitalAdvice | None:
    """Return the plain lead of a box without a way that is longer than its standard promises."""
    mine = [a for a in links if a.box == choice.box and choice.option is None]
    return next((a for a in mine if a.merely_long), None)


def _over_its_length(lead: DigitalAdvice) -> str:
    """Return what carries the signal further: another interface, which is made for it."""
    closer = f"the boxes within {lead.promised_m:g} m of lead, or an analogue lead over the length"
    if not lead.try_first:
        closer += (
            "; a lead so long that is there already may be tried all the same, it harms nothing"
        )
    if lead.link.to == "digital-110":
        return (
            f"a digital transformer from 110 to 75 ohm at the device, one back at the destination, "
            f"and a 75 ohm lead between, on which {AES3ID.name} promises {AES3ID.length_m:g} m; or "
            f"{closer}"
        )
    volts, expected = NOMINAL[AES3ID.name], NOMINAL[CONSUMER.name]
    return (
        f"an amplifier for digital audio (active) at the device, which sends the {volts:g} V of "
        f"{AES3ID.name}, for which the same lead may have {AES3ID.length_m:g} m, with "
        f"{20.0 * math.log10(volts / expected):.0f} dB taken off before an input that expects "
        f"{expected:g} V; or {closer}"
    )


def mark_digital(
    links: Sequence[DigitalAdvice], choices: Sequence[Choice]
) -> tuple[DigitalAdvice, ...]:
    """Give the chosen links the verdict ``use``."""
    chosen = {(c.box, c.socket, c.option) for c in choices}
    return tuple(
        replace(a, verdict="use") if (a.box, a.socket, a.link.id) in chosen else a for a in links
    )


def with_digital(advice: Advice, device: Device, destination: Destination) -> Advice:
    """Return ``advice`` with the digital links judged and chosen where nothing else was."""
    links = digital_options(device, destination)
    if not links:
        return advice
    choices = choose_digital(advice.choices, links)
    marked = mark_digital(links, choices)
    tried = {c.box: a for c in choices if (a := _tried_first(c, marked)) is not None}
    first = tuple(Settling(LEAD_FIRST, a.try_first, (a.link.id,), box) for box, a in tried.items())
    first += tuple(
        Settling(note.code, note.message, (), a.box)
        for a in marked
        if a.verdict == "use"
        for note in a.ask_first
    )
    long = {c.box: a for c in choices if (a := _over_more(c, marked)) is not None}
    helps = tuple(Settling(HELPS, _over_its_length(a), (), box) for box, a in long.items())
    used = {a.box: a for a in marked if a.verdict == "use"}
    marked, shared = one_input_each(device, marked, tried | used)
    return replace(
        advice,
        digital=marked,
        choices=tuple(_told(c, first, helps) for c in choices),
        would_change=(*advice.would_change, *first, *helps),
        cautions=(*advice.cautions, *shared),
    )
