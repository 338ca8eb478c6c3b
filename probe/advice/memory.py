"""What was solved already, by what it hangs on: whoever asks again finds it here.

An advice is asked again many times, for each answer a maker may give, each ground, each lead of a
shelf. Of most of these questions the greatest part is the same circuit on the same stage. What a
stage is goes by its content: a description that is read anew with one line more may leave it as
it was.
"""

from __future__ import annotations

from collections.abc import Hashable, Iterator, Mapping
from dataclasses import dataclass, field, fields, is_dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from probe.advice.figures import Figures, Leveled, Surrounded
from probe.advice.hum import Hum
from probe.advice.quantity import Quantity
from probe.advice.sampled import Sampled
from probe.facts.source import Source

Floats = NDArray[np.float64]

Sources = Source | Mapping[str, Source]
"""The stage of one side, or one for each kind it may be."""

MOST_KEPT = 3
"""Memories kept at once: that of what is stated, and those of the last answers that change it. One
takes up to 100 MB."""


@dataclass
class Memory:
    """What was solved for some stages, whatever is said of the device, its kind, or an input."""

    sources: dict[bytes, Source] = field(default_factory=dict)
    """By content; they stay, and with them their ids."""
    numbers: dict[Hashable, int] = field(default_factory=dict)
    sampled: dict[tuple[object, ...], Sampled] = field(default_factory=dict)
    corners: dict[tuple[object, ...], tuple[Sampled, ...]] = field(default_factory=dict)
    between: dict[tuple[object, ...], Sampled | None] = field(default_factory=dict)
    amid: dict[tuple[object, ...], tuple[Hum | None, Quantity | None]] = field(default_factory=dict)
    levels: dict[tuple[object, ...], Floats] = field(default_factory=dict)
    figures: dict[tuple[object, ...], Figures] = field(default_factory=dict)
    """With nothing said of the device's volume control, which moves what may be promised alone."""
    most: dict[tuple[object, ...], Figures] = field(default_factory=dict)
    """Levels alone, of which no more was asked."""
    asked: dict[tuple[object, ...], int] = field(default_factory=dict)
    """The number of each figure."""
    leveled: dict[tuple[object, ...], Figures] = field(default_factory=dict)
    alone: dict[tuple[object, ...], Leveled] = field(default_factory=dict)
    """What follows from the level, compared with nothing, whatever is said of the device."""
    around: dict[tuple[object, ...], Surrounded] = field(default_factory=dict)
    """Hum, noise and where it clips, likewise."""
    judged: dict[tuple[object, ...], tuple[Any, frozenset[int]]] = field(default_factory=dict)
    """Ways with the verdict, and the numbers of the figures they stand on."""
    ground_alone: bool = False
    """Only the ground is asked about: what follows from the level is taken as it was solved with
    another one. The earth beside the shield moves it by thousandths of a decibel."""
    among: frozenset[tuple[str, str]] | None = None
    """Only these are asked about (socket, option); None: all."""

    def for_another_ground(self, among: frozenset[tuple[str, str]]) -> Memory:
        """Return the memory for asking about other grounds, of what the rest does not rule out."""
        return replace(self, figures={}, most={}, judged={}, ground_alone=True, among=among)

    def only(self, among: frozenset[tuple[str, str]] | None) -> Memory:
        """Return the memory for asking about some options alone."""
        return replace(self, among=among)

    def own(self, source: Source) -> Source:
        """Return the stage of the same content that was asked about first."""
        return self.sources.setdefault(source.digest, source)

    def number(self, thing: object) -> int:
        """Return a number that is the same for what is equal in everything."""
        return self.numbers.setdefault(content(thing), len(self.numbers))


class Memories:
    """The memories of the stages that were asked about last."""

    def __init__(self) -> None:
        self._kept: list[tuple[frozenset[bytes], Memory]] = []

    def of(self, sources: Mapping[str, Sources]) -> Memory:
        """Return the memory that has all of these stages, or a new one."""
        asked = frozenset(source.digest for source in _each(sources))
        found = next((kept for kept in self._kept if asked <= kept[0]), (asked, Memory()))
        # the first is that of what is stated, which is asked about to the end
        rest = [kept for kept in self._kept[1:] if kept[0] != found[0]]
        first = self._kept[:1] or [found]
        last = [] if found[0] == first[0][0] else [found]
        self._kept = [*first, *last, *rest][:MOST_KEPT]
        return found[1]


def _each(sources: Mapping[str, Sources]) -> Iterator[Source]:
    for one in sources.values():
        yield from [one] if isinstance(one, Source) else one.values()


def content(thing: object) -> Hashable:
    """Return what is equal where all that a value holds is equal."""
    if isinstance(thing, np.ndarray):
        return thing.shape, thing.tobytes()
    if is_dataclass(thing):
        return (type(thing).__name__, *(content(getattr(thing, f.name)) for f in fields(thing)))
    if isinstance(thing, Mapping):
        return ("mapping", *((key, content(value)) for key, value in thing.items()))
    if isinstance(thing, list | tuple):
        return tuple(content(one) for one in thing)
    assert isinstance(thing, Hashable)
    return type(thing).__name__, thing
