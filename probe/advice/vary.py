"""What if: one thing varied over a range, and where the choice flips.

The range is walked in a few steps; between neighbours that choose differently the flip is
narrowed by halving. A choice that flips twice between two steps goes unseen; steps are a third of
a decade or closer for that reason.
"""

from __future__ import annotations

import itertools
import math
import re
import textwrap
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from probe.advice import thresholds as limit
from probe.advice.advise import ask_together, with_what_opens
from probe.advice.destination import Cable, Destination
from probe.advice.flip_reasons import Reason, of_flip, of_nothing
from probe.advice.model import RANKING, Advice, Settling
from probe.advice.operating import most_volts
from probe.advice.other_kind import as_described, fits, of_kind
from probe.advice.rows import WIDTH
from probe.advice.subject import EVERY_KIND, device_of, side_of
from probe.advice.text import wrapped
from probe.advice.words import KINDS
from probe.errors import BadInput
from probe.formats.text import nearest, quoted
from probe.numbers import without_figures

STEPS = 9
"""Points of a range before it is narrowed: an octave or two apart on the ranges people ask for."""

NARROW = 30
"""Columns of a head that leaves room beside it for the names of boxes."""

NARROWED = 0.01
"""Width of a flip as a share of its place (volume: of 10 dB) at which halving stops."""

LEAST_SHARE = 1e-3
"""A range that starts at zero is walked from this share of its end, zero besides."""


@dataclass(frozen=True)
class Quantity:
    """Something that can be varied: unit, allowed range, and how a value changes the question."""

    name: str
    unit: str
    low: float
    high: float
    change: Callable[[Destination, float, float], Destination]
    """Destination, value, full level (V) to destination."""
    now: Callable[[Destination], float | None]
    """What it is in the question as asked, in ``unit``; None: not known, or not one figure."""


def _length(destination: Destination, metres: float, _: float) -> Destination:
    def lengthened(cable: Cable) -> Cable:
        ratio = metres / cable.length_m
        return replace(
            cable,
            length_m=metres,
            farad=cable.farad * ratio,
            shield_ohm=cable.shield_ohm * ratio,
        )

    inputs = tuple(
        replace(s, cable=None if s.cable is None else lengthened(s.cable),
                own_cables=tuple((way, lengthened(c)) for way, c in s.own_cables))
        for s in destination.inputs
    )  # fmt: skip
    return replace(destination, cable=lengthened(destination.cable), inputs=inputs)


def _impedance(destination: Destination, ohm: float, _: float) -> Destination:
    inputs = tuple(
        replace(s, impedance_ohm=ohm) if s.connector in ("rca", "xlr") else s
        for s in destination.inputs
    )
    return replace(destination, inputs=inputs)


def _volume(destination: Destination, decibels: float, full: float) -> Destination:
    return replace(destination, operating_volts=full * 10.0 ** (decibels / 20.0))


def _ground(destination: Destination, millivolts: float, _: float) -> Destination:
    inputs = tuple(
        replace(s, ground=s.ground.of_difference(millivolts * 1e-3)) for s in destination.inputs
    )
    return replace(destination, inputs=inputs)


def _one(values: Iterable[float | None]) -> float | None:
    """Return the one figure that all inputs have; None where they have several, or none."""
    found = set(values)
    return found.pop() if len(found) == 1 else None


def _length_now(destination: Destination) -> float | None:
    return _one((s.cable or destination.cable).length_m for s in destination.inputs)


def _impedance_now(destination: Destination) -> float | None:
    return _one(s.impedance_ohm for s in destination.inputs if s.connector in ("rca", "xlr"))


def _volume_now(destination: Destination) -> float | None:
    """Return 0 dB, of the most that is ever played, where that is said."""
    return None if destination.operating_volts is None else 0.0


def _ground_now(destination: Destination) -> float | None:
    volts = _one(s.ground.difference_volts for s in destination.inputs)
    return None if volts is None else volts * 1e3


QUANTITIES = {
    q.name: q
    for q in (
        Quantity("cable-length", "m", 0.1, 1000.0, _length, _length_now),
        Quantity("receiver-impedance", "ohm", 10.0, 1e7, _impedance, _impedance_now),
        Quantity("volume", "dB", -80.0, 0.0, _volume, _volume_now),
        Quantity("ground", "mV", 0.0, 1e5, _ground, _ground_now),
    )
}

