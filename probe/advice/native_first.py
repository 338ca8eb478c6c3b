"""The XLR lead of two XLR sockets, tried before anybody is asked, where it can but lose the signal.

A sheet that says "balanced" leaves open what it may be lost by: a pin 3 connected to nothing, into
a transformer. It harms nothing, and whether all of it arrives is heard at once.
"""

from __future__ import annotations

from dataclasses import replace

from probe.advice.ask_maker import isolates
from probe.advice.compiled import LOSES
from probe.advice.cures import HALF
from probe.advice.model import Advice, Choice, OptionAdvice, Settling
from probe.advice.try_first import CHASSIS, HUM, MAY_HARM

HEARD = LOSES | HUM | {"loss", "bass-loss", "full-output-open", "response-rise"}
"""What may speak against a lead and is heard when it plays: lost signal, level, bass or treble."""

ASK, MADE = "ask the maker", "have an XLR lead made"
"""How what comes then begins."""

SAYS = (
    "with the volume down first it harms nothing, and at worst it plays thin or far too quietly"
    "{hums}, which is heard at once; if it plays full and as loud as other devices do there"
    "{silent}, nothing else is needed{but}"
)
"""Why it is tried. [practice]"""

HALF_IDLE = (
    "; not heard is whether both halves of what is fed are driven (with one idle its maximum is "
    "6 dB lower): the maker of {device} knows whether both pins carry a signal"
)
"""Of an input that needs both legs."""


def with_native_tried_first(advice: Advice) -> Advice:
    """Return the advice with that lead above the question, for each box that uses none yet."""
    if CHASSIS & {c.code for c in advice.cautions}:
        return advice
    told = {s.box for s in advice.would_change if s.code == "lead-first"}
    found: dict[str, Settling] = {}
    for choice in advice.choices:
        if choice.box in told or _is_plain_native(advice, choice):
            continue
        sides = [o for o in advice.options if o.box == choice.box and o.option.id == "xlr-to-xlr"]
        if sides and all(_only_heard(side.used) for side in sides):
            hums = any(HUM & side.used.against for side in sides)
            half = any(HALF in {h.code for h in side.hazards} for side in sides)
            says = SAYS.format(
                hums=", or hums" * hums,
                silent=" and does not hum" * hums,
                but=HALF_IDLE.format(device=advice.device) * half,
            )
            found[choice.box] = Settling("lead-first", says, ("xlr-to-xlr",), choice.box)
    choices = tuple(_told(c, found.get(c.box)) for c in advice.choices)
    return replace(advice, choices=choices, would_change=(*found.values(), *advice.would_change))


def _is_plain_native(advice: Advice, choice: Choice) -> bool:
    """Tell whether what is chosen joins two sockets of a kind without a transformer."""
    key = (choice.box, choice.option)
    native = any(o.option.native for o in advice.options if (o.box, o.option.id) == key)
    return native and not isolates(choice.option)


def _only_heard(side: OptionAdvice) -> bool:
    """Tell whether a loss may rule it out, or half of the level, and nothing else but hum.

    Be it avoided for a kind that merely is possible, where it would do for another one.
    """
    perhaps = side.verdict == "cannot-tell" and side.loses_at_most
    perhaps |= side.verdict == "avoid" and side.may_do
    return (
        (perhaps and (side.doubt == "never" or bool(side.against & LOSES)))
        and side.against <= HEARD
        and not MAY_HARM & {h.code for h in side.hazards}
    )


def _told(choice: Choice, found: Settling | None) -> Choice:
    if found is None:
        return choice
    lead = found.answers[0]
    why = [f"{_before(w, lead)}{w}" for w in choice.why]
    return replace(choice, why=(f"try first: {lead}: {found.what}", *why))


def _before(why: str, lead: str) -> str:
    """Return when something is done: what opens the lead itself is asked in place of trying it."""
    if why.startswith(ASK) and lead in why:
        return "or, in place of trying it, "
    return "if it does not, " if why.startswith((ASK, MADE)) else ""
