"""Takes that the analysis of all takes so far doubts: told, and offered to be made again.

A judgement sees one take beside the open one. What only shows in how all takes fit together, a
lead on the wrong leg, a resistor that is another, a volume that crept, comes from the analysis.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from probe.bench.guided.screen import Screen
from probe.bench.judged.interim import LEVEL_ALONE, Doubt
from probe.bench.stored.storage import SessionFolder
from probe.bench.stored.tables import word_of

MOST_AGAIN = 3
"""So many takes of one side are made again by Enter alone: a device that drifts by itself makes
every take contradict the others, however often it is made."""


UNPLACED = "unplaced-take"

SHOWN = {
    "contradicting-take": ("contradiction", "it contradicted the others"),
    LEVEL_ALONE: ("contradiction", "it contradicted the others"),
    UNPLACED: ("unplaced", "nothing told when it began against the others"),
    "hum-beside-tone": ("hum", "it hums where others do not"),
}
"""How a doubt is shown, by its code, and why the take is then made again."""


@dataclass
class Doubts:
    """What was doubted and what became of it, for one side at one volume.

    Attributes
    ----------
    offered
        How often each take was offered again, by its word.
    kept
        Words of takes that were kept although they are doubted.
    drifts
        A take doubted for its level alone was made again: where levels differ as before it is no
        take's fault, and none is asked for or counted any more.
    """

    offered: dict[str, int] = field(default_factory=dict)
    kept: set[str] = field(default_factory=set)
    drifts: bool = False

    def standing(self, found: list[Doubt]) -> list[Doubt]:
        """Return the doubts that count against a take."""
        return [d for d in found if not (self.drifts and d.code == LEVEL_ALONE)]

    def settle(
        self, found: list[Doubt], screen: Screen, store: SessionFolder, timebase: str
    ) -> str | None:
        """Tell what is doubted; return the word of the take to be made again, which is forgotten.

        Of several that are doubted alike the one made last is asked about first. ``timebase`` is
        the one that a take made now belongs to.
        """
        at = {str(take["name"]): take for take in store.takes}
        for doubt in sorted(self.standing(found), key=lambda d: -list(at).index(d.take)):
            word = word_of(at[doubt.take])
            if word is None or word in self.kept:
                continue
            code, why = SHOWN[doubt.code]
            screen.talk.warn(f"Look [{code}]", f"{doubt.take}: {doubt.message}.")
            choices = {"a": "make this take again", "k": "keep it as it is"}
            enough = self.offered.get(word) or sum(self.offered.values()) >= MOST_AGAIN
            usual = "k" if enough or not _helps(doubt, at[doubt.take], timebase) else "a"
            self.offered[word] = self.offered.get(word, 0) + 1
            if screen.talk.choose("contradicts", "What now?", choices, usual) == "a":
                store.forget(at[doubt.take]["file"])
                screen.told.append((doubt.take, f"made again: {why}"))
                self.drifts = self.drifts or doubt.code == LEVEL_ALONE
                return word
            self.kept.add(word)
        return None


def _helps(doubt: Doubt, take: Mapping[str, Any], timebase: str) -> bool:
    """Whether the take made again may settle it.

    One that cannot be placed among the others can when it is made in the stream that runs now,
    unless it was made in it, or in none: the device's own player begins whenever it likes.
    """
    return doubt.code != UNPLACED or take.get("timebase") not in (None, timebase)