DEFAULTS = {"cable-length": (1.0, 50.0), "receiver-impedance": (1e3, 1e5), "volume": (-40.0, 0.0),
            "ground": (0.0, 500.0)}  # fmt: skip
"""Ranges where none is given."""

HUM_GROWS_WITH = {
    "cable-length": "So this says nothing about the length: hum grows with it, and a lead without "
    f"rejection is kept below {limit.LONG_RUN_METRES:g} m.",
    "ground": "So this says nothing about the ground difference, whose hum it is.",
}
"""What a walk without hum does not tell, by what is varied."""

KIND = "kind"

MARK = " *"
DESCRIBED = (
    "* not what was measured: solved as a data sheet would describe it, with the measured levels, "
    "the impedance between pins 2 and 3 and that of the RCA output, and what it gives at most."
)
"""Of a kind that the takes exclude."""

NOT_DESCRIBED = (
    "Kinds that the takes exclude are not solved: no level between pins 2 and 3 was measured."
)

IN_PLUG = ", resistors in its plug"
"""Behind a way that is used so."""

_RANGE = re.compile(r"(-?[0-9.]+)(k?)\.\.(-?[0-9.]+)(k?)")


@dataclass(frozen=True)
class Axis:
    """What is varied, from where to where; ``quantity`` None: the kind of stage."""

    quantity: Quantity | None
    low: float = 0.0
    high: float = 0.0

    @property
    def name(self) -> str:
        """Its word on the command line."""
        return KIND if self.quantity is None else self.quantity.name

    @property
    def unit(self) -> str:
        """Of its values."""
        return "" if self.quantity is None else self.quantity.unit

    def values(self) -> list[float]:
        """Return the steps, ascending."""
        if self.unit == "dB":
            return [float(v) for v in np.linspace(self.low, self.high, STEPS)]
        start = self.low or self.high * LEAST_SHARE
        steps = max(STEPS, math.ceil(3.0 * math.log10(self.high / start)) + 1)
        found = [float(v) for v in np.geomspace(start, self.high, steps)]
        return [0.0, *found] if self.low == 0.0 else found


def read_axis(text: str) -> Axis:
    """Read ``cable-length=1..50`` and the like; a word alone takes its usual range.

    Raises
    ------
    BadInput
        No such quantity, or a range that is none.
    """
    name, _, span = text.partition("=")
    known = [*QUANTITIES, KIND]
    if name not in known:
        close = nearest(name, known)
        hint = f'did you mean "{close}"?' if close else f"there are {', '.join(known)}"
        raise BadInput(f"--vary: {quoted(name)} cannot be varied; {hint}")
    if name == KIND:
        if span:
            raise BadInput("--vary: kind takes no range: every kind is tried")
        return Axis(None)
    quantity = QUANTITIES[name]
    low, high = DEFAULTS[name] if not span else _span(name, span)
    if not quantity.low <= low < high <= quantity.high:
        raise BadInput(
            f"--vary: {name} from {low:g} to {high:g} {quantity.unit}; ascending, within "
            f"{quantity.low:g} to {quantity.high:g}, is allowed"
        )
    return Axis(quantity, low, high)


def _span(name: str, span: str) -> tuple[float, float]:
    found = _RANGE.fullmatch(span)
    try:
        if found is None:
            raise ValueError(span)
        return tuple(  # type: ignore[return-value]
            float(found[k]) * (1e3 if found[k + 1] else 1.0) for k in (1, 3)
        )
    except ValueError as error:
        raise BadInput(
            f"--vary: {quoted(span)} is no range; write for example {name}=1..50"
        ) from error


Ways = tuple[str | None, ...]
"""The option of each box, or None."""

Fitted = tuple[bool, ...]
"""Whether there are resistors in its plug, of each box."""


@dataclass(frozen=True)
class Point:
    """What is chosen at one value."""

    value: float | str
    chosen: Ways
    nothing: tuple[Reason, ...] = ()
    """Why boxes have no way here: of each kind, of which every point stands for itself."""
    fitted: Fitted = ()
    described: bool = False
    """It is of a kind that the takes of a measured output exclude."""

    def like(self, other: Point) -> bool:
        """Tell whether the same is soldered and plugged in."""
        return (self.chosen, self.fitted) == (other.chosen, other.fitted)


@dataclass(frozen=True)
class Flip:
    """Where the choice changes: somewhere between ``low`` and ``high``."""

    low: float
    high: float
    before: Ways
    after: Ways
    causes: tuple[Reason, ...] = ()
    """What stands against a way on one side of it, of each box that uses another one."""
    fitted_before: Fitted = ()
    fitted_after: Fitted = ()


