"""What comes before the choice of a box on its sheet: a lead to try, a question, a plug to pull.

Who holds the sheet alone does what it shows. So its headline, its drawing, its list and what is
done against hum have that first, and what is chosen for the case that it does not do.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from probe.report import words
from probe.report.document import listing
from probe.report.text import clean, printed

TRIED, ASKED, ORIGIN = "lead-first", "asked-first", "origin-first"
"""Codes of the advice: a lead that only its hum may speak against, a question whose answer opens
a lead, and what is done where the hum comes in."""

DIGITAL_TRIED = "plain-lead-first"
"""A digital lead that merely is longer than promised: tried as the first of those is."""

VOLUME = "volume-control"
"""Whether the device has one, where that decides which lead it is."""


@dataclass(frozen=True)
class Step:
    """What comes first for one box, and the ways that it opens: those of yes and of no."""

    code: str
    ways: tuple[Mapping[str, Any], ...]

    @property
    def tried(self) -> Mapping[str, Any] | None:
        """The lead that is plugged in first of all, where it is one."""
        return self.ways[0] if self.code in (TRIED, ORIGIN) else None

    @property
    def plain(self) -> Mapping[str, Any] | None:
        """The lead that needs no answer: to be tried, or used if the hum goes with another plug."""
        return None if self.code in (ASKED, VOLUME) else self.ways[0]

    def headline(self, chosen: str, where: str = "above") -> str:
        """Return the headline: what is done now, and else ``chosen``; ``where``: it is said."""
        if self.code == TRIED:
            return f"Try first: {named(self.ways[0])}"
        if self.code == ORIGIN:
            return f"Try first, as {where}: {named(self.ways[0])}"
        if self.code == VOLUME:
            return f"Look first, as {where}, which lead it is. Perhaps: {chosen}"
        if self._is(chosen):
            return f"Ask first, as {where}. If the answer is so: {chosen}"
        return f"Ask first, as {where}. Only if that does not do: {chosen}"

    def _is(self, chosen: str) -> bool:
        """Tell whether the answer decides over what is ``chosen`` itself, in the words of it."""
        return self.code == ASKED and all(named(way) == chosen for way in self.ways)

    def caption(self, chosen: str) -> str:
        """Return what the drawing shows; ``chosen``: what is, in words, empty where nothing is."""
        if self._is(chosen):
            return "Only if the answer is so."
        if self.code == VOLUME:
            return "Only if it is that lead."
        return "The lead to try first." if self.tried else "Only if that does not do."

    def row(self, option: Mapping[str, Any]) -> tuple[str, str] | None:
        """Return the verdict and the reason of a way that it opens, which is in no doubt here."""
        if str(option.get("id")) not in {str(way.get("id")) for way in self.ways}:
            return None
        verdict = {TRIED: "try first", ORIGIN: "may do", VOLUME: "look first"}.get(
            self.code, "ask first"
        )
        return verdict, "what stands first above"


def step_of(advice: Mapping[str, Any], options: Sequence[Mapping[str, Any]]) -> Step | None:
    """Return what comes first for the box of ``options``, None where nothing does."""
    boxes, found = {o.get("destination") for o in options}, []
    for one in (o for o in listing(advice, "would_change") if isinstance(o, Mapping)):
        looked = (VOLUME,) if len(listing(one, "answers")) > 1 else ()
        codes = (TRIED, DIGITAL_TRIED, ASKED, ORIGIN, *looked)
        if one.get("code") not in codes or one.get("destination") not in boxes:
            continue
        held = [
            o for o in listing(advice, "options")
            if isinstance(o, Mapping) and o.get("destination") == one["destination"]
        ]  # fmt: skip
        ways = [next((o for o in held if o.get("id") == way), None)
                for way in listing(one, "answers")]  # fmt: skip
        known = tuple(o for o in ways if o is not None)
        if known:
            code = str(one["code"])
            found.append(Step(TRIED if code == DIGITAL_TRIED else code, known))
    # a plug that is pulled needs no answer
    return min(found, key=lambda s: s.code == ASKED, default=None)


def named(option: Mapping[str, Any]) -> str:
    """Return a way in the words of the sheet."""
    return words.OPTIONS.get(str(option.get("id"))) or clean(option.get("says") or "", 120)


def quoted(way: object) -> str:
    """Return a way in the middle of a sentence, which its own commas would break."""
    return f"“{named({'id': way, 'says': way})}”"


def then_of(asked: Mapping[str, Any]) -> str:
    """Return what is used with an answer, where more than its way by itself is to be said.

    Of one of several what is to be minded stands in few words: the sheet is made anew with it.
    """
    short = asked.get("short") if asked.get("others") else None
    return in_words(printed(short or asked.get("then"), MOST_OF_THEN))


ANEW = "With an answer have this sheet made anew, before anything is bought or plugged in."


def others_of(asked: Mapping[str, Any]) -> list[str]:
    """Return what is used with each other definite answer to a question, a sentence each way."""
    held = [o for o in listing(asked, "others") if isinstance(o, Mapping)]
    by_way: dict[str, list[str]] = {}
    for other in held:
        way = in_words(printed(other.get("short") or other.get("says"), MOST_SAID))
        by_way.setdefault(way, []).append(printed(other.get("answer"), MOST_ASKED))
    said = [f"If it is for certain {' or '.join(held)}: {way}." for way, held in by_way.items()]
    said += [NEVER_TIED] * any("tied" in str(o.get("option")) for o in held)
    return said + [ANEW] * bool(said)


NEVER_TIED = (
    "Without such an answer never join pin 3 to pin 1: of pins that are each driven against ground "
    "that short-circuits one of them."
)
"""What is said where an answer opens a lead with pin 3 tied."""

MOST_SAID = 900
"""Characters of what is said of a lead, with all there is to mind."""

MOST_ASKED = 300
"""Characters of a question."""

MOST_OF_THEN = 600
"""Characters of it: what is to be minded stands in it."""

_LONGEST_FIRST = "|".join(re.escape(w) for w in sorted(words.OPTIONS, key=len, reverse=True))
_WAYS = re.compile(rf"(?<![\w/-])({_LONGEST_FIRST})(?![\w/-])")


def in_words(text: str) -> str:
    """Return a line with the ways in words that it has by their identifiers."""
    return _WAYS.sub(lambda found: quoted(found[1]), text)
