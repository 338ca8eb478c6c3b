"""From what is heard to what was plugged: answers, each with how sure it is.

*known*: the recording shows it. *likely*: what is heard is usual for it, and something else would
sound alike. *open*: nothing in the recordings tells. Levels are compared with the open take: of the
recordings with the same channels the one that makes the others loads on it at the same volume.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from probe.bench.draft.hear import Hearing
from probe.bench.draft.loads import load_of
from probe.bench.draft.names import named
from probe.bench.draft.shapes import Shape
from probe.bench.draft.views import (
    PHASE_RAD,
    Answer,
    LoadAnswer,
    Sure,
    View,
    Words,
    view_of,
)

FAINT_DB = 10.0
"""A single-ended output stands within this of a leg; what is fainter, and not opposite, is a leg
that only hears the other through a load or a stray."""

SAME_DB = 1.0
"""Two inputs on one signal differ by less, unless their gains were set apart."""

STEADY_DB = 0.03
"""A reference stays within this through all recordings."""

LEG_DB = 6.0
"""The leg that is injected into hears so much more than the other, unless legs are coupled."""


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


_PLAYS = Answer("play", "known", "tones are played")


def reason(
    heard: Sequence[Hearing], hot: int | None = None, ohms: Mapping[str, float] | None = None
) -> list[Reasoned]:
    """Return what is thought of all recordings of a folder.

    ``hot``: the channel (from 0) that was on pin 2 in most takes, where somebody knows it.
    ``ohms``: of the loads on a ``leg`` and ``across``, where somebody said them.
    """
    views = [view_of(h) for h in heard]
    playing = [
        v
        for v in views
        if v.hearing.played.any() and v.hearing.steady_s is not None and v.hearing.shape is None
    ]
    reference = _reference(playing)
    _legs(playing, reference, hot)
    _same_leads(views, playing)
    return [_reasoned(v, playing, ohms or {}) for v in views]


def _reference(playing: Sequence[View]) -> int | None:
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


def _legs(playing: Sequence[View], reference: int | None, hot: int | None) -> None:
    """Give every channel its role in the recordings in which two channels hear the device."""
    pairs = [(v, _pair(v, reference)) for v in playing]
    opposite = [(v, p) for v, p in pairs if p is not None and _is_opposite(v, p)]
    told = _told_hot(pairs, reference, bool(opposite))
    for view, pair in pairs:
        if pair is None:
            view.why = "not two channels that hear a device"
            continue
        _roles(view, pair, reference, hot, told, legs_seen=bool(opposite))


def _pair(view: View, reference: int | None) -> tuple[int, int] | None:
    rest = [c for c in range(view.hearing.channels) if c != reference]
    return (rest[0], rest[1]) if len(rest) == 2 else None


def _is_opposite(view: View, pair: tuple[int, int]) -> bool:
    return view.opposite(*pair)


def _is_alike(view: View, pair: tuple[int, int]) -> bool:
    a, b = pair
    return not _is_faint(view, pair) and abs(view.turned(a, b)) < PHASE_RAD


def _is_faint(view: View, pair: tuple[int, int]) -> bool:
    """Whether one of the two hears so little that it is a leg without signal of its own."""
    apart = abs(view.level[pair[0]] - view.level[pair[1]])
    return apart > FAINT_DB and not _is_opposite(view, pair)


@dataclass(frozen=True)
class _Hot:
    """The channel likely on pin 2 in most takes, and why."""

    channel: int
    why: str


def _told_hot(
    pairs: Sequence[tuple[View, tuple[int, int] | None]],
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
    view: View,
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
        view.why = "opposite legs; which of them is hot? probe draft --hot answers it for all"
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


def _words(view: View, pair: tuple[int, int], reference: int | None, order: Sequence[str]) -> Words:
    words = ["unused"] * view.hearing.channels
    words[pair[0]], words[pair[1]] = order[0], order[1]
    if reference is not None:
        words[reference] = "reference"
    return tuple(words)


def _same_leads(views: Sequence[View], playing: Sequence[View]) -> None:
    """Recordings in which the device is silent are likely plugged as the others were."""
    legs = [tuple(v.roles) for v in playing if {"hot", "cold"} <= set(v.roles)]
    for view in views:
        if view in playing or not legs:
            continue
        usual = max(set(legs), key=legs.count)
        if len(usual) == view.hearing.channels:
            view.roles, view.sure = list(usual), "likely"
            view.why = "plugged as in the other takes, if nothing was changed"


def _reasoned(view: View, playing: Sequence[View], ohms: Mapping[str, float]) -> Reasoned:
    hearing = view.hearing
    channels = Answer(tuple(view.roles) or None, view.sure, view.why, tuple(view.others))
    notes = tuple(hearing.remarks)
    if hearing.shape is not None:
        return _shaped(view, hearing.shape, channels)
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
    load = load_of(view, playing, inject, ohms)
    return Reasoned(
        hearing,
        _signal(view),
        channels,
        _PLAYS,
        load,
        inject,
        notes,
    )


def _shaped(view: View, shape: Shape, channels: Answer) -> Reasoned:
    """Return what is thought of a level that rises in steps, or of a sweep."""
    if shape.word == "sweep":
        why = f"one tone rises from {shape.from_hz:.0f} to {shape.to_hz:.0f} Hz"
        signal = Answer("sweep", "likely", why)
    else:
        why = f"the level rises in {len(shape.levels_db)} steps of about {shape.step_s:.2g} s"
        signal = Answer("level-steps", "likely", why, ("tone",))
    load = LoadAnswer("hot", "ground", "open", "no other recording to compare with", True)
    return Reasoned(view.hearing, signal, channels, _PLAYS, load, None, view.hearing.remarks)


def _signal(view: View) -> Answer:
    """Return what is played; two inputs that hear the same may hear no device at all."""
    word = "multitone" if int(view.hearing.played.sum()) > 1 else "tone"
    pair = (0, 1) if view.hearing.channels == 2 else None
    if pair is None or not _is_alike(view, pair) or view.hearing.injected.any():
        return Answer(word, "known")
    if abs(view.level[0] - view.level[1]) > SAME_DB:
        return Answer(word, "known")
    why = "both channels hear the same: the device, or outputs and inputs of the bench itself?"
    return Answer(word, "likely", why, ("loop-back", "channel-match"))


def _inject(view: View) -> Answer:
    """Return into which leg the injected tones go: the one that hears more of them."""
    hearing = view.hearing
    legs = [c for c, role in enumerate(view.roles) if role in ("hot", "cold", "single-ended")]
    level = np.median(20.0 * np.log10(np.abs(hearing.peaks[hearing.injected]) + 1e-20), axis=0)
    if len(legs) < 2:
        return Answer(None, "open", f"tones are injected{_louder(level)}", ("cold", "hot"))
    first, second = sorted(legs, key=lambda c: -level[c])[:2]
    ahead = float(level[first] - level[second])
    why = f"the {view.roles[first]} leg hears the injected tones {ahead:.1f} dB louder"
    sure: Sure = "known" if ahead > LEG_DB and view.sure == "known" else "likely"
    said = named(hearing.name)
    if said.inject and said.leg not in (None, view.roles[first]):
        sure, why = "open", f"{why}, the file's name says {said.leg}"
    return Answer(view.roles[first], sure, why, (view.roles[second],))


def _louder(level: NDArray[np.float64]) -> str:
    """Return which channel hears the injected tones clearly louder, in words."""
    order = np.argsort(-level)
    if len(order) < 2 or level[order[0]] - level[order[1]] < LEG_DB:
        return ""
    ahead = float(level[order[0]] - level[order[1]])
    return (
        f", likely into the leg on channel {order[0] + 1}, which hears them {ahead:.1f} dB louder"
    )
