"""One way for each box: what may be used, resistors and all, and in which order sets are tried."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from heapq import heappop, heappush
from typing import Protocol

from probe.advice.destination import Input
from probe.advice.model import Advice, Choice, OptionAdvice
from probe.advice.wiring import Option


@dataclass(frozen=True)
class Use:
    """One option into one input of one box, with what is in its plug on each side.

    Bare and behind resistors it is two of them.
    """

    box: str
    socket: Input
    sides: tuple[tuple[str, Option], ...]
    leads: int = 2
    """How many of it the box takes."""

    @property
    def option(self) -> Option:
        """What is the same on all sides: which way it is."""
        return self.sides[0][1]

    @property
    def padded(self) -> bool:
        """There are resistors in its plug."""
        return any(option.pad is not None for _, option in self.sides)

    def on(self, side: str) -> Option:
        """Return the option as it is made on a side."""
        return dict(self.sides)[side]


def use_of(socket: Input, held: Sequence[OptionAdvice]) -> Use:
    """Return what is used of one way, ``held`` on each side."""
    return Use(held[0].box, socket, tuple((o.side, o.used.option) for o in held), held[0].leads)


def uses_of(inputs: Sequence[Input], advice: Advice, choice: Choice) -> list[Use]:
    """Return what may be used for a box: the chosen option, then the others that work.

    Last those that work with series resistors in the plug alone.
    """
    sockets = {s.name: s for s in inputs}
    ways: dict[tuple[str, str], list[OptionAdvice]] = {}
    for o in advice.options:
        if o.box == choice.box:
            ways.setdefault((o.socket, o.option.id), []).append(o)
    working = [k for k, held in ways.items() if all(map(_works, held))]
    relieved = [k for k, held in ways.items() if k not in working and all(map(_relieved, held))]
    first = (choice.socket or "", choice.option or "")
    order = [first, *(key for key in working if key != first)]
    found = [use_of(sockets[key[0]], ways[key]) for key in order]
    more = (k for k in relieved if k not in order)
    return found + [use_of(sockets[k[0]], [o.with_fitted() for o in ways[k]]) for k in more]


def _works(option: OptionAdvice) -> bool:
    return option.verdict == "use" or option.used.works


def _relieved(option: OptionAdvice) -> bool:
    offered = option.attenuator
    return _works(option) or (offered is not None and offered.relieves and offered.solves)


def likeliest_first(
    rivals: Sequence[list[Use]],
    needs: Callable[[tuple[Use, ...]], Sequence[int]] = lambda _: (),
    rank: Sequence[int] | None = None,
) -> Iterator[tuple[Use, ...]]:
    """Yield one use of each box, by how far they are from each box's own best all in all.

    Of those as far, what needs less first; then the box of the highest rank moves first (none
    given: the last). One by one: all combinations of many boxes fit into no memory.
    """
    at = sorted(range(len(rivals)), key=lambda box: rank[box] if rank else box)

    def queued(away: int, places: tuple[int, ...]) -> Queued:
        uses = tuple(r[k] for r, k in zip(rivals, places, strict=True))
        return away, tuple(needs(uses)), tuple(places[box] for box in at), places

    first = (0,) * len(rivals)
    waiting, seen = [queued(0, first)], {first}
    while waiting:
        away, _, _, places = heappop(waiting)
        yield tuple(r[k] for r, k in zip(rivals, places, strict=True))
        for box, place in enumerate(places):
            after = (*places[:box], place + 1, *places[box + 1 :])
            if place + 1 < len(rivals[box]) and after not in seen:
                seen.add(after)
                heappush(waiting, queued(away + 1, after))


Queued = tuple[int, tuple[int, ...], tuple[int, ...], tuple[int, ...]]
"""How far from each box's own best, what it needs, places in the order of ranks, and as they are.
"""


def ranks(inputs: Sequence[Input], boxes: Sequence[str]) -> list[int]:
    """Return the place of each box by what it is, the heaviest input last.

    Not by where it was named: a set must not depend on the order in which boxes are typed. Of boxes
    that are alike in everything any may come first.
    """

    def own(box: str) -> tuple[float, str]:
        mine = [s for s in inputs if s.box == box]
        return -min(s.impedance_ohm for s in mine), repr([unnamed(s) for s in mine])

    ordered = sorted(boxes, key=own)
    return [ordered.index(box) for box in boxes]


def unnamed(socket: Input) -> Input:
    """Return an input without what it is called."""
    return replace(socket, name="", box="")


class Made(Protocol):
    """A way of one box."""

    @property
    def option(self) -> Option:
        """Which one."""

    @property
    def leads(self) -> int:
        """How many of it the box takes."""


def parts_of(uses: Sequence[Made]) -> int:
    """Return how many parts a set needs: those of each lead, and the splitters between them."""
    return sum(u.option.parts for u in uses) + len(uses) - len({u.option.from_ for u in uses})
