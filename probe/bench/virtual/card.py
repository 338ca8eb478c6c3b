"""The virtual sound card: a simulated device behind it hears every block that is played.

Somebody has to plug: ``plug`` says what hangs on the device from now on (the guided run does), and
the mishaps decide what really does.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from probe.bench.filters.convolve import Convolver, parts_of
from probe.bench.filters.response import taps_of
from probe.bench.planned.steps import Plugged
from probe.bench.stream.card import Block, BlockFlags, Exchange, StreamFormat
from probe.bench.virtual.clock import ForeignClock
from probe.bench.virtual.mishaps import Mishap
from probe.bench.virtual.place import Place
from probe.bench.virtual.player import VirtualPlayer
from probe.errors import BadInput
from probe.session.model import Channel, Side

BLOCK_LIVE, BLOCK_FAST = 1024, 4096
"""Frames of one exchange in real time, and faster."""

ACTIVE = 1e-3
"""A block with a peak above this share of full scale is a tone, as a mute relay hears it."""

STRIKES_AFTER_S = 3.0
"""Seconds of unbroken tone after which what happens during a take happens: after its ramp, which
lasts 1.5 s, and longer than anything is played while a level is found."""

BUFFERED_FRAMES, LOST_FRAMES = 2048, 300
"""Frames that wait in the card before they are handed over, and how many of them get lost."""

HUM_VOLTS = ((1, 60e-3), (3, 20e-3), (5, 8e-3))
"""Order of the mains frequency and V rms of the mishap ``hum``."""

LEFT_UP = "gain-left-up"
"""The mishap of hands that do not turn the gain back the first time."""

OF_HANDS = ("exchanged-leads", "lead-out", "forgotten-switch", "left-for-right")
"""What hands do wrong: none of it where nothing of the kind is to be plugged."""

MOVED_DB, CREPT_DB, GAIN_DB, FOREIGN_PPM = -3.0, -0.3, 20.0, 80.0

WEAK_SHARE = 0.05
"""Of full scale, where a stage that cannot drive a load begins to limit: 10 dB below the level that
takes are made at, 10 dB above that of its first trial."""


class VirtualCard:
    """A `Card` whose outputs 1 and 2 drive the device and the injector.

    Parameters
    ----------
    place
        Device, recorder and resistors.
    fast
        As fast as it can; its exchange then waits while nobody wants to hear anything.
    mishaps
        What goes wrong, each once.
    """

    def __init__(self, place: Place, *, fast: bool = False, mishaps: Sequence[Mishap] = ()) -> None:
        self.place = place
        self.fast = fast
        self.mishaps = list(mishaps)
        self.struck: list[Mishap] = []
        self.player = VirtualPlayer(float(np.random.default_rng([place.seed, 5]).uniform(-90, 90)))
        self._lock = threading.Lock()
        self._plugged: Plugged | None = None
        self._plugging = 0
        self._takes: set[str] = set()
        self._now: frozenset[str] = frozenset()
        self._volume = 1.0
        self._foreign = False
        self._turned = 1.0
        self._taps: NDArray[np.float64] | None = None
        self._gain = 1.0
        self._changed = False
        self._rate = 48000.0
        self._inputs = 2

    @property
    def name(self) -> str:
        """Its name."""
        return "virtual interface"

    @property
    def patient(self) -> bool:
        """Whether blocks may be kept waiting: time is not real."""
        return self.fast

    @property
    def goes_wrong(self) -> frozenset[str]:
        """Names of the mishaps that are at work with what is plugged now."""
        return self._now

    def left_over(self) -> tuple[str, ...]:
        """Return a line for each mishap that never came up."""
        why = {True: "nothing of it is in that take", False: "no such take was made"}
        return tuple(
            f"The mishap {one.name}@{one.take} never came up: {why[one.take in self._takes]}."
            for one in self.mishaps
        )

    def plug(self, plugged: Plugged, take: str = "") -> None:
        """Plug this for a take, or what a mishap makes of it.

        Raises
        ------
        BadInput
            The device does not have a terminal that is to be connected.
        """
        now = [m for m in self.mishaps if m.take == take and self._acts(m.name, plugged)]
        self._takes.add(take)
        for one in now:
            self.mishaps.remove(one)
        self.struck += now
        names = frozenset(m.name for m in now)
        self.player.faults |= {name for name in names if name.startswith("player-")}
        really = self._really(plugged, names)
        with self._lock:
            self._plugging += 1
            self._now = names
            moved = MOVED_DB * ("moved-volume" in names) + CREPT_DB * ("crept-volume" in names)
            self._volume = 10.0 ** (moved / 20.0)
            self._foreign = self._foreign or "foreign-clock" in names
            self._plugged = really
            self._taps = self._taps_now(really)
            self._changed = True

    def turn(self, gain_db: float) -> None:
        """Turn the input gain up by this, or back (0), unless a mishap forgets that once."""
        left_up = [m for m in self.mishaps if m.name == LEFT_UP]
        with self._lock:
            if gain_db == 0.0 and left_up:
                self.mishaps.remove(left_up[0])
                return
            self._turned = 10.0 ** (gain_db / 20.0)
            if self._plugged is not None:
                self._taps = self._taps_now(self._plugged)
                self._changed = True

    @property
    def turned(self) -> float:
        """Ratio by which the input gain is turned up."""
        return self._turned

    def _acts(self, name: str, plugged: Plugged) -> bool:
        """Whether a mishap changes anything with this plugged."""
        if name.startswith("player-"):
            return plugged.plays_files
        if name == "exchanged-leads" and (plugged.loop_back or plugged.fixture):
            return False  # both inputs are wired alike
        if name in OF_HANDS:
            return self._really(plugged, frozenset((name,))) != plugged
        return name != LEFT_UP

    def _really(self, plugged: Plugged, names: frozenset[str]) -> Plugged:
        """Return what ends up being plugged."""
        channels = list(plugged.channels)
        if "exchanged-leads" in names and {"hot", "cold"} <= set(channels):
            a, b = channels.index("hot"), channels.index("cold")
            channels[a], channels[b] = channels[b], channels[a]
        if "lead-out" in names and "cold" in channels:
            channels[channels.index("cold")] = "unused"
        if "forgotten-switch" in names:
            plugged = replace(plugged, loads=(), injector=None)
        if "left-for-right" in names:
            plugged = replace(plugged, side=_other(plugged.side, self.place.sides))
        return replace(plugged, channels=tuple(channels))

    def _taps_now(self, really: Plugged) -> NDArray[np.float64]:
        silent: tuple[Channel, ...] = ("unused",)
        channels = (*really.channels, *silent * self._inputs)[: self._inputs]
        really = replace(really, channels=channels)
        taps = taps_of(lambda hz: self.place.heard(really, hz), self._rate)
        level = self.place.drifted(self._inputs, channels, self._plugging)
        gain = 10.0 ** (GAIN_DB / 20.0) if "clipping" in self._now else 1.0
        gain *= self._turned
        self._gain = gain
        taps *= (level * gain)[None, :, None]
        device = np.array([c not in ("reference", "unused") for c in channels])
        taps[:, device, 0] *= self._volume
        return taps

    def open(
        self, wanted: StreamFormat, exchange: Exchange, gone: Callable[[str], None]
    ) -> VirtualStream:
        """Open and start a stream; see `Card`."""
        inputs, outputs = len(self.place.stage.bench.inputs), 2
        if wanted.inputs > inputs or wanted.outputs > outputs:
            raise BadInput(
                f"{self.name}: has {inputs} inputs and {outputs} outputs; "
                f"{wanted.inputs} and {wanted.outputs} were asked for"
            )
        block = BLOCK_FAST if self.fast else BLOCK_LIVE
        self._rate, self._inputs = wanted.rate, wanted.inputs
        with self._lock:
            if self._plugged is not None:
                self._taps = self._taps_now(self._plugged)
                self._changed = True
        return VirtualStream(self, replace(wanted, block=block), exchange, gone)

    def changes(self) -> tuple[NDArray[np.float64] | None, frozenset[str], bool] | None:
        """Return new filter taps, mishaps and whether the clock is foreign, or None if unchanged.

        For the stream, once a block.
        """
        with self._lock:
            if not self._changed:
                return None
            self._changed = False
            return self._taps, self._now, self._foreign

    def bent(self, heard: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return what the device itself adds to what is heard of it, shares of full scale."""
        plugged = self._plugged
        if self.place.straight or plugged is None or plugged.fixture or plugged.loop_back:
            return heard
        return self.place.bent(plugged.channels, heard, self._gain)

    def wait(self, seconds: float) -> None:
        """Wait out a block, where time is real."""
        if not self.fast:
            time.sleep(max(seconds, 0.0))


