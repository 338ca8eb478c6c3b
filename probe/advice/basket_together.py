"""What alike boxes take from the shelf, as one list: as many of each part as all of them need."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from probe.advice.fitting import cheaper_parts, dearer_parts
from probe.advice.shelf import Shelf
from probe.advice.taken import Basket, Taken, orders
from probe.advice.told_once import Group, label_of


def in_groups(
    found: Sequence[Basket], groups: Sequence[Group], shelf: Shelf
) -> list[tuple[str, Basket]]:
    """Return the lists by whom they are for, those of alike boxes that follow each other as one.

    Others stand apart: what lies on the shelf is counted in the order of the boxes.
    """
    held: list[list[Basket]] = []
    for basket in found:
        if held and _alike(held[-1][0], basket, groups):
            held[-1].append(basket)
        else:
            held.append([basket])
    return [(_whom(baskets), _joined(baskets, shelf)) for baskets in held]


def ordered_again(shown: Sequence[Basket]) -> set[str]:
    """Return what is to be ordered for more than one of the lists, in the words of the whole."""
    names = [name for basket in shown for name in orders(basket)]
    return {name for name in names if names.count(name) > 1}


def _whom(baskets: Sequence[Basket]) -> str:
    one = baskets[0]
    return (
        label_of([b.box for b in baskets])
        if one.box
        else f"sharing the {one.shares.upper()} output"
    )


def _alike(one: Basket, other: Basket, groups: Sequence[Group]) -> bool:
    """Tell whether two boxes of one group take the same, however much of it is left."""
    if not any({one.box, other.box} <= set(group) for group in groups) or not one.option:
        return False
    same = replace(
        one, box=other.box, taken=other.taken, both=other.both, offered=other.offered,
        cheaper=other.cheaper, dearer=other.dearer, first=other.first,
        cases=other.cases,
    )  # fmt: skip
    if _apart(one) != _apart(other):
        return False
    apart = one.instead is not None or one.pad_instead is not None
    return same == other and not apart and _names(one) == _names(other)


def _apart(basket: Basket) -> list[tuple[str, list[str], list[str]]]:
    """Return what is tried first, or what an answer decides, by what it takes."""
    held = (*basket.first, *(more for _, more in basket.cases))
    return [(b.option, _names(b), [p.says for p in b.missing]) for b in held]


def _names(basket: Basket) -> list[str]:
    offered = [basket.offered] if isinstance(basket.offered, Taken) else []
    return [t.part.name for t in (*basket.taken, *basket.both, *offered)]


def _joined(baskets: Sequence[Basket], shelf: Shelf) -> Basket:
    one = baskets[0]
    if len(baskets) == 1:
        return one
    taken = _sum([b.taken for b in baskets])
    offers = [b.offered for b in baskets if isinstance(b.offered, Taken)]
    return replace(
        one,
        boxes=len(baskets),
        count=sum(b.count for b in baskets),
        taken=taken,
        both=_sum([b.both for b in baskets]),
        offered=_sum([(o,) for o in offers])[0] if offers else one.offered,
        cheaper=tuple(cheaper_parts(taken, shelf, one.length_m, one.own)),
        dearer=tuple(dearer_parts(taken, shelf, one.length_m, one.own)),
        cases=tuple(
            (same[0][0], _joined([more for _, more in same], shelf))
            for same in zip(*(b.cases for b in baskets), strict=True)
        ),
        first=tuple(_joined(same, shelf) for same in zip(*(b.first for b in baskets), strict=True)),
    )


def _sum(held: Sequence[Sequence[Taken]]) -> tuple[Taken, ...]:
    """Return each part as often as all take it, counted from what lay there before the first."""
    return tuple(
        replace(same[0], count=sum(t.count for t in same)) for same in zip(*held, strict=True)
    )
