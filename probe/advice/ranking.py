"""What decides between options that work, one step for each thing that matters, in its order.

A step takes the options that are left and returns the better ones, with the reason where that
left any out. Differences below a decibel, or within their interval, are ties.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from probe.advice import thresholds as limit
from probe.advice.alike import as_good
from probe.advice.audible import stricter_db
from probe.advice.candidate import Candidate, within
from probe.advice.destination import Destination
from probe.advice.quantity import Quantity
from probe.advice.words import decibels, louder_or_quieter

Reason = Callable[[Candidate], str]
"""Says of the one that is chosen in the end why it was left by a step."""

Narrow = Callable[[Sequence[Candidate]], tuple[list[Candidate], Reason | None]]
"""Leaves the better ones of a pool, and says why."""

Lacks = Callable[[Candidate], str]
"""Says what a candidate that was left out lacks."""


def steps(destination: Destination, wanted: float) -> tuple[tuple[Narrow, Lacks], ...]:
    """Return what decides among options that are loud enough, the first first."""
    return (
        *_by_what_is_heard(destination, wanted),
        (_fewest_parts, _in_words("needs more parts")),
        (_least_to_mind, _in_words("has more to mind")),
        (_native, _in_words("needs an adapter")),
    )


def _by_what_is_heard(
    destination: Destination, wanted: float, tie_db: float = limit.TIE_BREAK_DB
) -> tuple[tuple[Narrow, Lacks], ...]:
    return (
        (_quiet(destination, HUM, tie_db), _hums_more),
        (_quiet(destination, NOISE, tie_db), _in_words("has more noise")),
        (_long_run(destination), _in_words("rejects less over that length")),
        (_response, _in_words("loses more at the ends of the band")),
        (_as_loud(wanted), _quieter),
    )


def serves_as_well(
    theirs: Candidate, mine: Candidate, destination: Destination, wanted: float,
    tie_db: float = limit.TIE_BREAK_DB,
) -> bool:  # fmt: skip
    """Tell whether nothing but what has to be bought decides against one, beside another.

    It works, has nothing to mind that the other has not, and no step leaves it out. ``tie_db``: hum
    and noise that differ by no more are alike.
    """
    if not theirs.works or not theirs.to_mind <= mine.to_mind:
        return False
    if not as_good(theirs, mine, wanted, tie_db):
        return False
    steps_of_both = (narrow for narrow, _ in _by_what_is_heard(destination, wanted, tie_db))
    return all(any(c is theirs for c in narrow((mine, theirs))[0]) for narrow in steps_of_both)


def _in_words(says: str) -> Lacks:
    return lambda _: says


HUMS_MORE = "hums more"


def _hums_more(c: Candidate) -> str:
    return HUMS_MORE if c.hum is None else f"{HUMS_MORE}: {_hum_told(c)} below full output"


def _hum_told(c: Candidate) -> str:
    """Return the hum at mains frequency; with its harmonics where these are what may be heard."""
    mains, all_of_it = c.worst("hum_below_full_output_db"), c.hum
    assert mains is not None
    assert all_of_it is not None
    good = limit.HUM_GOOD_DB + max(s.figures.stricter_db for s in c.sides)
    if mains.low < good or all_of_it.low >= good:
        return decibels(mains)
    return f"{decibels(all_of_it)} with its harmonics"


def _noise_told(c: Candidate) -> str:
    noise = c.worst("noise_below_full_output_db")
    assert noise is not None
    return decibels(noise)


def _quieter(c: Candidate) -> str:
    gain = c.gain
    return "is quieter" if gain is None else f"is {louder_or_quieter(gain)} at the same volume"


def _as_loud(wanted: float) -> Narrow:
    """Between two that fill the input, take the one that needs no turn of the volume control."""

    def narrow(pool: Sequence[Candidate]) -> tuple[list[Candidate], Reason | None]:
        loud = [c for c in pool if c.reaches(wanted) or within(c.gain, wanted)]
        return (loud or list(pool)), None

    return narrow


def _stricter(pool: Sequence[Candidate], destination: Destination) -> float:
    """Return by how much a sensitive loudspeaker lifts what counts as silent, dB."""
    sockets = {s.name: s.speaker_sensitivity_db for s in destination.inputs}
    return max((stricter_db(sockets[c.socket]) for c in pool), default=0.0)


@dataclass(frozen=True)
class Heard:
    """What may be heard between the notes, dB below full output.

    ``good``: from where on all are alike. ``silent``, ``least``: said where it is out of hearing,
    and where it is merely less than others have.
    """

    of: Callable[[Candidate], Quantity | None]
    good: float
    silent: str
    least: str
    told: Callable[[Candidate], str]


HUM = Heard(lambda c: c.hum, limit.HUM_GOOD_DB, "hum is out of hearing", "hums less than others",
            _hum_told)  # fmt: skip
NOISE = Heard(
    lambda c: c.worst("noise_below_full_output_db"),
    limit.NOISE_GOOD_DB,
    "noise is out of hearing",
    "has less noise than others",
    _noise_told,
)


def _quiet(destination: Destination, heard: Heard, tie_db: float) -> Narrow:
    def narrow(pool: Sequence[Candidate]) -> tuple[list[Candidate], Reason | None]:
        return _quietest(pool, heard, heard.good + _stricter(pool, destination), tie_db)

    return narrow


def _quietest(
    pool: Sequence[Candidate], heard: Heard, good: float, tie_db: float
) -> tuple[list[Candidate], Reason | None]:
    """Keep what lies furthest below full output; beyond ``good`` dB all are alike."""
    found = [heard.of(c) for c in pool]
    known = [q for q in found if q is not None]
    if len(known) < len(pool):
        return list(pool), None
    best = max(known, key=lambda q: q.value)
    kept = [
        c
        for c, q in zip(pool, known, strict=True)
        if min(best.value, good) - min(q.value, good)
        <= max(tie_db, float(np.hypot(_doubt(q, good), _doubt(best, good))))
    ]
    if len(kept) == len(pool):
        return kept, None

    return kept, lambda chosen: f"{_heard_as(heard, chosen, good)}: {heard.told(chosen)}{BELOW}"


BELOW = " below full output"


def _heard_as(heard: Heard, chosen: Candidate, good: float) -> str:
    level = heard.of(chosen)
    return heard.silent if level is not None and level.low >= good else heard.least


def hum_with_lead(why: str, solved: Candidate, taken: Candidate, rest: Sequence[Candidate]) -> str:
    """Return the reason about hum with the lead that is taken, too; its word goes by that lead.

    ``rest``: ways that were passed by because they hum more.
    """
    says, told = f"{HUM.told(solved)}{BELOW}", HUM.told(taken)
    head, _, end = why.rpartition(": ")
    hum, hums = HUM.of(taken), [HUM.of(c) for c in rest]
    if end != says or head not in (HUM.silent, HUM.least) or hum is None:
        return why
    head = _heard_as(
        HUM, taken, limit.HUM_GOOD_DB + max(s.figures.stricter_db for s in taken.sides)
    )
    if head == HUM.least and any(q is None or q.value >= hum.value for q in hums):
        head = "hum"
    return f"{head}: {says}, with the lead that is taken {told}"


def _doubt(quantity: Quantity, good: float) -> float:
    """Return the half-width of what lies below ``good`` dB: beyond it nothing is in doubt."""
    return (min(quantity.high, good) - min(quantity.low, good)) / 2.0


def _long_run(destination: Destination) -> Narrow:
    lengths = {s.name: destination.cable_of(s).length_m for s in destination.inputs}

    def narrow(pool: Sequence[Candidate]) -> tuple[list[Candidate], Reason | None]:
        # a transformer is a cure for hum that is there, not for a length by itself
        balanced = [c for c in pool if c.option.balanced and c.option.pin_3 != "transformer"]
        length = max((lengths[c.socket] for c in pool), default=0.0)
        if length <= limit.LONG_RUN_METRES or not balanced or len(balanced) == len(pool):
            return list(pool), None
        if not _quieter_than_the_rest(balanced, pool):
            return list(pool), None
        return balanced, _in_words(f"rejects ground differences over {length:g} m")

    return narrow


def _quieter_than_the_rest(balanced: Sequence[Candidate], pool: Sequence[Candidate]) -> bool:
    """Tell whether balanced ways hum less than the others; so it is taken where nobody knows."""
    inside = [c.hum for c in balanced]
    beside = [c.hum for c in pool if c not in balanced]
    if None in inside or None in beside:
        return True
    least = min(q.value for q in inside if q is not None)
    return least > max(q.value for q in beside if q is not None) + limit.TIE_BREAK_DB


def _response(pool: Sequence[Candidate]) -> tuple[list[Candidate], Reason | None]:
    losses = [c.loss for c in pool]
    known = [q for q in losses if q is not None]
    if not known:
        return list(pool), None
    best = min(known, key=lambda q: q.value)
    kept = [
        c
        for c, q in zip(pool, losses, strict=True)
        if q is None or q.value - best.value <= max(limit.TIE_BREAK_DB, q.u95 + best.u95)
    ]
    least = _in_words("loses least at the ends of the band")
    return kept, least if len(kept) < len(pool) else None


def _fewest_parts(pool: Sequence[Candidate]) -> tuple[list[Candidate], Reason | None]:
    fewest = min(c.option.parts for c in pool)
    kept = [c for c in pool if c.option.parts == fewest]
    fewer = _in_words("needs the fewest parts of those that do the same")
    return kept, fewer if len(kept) < len(pool) else None


def _least_to_mind(pool: Sequence[Candidate]) -> tuple[list[Candidate], Reason | None]:
    """Of what is a tie by its decibels, take what has nothing to mind that another has not."""
    kept = [c for c in pool if not any(other.to_mind < c.to_mind for other in pool)]

    def why(chosen: Candidate) -> str:
        return f"has {'less' if chosen.to_mind else 'nothing'} to mind, where another has"

    return kept, why if len(kept) < len(pool) else None


def _native(pool: Sequence[Candidate]) -> tuple[list[Candidate], Reason | None]:
    """Of leads, and of transformers alike, take those between sockets of one kind."""
    native = [c for c in pool if c.option.from_ == c.option.to]
    if not native or len(native) == len(pool):
        return list(pool), None
    return native, _in_words("keeps the connector both ends already have")
