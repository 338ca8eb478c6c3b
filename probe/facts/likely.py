"""Answers of a drafted session that nobody has checked: a warning beside all that rests on them."""

from __future__ import annotations

from typing import Any

from probe.formats.text import counted
from probe.session.model import Session

Document = dict[str, Any]

MOST_NAMED = 4


def likely_warnings(session: Session) -> list[Document]:
    """Return a warning where answers of a draft are marked as likely still."""
    if not session.likely:
        return []
    files = list(dict.fromkeys(session.likely))
    named = ", ".join(files[:MOST_NAMED])
    more = f" and {len(files) - MOST_NAMED} more" if len(files) > MOST_NAMED else ""
    verb = "are" if len(session.likely) > 1 else "is"
    message = (
        f"{counted(len(session.likely), 'answer')} in session.toml {verb} likely, not known "
        f"({named}{more}): a draft took them from levels and phases, and nobody has checked them. "
        "A volume moved between takes looks like a load, or like none; kind, impedances and "
        "levels are right only if these answers are. Check each, and take its LIKELY line away"
    )
    return [{"code": "likely-answers", "take": None, "message": message}]
