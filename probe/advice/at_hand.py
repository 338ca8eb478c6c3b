"""Which isolating transformer a way is solved with, of those at hand that fit its plugs."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace

from probe.advice.candidate import Candidate
from probe.advice.destination import Destination, Input
from probe.advice.leads import WAYS
from probe.advice.model import OptionAdvice
from probe.advice.network import TwoPort
from probe.advice.padded import fitted
from probe.advice.parts import ISOLATING_TRANSFORMER as ORDINARY
from probe.advice.shelf import Part, Shelf
from probe.advice.wiring import Option

GENERIC = "generic-part"
"""Hazard of a part without data: not of what it does."""

Solve = Callable[[Option], list[OptionAdvice]]
"""A way, solved on each side of the device that is to be judged; none: not asked for."""


def with_part_at_hand(
    option: Option, socket: Input, destination: Destination, solve: Solve
) -> list[OptionAdvice]:
    """Return an option into an input on each side, with the transformer that does best in it.

    The first of those at hand that none of the others betters: one that is cheap, or lies there,
    is no reason to have the way fail, fall short, or bring more to mind. Both sides have the same.
    """
    best: tuple[tuple[int, ...], list[OptionAdvice]] | None = None
    for variant in fitted(option, destination.transformers_of(socket, option.id)):
        sides = solve(variant)
        if not sides:
            return []
        rank = _rank(Candidate(option, socket.name, tuple(sides)))
        if best is None or rank < best[0]:
            best = rank, sides
        if not any(rank):
            break
    return [] if best is None else best[1]


def _rank(candidate: Candidate) -> tuple[int, ...]:
    """Rank what a way is with a part: its verdict, full output missed, what there is to mind."""
    minded = len(candidate.hazards - {GENERIC})
    return candidate.rank, int(not candidate.works), int(candidate.short is not None), minded


def parts_meant(destination: Destination, options: Sequence[str]) -> set[TwoPort]:
    """Return the transformers that every input was solved with, in ways of these options."""
    sets = [
        set(destination.transformers_of(socket, option))
        for socket in destination.inputs
        for option in options
    ]
    return set.intersection(*sets) if sets else set()


def transformers_on(shelf: Shelf) -> Iterator[tuple[str, TwoPort]]:
    """Yield the data of the transformers of a shelf, each with the ways whose plugs it has.

    What is there for both sides first, of that what has data, then by price, then by name, so that
    the order in the file plays no part. One without data is an ordinary one.
    """
    held = [p for p in shelf.parts if p.kind == "transformer"]
    for part in sorted(held, key=_first):
        data = ORDINARY if part.transformer is None else replace(part.transformer, of_shelf=True)
        for option, ways in WAYS.items():
            if any((p.kind, p.from_, p.to) == (part.kind, part.from_, part.to)
                   for way in ways for p in way):  # fmt: skip
                yield option, data


def _first(part: Part) -> tuple[int, bool, float, str]:
    return lacks(part), part.transformer is None, part.price, part.name


def lacks(part: Part) -> int:
    """Return how many are missing for both sides of a stereo pair."""
    return max(2 - part.stock * part.pieces, 0)
