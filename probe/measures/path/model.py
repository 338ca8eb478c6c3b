"""One indication, and the verdict of all."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any, Literal

Says = Literal["two-paths", "one-path", "nothing"]
Strength = Literal["strong", "weak", "none"]
Path = Literal["dual", "split", "undetermined"]


@dataclass(frozen=True)
class Indication:
    """What one kind of take says about the path.

    Attributes
    ----------
    name
        ``idle-noise``, ``second-harmonic``, ``cold-lag``, ``ratio-against-volume``,
        ``one-leg-drive``.
    value, unit, u95
        The figure it rests on, None where nothing was measured.
    says, strength
        Which way it points and how strongly; ``nothing``, ``none`` where it says nothing.
    weight
        Likelihood ratio of one path to two, capped; 1 says nothing.
    specific
        True where only a cold leg derived from hot gives it, not a stage shared by both.
    meaning
        What it shows, in a sentence, no more than it shows.
    why_nothing
        Why nothing can be said; empty where something is.
    more
        Further figures, by name.
    takes
        Files it rests on.
    """

    name: str
    value: float | None = None
    unit: str = ""
    u95: float | None = None
    says: Says = "nothing"
    strength: Strength = "none"
    weight: float = 1.0
    specific: bool = False
    meaning: str = ""
    why_nothing: str = ""
    more: dict[str, float] = field(default_factory=dict)
    takes: tuple[str, ...] = ()

    def row(self) -> dict[str, Any]:
        """Return the line of ``path_evidence``."""
        return {
            "indication": self.name,
            "value": self.value,
            "unit": self.unit,
            "u95": self.u95,
            "says": self.says,
            "strength": self.strength,
            "likelihood_ratio": self.weight,
            "meaning": self.meaning,
            "why_nothing": self.why_nothing,
            **({"more": dict(self.more)} if self.more else {}),
            "takes": list(self.takes),
        }


def silent(name: str, why: str, **known: Any) -> Indication:
    """Return an indication that says nothing, and why."""
    return Indication(name, why_nothing=why, **known)


@dataclass(frozen=True)
class Verdict:
    """``path``, from where on the legs are separate (``input``, ``volume-control``), and why."""

    path: Path
    separate_from: str | None
    reasons: tuple[str, ...]
