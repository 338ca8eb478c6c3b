"""What each channel of each recording hears: levels and phases at its tones."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import cast

import numpy as np
from numpy.typing import NDArray

from probe.bench.draft.files import Folder, name_in, samples_of
from probe.bench.draft.shapes import Shape, shape_of
from probe.bench.draft.tones import Lines, ToneSets, lines_of, sets_of
from probe.errors import BadInput
from probe.phasors.measure import measure_take
from probe.phasors.thresholds import READ_FRAMES
from probe.session.header import AudioFile
from probe.session.model import Channel, RecorderInput, Take

Complex = NDArray[np.complex128]

Told = Callable[[int, int, str], None]


@dataclass(frozen=True)
class Hearing:
    """One recording.

    Attributes
    ----------
    hz, peaks
        Tones and what each channel reads of them (peak, full scale 1), shape (F, C).
    heard
        Shape (F, C): the tone stands above the noise of this channel.
    injected
        Shape (F,): the tone belongs to a set that is injected.
    steady_s
        Of the part that stands still; None where nothing does.
    remarks
        What is wrong with it, in words.
    """

    name: str
    audio: AudioFile
    lines: Lines
    sets: ToneSets
    hz: NDArray[np.float64]
    peaks: Complex
    heard: NDArray[np.bool_]
    injected: NDArray[np.bool_]
    steady_s: tuple[float, float] | None
    remarks: tuple[str, ...]
    shape: Shape | None = None
    """Steps of a level, or a sweep; None: one level through."""

    @property
    def channels(self) -> int:
        """How many it has."""
        return self.audio.channels

    @property
    def played(self) -> NDArray[np.bool_]:
        """Shape (F,): the tone is the device's."""
        return ~self.injected


NOT_A_FAULT = ("late-start", "early-stop", "clock-foreign", "weak-tone", "unheard-channel")


def hear(folder: Path, found: Folder, told: Told | None = None) -> list[Hearing]:
    """Listen to every recording of a folder."""
    out = []
    for done, audio in enumerate(found.recordings):
        name = name_in(folder, audio.path)
        if told is not None:
            told(done, len(found.recordings), name)
        out.append(_hear(name, audio, found))
    if told is not None:
        told(len(found.recordings), len(found.recordings), "")
    return out


def _hear(name: str, audio: AudioFile, found: Folder) -> Hearing:
    try:
        samples = samples_of(audio)
    except BadInput as problem:
        return _deaf(name, audio, Lines(np.zeros(0), np.zeros(0), 1.0, None), str(problem))
    lines = lines_of(samples, audio.sample_rate)
    shape = shape_of(samples, audio.sample_rate)
    if shape is not None and shape.word == "sweep":
        return replace(_deaf(name, audio, lines, ""), shape=shape)
    sets = sets_of(lines, found)
    every = tuple(sorted((*sets.played, *sets.injected)))
    if not every:
        return replace(_deaf(name, audio, lines, ""), sets=sets)
    take = _take(name, audio, every, len(samples))
    pieces = (samples[k : k + READ_FRAMES] for k in range(0, len(samples), READ_FRAMES))
    measured = measure_take(take, lines.mains_hz or 50.0, pieces=pieces)
    snr = np.abs(measured.volts) ** 2 / np.diagonal(measured.noise, axis1=1, axis2=2).real
    fed = np.array([any(abs(f - g) < 1e-6 for g in sets.injected) for f in measured.hz], dtype=bool)
    remarks = tuple(r.message for r in measured.remarks if r.code not in NOT_A_FAULT)
    if shape is not None:
        remarks = ()  # that its level moves is what it is for
    return Hearing(
        name, audio, lines, sets, measured.hz, measured.volts, snr > 100.0, fed,
        measured.steady_s if measured.usable else None, remarks, shape,
    )  # fmt: skip


def _deaf(name: str, audio: AudioFile, lines: Lines, remark: str) -> Hearing:
    nothing = np.zeros((0, audio.channels))
    return Hearing(
        name, audio, lines, ToneSets((), (), known=True), np.zeros(0), nothing.astype(complex),
        nothing.astype(bool), np.zeros(0, dtype=bool), None, (remark,) if remark else (),
    )  # fmt: skip


def _take(name: str, audio: AudioFile, hz: tuple[float, ...], frames: int) -> Take:
    """Return a take whose volts are peaks of full scale (phasors are rms)."""
    channels = cast(tuple[Channel, ...], ("reference",) * audio.channels)
    inlet = RecorderInput(2.0**0.5, 0.0, 1e4, 0.0, 0.0, 0.0)
    return Take(
        name=name, file=name, path=audio.path, side="mono",
        channels=channels, inputs=(inlet,) * audio.channels,
        signal="multitone", tones_hz=hz, phases_rad=None, drive_volts=None, drive_dbfs=None,
        volume="", state="play", driven_input_leg="both", timebase=None, start_frame=0, loads=(),
        injections=(), sample_rate=audio.sample_rate, frames=frames,
    )  # fmt: skip
