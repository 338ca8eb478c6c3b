"""Whether something hangs on a leg, from levels against the open take."""

from __future__ import annotations

from collections.abc import Sequence

from probe.bench.draft.views import SILENT_DB, Answer, LoadAnswer, Sure, View

MOVED_DB = 0.05
"""Levels that differ by less are one level: drift, not a load."""

INJECTOR_DB = 0.5
"""The silent resistor of an injector lowers a leg by up to this."""

FAINT_LEG_DB = 30.0
"""A leg so far below the other in the open take has no signal of its own."""

LIFTED_DB = 6.0
"""A load between the legs lifts a faint one by more; noise does not."""

FAINT_SWING_DB = 6.0
"""... and one on it lowers it by less than this, where hot keeps its level."""

ALIKE = 0.5
"""Two legs that fall by amounts closer than this share of the larger fell together."""


def load_of(view: View, playing: Sequence[View], inject: Answer | None) -> LoadAnswer | None:
    """Compare with the open take of the same channels; a difference nothing explains is asked."""
    tones = view.hearing.sets.played
    playing = [v for v in playing if v.hearing.sets.played == tones]
    if not view.roles:
        return _unnamed_load(view, playing, inject)
    alike = [v for v in playing if sorted(v.roles) == sorted(view.roles)]
    if alike in ([], [view]):
        return LoadAnswer("hot", "ground", "open", _ALONE, likely_none=True)
    ends = [r for r in view.roles if r in ("hot", "cold", "single-ended")]
    open_take = _open_take(alike, ends)
    fall = {r: _level_of(open_take, r) - _level_of(view, r) for r in ends}
    least = MOVED_DB if inject is None else INJECTOR_DB
    why = "against the open take: " + ", ".join(f"{r} {-d:+.2f} dB" for r, d in fall.items())
    faint = [r for r in ends if _level_of(open_take, r) < max(open_take.level) - FAINT_LEG_DB]
    silent = [r for r in faint if _level_of(open_take, r) < max(open_take.level) - SILENT_DB]
    if silent and all(abs(d) <= least for r, d in fall.items() if r not in silent):
        if fall[silent[0]] > -LIFTED_DB:
            return LoadAnswer(silent[0], "ground", "open", _UNHEARD, likely_none=True)
    elif max(abs(d) for d in fall.values()) <= least:
        return None
    if inject is not None:
        if all(r == inject.value or d <= least for r, d in fall.items()):
            return None  # the injector itself is a load on its leg
        return LoadAnswer("hot", "ground", "open", f"{why}, more than an injector does")
    if "single-ended" in ends:
        other = next(iter(r for r in ends if r != "single-ended"), "single-ended")
        if fall["single-ended"] > least and abs(fall[other]) <= least:
            return LoadAnswer("single-ended", "ground", "likely", why)
        return LoadAnswer("single-ended", "ground", "open", f"{why}; or the volume was moved")
    return _leg_load(fall, faint, least, why)


def _unnamed_load(view: View, playing: Sequence[View], inject: Answer | None) -> LoadAnswer | None:
    """Ask for a load where nobody knows which channel heard what, but levels are not the usual."""
    alike = [v for v in playing if v.hearing.channels == view.hearing.channels]
    bare = [v for v in alike if not v.hearing.injected.any()] or alike
    if alike in ([], [view]):
        return LoadAnswer("hot", "ground", "open", _ALONE, likely_none=True)
    most = max(bare, key=lambda v: sum(v.level))
    apart = [abs(a - b) for a, b in zip(sorted(view.level), sorted(most.level), strict=True)]
    if max(apart) <= (MOVED_DB if inject is None else INJECTOR_DB):
        return None
    why = f"levels up to {max(apart):.2f} dB from those of the loudest take"
    return LoadAnswer("hot", "ground", "open", f"{why}; a load, another pairing, or the volume")


_ALONE = "no other recording with these tones and channels to compare with"
_UNHEARD = "one leg is silent, and a load on it cannot be heard"


def _leg_load(
    fall: dict[str, float], faint: Sequence[str], least: float, why: str
) -> LoadAnswer | None:
    """Say where on the legs a load hangs, from how far each fell against the open take."""
    hot, cold = fall.get("hot", 0.0), fall.get("cold", 0.0)
    if faint:
        silent, live = ("hot", "cold") if faint == ["hot"] else ("cold", "hot")
        if fall.get(silent, 0.0) < -LIFTED_DB:
            return LoadAnswer("hot", "cold", "likely", why)
        if fall.get(live, 0.0) > least:
            return LoadAnswer(live, "ground", "likely", why)
        if abs(fall.get(live, 0.0)) <= least and fall.get(silent, 0.0) < FAINT_SWING_DB:
            sure: Sure = "likely" if fall.get(silent, 0.0) > least else "open"
            return LoadAnswer(silent, "ground", sure, f"{why}; or noise of a silent leg")
        return LoadAnswer(silent, "ground", "open", why)
    if hot > least and cold > least and abs(hot - cold) < ALIKE * max(hot, cold):
        return LoadAnswer("hot", "cold", "likely", why + "; or the volume was moved")
    if max(hot, cold) > least:
        return LoadAnswer("hot" if hot > cold else "cold", "ground", "likely", why)
    return LoadAnswer("hot", "ground", "open", why + "; or the volume was moved")


def _open_take(alike: Sequence[View], ends: Sequence[str]) -> View:
    """Return the open take: the one whose levels add up to the most.

    A load lowers one terminal by more dB than it lifts another. Terminals that are silent in some
    take do not count, nor takes with an injector where others are there.
    """
    bare = [v for v in alike if not v.hearing.injected.any()] or list(alike)
    sounding = [
        r for r in ends if all(_level_of(v, r) > max(v.level) - SILENT_DB for v in bare)
    ] or list(ends)
    return max(bare, key=lambda v: sum(_level_of(v, r) for r in sounding))


def _level_of(view: View, role: str) -> float:
    return view.level[view.roles.index(role)]
