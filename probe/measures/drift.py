"""Drift: how far the level moved from the first open take to the last.

What it does to every other figure is in the repeatability: a second open take is spare, so the
difference stands in the residuals from which the level between takes is estimated, and the larger
of that and the stated figure weights every take and is drawn (``stage.agreement``).
"""

from __future__ import annotations

import math

import numpy as np

from probe.measures.model import Part, Subject
from probe.measures.statement import Entry
from probe.phasors.model import TakePhasors
from probe.stage.quantities import nearest

TOLD = 2.5
"""Standard deviations of noise below which a drift is not told from none."""


def drift(subject: Subject) -> Part:
    """Return the largest change of level among the open takes against the first of them, dB."""
    takes = _open_takes(subject)
    if len(takes) < 2:
        return Part()
    first = takes[0]
    moved = [(_moved(first, p), p) for p in takes[1:]]
    told = [(m, p) for m, p in moved if m is not None]
    if not told:
        return Part()
    (db, sigma, hz), last = max(told, key=lambda item: abs(item[0][0]))
    entry: Entry = {"value": db, "unit": "dB", "u95": 1.96 * sigma, "limit": TOLD * sigma}
    entry["at_hz"] = hz
    entry["takes"] = [first.take.file, last.take.file]
    return Part(facts={"drift": entry})


def _open_takes(subject: Subject) -> list[TakePhasors]:
    """Return takes of both legs with nothing switched on, at one volume and drive."""
    found = [
        p
        for p in subject.identified.takes
        if {"hot", "cold"} <= set(p.take.channels)
        and p.usable
        and p.played.any()
        and p.take.state == "play"
        and not p.take.loads
        and not p.take.injections
    ]
    return [p for p in found if _drive(p) == _drive(found[0])]


def _drive(p: TakePhasors) -> tuple[object, ...]:
    take = p.take
    scales = tuple(i.volts_full_scale for i in take.inputs)
    return take.channels, take.volume, take.drive_volts, take.drive_dbfs, take.signal, scales


def _moved(first: TakePhasors, last: TakePhasors) -> tuple[float, float, float] | None:
    """Return the change of the stronger leg at the tone nearest 1 kHz, its sigma, and the tone."""
    hz = first.hz[first.played]
    k = nearest(hz)
    same = np.flatnonzero(np.isclose(last.hz, hz[k], rtol=1e-9) & last.played)
    if not len(same):
        return None
    legs = [first.take.channels.index(n) for n in ("hot", "cold")]
    channel = max(legs, key=lambda c: abs(first.volts[first.played][k, c]))
    a = abs(first.volts[first.played][k, channel])
    b = abs(last.volts[same[0], channel])
    variance = first.noise[first.played][k, channel, channel].real / (2.0 * a**2)
    variance += last.noise[same[0], channel, channel].real / (2.0 * b**2)
    if "reference" in first.take.channels:
        own = first.take.channels.index("reference")
        a /= abs(first.volts[first.played][k, own])
        b /= abs(last.volts[same[0], own])
    if min(a, b) <= 0.0:
        return None
    sigma = 20.0 / math.log(10.0) * math.sqrt(float(variance))
    return 20.0 * math.log10(float(b / a)), sigma, float(hz[k])
