"""Making one take: finding the level, trying a load 20 dB down, recording, measuring."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from probe.bench.guided.level import next_volts
from probe.bench.guided.playing import FilePlayer
from probe.bench.judged.judgement import Heard, Judgement
from probe.bench.judged.rising import distortion_of
from probe.bench.judged.trial import trial_of, trial_refuses
from probe.bench.planned.steps import LOADING, OUTPUT_U95, SILENT, Played, Step, take_table
from probe.bench.stored.storage import SessionFolder
from probe.bench.stream.recorded import Progress, Recorded
from probe.bench.stream.recorder import Recorder
from probe.bench.stream.sound import Part, Purpose, Sound
from probe.bench.stream.stop import Stop
from probe.bench.stream.wav import read
from probe.bench.tones.sets import DEVICE, INJECTED, PERIOD_S, TONE, ToneSet
from probe.bench.tones.waves import Tones
from probe.phasors import TakePhasors
from probe.session.model import Bench, Injection, Take

FIRST_VOLTS = 0.5e-3
"""The first tones, V rms each: with full scale at 4 V peak, about -60 dB FS in all."""

MOST_DRIVE_VOLTS = 0.25
"""Nor is the device driven harder than this per tone, as a careful bench would."""

LOOP_SHARE = 0.5
"""Peak that an input may hear of the interface's own output, over its full scale."""

LOUDER = 1.02
"""By which that tone is louder than those it stands beside: two inputs of 10 kohm or more take so
much from an output of 100 ohm."""

INJECTED_VOLTS = 0.12
"""E.m.f. per injected tone, V rms: eight of them stay below 1.4 V peak."""

INJECTED_VOLTS_OFF = 0.004
"""The same into a device that is switched off: below 50 mV peak."""

LOWER = 0.5
"""By which a take is made lower where the output clips in it: 6 dB, a few tries to the bottom."""

LISTEN_S, TRIAL_S, IDLE_S = 0.4, 1.0, 10.0

TRIAL_DB = -20.0


@dataclass(frozen=True)
class Made:
    """What became of a step; it stands in the session only when it is kept there.

    Attributes
    ----------
    recorded
        None where nothing was recorded.
    heard
        What it says, for a judgement; None where it carries no tones.
    refused
        Why the load must not be used.
    played
        What went out.
    judged
        What speaks against it, where that was found while it was recorded.
    """

    step: Step
    recorded: Recorded | None
    heard: Heard | None = None
    refused: str | None = None
    played: Played = field(default_factory=Played)
    judged: tuple[Judgement, ...] = ()


