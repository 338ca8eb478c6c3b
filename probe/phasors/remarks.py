"""What a reader must be told about a take, and whether anything in it may be used.

Codes: ``clipped-take``, ``nothing-heard``, ``weak-tone``, ``unheard-channel``, ``level-moved``,
``dropout``, ``disturbed``, ``too-short``, ``tone-on-hum``, ``late-start``, ``early-stop``,
``clock-foreign``, ``clock-unknown``.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from probe.phasors import thresholds as limits
from probe.phasors.lines import Lines
from probe.phasors.model import Remark
from probe.phasors.table import Extremes, Real
from probe.session.model import Take

NOT_LEGS = ("reference", "unused")
"""Channels that do not listen to the device."""

INFORMATIVE = frozenset(
    {"unheard-channel", "late-start", "early-stop", "clock-foreign", "disturbed"}
)
"""Codes that say what was found and done; nothing is wrong with the result."""


@dataclass(frozen=True)
class Findings:
    """Everything the remarks are made from."""

    take: Take
    lines: Lines
    extremes: Extremes
    foretold: Real
    """Shape (C,), full scale 1: the peak that the tones found would reach beside each other."""
    seconds: float
    steady_s: tuple[float, float]
    reaches: tuple[bool, bool]
    fits: bool
    outside: str | None
    snr: Real
    limited: NDArray[np.bool_]
    under: NDArray[np.int64]
    clock_error: float
    clock_u: float
    long_enough: NDArray[np.bool_]


def remark(found: Findings) -> tuple[tuple[Remark, ...], bool]:
    """Return the remarks of a take and whether it may be used."""
    said: list[Remark] = []
    usable = True
    for code, message, fatal in _all(found):
        said.append(Remark(code, found.take.name, message))
        usable &= not fatal
    return tuple(said), usable


Said = Iterator[tuple[str, str, bool]]


def _all(found: Findings) -> Said:
    yield from _clipped(found)
    heard = bool(np.any(found.snr[:, _legs(found.take)] > limits.HEARD))
    if not heard:
        yield "nothing-heard", "no channel carries any of the tones above its noise", True
        return
    yield from _length(found)
    yield from _moved(found)
    yield from _flattened(found)
    yield from _ends(found)
    yield from _weak(found)
    yield from _unheard(found)
    yield from _hum(found)
    yield from _clock(found)


def _legs(take: Take) -> NDArray[np.int64]:
    legs = [c for c, role in enumerate(take.channels) if role not in NOT_LEGS]
    return np.array(legs or range(len(take.channels)), dtype=np.int64)


def _clipped(found: Findings) -> Said:
    loud, flat = _loud(found), _flat(found)
    for channel, role in enumerate(found.take.channels):
        if role == "unused":
            continue
        peak = found.extremes.peak[channel]
        where = f"channel {channel + 1} ({role})"
        if loud[channel]:
            db = 20.0 * np.log10(peak)
            yield "clipped-take", f"{where} reaches {db:+.2f} dB of full scale", True
        elif flat[channel]:
            run = found.extremes.flat_run[channel]
            yield (
                "clipped-take",
                f"{where} has flat tops of {run} equal samples at {peak:.3f} of full scale",
                True,
            )


def _loud(found: Findings) -> NDArray[np.bool_]:
    return np.asarray(found.extremes.peak >= limits.CLIP_LEVEL)


def _flat(found: Findings) -> NDArray[np.bool_]:
    flat = found.extremes.flat_run >= _flat_limit(found)
    return np.asarray(flat & (found.extremes.flat_places >= limits.FLAT_PLACES))


def _flat_limit(found: Findings) -> NDArray[np.int64]:
    """Return how many equal extreme samples in a row are too many, per channel.

    A sine of peak A turns by A w²/2 n² within n samples of its top: within one step q of the
    samples it stays for 2 sqrt(2 q / (A w²)). The slowest tone, at the whole peak, is the worst.
    """
    w = 2.0 * np.pi * float(found.lines.hz.min()) / found.take.sample_rate
    bend = np.maximum(found.extremes.peak, 1e-6) * w**2
    natural = 2.0 * np.sqrt(2.0 * found.extremes.step / bend)
    return np.asarray(limits.FLAT_RUN + np.ceil(1.5 * natural), dtype=np.int64)


def _length(found: Findings) -> Said:
    first, last = found.steady_s
    if last - first < limits.MIN_SECONDS:
        yield "too-short", f"only {last - first:.3f} s of steady tone", True
    elif not np.all(found.long_enough):
        tones = _list(found.lines.hz[~found.long_enough])
        yield (
            "too-short",
            f"{last - first:.2f} s of steady tone hold less than two periods of {tones} Hz, "
            "left out",
            not np.any(found.long_enough),
        )


def _flattened(found: Findings) -> Said:
    """Tones that would together reach higher than anything recorded: whoever plays them clips.

    Noise, hum and an offset only add to what is recorded. A recorder that clips is told already.
    """
    if not found.fits or len(found.lines.tones) < limits.FLATTENED_TONES:
        return
    share = found.extremes.peak / np.maximum(found.foretold, 1e-12)
    told = _loud(found) | _flat(found)
    for channel in _legs(found.take)[~told[_legs(found.take)]]:
        heard = np.any(found.snr[:, channel] > limits.HEARD)
        if heard and share[channel] < limits.FLATTENED:
            yield (
                "clipped-take",
                f"channel {channel + 1} ({found.take.channels[channel]}): its tops are flattened, "
                f"{-20.0 * np.log10(share[channel]):.1f} dB below what its tones make together; "
                "the device, or the recorder before its converter, clips or is driven beyond its "
                "linear range: play it quieter",
                True,
            )


def _moved(found: Findings) -> Said:
    first, last = found.steady_s
    if not found.fits:
        yield "level-moved", "the tones stand still nowhere long enough to be measured", True
        return
    used = f"used from {first:.2f} to {last:.2f} s"
    if found.outside == "level-moved":
        yield "level-moved", f"the level moved during the take; {used}", False
    elif found.outside == "dropout":
        yield "dropout", f"the phase of the tones jumped (samples were lost); {used}", False
    elif found.outside == "disturbed":
        yield "disturbed", f"the tones were disturbed for a moment; {used}", False


def _ends(found: Findings) -> Said:
    first, last = found.steady_s
    if found.outside is not None:
        return
    if not found.reaches[0]:
        yield "late-start", f"steady from {first:.2f} s of {found.seconds:.2f} s", False
    if not found.reaches[1]:
        yield "early-stop", f"steady until {last:.2f} s of {found.seconds:.2f} s", False


def _weak(found: Findings) -> Said:
    if found.take.state != "play":
        return
    best = np.sqrt(found.snr[:, _legs(found.take)].max(axis=1))
    weak = found.lines.played & (best < limits.STRONG_SIGMAS) & found.long_enough & ~found.limited
    if np.any(weak):
        tones = _list(found.lines.hz[weak])
        yield (
            "weak-tone",
            f"{tones} Hz: below {limits.STRONG_SIGMAS:.0f} standard deviations on every channel",
            False,
        )


def _unheard(found: Findings) -> Said:
    for channel, role in enumerate(found.take.channels):
        if role != "unused" and not np.any(found.snr[:, channel] > limits.HEARD):
            yield (
                "unheard-channel",
                f"channel {channel + 1} ({role}) carries no tone above its noise: a silent leg, "
                "or nothing plugged in",
                False,
            )


def _hum(found: Findings) -> Said:
    if np.any(found.limited):
        tones = _list(found.lines.hz[found.limited])
        yield "tone-on-hum", f"{tones} Hz: cannot be told from mains hum there", False


def _clock(found: Findings) -> Said:
    error, u = found.clock_error, found.clock_u
    if abs(1.0 / (1.0 + error) - 1.0) > 0.9999 * limits.CLOCK_RANGE:
        yield (
            "clock-unknown",
            f"the tones are not where they should be within {limits.CLOCK_RANGE * 1e6:.0f} ppm: "
            "check tones_hz and the sample rates of player and recorder",
            True,
        )
        return
    if abs(error) > limits.CLOCK_FOREIGN and abs(error) > 3.0 * u:
        yield "clock-foreign", f"the recorder's clock is off by {error * 1e6:+.1f} ppm", False


def _list(hz: Real) -> str:
    return ", ".join(f"{f:g}" for f in hz)
