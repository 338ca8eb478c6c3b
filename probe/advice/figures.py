"""What is looked at of each option: levels, losses, corners, the current in a tied pin 3.

Decibels and hertz appear here, at the edge; the networks behind them are in SI units.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, fields, replace
from functools import cached_property, lru_cache
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from probe.advice import thresholds as limit
from probe.advice.audible import Audible, hum_heard, noise_heard, stricter_db
from probe.advice.destination import Input
from probe.advice.ground import GroundPath
from probe.advice.hum import Hum, hum_of
from probe.advice.maximum import Limits
from probe.advice.noise import DeviceNoise, Noise, noise_of
from probe.advice.quantity import (
    OUTERMOST,
    PERHAPS_BEYOND,
    Quantity,
    Samples,
    each_from_draws,
    from_all,
    from_draws,
    intervals,
    spanning,
    worst,
)
from probe.advice.sampled import NEAR_EDGE, Sampled
from probe.advice.solve import Response
from probe.advice.words import ONLY_WITH_VOLUME
from probe.decibels import ratio_to_db

Floats = NDArray[np.float64]

NOTHING = 1e-9
"""Ratio (-180 dB) standing for no signal at all, so that decibels stay finite."""

NO_LEVEL = 1e-30
"""V; smaller than any signal, so that none can be divided by."""

AUDIO = (20.0, 20000.0)
BASS = (20.0, 200.0)
"""Hz; what a subwoofer is judged on. Its lower limit of 15 Hz is below the tones of a session."""


@dataclass(frozen=True)
class Figures:
    """Quantities of one option; None where they cannot be known.

    ``full_output_margin_db`` at the most the device surely gives, ``played_margin_db`` where the
    level stands. ``most_played``, ``leg_played``: what reaches the input, or one leg of it, there,
    of several possible kinds the most (``level`` is the least). ``drive_current``: peak out of the
    terminal that gives more, into all that hangs on it, A; ``_at_full_output``: with the volume set
    for that of the input.
    ``core_*`` at the transformer's primary, V rms: where the device gives its most, and where the
    volume stands for the input's full output. ``*_loss`` in dB, positive when lower than at the
    reference frequency. ``connection_*`` are what the connection adds: the output's own
    open-circuit response is taken out, because no choice of lead changes it.
    """

    level: Quantity | None = None
    level_vs_reference_db: Quantity | None = None
    loudness_vs_reference_db: Quantity | None = None
    full_output_margin_db: Quantity | None = None
    played_margin_db: Quantity | None = None
    loss_at_20_hz: Quantity | None = None
    loss_at_20_khz: Quantity | None = None
    connection_loss_at_20_hz: Quantity | None = None
    connection_loss_at_20_khz: Quantity | None = None
    connection_loss_anywhere: Quantity | None = None
    connection_loss_bass: Quantity | None = None
    low_corner: Quantity | None = None
    high_corner: Quantity | None = None
    tie_current: Quantity | None = None
    drive_current: Quantity | None = None
    drive_current_at_full_output: Quantity | None = None
    level_at_maximum: Quantity | None = None
    leg_at_maximum: Quantity | None = None
    most_played: Quantity | None = None
    leg_played: Quantity | None = None
    change_when_tied_db: Quantity | None = None
    core_20_hz_at_maximum: Quantity | None = None
    core_20_hz_at_full_output: Quantity | None = None
    hum: Quantity | None = None
    hum_below_full_output_db: Quantity | None = None
    buzz_below_full_output_db: Quantity | None = None
    ground_current: Quantity | None = None
    noise: Quantity | None = None
    noise_below_full_output_db: Quantity | None = None
    clips_at: Quantity | None = None
    headroom_db: Quantity | None = None
    hum_lines: tuple[Quantity, ...] = ()
    stricter_db: float = 0.0
    """By how much the loudspeaker makes the limits of hum and noise stricter."""

    @property
    def hum_heard(self) -> Audible | None:
        """What is heard of the hum at mains frequency."""
        hum = self.hum_below_full_output_db
        return None if hum is None else hum_heard(hum, self.stricter_db)

    @property
    def buzz_heard(self) -> Audible | None:
        """What is heard of it with its harmonics."""
        buzz = self.buzz_below_full_output_db
        return None if buzz is None else hum_heard(buzz, self.stricter_db)

    @property
    def noise_heard(self) -> Audible | None:
        """What is heard of the noise."""
        noise = self.noise_below_full_output_db
        return None if noise is None else noise_heard(noise, self.stricter_db)


QUANTITIES = tuple(f.name for f in fields(Figures) if f.name not in ("hum_lines", "stricter_db"))

KEEP_WORSE = (
    "hum",
    "hum_below_full_output_db",
    "buzz_below_full_output_db",
    "ground_current",
    "hum_lines",
)
"""Figures of which the worse of equally possible assumptions is reported, not the middle."""

WORSE: dict[str, Literal["low", "high"]] = {
    "level": "low",
    "level_vs_reference_db": "low",
    "loudness_vs_reference_db": "low",
    "full_output_margin_db": "low",
    "played_margin_db": "low",
    "high_corner": "low",
    "hum_below_full_output_db": "low",
    "buzz_below_full_output_db": "low",
    "noise_below_full_output_db": "low",
    "clips_at": "low",
    "headroom_db": "low",
}
"""Which end is the worse one; not listed: the high one."""


@dataclass(frozen=True)
class Scale:
    """What the drive is scaled by: to the operating point, and to the most that may come.

    ``operating`` is None where no operating point is declared, or where it cannot be carried to
    this output; levels then stand at the measured drive. ``surely``: to the most that surely is
    to be had, where that is beyond the operating point, with ``surely_words``. Shapes (N,) or (1,).
    """

    operating: Floats | None
    maximum: Floats
    surely: Floats | None = None
    surely_words: str = ""
    turned_up: bool = True
    """It may be turned up beyond the operating point."""

    @property
    def core(self) -> Floats:
        """What the core of a transformer is judged at."""
        return self.maximum if self.turned_up or self.operating is None else self.operating

    @cached_property
    def key(self) -> tuple[object, ...]:
        """What tells one scale from another."""
        known = (self.operating, self.maximum, self.surely, self.core)
        told = (b"" if drive is None else drive.tobytes() for drive in known)
        return (*told, self.surely_words)


@dataclass(frozen=True)
class Against:
    """What levels are compared with, solved on the same completed source.

    ``level`` has shape (N,), V; ``sensitivity_ratio`` is the reference input's sensitivity over
    this input's (None: not known, so loudness is not).
    """

    level: Floats
    sensitivity_ratio: float | None


@dataclass(frozen=True)
class Leveled:
    """What follows from the level of a solved option, and the level itself, shape (N,), V."""

    figures: Figures
    level: Floats

    def against(self, other: Against | None, at_hz: float) -> Figures:
        """Return the figures with the level against that of another link."""
        if other is None:
            return self.figures
        ratio = self.level / other.level
        wanted: dict[str, Samples] = {"level_vs_reference_db": (_db(ratio), "dB", at_hz)}
        if other.sensitivity_ratio is not None:
            loudness = _db(ratio * other.sensitivity_ratio)
            wanted["loudness_vs_reference_db"] = loudness, "dB", at_hz
        told: dict[str, Any] = each_from_draws(wanted)
        return replace(self.figures, **told)


@dataclass(frozen=True)
class Surroundings:
    """What hum, noise and clipping need to know besides the network.

    ``limits`` tells how high the device drives this option before it clips, None: not known.
    """

    socket: Input
    mains_hz: float
    noise: DeviceNoise
    limits: Limits
    company: tuple[GroundPath, ...] = ()

    def solved(self, response: Response) -> Surrounded:
        """Return what a solved option hears besides its level, and where it clips."""
        return Surrounded(
            hum_of(response, self.socket, self.mains_hz, self.company),
            noise_of(response, self.socket, self.noise),
            self.limits.at_input(response),
        )


@dataclass(frozen=True)
class Surrounded:
    """Hum, noise, and the level at which the device begins to clip; None: not known."""

    hum: Hum | None
    noise: Noise | None
    clips_at: Quantity | None

    def added(self, found: Figures, socket: Input) -> Figures:
        """Return the figures with them, and with headroom."""
        more: dict[str, Any] = {
            "stricter_db": stricter_db(socket.speaker_sensitivity_db),
            "clips_at": self.clips_at,
        }
        if self.hum is not None:
            more |= _of_hum(self.hum)
        if self.noise is not None:
            more |= {"noise": self.noise.volts, "noise_below_full_output_db": self.noise.below}
        if self.clips_at is None or socket.sensitivity_volts is None:
            return replace(found, **more)
        more["headroom_db"] = _above(self.clips_at, socket.sensitivity_volts)
        return _undistorted(replace(found, **more))


def figures(
    response: Response,
    scale: Scale,
    sensitivity_volts: float | None,
    tied_instead: Response | None,
) -> Figures:
    """Return what follows from the level of one solved option.

    ``tied_instead`` is the same connection with pin 3 tied, where the change matters.
    """
    at = response.at
    at_hz = float(response.hz[at])
    level = np.abs(response.level[:, at])
    leg = np.max([np.abs(leg) for leg in (response.hot, response.cold) if leg is not None], axis=0)
    drive = np.ones(1) if scale.operating is None else scale.operating
    relative = _relative(response)
    caused = _caused(response, relative)
    wanted: dict[str, Samples | None] = {
        "level": (level * drive, "V", at_hz),
        "leg_played": (leg * drive, "V", at_hz),
        "level_at_maximum": (level * scale.maximum, "V", at_hz),
        "leg_at_maximum": (leg * scale.maximum, "V", at_hz),
        "drive_current": (_peak(response) * scale.maximum, "A", at_hz),
        "loss_at_20_hz": _near(response.hz, -relative, 20.0),
        "loss_at_20_khz": _near(response.hz, -relative, 20000.0),
        "connection_loss_at_20_hz": _near(response.hz, -caused, 20.0),
        "connection_loss_at_20_khz": _near(response.hz, -caused, 20000.0),
        "core_20_hz_at_maximum": _core(response, scale.core),
    }
    if sensitivity_volts is not None:
        full = sensitivity_volts / np.maximum(level, NO_LEVEL)
        wanted["drive_current_at_full_output"] = _peak(response) * full, "A", at_hz
        wanted["core_20_hz_at_full_output"] = _core(response, full)
        if scale.operating is not None:
            wanted["played_margin_db"] = _db(level * drive / sensitivity_volts), "dB", at_hz
            if scale.surely is not None:
                turned_up = _db(level * scale.surely / sensitivity_volts)
                wanted["full_output_margin_db"] = turned_up, "dB", at_hz
    if tied_instead is not None:
        change = np.abs(_db(level / np.abs(tied_instead.level[:, at])))
        wanted["change_when_tied_db"] = change, "dB", at_hz
    found = each_from_draws({name: of for name, of in wanted.items() if of is not None})
    margin = found.get("full_output_margin_db")
    anywhere, bass = _most(response.hz, -caused, (AUDIO, BASS))
    told: dict[str, Any] = found | {
        "level": _noted(found["level"], scale),
        "most_played": found["level"],
        "full_output_margin_db": margin.with_note(scale.surely_words)
        if margin is not None
        else found.get("played_margin_db"),
    }
    return Figures(
        **told,
        connection_loss_anywhere=anywhere,
        connection_loss_bass=bass,
        low_corner=_corner(response, relative, "low"),
        high_corner=_corner(response, relative, "high"),
        tie_current=tie_current(response, scale.maximum),
    )


def most_level(response: Response, scale: Scale) -> Figures:
    """Return the level where the device gives its most, as `figures` has it, and nothing else."""
    level = np.abs(response.level[:, response.at])
    at_hz = float(response.hz[response.at])
    return Figures(level_at_maximum=from_draws(level * scale.maximum, "V", at_hz))


def with_hum(found: Figures, hum: Hum) -> Figures:
    """Return the figures with this hum."""
    return replace(found, **_of_hum(hum))


def _of_hum(hum: Hum) -> dict[str, Any]:
    return {
        "hum": hum.mains,
        "hum_below_full_output_db": hum.below,
        "buzz_below_full_output_db": hum.all_below,
        "ground_current": hum.ground_current,
        "hum_lines": hum.lines,
    }


UNDISTORTED = "turned up to just below where the device clips"


def _undistorted(found: Figures) -> Figures:
    """Return a margin that is to be had by turning up with no more than comes undistorted."""
    margin, headroom, played = (
        found.full_output_margin_db, found.headroom_db, found.played_margin_db,
    )  # fmt: skip
    if margin is None or margin.note is None or headroom is None or played is None:
        return found
    if headroom.low >= margin.low - NO_DB:
        return found
    clean = replace(headroom, bound=None, note=UNDISTORTED)
    return replace(found, full_output_margin_db=clean if clean.low > played.low else played)


def with_doubt_of_volume(found: Figures) -> Figures:
    """Return a margin that holds both: turned up, and a level at which the device stays.

    Nothing is promised where nobody knows whether it has a volume control.
    """
    margin, played = found.full_output_margin_db, found.played_margin_db
    if margin is None or margin.note is None or played is None:
        return found
    if played.low >= -limit.GAIN_REACHED_DB or margin.high < 0.0:  # the answer is the same
        return replace(found, full_output_margin_db=played)
    both = replace(played, high=margin.high, note=f"{ONLY_WITH_VOLUME}, {margin.note}")
    return replace(found, full_output_margin_db=both)


NO_DB = 0.05
"""Less is not told apart, dB."""


def _above(level: Quantity, volts: float) -> Quantity:
    """Return by how much a level with its doubt lies above ``volts``, dB."""
    value, low, high = _db(np.array([level.value, level.low, level.high]) / volts).tolist()
    return Quantity(value, "dB", low, high, level.at_hz, level.bound, level.note)


MEASURED_DRIVE = "at the measured drive"


def _noted(level: Quantity | None, scale: Scale) -> Quantity | None:
    """Say of a level that it stands where it was measured, not at an operating point."""
    if level is None or scale.operating is not None:
        return level
    return replace(level, note=MEASURED_DRIVE)


def _db(ratio: Floats) -> Floats:
    """Return decibels of a ratio, floored so that no signal is a number."""
    return ratio_to_db(np.maximum(ratio, NOTHING))


def _relative(response: Response) -> Floats:
    """Return the response in dB against the reference frequency, shape (N, G)."""
    level = np.abs(response.level)
    return _db(level / np.maximum(level[:, [response.at]], NO_LEVEL))


def _caused(response: Response, relative: Floats) -> Floats:
    """Return the part of the response that the connection causes, shape (N, G)."""
    own = _own(response.sampled, response.output)
    return relative if own is None else relative - own


@lru_cache(maxsize=64)
def _own(sampled: Sampled, output: str) -> Floats | None:
    """Return the response of an open output in dB against the reference frequency, (N, G)."""
    own = np.abs(sampled.open_level(output))
    if not np.isfinite(own[0]).any():
        return None
    return _db(own / np.maximum(own[:, [sampled.at]], NO_LEVEL))


def _near(hz: Floats, values: Floats, wanted: float, unit: str = "dB") -> Samples | None:
    """Return ``values`` (N, G) at ``wanted``, or at a point within a third of an octave of it."""
    k = int(np.argmin(np.abs(np.log(hz / wanted))))
    if not 1.0 / NEAR_EDGE <= hz[k] / wanted <= NEAR_EDGE:
        return None
    return values[:, k], unit, float(hz[k])


def _core(response: Response, factor: Floats) -> Samples | None:
    """Return what the core of the transformer takes at 20 Hz, as loud there as at 1 kHz, V rms."""
    if response.core is None:
        return None
    return _near(response.hz, np.abs(response.core) * factor[:, None], 20.0, "V")


def _most(
    hz: Floats, losses: Floats, bands: Sequence[tuple[float, float]]
) -> Iterator[Quantity | None]:
    """Yield the largest of ``losses`` (N, G) in each band.

    Its interval runs from the largest lower end to the largest upper end over the frequencies:
    the largest of many doubtful values taken draw by draw would look certain and be too large.
    """
    central = losses[0]
    low, high = central, central
    if losses.shape[0] > 1:
        ends = intervals(losses[1:])
        low, high = np.minimum(ends[0], central), np.maximum(ends[1], central)
    for band in bands:
        inside = (hz >= band[0] / NEAR_EDGE) & (hz <= band[1] * NEAR_EDGE)
        known = np.flatnonzero(inside & np.isfinite(central))
        if not known.size:
            yield None
            continue
        k = known[np.argmax(central[known])]
        least, most = float(low[known].max()), float(high[known].max())
        yield Quantity(min(max(float(central[k]), least), most), "dB", least, most, float(hz[k]))


def tie_current(response: Response, maximum: Floats) -> Quantity | None:
    """Return the peak current in a pin 3 that is tied, None where it is not."""
    if response.tie is None:
        return None
    amperes = np.sqrt(2.0) * np.abs(response.tie) * maximum
    of = from_all if response.spread else from_draws
    return of(amperes, "A", float(response.hz[response.at]))


def _peak(response: Response) -> Floats:
    """Return the peak current out of the terminal that gives more, at the measured drive, A."""
    amperes = np.max([np.abs(drawn) for drawn in response.drawn.values()], axis=0)
    return np.asarray(np.sqrt(2.0) * amperes)


HALF_POWER_DB = float(ratio_to_db(0.5**0.5))


def _corner(response: Response, relative: Floats, side: Literal["low", "high"]) -> Quantity | None:
    """Return the -3 dB point on one side of the reference, or how far the response holds."""
    known = np.isfinite(relative[0])
    if not known[response.at]:
        return None
    hz, db, at = response.hz[known], relative[:, known], int(known[: response.at].sum())
    if side == "low":
        hz, db, at = hz[::-1], db[:, ::-1], hz.size - 1 - at
    hz, db = hz[at:], db[:, at:]
    crossings = _first_crossing(np.log(hz), db, HALF_POWER_DB)
    return _within(crossings, float(hz[-1]), side)


def _within(crossings: Floats, end: float, side: Literal["low", "high"]) -> Quantity:
    """Return a corner from where each draw crosses, NaN where none does up to ``end`` Hz.

    A bound where one of forty draws never crosses: how far out it lies is not known then.
    """
    bound: Literal["above", "below"] = "above" if side == "high" else "below"
    never = np.isnan(crossings)
    found = np.where(never, end, np.exp(crossings))
    beyond = never[0] or (never.size > 1 and never[1:].mean() > BEYOND_SHARE)
    known = from_draws(found, "Hz")
    assert known is not None  # every draw has a frequency
    if not beyond:
        return known
    sure = known.low if side == "high" else known.high
    note = OUTERMOST if sure == end else PERHAPS_BEYOND
    return Quantity(sure, "Hz", sure, sure, bound=bound, note=note)


BEYOND_SHARE = 0.025
"""Share of draws outside one end of a 95 % interval."""


def _first_crossing(x: Floats, db: Floats, limit: float) -> Floats:
    """Return where each row of ``db`` first falls below ``limit``, NaN where it never does."""
    below = db < limit
    k = np.argmax(below, axis=1)
    reached = below.any(axis=1) & (k > 0)
    rows = np.arange(db.shape[0])
    left = np.maximum(k - 1, 0)
    a, b = db[rows, left], db[rows, k]
    with np.errstate(divide="ignore", invalid="ignore"):
        t = (a - limit) / (a - b)
        place = x[left] + t * (x[k] - x[left])
    return np.where(reached, place, np.nan)


def _merge(
    parts: Sequence[Figures], combine: Callable[[str, list[Quantity | None]], Quantity | None]
) -> Figures:
    merged = {n: combine(n, [getattr(p, n) for p in parts]) for n in QUANTITIES}
    lines = [
        combine("hum_lines", list(same))
        for same in zip(*(p.hum_lines for p in parts), strict=False)
    ]
    return Figures(
        **merged,
        hum_lines=tuple(q for q in lines if q is not None),
        stricter_db=max(p.stricter_db for p in parts),
    )


def over_assumptions(parts: Sequence[Figures]) -> Figures:
    """Return the figures of equally possible assumptions as one, intervals spanning them.

    Of hum the worse one: a mismatch of the input is given without its sign. Assumptions that come
    to the same figures count once.
    """
    parts = list({id(part): part for part in parts}.values())
    return parts[0] if len(parts) == 1 else _merge(parts, _spanning_or_worse)


def _spanning_or_worse(name: str, found: list[Quantity | None]) -> Quantity | None:
    return worst(found, WORSE.get(name, "high")) if name in KEEP_WORSE else spanning(found)


def over_cases(parts: Sequence[Figures]) -> Figures:
    """Return the worse figure of several possible kinds or receivers, intervals spanning them."""
    if len(parts) == 1:
        return parts[0]
    return _merge(parts, lambda n, found: worst(found, WORSE.get(n, "high")))


def worse_side(parts: Sequence[Figures]) -> Figures:
    """Return of each figure the one of the side that is worse off, with its own interval.

    Both sides are connected alike; what is known of one alone is not known of the pair.
    """
    return parts[0] if len(parts) == 1 else _merge(parts, _of_worse_side)


def _of_worse_side(name: str, found: list[Quantity | None]) -> Quantity | None:
    known = [q for q in found if q is not None]
    if len(known) < len(found):
        return None
    if WORSE.get(name, "high") == "low":
        return min(known, key=lambda q: q.low)
    return max(known, key=lambda q: q.high)