@dataclass
class Taker:
    """Makes takes with one recorder.

    Attributes
    ----------
    volts
        Drive per tone found for each side and volume, V rms.
    tone_drive
        Drive of takes of one tone whose level was wanted, V rms, by name.
    lowered
        By what the drive of takes was taken back because an output clipped: by name, or by side,
        volume and "single-ended" for all takes of that output.
    beside
        What is beside the tones while nothing loads them, over them, by side, volume and channel.
    """

    recorder: Recorder
    bench: Bench
    store: SessionFolder
    seconds: float
    volts: dict[tuple[str, str], float]
    tell: Callable[[float, float, str], None]
    output_u95: float = OUTPUT_U95
    player: FilePlayer | None = None
    beside: dict[tuple[str, str, str], float] = field(default_factory=dict)
    tone_drive: dict[str, float] = field(default_factory=dict)
    lowered: dict[tuple[str, ...], float] = field(default_factory=dict)

    # -- the level

    def find_level(self, step: Step) -> float:
        """Bring the tones up until the loudest leg is at the target; return V rms per tone.

        Where the other side is there at this volume, its drive serves, if it can.
        """
        key = self._key(step)
        volts, most, other = self._first(), self._most(), self._of_other_side(key)
        while (peak := self._peak_at(step, volts)) is not None:
            following = next_volts(volts, peak, most, other)
            if following is None:
                break
            volts = following
        self.recorder.silence()
        self.volts[key] = float(f"{volts:.3g}")
        return self.volts[key]

    def _of_other_side(self, key: tuple[str, str]) -> float | None:
        at = (v for (side, volume), v in self.volts.items() if volume == key[1] and side != key[0])
        return next(at, None)

    def _first(self) -> float:
        return min(FIRST_VOLTS, self._most())

    def _most(self) -> float:
        full = self.bench.outputs[0].volts_full_scale if self.bench.outputs else 1.0
        return min(MOST_DRIVE_VOLTS, 0.9 * full / peak_of(DEVICE))

    def _peak_at(self, step: Step, volts: float) -> float | None:
        """Return the peak of the loudest leg at a drive; None where the tone was stopped."""
        stop = self.recorder.play([self._drive(volts)])
        if stop is None:
            stop = self.recorder.wait(0.2)
        if stop is not None:
            return None
        self.tell(0.0, 1.0, f"listening at {1e3 * volts:.3g} mV a tone")
        heard = self.recorder.listen(LISTEN_S)
        legs = [p for p, c in zip(heard.peaks, step.plugged.channels, strict=False) if c in _LEGS]
        return max(legs, default=0.0)

    def _drive(self, volts: float, tones: ToneSet = DEVICE) -> Part:
        return Part(0, self._sound(tones, volts), Purpose.DRIVE)

    def _driven(self, step: Step) -> tuple[ToneSet, float]:
        """Return what drives the device in a take, and at how many V rms each.

        One tone has the peak that all tones together have: what neither device nor inputs have
        not carried before.
        """
        if step.signal == "multitone":
            volts = self.volts.get(self._key(step), self._first()) * self._lowered(step)
            return DEVICE, float(f"{volts:.6g}")
        own = self.lowered.get((step.name,), 1.0)
        volts = self.tone_drive.get(step.name) or self.tone_volts(step)
        return TONE, float(f"{volts * own:.6g}")

    def take_up(self, side: str, volume: str, driven: Mapping[str, float]) -> None:
        """Go on at the level of an earlier run: drives of its takes by word, V rms per tone.

        Those of the single-ended output stand together; the level is that of the open take.
        """
        legs = {word: volts for word, volts in driven.items() if word != "single-ended"}
        level = legs.get("open") or max(legs.values(), default=None)
        if level is None:
            return
        self.volts[side, volume] = level
        if "single-ended" in driven:
            self.lowered[side, volume, "single-ended"] = driven["single-ended"] / level

    def lower(self, step: Step) -> None:
        """Make a take 6 dB lower from now on, because an output clips in it.

        The tones of the single-ended output are lowered together, and those of the open take are
        the level itself, to which all others are made.
        """
        if step.take == "open":
            self.volts[self._key(step)] *= LOWER
            return
        alone = step.signal == "multitone" and "single-ended" in step.plugged.channels
        key = (*self._key(step), "single-ended") if alone else (step.name,)
        self.lowered[key] = self.lowered.get(key, 1.0) * LOWER

    def _lowered(self, step: Step) -> float:
        group = 1.0
        if "single-ended" in step.plugged.channels:
            group = self.lowered.get((*self._key(step), "single-ended"), 1.0)
        alone = step.signal == "multitone"
        return group * (self.lowered.get((step.name,), 1.0) if alone else 1.0)

    def tone_volts(self, step: Step) -> float:
        """Return V rms of one tone with the peak that all tones have that the output was given."""
        volts = self.volts.get(self._key(step), self._first()) * self._lowered(step)
        return float(f"{volts * peak_of(DEVICE) / peak_of(TONE):.6g}")

    def tone_of_one_volt(self) -> NDArray[np.float64]:
        """Return one loop of the tone at 1 V rms."""
        return wave_of(TONE, round(self.recorder.rate))

    def loop_volts(self, loudest: float) -> float:
        """Return V rms of the tone the interface gives itself: no less than the takes' own.

        Its harmonics grow with the level, so that a quieter one would say little of them.
        """
        least = min(i.volts_full_scale for i in self.bench.inputs[:2])
        full = self.bench.outputs[0].volts_full_scale if self.bench.outputs else 1.0
        most = min(LOOP_SHARE * least, 0.9 * full) / peak_of(TONE)
        return float(f"{min(max(LOUDER * loudest, FIRST_VOLTS), most):.6g}")

    def _sound(self, tones: ToneSet, volts: float) -> Sound:
        return Sound(wave_of(tones, round(self.recorder.rate)) * volts, "volts")

    # -- the take

    def make(
        self, step: Step, scales: tuple[float, ...] | None = None, loudest: float = 0.0
    ) -> Made:
        """Make a take: play, try where something is loaded, record, measure.

        ``scales``: what its channels read as full scale, V peak, where its gain is another;
        ``loudest``: V rms of the tones that a loop-back take stands beside.
        """
        parts, played = self._parts(step, loudest)
        if step.take in LOADING and step.plays:
            why = self._try_load(step, parts)
            if why is not None:
                self.recorder.silence()
                return Made(step, None, refused=why)
        seconds = IDLE_S if step.take in SILENT else self.seconds
        said = take_table(step, played, self.store.free_file(step.stem))
        if scales is not None:
            said["volts_full_scale"] = list(scales)
        path = self.store.begin(said)
        taken = self.recorder.take(path, parts, seconds, progress=self._telling("recording"))
        if not taken.complete or taken.path is None:
            return Made(step, taken)
        return Made(step, taken, self._measured(step, played, taken), played=played)

    def _parts(self, step: Step, loudest: float) -> tuple[list[Part], Played]:
        plugged = step.plugged
        parts: list[Part] = []
        played = Played()
        if step.plays:
            if self.player is None:
                tones, volts = self._driven(step)
                parts.append(self._drive(volts, tones))
                played = Played(tones.hz, tones.phases_deg, drive_volts=volts)
            else:
                played = self.player.files.played(step)
        if step.signal == "loop-back":
            volts = self.loop_volts(loudest)
            parts.append(Part(0, self._sound(TONE, volts), Purpose.CHECK))
            played = Played(TONE.hz, TONE.phases_deg, drive_volts=volts)
        if plugged.injector is not None:
            off = plugged.state == "off"
            volts = INJECTED_VOLTS_OFF if off else INJECTED_VOLTS
            purpose = Purpose.INJECT_OFF if off else Purpose.INJECT
            sound = self._sound(INJECTED, volts)
            parts.append(Part(1, sound, purpose, plugged.injector.through_ohm))
            played = replace(
                played,
                injected_hz=INJECTED.hz,
                injected_deg=INJECTED.phases_deg,
                injected_volts=volts,
                injected_u95_relative=self.output_u95,
            )
        return parts, played

    def _try_load(self, step: Step, parts: list[Part]) -> str | None:
        """Return why the load must not be used, after listening at -20 dB and at full level."""
        load = step.plugged.loads[0]
        ends = [e for e in (load.from_, load.to) if e in step.plugged.channels]
        inputs = [step.plugged.channels.index(e) for e in ends]
        stop = self._quieter(parts) or self.recorder.wait(0.3)
        if stop is not None:
            return stop.message
        quiet = self.recorder.listen(TRIAL_S, self._telling("trying the load, 20 dB down"))
        stop = self._louder() or self.recorder.wait(0.3)
        if stop is not None:
            return stop.message
        loud = self.recorder.listen(TRIAL_S, self._telling("trying the load"))
        if quiet.samples is None or loud.samples is None or not (quiet.complete and loud.complete):
            return None
        rise = 10.0 ** (-TRIAL_DB / 20.0)
        hz = self._as_heard(step, loud)
        for k in inputs:
            one = trial_of(quiet.samples[:, k], hz, self.recorder.rate)
            two = trial_of(loud.samples[:, k], hz, self.recorder.rate)
            before = self.beside.get((*self._key(step), step.plugged.channels[k]), 0.0)
            why = trial_refuses(one, two, rise, before)
            if why is not None:
                return why
        return None

    def _quieter(self, parts: list[Part]) -> Stop | None:
        if self.player is None:
            return self.recorder.play(parts, TRIAL_DB)
        self.player.play(self.player.files.quieter, self.recorder)
        return None

    def _louder(self) -> Stop | None:
        if self.player is None:
            return self.recorder.set_level(0.0)
        self.player.play(self.player.files.tones, self.recorder)
        return None

    def _as_heard(self, step: Step, loud: Recorded) -> tuple[float, ...]:
        """Return the tones as the recorder's clock sees them, which may not be the player's."""
        from probe.phasors import measure_take

        played = Played(tones_hz=DEVICE.hz, phases_deg=DEVICE.phases_deg)
        take = take_of(step, played, loud, self.bench)
        assert loud.samples is not None
        error = measure_take(take, self.bench.mains_hz, pieces=[loud.samples]).clock_error
        return tuple(f / (1.0 + error) for f in DEVICE.hz)

    def _telling(self, text: str) -> Callable[[Progress], None]:
        return lambda p: self.tell(p.seconds, p.of_seconds, text)

    # -- what it says

    def _measured(self, step: Step, played: Played, taken: Recorded) -> Heard | None:
        from probe.phasors import carries_tones, measure_take

        take = take_of(step, played, taken, self.bench)
        if not carries_tones(take):
            return None
        phasors = measure_take(take, self.bench.mains_hz)
        alone = not step.plugged.loads and step.plugged.injector is None
        if alone and step.signal == "multitone":
            self._note_beside(step, taken, phasors.clock_error)
        percent = {}
        if step.signal == "tone" and phasors.usable and taken.path is not None:
            percent = distortion_of(take, taken.path, phasors.clock_error)
        hum = self._hum(step, phasors)
        return Heard(step, phasors, taken.peaks, taken.rms, bool(taken.lost), hum, percent)

    def _hum(self, step: Step, phasors: TakePhasors) -> tuple[float, ...]:
        """Return the mains hum beside one tone, which nothing else in the take shows."""
        from probe.measures.tone_hum import hum_volts

        take = phasors.take
        if step.signal != "tone" or not phasors.usable:
            return ()
        tone = take.tones_hz[0] / (1.0 + phasors.clock_error)
        hz = tone * np.arange(1.0, 0.45 * take.sample_rate / tone)
        return hum_volts(take, self.bench.mains_hz, hz)

    def _note_beside(self, step: Step, taken: Recorded, clock_error: float) -> None:
        """Note what stands beside the tones while nothing loads them."""
        assert taken.path is not None
        frames = round(TRIAL_S * taken.sample_rate)
        samples = read(taken.path, len(step.plugged.channels), frames)
        hz = tuple(f / (1.0 + clock_error) for f in DEVICE.hz)
        for k, role in enumerate(step.plugged.channels):
            found = trial_of(samples[:, k], hz, taken.sample_rate)
            self.beside[(*self._key(step), role)] = found.share

    def _key(self, step: Step) -> tuple[str, str]:
        return step.plugged.side, step.plugged.volume


