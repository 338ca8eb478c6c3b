"""A hazard or a caution of the advice."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Note:
    """A hazard or a caution: a code of a closed list, and the sentence people read."""

    code: str
    message: str
    assumed: bool = False
    """Of a hazard: it rests on a most that merely is assumed."""

    def to_json(self) -> dict[str, str]:
        """Return the note as plain values."""
        return {"code": self.code, "message": self.message}
