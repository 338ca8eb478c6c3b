"""From what is heard to what was plugged: answers, each with how sure it is.

*known*: the recording shows it. *likely*: what is heard is usual for it, and something else would
sound alike. *open*: nothing in the recordings tells. Levels are compared with the open take: of the
recordings with the same channels the one whose levels add up to the most.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Literal

import numpy as np

from probe.bench.draft.hear import Hearing

Sure = Literal["known", "likely", "open"]
Words = tuple[str, ...]

SILENT_DB = 60.0
"""A channel so far below the loudest of its recording carries nothing of the device's tones."""

FAINT_DB = 10.0
"""A single-ended output stands within this of a leg; what is fainter, and not opposite, is a leg
that only hears the other through a load or a stray."""

MOVED_DB = 0.05
"""Levels that differ by less are one level: drift, not a load."""

INJECTOR_DB = 0.5
"""The silent resistor of an injector lowers a leg by up to this."""

STEADY_DB = 0.03
"""A reference stays within this through all recordings."""

PHASE_RAD = np.pi / 3
"""In phase or opposite: within 60 degrees of it, as polarity is told elsewhere."""

LEG_DB = 6.0
"""The leg that is injected into hears so much more than the other, unless legs are coupled."""

FAINT_LEG_DB = 30.0
"""A leg so far below the other in the open take has no signal of its own."""

LIFTED_DB = 6.0
"""A load between the legs lifts a faint one by more; noise does not."""

FAINT_SWING_DB = 6.0
"""... and one on it lowers it by less than this, where hot keeps its level."""

ALIKE = 0.5
"""Two legs that fall by amounts closer than this share of the larger fell together."""

MIDDLE_HZ = (150.0, 8000.0)
"""Levels are compared here, where neither coupling capacitors nor strays matter much."""


@dataclass(frozen=True)
class Answer:
    """A value (or None), how sure, why, and what else it may be."""

    value: object
    sure: Sure
    why: str = ""
    others: tuple[object, ...] = ()


@dataclass(frozen=True)
class LoadAnswer:
    """A resistor that hangs between two terminals; its ohms cannot be heard."""

    from_: str
    to: str
    sure: Sure
    why: str
    likely_none: bool = False
    """Nothing shows a load; but one there could not be heard."""


@dataclass(frozen=True)
class Reasoned:
    """What is thought of one recording."""

    hearing: Hearing
    signal: Answer
    channels: Answer
    state: Answer
    load: LoadAnswer | None = None
    inject: Answer | None = None
    notes: tuple[str, ...] = ()


@dataclass
class _View:
    """A recording's levels (dB of full scale, per channel) and phases against its loudest."""

    hearing: Hearing
    level: list[float]
    phase: list[float]
    roles: list[str] = field(default_factory=list)
    sure: Sure = "open"
    why: str = ""
    others: list[Words] = field(default_factory=list)

    def carries(self, channel: int) -> bool:
        return self.level[channel] > max(self.level) - SILENT_DB

    def turned(self, a: int, b: int) -> float:
        """Return the phase of b against a, rad in +-pi."""
        return float(np.angle(np.exp(1j * (self.phase[b] - self.phase[a]))))


def reason(heard: Sequence[Hearing], hot: int | None = None) -> list[Reasoned]:
    """Return what is thought of all recordings of a folder.

    ``hot``: the channel (from 0) that was on pin 2 in most takes, where somebody knows it.
    """
    views = [_view(h) for h in heard]
    playing = [v for v in views if v.hearing.played.any() and v.hearing.steady_s is not None]
    reference = _reference(playing)
    _legs(playing, reference, hot)
    _same_leads(views, playing)
    return [_reasoned(v, playing) for v in views]


def _view(hearing: Hearing) -> _View:
    """Read levels over the middle of the band, from the device's tones or else the injected."""
    which = hearing.played if hearing.played.any() else hearing.injected
    middle = which & (hearing.hz > MIDDLE_HZ[0]) & (hearing.hz < MIDDLE_HZ[1])
    use = middle if middle.any() else which
    if not use.any():
        return _View(hearing, [-400.0] * hearing.channels, [0.0] * hearing.channels)
    peaks = hearing.peaks[use]
    level = np.median(20.0 * np.log10(np.abs(peaks) + 1e-20), axis=0)
    loudest = int(np.argmax(level))
    against = np.exp(1j * np.angle(peaks * np.conj(peaks[:, [loudest]])))
    return _View(hearing, level.tolist(), np.angle(against.mean(axis=0)).tolist())


def _reference(playing: Sequence[_View]) -> int | None:
    """Return the channel that stays the same while others change: it records the drive."""
    if len(playing) < 3 or min(v.hearing.channels for v in playing) < 3:
        return None
    count = min(v.hearing.channels for v in playing)
    levels = np.array([v.level[:count] for v in playing])
    spread = np.ptp(levels, axis=0)
    steady = np.flatnonzero(spread < STEADY_DB)
    if len(steady) != 1 or np.max(spread) < 4 * STEADY_DB:
        return None
    return int(steady[0])


