"""What the other leads on a device do to one: level, hazards and hum, by itself and beside them."""

from __future__ import annotations

from collections.abc import Sequence

from probe.advice import thresholds as limit
from probe.advice.figures import Figures, worse_side
from probe.advice.model import Advice, OptionAdvice, Together
from probe.advice.words import decibels, figure
from probe.decibels import ratio_to_db

FELT_DB = 0.05
"""Change of level by the other leads that is worth a word: half of what a meter of 0.1 dB shows.
[judgement]"""

CLIPS = "clips-short"
"""Code of a device that clips before the input gives full output."""


def by_itself(advice: Advice, found: OptionAdvice) -> OptionAdvice:
    """Return the same option without the others, with its attenuator where ``found`` has one."""
    key = (found.side, found.box, found.socket, found.option.id)
    bare = next(o for o in advice.options if (o.side, o.box, o.socket, o.option.id) == key)
    padded = found.option.pad is not None and bare.attenuator is not None
    return bare.attenuator.advice if padded and bare.attenuator is not None else bare


def suffers(found: OptionAdvice, alone: OptionAdvice) -> list[str]:
    """Return what the company does to one option that it may not."""
    if not found.works:
        return [f"with the others plugged in {judged_in_words(found)}"]
    if clips := clips_beside(found, alone):
        return clips
    change = _change_db(found, alone)
    if change is not None and change < -limit.GAIN_REACHED_DB:
        before, now = (o.figures.full_output_margin_db for o in (alone, found))
        filled = before is not None and before.low >= 0.0
        short = ", short of full output then" if filled and now and now.low < 0.0 else ""
        return [f"{change:+.1f} dB by what the other leads draw{short}"]
    return []


def clips_beside(found: OptionAdvice, alone: OptionAdvice) -> list[str]:
    """Return that the device clips short of full output, where it does not with one lead alone.

    A tie in the lead of another box takes half the swing from all that hang on the pair.
    """
    known = {h.code for h in alone.hazards}
    return [h.message for h in found.hazards if h.code == CLIPS and h.code not in known]


def clipping(one: Together) -> set[str]:
    """Return the boxes of a set for which the device clips short of their full output."""
    return {o.box for o in one.options for h in o.hazards if h.code == CLIPS}


def clips_anew(advice: Advice, found: OptionAdvice) -> bool:
    """Tell whether the device clips short where with what is best for the box alone it does not."""
    own = {(c.box, c.socket, c.option) for c in advice.choices}
    alone = {h.code for o in advice.options if (o.box, o.socket, o.option.id) in own
             and o.box == found.box for h in o.used.hazards}  # fmt: skip
    return CLIPS not in alone and any(h.code == CLIPS for h in found.hazards)


def fewer_clip(other: Together, own: Together) -> bool:
    """Tell whether with another set the device clips for fewer boxes, and none misses more.

    What it is quieter is a turn of the volume control then.
    """
    missed = {o.box for o in other.options
              if (m := o.figures.full_output_margin_db) is not None and m.low < 0.0}  # fmt: skip
    return clipping(other) < clipping(own) and not missed


def as_well(other: Together, own: Together) -> bool:
    """Tell whether another set serves every box as well, with nothing more to be minded.

    What the device's own volume mends is no more.
    """
    before = {(o.side, o.box): o for o in own.options}
    return all(_as_well(o, before[o.side, o.box]) for o in other.options)


def _as_well(found: OptionAdvice, own: OptionAdvice) -> bool:
    now, before = (o.figures.full_output_margin_db for o in (found, own))
    full = before is None or (now is not None and now.low >= min(before.low, 0.0))
    minds, minded_ = ({h.code for h in o.hazards if h.turn_down_db is None} for o in (found, own))
    return found.works and full and minds <= minded_


def falls_short(found: OptionAdvice, alone: OptionAdvice, wanted: float) -> bool:
    """Tell whether the company costs one option what no turn of the volume control gives back.

    Full output, be it that the device clips before, or the loudness that is wanted; of what is not
    known to reach either as much as no volume control is taken to make up.
    """
    if clips_beside(found, alone):
        return True
    if wanted > 0.0:
        gains = [o.figures.loudness_vs_reference_db or o.figures.level_vs_reference_db
                 for o in (alone, found)]  # fmt: skip
        before, now = (g is not None and g.low >= wanted - limit.GAIN_REACHED_DB for g in gains)
        return before and not now
    full = [o.figures.full_output_margin_db for o in (alone, found)]
    if full[0] is not None and full[1] is not None:
        return full[0].low >= 0.0 > full[1].low
    change = _change_db(found, alone)
    return change is not None and change < -limit.VOLUME_MAKES_UP_DB


