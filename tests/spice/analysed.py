"""Sessions written, analysed and thrown away again; one analysis per case and test run."""

from __future__ import annotations

import os
import pickle
import tempfile
from functools import cache
from pathlib import Path
from typing import Any

from probe.facts import analyse_session

from .cases import Case, write
from .sessions import Written

DRAWS = 2000
shared: Path | None = None
"""Folder where the processes of one test run find each other's analyses."""


@cache
def analysed(case: Case) -> tuple[dict[str, Any], Written]:
    """The facts and the truth of a case."""
    kept = shared / f"{case}.pickle" if shared else None
    if kept and kept.exists():
        return pickle.loads(kept.read_bytes())
    with tempfile.TemporaryDirectory(prefix="session-") as folder:
        written = write(case, Path(folder))
        result = analyse_session(Path(folder), draws=DRAWS), written
    if kept:
        whole = kept.with_suffix(f".{os.getpid()}")
        whole.write_bytes(pickle.dumps(result))
        whole.replace(kept)
    return result
