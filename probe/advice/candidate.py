"""One option into one input, on all sides at once: what the choice is made among."""

from __future__ import annotations

from dataclasses import dataclass

from probe.advice.model import OptionAdvice
from probe.advice.quantity import Quantity
from probe.advice.wiring import Option

RANK = {"never": 4, "cannot-tell": 3, "avoid": 2, "works": 0, "use": 0}
"""Order of what is left when nothing works, the least bad first."""


@dataclass(frozen=True)
class Candidate:
    """One option into one input, on all sides at once: both sides are connected alike."""

    option: Option
    socket: str
    sides: tuple[OptionAdvice, ...]

    @property
    def works(self) -> bool:
        """It works on all sides."""
        return all(s.verdict == "works" for s in self.sides)

    @property
    def rank(self) -> int:
        """How bad it is on the worst side; see `RANK`."""
        return max(RANK[s.verdict] for s in self.sides)

    @property
    def hazards(self) -> set[str]:
        """Codes of what can go wrong on any side."""
        return {h.code for s in self.sides for h in s.hazards}

    @property
    def fills(self) -> bool:
        """Surely reaches the full output of what it feeds, on all sides."""
        margins = [s.figures.full_output_margin_db for s in self.sides]
        return all(m is not None and m.low >= 0.0 for m in margins)

    @property
    def gain(self) -> Quantity | None:
        """Loudness against the reference link on the worse side; level where that is unknown."""
        found = [
            s.figures.loudness_vs_reference_db or s.figures.level_vs_reference_db
            for s in self.sides
        ]
        known = [q for q in found if q is not None]
        return min(known, key=lambda q: q.low) if len(known) == len(found) else None

    def worst(self, name: str) -> Quantity | None:
        """Return a figure counted in dB below full output on the worse side."""
        found: list[Quantity | None] = [getattr(s.figures, name) for s in self.sides]
        known = [q for q in found if q is not None]
        return min(known, key=lambda q: q.value) if len(known) == len(found) else None

    @property
    def loss(self) -> Quantity | None:
        """Larger loss the connection causes at the ends of the band, on the worse side."""
        found = [
            q
            for s in self.sides
            for q in (s.figures.connection_loss_at_20_hz, s.figures.connection_loss_at_20_khz)
            if q is not None
        ]
        return max(found, key=lambda q: q.value) if found else None