_LEGS = ("hot", "cold", "single-ended")

_WAVES: dict[tuple[ToneSet, int], NDArray[np.float64]] = {}


def wave_of(tones: ToneSet, rate: int) -> NDArray[np.float64]:
    """Return one loop of the tones, each of 1 V rms, shape (frames,)."""
    key = (tones, rate)
    if key not in _WAVES:
        phases = tuple(math.radians(p) for p in tones.phases_deg)
        frames = round(PERIOD_S * rate)
        made = Tones(rate, frames, tones.hz, phases, (math.sqrt(2.0),) * len(tones.hz))
        _WAVES[key] = made.piece(0, frames)
    return _WAVES[key]


def peak_of(tones: ToneSet) -> float:
    """Return the peak of the tones at 1 V rms each."""
    return float(np.max(np.abs(wave_of(tones, 48000))))


def take_of(step: Step, played: Played, taken: Recorded, bench: Bench) -> Take:
    """Return a recording as the session's reader will find it."""
    plugged = step.plugged
    injections: tuple[Injection, ...] = ()
    if plugged.injector is not None:
        one = plugged.injector
        injections = (
            Injection(
                into=one.into,
                through_ohm=one.through_ohm,
                u95_relative=one.u95_relative,
                part=one.part,
                volts=played.injected_volts,
                volts_u95_relative=played.injected_u95_relative,
                tones_hz=played.injected_hz,
                phases_rad=tuple(math.radians(p) for p in played.injected_deg),
            ),
        )
    return Take(
        name=step.name,
        file="" if taken.path is None else taken.path.name,
        path=taken.path or Path(),
        side=plugged.side,
        channels=plugged.channels,
        inputs=bench.inputs[: len(plugged.channels)],
        signal=step.signal,
        tones_hz=played.tones_hz,
        phases_rad=tuple(math.radians(p) for p in played.phases_deg) or None,
        drive_volts=played.drive_volts,
        drive_dbfs=played.drive_dbfs,
        volume=plugged.volume,
        state=plugged.state,
        driven_input_leg="both",
        timebase=taken.timebase,
        start_frame=taken.start_frame,
        loads=plugged.loads,
        injections=injections,
        sample_rate=taken.sample_rate,
        frames=taken.frames,
    )
