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

    def to_json(self) -> dict[str, Any]:
        """Return the note as plain values."""
        found: dict[str, Any] = {"code": self.code, "message": self.message}
        return found | ({"assumed": True} if self.assumed else {})
