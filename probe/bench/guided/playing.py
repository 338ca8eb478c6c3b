"""A device that plays files itself: which files, at which level, and what its path did to them."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from probe.bench.guided.setting_up import confirmed
from probe.bench.judged.judgement import SILENT_RATIO
from probe.bench.path_check.check import PathCheck, PathFinding, check_levels, check_path
from probe.bench.path_check.follow import KnownFile
from probe.bench.planned.steps import LOADING, Played, Step
from probe.bench.shown.dialogue import Dialogue
from probe.bench.stream.recorder import Recorder
from probe.bench.tones.files import Layout, write_tones
from probe.bench.tones.request import Made, Request, make
from probe.bench.tones.sets import PERIOD_S
from probe.bench.tones.waves import Tones

FOLDER = "play"

TONE_DBFS = -30.0
"""Of each tone in the loud file: all together stay 10 dB below full scale, where no converter or
volume control clips."""

QUIETER_DB = 20.0
"""The second file is so much lower: what a load is tried with, and what shows levelling."""

HOT, LOW, AIM = (10.0 ** (db / 20.0) for db in (-9.0, -32.0, -15.0))
"""Peak of the loudest leg: above, a floating leg that is loaded could clip; below, hum and noise
are near; and what is asked for."""

BACK_DB = (0.1, 0.5, 2.0)
"""How near to the takes before the level must stand when a session goes on: plugged alike, with an
injector, with a load, which lower it by up to so much themselves."""

MOST_KEPT = 10.0 ** (-6.0 / 20.0)
"""Peak above which nobody may go on as it is: a bench stays 6 dB below what its inputs take."""

LISTEN_S, CHECK_S, LEVEL_S = 0.5, 11.0, 3.0
"""The check is longer than the file, so that the place where it begins anew is in it."""

MOST_CHECKS = 2
"""Of the path, before going on is offered as what to do."""

_WORDS = {"seen": "SEEN", "fine": "fine", "cannot-tell": "cannot tell"}

Hands = Callable[[str, "Playable | None", float], None]
"""Told which file is to be played, or by how many dB the device's volume is to be turned."""


@dataclass(frozen=True)
class Silence:
    """Nothing but the dither that is added when it is written: no player takes it for a pause."""

    frames: int

    def piece(self, first: int, frames: int) -> NDArray[np.float64]:
        """Return zeros."""
        del first
        return np.zeros(frames)


@dataclass(frozen=True, eq=False)
class Playable:
    """One file to be played, looped.

    Attributes
    ----------
    word
        ``tones``, ``quieter``, ``tone`` or ``quiet``.
    made
        Its sound.
    """

    word: str
    made: Made

    @property
    def name(self) -> str:
        """Its file in the session's folder."""
        return f"{FOLDER}/{self.word}.wav"


@dataclass(frozen=True, eq=False)
class Files:
    """The files of a session, and what the takes of them say."""

    tones: Playable
    quieter: Playable
    quiet: Playable
    tone: Playable
    known: KnownFile
    tone_dbfs: float = TONE_DBFS

    @property
    def all(self) -> tuple[Playable, ...]:
        """Every file."""
        return self.tones, self.quieter, self.tone, self.quiet

    def of(self, step: Step) -> Playable:
        """Return the file that is played in a take."""
        if not step.plays:
            return self.quiet
        return self.tone if step.signal == "tone" else self.tones

    def played(self, step: Step) -> Played:
        """Return what is in it, as a session says it."""
        sound = self.of(step).made.sound
        assert isinstance(sound, Tones)
        dbfs = 20.0 * math.log10(sound.peaks[0])
        return Played(sound.hz, _degrees(sound), drive_dbfs=round(dbfs, 4))


def files_of(rate: int) -> Files:
    """Return the files for a device that takes this rate."""
    loud, low = (
        make(Request("multitone", rate, tone_dbfs=db, loop=True))
        for db in (TONE_DBFS, TONE_DBFS - QUIETER_DB)
    )
    told = "# Quiet: dither of 16 bits, so that nothing mutes. For takes in which nothing plays.\n"
    quiet = Made(Silence(round(PERIOD_S * rate)), rate, told + 'signal = "idle"\n', ())
    sound = loud.sound
    assert isinstance(sound, Tones)
    peak = 20.0 * math.log10(float(np.max(np.abs(sound.piece(0, sound.frames)))))
    one = make(Request("tone", rate, tone_dbfs=round(peak, 2), loop=True))
    known = KnownFile(sound.hz, _degrees(sound), rate, PERIOD_S)
    return Files(
        *(Playable("tones", loud), Playable("quieter", low), Playable("quiet", quiet)),
        *(Playable("tone", one), known),
    )


