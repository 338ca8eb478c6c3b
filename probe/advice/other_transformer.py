"""Which transformer of the library would do, where nothing is used with the one that is meant."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import replace

from probe.advice import thresholds as limit
from probe.advice.at_hand import parts_meant
from probe.advice.destination import Destination
from probe.advice.model import Advice, Choice, OptionAdvice, Settling
from probe.advice.network import TwoPort
from probe.advice.parts import ISOLATING_TRANSFORMER, to_ask_for
from probe.advice.transformers import library, read_transformer
from probe.advice.wiring import OPTIONS
from probe.advice.words import full_output

Ask = Callable[[Destination, frozenset[tuple[str, str]]], Advice]
"""The advice for a destination, of some options alone (socket, option); of none: the whole one,
with all boxes plugged in."""


def with_other_transformer(advice: Advice, destination: Destination, ask: Ask) -> Advice:
    """Return the advice with the first transformer that makes a way work, for each box without one.

    ``ask`` answers again. The transformer that is meant is that of all boxes: with several of
    them one is named only where the others keep what they have, first one that leaves none out.
    """
    ways = {c.box: _through_transformer(advice, c) for c in advice.choices}
    if not any(ways.values()):
        return advice
    several = len(advice.choices) > 1
    among: frozenset[tuple[str, str]] = frozenset()
    among = among if several else among.union(*ways.values())
    tried: Iterable[tuple[str, TwoPort, Advice]] = (
        (name, part, ask(destination.with_transformer(part), among))
        for name, part in _others(destination)
    )
    if several:
        tried = sorted(tried, key=lambda held: any(c.option is None for c in held[2].choices))
    held = next((one for one in tried if _helped(advice, one[2], ways)), None)
    if held is None:
        return advice
    name, _, again = held
    helped = _helped(advice, again, ways)
    choices, found = [], []
    for choice in advice.choices:
        option = helped.get(choice.box)
        if option is None:
            choices.append(choice)
            continue
        part = _needed(again, choice.box, option)
        data = to_ask_for(part)
        says = f"{option} works with another transformer, {data}: --transformer {name}"
        says += _short(again, choice.box, option)
        says += "; the other boxes keep what they have" if several else ""
        # of several boxes the others' needs come first: they are why it has nothing
        why = (*choice.why, says) if several else (says, *choice.why)
        choices.append(replace(choice, why=why))
        what = f"another isolating transformer, {data}"
        found.append(Settling("transformer", what, (option,), choice.box, part))
    would_change = (*advice.would_change, *found)
    return replace(advice, choices=tuple(choices), would_change=would_change)


def _short(again: Advice, box: str, option: str) -> str:
    """Return by how much full output is missed with it, in words."""
    held = [o.used.figures.full_output_margin_db for o in again.options
            if (o.box, o.option.id) == (box, option)]  # fmt: skip
    known = [m for m in held if m is not None and m.low < -limit.GAIN_REACHED_DB]
    return f" ({full_output(min(known, key=lambda m: m.low))})" if known else ""


def _needed(again: Advice, box: str, option: str) -> TwoPort:
    parts = [o.part_needed for o in again.options if (o.box, o.option.id) == (box, option)]
    return max(parts, key=lambda p: p.volts_at_20_hz)


def _through_transformer(advice: Advice, choice: Choice) -> frozenset[tuple[str, str]]:
    """Return the ways into a box through a transformer that is not ruled out, if it has nothing.

    A box that is left out for the others' sake is one.
    """
    mine = [o for o in advice.options if o.box == choice.box]
    works = any(o.verdict == "works" for o in mine)
    if choice.option is not None or (works and len(advice.choices) < 2):
        return frozenset()
    ways = {(o.socket, o.option.id) for o in mine if o.option.pin_3 == "transformer"}
    # nothing is bought around a fault: repaired, the output may need none of it
    return frozenset(ways - {(o.socket, o.option.id) for o in mine
                             if o.verdict == "never" or _faulty(o)})  # fmt: skip


def _faulty(option: OptionAdvice) -> bool:
    return any(h.code == "stage-fault" for h in option.hazards)


def _helped(
    advice: Advice, again: Advice, ways: Mapping[str, frozenset[tuple[str, str]]]
) -> dict[str, str]:
    """Return what is used with another transformer for each box that had nothing.

    Nothing of all that where another box loses what it has, or full output.
    """
    now = {c.box: c for c in again.choices}
    for choice in advice.choices:
        if choice.option is None:
            continue
        other = now.get(choice.box)
        if other is None or (other.option, other.socket) != (choice.option, choice.socket):
            return {}
        if _falls_short(advice, again, choice):
            return {}
    return {
        c.box: c.option
        for c in again.choices
        if c.option is not None and ways.get(c.box) and not _falls_short(advice, again, c)
        and not any(_faulty(o) for o in again.options if (o.box, o.option.id) == (c.box, c.option))
    }  # fmt: skip


def _falls_short(advice: Advice, again: Advice, choice: Choice) -> bool:
    """Tell whether a way surely misses full output with it, and might have reached it without."""
    before, now = (
        [
            o.used.figures.full_output_margin_db
            for o in one.options
            if (o.box, o.socket, o.option.id) == (choice.box, choice.socket, choice.option)
        ]
        for one in (advice, again)
    )
    return any(
        was is not None and is_ is not None
        and was.high >= 0.0 and is_.high < -limit.GAIN_REACHED_DB
        for was, is_ in zip(before, now, strict=False)
    )  # fmt: skip


def _others(destination: Destination) -> Iterator[tuple[str, TwoPort]]:
    """Yield the transformers of the library that are not the one that is meant, in order."""
    ways = [o.id for o in OPTIONS if o.pin_3 == "transformer"]
    meant = {replace(part, name="", of_shelf=False) for part in parts_meant(destination, ways)}
    for name, part in sorted(_parts(), key=lambda held: _order(held[1])):
        if replace(part, name="") not in meant:
            yield name, part


def _parts() -> Iterator[tuple[str, TwoPort]]:
    return ((name, read_transformer(path)) for name, path in library().items())


def _order(part: TwoPort) -> tuple[bool, bool, float]:
    """Rank a transformer: one to one, no smaller than an ordinary one, and of those the smallest.

    What the core takes at 20 Hz stands for its size.
    """
    small = part.volts_at_20_hz < ISOLATING_TRANSFORMER.volts_at_20_hz
    return part.ratio != 1.0, small, part.volts_at_20_hz