@dataclass(frozen=True)
class Sweep:
    """The walk over a range."""

    name: str
    unit: str
    points: tuple[Point, ...]
    flips: tuple[Flip, ...]
    not_computed: tuple[str, ...] = ()
    """What of hum and noise no answer had: where it would flip the choice is not seen."""
    boxes: tuple[str, ...] = ()
    """Whom the choices are for, in their order."""
    nothing: tuple[tuple[Reason, ...], ...] = ()
    """Of each range why boxes have no way there."""
    now: float | None = None
    """What it is in the question as asked."""
    short: bool = False
    """Kinds are left out, for too little was measured to describe them."""

    @property
    def _nothing(self) -> tuple[tuple[Reason, ...], ...]:
        return self.nothing or ((),) * (len(self.flips) + 1)

    @property
    def lacks(self) -> tuple[str, ...]:
        """What was not computed, and what the walk therefore does not tell."""
        if self.name == KIND:
            marked = any(p.described for p in self.points)
            return (*(DESCRIBED,) * marked, *(NOT_DESCRIBED,) * self.short)
        if not self.not_computed:
            return ()
        what = " and ".join(self.not_computed).capitalize()
        says = [f"{what} not computed, which may flip the choice anywhere here."]
        if "hum" in self.not_computed and self.name in HUM_GROWS_WITH:
            says.append(HUM_GROWS_WITH[self.name])
        if "hum" in self.not_computed:
            says.append("Say how the boxes are earthed, and ask again.")
        return tuple(says)

    def ranges(self) -> list[tuple[float, float, Ways, Fitted]]:
        """Return what is chosen from where to where, flips at the middle of their bracket."""
        values = [float(p.value) for p in self.points]
        places = [(f.low + f.high) / 2.0 for f in self.flips]
        edges = [values[0], *places, values[-1]]
        first = self.points[0]
        chosen = [(first.chosen, first.fitted)]
        chosen += [(f.after, f.fitted_after) for f in self.flips]
        return [(a, b, *c) for a, b, c in zip(edges, edges[1:], chosen, strict=False)]

    def lines(self) -> list[str]:
        """Return the table for a terminal."""
        now = "" if self.now is None else f" (now {_shown(self.now)} {self.unit})"
        head = f"What if: {self.name.replace('-', ' ')}{now}"
        if self.name == KIND:
            rows = [
                line
                for p in self.points
                for line in (
                    *self._rows(
                        f"{f'{KINDS[str(p.value)]}{MARK * p.described}':<44} ", p.chosen, p.fitted
                    ),
                    *self._why(p.nothing),
                )
            ]
            return [head, *rows, *textwrap.wrap(" ".join(self.lacks), WIDTH)]
        rows = [
            line
            for (a, b, chosen, fitted), why in zip(self.ranges(), self._nothing, strict=True)
            for line in (
                *self._rows(f"{_shown(a):>8} to {_shown(b):>8} {self.unit:<4} ", chosen, fitted),
                *self._why(why),
            )
        ]
        if self.not_computed:
            how = " (--ground)" if "hum" in self.not_computed else ""
            rows += textwrap.wrap(" ".join(self.lacks) + how, WIDTH)
        elif not self.flips:
            return [head, *rows, "the choice does not change anywhere in this range"]
        told = [line for k, f in enumerate(self.flips) for line in wrapped(self._flip(k, f), "  ")]
        return [head, *rows, *told]

    def _flip(self, k: int, f: Flip) -> str:
        where = f"it flips between {_shown(f.low, 4)} and {_shown(f.high, 4)} {self.unit}"
        above = {r.key for why in self._nothing[k : k + 2] for r in why}
        causes = [f"{self._whose(r)}{r.named if r.key in above else r.told}" for r in f.causes]
        return f"{where}: {'; '.join(dict.fromkeys(causes))}" if causes else where

    def _whose(self, reason: Reason) -> str:
        return f"{reason.box}: " if len(self.boxes) > 1 and reason.box else ""

    def _why(self, reasons: Sequence[Reason]) -> list[str]:
        """Return why nothing is used, and what would settle it, below its row."""
        told = [f"{self._whose(r)}{text}" for r in reasons for text in (r.told, *r.questions)]
        return [
            line for text in dict.fromkeys(told) for line in wrapped(f"- {text}", "      ", "    ")
        ]

    def _rows(self, head: str, ways: Ways, fitted: Fitted) -> list[str]:
        """Return what is chosen in lines; of several boxes one for each, with its name.

        Where nothing may be joined at all there is nothing chosen.
        """
        pads = (*fitted, *(False for _ in ways[len(fitted) :]))
        chosen = [f"{c or 'nothing'}{IN_PLUG * pad}" for c, pad in zip(ways, pads, strict=True)]
        if len(self.boxes) < 2 or not chosen:
            row = head + (" and ".join(chosen) or "nothing")
            return [row] if len(row) <= WIDTH else [head.rstrip(), f"    {row[len(head) :]}"]
        told = [f"{c} ({b})" for c, b in zip(chosen, self.boxes, strict=False)]
        lines = [head.rstrip()] if len(head) > NARROW else []
        indent = " " * min(len(head), NARROW)
        for k, text in enumerate(told):
            first = head if k == 0 and not lines else indent
            lines += textwrap.wrap(
                text, WIDTH, initial_indent=first, subsequent_indent=f"{indent}  ",
                break_on_hyphens=False,
            )  # fmt: skip
        return lines

    def to_json(self) -> dict[str, Any]:
        """Return the sweep as plain values."""
        return {
            "what": self.name,
            "unit": self.unit,
            "now": self.now,
            "destinations": list(self.boxes),
            "points": [
                {
                    "value": p.value,
                    "chosen": list(p.chosen),
                    "attenuator": list(p.fitted),
                    **({"described": p.described} if self.name == KIND else {}),
                    **({"nothing": [r.to_json() for r in p.nothing]} if self.name == KIND else {}),
                }
                for p in self.points
            ],
            "ranges": []
            if self.name == KIND
            else [
                {
                    "low": a,
                    "high": b,
                    "chosen": list(c),
                    "attenuator": list(fitted),
                    "nothing": [r.to_json() for r in why],
                }
                for (a, b, c, fitted), why in zip(self.ranges(), self._nothing, strict=True)
            ],
            "flips": [
                {
                    "low": f.low,
                    "high": f.high,
                    "from": list(f.before),
                    "to": list(f.after),
                    "attenuator_from": list(f.fitted_before),
                    "attenuator_to": list(f.fitted_after),
                    "because": [r.to_json() for r in f.causes],
                }
                for f in self.flips
            ],
            "not_computed": list(self.not_computed),
            "says": list(self.lacks),
        }


