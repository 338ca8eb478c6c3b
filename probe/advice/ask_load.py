"""What the maker's minimum load would spare: asked for before anything is soldered or bought.

An input, or several on one output, may be too heavy only because nobody says what the output
drives. Where resistors or a transformer are used for want of that word, or all plugged in at once
cannot be judged without it, the whole advice is made again with the load allowed.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any

from probe.advice.answers import LOAD, Lines, known
from probe.advice.ask_first import loses, told_first
from probe.advice.ask_maker import TOO_HEAVY, isolates, load_asked
from probe.advice.model import Advice, Choice, OptionAdvice, Settling
from probe.numbers import digits_down

Whole = Callable[[Mapping[str, Any], Mapping[str, Any]], Advice]
"""The advice for facts and sources, with all boxes plugged in."""


def with_load_asked_first(
    advice: Advice, facts: Mapping[str, Any], sources: Mapping[str, Any], whole: Whole
) -> Advice:
    """Return the advice with the minimum load asked for, where the answer would spare something."""
    if (facts.get("device") or {}).get("minimum_load_ohm") is not None:
        return advice
    heavy = {c.box: _heavy(advice, c) for c in advice.choices if c.option is not None}
    if not any(heavy.values()):
        return advice
    own = {c.box: _works_into(advice, c) for c in advice.choices if c.option is not None}
    # all of them may hang on one output, the light ones too
    least = _joint([min([*heavy[box], *([ohm] if ohm else [])]) for box, ohm in own.items()
                    if heavy[box] or ohm])  # fmt: skip
    again = whole(*known(facts, sources, ((LOAD, least),)))
    if _in_doubt(again) or loses(advice, again):
        return advice
    ohm = _on_one_output(again)
    if ohm is not None and ohm > least:
        more = whole(*known(facts, sources, ((LOAD, ohm),)))
        if not (_in_doubt(more) or loses(again, more)):
            least, again = ohm, more
    what = load_asked(advice.device, least)
    typed: Lines = ((LOAD, least),)
    found = {
        was.box: Settling("asked-first", what, (now.option,), was.box, typed=typed)
        for was, now in zip(advice.choices, again.choices, strict=True)
        if heavy.get(was.box) and now.option is not None and _spares(advice, was, now)
    }
    still = frozenset(c.box for c in again.choices if c.attenuator)
    return told_first(advice, found, "is used instead", still)


def _joint(loads: Sequence[float]) -> float:
    """Return loads in parallel, rounded down: what is asked for is what is then solved."""
    return digits_down(1.0 / sum(1.0 / ohm for ohm in loads))


def _on_one_output(advice: Advice) -> float | None:
    """Return what the output with most on it works into, with all that is used plugged in."""
    outputs: dict[str, list[float]] = {}
    for choice in advice.choices:
        ohm = _works_into(advice, choice)
        used = {o.option.from_ for o in _ways(advice, choice)}
        if ohm is not None:
            outputs.setdefault(used.pop(), []).append(ohm)
    return min((_joint(loads) for loads in outputs.values()), default=None)


def _heavy(advice: Advice, choice: Choice) -> list[float]:
    """Return what the ways into a box work into that are open for want of the maker's word.

    Of what is used, where resistors are in its plug, be it for all at once, or all at once is in
    doubt; and of a way that cannot be judged, where a transformer is used.
    """
    mine = [o for o in advice.options if o.box == choice.box]
    used = [o for o in mine if (o.socket, o.option.id) == (choice.socket, choice.option)]
    open_ = list(used) if choice.attenuator else []
    if any(o.option.pin_3 == "transformer" for o in used):
        open_ += [o for o in mine if o.verdict == "cannot-tell"]
    open_ += _doubtful(advice, choice.box)
    return [
        o.works_into_ohm
        for o in open_
        if o.works_into_ohm is not None
        and (TOO_HEAVY & {h.code for h in o.hazards} or _relieved(o, choice))
    ]


def _relieved(option: OptionAdvice, choice: Choice) -> bool:
    made = option.attenuator
    return choice.attenuator and made is not None and made.fitted and made.relieves


def _doubtful(advice: Advice, box: str) -> list[OptionAdvice]:
    """Return what is used for a box where it cannot be judged with the others plugged in."""
    best = advice.sets[0].options if advice.sets else ()
    return [o for o in best if o.box == box and o.verdict == "cannot-tell"]


def _in_doubt(advice: Advice) -> bool:
    return any(_doubtful(advice, c.box) for c in advice.choices)


def _spares(advice: Advice, was: Choice, now: Choice) -> bool:
    """Tell whether the answer spares resistors, a transformer, or a doubt."""
    if (was.option, was.socket) == (now.option, now.socket):
        freed = was.attenuator and not now.attenuator
        return freed or bool(_doubtful(advice, was.box))
    return isolates(was.option) and not isolates(now.option) and not now.attenuator


def _works_into(advice: Advice, choice: Choice) -> float | None:
    """Return what an output works into with what is used for one box, and nothing else on it."""
    into = [o.used.works_into_ohm for o in _ways(advice, choice)]
    return min((ohm for ohm in into if ohm is not None), default=None)


def _ways(advice: Advice, choice: Choice) -> list[OptionAdvice]:
    """Return what is used for one box, on each side."""
    way = (choice.box, choice.socket, choice.option)
    return [o for o in advice.options if (o.box, o.socket, o.option.id) == way]
