"""The input gain turned up for the take of noise: by how much, and that it was taken back.

While it is up nothing louder than a probing tone of -60 dB FS is played. What the inputs hear of
that tone, over what the open take lets expect, is the gain; it must be gone before anything else.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from probe.bench.guided.setting_up import confirmed
from probe.bench.guided.taking import peak_of, wave_of
from probe.bench.judged.trial import trial_of
from probe.bench.shown.dialogue import Dialogue
from probe.bench.stored.storage import SessionFolder
from probe.bench.stream.limits import PROBING
from probe.bench.stream.recorder import Recorder
from probe.bench.stream.sound import Part, Purpose, Sound
from probe.bench.stream.stop import Stopped
from probe.bench.tones.sets import DEVICE
from probe.phasors import TakePhasors
from probe.session.model import Bench

Floats = NDArray[np.float64]

WHAT = "the input gain"

SUGGESTED_DB = 30.0
"""Lifts the noise of a quiet output above that of most inputs (common practice, no source); what
the virtual bench's hands turn."""

BACK_DB = 0.1
"""A knob set back by hand to a mark repeats to about this (common practice, no source); a step of
a switched gain is ten times as much."""

LISTEN_S = 1.0

BETWEEN_HZ = (100.0, 1100.0)
"""The tones looked at: a foreign clock turns them by less than a tenth of a turn meanwhile."""

HEARD = 30.0
"""A probing tone this much above what is heard beside it, after averaging, shows 0.1 dB."""


class NoiseGain:
    """Turns the gain up and insists that it is taken back.

    Parameters
    ----------
    talk, recorder, store, bench
        Of the run; the store keeps the state over a crash.
    turn
        Told how far the gain is turned up, dB (the virtual bench's hands).
    """

    def __init__(
        self,
        talk: Dialogue,
        recorder: Recorder,
        store: SessionFolder,
        bench: Bench,
        turn: Callable[[float], None],
    ) -> None:
        self._talk, self._recorder, self._store = talk, recorder, store
        self._turn = turn
        self._scales = [i.volts_full_scale for i in bench.inputs]
        full = bench.outputs[0].volts_full_scale if bench.outputs else 0.0
        self._volts = 0.999 * PROBING * full / peak_of(DEVICE)

    def up(self, opened: TakePhasors | None) -> tuple[float, ...] | None:
        """Offer more gain; return what each channel then reads as full scale, V peak, or None.

        Parameters
        ----------
        opened
            The open take of this side and volume, with which the probing tone is compared.
        """
        if opened is None or not opened.take.drive_volts or self._volts <= 0.0:
            return None
        choices = {"n": "no, as it stands", "y": "yes, for this take only"}
        question = "Turn the input gain up for this take? Quiet outputs vanish in the inputs' noise"
        if self._talk.choose("idle-gain", question, choices, "n") == "n":
            return None
        if not self._can_be_checked(opened):
            self._talk.warn(
                "The gain stays as it is",
                "A tone at -60 dB is not heard clearly on both legs, so nobody could check that "
                "the gain was taken back.",
            )
            return None
        self._store.note_gain(WHAT)
        self._recorder.gain_raised(WHAT)
        how = f"Turn the gain of both inputs up now, alike, about {SUGGESTED_DB:g} dB. Done?"
        confirmed(self._talk, "idle-gain-up", how)
        self._turn(SUGGESTED_DB)
        gains = self._over(opened)
        self._talk.say(f"The inputs hear {_listed(_db(gains))} more than before.")
        legs = _legs(opened)
        scales = list(self._scales[: len(opened.take.channels)])
        for k, gain in zip(legs, gains, strict=True):
            scales[k] = float(f"{scales[k] / gain:.6g}")
        return tuple(scales)

    def down(self, opened: TakePhasors | None) -> None:
        """Insist that the gain is as it was; returns only when that was heard.

        Raises
        ------
        Quit
            Somebody stops; the run that continues insists again.
        """
        if self._store.gain_raised is None or opened is None:
            return
        self._recorder.gain_raised(WHAT)
        while True:
            how = "Turn the gain of both inputs back to where it was. Done?"
            confirmed(self._talk, "idle-gain-down", how)
            self._turn(0.0)
            off = _db(self._over(opened))
            if np.all(np.abs(off) <= BACK_DB):
                break
            self._talk.warn(
                "Look [gain-not-back]",
                f"The inputs hear {_listed(off)} against the open take. No tone is played until "
                "that is gone. Where the knob cannot be set as it was: stop (q), calibrate, and "
                "begin a new session.",
            )
        self._recorder.gain_taken_back()
        self._store.note_gain(None)
        self._talk.say("The gain is as it was.")

    def _can_be_checked(self, opened: TakePhasors) -> bool:
        levels, beside = self._heard(opened)
        return bool(np.all(levels > HEARD * beside))

    def _over(self, opened: TakePhasors) -> Floats:
        """Return what the probing tone is heard with, over what the open take lets expect."""
        levels, _ = self._heard(opened)
        hz = _of(opened.hz)
        ratio = self._volts / (opened.take.drive_volts or self._volts)
        expected = [
            ratio * float(np.sqrt(np.sum(np.abs(opened.volts[hz, k]) ** 2))) / self._scales[k]
            for k in _legs(opened)
        ]
        return np.maximum(levels, 1e-12) / np.maximum(expected, 1e-12)

    def _heard(self, opened: TakePhasors) -> tuple[Floats, Floats]:
        """Return level and noise of the probing tone on each leg, rms, shares of full scale."""
        wave = wave_of(DEVICE, round(self._recorder.rate)) * self._volts
        stop = self._recorder.play([Part(0, Sound(wave, "volts"), Purpose.DRIVE)])
        stop = stop or self._recorder.wait(LISTEN_S)
        if stop is not None:
            raise Stopped(stop)
        samples = self._recorder.listen(LISTEN_S).samples
        self._recorder.silence()
        assert samples is not None
        found = [trial_of(samples[:, k], DEVICE.hz, self._recorder.rate) for k in _legs(opened)]
        some = _of(np.array(DEVICE.hz))
        levels = [float(np.sqrt(np.sum(np.abs(t.volts[some]) ** 2))) for t in found]
        beside = [t.rest * np.sqrt(2.0 * some.sum() / len(samples)) for t in found]
        return np.array(levels), np.array(beside)


def _legs(opened: TakePhasors) -> list[int]:
    return [k for k, role in enumerate(opened.take.channels) if role in ("hot", "cold")]


def _of(hz: Floats) -> NDArray[np.bool_]:
    return np.asarray((hz > BETWEEN_HZ[0]) & (hz < BETWEEN_HZ[1]))


def _db(ratio: Floats) -> Floats:
    return np.asarray(20.0 * np.log10(ratio))


def _listed(db: Floats) -> str:
    return " and ".join(f"{value:+.1f} dB" for value in db)
