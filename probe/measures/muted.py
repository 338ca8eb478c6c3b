"""Outputs that mute themselves while nothing plays: their idle noise is not their noise."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from probe.measures.model import Subject
from probe.measures.spectra import LINE_BINS, STEPS, Spectrum
from probe.phasors.model import Remark, TakePhasors
from probe.session.model import Take

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

FROM_HZ, UP_TO_HZ = 100.0, 20e3
"""Below, hum stands beside the tones."""

LEAST_QUIET_BINS = 100
"""Fewer bins away from every product say nothing: their median moves by a decibel and more."""


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
    said only where nothing but the recorder is left at idle. Whatever plays, the noise must be
    louder too where none of the products can stand.
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
        quieter += _between_products_db(subject, idle, silent=silent)
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


def _comparable(idle: Spectrum, playing: TakePhasors) -> bool:
    """Return whether a take plays what the idle take would, into the same."""
    take = playing.take
    if take.side != idle.take.side or not playing.usable or take.loads or take.injections:
        return False
    return take.volume == idle.take.volume and take.sample_rate == idle.take.sample_rate


def _shared(idle: Spectrum, take: Take) -> list[tuple[int, int]]:
    """Return position in the spectrum and channel of every output heard alike in both takes."""
    return [
        (position, channel)
        for position, channel in enumerate(idle.channels)
        if channel < len(take.channels)
        and take.channels[channel] == idle.take.channels[channel] != "reference"
        and take.inputs[channel].volts_full_scale == idle.take.inputs[channel].volts_full_scale
    ]


def _quieter_db(idle: Spectrum, playing: TakePhasors) -> float | None:
    """Return by how much a take's noise beside its tones exceeds the idle take's, dB."""
    if not _comparable(idle, playing):
        return None
    seconds = playing.steady_s[1] - playing.steady_s[0]
    use = np.flatnonzero((playing.hz > FROM_HZ) & ~playing.hum_limited)
    ratios = []
    for position, channel in _shared(idle, playing.take) if len(use) else ():
        beside = playing.noise[use, channel, channel].real * seconds
        density = idle.density[:, position, position].real
        place = np.clip(np.rint(playing.hz[use] / idle.bin_hz).astype(int), 20, len(density) - 21)
        at = np.array([np.median(density[k - 20 : k + 21]) for k in place])
        ratios.append(10.0 * np.log10(np.median(beside / np.maximum(at, 1e-300))))
    return float(max(ratios)) if ratios else None


def _between_products_db(subject: Subject, idle: Spectrum, *, silent: bool) -> list[float]:
    """Return by how much each take's noise exceeds the idle take's away from all products, dB."""
    found = []
    for playing in subject.phasors:
        if not _comparable(idle, playing) or not (silent or playing.played.sum() == 1):
            continue
        heard = subject.recordings.spectrum(playing.take, playing.steady_s)
        free = _free_of_products(heard, playing.hz)
        ratios = []
        for position, channel in _shared(idle, playing.take):
            if channel not in heard.channels or free.sum() < LEAST_QUIET_BINS:
                continue
            at = heard.channels.index(channel)
            density = heard.density[free, at, at].real
            own = np.interp(heard.hz[free], idle.hz, idle.density[:, position, position].real)
            ratios.append(10.0 * np.log10(np.median(density) / max(np.median(own), 1e-300)))
        found += [float(max(ratios))] if ratios else []
    return found


def _free_of_products(heard: Spectrum, tones_hz: Array) -> NDArray[np.bool_]:
    """Return the bins in which no product of the tones up to the third order can stand, (F,)."""
    signed = np.concatenate([tones_hz, -tones_hz, [0.0]])
    pairs = np.unique(signed[:, None] + signed)
    products = np.abs(pairs[:, None] + signed).ravel()
    rate = heard.take.sample_rate
    folded = np.abs((products + 0.5 * rate) % rate - 0.5 * rate)
    centres = np.unique(np.rint(folded / heard.bin_hz).astype(int))
    beside = centres[:, None] + np.arange(-LINE_BINS, LINE_BINS + 1)
    free = (heard.hz > FROM_HZ) & (heard.hz < UP_TO_HZ)
    free[np.clip(beside, 0, len(free) - 1)] = False
    return np.asarray(free)