def _change_db(found: OptionAdvice, alone: OptionAdvice) -> float | None:
    """Return what the company does to the level, where both are known; of the volts if need be."""
    now, before = (o.figures.level_vs_reference_db for o in (found, alone))
    if now is not None and before is not None:
        return now.value - before.value
    now, before = (o.figures.level for o in (found, alone))
    if now is None or before is None or min(now.value, before.value) <= 0.0:
        return None
    return float(ratio_to_db(now.value / before.value))


def judged_in_words(option: OptionAdvice) -> str:
    """Return what speaks against one option, with the verdict."""
    words = {"avoid": "better avoided", "never": "ruled out", "cannot-tell": "not to be judged yet"}
    return f"{words.get(option.verdict, option.verdict)}: {option.reasons[0]}"


def minded(advice: Advice, best: Together) -> list[str]:
    """Return what has to be minded of the leads of a set only because of the others."""
    where: dict[str, list[tuple[str, str]]] = {}
    for found in best.options:
        known = {h.code for h in by_itself(advice, found).hazards}
        for h in found.hazards:
            # that it clips is what it suffers
            if h.code not in known and h.code != CLIPS and found.works:
                where.setdefault(h.message, []).append((found.box, found.option.id))
    return [f"{who_they_are(held)}: {says}" for says, held in where.items()]


def who_they_are(held: Sequence[tuple[str, str]]) -> str:
    """Return boxes with their ways, those of one way together."""
    ways: dict[str, dict[str, None]] = {}
    for box, way in held:
        ways.setdefault(way, {})[box] = None
    return "; ".join(f"{' and '.join(boxes)}, {way}" for way, boxes in ways.items())


UNCHANGED = "level unchanged"


def effects(advice: Advice) -> dict[str, str]:
    """Return in words what the other leads do to each box of the best set, by its name."""
    if not advice.sets:
        return {}
    sides: dict[str, list[OptionAdvice]] = {}
    for found in advice.sets[0].options:
        sides.setdefault(found.box, []).append(found)
    return {box: _effect(advice, held) for box, held in sides.items()}


def _short(
    figures: Figures, sides: Sequence[OptionAdvice], alone: Sequence[OptionAdvice]
) -> list[str]:  # fmt: skip
    """Return by how much full output is missed beside the others, where by more than alone."""
    if any(clips_beside(o, a) for o, a in zip(sides, alone, strict=True)):
        most = figures.headroom_db
        by = "" if most is None else f"{decibels(-most)} "
        return [f"the device clips {by}short of full output then"]
    before = worse_side([o.figures for o in alone]).full_output_margin_db
    now = figures.full_output_margin_db
    if before is None or now is None or now.low > min(before.low, 0.0) - FELT_DB:
        return []
    by = f"up to {-now.low:.1f} dB" if now.high >= 0.0 else decibels(-now)
    return [f"{by} short of full output then"]


def short_beside(advice: Advice, box: str) -> bool:
    """Tell whether a box misses full output beside the others by more than by itself."""
    sides = [o for o in advice.sets[0].options if o.box == box] if advice.sets else []
    figures = worse_side([o.figures for o in sides]) if sides else None
    return figures is not None and bool(
        _short(figures, sides, [by_itself(advice, o) for o in sides])
    )


def _effect(advice: Advice, sides: Sequence[OptionAdvice]) -> str:
    """Return what the other leads do to one box; of a pair of sides what they do to the worse."""
    figures = worse_side([o.figures for o in sides])
    changes = [_change_db(o, by_itself(advice, o)) for o in sides]
    known = [c for c in changes if c is not None]
    if figures.level is None or len(known) < len(changes):
        told = ["level not known with the others plugged in"]
    else:
        change = min(known)
        gain = figures.loudness_vs_reference_db or figures.level_vs_reference_db
        compared = gain is not None and sides[0].reference != "none"
        told = [] if compared else [f"{figure(figures.level)} at the input"]
        told += [
            UNCHANGED if abs(change) < FELT_DB else f"level {change:+.2f} dB by the other leads"
        ]
        told += _short(figures, sides, [by_itself(advice, o) for o in sides])
    hum = figures.hum_below_full_output_db
    alone = worse_side([by_itself(advice, o).figures for o in sides]).hum_below_full_output_db
    if hum is not None and (alone is None or alone.value - hum.value >= limit.TIE_BREAK_DB):
        told.append(f"hum {decibels(hum)} below full output")
    return ", ".join(told)
