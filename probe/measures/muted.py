"""Outputs that mute themselves while nothing plays: their idle noise is not their noise."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from probe.measures.model import Subject
from probe.measures.spectra import STEPS, Spectrum
from probe.phasors.model import Remark, TakePhasors

Array = NDArray[np.float64]

STEP_DB = 3.0
"""Noise that falls or rises by more than this within a take, and stays there, is a mute: noise of
a steady output moves by tenths of a decibel."""

LEAST_SEGMENTS = 2 * STEPS
"""On each side of such a step: two segments without a sample in common."""

QUIETER_DB = 6.0
"""An output this much quieter with nothing playing than beside its tones has muted itself, or the
tones bring noise of their own; its noise at idle then is not what is heard under music."""

RECORDER_ALONE = 1.5
"""Noise power over the recorder's up to which an output counts as silent."""

FROM_HZ = 100.0
"""Below, hum stands beside the tones."""


def steady_span(spectrum: Spectrum) -> tuple[float, float] | None:
    """Return the louder part of a take whose noise steps, s; None where it does not step."""
    cut = _cut(spectrum)
    if cut is None:
        return None
    edge = cut * spectrum.seconds / (len(spectrum.trace) + STEPS - 1)
    trace = np.log(np.maximum(spectrum.trace.sum(axis=1), 1e-300))
    margin = spectrum.seconds * STEPS / (len(spectrum.trace) + STEPS - 1)
    if trace[:cut].mean() > trace[cut:].mean():
        return 0.0, edge
    return edge + margin, spectrum.seconds


def _cut(spectrum: Spectrum) -> int | None:
    """Return the segment from which on the noise is another, None where there is none."""
    trace = np.log(np.maximum(spectrum.trace, 1e-300))
    count = len(trace)
    best, at = 0.0, None
    for k in range(LEAST_SEGMENTS, count - LEAST_SEGMENTS + 1):
        before, after = trace[:k], trace[k + STEPS :]
        if len(after) < LEAST_SEGMENTS:
            break
        step = np.abs(before.mean(axis=0) - after.mean(axis=0)).max()
        swing = max(before.std(axis=0).max(), after.std(axis=0).max())
        if step > max(STEP_DB * np.log(10.0) / 10.0, 4.0 * swing) and step / (swing + 1e-3) > best:
            best, at = step / (swing + 1e-3), k
    return at


def quiet_remarks(
    subject: Subject, idle: Spectrum, floor: Spectrum | None, span: tuple[float, float] | None
) -> tuple[Remark, ...]:
    """Return what must be said of an idle take whose output mutes itself.

    Many tones bring products of distortion that look like noise beside them: of such takes it is
    said only where nothing but the recorder is left at idle.
    """
    name = idle.take.name
    if span is not None:
        return (
            Remark(
                "muted-at-idle",
                name,
                f"the noise steps by more than {STEP_DB:g} dB during the take: the output mutes "
                f"itself; used from {span[0]:.1f} to {span[1]:.1f} s, where it is louder",
            ),
        )
    silent = floor is not None and _only_recorder(idle, floor)
    quieter = [
        db
        for p in subject.phasors
        if (silent or p.played.sum() == 1) and (db := _quieter_db(idle, p)) is not None
    ]
    if quieter and min(quieter) > QUIETER_DB:
        return (
            Remark(
                "muted-at-idle",
                name,
                f"with nothing playing the output is {min(quieter):.0f} dB quieter than beside its "
                "tones: it may mute itself at idle, and its noise be that of the muted output",
            ),
        )
    return ()


def _only_recorder(idle: Spectrum, floor: Spectrum) -> bool:
    """Return whether an idle take is hardly noisier than the recorder alone."""
    shared = [c for c in idle.channels if c in floor.channels]
    ratio = [
        np.median(idle.trace[:, idle.channels.index(c)])
        / max(float(np.median(floor.trace[:, floor.channels.index(c)])), 1e-300)
        for c in shared
        if idle.take.channels[c] != "reference"
    ]
    return bool(ratio) and bool(max(ratio) < RECORDER_ALONE)


def _quieter_db(idle: Spectrum, playing: TakePhasors) -> float | None:
    """Return by how much a take's noise beside its tones exceeds the idle take's, dB."""
    take = playing.take
    if take.side != idle.take.side or not playing.usable or take.loads or take.injections:
        return None
    if take.volume != idle.take.volume or take.sample_rate != idle.take.sample_rate:
        return None
    seconds = playing.steady_s[1] - playing.steady_s[0]
    use = np.flatnonzero((playing.hz > FROM_HZ) & ~playing.hum_limited)
    ratios = []
    for position, channel in enumerate(idle.channels):
        role = idle.take.channels[channel]
        if channel >= len(take.channels) or take.channels[channel] != role or role == "reference":
            continue
        same = take.inputs[channel].volts_full_scale == idle.take.inputs[channel].volts_full_scale
        if not same or len(use) == 0:
            continue
        beside = playing.noise[use, channel, channel].real * seconds
        density = idle.density[:, position, position].real
        place = np.clip(np.rint(playing.hz[use] / idle.bin_hz).astype(int), 20, len(density) - 21)
        at = np.array([np.median(density[k - 20 : k + 21]) for k in place])
        ratios.append(10.0 * np.log10(np.median(beside / np.maximum(at, 1e-300))))
    return float(max(ratios)) if ratios else None
