"""The card a calibration or check runs on: the one chosen on this machine, or the practice one."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass

from probe.bench.calibration.live import LivePlayer
from probe.bench.calibration.practice import PracticeCard
from probe.bench.stream.card import Card, StreamFormat
from probe.bench.stream.recorder import Recorder
from probe.errors import BadInput


@dataclass(frozen=True)
class Opened:
    """A running bench: its player and the interface's name; the practice card where it is one."""

    player: LivePlayer
    interface: str
    practice: PracticeCard | None


@contextmanager
def opened(*, practice: bool, rate: int | None = None) -> Iterator[Opened]:
    """Open the bench's stream for as long as the context lasts.

    Raises
    ------
    BadInput
        No card was chosen on this machine, it has one input or output only, or it is busy.
    """
    card, wanted = (PracticeCard(), StreamFormat(48000.0, 2, 2)) if practice else _chosen(rate)
    with Recorder(card, wanted) as recorder:
        yield Opened(
            LivePlayer(recorder), card.name, card if isinstance(card, PracticeCard) else None
        )


def _chosen(rate: int | None) -> tuple[Card, StreamFormat]:
    from probe.bench.cards.devices import chosen
    from probe.bench.cards.portaudio import find_devices

    choice = chosen(find_devices())
    if choice is None:
        raise BadInput(
            "no sound card was chosen on this machine; probe devices lists them and --choose "
            "keeps one; --practice needs none"
        )
    inputs, outputs = len(choice.input_channels), len(choice.output_channels)
    if inputs < 2 or outputs < 2:
        raise BadInput(
            f"{choice.choice.name}: {inputs} inputs and {outputs} outputs are chosen; a "
            "calibration needs two of each"
        )
    return choice.card(), StreamFormat(float(rate or choice.rate), inputs, outputs)