def _legs(playing: Sequence[_View], reference: int | None, hot: int | None) -> None:
    """Give every channel its role in the recordings in which two channels hear the device."""
    pairs = [(v, _pair(v, reference)) for v in playing]
    opposite = [(v, p) for v, p in pairs if p is not None and _is_opposite(v, p)]
    told = _told_hot(pairs, reference, bool(opposite))
    for view, pair in pairs:
        if pair is None:
            view.why = "not two channels that hear a device"
            continue
        _roles(view, pair, reference, hot, told, legs_seen=bool(opposite))


def _pair(view: _View, reference: int | None) -> tuple[int, int] | None:
    rest = [c for c in range(view.hearing.channels) if c != reference]
    return (rest[0], rest[1]) if len(rest) == 2 else None


def _is_opposite(view: _View, pair: tuple[int, int]) -> bool:
    a, b = pair
    both = view.carries(a) and view.carries(b)
    return both and abs(abs(view.turned(a, b)) - np.pi) < PHASE_RAD


def _is_alike(view: _View, pair: tuple[int, int]) -> bool:
    a, b = pair
    return not _is_faint(view, pair) and abs(view.turned(a, b)) < PHASE_RAD


def _is_faint(view: _View, pair: tuple[int, int]) -> bool:
    """Whether one of the two hears so little that it is a leg without signal of its own."""
    apart = abs(view.level[pair[0]] - view.level[pair[1]])
    return apart > FAINT_DB and not _is_opposite(view, pair)


@dataclass(frozen=True)
class _Hot:
    """The channel likely on pin 2 in most takes, and why."""

    channel: int
    why: str


def _told_hot(
    pairs: Sequence[tuple[_View, tuple[int, int] | None]],
    reference: int | None,
    legs_seen: bool,
) -> _Hot | None:
    usable = [(v, p) for v, p in pairs if p is not None]
    if not usable:
        return None
    if reference is not None and legs_seen:
        votes = [
            p[0] if abs(v.turned(reference, p[0])) < np.pi / 2 else p[1]
            for v, p in usable
            if _is_opposite(v, p)
        ]
        most = max(set(votes), key=votes.count)
        return _Hot(
            most, "in phase with the recorded drive; a device that inverts turns this round"
        )
    alone = [
        (p[0] if v.level[p[0]] > v.level[p[1]] else p[1]) for v, p in usable if _is_faint(v, p)
    ]
    if alone and not legs_seen:
        most = max(set(alone), key=alone.count)
        return _Hot(most, "the only leg with signal; it may also be pin 3, or leads exchanged")
    return None


def _roles(
    view: _View,
    pair: tuple[int, int],
    reference: int | None,
    hot: int | None,
    told: _Hot | None,
    *,
    legs_seen: bool,
) -> None:
    a, b = pair
    first = hot if hot in pair else (told.channel if told is not None else None)
    silent_leg = _is_faint(view, pair)
    if silent_leg and legs_seen:
        view.why = "one channel hears little: a floating leg beside another output, or a plug out"
        view.others = [_words(view, pair, reference, w) for w in _ALIKE_OTHERS]
        return
    if not silent_leg and not _is_opposite(view, pair) and not _is_alike(view, pair):
        view.why = "two channels neither in phase nor opposite: coupled legs, or another pairing"
        view.others = [_words(view, pair, reference, w) for w in (("hot", "cold"), ("cold", "hot"))]
        return
    if _is_alike(view, pair):
        order = ("hot", "single-ended") if first in (a, None) else ("single-ended", "hot")
        view.roles = list(_words(view, pair, reference, order))
        view.sure = "likely" if first is not None else "open"
        view.why = "two channels in phase: one leg and the single-ended output, or legs in phase"
        view.others = [_words(view, pair, reference, w) for w in _ALIKE_OTHERS if w != order]
        return
    if first is None:
        view.why = "opposite legs; nothing tells which of them is hot"
        view.others = [_words(view, pair, reference, w) for w in (("hot", "cold"), ("cold", "hot"))]
        return
    exchanged = False
    if reference is not None and not silent_leg:
        in_phase = a if abs(view.turned(reference, a)) < np.pi / 2 else b
        exchanged = told is not None and in_phase != told.channel
    elif silent_leg:
        loud = a if view.level[a] > view.level[b] else b
        exchanged = loud != first and told is not None and hot is None
    hot_here = ({a, b} - {first}).pop() if exchanged else first
    order = ("hot", "cold") if hot_here == a else ("cold", "hot")
    view.roles = list(_words(view, pair, reference, order))
    sure_hot = hot is not None and reference is None
    view.sure = "known" if sure_hot and not silent_leg else "likely"
    view.why = "as you said" if hot is not None else str(told and told.why)
    if exchanged:
        view.why = "leads exchanged against the other takes; " + view.why
    if silent_leg:
        view.why += "; the other channel is silent: a silent leg, or nothing plugged in"
    view.others = [_words(view, pair, reference, order[::-1])]


