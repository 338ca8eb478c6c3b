"""What an attenuator is to take off: what is needed, what is wished beyond it, and what for."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

from probe.advice import thresholds as limit
from probe.advice.attenuator import KEPT_DB, LEAST_KEPT_DB, sizes
from probe.advice.audible import stricter_db
from probe.advice.destination import Destination, Input
from probe.advice.model import OptionAdvice
from probe.advice.quantity import Quantity
from probe.decibels import ratio_to_db

LEAST_DB = 1.0
"""Less is not worth a soldering iron. [judgement]"""

Fit = Literal["always", "where-it-solves", "never"]
"""When an attenuator goes in rather than being offered."""


@dataclass(frozen=True)
class Wanted:
    """The attenuation, and what for; ``fits``: when it goes in rather than being offered."""

    decibels: float
    why: str
    fits: Fit
    least: float | None = None
    """What it takes off at the least so that the input accepts what comes, dB."""
    needed: float | None = None
    """What cures all that is told, with what is kept for resistors where that protects; what is
    more in ``decibels`` is a wish. None where it is as much as that."""

    @property
    def sizes(self) -> tuple[float, ...]:
        """Sizes as they are tried: smaller ones where the first costs full output."""
        return (self.decibels,) if self.least is None else sizes(self.least)

    @property
    def at_hand(self) -> float:
        """The least that one on the shelf takes off, dB."""
        if self.needed is None:
            return self.decibels - KEPT_DB
        return min(self.decibels, self.needed)


def wanted_of(bare: OptionAdvice, socket: Input, destination: Destination) -> Wanted | None:
    """Return what is to be taken off, or None."""
    f = bare.figures
    if bare.verdict == "never" or f.level_at_maximum is None:
        return None
    asked = destination.attenuation(socket.box)
    if asked is not None:
        return Wanted(asked, f"{asked:g} dB are asked for", "always")
    over = _over(bare, socket)
    excess = _excess(bare, over=over is not None)
    wanted_gain = destination.wanted(socket.box)
    if over is not None:
        # what is ever played was said, or nobody can turn it down: then it will come; a maximum is
        # a matter of the volume
        played = destination.operating_volts is not None or bare.never_turned_up
        why = f"the output {'gives' if played else 'can give'} more than the input accepts"
        fits = played and wanted_gain <= 0.0  # who wants more is given no less
        over = max(over, 0.0)
        fit: Fit = "where-it-solves" if fits else "never"
        needs = [Wanted(sizes(over)[0], why, fit, over, over + LEAST_KEPT_DB)]
        needs += [replace(n, fits=needs[0].fits) for n in (excess, hum_wanted(bare, socket)) if n]
        return _largest(needs)
    louder = f.loudness_vs_reference_db or f.level_vs_reference_db
    if wanted_gain < 0.0 and louder is not None:
        less = louder.value - wanted_gain
        if less >= LEAST_DB:
            return Wanted(less, f"{wanted_gain:g} dB are wanted", "where-it-solves")
    heard = [n for n in (hum_wanted(bare, socket), _noise(bare, socket)) if n]
    if excess:
        return _largest((excess, *heard))
    margin = f.full_output_margin_db
    # by itself only where so much level is to spare that as much stays in hand as elsewhere
    spare = [n for n in heard if margin and margin.low - n.decibels >= limit.SPARE_DB]
    return _largest(spare) if spare else None


def _largest(wanted: Sequence[Wanted]) -> Wanted:
    """Return the largest of several, the first of those that are alike, that cures all of them."""
    held = max(wanted, key=lambda n: n.decibels)
    needed = [n.decibels if n.needed is None else n.needed for n in wanted]
    return replace(held, needed=max(needed))


def _over(bare: OptionAdvice, socket: Input) -> float | None:
    """Return what has to be taken off so that the input accepts what surely can come, dB."""
    if not overloaded(bare):
        return None  # nothing is soldered against a level that merely is assumed
    return beyond_db(bare, socket)


def beyond_db(option: OptionAdvice, socket: Input) -> float | None:
    """Return by how much what surely can come is more than the input accepts, dB."""
    f = option.figures
    held = (
        (f.level_at_maximum, f.most_played, socket.maximum_volts),
        (f.leg_at_maximum, f.leg_played, socket.maximum_per_leg_volts),
    )
    return max(
        (float(ratio_to_db(comes.high / most)) for top, played, most in held
         if (comes := played if option.never_turned_up else top) and most), default=None,
    )  # fmt: skip


def _excess(bare: OptionAdvice, *, over: bool) -> Wanted | None:
    """Return what has to be taken off so that the volume control is usable, or None.

    ``over``: the input is overloaded, which is told in place of the excess.
    """
    margin = bare.figures.played_margin_db
    told = over or any(h.code == "excess-level" for h in bare.hazards)
    if margin is None or not told or margin.low <= limit.EXCESS_DB:
        return None
    why = f"{margin.value:.0f} dB more than the input needs reach it"
    wished = float(round(margin.value - limit.SPARE_DB))
    return Wanted(wished, why, "never", needed=margin.value - limit.EXCESS_DB)


def hum_wanted(bare: OptionAdvice, socket: Input) -> Wanted | None:
    """Return what has to be taken off of level, and of hum with it, so that it is heard no more."""
    hum = bare.figures.hum_below_full_output_db
    return _against(bare, socket, hum, limit.HUM_AVOID_DB, "hum")


def _noise(bare: OptionAdvice, socket: Input) -> Wanted | None:
    """Return the same against the noise of the device."""
    noise = bare.figures.noise_below_full_output_db
    return _against(bare, socket, noise, limit.NOISE_HEARD_DB, "noise")


def _against(
    bare: OptionAdvice, socket: Input, heard: Quantity | None, quiet: float, what: str
) -> Wanted | None:
    """Return what lowers something to ``quiet`` dB below full output; None where that costs it."""
    margin = bare.figures.full_output_margin_db
    if heard is None or margin is None:
        return None
    missing = quiet + stricter_db(socket.speaker_sensitivity_db) - heard.low
    least = max(missing, 0.0) + LEAST_KEPT_DB
    needed = next(
        (size for size in sizes(least - LEAST_KEPT_DB) if least <= size <= margin.low), None
    )
    if missing <= 0.0 or needed is None:
        return None
    return Wanted(needed, f"it takes as much off the {what}", "never", needed=least)


def overloaded(option: OptionAdvice) -> bool:
    """Tell whether the input surely may get more than it accepts."""
    return any(h.code == "overload" and not h.assumed for h in option.hazards)
