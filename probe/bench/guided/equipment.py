"""What a guided run works with: card, figures, kit, and whose hands plug."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

from probe.bench.calibration.figures import BenchFigures
from probe.bench.guided.playing import Hands
from probe.bench.planned.kit import Kit
from probe.bench.planned.steps import Plugged
from probe.bench.stream.card import Card
from probe.bench.stream.recorder import Recorder
from probe.session.model import Bench, Device, Side


@dataclass
class Equipment:
    """What the run works with.

    Attributes
    ----------
    card
        The sound card.
    bench
        Its figures.
    recorder
        Makes a `Recorder` for this card; the number is that of the first timebase.
    kit
        None: it is asked for.
    device
        What answers begin with.
    sides
        The sides the device is known to have.
    all_sides
        The only sides there are (a simulated device); None: that is not known.
    plug
        Told what is to be plugged for which take (the virtual bench's hands).
    turn
        Told how far the input gain is turned up, dB (the same hands).
    hands
        Told which file the device is to play, and by how much to turn its volume.
    head
        Comment for the top of session.toml.
    figures
        The calibration, for the check before a session; None: it is not offered.
    options
        What must follow ``probe measure FOLDER`` to go on with the same.
    tone_volts
        Level that takes of one tone are made at, V rms open circuit, by output ("differential",
        "single_ended"); without one: that which gives the peak of all tones together.
    maximum
        The outputs are to be driven until they clip, without being asked.
    left_over
        What is to be said at the end (the virtual bench: mishaps whose take never came up).
    """

    card: Card
    bench: Bench
    recorder: Callable[[int], Recorder]
    kit: Kit | None
    device: Device
    sides: tuple[Side, ...] = ("left",)
    plug: Callable[[Plugged, str], None] = lambda _plugged, _take: None
    turn: Callable[[float], None] = lambda _db: None
    hands: Hands = lambda _word, _file, _db: None
    head: tuple[str, ...] = ()
    figures: BenchFigures | None = None
    left_over: Callable[[], tuple[str, ...]] = tuple
    options: str = ""
    tone_volts: Mapping[str, float] = field(default_factory=dict)
    maximum: bool = False
    all_sides: tuple[Side, ...] | None = None
    seconds: float = 3.0
    inputs: int = 2