_ALIKE_OTHERS = (("hot", "single-ended"), ("single-ended", "hot"), ("hot", "cold"))


def _words(
    view: _View, pair: tuple[int, int], reference: int | None, order: Sequence[str]
) -> Words:
    words = ["unused"] * view.hearing.channels
    words[pair[0]], words[pair[1]] = order[0], order[1]
    if reference is not None:
        words[reference] = "reference"
    return tuple(words)


def _same_leads(views: Sequence[_View], playing: Sequence[_View]) -> None:
    """Recordings in which the device is silent are likely plugged as the others were."""
    legs = [tuple(v.roles) for v in playing if {"hot", "cold"} <= set(v.roles)]
    for view in views:
        if view in playing or not legs:
            continue
        usual = max(set(legs), key=legs.count)
        if len(usual) == view.hearing.channels:
            view.roles, view.sure = list(usual), "likely"
            view.why = "plugged as in the other takes, if nothing was changed"


def _reasoned(view: _View, playing: Sequence[_View]) -> Reasoned:
    hearing = view.hearing
    channels = Answer(tuple(view.roles) or None, view.sure, view.why, tuple(view.others))
    notes = tuple(hearing.remarks)
    if not len(hearing.hz):
        return Reasoned(
            hearing,
            Answer(
                None,
                "open",
                "no tones: idle (device on, nothing played) or floor (inputs terminated)?",
                ("idle", "floor"),
            ),
            channels,
            Answer("play", "open", "was the device on?", ("mute", "standby", "off")),
            notes=notes,
        )
    inject = _inject(view) if hearing.injected.any() else None
    if not hearing.played.any():
        why = "only injected tones: the device was off, or muted, or its player stopped"
        return Reasoned(
            hearing,
            Answer("idle", "known", "the device plays nothing"),
            channels,
            Answer("off", "likely", why, ("play", "mute", "standby")),
            inject=inject,
            notes=notes,
        )
    word = "multitone" if int(hearing.played.sum()) > 1 else "tone"
    load = _load(view, playing, inject)
    return Reasoned(
        hearing,
        Answer(word, "known"),
        channels,
        Answer("play", "known", "tones are played"),
        load,
        inject,
        notes,
    )


def _inject(view: _View) -> Answer:
    """Return into which leg the injected tones go: the one that hears more of them."""
    hearing = view.hearing
    legs = [c for c, role in enumerate(view.roles) if role in ("hot", "cold", "single-ended")]
    if len(legs) < 2:
        return Answer(None, "open", "tones are injected; into which terminal?", ("cold", "hot"))
    level = np.median(20.0 * np.log10(np.abs(hearing.peaks[hearing.injected]) + 1e-20), axis=0)
    first, second = sorted(legs, key=lambda c: -level[c])[:2]
    ahead = float(level[first] - level[second])
    why = f"the {view.roles[first]} leg hears the injected tones {ahead:.1f} dB louder"
    sure: Sure = "known" if ahead > LEG_DB and view.sure == "known" else "likely"
    return Answer(view.roles[first], sure, why, (view.roles[second],))


def _load(view: _View, playing: Sequence[_View], inject: Answer | None) -> LoadAnswer | None:
    """Compare with the open take of the same channels; a difference nothing explains is asked."""
    if not view.roles:
        return _unnamed_load(view, playing, inject)
    alike = [v for v in playing if sorted(v.roles) == sorted(view.roles)]
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


def _unnamed_load(
    view: _View, playing: Sequence[_View], inject: Answer | None
) -> LoadAnswer | None:
    """Ask for a load where nobody knows which channel heard what, but levels are not the usual."""
    alike = [v for v in playing if v.hearing.channels == view.hearing.channels]
    bare = [v for v in alike if not v.hearing.injected.any()] or alike
    most = max(bare, key=lambda v: sum(v.level))
    apart = [abs(a - b) for a, b in zip(sorted(view.level), sorted(most.level), strict=True)]
    if max(apart) <= (MOVED_DB if inject is None else INJECTOR_DB):
        return None
    why = f"levels up to {max(apart):.2f} dB from those of the loudest take"
    return LoadAnswer("hot", "ground", "open", f"{why}; a load, another pairing, or the volume")


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


def _open_take(alike: Sequence[_View], ends: Sequence[str]) -> _View:
    """Return the open take: the one whose levels add up to the most.

    A load lowers one terminal by more dB than it lifts another. Terminals that are silent in some
    take do not count, nor takes with an injector where others are there.
    """
    bare = [v for v in alike if not v.hearing.injected.any()] or list(alike)
    sounding = [
        r for r in ends if all(_level_of(v, r) > max(v.level) - SILENT_DB for v in bare)
    ] or list(ends)
    return max(bare, key=lambda v: sum(_level_of(v, r) for r in sounding))


def _level_of(view: _View, role: str) -> float:
    return view.level[view.roles.index(role)]
