"""Resistors in series with an input that is too heavy, so that the output works into more ohms.

The level falls by what they take, ``A = (Zs + S + Zl) / (Zs + Zl)``, which an input that needs less
than comes can spare. They are solved and judged in the network like any other attenuator.
"""

from __future__ import annotations

from dataclasses import replace
from functools import partial

from probe.advice import thresholds as limit
from probe.advice.attenuator import PAD_OHM, ROOM_TO_ROUND, in_series, seen_ohm
from probe.advice.destination import Destination, Input
from probe.advice.heavy_inputs import TOO_HARD
from probe.advice.model import Attenuated, OptionAdvice
from probe.advice.padded import (
    Judged,
    across_ohm,
    built,
    fall_db,
    in_both_legs,
    padded,
    source_ohm,
)
from probe.numbers import ohms


def eased(
    option: OptionAdvice, socket: Input, judged: Judged, destination: Destination,
    least_ohm: float | None,
) -> OptionAdvice:  # fmt: skip
    """Return an option that is too heavy with series resistors offered, where they relieve it.

    Not where an attenuator is asked for, or one that is offered for something else does.
    """
    if option.attenuator is not None and option.attenuator.solves:
        return option
    asked = destination.attenuation(socket.box) is not None
    if asked or option.verdict not in ("avoid", "cannot-tell") or not _too_hard(option):
        return option
    if option.option.pin_3 == "transformer" and not _known(option, least_ohm):
        return option  # nothing to buy where the maker's word may do
    # what else hangs on the output takes its share of what it drives
    boxes = len({s.box for s in destination.inputs})
    for kept in (limit.SPARE_DB, 0.0) if boxes < 2 else (0.0,):
        found = _relief(option, socket, judged, kept, least_ohm, boxes)
        if found is not None:
            return replace(option, attenuator=found)
    return option


def _too_hard(option: OptionAdvice) -> bool:
    """Tell whether the input is too heavy for what is known, not for what merely is assumed."""
    return bool(TOO_HARD & {h.code for h in option.hazards if not h.assumed})


def _known(option: OptionAdvice, least_ohm: float | None) -> bool:
    """Tell whether it is known what the output drives, rather than to be asked for."""
    return least_ohm is not None or any(h.code == "load-refused" for h in option.hazards)


def _relief(
    bare: OptionAdvice, socket: Input, judged: Judged, kept_db: float, least_ohm: float | None,
    boxes: int,
) -> Attenuated | None:  # fmt: skip
    """Return resistors that leave ``kept_db`` above full output; None where they do not relieve.

    ``boxes`` may hang on the output together: each then has to be that much lighter.
    """
    margin = bare.figures.full_output_margin_db
    if margin is None or bare.figures.level_at_maximum is None:
        return None
    load, balanced = across_ohm(bare.option, socket), in_both_legs(bare.option, socket)
    turned = bare.option.part.ratio**2 if bare.option.pin_3 == "transformer" else 1.0
    aim = boxes * turned * (PAD_OHM if least_ohm is None else least_ohm * ROOM_TO_ROUND)
    if balanced and bare.option.from_ == "xlr" and least_ohm is not None:
        aim *= 2.0  # whether it is meant for each leg is not known
    size = partial(in_series, margin.low - kept_db, aim, load_ohm=load, balanced=balanced)
    trial = size(source_ohm=0.0)
    if trial is None:
        return None
    fall = fall_db(bare, judged(padded(bare.option, trial.pad)))
    source = source_ohm(trial.pad, load, fall)
    made = size(source_ohm=source) or trial
    solved = judged(padded(bare.option, made.pad))
    left = solved.figures.full_output_margin_db
    if solved.verdict != "works" or _too_hard(solved) or left is None or left.low < 0.0:
        return None
    now, before = seen_ohm(made.pad, load) / turned, bare.works_into_ohm
    why = f"with it the output works into {ohms(now)}"
    why += "" if before is None else f" in place of {ohms(before)}"
    return built(bare, solved, (made,), source=source, load=load, why=why)
