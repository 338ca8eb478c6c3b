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
from probe.numbers import ohms

Ask = Callable[[Destination, frozenset[tuple[str, str]]], Advice]
"""The advice for a destination, of some options alone (socket, option), each box by itself."""

TOO_HARD = frozenset({"load", "load-refused", "load-not-shown", "load-current",
                      "coupling-capacitor"})  # fmt: skip
"""Hazards of an input that is too heavy for the output, or may be."""

CODE = "line-driver"

MOST_STEP = 10.0
"""Ratio beyond which no audio transformer is made for line levels. [practice]"""


def with_relief(
    advice: Advice, least_ohm: float | None, destination: Destination, ask: Ask
) -> Advice:
    """Return the advice with what would help each box that is too heavy, first of its reasons.

    ``least_ohm``: the smallest load that the maker of the device allows; None: not stated, and
    the usual 10 kohm are aimed at.
    """
    choices, found = [], []
    for choice in advice.choices:
        heavy = _too_heavy(advice, choice)
        if not heavy:
            says = _with_the_others(advice, choice, least_ohm or PAD_OHM)
            choices.append(replace(choice, why=(*choice.why, says)) if says else choice)
            continue
        says, way = _says(advice, choice, heavy, least_ohm or PAD_OHM, destination, ask)
        named = f"what would help: {says}" + "".join(f" ({id_})" for id_ in way)
        choices.append(replace(choice, why=(named, *choice.why)))
        found.append(Settling(CODE, says, way, choice.box))
    return replace(advice, choices=tuple(choices), would_change=(*advice.would_change, *found))


def _too_heavy(advice: Advice, choice: Choice) -> list[OptionAdvice]:
    """Return the ways into a box without one, where all that are not ruled out load too hard."""
    mine = [o for o in advice.options if o.box == choice.box and o.used.verdict != "never"]
    heavy = [o for o in mine if o.works_into_ohm is not None
             and TOO_HARD & {h.code for h in o.used.hazards}]  # fmt: skip
    working = any(o.used.verdict in ("use", "works") for o in mine)
    return heavy if choice.option is None and not working and len(heavy) == len(mine) else []


def _with_the_others(advice: Advice, choice: Choice, least_ohm: float) -> str:
    """Return what would help where what is used is too heavy, or may be, together with the rest."""
    best = advice.sets[0].options if advice.sets and choice.option is not None else ()
    into = [
        o.works_into_ohm
        for o in best
        if (o.box, o.verdict) == (choice.box, "cannot-tell")
        and o.works_into_ohm is not None
        and TOO_HARD & {h.code for h in o.hazards}
    ]
    if not into:
        return ""
    return f"for all plugged in at once would help: {_driver(least_ohm, min(into))}"


def _driver(least_ohm: float, ohm: float) -> str:
    return (
        f"a line driver between, a buffered amplifier stage with {ohms(least_ohm)} or more at its "
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
    advice: Advice, choice: Choice, heavy: Sequence[OptionAdvice], least_ohm: float,
    destination: Destination, ask: Ask,
) -> tuple[str, tuple[str, ...]]:  # fmt: skip
    """Return what helps in words, and the way that works with the transformer, where one does."""
    ohm = _input_ohm(heavy)
    driver = _driver(least_ohm, ohm)
    named = any(s.code == "transformer" and s.box == choice.box for s in advice.would_change)
    step = math.ceil(10.0 * math.sqrt(least_ohm / ohm) - 1e-9) / 10.0
    ways = frozenset((o.socket, o.option.id) for o in heavy if o.option.pin_3 == "transformer")
    if named or not ways or not 1.0 < step <= MOST_STEP:
        return driver, ()
    part = _stepping_down(step)
    again = ask(destination.with_transformer(part), ways)
    solved = [
        o for o in again.options if o.box == choice.box and o.used.verdict in ("use", "works")
    ]
    best = max(solved, key=_level, default=None)
    if best is None:
        return driver, ()
    margin = best.used.figures.full_output_margin_db
    gives = "" if margin is None else f", {full_output(margin)}"
    says = (
        f"{driver}; or a bridging transformer, {to_ask_for(best.part_needed)}, through which the "
        f"output works into {ohms(ohm * step**2)}: 1/{step:g} of the volts{gives}"
    )
    return says, (best.option.id,)


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
