"""Whether a device has a volume control: seen by looking, and asked before a pad is bought.

Of one without it what is stated is what is played, and a pad is sized for that; one that can be
turned up gives its maximum one day, and needs a larger one, or is kept turned down. Where nobody
says which it is, all boxes are solved with each answer; where they come to the same, nothing is
asked.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Any

from probe.advice import thresholds as limit
from probe.advice.ask_maker import isolates
from probe.advice.flip_reasons import ASKED
from probe.advice.model import Advice, Choice, OptionAdvice, Settling
from probe.advice.source_file import with_device_line
from probe.advice.subject import Device
from probe.advice.volume import VOLUME_CONTROL
from probe.advice.words import ONLY_WITH_VOLUME

Whole = Callable[[Mapping[str, Any], Mapping[str, Any]], Advice]
"""The advice for facts and sources, with all boxes plugged in."""

CODE = "volume-control"

WITHOUT, WITH = "without a volume control", "with one"
"""The two answers, the one that is dangerous to miss first."""

SAME_DB = 1.0
"""Pads that differ by less are one: no shop sells both. [judgement]"""


def with_volume_asked_first(
    advice: Advice, device: Device, facts: Mapping[str, Any], sources: Mapping[str, Any],
    whole: Whole, with_all: Callable[[Mapping[str, Any]], Advice],
) -> Advice:  # fmt: skip
    """Return the advice with the question, for each box whose answer hangs on it.

    ``with_all``: the advice for facts, with all that comes before a choice and that helps.
    """
    if device.volume != "unknown" or not _may_matter(advice):
        return advice
    without, with_one = (whole(_stating(facts, has=has), sources) for has in (False, True))
    pairs = tuple(zip(advice.choices, without.choices, with_one.choices, strict=True))
    if any(
        (
            (c.attenuator or _of_neither(c, none, one))
            and not _either((advice, c), (without, none), (with_one, one))
        )
        or _core(advice, c) > max(_core(without, none), _core(with_one, one))
        for c, none, one in pairs
    ):
        # what neither answer buys is not sold: told is the one with which least is bought
        advice = with_all(_stating(facts, has=True))
    found: dict[str, Settling] = {}
    for choice, (_, none, one) in zip(advice.choices, pairs, strict=True):
        if alike((without, none), (with_one, one)) or _asks_for_a_lead(advice, choice, one):
            continue
        what = _asked((advice, choice), (without, none), (with_one, one))
        answers = tuple(dict.fromkeys(c.option for c in (none, one) if c.option is not None))
        cases = ((WITHOUT, without), (WITH, with_one))
        found[choice.box] = Settling(CODE, what, answers, choice.box, cases=cases)
    leads = {c.box for c, (_, none, one) in zip(advice.choices, pairs, strict=True)
             if none.option is not None and _ways(none) == _ways(one)
             and _core(without, none) == _core(with_one, one)}  # fmt: skip
    choices = tuple(_told(c, found.get(c.box), same=c.box in leads) for c in advice.choices)
    return replace(advice, choices=choices, would_change=(*advice.would_change, *found.values()))


def as_followed(facts: Mapping[str, Any], advice: Advice) -> Mapping[str, Any]:
    """Return the facts of the device as ``advice`` has it, whose answer it follows may be open."""
    if not any(o.turn_down_db is not None for o in advice.options):
        return facts
    return _stating(facts, has=True)


def _stating(facts: Mapping[str, Any], *, has: bool) -> Mapping[str, Any]:
    """Return the facts of the same device, with or without a volume control."""
    return with_device_line(facts, VOLUME_CONTROL, has)


def hangs_on_volume(advice: Advice, box: str) -> Settling | None:
    """Return the question of a box whose answer hangs on it."""
    return next((s for s in advice.would_change if (s.code, s.box) == (CODE, box)), None)


def _may_matter(advice: Advice) -> bool:
    """Tell whether anything that hangs on a volume control stands in the advice at all."""
    return any(_core(advice, c) for c in advice.choices) or any(
        _doubted(o) or o.attenuator is not None or HANGS_ON_IT & {h.code for h in o.hazards}
        for o in advice.options
    )


HANGS_ON_IT = frozenset({"overload", "clips-short", "clips-earlier"})
"""What a device that is not turned up does not do."""


def _asks_for_a_lead(advice: Advice, choice: Choice, one: Choice) -> bool:
    """Tell whether a maker's answer opens a lead, where a volume control opens a transformer."""
    asked = (s for s in advice.would_change if s.box == choice.box and s.code in ASKED)
    opens = any(not isolates(way) for s in asked for way in s.answers)
    return choice.option is None and isolates(one.option) and opens


def _doubted(option: OptionAdvice) -> bool:
    margin = option.used.figures.full_output_margin_db
    return margin is not None and ONLY_WITH_VOLUME in (margin.note or "")


def _overloads(option: OptionAdvice) -> bool:
    return any(h.code == "overload" for h in option.hazards)


Answer = tuple[Advice, Choice]


def alike(none: Answer, one: Answer) -> bool:
    """Tell whether both answers come to the same lead with the same resistors in its plug.

    And to a transformer of the same size, where it is one.
    """
    pads = [_pad_db(*answer) for answer in (none, one)]
    return _ways(none[1]) == _ways(one[1]) and (pads[0] > 0.0) == (pads[1] > 0.0) and (
        abs(pads[0] - pads[1]) < SAME_DB and _core(*none) == _core(*one)
    )  # fmt: skip


