"""The list of sound cards, as text and as a document."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from typing import Any

from probe.bench.cards.devices import CardChoice, Chosen
from probe.formats.text import printable

WIDTH = 80


def text(cards: Sequence[CardChoice], chosen: Chosen | None) -> str:
    """Return the list for people, at most 80 columns, the fittest first."""
    if not cards:
        return (
            "no sound card with both inputs and outputs was found; connect one, or work from "
            "files:\nthe rest of the program needs none"
        )
    lines = []
    for number, card in enumerate(cards, 1):
        lines += _card(number, card, chosen)
    if chosen is None:
        lines += ["", "None is chosen yet on this machine: probe devices --choose 1"]
    return "\n".join(lines)


def document(cards: Sequence[CardChoice], chosen: Chosen | None) -> dict[str, Any]:
    """Return the list for programs."""
    return {
        "format": "probe-devices/1",
        "cards": [_entry(number, card, chosen) for number, card in enumerate(cards, 1)],
        "chosen": None if chosen is None else chosen_entry(chosen),
    }


def chosen_entry(chosen: Chosen) -> dict[str, Any]:
    """Return the choice for programs; channels from 1."""
    return {
        "name": chosen.choice.name,
        "api": chosen.choice.inputs.api,
        "rate_hz": chosen.rate,
        "input_channels": [channel + 1 for channel in chosen.input_channels],
        "output_channels": [channel + 1 for channel in chosen.output_channels],
        "latency": chosen.latency,
    }


def chosen_text(chosen: Chosen) -> str:
    """Return the choice for people, one line."""
    inputs, outputs = (
        " and ".join(str(channel + 1) for channel in channels)
        for channels in (chosen.input_channels, chosen.output_channels)
    )
    return printable(
        f"chosen on this machine: {chosen.choice.name}, {chosen.choice.inputs.api}, at "
        f"{chosen.rate / 1000:g} kHz, inputs {inputs}, outputs {outputs}"
    )


def _card(number: int, card: CardChoice, chosen: Chosen | None) -> list[str]:
    mark = "  (chosen)" if chosen is not None and chosen.choice == card else ""
    rates = ", ".join(f"{rate / 1000:g}" for rate in card.rates)
    lines = [
        printable(f"{number:2}  {card.name}{mark}"),
        printable(
            f"    {card.inputs.api}; inputs {card.inputs.inputs}, outputs {card.outputs.outputs}; "
            f"{rates or 'no rate'} kHz"
        ),
    ]
    for lack in card.lacks:
        word = "cannot be used: " if lack.grave else "mind: "
        lines += textwrap.wrap(
            word + lack.words, WIDTH, initial_indent="    ", subsequent_indent="      "
        )
    return lines


def _entry(number: int, card: CardChoice, chosen: Chosen | None) -> dict[str, Any]:
    return {
        "number": number,
        "api": card.inputs.api,
        "input": card.inputs.name,
        "output": card.outputs.name,
        "inputs": card.inputs.inputs,
        "outputs": card.outputs.outputs,
        "rates_hz": list(card.rates),
        "usable": card.usable,
        "chosen": chosen is not None and chosen.choice == card,
        "lacks": [
            {"code": lack.code, "grave": lack.grave, "message": lack.words} for lack in card.lacks
        ],
    }
