"""Facts that stand beside a session already, where they still are what an analysis would give."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import probe
from probe.errors import BadInput
from probe.facts.analyse import DRAWS
from probe.facts.document import read_facts
from probe.session.model import Session
from probe.session.read import session_sha256

NAME = "facts.json"


def facts_beside(
    session: Session, *, draws: int = DRAWS, folder: Path | None = None
) -> dict[str, Any] | None:
    """Return the facts in ``folder`` (the session's own) if nothing they rest on has changed.

    They count where this version of the program made them from exactly these files with as many
    draws; anything else, a damaged file too, is None: then the session is analysed.
    """
    path = (folder or session.folder) / NAME
    if not path.is_file():
        return None
    try:
        facts = read_facts(path)
    except BadInput:
        return None
    made = facts.get("made") or {}
    if made.get("by") != f"probe {probe.__version__}":
        return None
    if any((s.get("conditions") or {}).get("draws") != draws for s in facts["sides"].values()):
        return None
    return facts if made.get("session_sha256") == session_sha256(session) else None