def _core(advice: Advice, choice: Choice) -> float:
    """Return the volts at 20 Hz that a transformer has to stand that is larger than was solved.

    V rms; 0 where none is used, or the one that was solved does.
    """
    parts = [
        o.used.part_needed.volts_at_20_hz
        for o in _used(advice, choice)
        if isolates(o.option.id)
        and o.used.part_needed.volts_at_20_hz > o.option.part.volts_at_20_hz
    ]
    return max(parts, default=0.0)


def _ways(choice: Choice) -> tuple[str | None, str | None]:
    return choice.option, choice.socket


def _of_neither(now: Choice, none: Choice, one: Choice) -> bool:
    """Tell whether a lead is told without the answer that neither answer takes."""
    used = now.option is not None and one.option is not None
    return used and _ways(now) not in (_ways(none), _ways(one))


def _either(now: Answer, none: Answer, one: Answer) -> bool:
    """Tell whether what is told without the answer is what comes of one."""
    return alike(now, one) or alike(now, none)


def _pad_db(advice: Advice, choice: Choice) -> float:
    """Return what the resistors in the plug take off, 0 dB where there are none."""
    made = _used(advice, choice) if choice.attenuator else []
    return max((o.attenuator.attenuation_db for o in made if o.attenuator), default=0.0)


def _used(advice: Advice, choice: Choice) -> list[OptionAdvice]:
    way = (choice.box, choice.socket, choice.option)
    return [o for o in advice.options if (o.box, o.socket, o.option.id) == way]


def _asked(now: Answer, none: Answer, one: Answer) -> str:
    """Return the question with what comes of either answer, and for which all else is said."""
    same = none[1].option == one[1].option
    way = f"{none[1].option}, with " if same and none[1].option else ""
    plugs = any(_pad_db(*answer) > 0.0 for answer in (none, one))
    cores = [_larger(*answer) for answer in (none, one)]
    if same and cores[0] != cores[1]:
        without, with_one = (f"{text}{core or AS_SOLVED}" for text, core in zip(
            (way, ""), cores, strict=True))  # fmt: skip
    else:
        without = f"{way}{_plug(*none)}" if same else _way(*none, plugs=plugs)
        with_one = _plug(*one) if same else _way(*one, plugs=plugs)
    without += _unstated(*none)
    case = WITH if alike(now, one) else WITHOUT if alike(now, none) else ""
    follows = case and f" (what follows is {case})"
    return (
        f"look whether {now[0].device} has a volume control of its own (a knob, keys, a remote); "
        f"{WITHOUT}: {without}; {WITH}: {with_one}{_turned(*one)}{follows}"
    )


def _way(advice: Advice, choice: Choice, *, plugs: bool) -> str:
    if choice.option is None:
        return "nothing is to be used yet"
    return f"{choice.option}, with {_plug(advice, choice)}" if plugs else choice.option


def _plug(advice: Advice, choice: Choice) -> str:
    """Return what is in the plug, with its parts."""
    pads = [o.attenuator for o in _used(advice, choice) if o.attenuator] * choice.attenuator
    most = max(pads, key=lambda p: p.attenuation_db, default=None)
    return "nothing in its plug" if most is None else f"{most.takes} in its plug ({most.says})"


def _unstated(advice: Advice, choice: Choice) -> str:
    """Return on what bare leads rest where nobody says what such a device plays at full scale."""
    bare = [o for o in _used(advice, choice) if o.attenuator is None or not choice.attenuator]
    told = any(h.code == "overload" and h.assumed for o in bare for h in o.hazards)
    known = any(o.used.figures.full_output_margin_db is not None for o in bare)
    return UNSTATED if told and not known else ""


def _larger(advice: Advice, choice: Choice) -> str:
    """Return which transformer is needed, where it is a larger one than was solved."""
    core = _core(advice, choice)
    return f"a transformer of at least {core:g} V at 20 Hz" if core else ""


AS_SOLVED = "the transformer that was calculated with"

UNSTATED = (
    " as long as its full output, which is not stated (full_output), is no more than the input "
    "accepts"
)


def _turned(advice: Advice, choice: Choice) -> str:
    """Return what a volume control does: turned up behind resistors, or turned down without."""
    used = _used(advice, choice)
    if not used:
        return ""
    margins = [o.used.figures.full_output_margin_db for o in used]
    full = all(m is not None and m.low >= -limit.GAIN_REACHED_DB for m in margins)
    reached = ", which turned up reaches full output" * (full and choice.attenuator)
    if not any(map(_overloads, used)):
        return reached
    here = (choice.box, choice.socket, choice.option)
    beside = [o for s in advice.sets[:1] for o in s.options
              if (o.box, o.socket, o.option.id) == here]  # fmt: skip
    known = [o.turn_down_db for o in (*used, *beside) if o.turn_down_db is not None]
    down = f"its volume stays {max(known):.1f} dB or more below its maximum" if known else (
        "it stays turned down"
    )  # fmt: skip
    return f"{reached}, or nothing, and {down}" if choice.attenuator else f", and {down}"


def _told(choice: Choice, found: Settling | None, *, same: bool) -> Choice:
    """Return the choice with the question first; ``same``: both answers take the same lead."""
    if found is None:
        return choice
    before = f"before anything {'but the lead ' * same}is bought, "
    return replace(choice, why=(f"{before}{found.what}", *choice.why))
