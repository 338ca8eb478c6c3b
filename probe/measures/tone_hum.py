"""Mains hum beside a tone that the other takes of the same output do not have.

Hum of the device is part of its THD+N. Hum that a quiet take of the same output lacks came with the
lead or the loop of one take, and then THD+N is no more than a bound.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from probe.measures.continuum import smooth_density
from probe.measures.hum import SEEN, HumLines, hum_lines, mains_ratio
from probe.measures.model import Subject
from probe.measures.outputs import Output, outputs_of
from probe.measures.projected import Projection, projection
from probe.measures.spectra import LINE_BINS, Spectrum, spectrum_of
from probe.session.model import Take

Array = NDArray[np.float64]
Bools = NDArray[np.bool_]

FOREIGN = 4.0
"""Power of a line, over that of the same line in another take, from which it is not the device's
own: twice the voltage, which neither the mains (10 %) nor a device warming up makes."""

TOLD_SHARE = 0.2
"""Share of THD+N's power from which such hum is told: less changes it by less than 1 dB."""

TONE_RANGE = 6e-4
"""Clocks move a tone by this share."""


@dataclass(frozen=True)
class ForeignHum:
    """Hum beside a tone that another take does not have.

    Attributes
    ----------
    hz
        Nominal frequencies of its lines, the strongest first.
    power
        Of all of them, V².
    share
        Over the whole power that is not the tone.
    without
        Name of the take that does not have it.
    """

    hz: tuple[float, ...]
    power: float
    share: float
    without: str


def beside(spectrum: Spectrum, hz: Array) -> Bools:
    """Return the bins that tones fill."""
    reach = (LINE_BINS + 1.0) * spectrum.bin_hz + TONE_RANGE * hz
    return np.asarray((np.abs(spectrum.hz[:, None] - hz) <= reach).any(axis=1))


def hum_volts(take: Take, mains_hz: float, hz: Array) -> tuple[float, ...]:
    """Return the hum of each channel beside tones at ``hz``, V rms as heard.

    Raises
    ------
    BadInput
        The file cannot be read.
    """
    spectrum = spectrum_of(take)
    out = np.zeros(len(take.channels))
    for at, channel in enumerate(spectrum.channels):
        lines, _ = _lines(spectrum, spectrum.density[:, at, at].real, mains_hz, hz)
        out[channel] = np.sqrt(np.sum(lines.power[lines.seen]))
    return tuple(out.tolist())


def foreign_hum(
    subject: Subject, spectrum: Spectrum, shown: Projection, hz: Array, total: float
) -> ForeignHum | None:
    """Return the hum beside a tone that is not the device's, None where there is none to tell.

    Parameters
    ----------
    spectrum, shown
        Of the take of one tone, and the output in it.
    hz
        The tone and its harmonics.
    total
        Power of all that is not the tone, V².
    """
    mains = subject.session.bench.mains_hz
    here, clear = _lines(spectrum, shown.density(spectrum), mains, hz)
    seen = here.seen & clear
    if not total > 0.0 or float(np.sum(here.power[seen])) < TOLD_SHARE * total:
        return None
    for take, other in _others(subject, spectrum.take, shown.output):
        heard = subject.recordings.spectrum(take)
        if not heard.segments:
            continue
        density = projection(subject.source, heard, other).density(heard)
        there, known = _lines(heard, density, mains, np.array(take.tones_hz))
        count = min(len(here.power), len(there.power))
        most = np.maximum(there.power, 0.0) + SEEN * there.bare
        foreign = (seen[:count] & known[:count]) & (here.power[:count] > FOREIGN * most[:count])
        power = float(np.sum(here.power[:count][foreign]))
        if power >= TOLD_SHARE * total:
            order = sorted(np.flatnonzero(foreign).tolist(), key=lambda k: -here.power[k])
            named = tuple(float(here.orders[k]) * mains for k in order)
            return ForeignHum(named, power, power / total, take.name)
    return None


def _lines(
    spectrum: Spectrum, density: Array, mains_hz: float, tones_hz: Array
) -> tuple[HumLines, Bools]:
    """Return the hum lines beside tones, and which of them no tone hides."""
    tones = beside(spectrum, tones_hz)
    quiet = smooth_density(np.maximum(density, 0.0), tones, spectrum.averages)
    ratio = mains_ratio(quiet, spectrum.hz, mains_hz)
    lines = hum_lines(spectrum, quiet, mains_hz, ratio)
    near = np.abs(spectrum.hz - lines.hz[:, None]) <= LINE_BINS * spectrum.bin_hz
    return lines, np.asarray(~(near & tones).any(axis=1))


def _others(subject: Subject, tone: Take, output: Output) -> Iterator[tuple[Take, Output]]:
    """Yield the unloaded takes that hear the same output: those of silence, else of many tones."""
    for signal in ("idle", "multitone"):
        found = [
            (take, o)
            for take in subject.takes(signal)
            if take.state == tone.state and take.volume == tone.volume
            if not take.loads and not take.injections and take.name != tone.name
            for o in outputs_of(take)
            if o.name == output.name
        ]
        yield from found
        if found:
            return
