"""A hazard or a caution of the advice."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True)
class Note:
    """A hazard or a caution: a code of a closed list, and the sentence people read."""

    code: str
    message: str
    assumed: bool = False
    """Of a hazard: it rests on a most that merely is assumed."""
    turn_down_db: float | None = None
    """Of an overload that only a turn of the device's own volume can bring: so far below its
    maximum that stays, dB."""

    def to_json(self) -> dict[str, Any]:
        """Return the note as plain values."""
        found: dict[str, Any] = {"code": self.code, "message": self.message}
        found |= {"assumed": True} if self.assumed else {}
        known = self.turn_down_db is not None
        return found | ({"turn_down_db": self.turn_down_db} if known else {})
