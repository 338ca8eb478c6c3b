"""What the outputs play: loops under gains that never jump, sample by sample.

One `Player` belongs to one stream. `fill` runs on the card's thread: it allocates nothing that
grows, waits for nothing, and takes orders from a queue at the start of each block. Orders are
given from any other thread.

A loop keeps step with the stream: whenever it is begun, its first sample falls on a multiple of its
length. So a tone has one phase in all takes of a stream, however often it was stopped between them.

A gain moves along a `Track`. A raised cosine of N samples has no step larger than pi/(2 N); one
that runs in decibels, none larger than its rate times its value.
"""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from probe.bench.stream.card import Block
from probe.bench.stream.limits import FADE_S, RAMP_DB_PER_S, RAMP_FROM, STOP_FADE_S

Floats = NDArray[np.float64]

LONGEST_BLOCK = 8192
"""Frames; longer blocks are filled in several goes."""

_SILENT = 1e-9

_COUNT = np.arange(1, LONGEST_BLOCK + 1, dtype=np.float64)


@dataclass(frozen=True)
class Leg:
    """One stretch of a track: to ``target`` in ``frames``, as a raised cosine or in decibels."""

    target: float
    frames: int
    decibels: bool = False


class Track:
    """A gain on its way: where it is, and the stretches still before it."""

    def __init__(self, value: float) -> None:
        self.value = value
        self._legs: deque[Leg] = deque()
        self._from = value
        self._done = 0

    @property
    def arrived(self) -> bool:
        """Whether it stands still."""
        return not self._legs

    def go(self, legs: Sequence[Leg]) -> None:
        """Leave for other targets, from where it is now."""
        self._legs = deque(legs)
        self._start()

    def fill(self, out: Floats) -> None:
        """Write the next ``out.size`` gains."""
        place = 0
        while place < out.size:
            if not self._legs:
                out[place:] = self.value
                return
            leg = self._legs[0]
            count = min(out.size - place, leg.frames - self._done)
            if count > 0:
                part = out[place : place + count]
                self._shape(leg, part)
                self.value = float(part[-1])
                self._done += count
                place += count
            if self._done >= leg.frames:
                self.value = leg.target
                self._legs.popleft()
                self._start()

    def _start(self) -> None:
        self._from, self._done = self.value, 0

    def _shape(self, leg: Leg, out: Floats) -> None:
        np.add(_COUNT[: out.size], self._done, out=out)
        out /= leg.frames
        if leg.decibels and self._from > 0.0 and leg.target > 0.0:
            out *= math.log(leg.target / self._from)
            np.exp(out, out=out)
            out *= self._from
        else:
            out *= math.pi
            np.cos(out, out=out)
            out -= 1.0
            out *= 0.5 * (self._from - leg.target)
            out += self._from


@dataclass(eq=False)
class Voice:
    """What one output plays: samples as shares of full scale at gain 1, and the limit it keeps."""

    output: int
    samples: Floats
    loop: bool
    limit: float
    peak: float
    position: int = 0

    def read(self, places: NDArray[np.intp], out: Floats) -> None:
        """Write the next samples; ``places`` is scratch of the same length holding 0, 1, 2..."""
        count = out.size
        if self.loop:
            np.take(self.samples, places + self.position, mode="wrap", out=out)
            self.position = (self.position + count) % self.samples.size
            return
        left = self.samples[self.position : self.position + count]
        out[: left.size] = left
        out[left.size :] = 0.0
        self.position += left.size

    @property
    def ended(self) -> bool:
        """Whether it played once, and did."""
        return not self.loop and self.position >= self.samples.size


@dataclass(frozen=True, eq=False)
class _Start:
    voices: tuple[Voice, ...]
    gain: float


@dataclass(frozen=True)
class _Move:
    gain: float
    outputs: tuple[int, ...] | None


@dataclass(frozen=True)
class _Climb:
    gains: tuple[float, ...]
    frames: int


@dataclass(frozen=True)
class _Fade:
    seconds: float


