"""Whether recordings with the same channels are one open take and loads on it, at one volume.

A passive resistor lowers the leg it is on. The other leg stands, or, where the pair floats, rises
by no more volts than the loaded one falls. A moved volume changes all channels by one factor. So a
take whose legs fall alike may be a load between them as well as a lower volume, one whose legs fall
unequally a load and a moved volume, and one that rises in all its channels is no load at all.

Nor need the loudest take be open: two takes of which one has a leg loaded and the other a load
between the legs look like an open take and a load on the other leg. The legs of the one are then
as far apart as the other fell.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from probe.bench.draft.names import Ends, named
from probe.bench.draft.views import SILENT_DB, View

MOVED_DB = 0.05
"""Levels that differ by less are one level: drift, not a load."""

FAINT_LEG_DB = 30.0
"""A leg so far below the other in the open take has no signal of its own."""

LIFTED_DB = 6.0
"""A load between the legs lifts a faint one by more; noise does not."""

FAINT_SWING_DB = 6.0
"""... and one on it lowers it by less than this, where hot keeps its level."""

ALIKE = 0.5
"""Two legs of a floating pair that fall by amounts closer than this share of the larger fell
together."""

TOGETHER_DB = 0.1
"""... and two legs of which each has its own impedance, within this."""

LEVEL_LEGS_DB = 6.0
"""The legs of a floating pair with nothing on them differ by less (common practice, no source)."""

FLOATING_DB = 3.0
"""A load on a leg of a floating pair lowers it by more: its path to ground is no smaller than the
load. Less is also what two takes look like of which each has a load on another leg."""

DIFFERENCE_DB = 0.1
"""... while the difference of the legs stands within this: the source between them is strong."""

SAME_LOAD_DB = 0.1
"""Takes with the resistor at the same place fall alike; else one of them is a moved volume."""

APART_SHARE = 0.5
"""Legs further apart in the take for open than this share of what the one load of the others took
from the louder: the other may be loaded there already. Healthy legs are level."""

Levels = Mapping[str, float]


@dataclass(frozen=True)
class Pattern:
    """What a take is against the open one.

    Attributes
    ----------
    ends
        Where a load hangs; None: no load, or nothing explains the levels.
    sure
        ``same``: no load; ``one``: a load that leaves something as it was, so the volume stood;
        ``lifted``: a load between the legs, of which one has no signal; ``both``: a load or a
        moved volume; ``silent``: a leg that cannot be heard; ``none``: no load explains it.
    size_db
        How far it fell.
    unequal_db
        How much further one leg fell than the other, of a load between the legs.
    floating
        The other leg rose, as it does where the pair floats.
    """

    ends: Ends | None
    sure: str
    size_db: float = 0.0
    unequal_db: float = 0.0
    floating: bool = False


@dataclass(frozen=True)
class Together:
    """How the takes of one group stand to the one taken for open.

    Attributes
    ----------
    open
        The take that explains most of the others as loads on it.
    patterns
        Of every take, by name; of the open one ``same``.
    asked
        Takes that no load explains at the same volume.
    doubt
        In words, why nothing of the group may be stated: the open one may be another.
    """

    open: View
    patterns: Mapping[str, Pattern]
    asked: frozenset[str]
    doubt: str


def together(
    views: Sequence[View],
    injected: Sequence[View],
    ends: Sequence[str],
    others: Sequence[View],
    ohms: Mapping[str, float],
) -> Together:
    """Look for the open take of a group.

    Parameters
    ----------
    views
        Takes with the same tones and channels, none of them injected into.
    injected
        ... and those that are: an injector lowers its leg, if only by a little.
    ends
        The terminals recorded.
    others
        Takes of the same tones with other channels: one whose leg has the same level shows that
        the volume stood.
    ohms
        Of the loads on a ``leg`` and ``across``, where they are known.
    """
    tried = [_tried(v, views, injected, ends, others, ohms) for v in views]
    best = min(tried, key=lambda t: (len(t[0].asked), *_said(t[0].open), -t[1], -t[2]))
    found = best[0]
    doubt = _doubt(found, len(views) + len(injected)) or _loaded_already(found, ends)
    if len(views) == 1 and injected and not doubt:
        doubt = _moved_beside(found.open, injected, ends)
    return Together(found.open, found.patterns, found.asked, doubt)


def _tried(
    view: View,
    views: Sequence[View],
    injected: Sequence[View],
    ends: Sequence[str],
    others: Sequence[View],
    ohms: Mapping[str, float],
) -> tuple[Together, int, float]:
    """Return the group seen from one take as the open one, its support, its level."""
    patterns = {v.hearing.name: pattern_of(view, v, ends) for v in views}
    held = [p for p in patterns.values() if p.sure == "one"]
    support = len({p.ends for p in held}) + any(_stands(view, other) for other in others)
    agree = _sizes_agree(patterns.values(), ohms)
    complete = _complete(patterns.values())
    asked = {
        name
        for name, p in patterns.items()
        if p.sure == "none"
        or (
            p.sure == "both"
            and not (complete or (agree and p.unequal_db < TOGETHER_DB))
            and not named(name).confirms(p.ends)
        )
    }
    asked |= {v.hearing.name for v in injected if _risen(view, v, ends)}
    total = sum(max(level, -100.0) for level in levels(view, ends).values())
    return Together(view, patterns, frozenset(asked), ""), support, total


def _complete(patterns: Iterable[Pattern]) -> bool:
    """Whether takes are so many that the one that fell as a whole is a load, not the volume.

    That is with two takes that are open and, of a floating pair, a load on either leg: a third
    open take, at another volume, is not usual.
    """
    every = list(patterns)
    open_ = [p for p in every if p.sure in ("same", "silent")]
    both = [p for p in every if p.sure == "both"]
    floating = {p.ends for p in every if p.floating}
    one_leg = all(p.ends != ("hot", "cold") for p in both)
    return len(open_) > 1 and len(both) == 1 and (len(floating) > 1 or one_leg)


def _sizes_agree(patterns: Iterable[Pattern], ohms: Mapping[str, float]) -> bool:
    """Whether takes that fell as a whole fell as far as loads on one leg foretell.

    Of a floating pair, or one with a silent leg, nothing foretells that: a moved volume looks
    alike. Where the ohms are not known the load between the legs has twice those of one leg.
    """
    every = list(patterns)
    both = [p for p in every if p.sure == "both"]
    if not both:
        return True
    single = {p.ends: 10.0 ** (p.size_db / 20.0) - 1.0 for p in every if p.sure == "one"}
    across = all(p.ends == ("hot", "cold") for p in both)
    if not single or not across or any(p.floating for p in every):
        return False
    ratio = ohms["leg"] / ohms["across"] if {"leg", "across"} <= set(ohms) else 0.5
    # sources of single x ohm each: both of them against the load between the legs
    foretold = 20.0 * math.log10(1.0 + 2.0 * ratio * sum(single.values()) / len(single))
    sizes = [foretold, *(p.size_db for p in both)]
    return max(sizes) - min(sizes) < SAME_LOAD_DB


def _doubt(found: Together, count: int) -> str:
    """Return in words why the open take may be another, or nothing."""
    names = [n for n, p in found.patterns.items() if p.sure in ("same", "one", "lifted", "both")]
    against = [
        n
        for n in names
        if named(n).load is not None
        and named(n).load != (found.patterns[n].ends is not None)
        and not named(n).inject
    ]
    if against:
        return (
            f"the names of the files say otherwise ({', '.join(against)}); the volume may have "
            "been moved between these takes"
        )
    held = {p.ends for p in found.patterns.values() if p.sure == "one"}
    alike = sum(p.sure in ("same", "silent") for p in found.patterns.values())
    stood = bool(held) or alike > 1  # a lower volume in one take then says nothing of the others
    lower = {n for n, p in found.patterns.items() if p.sure == "both" and stood}
    if found.asked - lower and len(held) < 2:
        return (
            f"no one of these {count} takes makes all others loads at the same volume; it may have "
            "been moved between them"
        )
    return ""


def _loaded_already(found: Together, ends: Sequence[str]) -> str:
    """Return in words why the take for open may have a load on its quieter leg."""
    ones = [p for p in found.patterns.values() if p.sure == "one"]
    held = {p.ends: p.size_db for p in ones if p.ends is not None}
    if len(held) != 1 or "single-ended" in ends or named(found.open.hearing.name).load is False:
        return ""
    ((loaded, _), fell) = held.popitem()
    at = levels(found.open, ends)
    ahead = at[loaded] - min(at.values())
    top = max(at.values())
    if not APART_SHARE * fell < ahead < FAINT_LEG_DB or at[loaded] < top - MOVED_DB:
        return ""
    return (
        f"in the loudest of these takes, {found.open.hearing.name}, the legs are {ahead:.2f} dB "
        "apart already: a load may hang on the quieter one there, and between the legs in the other"
    )


def _moved_beside(open_: View, injected: Sequence[View], ends: Sequence[str]) -> str:
    """Return in words why nothing shows that the only take without an injection is open."""
    if named(open_.hearing.name).load is False:
        return ""
    before = levels(open_, ends)
    sounding = [r for r in ends if before[r] > max(before.values()) - SILENT_DB]
    for view in injected:
        after = levels(view, ends)
        still = min(abs(after[r] - before[r]) for r in sounding) <= MOVED_DB
        level = max(before.values()) - min(before.values()) < LEVEL_LEGS_DB
        if len(sounding) > 1 and (still or (level and abs(_kept(before, after)) <= MOVED_DB)):
            return ""
    return (
        "no leg kept its level between this take and those injected into: it may be loaded, and "
        "the volume moved"
    )


def pattern_of(open_: View, view: View, ends: Sequence[str]) -> Pattern:
    """Return what lowered the levels of the open take to those of another."""
    before, after = levels(open_, ends), levels(view, ends)
    fall = {r: before[r] - after[r] for r in before}
    top = max(before.values())
    faint = [r for r in ends if before[r] < top - FAINT_LEG_DB]
    if len(faint) == 1 and "single-ended" not in ends:
        silent = before[faint[0]] < top - SILENT_DB
        live = next(r for r in ends if r not in faint)
        turned = view.turned(view.roles.index(live), view.roles.index(faint[0]))
        return _faint_pattern(fall, faint[0], live, silent=silent, alike=abs(turned) < np.pi / 2)
    if all(abs(d) <= MOVED_DB for d in fall.values()):
        return Pattern(None, "same")
    first = max(fall, key=lambda r: fall[r])
    rest = [d for r, d in fall.items() if r != first]
    if fall[first] <= MOVED_DB or len(rest) != 1:
        return Pattern(None, "none")
    if abs(rest[0]) <= MOVED_DB:
        return Pattern((first, "ground"), "one", fall[first])
    if "single-ended" in ends:
        return Pattern(None, "none")
    if rest[0] < 0.0:
        level = abs(before["hot"] - before["cold"]) < LEVEL_LEGS_DB
        paired = level and open_.opposite(open_.roles.index("hot"), open_.roles.index("cold"))
        return _floating_pattern(before, after, first) if paired else Pattern(None, "none")
    if fall[first] - rest[0] < max(ALIKE * fall[first], TOGETHER_DB):
        return Pattern(("hot", "cold"), "both", fall[first], fall[first] - rest[0])
    return Pattern(None, "none")


def _faint_pattern(fall: Levels, faint: str, live: str, *, silent: bool, alike: bool) -> Pattern:
    """Return what lowered a pair of which one leg has no signal of its own.

    Through a load between the legs such a leg hears the other, in phase with it (``alike``).
    """
    if fall[live] < -MOVED_DB:
        return Pattern(None, "none")
    if fall[faint] < -LIFTED_DB:
        return Pattern(("hot", "cold"), "lifted", fall[live]) if alike else Pattern(None, "none")
    still = not silent and abs(fall[faint]) <= MOVED_DB
    if fall[live] > MOVED_DB:
        if not silent and not still:
            return Pattern(
                None, "none"
            )  # what is heard on the faint leg falls with the volume only
        return Pattern((live, "ground"), "one" if still else "both", fall[live])
    if still:
        return Pattern(None, "same")
    heard = not silent and MOVED_DB < fall[faint] < FAINT_SWING_DB
    return Pattern((faint, "ground"), "one" if heard else "silent", fall[faint])


def _floating_pattern(before: Levels, after: Levels, loaded: str) -> Pattern:
    """Return whether one leg falls and the other rises as a load on a floating pair makes them."""
    fall = before[loaded] - after[loaded]
    if fall > FLOATING_DB and abs(_kept(before, after)) < DIFFERENCE_DB:
        return Pattern((loaded, "ground"), "one", fall, floating=True)
    return Pattern(None, "none")


def _risen(open_: View, injected: View, ends: Sequence[str]) -> bool:
    """Whether a take with an injector is louder than the open one, which no injector makes it."""
    before, after = levels(open_, ends), levels(injected, ends)
    top = max(before.values())
    rise = [after[r] - before[r] for r in ends if before[r] > top - SILENT_DB]
    if max(rise) <= MOVED_DB:
        return False
    if min(rise) > -MOVED_DB or _kept(before, after) > MOVED_DB:
        return True
    return max(before.values()) - min(before.values()) > LEVEL_LEGS_DB  # no floating pair at rest


def _kept(before: Levels, after: Levels) -> float:
    """Return how far the difference of opposite legs rose, dB."""
    volts = [sum(10.0 ** (level / 20.0) for level in one.values()) for one in (after, before)]
    return 20.0 * math.log10(volts[0] / volts[1])


def levels(view: View, ends: Sequence[str]) -> Levels:
    """Return the level of every terminal, dB."""
    return {r: view.level[view.roles.index(r)] for r in ends}


def _stands(view: View, other: View) -> bool:
    """Whether a leg of this take has the same level beside another output."""
    if other.hearing.injected.any():
        return False
    shared = [r for r in ("hot", "cold") if r in view.roles and r in other.roles]
    return any(
        abs(view.level[view.roles.index(r)] - other.level[other.roles.index(r)]) <= MOVED_DB
        and view.carries(view.roles.index(r))
        for r in shared
    )


def _said(view: View) -> tuple[bool, bool]:
    """Return what sorts takes whose names say that they are open first, and loaded ones last."""
    load = named(view.hearing.name).load
    return load is True, load is None
