"""What would cure hum, in the order in which to try it, each of them solved but the first.

What keeps the current out where it comes in, where the ground that is named has a usual one: it
makes the plain lead do, and is not solved. A lead whose signal return does not carry the ground
current; an input that subtracts the difference; an audio isolating transformer at the receiver. A
protective earth is never lifted.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from probe.advice import thresholds as limit
from probe.advice.audible import stricter_db
from probe.advice.candidate import NOT_SAFE, RANK, VOLUME_DOES
from probe.advice.case import Verdict
from probe.advice.desk import Desk
from probe.advice.destination import Destination
from probe.advice.model import Advice, Choice, Cure, OptionAdvice
from probe.advice.plain import against
from probe.advice.together import Beside, instead
from probe.advice.try_first import HUM
from probe.advice.words import MOST_DB

LEAST_DB = 3.0
"""Less hum by less than this is hardly heard, and no cure. [judgement]"""

HALF = "one-half-undriven"
"""Of a lead that drives half of an amplifier, which no less hum mends."""

LADDER = (
    ("three-conductor-lead", ("rca-to-xlr/pin-3-tied-at-source",
                              "xlr-to-rca/pin-3-tied-at-destination"),
     "a three-conductor lead, whose signal return is not the shield"),
    ("balanced-input", ("xlr-to-xlr",), "the balanced input, fed from the balanced output"),
    ("isolating-transformer", ("rca-to-xlr/transformer", "xlr-to-rca/transformer",
                               "xlr-to-xlr/transformer", "rca-to-rca/transformer"),
     "an audio isolating transformer at the receiver"),
)  # fmt: skip
"""Cures in order: code, the options that are one, and what it is in words."""


def cures(
    desks: Sequence[Desk], advice: Advice, destination: Destination | None = None
) -> tuple[Cure, ...]:
    """Return the cures for every box whose choice hums; parts only if better than those before.

    ``destination``: that of the desks, with grounds that say more of where the current comes in.
    """
    said = destination or (desks[0].destination if desks else None)
    return tuple(
        c
        for choice in advice.choices
        for c in (*_at_origin(desks, advice, choice, said), *_for_box(desks, advice, choice))
    )


def _at_origin(
    desks: Sequence[Desk], advice: Advice, choice: Choice, said: Destination | None
) -> list[Cure]:
    """Return what is done where the current comes in, if it hums, or an isolator is why not."""
    inputs = [s for s in said.inputs if s.box == choice.box] if said else []
    says = next((s.ground.at_origin for s in inputs if s.ground.at_origin), "")
    mine = [o for o in advice.options if o.box == choice.box]
    used = [o for o in mine if (o.socket, o.option.id) == (choice.socket, choice.option)]
    isolated = any(o.option.pin_3 == "transformer" for o in used)
    bare = [o for o in mine if o.option.pin_3 != "transformer"] if isolated or not used else used
    hums = [db for o in bare if (db := _below(o)) is not None]
    if not says or min(hums, default=MOST_DB) >= _limit(desks, choice):
        return []
    plain = bare != used and any(map(_hum_alone, bare))
    if isolated and not plain:
        return []  # it is there for something else
    return [Cure("at-origin", choice.box, f"{says}{'; then the plain lead may do' * plain}")]


def _hum_alone(option: OptionAdvice) -> bool:
    """Tell whether a lead would do if it did not hum, turned down or behind resistors."""
    return option.against <= HUM | {"overload"} and HALF not in {h.code for h in option.hazards}


def _limit(desks: Sequence[Desk], choice: Choice) -> float:
    """Return how far below full output hum has to be for a box."""
    inputs = desks[0].destination.inputs
    stricter = [stricter_db(s.speaker_sensitivity_db) for s in inputs if s.box == choice.box]
    return limit.HUM_GOOD_DB + max(stricter, default=0.0)


def _for_box(desks: Sequence[Desk], advice: Advice, choice: Choice) -> list[Cure]:
    beside = advice.sets[0].options if advice.sets and choice.option else ()
    now = _held(beside, choice.box, choice.option) or _held(
        advice.options, choice.box, choice.option or choice.best
    )
    hum = _worst(now)
    if hum is None:
        return []
    if hum >= _limit(desks, choice):
        return []
    found, least = [], hum
    for code, ids, says in LADDER:
        rungs = [held for id_ in ids if (held := _held(advice.options, choice.box, id_))]
        tried = [_beside(desks, advice, r) for r in rungs
                 if _usable(r) and r[0].option.id != choice.option]  # fmt: skip
        if max((_worst(r.options) or 0.0 for r in tried), default=0.0) < hum + LEAST_DB:
            continue  # whatever it does to the others
        best = _best(tried, choice.option or choice.best or "")
        reached = _worst(best)
        bare = bool(best) and best[0].option.native  # nothing to buy: better than now will do
        if reached is None or reached < (hum if bare else least) + LEAST_DB:
            continue
        if (_worst(best, low=True) or 0.0) < (_worst(now, low=True) or 0.0) + LEAST_DB:
            continue  # within the doubt of both it is none
        if choice.option is None and _verdict(best) == "cannot-tell":
            continue  # a question or a take opens it; until then it may cost more than the hum
        worst = min(best, key=lambda o: _below(o) or 0.0)
        quantity = worst.figures.hum_below_full_output_db
        assert quantity is not None
        found.append(
            Cure(
                code, choice.box, f"{says}{_but(now, best)}", worst.option.id, quantity,
                min(reached, MOST_DB) - hum,
                _verdict(best),
                _at_least(now, best, min(reached, MOST_DB) - hum),
            )
        )  # fmt: skip
        least = max(least, reached)
    return found


def _at_least(now: Sequence[OptionAdvice], best: Sequence[OptionAdvice], better: float) -> float:
    """Return by how much a cure is better at the end at which that is least, never below none.

    Both hums come from one ground difference: like ends are held against each other.
    """
    before, after = (_ends(held) for held in (now, best))
    at_ends = [min(a, MOST_DB) - min(b, MOST_DB) for b, a in zip(before, after, strict=True)]
    return max(min(better, *at_ends), 0.0)


def _ends(held: Sequence[OptionAdvice]) -> tuple[float, float]:
    """Return the ends of the hum on the worse side, as known."""
    found = [o.used.figures.hum_below_full_output_db for o in held]
    known = [q for q in found if q is not None]
    return min(q.low for q in known), min(q.high for q in known)


@dataclass(frozen=True)
class _Rung:
    """A way on all sides, with the leads of the other boxes plugged in."""

    options: Sequence[OptionAdvice]
    whole: Beside | None

    @property
    def harms(self) -> bool:
        """It, or another box, suffers."""
        return self.whole is not None and self.whole.harms


def _best(rungs: Sequence[_Rung], option: str) -> Sequence[OptionAdvice]:
    """Return the way that hums least; as good as it is one between the sockets of ``option``.

    None that harms a box; of the others it is not asked.
    """
    lead, left = option.split("/", maxsplit=1)[0], list(rungs)
    while left:
        best = max(left, key=lambda r: _worst(r.options) or 0.0)
        if best.harms:
            left = [r for r in left if r is not best]
            continue
        least = min(_worst(best.options) or 0.0, MOST_DB) - LEAST_DB
        kept = [r for r in left if r.options[0].option.id.split("/", maxsplit=1)[0] == lead
                and (_worst(r.options) or 0.0) >= least
                and RANK[_verdict(r.options)] <= RANK[_verdict(best.options)]]  # fmt: skip
        pick = next(iter(kept), best)
        if pick is best or not pick.harms:
            return pick.options
        left = [r for r in left if r is not pick]
    return []


def _but(now: Sequence[OptionAdvice], best: Sequence[OptionAdvice]) -> str:
    """Return what of a cure there is to mind that what is used has not; its hum is told anyway.

    Nothing that a turn of the volume control deals with.
    """
    known = {"hum", "noise", *VOLUME_DOES, *(h.code for o in now for h in o.used.hazards)}
    fresh = [against(h.code, o.used.figures) for o in best for h in o.used.hazards
             if h.code not in known and not h.assumed]  # fmt: skip
    return next((f", but {says}" for says in fresh if says), "")


def _verdict(held: Sequence[OptionAdvice]) -> Verdict:
    return max((o.verdict for o in held), key=lambda v: RANK[v])


def _beside(desks: Sequence[Desk], advice: Advice, held: Sequence[OptionAdvice]) -> _Rung:
    """Return a way with the leads of the other boxes plugged in."""
    whole = instead(desks, advice, held[0])
    return _Rung(held if whole is None else whole.options, whole)


def _usable(held: Sequence[OptionAdvice]) -> bool:
    """Tell whether a way may be a cure: nothing is harmed by it, or may be."""
    harms = NOT_SAFE | {"tie-pointless"}
    return all(
        o.verdict in ("use", "works", "cannot-tell") and not harms & {h.code for h in o.hazards}
        for o in held
    )


def _held(options: Sequence[OptionAdvice], box: str, option: str | None) -> list[OptionAdvice]:
    return [o for o in options if o.box == box and o.option.id == option]


def _below(option: OptionAdvice, *, low: bool = False) -> float | None:
    found = option.used.figures.hum_below_full_output_db
    return None if found is None else found.low if low else found.value


def _worst(held: Sequence[OptionAdvice], *, low: bool = False) -> float | None:
    found = [_below(o, low=low) for o in held]
    known = [db for db in found if db is not None]
    return min(known) if known and len(known) == len(found) else None