def _shown(value: float, digits: int = 3) -> str:
    return f"{float(f'{value:.{digits}g}'):g}"


def sweep(
    axis: Axis,
    facts: Mapping[str, Any],
    sources: Mapping[str, Any],
    destination: Destination,
    progress: Callable[[float], None] | None = None,
) -> Sweep:
    """Walk ``axis`` and narrow every flip found; ``progress`` is told each value tried.

    Raises
    ------
    BadInput
        The volume is varied and nothing says what full output is, or the facts are damaged.
    """
    if axis.quantity is None:
        return _kinds(facts, sources, destination)
    change, full = axis.quantity.change, _full(facts, destination)

    lacking: dict[str, None] = {}
    answers: dict[float, Advice] = {}

    def choose(value: float) -> Point:
        if progress is not None:
            progress(value)
        answer = answers[value] = ask_together(facts, sources, change(destination, value, full))
        lacking.update(dict.fromkeys(n for n in RANKING if n in answer.not_computed))
        ways = answer.choices
        return Point(value, tuple(c.option for c in ways), fitted=tuple(c.attenuator for c in ways))

    def nothing_at(value: float) -> tuple[Reason, ...]:
        asked = change(destination, value, full)
        return of_nothing(with_what_opens(answers[value], facts, sources, asked))

    points = [choose(v) for v in axis.values()]
    flips = [
        flip
        for one, next_ in itertools.pairwise(points)
        if not one.like(next_)
        for flip in _narrowed(one, next_, choose, axis)
    ]
    flips = [replace(f, causes=of_flip(answers[f.low], answers[f.high])) for f in flips]
    starts = [float(points[0].value), *(f.high for f in flips)]
    ends = [*(f.low for f in flips), float(points[-1].value)]
    nothing = tuple(
        _at_both_ends(nothing_at, low, high, axis.unit)
        for low, high in zip(starts, ends, strict=True)
    )
    return Sweep(
        axis.name, axis.unit, tuple(points), tuple(flips), tuple(lacking), _boxes(destination),
        nothing, axis.quantity.now(destination),
    )  # fmt: skip


