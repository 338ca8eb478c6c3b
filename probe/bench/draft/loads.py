"""Whether something hangs on a leg, from levels against the open take and from files' names.

Nothing that rests on levels alone is known: the open take, too, is asked about or marked.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

from probe.bench.draft.names import named, words_of
from probe.bench.draft.together import MOVED_DB, Together, levels, together
from probe.bench.draft.views import SILENT_DB, Answer, LoadAnswer, View

INJECTOR_DB = 0.5
"""The silent resistor of an injector lowers a leg by up to this."""

_ALONE = "no other recording with these tones and channels to compare with"
_UNHEARD = "one leg is silent, and a load on it cannot be heard"
_INJECTOR_ALONE = "its levels are those of an injector alone"
_MOVED = "or the volume was moved"


def load_of(
    view: View, playing: Sequence[View], inject: Answer | None, ohms: Mapping[str, float]
) -> LoadAnswer:
    """Compare with the open take of the same channels; a difference nothing explains is asked."""
    answer = _by_levels(view, playing, inject, ohms)
    said = named(view.hearing.name)
    if said.inject and inject is None:
        why = f"{answer.why}; the file's name speaks of an injection, of which no tone is heard"
        return replace(answer, sure="open", why=why, likely_none=False)
    ends = None if answer.likely_none else (answer.from_, answer.to)
    stated = answer.likely_none or answer.sure == "likely"
    against = said.against(ends) if stated and inject is None else ""
    if against:
        return replace(answer, sure="open", why=f"{answer.why}; {against}", likely_none=False)
    return answer


def _by_levels(
    view: View, playing: Sequence[View], inject: Answer | None, ohms: Mapping[str, float]
) -> LoadAnswer:
    tones = view.hearing.sets.played
    playing = [v for v in playing if v.hearing.sets.played == tones]
    alike = [v for v in playing if _group(v) == _group(view)]
    if not any(v is view for v in playing):
        return _asked("its level does not stand still")
    if alike == [view]:
        said = named(view.hearing.name).load
        if said is False:
            why = f"{_ALONE}; the file's name says that nothing hung on it"
            return LoadAnswer("hot", "ground", "open", why, likely_none=True)
        return _asked(f"{_ALONE}; the file's name speaks of a load" if said else _ALONE)
    if not view.roles:
        if not all(v.hearing.channels == 2 and v.opposite(0, 1) for v in alike):
            return _asked("levels differ, and which channel heard what is not known")
        alike = [replace(v, roles=["hot", "cold"]) for v in alike]
    bare = [v for v in alike if not v.hearing.injected.any()]
    me = next(v for v in alike if v.hearing is view.hearing)
    ends = [r for r in me.roles if r in ("hot", "cold", "single-ended")]
    others = [v for v in playing if v.roles and _group(v) != _group(view)]
    injected = [v for v in alike if v.hearing.injected.any()] if bare else []
    found = together(bare or alike, injected, ends, others if view.roles else [], ohms)
    falls = _words(found.open, me, ends)
    if found.doubt:
        return _asked(f"{falls}; {found.doubt}")
    if inject is not None:
        return _beside_injection(found, me, ends, inject, falls)
    answer = _stated(found, me, falls)
    if view.roles or answer.likely_none:
        return answer
    return _asked(f"{falls}; a load, another pairing, or the volume")


def _group(view: View) -> tuple[object, ...]:
    """Return what takes must share to be compared: terminals, and the side where names say it."""
    side = {"left", "right"} & set(words_of(view.hearing.name))
    return (view.hearing.channels, *sorted(view.roles), *sorted(side))


def _asked(why: str) -> LoadAnswer:
    return LoadAnswer("hot", "ground", "open", why)


def _words(open_: View, view: View, ends: Sequence[str]) -> str:
    """Return in words how far a take lies from the one taken for open."""
    before, after = levels(open_, ends), levels(view, ends)
    if view is open_:
        return "the other takes are compared with this one"
    differ = ", ".join(f"{r} {after[r] - before[r]:+.2f} dB" for r in ends)
    return f"against {open_.hearing.name}: {differ}"


def _stated(found: Together, view: View, falls: str) -> LoadAnswer:
    """Return what the levels of a take are likely from."""
    pattern = found.patterns[view.hearing.name]
    if view.hearing.name in found.asked:
        return _asked(f"{falls}; {_MOVED}")
    if pattern.sure == "silent":
        assert pattern.ends is not None
        return LoadAnswer(*pattern.ends, "open", _UNHEARD, likely_none=True)
    if pattern.ends is None:
        why = (
            "by the levels this is an open take, and the volume stood the same in all takes; a "
            "volume that was moved, or a load on every take, would look alike"
        )
        return LoadAnswer("hot", "ground", "open", why, likely_none=True)
    more = f"; {_MOVED}" if pattern.sure == "both" else ""
    return LoadAnswer(*pattern.ends, "likely", f"{falls}{more}")


def _beside_injection(
    found: Together, view: View, ends: Sequence[str], inject: Answer, falls: str
) -> LoadAnswer:
    """Return what is thought of a load beside an injector, which is a load on its leg itself."""
    before, after = levels(found.open, ends), levels(view, ends)
    sounding = [r for r in ends if before[r] > max(before.values()) - SILENT_DB]
    fall = {r: before[r] - after[r] for r in sounding}
    moved = view.hearing.name in found.asked or all(d < -MOVED_DB for d in fall.values())
    small = all(abs(d) <= INJECTOR_DB for d in fall.values())
    if not moved and (small or all(r == inject.value or d <= INJECTOR_DB for r, d in fall.items())):
        return LoadAnswer("hot", "ground", "open", _INJECTOR_ALONE, likely_none=True)
    return _asked(f"{falls}, more than an injector does; {_MOVED}")
