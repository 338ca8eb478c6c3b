"""One option into one input, on all sides at once: what the choice is made among."""

from __future__ import annotations

from dataclasses import dataclass

from probe.advice import thresholds as limit
from probe.advice.model import OptionAdvice
from probe.advice.quantity import Quantity
from probe.advice.wiring import Option

RANK = {"never": 4, "cannot-tell": 3, "avoid": 2, "works": 0, "use": 0}
"""Order of what is left when nothing works, the least bad first."""

VOLUME_DOES = frozenset(
    {"excess-level", "saturation-beyond-full-output", "load-current-beyond-full-output"}
)
"""Hazards that a turn of the volume control deals with: no reason to choose another lead."""

NOT_SAFE = frozenset({"load-refused", "stage-fault", "direct-voltage", "tie-current"})
"""Hazards with which nothing is named as the least bad: somebody would try it."""


@dataclass(frozen=True)
class Candidate:
    """One option into one input, on all sides at once: both sides are connected alike."""

    option: Option
    socket: str
    bare: tuple[OptionAdvice, ...]
    """Each side, its attenuator fitted or offered."""
    maximum_stated: bool = False
    """Of the input it is known what it accepts."""

    @property
    def sides(self) -> tuple[OptionAdvice, ...]:
        """Each side as it is used."""
        return tuple(s.used for s in self.bare)

    @property
    def padded(self) -> bool:
        """It is used with an attenuator in its plug."""
        return any(s.attenuator is not None and s.attenuator.fitted for s in self.bare)

    @property
    def transformer(self) -> bool:
        """It needs an isolating transformer."""
        return self.option.pin_3 == "transformer"

    @property
    def works(self) -> bool:
        """It works on all sides."""
        return all(s.works for s in self.sides)

    @property
    def worst_side(self) -> OptionAdvice:
        """The side that is judged worst; of what cannot be told by what may be due."""
        return max(self.sides, key=lambda s: RANK[s.doubt or s.verdict] - (s.doubt is not None))

    @property
    def rank(self) -> int:
        """How bad it is on the worst side; what merely may be so is milder than what is."""
        worst = self.worst_side
        return RANK[worst.doubt or worst.verdict] - (worst.doubt is not None)

    @property
    def unsafe(self) -> bool:
        """It is ruled out on a side, or may be for more than a lost signal, or harms something."""
        ruled_out = any(
            s.verdict == "never" or (s.doubt == "never" and not s.loses_at_most) for s in self.sides
        )
        return ruled_out or bool(self.hazards & NOT_SAFE)

    @property
    def hazards(self) -> set[str]:
        """Codes of what can go wrong on any side and no volume control deals with.

        Not what rests on a most that merely is assumed, nor an overload that comes only with the
        device's own volume up: nothing is bought for that.
        """
        found = {
            h.code
            for s in self.sides
            for h in s.hazards
            if not h.assumed and h.turn_down_db is None
        }
        return found - VOLUME_DOES

    @property
    def to_mind(self) -> frozenset[str]:
        """Codes of what stands beside it to be minded, be it for the volume control alone."""
        return frozenset(h.code for s in self.sides for h in s.hazards)

    def surely_without(self, code: str) -> bool:
        """Tell whether a hazard is known not to be there, not merely not looked for.

        Without its sensitivity nobody knows whether the device clips short of an input's full
        output, without its maximum not whether it is overloaded.
        """
        if code in self.spoils:
            return False
        figures = [s.figures for s in self.sides]
        if code == "clips-short":
            return all(f.headroom_db is not None for f in figures)
        return code != "overload" or self.maximum_stated

    @property
    def spoils(self) -> set[str]:
        """Codes of what this way of connecting does by itself, its attenuator apart."""
        return self.hazards & {h.code for s in self.bare for h in s.hazards}

    @property
    def fills(self) -> bool | None:
        """Surely reaches the full output of what it feeds, on all sides; None: not known."""
        margins = [s.figures.full_output_margin_db for s in self.sides]
        if any(m is None for m in margins):
            return None
        return all(m is not None and m.low >= 0.0 for m in margins)

    @property
    def short(self) -> Quantity | None:
        """Margin to full output on the worse side, where that is surely and noticeably missed."""
        margins = [s.figures.full_output_margin_db for s in self.sides]
        known = [m for m in margins if m is not None and m.high < -limit.GAIN_REACHED_DB]
        return min(known, key=lambda m: m.high, default=None)

    @property
    def gain(self) -> Quantity | None:
        """Loudness against the reference link on the worse side; level where that is unknown.

        What an attenuator takes off is meant, and not counted.
        """
        found = [
            s.figures.loudness_vs_reference_db or s.figures.level_vs_reference_db for s in self.bare
        ]
        known = [q for q in found if q is not None]
        return min(known, key=lambda q: q.low) if len(known) == len(found) else None

    def reaches(self, wanted: float) -> bool:
        """Surely as loud as wanted, dB against the reference link."""
        return self.gain is not None and self.gain.low >= wanted - limit.GAIN_REACHED_DB

    def suffices(self, wanted: float) -> bool:
        """Loud enough: as wanted; where no more is wanted, full output with the volume up."""
        return self.reaches(wanted) or (wanted <= 0.0 and self.fills is True)

    def ties(self, wanted: float) -> bool:
        """Tell whether what it misses of the level wanted, or of full output, is a tie."""
        return within(self.gain, wanted) or (wanted <= 0.0 and self.just_fills)

    @property
    def just_fills(self) -> bool:
        """What it misses of full output is a tie, on all sides."""
        return all(within(s.figures.full_output_margin_db, 0.0) for s in self.sides)

    def may_suffice(self, wanted: float) -> bool:
        """Loud enough, or what is missing is a turn of the volume control as far as is known.

        Or nothing: what is missing is inside the doubt.
        """
        if self.suffices(wanted) or self.ties(wanted):
            return True
        if wanted > 0.0 or self.fills is not None:
            return False
        return self.gain is None or self.gain.low >= -limit.VOLUME_MAKES_UP_DB

    def worst(self, name: str) -> Quantity | None:
        """Return a figure counted in dB below full output on the worse side."""
        found: list[Quantity | None] = [getattr(s.figures, name) for s in self.sides]
        known = [q for q in found if q is not None]
        return min(known, key=lambda q: q.value) if len(known) == len(found) else None

    @property
    def hum(self) -> Quantity | None:
        """Return the hum with its harmonics, below full output; without them where not known."""
        buzz = self.worst("buzz_below_full_output_db")
        return self.worst("hum_below_full_output_db") if buzz is None else buzz

    @property
    def loud(self) -> tuple[bool, bool]:
        """Whether its hum surely disturbs the music, on a side, and whether it may."""
        heard = [s.figures.hum_heard for s in self.sides]
        known = [h for h in heard if h is not None] if None not in heard else []
        return any(h.best == "loud" for h in known), any(h.worst == "loud" for h in known)

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


def within(level: Quantity | None, wanted: float) -> bool:
    """Tell whether a level is what is wanted within its interval, dB; of no wide one."""
    if level is None or level.bound is not None:
        return False
    near = level.value >= wanted - limit.TIE_BREAK_DB
    reached = level.high >= wanted - limit.GAIN_REACHED_DB
    return near and reached and level.low >= wanted - limit.VOLUME_MAKES_UP_DB
