"""Which option is used: the first of those that work, in the order of what matters.

Reaching the wanted gain; hum, capped where nobody hears it; noise, likewise; on a long run the
rejection of ground differences (which stands in for hum where that is not known); response;
fewest parts; the native connector. Differences below a decibel, or within their interval, are
ties.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from functools import partial
from typing import TypeVar

import numpy as np

from probe.advice import thresholds as limit
from probe.advice.candidate import RANK, Candidate
from probe.advice.destination import Destination
from probe.advice.model import Choice, OptionAdvice
from probe.advice.wiring import OPTIONS
from probe.advice.words import decibels, signed_decibels

SPOILING = {
    "overload": "does not overload the input, as others would",
    "one-half-undriven": "drives both halves of the input, as others would not",
    "clips-short": "reaches full output before the device clips, as others would not",
}
"""Hazards for which an option is passed over while one without works, and what is said then."""

Narrow = Callable[[Sequence[Candidate]], tuple[list[Candidate], str | None]]
"""Leaves the better ones of a pool, and says why."""


def choose(options: Sequence[OptionAdvice], destination: Destination) -> tuple[Choice, ...]:
    """Return one choice for each box of the destination, in the order of its inputs."""
    boxes = dict.fromkeys(socket.box for socket in destination.inputs)
    return tuple(
        _choose_for(box, _candidates([o for o in options if o.box == box]), destination)
        for box in boxes
    )


def mark(options: Sequence[OptionAdvice], choices: Sequence[Choice]) -> tuple[OptionAdvice, ...]:
    """Give the chosen options the verdict ``use`` and their why."""
    chosen = {(c.box, c.socket, c.option): c for c in choices if c.option is not None}

    def marked(option: OptionAdvice) -> OptionAdvice:
        choice = chosen.get((option.box, option.socket, option.option.id))
        return option if choice is None else option.with_verdict("use", choice.why)

    return tuple(marked(o) for o in options)


def _candidates(options: Sequence[OptionAdvice]) -> list[Candidate]:
    grouped: dict[tuple[str, str], list[OptionAdvice]] = {}
    for option in options:
        grouped.setdefault((option.socket, option.option.id), []).append(option)
    return [Candidate(held[0].option, held[0].socket, tuple(held)) for held in grouped.values()]


def _choose_for(box: str, candidates: Sequence[Candidate], destination: Destination) -> Choice:
    working = [c for c in candidates if c.works]
    if not working:
        return _rescued(box, candidates, destination) or _nothing(box, candidates)
    wanted = destination.wanted(box)
    left = Left()
    pool, kept = left.noted(working, _unharmed(working, wanted), _hazards_of)
    pool, instead = left.noted(pool, _plain_lead(pool, wanted), _hazards_of)
    pool, why = left.noted(pool, _reaching(pool, wanted), partial(_short_of, wanted))
    why = [*instead, *why]
    for narrow, lacks in (
        (_hum(destination), _hums_more),
        (_noise(destination), _in_words("has more noise")),
        (_long_run(destination), _in_words("rejects less over that length")),
        (_response, _in_words("loses more at the ends of the band")),
        (_fewest_parts, _in_words("needs more parts")),
        (_native, _in_words("needs an adapter")),
    ):
        pool, reason = left.noted(pool, narrow(pool), lacks)
        if reason:
            why.append(reason)
    order = {option.id: i for i, option in enumerate(OPTIONS)}
    best = min(pool, key=lambda c: order[c.option.id])
    if _reaches(best, wanted):
        why.insert(0, _loud_enough(best, wanted))
    elif best.gain is not None:
        why.insert(0, _nearest(best, wanted))
    if kept:
        why.append(kept)
    why = [_filled(reason, best) for reason in why]
    why += _passed_by(best, candidates, left)
    return Choice(box, best.option.id, best.socket, tuple(why))


def _rescued(box: str, candidates: Sequence[Candidate], destination: Destination) -> Choice | None:
    """Return the choice among options that work with an attenuator in the plug, if there are.

    They are ranked by their figures without it: it takes the same off all of them.
    """
    rescued = [
        replace(c, sides=tuple(replace(s, verdict="works", hazards=()) for s in c.sides))
        for c in candidates
        if all(s.attenuator is not None and s.attenuator.solves for s in c.sides)
    ]
    if not rescued:
        return None
    choice = _choose_for(box, rescued, destination)
    (chosen,) = [c for c in rescued if (c.option.id, c.socket) == (choice.option, choice.socket)]
    rest = choice.why if chosen.gain is None else choice.why[1:]  # loudness without it
    why = (
        "only with the attenuator in its plug: without it the input is overloaded",
        *_with_it(chosen),
        *rest,
        *_not_even_with_it(candidates),
    )
    return replace(choice, why=why, attenuator=True)


def _with_it(chosen: Candidate) -> list[str]:
    """Return the loudness behind the attenuator."""
    padded = [s.attenuator.advice for s in chosen.sides if s.attenuator is not None]
    gain = replace(chosen, sides=tuple(padded)).gain
    link = LINKS.get(chosen.sides[0].reference)
    return (
        [] if gain is None or link is None else [f"with it {signed_decibels(gain)} against {link}"]
    )


def _not_even_with_it(candidates: Sequence[Candidate]) -> list[str]:
    """Say of a plain lead why its attenuator does not make it work."""
    said = []
    for c in candidates:
        for s in c.sides[:1] if c.option.native else ():
            if s.attenuator is not None and not s.attenuator.solves:
                why = s.attenuator.advice.reasons[0]
                said.append(f"{c.option.id} does not work even with an attenuator: {why}")
    return said


def _unharmed(working: Sequence[Candidate], wanted: float) -> tuple[list[Candidate], str | None]:
    """Leave out what spoils the input's output, and what has any hazard if it gains nothing.

    An overloaded input, or one half of it idle, is worse than too little level. Where the wanted
    gain is out of reach anyway, a hazard buys nothing.
    """
    pool, why = list(working), None
    for code, says in SPOILING.items():
        clean = [c for c in pool if code not in c.hazards]
        if clean and len(clean) < len(pool):
            pool, why = clean, says
    if any(_reaches(c, wanted) for c in pool):
        return pool, why
    unharmed = [c for c in pool if not c.hazards]
    if unharmed and len(unharmed) < len(pool):
        return unharmed, "has no hazard, as others would that give no more of what is wanted"
    return pool, why


def _plain_lead(pool: list[Candidate], wanted: float) -> tuple[list[Candidate], list[str]]:
    """Take a plain lead with nothing to mind before more parts that have something to mind.

    Only where no more loudness is asked for: what reaches full output needs a turn of the volume
    control to be as loud.
    """
    reaching = [c for c in pool if _reaches(c, wanted)]
    if wanted > 0.0 or not reaching or any(c.option.native or not c.hazards for c in reaching):
        return pool, []
    plain = [c for c in pool if c.option.native and not c.hazards and c.fills]
    if not plain:
        return pool, []
    return plain, ["a plain lead that reaches full output with nothing to mind; what is louder "
                   "needs more parts, and has something to mind"]  # fmt: skip


Lacks = Callable[[Candidate], str]
"""Says what a candidate that was left out lacks."""

Found = TypeVar("Found")


@dataclass
class Left:
    """What each candidate was left out for, the first reason it met."""

    why: dict[tuple[str, str], str] = field(default_factory=dict)

    def noted(
        self, before: Sequence[Candidate], step: tuple[list[Candidate], Found], lacks: Lacks
    ) -> tuple[list[Candidate], Found]:
        """Note what a step has left out, and return the step."""
        kept = {(c.socket, c.option.id) for c in step[0]}
        for c in before:
            if (c.socket, c.option.id) not in kept:
                self.why[(c.socket, c.option.id)] = lacks(c)
        return step


def _filled(reason: str, best: Candidate) -> str:
    """Put the figures of the chosen one where a reason names them."""
    for name in ("hum_below_full_output_db", "noise_below_full_output_db"):
        found = best.worst(name)
        if found is not None:
            reason = reason.replace(f"{{{name}}}", decibels(found))
    return reason


def _in_words(says: str) -> Lacks:
    return lambda _: says


def _hazards_of(c: Candidate) -> str:
    codes = ", ".join(sorted(h.replace("-", " ") for h in c.hazards))
    return codes or "is not as loud"


def _short_of(wanted: float, c: Candidate) -> str:
    if c.gain is None:
        return "its level cannot be compared"
    gives = f"gives {signed_decibels(c.gain)}"
    if c.hazards or wanted > 0.0 or c.fills:
        return gives
    return f"{gives}: with nothing to mind, so better still where the volume control can make it up"


def _hums_more(c: Candidate) -> str:
    hum = c.worst("hum_below_full_output_db")
    return "hums more" if hum is None else f"hums more: {decibels(hum)} below full output"


NOT_WORKING = {"avoid": "is better avoided", "never": "is ruled out",
               "cannot-tell": "cannot be judged yet"}  # fmt: skip


def _passed_by(best: Candidate, candidates: Sequence[Candidate], left: Left) -> list[str]:
    """Say why a plain lead is not what was chosen: the XLR lead always, both where parts are."""
    said = []
    for c in candidates:
        plain = c.option.id == "xlr-to-xlr" or (c.option.native and not best.option.native)
        if not plain or c is best:
            continue
        if c.works:
            lacks = left.why.get((c.socket, c.option.id), "is no better")
            said.append(f"{c.option.id} works too, but {lacks}")
        else:
            worst = max((s.verdict for s in c.sides), key=lambda v: RANK[v])
            said.append(f"{c.option.id} {NOT_WORKING[worst]} (below)")
    return said


def _nearest(best: Candidate, wanted: float) -> str:
    assert best.gain is not None
    if wanted == 0.0:
        link = LINKS.get(best.sides[0].reference, "the usual level of a single-ended output")
        return f"nothing is surely as loud as {link}; this gives {signed_decibels(best.gain)}"
    return f"the wanted {wanted:+g} dB is not reached: this gives {signed_decibels(best.gain)}"


def _nothing(box: str, candidates: Sequence[Candidate]) -> Choice:
    if not candidates:
        return Choice(box, None, None, ("no option fits the connectors of both ends",))
    best = min(candidates, key=lambda c: c.rank)
    worst_side = max(best.sides, key=lambda s: RANK[s.verdict])
    why = (
        "nothing works without reservation",
        f"least bad: {best.option.id} ({worst_side.verdict}): "
        + (worst_side.reasons[0] if worst_side.reasons else ""),
    )
    return Choice(box, None, None, why, best.option.id)


def _reaching(pool: Sequence[Candidate], wanted: float) -> tuple[list[Candidate], list[str]]:
    """Keep what reaches the wanted gain; if nothing does, what comes nearest to it."""
    known = [(c, c.gain) for c in pool]
    if all(gain is None for _, gain in known):
        return list(pool), ["no level can be compared, so the wanted gain did not decide"]
    reached = [c for c in pool if _reaches(c, wanted)]
    if reached:
        why = []
        if any(s.figures.loudness_vs_reference_db is None for c in reached for s in c.sides):
            why.append("compared by level, because the sensitivities are not given")
        return reached, why
    best = max(gain.value for _, gain in known if gain is not None)
    near = [
        (c, gain) for c, gain in known
        if gain is not None and best - gain.value <= max(limit.TIE_BREAK_DB, gain.u95)
    ]  # fmt: skip
    return [c for c, _ in near], []


def _reaches(candidate: Candidate, wanted: float) -> bool:
    gain = candidate.gain
    return gain is not None and gain.low >= wanted - limit.GAIN_REACHED_DB


LINKS = {"rca-link": "the RCA link", "xlr-link": "the native XLR link"}


def _loud_enough(candidate: Candidate, wanted: float) -> str:
    if candidate.option.id == "rca-to-rca" and wanted <= 0.0:
        return "it is the RCA link itself, and no more loudness is wanted"
    link = LINKS.get(candidate.sides[0].reference)
    if link is None:
        return "loud enough by the usual level of a single-ended output"
    return (
        f"as loud as {link}"
        if wanted == 0.0
        else f"reaches the wanted {wanted:+g} dB against {link}"
    )


def _stricter(pool: Sequence[Candidate], destination: Destination) -> float:
    """Return by how much a sensitive loudspeaker lifts what counts as silent, dB."""
    sockets = {s.name: s.speaker_sensitivity_db for s in destination.inputs}
    found = [sockets[c.socket] for c in pool]
    return max((db - limit.SPEAKER_DB for db in found if db is not None), default=0.0)


def _hum(destination: Destination) -> Narrow:
    def narrow(pool: Sequence[Candidate]) -> tuple[list[Candidate], str | None]:
        good = limit.HUM_GOOD_DB + _stricter(pool, destination)
        words = ("hum is out of hearing", "hums least")
        return _quietest(pool, "hum_below_full_output_db", good, words)

    return narrow


def _noise(destination: Destination) -> Narrow:
    def narrow(pool: Sequence[Candidate]) -> tuple[list[Candidate], str | None]:
        good = limit.NOISE_GOOD_DB + _stricter(pool, destination)
        words = ("noise is out of hearing", "has the least noise")
        return _quietest(pool, "noise_below_full_output_db", good, words)

    return narrow


def _quietest(
    pool: Sequence[Candidate], name: str, good: float, words: tuple[str, str]
) -> tuple[list[Candidate], str | None]:
    """Keep what lies furthest below full output; beyond ``good`` dB all are alike.

    ``words``: of what is kept, where that is good, and where it is merely the best. The figure in
    braces is that of the one chosen in the end.
    """
    found = [c.worst(name) for c in pool]
    known = [q for q in found if q is not None]
    if len(known) < len(pool):
        return list(pool), None
    best = max(known, key=lambda q: q.value)
    kept = [
        c
        for c, q in zip(pool, known, strict=True)
        if min(best.value, good) - min(q.value, good)
        <= max(limit.TIE_BREAK_DB, float(np.hypot(q.u95, best.u95)))
    ]
    if len(kept) == len(pool):
        return kept, None
    says = words[0] if min(best.value, good) == good else words[1]
    return kept, f"{says}: {{{name}}} below full output"


def _long_run(destination: Destination) -> Narrow:
    lengths = {s.name: destination.cable_of(s).length_m for s in destination.inputs}

    def narrow(pool: Sequence[Candidate]) -> tuple[list[Candidate], str | None]:
        # a transformer is a cure for hum that is there, not for a length by itself
        balanced = [c for c in pool if c.option.balanced and c.option.pin_3 != "transformer"]
        length = max((lengths[c.socket] for c in pool), default=0.0)
        if length <= limit.LONG_RUN_METRES or not balanced or len(balanced) == len(pool):
            return list(pool), None
        return balanced, f"rejects ground differences over {length:g} m"

    return narrow


def _response(pool: Sequence[Candidate]) -> tuple[list[Candidate], str | None]:
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
    return kept, "loses least at the ends of the band" if len(kept) < len(pool) else None


def _fewest_parts(pool: Sequence[Candidate]) -> tuple[list[Candidate], str | None]:
    fewest = min(c.option.parts for c in pool)
    kept = [c for c in pool if c.option.parts == fewest]
    return kept, "needs the fewest parts of those that do the same" if len(kept) < len(
        pool
    ) else None


def _native(pool: Sequence[Candidate]) -> tuple[list[Candidate], str | None]:
    native = [c for c in pool if c.option.native]
    if not native or len(native) == len(pool):
        return list(pool), None
    return native, "keeps the connector both ends already have"
