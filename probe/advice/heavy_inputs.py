"""What helps where every way loads the output too hard: a line driver, or a step-down transformer.

A transformer of n:1 shows the output n squared times the ohms of the input, and gives the nth part
of the volts. The one that is named is solved in the network like any other.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import replace

from probe.advice import thresholds as limit
from probe.advice.attenuator import PAD_OHM
from probe.advice.destination import Destination
from probe.advice.model import Advice, Choice, OptionAdvice, Settling
from probe.advice.network import TwoPort
from probe.advice.parts import ISOLATING_TRANSFORMER, to_ask_for
from probe.advice.words import full_output
from probe.numbers import digits_up, ohms

Ask = Callable[[Destination, frozenset[tuple[str, str]]], Advice]
"""The advice for a destination, of some options alone (socket, option), each box by itself."""

TOO_HARD = frozenset({"load", "load-refused", "load-not-shown", "load-current",
                      "coupling-capacitor"})  # fmt: skip
"""Hazards of an input that is too heavy for the output, or may be."""

CODE = "line-driver"

BRIDGING = 10.0
"""How many times the ohms of a weak RCA output the input of a line driver should have, where its
maker states no minimum load. [practice]"""

MOST_STEP = 10.0
"""Ratio beyond which no audio transformer is made for line levels. [practice]"""


def with_relief(
    advice: Advice, least_ohm: float | None, destination: Destination, ask: Ask
) -> Advice:
    """Return the advice with what would help each box that is too heavy, first of its reasons.

    ``least_ohm``: the smallest load that the maker of the device allows, of all that hangs on one
    output; None: not stated, and the usual 10 kohm are aimed at.
    """
    choices, found = [], []
    for choice in advice.choices:
        heavy = _too_heavy(advice, choice)
        if heavy and _input_ohm(heavy) >= (least_ohm or PAD_OHM):
            heavy = []  # what stands between would be no lighter: something else is in the way
        if not heavy:
            says = _with_the_others(advice, choice, least_ohm)
            choices.append(replace(choice, why=(*choice.why, says)) if says else choice)
            continue
        says, way = _says(advice, choice, heavy, least_ohm, destination, ask)
        named = f"what would help: {says}" + "".join(f" ({id_})" for id_ in way)
        choices.append(replace(choice, why=(named, *choice.why)))
        found.append(Settling(CODE, says, way, choice.box))
    return replace(advice, choices=tuple(choices), would_change=(*advice.would_change, *found))


def _too_heavy(advice: Advice, choice: Choice) -> list[OptionAdvice]:
    """Return the ways into a box without one, where all that are not ruled out load too hard.

    Where all are, those that the level alone rules out, which the load takes.
    """
    all_ = [o for o in advice.options if o.box == choice.box]
    mine = [o for o in all_ if o.used.verdict != "never"]
    mine = mine or [o for o in all_ if "level-lost" in o.used.against and o.used.loses_at_most]
    heavy = [o for o in mine if o.works_into_ohm is not None
             and TOO_HARD & {h.code for h in o.used.hazards}]  # fmt: skip
    working = any(o.used.verdict in ("use", "works") for o in mine)
    return heavy if choice.option is None and not working and len(heavy) == len(mine) else []


def _with_the_others(advice: Advice, choice: Choice, least_ohm: float | None) -> str:
    """Return what would help where what is used is too heavy, or may be, together with the rest."""
    best = advice.sets[0].options if advice.sets and choice.option is not None else ()
    heavy = [
        o
        for o in best
        if (o.box, o.verdict) == (choice.box, "cannot-tell")
        and o.works_into_ohm is not None
        and TOO_HARD & {h.code for h in o.hazards}
    ]
    if not heavy:
        return ""
    into = min(o.works_into_ohm or 0.0 for o in heavy)
    least = least_ohm or _usual_ohm(heavy)
    return f"for all plugged in at once would help: {_driver(least, into)}"


def _usual_ohm(heavy: Sequence[OptionAdvice]) -> float:
    """Return what is aimed at where the maker states nothing: more behind a weak output."""
    weak = (digits_up(BRIDGING * o.single_ohm) for o in heavy if o.single_ohm)
    return max([PAD_OHM, *weak])


def _driver(least_ohm: float, ohm: float, where: str = "between") -> str:
    return (
        f"a line driver {where}, a buffered amplifier stage with {ohms(least_ohm)} or more at its "
        f"input, whose maker allows {ohms(ohm)} at its output"
    )


def _input_ohm(heavy: Sequence[OptionAdvice]) -> float:
    """Return the ohms of the input, between its legs where a way brings both."""
    turned = (o.option.part.ratio**2 if o.option.pin_3 == "transformer" else 1.0 for o in heavy)
    return max(
        o.works_into_ohm * by
        for o, by in zip(heavy, turned, strict=True)
        if o.works_into_ohm is not None
    )


def _says(
    advice: Advice, choice: Choice, heavy: Sequence[OptionAdvice], stated_ohm: float | None,
    destination: Destination, ask: Ask,
) -> tuple[str, tuple[str, ...]]:  # fmt: skip
    """Return what helps in words, and the way that works with the transformer, where one does.

    What hangs on an output already leaves room for so much more, or for nothing.
    """
    ohm, least = _input_ohm(heavy), stated_ohm or PAD_OHM
    rooms = {f: _room_ohm(advice, f, stated_ohm) for f in {o.option.from_ for o in heavy}}
    room = min(rooms.values())
    if math.isinf(room):
        joint = max(1.0 / (1.0 / ohm + 1.0 / _beside_ohm(advice, f)) for f in rooms)
        return f"for all on that output together {_driver(least, joint)}", ()
    alike = len(set(rooms.values())) == 1
    first = min(rooms, key=lambda f: rooms[f]).upper()
    aimed = room if stated_ohm else max(room, _usual_ohm(heavy))
    driver = _driver(aimed, ohm, "between" if alike else f"at the {first} output")
    if any(s.code == "transformer" and s.box == choice.box for s in advice.would_change):
        return driver, ()
    for output in sorted(rooms, key=lambda f: rooms[f]):
        on_it = frozenset(
            (o.socket, o.option.id) for o in heavy
            if o.option.from_ == output and o.option.pin_3 == "transformer"
        )  # fmt: skip
        says, way = _bridging(advice, choice, on_it, (ohm, rooms[output]), destination, ask)
        if way:
            return f"{driver}; or {says}", way
    return driver, ()


def _bridging(
    advice: Advice, choice: Choice, ways: frozenset[tuple[str, str]],
    lift: tuple[float, float], destination: Destination, ask: Ask,
) -> tuple[str, tuple[str, ...]]:  # fmt: skip
    """Return the transformer that lifts an input to what there is room for, and the way it makes.

    ``lift``: the ohms of the input, and those that it is to be.
    """
    ohm, room = lift
    if not ways or math.isinf(room):
        return "", ()
    step = math.ceil(10.0 * math.sqrt(room / ohm) - 1e-9) / 10.0
    if not 1.0 < step <= MOST_STEP:
        return "", ()
    part = _stepping_down(step)
    again = ask(destination.with_transformer(part), ways)
    solved = [
        o for o in again.options if o.box == choice.box and o.used.verdict in ("use", "works")
    ]
    best = max(solved, key=_level, default=None)
    if best is None or not _goes_with_the_others(advice, choice, destination, part, ask):
        return "", ()
    margin = best.used.figures.full_output_margin_db
    gives = "" if margin is None else f", {full_output(margin)}"
    says = (
        f"a bridging transformer, {to_ask_for(best.part_needed)}, through which the output works "
        f"into {ohms(ohm * step**2)}: 1/{step:g} of the volts{gives}"
    )
    return says, (best.option.id,)


def _room_ohm(advice: Advice, output: str, stated_ohm: float | None) -> float:
    """Return the least that may hang on an output beside the others; infinite: nothing more."""
    if stated_ohm is None:
        return PAD_OHM
    left = 1.0 / stated_ohm - 1.0 / _beside_ohm(advice, output)
    return digits_up(1.0 / left) if left > 0.0 else math.inf


def _beside_ohm(advice: Advice, output: str) -> float:
    """Return what hangs on an output with what is used, all of it; infinite: nothing."""
    best = advice.sets[0].options if advice.sets else ()
    held = best or [o.used for o in advice.options if o.verdict == "use"]
    into = [o.works_into_ohm for o in held if o.option.from_ == output]
    return min((ohm for ohm in into if ohm is not None), default=math.inf)


def _goes_with_the_others(
    advice: Advice, choice: Choice, destination: Destination, part: TwoPort, ask: Ask
) -> bool:
    """Tell whether it does with all plugged in, and no other box loses what it has."""
    if not any(c.option is not None for c in advice.choices):
        return True
    now = {c.box: c.option for c in ask(destination.with_transformer(part), frozenset()).choices}
    had = [c.box for c in advice.choices if c.option is not None]
    return all(now.get(box) is not None for box in (choice.box, *had))


def _level(option: OptionAdvice) -> float:
    level = option.used.figures.level
    return 0.0 if level is None else level.low


def _stepping_down(step: float) -> TwoPort:
    """Return an ordinary transformer of ``step``:1; its secondary has as many turns less."""
    part = ISOLATING_TRANSFORMER
    return replace(
        part,
        ratio=1.0 / step,
        primary_ohm=limit.STEP_DOWN_PRIMARY_OHM,
        secondary_ohm=math.ceil(limit.STEP_DOWN_PRIMARY_OHM / step**2),
        magnetising_henry=limit.STEP_DOWN_HENRY,
        between_farad=part.between_farad,
    )
