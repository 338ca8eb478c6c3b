"""Takes that the analysis of all takes so far doubts: told, and offered to be made again.

A judgement sees one take beside the open one. What only shows in how all takes fit together, a
lead on the wrong leg, a resistor that is another, a volume that crept, comes from the analysis.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from probe.bench.guided.screen import Screen
from probe.bench.judged.interim import Doubt
from probe.bench.stored.storage import SessionFolder
from probe.bench.stored.tables import word_of

MOST_AGAIN = 3
"""So many takes of one side are made again by Enter alone: a device that drifts by itself makes
every take contradict the others, however often it is made."""


@dataclass
class Doubts:
    """What was doubted and what became of it, for one side at one volume.

    Attributes
    ----------
    offered
        How often each take was offered again, by its word.
    kept
        Words of takes that were kept although they are doubted.
    """

    offered: dict[str, int] = field(default_factory=dict)
    kept: set[str] = field(default_factory=set)

    def settle(self, found: list[Doubt], screen: Screen, store: SessionFolder) -> str | None:
        """Tell what is doubted; return the word of the take to be made again, which is forgotten.

        Of several that are doubted alike the one made last is asked about first.
        """
        at = {str(take["name"]): take for take in store.takes}
        for doubt in sorted(found, key=lambda d: -list(at).index(d.take)):
            word = word_of(at[doubt.take])
            if word is None or word in self.kept:
                continue
            screen.talk.warn("Look [contradiction]", f"{doubt.take}: {doubt.message}.")
            choices = {"a": "make this take again", "k": "keep it as it is"}
            count = sum(self.offered.values())
            usual = "k" if self.offered.get(word) or count >= MOST_AGAIN else "a"
            self.offered[word] = self.offered.get(word, 0) + 1
            if screen.talk.choose("contradicts", "What now?", choices, usual) == "a":
                store.forget(at[doubt.take]["file"])
                screen.told.append((doubt.take, "made again: it contradicted the others"))
                return word
            self.kept.add(word)
        return None
