"""Names of facts and curves that somebody asks for: known, or refused with the nearest."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from probe.errors import BadInput
from probe.formats.text import nearest, quoted


def check_asked(asked: Sequence[str], documents: Iterable[Mapping[str, Any]]) -> None:
    """Refuse a name that no side of any of the facts documents has, as a fact or a curve.

    Raises
    ------
    BadInput
        The first such name, with the nearest one that is there.
    """
    if not asked:
        return
    known = {
        name
        for document in documents
        for body in document["sides"].values()
        for part in ("facts", "curves")
        for name in body.get(part) or {}
    }
    for name in asked:
        if name not in known:
            close = nearest(name, known)
            hint = f'did you mean "{close}"?' if close else "docs/formats.md lists the names"
            raise BadInput(f"nothing here is called {quoted(name)}; {hint}")