class VirtualStream:
    """A running stream of the virtual card."""

    def __init__(
        self,
        card: VirtualCard,
        form: StreamFormat,
        exchange: Exchange,
        gone: Callable[[str], None],
    ) -> None:
        self._card, self._format, self._exchange, self._gone = card, form, exchange, gone
        self._stop = threading.Event()
        self._ended = False
        self._place = card.place
        self._frame = 0
        self._active = 0
        self._names: frozenset[str] = frozenset()
        self._pending: set[str] = set()
        self._lost: frozenset[str] = frozenset()
        self._convolver: Convolver | None = None
        self._buffer: Block = np.zeros((BUFFERED_FRAMES, form.inputs), dtype=np.float32)
        self._clock: ForeignClock | None = None
        self._rng = np.random.default_rng([card.place.seed, 77])
        self._thread = threading.Thread(target=self._run, name="virtual card", daemon=True)
        self._thread.start()

    @property
    def format(self) -> StreamFormat:
        """What it runs at."""
        return self._format

    @property
    def alive(self) -> bool:
        """Whether blocks are still exchanged."""
        return not self._stop.is_set() and not self._ended

    def close(self) -> None:
        """Stop; may be called twice."""
        self._stop.set()
        if threading.current_thread() is not self._thread:
            self._thread.join(timeout=5.0)

    def _run(self) -> None:
        form = self._format
        play: Block = np.zeros((form.block, form.outputs), dtype=np.float32)
        heard: Block = np.zeros((form.block, form.inputs), dtype=np.float32)
        flags = BlockFlags()
        due = time.monotonic()
        while not self._stop.is_set():
            if "unplugged-interface" in self._pending and self._struck_now():
                self._ended = True
                self._gone(f"{self._card.name}: is not there any more; was it unplugged?")
                return
            self._exchange(heard, play, flags)
            flags = BlockFlags(input_lost=self._lose())
            heard = self._buffered(self._hear(play))
            due += form.block / form.rate
            now = time.monotonic()
            if due < now - 0.5:
                due = now
            self._card.wait(due - now)

    def _struck_now(self) -> bool:
        return self._active > STRIKES_AFTER_S * self._format.rate

    def _lose(self) -> bool:
        """Lose samples where that is the mishap; return whether the card says so."""
        for name in ("dropped-blocks", "lost-samples"):
            if name in self._pending and self._struck_now():
                self._pending.discard(name)
                self._buffer = self._buffer[LOST_FRAMES:]
                return name == "dropped-blocks"
        return False

    def _buffered(self, heard: Block) -> Block:
        """Return the oldest frames waiting in the card, as many as were heard."""
        waiting = np.concatenate([self._buffer, heard])
        self._buffer = waiting[len(heard) :]
        return waiting[: len(heard)]

    def _hear(self, play: Block) -> Block:
        changed = self._card.changes()
        if changed is not None:
            self._replug(*changed)
        sent = play.astype(np.float64)
        sent = sent[:, :2] if sent.shape[1] >= 2 else np.pad(sent, ((0, 0), (0, 1)))
        sent = self._place.sent(sent)
        if self._card.player.playing:
            sent[:, 0] = self._card.player.step(len(sent), self._format.rate)
        loud = bool(np.max(np.abs(sent)) > ACTIVE)
        self._active = self._active + len(sent) if loud else 0
        if self._struck_now():
            self._lost |= self._names & {"mute-relay", "unplugged-device"}
        if "mute-relay" in self._lost:
            sent[:, 0] = 0.0
        if self._clock is not None:
            sent = self._clock.step(sent)
        if self._convolver is None:
            heard = np.zeros((len(sent), self._format.inputs))
        else:
            heard = self._card.bent(self._convolver.step(sent))
        if "weak-stage" in self._names:
            heard = WEAK_SHARE * np.tanh(heard / WEAK_SHARE)
        if "unplugged-device" in self._lost:
            heard[:] = 0.0
        heard = self._place.converted(heard + self._noise(len(sent)))
        self._frame += len(sent)
        return np.clip(heard, -1.0, 1.0).astype(np.float32)

    def _replug(
        self, taps: NDArray[np.float64] | None, names: frozenset[str], foreign: bool
    ) -> None:
        form = self._format
        if taps is not None:
            parts = parts_of(taps, form.block)
            if self._convolver is None:
                self._convolver = Convolver(parts, form.block)
            else:
                self._convolver.parts = parts
        self._names, self._pending, self._active = names, set(names), 0
        self._lost = frozenset()
        if foreign and self._clock is None:
            self._clock = ForeignClock(FOREIGN_PPM * 1e-6, form.rate, 2)

    def _noise(self, frames: int) -> NDArray[np.float64]:
        """Return noise of the inputs, and mains hum where that is the mishap."""
        inputs, rate = self._format.inputs, self._format.rate
        sigma = self._place.noise(inputs) * np.sqrt(rate / 2.0) * self._card.turned
        noise = self._rng.standard_normal((frames, inputs)) * sigma
        if "hum" in self._names:
            t = (self._frame + np.arange(frames)) / rate
            mains = self._place.stage.bench.mains_hz * 1.0003
            scale = [i.volts_full_scale for i in self._place.stage.bench.inputs[:inputs]]
            for order, volts in HUM_VOLTS:
                line = np.sqrt(2.0) * volts * np.cos(2 * np.pi * mains * order * t + order)
                noise += line[:, None] / np.array(scale)
        return np.asarray(noise)


def _other(side: Side, sides: tuple[Side, ...]) -> Side:
    return next((s for s in sides if s != side), side)
