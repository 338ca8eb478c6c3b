"""Ways that do as well as another one by everything that is computed, whatever they are made of."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace
from typing import Protocol

from probe.advice import thresholds as limit
from probe.advice.candidate import Candidate
from probe.advice.figures import Figures
from probe.advice.model import Advice, Choice, OptionAdvice
from probe.advice.quantity import Quantity


def as_good(
    theirs: Candidate, mine: Candidate, wanted: float, tie_db: float = limit.TIE_BREAK_DB
) -> bool:
    """Tell whether another way into a box does what is asked there by itself.

    No isolating transformer where none is needed, no hazard of its own, no more hum or noise, no
    more lost at the ends of the band, and loud enough: level beyond what is wanted buys nothing.
    ``tie_db``: hum and noise that differ by no more are alike.
    """
    if (theirs.transformer and not mine.transformer) or not theirs.hazards <= mine.hazards:
        return False
    pairs = zip(theirs.sides, mine.sides, strict=False)
    if not all(_no_louder_rest(a, b, tie_db) for a, b in pairs) or _loses_more(theirs, mine):
        return False
    if theirs.suffices(wanted):
        return mine.fills is not True or theirs.fills is True
    levels = (theirs.gain, mine.gain)
    if levels[1] is None:
        return True
    return levels[0] is not None and levels[0].value >= levels[1].value - limit.TIE_BREAK_DB


def _no_louder_rest(other: OptionAdvice, own: OptionAdvice, tie_db: float) -> bool:
    """Tell whether hum and noise are no louder; beyond what anybody hears all are alike."""
    theirs, mine = other.figures, own.figures
    more = mine.stricter_db
    return _no_less(_hum(theirs), _hum(mine), limit.HUM_GOOD_DB + more, tie_db) and _no_less(
        theirs.noise_below_full_output_db, mine.noise_below_full_output_db,
        limit.NOISE_GOOD_DB + more, tie_db,
    )  # fmt: skip


def _hum(figures: Figures) -> Quantity | None:
    return figures.buzz_below_full_output_db or figures.hum_below_full_output_db


def _no_less(
    theirs: Quantity | None, mine: Quantity | None, good: float, tie_db: float
) -> bool:  # fmt: skip
    if mine is None:
        return True
    least = min(mine.value, good) - tie_db
    return theirs is not None and theirs.value >= least


def _loses_more(theirs: Candidate, mine: Candidate) -> bool:
    losses = theirs.loss, mine.loss
    if losses[1] is None:
        return False
    return losses[0] is None or losses[0].value > losses[1].value + limit.TIE_BREAK_DB


def candidate(advice: Advice, box: str, socket: str, option: str) -> Candidate:
    """Return one way into a box on all sides."""
    held = tuple(
        o for o in advice.options if (o.box, o.socket, o.option.id) == (box, socket, option)
    )
    return Candidate(held[0].option, socket, held)


class Solved(Protocol):
    """A way of one box with the others plugged in."""

    @property
    def options(self) -> tuple[OptionAdvice, ...]:
        """The way on all sides."""

    @property
    def harms(self) -> bool:
        """It suffers, or makes another box suffer."""


Together = Callable[[OptionAdvice], Solved | None]
"""Solves another way for one box with what the others use plugged in."""


def ways_as_good(
    advice: Advice, choice: Choice, wanted: float, together: Together | None = None,
    used: Sequence[OptionAdvice] = (),
) -> Iterable[Candidate]:  # fmt: skip
    """Yield the other ways into the box of a choice that do as well.

    As it is ``used``, on all sides, with a lead that is not what was solved, where that is given.

    Of several boxes those that do so with the others plugged in, harm none of them and need no
    further splitter; without ``together`` none, for what they do to the others is not known.
    """
    others = [c for c in advice.choices if c.option is not None and c.box != choice.box]
    if choice.option is None or choice.socket is None or (others and together is None):
        return
    mine = [o for o in advice.options if o.box == choice.box]
    if not any((o.socket, o.option.id) == (choice.socket, choice.option) for o in mine):
        return  # a digital link
    own = candidate(advice, choice.box, choice.socket, choice.option)
    own = replace(own, bare=tuple(used)) if used else own
    for socket, option in dict.fromkeys((o.socket, o.option.id) for o in mine):
        other = candidate(advice, choice.box, socket, option)
        if not other.works or not as_good(other, own, wanted):
            continue
        if not others or (together and _beside_as_good(advice, other, own, wanted, together, used)):
            yield other


def _beside_as_good(
    advice: Advice, other: Candidate, own: Candidate, wanted: float, together: Together,
    used: Sequence[OptionAdvice],
) -> bool:  # fmt: skip
    """Tell whether another way does as well with the other boxes plugged in, and harms none.

    ``used``: the own one beside them with the lead that is taken, where that is another.
    """
    box = own.bare[0].box
    held = [o for o in advice.sets[0].options if o.box != box] if advice.sets else []
    outputs = {o.option.from_ for o in held}
    if other.option.from_ in outputs and own.option.from_ not in outputs:
        return False  # it would hang on an output that another box uses
    mine = tuple(used) or (
        tuple(o for o in advice.sets[0].options if o.box == box) if advice.sets else ()
    )
    found = together(other.bare[0])
    if found is None or not mine:
        return False
    whole = Candidate(found.options[0].option, other.socket, found.options)
    if not whole.works or not as_good(whole, Candidate(own.option, own.socket, mine), wanted):
        return False
    return not found.harms
