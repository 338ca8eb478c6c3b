"""Takes that facts rest on though they were not solved together with the others."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any


def taken_beside(entries: Iterable[object], takes: Sequence[Mapping[str, Any]]) -> tuple[str, ...]:
    """Return files of takes of noise, distortion and the like, in the order facts name them.

    Parameters
    ----------
    entries
        Facts of a side. One that names a take the stage was solved from is of the stage.
    takes
        Rows of the side's takes.
    """
    solved = {str(t.get(name)) for t in takes if t.get("used") for name in ("take", "file")}
    found: dict[str, None] = {}
    for entry in entries:
        if not isinstance(entry, Mapping):
            continue
        files = [str(f) for f in entry.get("takes") or () if isinstance(f, str)]
        if not solved & set(files):
            found |= dict.fromkeys(files)
    return tuple(found)
