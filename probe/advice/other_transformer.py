"""Which transformer of the library would do, where nothing is used with the one that is meant."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace

from probe.advice.destination import Destination
from probe.advice.model import Advice, Choice, Settling
from probe.advice.network import TwoPort
from probe.advice.parts import ISOLATING_TRANSFORMER
from probe.advice.transformers import library, read_transformer

Ask = Callable[[Destination, frozenset[tuple[str, str]]], Advice]
"""The advice for a destination, of some options alone (socket, option)."""


def with_other_transformer(advice: Advice, destination: Destination, ask: Ask) -> Advice:
    """Return the advice with the first transformer that makes a way work, for each box without one.

    ``ask`` answers again, of the ways through a transformer.
    """
    choices, found = [], []
    for choice in advice.choices:
        among = _through_transformer(advice, choice)
        helped = next(_helping(destination, choice, among, ask), None) if among else None
        if helped is None:
            choices.append(choice)
            continue
        name, part, option = helped
        says = f"{option} works with another transformer: {part.name} (--transformer {name})"
        choices.append(replace(choice, why=(*choice.why, says)))
        what = f"another isolating transformer, such as {part.name}"
        found.append(Settling("transformer", what, (option,), choice.box))
    if not found:
        return advice
    would_change = (*advice.would_change, *found)
    return replace(advice, choices=tuple(choices), would_change=would_change)


def _through_transformer(advice: Advice, choice: Choice) -> frozenset[tuple[str, str]]:
    """Return the ways into a box through a transformer, where nothing is used for it.

    None of a box that is left out for the others' sake, and none that is ruled out.
    """
    mine = [o for o in advice.options if o.box == choice.box]
    if choice.option is not None or any(o.verdict == "works" for o in mine):
        return frozenset()
    ways = {(o.socket, o.option.id) for o in mine if o.option.pin_3 == "transformer"}
    return frozenset(ways - {(o.socket, o.option.id) for o in mine if o.verdict == "never"})


def _helping(
    destination: Destination, choice: Choice, among: frozenset[tuple[str, str]], ask: Ask
) -> Iterator[tuple[str, TwoPort, str]]:
    """Yield each transformer with which something is used for the box: name, data, option."""
    for name, part in sorted(_parts(), key=lambda held: _order(held[1])):
        if replace(part, name="") == replace(destination.transformer, name=""):
            continue
        again = ask(replace(destination, transformer=part), among)
        option = next((c.option for c in again.choices if c.box == choice.box), None)
        if option is not None:
            yield name, part, option


def _parts() -> Iterator[tuple[str, TwoPort]]:
    return ((name, read_transformer(path)) for name, path in library().items())


def _order(part: TwoPort) -> tuple[bool, bool, float]:
    """Rank a transformer: one to one, no smaller than an ordinary one, and of those the smallest.

    What the core takes at 20 Hz stands for its size.
    """
    small = part.volts_at_20_hz < ISOLATING_TRANSFORMER.volts_at_20_hz
    return part.ratio != 1.0, small, part.volts_at_20_hz
