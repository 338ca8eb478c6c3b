"""What somebody asks for, checked, and what becomes of it: a sound and the keys of its take."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

import probe
from probe.bench.tones import crest, rules
from probe.bench.tones.sets import DEVICE, INJECTED, ToneSet
from probe.bench.tones.waves import (
    FADE_S,
    ExponentialSweep,
    Faded,
    MarkedSilence,
    Sound,
    Steps,
    Tones,
    quietest_start,
    turned,
)
from probe.errors import BadInput
from probe.formats.text import quoted
from probe.formats.write import tidy, value

Kind = Literal["multitone", "tone", "inject", "level-steps", "sweep", "silence"]
KINDS: tuple[Kind, ...] = ("multitone", "tone", "inject", "level-steps", "sweep", "silence")

LEAD_S = 0.5
"""Silence before and after what is not a loop: players cut beginnings."""

LOWEST_RATE, HIGHEST_RATE = 8000, 768000
LONGEST_S = 3600.0
MOST_TONES = 60
HIGHEST_SHARE = 0.45
"""Of the rate: tones above it fall into the slope of reconstruction filters."""

LOWEST_PEAK_DB = -140.0

STEP_DB = tuple(float(db) for db in range(-60, 1, 3))
STEP_S = 1.0
SWEEP_HZ = (20.0, 20000.0)


@dataclass(frozen=True)
class Request:
    """A sound asked for; None: the usual.

    Attributes
    ----------
    period_s
        The grid of multitones: every tone is a whole number of cycles of it. It is also the
        length of one loop.
    seconds
        Of sound, fades included; of a loop a whole number of periods.
    peak_dbfs
        Of the whole sum.
    tone_dbfs
        Of every single tone, instead of ``peak_dbfs``.
    loop
        Nothing but whole periods, to be repeated by the player.
    """

    kind: Kind
    rate: int = 48000
    hz: tuple[float, ...] | None = None
    period_s: float = 10.0
    seconds: float | None = None
    peak_dbfs: float = -6.0
    tone_dbfs: float | None = None
    loop: bool = False
    step_s: float = STEP_S
    sweep_hz: tuple[float, float] = SWEEP_HZ


@dataclass(frozen=True)
class Made:
    """A sound, the TOML that goes with it, and what to tell people about it."""

    sound: Sound
    rate: int
    toml: str
    told: tuple[str, ...]
    dithered: bool = True


def make(request: Request) -> Made:
    """Return what was asked for.

    Raises
    ------
    BadInput
        A rate, level, tone or duration that cannot be played, said in one line.
    """
    _check(request)
    if request.kind == "silence":
        return _silence(request)
    if request.kind == "sweep":
        return _sweep(request)
    if request.kind == "level-steps":
        return _steps(request)
    return _tones(request)


def numbers(text: str, option: str, count: int | None = None) -> tuple[float, ...]:
    """Return the numbers of ``20,41.5``; `BadInput` names the option they were given for."""
    try:
        found = tuple(float(part) for part in text.split(","))
    except ValueError as error:
        raise BadInput(
            f"{option} {quoted(text)}: numbers with commas between are needed"
        ) from error
    if count is not None and len(found) != count:
        raise BadInput(f"{option} {quoted(text)}: {count} numbers are needed")
    if not all(math.isfinite(f) for f in found):
        raise BadInput(f"{option} {quoted(text)}: finite numbers are needed")
    return found


def _check(request: Request) -> None:
    if not LOWEST_RATE <= request.rate <= HIGHEST_RATE:
        raise BadInput(f"tones: rate {request.rate}; {LOWEST_RATE} to {HIGHEST_RATE} Hz are made")
    for name, asked in (("seconds", request.seconds), ("period", request.period_s)):
        if asked is not None and not 0.1 <= asked <= LONGEST_S:
            raise BadInput(f"tones: {name} {asked:g}; 0.1 to {LONGEST_S:g} s are made")
    if not 0.1 <= request.step_s <= 600.0:
        raise BadInput(f"tones: step {request.step_s:g} s; 0.1 to 600 s are made")
    levels = [request.peak_dbfs] + ([] if request.tone_dbfs is None else [request.tone_dbfs])
    for level in levels:
        if not LOWEST_PEAK_DB <= level <= 0.0:
            raise BadInput(f"tones: level {level:g} dB FS; {LOWEST_PEAK_DB:g} to 0 can be played")
    if request.loop and request.kind not in ("multitone", "tone", "inject"):
        raise BadInput(f"tones: a {request.kind} cannot be looped; leave out --loop")


def _set(request: Request) -> tuple[ToneSet, list[str]]:
    """Return the tones with their phases, on the grid of the period."""
    told = []
    if request.hz is None:
        usual = {"inject": INJECTED, "multitone": DEVICE}.get(request.kind, ToneSet((997.0,)))
        chosen = usual.below(HIGHEST_SHARE * request.rate)
        if len(chosen.hz) < len(usual.hz):
            told.append(f"tones above {HIGHEST_SHARE * request.rate:g} Hz are left out")
    else:
        chosen = ToneSet(tuple(sorted(request.hz)))
    if request.kind == "tone" and len(chosen.hz) != 1:
        raise BadInput(f"tones: a tone is one frequency, not {len(chosen.hz)}; ask for multitone")
    _check_tones(chosen.hz, request)
    grid = tuple(tidy(round(f * request.period_s) / request.period_s) for f in chosen.hz)
    if grid != chosen.hz:
        told.append(f"tones moved by at most {0.5 / request.period_s:g} Hz to fill the period")
        chosen = ToneSet(grid)
        _check_tones(grid, request)
    return chosen.with_low_crest(request.period_s), told


def _check_tones(hz: tuple[float, ...], request: Request) -> None:
    if not hz:
        raise BadInput(f"tones: no tone is left at a rate of {request.rate} Hz")
    if len(hz) > MOST_TONES:
        raise BadInput(f"tones: {len(hz)} tones; {MOST_TONES} at most")
    lowest = max(1.0 / request.period_s, 1.0)
    for f in hz:
        if not lowest <= f <= HIGHEST_SHARE * request.rate:
            raise BadInput(
                f"tones: {f:g} Hz; at this rate and period {lowest:g} to "
                f"{HIGHEST_SHARE * request.rate:g} Hz can be played"
            )
    if len(set(hz)) < len(hz):
        raise BadInput(
            "tones: two tones are the same, or become so when each fills the period; "
            "choose them further apart, or a longer --period"
        )


def _tones(request: Request) -> Made:
    chosen, told = _set(request)
    period_frames = request.period_s * request.rate
    if abs(period_frames - round(period_frames)) > 1e-6:
        raise BadInput(
            f"tones: a period of {request.period_s:g} s is no whole number of frames at "
            f"{request.rate} Hz; choose another --period"
        )
    phases = np.radians(chosen.phases_deg)
    top = crest.peak(chosen.hz, phases, request.period_s)
    amplitude, peak_db = _amplitude(request, top)
    one = Tones(
        request.rate,
        round(period_frames),
        chosen.hz,
        tuple(phases.tolist()),
        (amplitude,) * len(chosen.hz),
    )
    sound: Sound
    if request.loop:
        start = quietest_start(one)
        one = replace(one, phases_rad=turned(one.hz, one.phases_rad, one.rate, start))
        periods = max(1, round((request.seconds or request.period_s) / request.period_s))
        sound = one = replace(one, frames=one.frames * periods)
    else:
        one = replace(one, frames=round((request.seconds or request.period_s) * request.rate))
        sound = _faded(one, request.rate)
    crest_db = crest.crest_db(chosen.hz, phases, request.period_s)
    told += [
        f"crest factor {crest_db:.2f} dB (measured between samples too), peak {peak_db:.2f} dB FS",
        *rules.broken(chosen.hz, played=request.kind != "inject"),
    ]
    phases_deg = tuple(round(math.degrees(p) % 360.0, 2) % 360.0 for p in one.phases_rad)
    tone_db = 20.0 * math.log10(amplitude)
    length = "loop of" if request.loop else "repeats after"
    told.append(f"{length} {request.period_s:g} s")
    return Made(sound, request.rate, _tone_keys(request, one.hz, phases_deg, tone_db, told),
                tuple(told))  # fmt: skip


def _amplitude(request: Request, top: float) -> tuple[float, float]:
    """Return the amplitude of each tone and the peak of their sum, dB FS."""
    if request.tone_dbfs is None:
        return 10.0 ** (request.peak_dbfs / 20.0) / top, request.peak_dbfs
    amplitude = 10.0 ** (request.tone_dbfs / 20.0)
    peak_db = request.tone_dbfs + 20.0 * math.log10(top)
    if peak_db > 0.0:
        raise BadInput(
            f"tones: tones of {request.tone_dbfs:g} dB FS each reach {peak_db:+.1f} dB FS "
            f"together; {request.tone_dbfs - peak_db:.1f} is the most"
        )
    return amplitude, peak_db


def _faded(inner: Sound, rate: int, *, from_zero: bool = False) -> Faded:
    lead, fade = round(LEAD_S * rate), round(FADE_S * rate)
    return Faded(inner, lead, lead, fade, from_zero)


def _tone_keys(
    request: Request,
    hz: tuple[float, ...],
    phases_deg: tuple[float, ...],
    tone_db: float,
    told: list[str],
) -> str:
    tones, phases = value(hz), value(phases_deg)
    if request.kind == "inject":
        share = 10.0 ** (tone_db / 20.0) / math.sqrt(2.0)
        keys = [
            "# Paste below the [[take]] in which it was injected, and fill in what is asked for.",
            "[[take.inject]]",
            '# into =              # "hot", "cold" or "single-ended"',
            "# through_ohm =       # all the resistance between the output and the terminal",
            '# part = "R2"         # the same word wherever it is the same resistor',
            "# volts =             # V rms per tone: volts at full scale of the bench's output",
            f"#                     # times {share:.6g}, and the level it was turned down to",
            f"tones_hz = {tones}",
            f"phases_deg = {phases}",
        ]
        return _text(told, keys)
    word = "multitone" if request.kind == "multitone" else "tone"
    return _text(
        told,
        [
            "# Paste into the [[take]] of a recording of it.",
            f'signal = "{word}"',
            f"tones_hz = {tones}",
            f"phases_deg = {phases}",
            f"drive_dbfs = {tone_db:.4f}",
        ],
    )


def _steps(request: Request) -> Made:
    hz = (997.0,) if request.hz is None else request.hz
    if len(hz) != 1:
        raise BadInput(f"tones: level steps are of one tone, not {len(hz)}")
    _check_tones(hz, request)
    most = request.peak_dbfs if request.tone_dbfs is None else request.tone_dbfs
    levels = tuple(most + db for db in STEP_DB)
    sound = Steps(
        request.rate,
        hz[0],
        tuple(10.0 ** (db / 20.0) for db in levels),
        round(request.step_s * request.rate),
        round(FADE_S * request.rate),
    )
    told = [
        f"{len(levels)} steps of {request.step_s:g} s from {levels[0]:g} to {levels[-1]:g} dB FS"
    ]
    shares = [f"{10.0 ** (db / 20.0) / 2**0.5:.5g}" for db in levels]
    keys = [
        "# Paste into the [[take]] of a recording of it. levels_volts: V rms of each step at the",
        "# device's input, which is the output's volts at full scale times each of:",
        f"# {', '.join(shares)}",
        'signal = "level-steps"',
        f"tones_hz = {value(hz)}",
        f"step_s = {value(request.step_s)}",
    ]
    return Made(_faded(sound, request.rate, from_zero=True), request.rate, _text(told, keys),
                tuple(told))  # fmt: skip


def _sweep(request: Request) -> Made:
    low, high = request.sweep_hz
    if not 1.0 <= low < high <= 0.5 * request.rate:
        raise BadInput(
            f"tones: a sweep from {low:g} to {high:g} Hz; it must rise, within 1 to "
            f"{0.5 * request.rate:g} Hz at this rate"
        )
    seconds = 10.0 if request.seconds is None else request.seconds
    level = request.peak_dbfs if request.tone_dbfs is None else request.tone_dbfs
    sound = ExponentialSweep(
        request.rate, round(seconds * request.rate), low, high, 10.0 ** (level / 20.0)
    )
    told = [f"sweep from {low:g} to {high:g} Hz in {seconds:g} s at {level:g} dB FS"]
    keys = [
        "# Paste into the [[take]] of a recording of it.",
        'signal = "sweep"',
        f"from_hz = {value(low)}",
        f"to_hz = {value(high)}",
        f"sweep_s = {value(seconds)}",
        f"drive_dbfs = {level:.4f}",
    ]
    return Made(_faded(sound, request.rate, from_zero=True), request.rate, _text(told, keys),
                tuple(told))  # fmt: skip


def _silence(request: Request) -> Made:
    seconds = 60.0 if request.seconds is None else request.seconds
    if seconds < 1.0:
        raise BadInput(f"tones: {seconds:g} s of silence leave no room between markers; 1 at least")
    told = [f"{seconds:g} s of exact zeros between two markers of 997 Hz at -40 dB FS"]
    keys = [
        "# Paste into the [[take]] of a recording of it, cut between the markers.",
        'signal = "idle"',
    ]
    sound = MarkedSilence(request.rate, round(seconds * request.rate))
    return Made(sound, request.rate, _text(told, keys), tuple(told), dithered=False)


def _text(told: list[str], keys: list[str]) -> str:
    head = [f"# Made by probe {probe.__version__}.", *(f"# {line}" for line in told)]
    return "\n".join([*head, *keys, ""])
