"""What a file's name says was plugged: evidence beside levels, and a question where they differ."""

from __future__ import annotations

import re
from dataclasses import dataclass
from itertools import pairwise

Ends = tuple[str, str]

NONE = {"open", "unloaded", "bare", "noload"}
LOAD = {"load", "loaded", "across"}
INJECT = {"inject", "injected", "injection"}
PAIRING = {"single", "ended", "rca", "input", "exchanged"}
"""Beside these a leg's name tells which were recorded or driven, not what hangs on them."""


@dataclass(frozen=True)
class Named:
    """What a name speaks of: a load or none (None: neither), its ends, an injection, one leg."""

    load: bool | None = None
    ends: Ends | None = None
    inject: bool = False
    leg: str | None = None

    def against(self, ends: Ends | None) -> str:
        """Return in words what speaks against a load at these ends (None: no load), or nothing."""
        if self.load is None or self.inject:
            return ""
        if not self.load:
            return "" if ends is None else "the file's name says that nothing hung on it"
        if ends is None:
            return "the file's name speaks of a load"
        if self.ends is None or self.ends == ends:
            return ""
        return f"the file's name says from {self.ends[0]} to {self.ends[1]}"

    def confirms(self, ends: Ends | None) -> bool:
        """Whether it says that a load hangs at these ends (None: that none hangs)."""
        return self.load is False if ends is None else bool(self.load) and self.ends == ends


def named(name: str) -> Named:
    """Return what a name says; the file's own goes before those of its folders."""
    for part in reversed(name.split("/")):
        said = _said(part)
        if said != Named():
            return said
    return Named()


def words_of(name: str) -> list[str]:
    """Return the words of a name, small: LoadHot_2.wav gives load, hot, wav."""
    parted = re.sub(r"([a-z])([A-Z])", r"\1 \2", name)
    return [w for w in re.split(r"[^a-z]+", parted.lower()) if w]


def _said(part: str) -> Named:
    words = words_of(part)
    every = set(words)
    legs = [leg for leg in ("hot", "cold") if leg in every]
    leg = legs[0] if len(legs) == 1 else None
    inject = bool(every & INJECT)
    none = bool(every & NONE) or any(
        a in ("no", "without") and b in LOAD for a, b in pairwise(words)
    )
    load = bool(every & LOAD) and not (none and not every & NONE)
    if none and load:
        return Named(inject=inject)  # both: it tells nothing
    alone = leg is not None and not inject and not every & PAIRING and not none
    ends: Ends | None = None
    if "across" in every:
        ends = ("hot", "cold")
    elif leg is not None and not every & {"single", "rca"}:
        ends = (leg, "ground")
    elif load and every & {"single", "rca"}:
        ends = ("single-ended", "ground")
    if load or alone:
        return Named(True, ends, inject, leg)
    return Named(False if none else None, None, inject, leg)