def _at_both_ends(
    nothing_at: Callable[[float], tuple[Reason, ...]], low: float, high: float, unit: str
) -> tuple[Reason, ...]:
    """Return why there is nothing in a range: what decides at its ends, where that is not one.

    A question, or a part, is told of the whole range only if it opens the same at both ends.
    """
    here = nothing_at(low)
    far = nothing_at(high) if high > low and here else here
    known = {r.key for r in here}
    at_low, at_high = (f"at {_shown(value)} {unit}" for value in (low, high))
    then = {r.key: r.asks for r in far}
    both = [
        replace(r, asks=_of_both(r.asks, then.get(r.key, ()), at_low, at_high)) for r in here
    ]  # fmt: skip
    return (*both, *(replace(r, place=f"{at_high}, ") for r in far if r.key not in known))


def _of_both(
    one: Sequence[Settling], other: Sequence[Settling], at_one: str, at_other: str
) -> tuple[Settling, ...]:  # fmt: skip
    """Return what is asked at both ends of a range; with its place what is asked at one of them."""
    opens = [{_opens(a) for a in held} for held in (one, other)]
    shared = opens[0] & opens[1]
    rest = [replace(a, what=f"{place}: {a.what}")
            for place, held in ((at_one, one), (at_other, other)) for a in held
            if _opens(a) not in shared]  # fmt: skip
    return (*(a for a in one if _opens(a) in shared), *rest)


def _opens(asked: Settling) -> tuple[str, str, tuple[str, ...]]:
    """Return what is asked, whatever its figures, and what it opens."""
    return asked.code, without_figures(asked.what), asked.answers


def _boxes(destination: Destination) -> tuple[str, ...]:
    return tuple(dict.fromkeys(socket.box for socket in destination.inputs))


def _full(facts: Mapping[str, Any], destination: Destination) -> float:
    """Return the level the volume is counted from, V."""
    try:
        device, sides = device_of(facts), [side_of(facts, name) for name in facts["sides"]]
        stated = device.full_output_volts
        found = [most for side in sides if (most := most_volts(device, side)) is not None]
    except (AttributeError, KeyError, TypeError, ValueError):
        stated, found = None, []
    played = destination.operating_volts
    if played is not None:
        return min([played, max(found)] if found else [played])
    return stated or limit.ASSUMED_MAXIMUM_VOLTS


def _narrowed(one: Point, next_: Point, choose: Callable[[float], Point], axis: Axis) -> list[Flip]:
    """Halve between two neighbours; where a third choice lies between, both flips are narrowed."""
    low, high = float(one.value), float(next_.value)
    if high - low <= _width(high, axis):
        return [Flip(low, high, one.chosen, next_.chosen, (), one.fitted, next_.fitted)]
    middle = (low + high) / 2.0 if axis.unit == "dB" or low <= 0.0 else math.sqrt(low * high)
    between = choose(middle)
    found: list[Flip] = []
    if not between.like(one):
        found += _narrowed(one, between, choose, axis)
    if not between.like(next_):
        found += _narrowed(between, next_, choose, axis)
    return found


def _width(high: float, axis: Axis) -> float:
    """Return how narrow a flip has to be, in the unit of the axis."""
    return NARROWED * (10.0 if axis.unit == "dB" else max(high, axis.high * LEAST_SHARE))


def _kinds(
    facts: Mapping[str, Any], sources: Mapping[str, Any], destination: Destination
) -> Sweep:  # fmt: skip
    """Ask once for each kind, as if the stage had been found to be of it.

    Of a measured one a kind that the takes exclude is described with what was measured.
    """
    points, short = [], False
    typed = [set(s) for s in sources.values() if isinstance(s, Mapping)]  # of a typed source
    for kind in (k for k in EVERY_KIND if all(k in kinds for kinds in typed)):
        asked_of: tuple[Mapping[str, Any], Mapping[str, Any]] = (of_kind(facts, kind), sources)
        if not typed and not fits(facts, kind):
            other = as_described(facts, kind)
            if other is None:
                short = True
                continue
            asked_of = other
        asked = ask_together(*asked_of, destination)
        fitted = tuple(c.attenuator for c in asked.choices)
        ways = tuple(c.option for c in asked.choices)
        points.append(Point(kind, ways, of_nothing(asked), fitted, asked_of[1] is not sources))
    return Sweep(KIND, "", tuple(points), (), boxes=_boxes(destination), short=short)
