"""Whether a device has a volume control, as is stated of it, or by what its kind says.

What is stated of a device without one is what comes at full scale, of a record's loudest passage
or a fully modulated station: nobody turns it up to what it would give before it clips.
"""

from __future__ import annotations

import re
from typing import Literal

Volume = Literal["none", "own", "unknown"]

VOLUME_CONTROL = "volume_control"
"""Key of a device by which it is stated."""

SAID = frozenset({"volume", "variable"})
"""Words that say there is one, unless `SAID_NOT` says there is none."""

LEVEL = frozenset({"level", "levels", "output", "outputs", "volume"})
"""What is fixed where a kind says so of its level; an installation may be fixed, too."""

SAID_NOT = re.compile(r"\b(?:fixed|no|without)(?: an?| any)? (?:volume|variable)\b")

PLAYS = frozenset({"player", "tuner", "deck", "television", "tv", "transport"})
"""Words of kinds that play at the level they state, as a rule. [practice]"""

FILES = frozenset({"portable", "network", "streaming", "media", "music"})
"""Players that nearly all have one, in their program or on their case: not known. [practice]"""

PHONO = frozenset({"phono", "riaa", "turntable", "record"})
"""What these are said of has none, be it called a preamplifier or an amplifier. [practice]"""

TURNED = frozenset({"preamplifier", "preamp", "amplifier", "mixer", "desk", "console"})
"""Words of kinds that have one, or faders. [practice]"""

RECEIVER = frozenset({"av", "stereo", "surround"})
"""Beside one of these a receiver is one with a volume control; of a station it has none."""

BESIDE = re.compile(r"\b(with|and|plus)\b|[+&,(]")
"""Before it stands what a device is, behind it what it has as well."""


def volume_of(kind: str, stated: object = None) -> Volume:
    """Return whether a device of this kind has a volume control of its own.

    ``stated``: the same in plain words, which goes before its kind; None: nobody says.
    """
    if isinstance(stated, bool):
        return "own" if stated else "none"
    told = frozenset(_words(kind))
    if SAID_NOT.search(" ".join(_words(kind))):
        return "none"
    if "fixed" in told and told & LEVEL:
        return "own" if "variable" in told else "none"
    if told & SAID:
        return "own"
    first = frozenset(_words(BESIDE.split(kind.lower())[0]))
    if told & TURNED and "line" in told:
        return "own"
    if first & PHONO:
        return "none"
    if first & RECEIVER and "receiver" in first:
        return "own"
    if told & TURNED:
        return "own" if first & TURNED else "unknown"
    return "none" if first & PLAYS and not first & FILES else "unknown"


def _words(text: str) -> list[str]:
    return re.findall(r"[a-z]+", text.lower())