class Player:
    """Fills blocks for all outputs of one stream."""

    def __init__(self, rate: float, outputs: int) -> None:
        self.rate = rate
        self.outputs = outputs
        self.frame = 0
        """Frames filled so far."""
        self.settled_at = 0
        """Frame from which on all gains stand still."""
        self.silent = True
        """Whether the last block was silence, with nothing on its way."""
        self.gain = 0.0
        """Largest gain now in force, of any output, over the stop's fade."""
        self.gains = np.zeros(outputs)
        """The gain of each output; 0 where nothing plays."""
        self.limits = np.zeros(outputs)
        """Largest sample each output may give now."""
        self.begun = self.faded = self.moved = 0
        """How many starts, fades and moves were carried out."""
        self._orders: deque[_Start | _Move | _Climb | _Fade] = deque()
        self._voices: tuple[Voice, ...] = ()
        self._tracks = [Track(0.0) for _ in range(outputs)]
        self._master = Track(1.0)
        self._places = np.arange(LONGEST_BLOCK, dtype=np.intp)
        self._gains, self._wave, self._all = (np.zeros(LONGEST_BLOCK) for _ in range(3))

    @property
    def wanted(self) -> bool:
        """Whether anything sounds, or is about to."""
        return not self.silent or bool(self._orders)

    def start(self, voices: Sequence[Voice], gain: float) -> None:
        """Order: from silence, begin these and bring them up to ``gain``."""
        self._orders.append(_Start(tuple(voices), gain))

    def move(self, gain: float, outputs: Sequence[int] | None = None) -> None:
        """Order: bring the gain (of these outputs; None: all) to ``gain``."""
        self._orders.append(_Move(gain, None if outputs is None else tuple(outputs)))

    def climb(self, gains: Sequence[float], frames: int) -> None:
        """Order: bring all to each of these gains in turn, ``frames`` for each, fade included."""
        self._orders.append(_Climb(tuple(gains), frames))

    def fade(self, seconds: float = FADE_S) -> None:
        """Order: fade all out, and forget what was played."""
        self._orders.append(_Fade(seconds))

    def emergency(self) -> None:
        """Fade out beginning with the very next sample; only on the card's own thread."""
        self._orders.clear()
        self._obey_fade(_Fade(STOP_FADE_S))

    def fill(self, play: Block) -> None:
        """Write all of ``play``, shape (frames, outputs)."""
        if self._voices and self._master.arrived and self._master.value <= 0.0:
            self._voices = ()  # faded out in an earlier block
            self.limits[:] = 0.0
        while self._orders:
            self._obey(self._orders.popleft())
        for first in range(0, play.shape[0], LONGEST_BLOCK):
            self._fill(play[first : first + LONGEST_BLOCK])

    def _fill(self, play: Block) -> None:
        count = play.shape[0]
        play[:] = 0.0
        master, gains, wave = self._all[:count], self._gains[:count], self._wave[:count]
        self._master.fill(master)
        for voice in self._voices:
            self._tracks[voice.output].fill(gains)
            voice.read(self._places[:count], wave)
            wave *= gains
            wave *= master
            play[:, voice.output] = wave
        self._note(self.frame + count)
        self.frame += count  # last: who waits for a frame finds everything noted

    def _note(self, end: int) -> None:
        moving = not self._master.arrived or any(
            not self._tracks[v.output].arrived for v in self._voices
        )
        if moving:
            self.settled_at = end
        self.gains[:] = 0.0
        for voice in self._voices:
            self.gains[voice.output] = self._master.value * self._tracks[voice.output].value
        self.gain = float(np.max(self.gains))
        ended = all(v.ended for v in self._voices)
        self.silent = not moving and (ended or self.gain < _SILENT)

    def _obey(self, order: _Start | _Move | _Climb | _Fade) -> None:
        match order:
            case _Start():
                self._obey_start(order)
            case _Move():
                for voice in self._voices:
                    if order.outputs is None or voice.output in order.outputs:
                        self._lead(voice, order.gain)
                self.settled_at = self.frame + 1
                self.moved += 1
            case _Climb():
                fade = min(round(FADE_S * self.rate), order.frames)
                legs = [(Leg(g, fade), Leg(g, order.frames - fade)) for g in order.gains]
                for voice in self._voices:
                    self._tracks[voice.output].go([leg for pair in legs for leg in pair])
                self.settled_at = self.frame + 1
                self.moved += 1
            case _Fade():
                self._obey_fade(order)

    def _obey_start(self, order: _Start) -> None:
        self._voices = order.voices
        self._master = Track(1.0)
        self.limits[:] = 0.0
        for voice in order.voices:
            if voice.loop:
                voice.position = self.frame % voice.samples.size
            self.limits[voice.output] = voice.limit
            self._tracks[voice.output] = Track(0.0)
            self._lead(voice, order.gain)
        self.settled_at = self.frame + 1  # not settled, before anybody is told that it began
        self.begun += 1

    def _obey_fade(self, order: _Fade) -> None:
        self._master.go([Leg(0.0, max(1, round(order.seconds * self.rate)))])
        self.faded += 1

    def _lead(self, voice: Voice, gain: float) -> None:
        """Send one output's gain to its target: raised cosine at the quiet end, decibels above."""
        track = self._tracks[voice.output]
        fade = max(1, round(FADE_S * self.rate))
        if not voice.loop:
            track.go([Leg(gain, 1)] if track.value == 0.0 else [Leg(gain, fade)])
            return
        peak = voice.peak or 1.0
        low = min(RAMP_FROM / peak, gain) if gain > 0.0 else 0.0
        legs = []
        if track.value < low:
            legs.append(Leg(low, fade))
        if gain > 0.0:
            legs.append(Leg(gain, self._ramp_frames(max(track.value, low), gain, fade), True))
        else:
            legs.append(Leg(0.0, fade))
        track.go(legs)

    def _ramp_frames(self, start: float, target: float, least: int) -> int:
        decibels = abs(20.0 * math.log10(target / start))
        return max(least, round(decibels / RAMP_DB_PER_S * self.rate))