def _degrees(sound: Tones) -> tuple[float, ...]:
    return tuple(round(math.degrees(p) % 360.0, 2) for p in sound.phases_rad)


def write_files(files: Files, folder: Path) -> None:
    """Write them into a session's folder; those that are there already stay.

    Raises
    ------
    BadInput
        The folder cannot be written.
    """
    (folder / FOLDER).mkdir(exist_ok=True)
    for one in files.all:
        if not (folder / one.name).exists():
            bits = "16" if one.word == "quiet" else "24"
            write_tones(one.made, folder / one.name, Layout(bits, 2), replace=True)


def path_lines(found: tuple[PathFinding, ...], side: str, volume: str) -> list[str]:
    """Return a line of text for each thing that was asked about the path."""
    name = " ".join(p for p in (side, volume) if p)
    return [f"Path, {name}: {one.code}: {_WORDS[one.word]}: {one.seen}." for one in found]


class FilePlayer:
    """The device as its own player, moved by the hands of who is asked.

    Parameters
    ----------
    talk
        Who is asked.
    files
        What there is to play.
    hands
        Told as well (the virtual bench).
    """

    def __init__(self, talk: Dialogue, files: Files, hands: Hands) -> None:
        self.talk = talk
        self.files = files
        self.hands = hands
        self.playing = ""

    def play(self, one: Playable, recorder: Recorder) -> None:
        """Have a file played, if it is not playing already."""
        if self.playing == one.word:
            return
        loudness = " Volume as it stands." if self.playing else " Begin with the volume LOW."
        self.talk.say(f"On the device: play {one.name} over and over, alone.{loudness}")
        confirmed(self.talk, "playing", f"Does it play {one.word}.wav?")
        self.hands(one.word, one, 0.0)
        self.playing = one.word
        sound = one.made.sound
        recorder.expect_tones(sound.hz if isinstance(sound, Tones) else ())
        recorder.wait(1.0)

    def for_step(self, step: Step, recorder: Recorder) -> None:
        """Have played what a take needs; nothing where the device is off."""
        if step.plugged.state == "off":
            self.playing = ""
            recorder.expect_tones(())
            return
        if step.take not in LOADING:  # a load is tried with the lower file first
            self.play(self.files.of(step), recorder)

    def settle_level(self, step: Step, recorder: Recorder) -> None:
        """Have the device's volume turned until the loudest leg is well within the inputs.

        A volume position that was named is gone to, and stays; only a pad helps there.
        """
        self.play(self.files.tones, recorder)
        named = step.plugged.volume
        if named:
            question = f"Bring the device's volume to {named}, slowly. Is it there?"
            confirmed(self.talk, "volume-set", question)
        legs = [k for k, c in enumerate(step.plugged.channels) if c not in ("unused", "reference")]
        while True:
            heard = recorder.listen(LISTEN_S)
            peak = max(heard.peaks[k] for k in legs)
            if LOW <= peak <= HOT:
                return
            turn = 20.0 * math.log10(AIM / max(peak, 1e-3))
            word = "down" if turn < 0.0 else "up"
            reaches = f"The loudest leg reaches {20.0 * math.log10(max(peak, 1e-6)):.0f} dB FS. "
            do = f"Turn the device's volume {word}, slowly, by about {abs(turn):.0f} dB."
            if named and turn < 0.0:
                do += f" The takes keep the name {named}: correct it in session.toml."
            elif named:
                do = f"That is what {named} gives: go on, and hum and noise are near."
            self.talk.warn("Too hot" if turn < 0.0 else "Too low", reaches + do)
            choices = {"t": "changed: listen again"}
            if peak < MOST_KEPT:
                choices["k"] = "go on as it is"
            usual = "k" if named and turn > 0.0 else "t"
            if self.talk.choose("volume", "Changed?", choices, usual) == "k":
                return
            self.hands("volume", None, turn)
            recorder.wait(0.5)

    def settle_back(
        self, step: Step, recorder: Recorder, before: Mapping[str, float], scales: Sequence[float]
    ) -> None:
        """Have the device's volume turned to where it stood in the takes before.

        ``before``: V rms of all tones on each terminal, open; ``scales``: full scale of the inputs.
        A load is tried with the lower file first, here as well.
        """
        low = step.take in LOADING
        self.play(self.files.quieter if low else self.files.tones, recorder)
        near = BACK_DB[2 if step.plugged.loads else 1 if step.plugged.injector is not None else 0]
        legs = [k for k, role in enumerate(step.plugged.channels) if role in before]
        wanted = sum(before[step.plugged.channels[k]] for k in legs)
        wanted *= 10.0 ** (-QUIETER_DB / 20.0) if low else 1.0
        while legs and wanted > 0.0:
            heard = recorder.listen(LISTEN_S)
            at = sum(heard.rms[k] * scales[k] for k in legs)
            off = 20.0 * math.log10(max(at, 1e-9) / wanted)
            if abs(off) <= near:
                return
            side, word = ("above", "down") if off > 0.0 else ("below", "up")
            self.talk.warn(
                "The volume is not where it was",
                f"The legs stand {abs(off):.1f} dB {side} the takes before. Turn the device's "
                f"volume {word} by that, slowly: it must stand as it did.",
            )
            choices = {"t": "turned: listen again", "k": "go on as it is"}
            if self.talk.choose("volume-back", "Turned?", choices, "t") == "k":
                return
            self.hands("volume", None, -off)
            recorder.wait(0.5)

    def settle_path(self, step: Step, recorder: Recorder) -> tuple[PathFinding, ...]:
        """Check the path until it is as it should be, or is to be left as it is.

        Returns what was found last, to be kept with the session.
        """
        attempts = 0
        while True:
            attempts += 1
            self.talk.heading("The path of the file")
            found = self.check(step, recorder)
            for one in found:
                self.talk.say(
                    f"{one.code}: {_WORDS[one.word]}. {one.seen[0].upper()}{one.seen[1:]}."
                )
            wrong = [one for one in found if one.word == "seen"]
            for one in wrong:
                self.talk.warn(f"Path [{one.code}]", f"{one.do[0].upper()}{one.do[1:]}.")
            choices = {"a": "again, after putting it right", "k": "go on: it stays as it is"}
            again = "a" if attempts < MOST_CHECKS else "k"
            if not wrong or self.talk.choose("path", "What now?", choices, again) == "k":
                return found
            self.settle_level(step, recorder)

    def check(self, step: Step, recorder: Recorder) -> tuple[PathFinding, ...]:
        """Listen through a whole loop, then to the lower file, and say what the path did."""
        say = self.talk.progress
        self.talk.say(f"The path is checked: listening for {CHECK_S:.0f} s. Touch nothing.")
        loud = self._checked(step, recorder, CHECK_S)
        self.play(self.files.quieter, recorder)
        quiet = self._checked(step, recorder, LEVEL_S)
        say(1.0, 1.0, "checked")
        pair = check_levels(loud, quiet, QUIETER_DB)
        levels = [f for f in loud.findings if f.code == "levelling"]
        kept = pair if pair.word == "seen" or not levels or levels[0].word != "seen" else levels[0]
        return tuple(kept if f.code == "levelling" else f for f in loud.findings)

    def _checked(self, step: Step, recorder: Recorder, seconds: float) -> PathCheck:
        heard = recorder.listen(
            seconds, lambda p: self.talk.progress(p.seconds, p.of_seconds, "checking the path")
        )
        assert heard.samples is not None
        leg = step.plugged.channels.index("hot")
        if "cold" in step.plugged.channels:
            cold = step.plugged.channels.index("cold")
            leg = cold if heard.rms[leg] < SILENT_RATIO * heard.rms[cold] else leg
        wave = np.asarray(heard.samples[:, leg], dtype=np.float64)
        return check_path(wave, recorder.rate, self.files.known)
